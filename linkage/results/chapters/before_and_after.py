"""Two model files side by side, before and after a change."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from ... import gearing
from ..blocks import Heading, Table, Text
from ..comparison import compared

if TYPE_CHECKING:
    from ..blocks import Block

TABLES = (*(f"{name} before and after" for name in ("Clearance", "Gearing", "Hardpoints", "Stops",
                                                   "Travels")), "Stops in ")


def blocks(results: Any) -> Iterator[Block]:
    """Blocks of the comparison with another file; none where there is no other."""
    before = results.before
    if before is None:
        return
    yield Heading("Before and after")
    yield Text(f"Before: {before.source}, digest {before.digest}.  After: {results.source}, digest "
               f"{results.digest}.  A dash stands where only one of the two has it.")
    for finding in gearing.flipped(before.system, results.system):
        yield Text(finding.text, "note")  # what is wrong after it is a miss of its own
    yield from changed_tables(compared(before, results))


def changed_tables(tables: dict) -> Iterator[Block]:
    """Tables of what differs, ``{name: DataFrame}``; those without rows are said to be the same."""
    for name, data in tables.items():
        if len(data):
            yield Table(name, data)
    same = [name.removesuffix(" before and after").lower() for name, data in tables.items()
            if not len(data)]
    if same:
        yield Text(f"Compared and the same: {', '.join(same)}.")
