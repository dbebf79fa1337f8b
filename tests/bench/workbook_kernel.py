"""The kernel's share of a step of the live workbook, as ratios of one solve of the same grid.

Run it by itself: ``python tests/bench/workbook_kernel.py``.
"""

import statistics
import time
from pathlib import Path

import linkage
from linkage.workbook import make_grid
from linkage.workbook.live import Workbook

STEPS = 20
EXAMPLE = Path(__file__).parents[2] / "examples" / "side_by_side.toml"


def timed(act, values):
    spent = []
    for value in values:
        start = time.process_time()
        act(value)
        spent.append(time.process_time() - start)
    return statistics.median(spent)


def main():
    """Print one line per kind of step."""
    system = linkage.load(EXAMPLE)
    book = Workbook(system, prove=False)
    book.change("elevator/horn", "WL", "17.21")  # warm
    solve = timed(lambda _: make_grid(system), range(STEPS))
    kinds = {
        "spacer": lambda k: setattr(book, "spacers",
                                    {**book.spacers, "roll right": 0.05 + k / 1e3}),
        "limit": lambda k: setattr(book, "limits", {**book.limits, "pitch": [-13 + k / 40, 17.0]}),
        "part table": lambda k: book.change("elevator/horn", "WL", f"{17.2 + k / 1e3:.3f}"),
        "exact numbers": lambda k: book.answer({
            "do": "exact", "position": {"pitch": k / 4, "roll": 3.0},
            "pairs": ["cross tube/tube | roll drive/tube"]})}
    print(f"one grid: {solve * 1e3:.1f} ms of processor time")
    for name, act in kinds.items():
        spent = timed(act, range(1, STEPS + 1))
        print(f"{name}: {spent / solve:.1f} grids ({spent * 1e3:.1f} ms)")
    book.close()


if __name__ == "__main__":
    main()
