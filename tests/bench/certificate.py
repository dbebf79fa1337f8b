"""What a certificate of the clearance proof costs: writing and checking it, over the search.

    python tests/bench/certificate.py [EXAMPLE ...] [--built]

CPU seconds of one process; the ratios are those of one run.
"""

import argparse
import io
import time
from pathlib import Path

import scipy.optimize  # noqa: F401  (so that its import counts to none)

import linkage
from linkage.certificate import certificate, packed
from linkage.checker import check

EXAMPLES = Path(__file__).parents[2] / "examples"
NAMES = ("servo_arm", "aileron_run", "elevons", "tandem", "side_by_side")


def timed(work):
    start = time.process_time()
    made = work()
    return made, time.process_time() - start


def row(name, built):
    file = EXAMPLES / f"{name}.toml"
    system = linkage.load(file)
    table, search = timed(lambda: linkage.clearance(system, built=built))
    made, write = timed(lambda: certificate(system, file, table))
    proof = packed(made)
    verdict, checked = timed(lambda: check(file, io.BytesIO(proof)))
    leaves = sum(word in "fojx" for entry in made["pairs"] for word in entry.get("tree") or "")
    print(f"{name:14} search {search:6.2f} s, writing {write / search:5.2f}, "
          f"checking {checked / search:5.2f} of it; {leaves} leaves, {len(proof) / 1000:.1f} kB; "
          f"{verdict.sentence[:60]}", flush=True)


asked = argparse.ArgumentParser()
asked.add_argument("examples", nargs="*", default=NAMES)
asked.add_argument("--built", action="store_true")
asked = asked.parse_args()
for example in asked.examples:
    row(example, asked.built)
