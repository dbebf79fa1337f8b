"""Two model files side by side, before and after a change."""

from __future__ import annotations

from ..blocks import Heading, Table, Text
from ..comparison import compared


def blocks(results):
    """Blocks of the comparison with another file; none where there is no other."""
    before = results.before
    if before is None:
        return
    yield Heading("Before and after")
    yield Text(f"Before: {before.source}, digest {before.digest}.  After: {results.source}, digest "
               f"{results.digest}.  A dash stands where only one of the two has it.")
    tables = compared(before, results)
    for name, data in tables.items():
        yield Table(name, data)
    if not tables:
        yield Text("Travels, gearing, hardpoints, clearance and stops are the same.")
