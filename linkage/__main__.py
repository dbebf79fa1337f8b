"""The command line."""

from __future__ import annotations

import argparse
import os
import sys
import time
from importlib import resources
from pathlib import Path

from . import __version__, load
from .errors import LinkageError, nearest

VERBS = ("new", "schema")
LAYOUTS = ("side-by-side", "tandem")


def main(argv=None) -> int:
    """Run the command line.

    Parameters
    ----------
    argv : list of str, optional

    Returns
    -------
    int
        0 when every requirement is met, 1 when one is missed, 2 on bad input.
    """
    argv = sys.argv[1:] if argv is None else list(argv)
    try:
        if argv and argv[0] in VERBS:
            return {"new": _new, "schema": _schema}[argv[0]](argv[1:])
        return _check(argv)
    except LinkageError as error:
        print(f"linkage: {' '.join(str(error).split())}", file=sys.stderr)
        return 2
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 2


def _parser(verb: str, about: str) -> argparse.ArgumentParser:
    name = f"linkage {verb}".strip()
    parser = argparse.ArgumentParser(prog=name, description=about)
    if not verb:
        parser.epilog = ("Other verbs: linkage new LAYOUT --out FILE (a commented starter file), "
                         "linkage schema --out FILE (for editors).")
        parser.add_argument("--version", action="version", version=f"linkage {__version__}")
    return parser


def _check(argv) -> int:
    parser = _parser("", "Print what a control system does; exit 0 when every requirement of the "
                         "file is met, 1 when one is missed, 2 on bad input.")
    parser.add_argument("file", help="model file (TOML)")
    parser.add_argument("--only", choices=["gearing"], help="print this part alone")
    parser.add_argument("--csv", metavar="DIR", help="also write the tables there as CSV")
    said = parser.parse_args(argv)
    system = load(said.file)
    from . import sheet

    progress = _Progress()
    progress("gearing")
    text, missed = sheet.gearing_sheet(system)
    parts = [sheet.heading(system, said.file), text]
    if said.only != "gearing":
        text, more = sheet.clearance_sheet(system, progress)
        parts.append(text)
        missed += more
    progress("")
    print(*parts, sep="\n\n")
    if said.csv:
        _write_csv(system, Path(said.csv))
    print(f"\n{_verdict(missed)}")
    return 1 if missed else 0


class _Progress:
    """A bar of phases on a terminal once work takes over a second; nothing when piped."""

    phases = ("gearing", "clearance", "travel map", "stops")

    def __init__(self):
        self.start, self.shown = time.monotonic(), False

    def __call__(self, phase: str) -> None:
        late = time.monotonic() - self.start > 1 or phase == "clearance"
        if not sys.stderr.isatty() or not (late or self.shown):
            return
        done = self.phases.index(phase) if phase else len(self.phases)
        bar = "#" * done + "." * (len(self.phases) - done)
        end = f"[{bar}] {phase}" if phase else ""
        print(f"\r\033[K{end}", end="", file=sys.stderr, flush=True)
        self.shown = bool(phase)


def _verdict(missed: int) -> str:
    if missed:
        return f"{missed} requirement{'s' if missed > 1 else ''} missed."
    return "Every requirement of the file is met, as computed."


def _write_csv(system, folder: Path) -> None:
    from .files import write_text
    from .tables import all_tables

    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise LinkageError(f"{folder}: can't be made a folder ({problem.strerror}); "
                           f"choose another") from problem
    for name, data in all_tables(system).items():
        write_text(folder / f"{name}.csv", data)


def _new(argv) -> int:
    parser = _parser("new", "Write a commented starter file to edit.")
    parser.add_argument("layout", help=" or ".join(LAYOUTS))
    parser.add_argument("--out", required=True, metavar="FILE", help="file to write")
    said = parser.parse_args(argv)
    if said.layout not in LAYOUTS:
        raise LinkageError(f'no layout "{said.layout}"; {nearest(said.layout, LAYOUTS)}')
    if Path(said.out).exists():
        raise LinkageError(f"{said.out}: is there already and stays as it is; choose another name")
    from .files import write_text

    starter = resources.files("linkage") / "starters" / f"{said.layout}.toml"
    write_text(said.out, starter.read_text(encoding="utf-8"))
    print(f"{said.out}: written; edit it, then run: linkage {said.out}")
    return 0


def _schema(argv) -> int:
    parser = _parser("schema", "Write the JSON Schema of model files, so that an editor completes "
                               "them.")
    parser.add_argument("--out", required=True, metavar="FILE", help="file to write")
    said = parser.parse_args(argv)
    import json

    from .files import schema, write_text

    write_text(said.out, json.dumps(schema(), indent=1) + "\n")
    print(f"{said.out}: written")
    return 0


if __name__ == "__main__":
    sys.exit(main())
