"""Random systems tried by the oracle: what was looked at, what was untrue, and the bounds' slack.

    python tests/bench/oracle.py 200          # seeds 0 to 199, as the full tests try them
    python tests/bench/oracle.py 100 200      # seeds 100 to 199
    python tests/bench/oracle.py 20 --quick   # as the daily tests try them

A system that takes more than `LONGEST` of one core is left there, and named.
"""

import signal
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from oracle.claims import Findings  # noqa: E402
from oracle.trial import random_case, tried  # noqa: E402

EDGES = [-np.inf, 0.0, 1e-6, 1e-3, 0.01, 0.05, 0.2, 1.0, 5.0, 20.0, np.inf]
LONGEST = 150  # seconds of one core that a system may take
SHARES = [-np.inf, 0.0, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 5.0, np.inf]


def histogram(title, values, edges):
    """Counts between edges as a picture of text."""
    counts, _ = np.histogram(values, edges)
    print(f"\n{title} ({len(values)})")
    for low, high, count in zip(edges[:-1], edges[1:], counts, strict=True):
        bar = "#" * int(np.ceil(50 * count / max(counts)))
        print(f"  {low:>8g} to {high:<8g} {count:6d} {bar}")


class TooLongError(Exception):
    """A system takes more than is given to it."""


def too_long(*_):
    raise TooLongError


def main():
    full = "--quick" not in sys.argv
    seeds = range(*(int(number) for number in sys.argv[1:] if number.isdecimal()))
    total, failed, left, start = Findings(), 0, [], time.process_time()
    signal.signal(signal.SIGVTALRM, too_long)
    for seed in seeds:
        began = time.process_time()
        signal.setitimer(signal.ITIMER_VIRTUAL, LONGEST)
        try:
            found = tried(random_case(seed), full, full or seed % 4 == 0)
        except TooLongError:
            left.append(seed)
            print(f"seed {seed}: left after {LONGEST} s", flush=True)
            continue
        finally:
            signal.setitimer(signal.ITIMER_VIRTUAL, 0)
        total.add(found)
        failed += bool(found.faults)
        print(f"seed {seed}: {found.pairs} pairs, {len(found.faults)} faults, "
              f"{time.process_time() - began:.1f} s", flush=True)
        for fault in found.faults:
            print(f"    {fault}", flush=True)
    print(f"\n{len(seeds) - len(left)} systems, {total.pairs} pairs tried, "
          f"{total.positions} positions, {total.builds} builds; "
          f"{len(total.faults)} faults in {failed} systems; "
          f"{total.undecided} requirements that seem met were not proven; "
          f"{total.refused} of their looks were refused in words; "
          f"{total.beyond} postures not compared, as the straight way there leaves the reach; "
          f"{time.process_time() - start:.0f} s of one core")
    print(f"left as too long: {', '.join(map(str, left)) or 'none'}")
    histogram("Least gap met less the bound, as drawn, mm", [s for s, _ in total.slack], EDGES)
    histogram("The same as built, over what the tolerances cost",
              [s / cost for s, cost in total.built_slack if cost > 1e-3], SHARES)


if __name__ == "__main__":
    main()
