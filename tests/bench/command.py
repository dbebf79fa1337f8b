"""The whole command, cold, as a multiple of importing what any such program imports.

Runs `linkage FILE` and the import of NumPy, SciPy's optimizers and pandas in turn, each as a fresh
process with its byte code there, and prints seconds by the clock and of both cores, and their
ratios, of the same run.  Then, in this process and on one core, how long each answer takes that
the command works out, as a multiple of the same import.
"""

import argparse
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import linkage
from linkage.results import Results
from linkage.results.questions import asked_of

EXAMPLE = Path(__file__).parents[2] / "examples" / "side_by_side.toml"
IMPORTS = ["-c", "import numpy, scipy.optimize, pandas"]
SHOWN = 0.02  # s: shorter answers are summed up


def timed(words, environment):
    """Seconds by the clock and of all cores that a fresh process takes."""
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run([sys.executable, *words], env=environment, stdout=subprocess.DEVNULL,
                   check=False)
    wall, after = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
    return wall, sum(getattr(after, k) - getattr(before, k) for k in ("ru_utime", "ru_stime"))


def whole(path, runs):
    """Medians of the command and of the import, run in turn; their CPU seconds."""
    words = ["-m", "linkage", str(path)]
    with tempfile.TemporaryDirectory() as folder:
        environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
        environment["PYTHONPYCACHEPREFIX"] = folder
        for each in (words, IMPORTS):
            timed(each, environment)  # writes the byte code
        pairs = [(timed(words, environment), timed(IMPORTS, environment)) for _ in range(runs)]
    for k, what in enumerate(("clock", "CPU")):
        ours, plain = ([pair[side][k] for pair in pairs] for side in (0, 1))
        ratios = sorted(a / b for a, b in zip(ours, plain, strict=True))
        print(f"{what}: linkage {path.name} {statistics.median(ours):.2f} s, imports "
              f"{statistics.median(plain):.2f} s; ratio {statistics.median(ratios):.1f} "
              f"({ratios[0]:.1f} to {ratios[-1]:.1f} in {runs} runs)")
    return statistics.median(pair[1][1] for pair in pairs)


def phases(path, import_seconds):
    """Each answer of the command on one core."""
    start = time.process_time()
    results = Results.of_file(linkage.load(path), path)
    rest = [("reading", time.process_time() - start)]
    names = [name for question in asked_of(results) for name in question.answers]
    for name in dict.fromkeys(["real_travel", "clearance", "stops", "travel_map", *names]):
        start = time.process_time()
        getattr(results, name)
        rest.append((name, time.process_time() - start))
    for name, seconds in rest:
        if seconds > SHOWN:
            print(f"  {name:<14} {seconds:6.2f} s  {seconds / import_seconds:5.2f} imports")
    short = sum(seconds for _, seconds in rest if seconds <= SHOWN)
    print(f"  {'all others':<14} {short:6.2f} s  {short / import_seconds:5.2f} imports")


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("file", nargs="?", type=Path, default=EXAMPLE)
    parser.add_argument("--runs", type=int, default=5)
    args = parser.parse_args()
    phases(args.file, whole(args.file, args.runs))


if __name__ == "__main__":
    main()
