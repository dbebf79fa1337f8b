"""A revision as a page: what changed in the file, and what it did."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from ...units import CAUTION
from ..blocks import Heading, Table, Text
from ..comparison import compared
from ..revisions import direction_changes, file_changes, load_changes, miss_changes
from .before_and_after import changed_tables
from .front import identity

if TYPE_CHECKING:
    from ..blocks import Block

TABLES = ("Changed in the file", "Directions before and after", "Margins before and after")


def blocks(results: Any) -> Iterator[Block]:
    """Blocks of the page; none where there is no other revision."""
    before = results.before
    if before is None:
        return
    yield Text(CAUTION, "caution")
    yield Heading("What the change did")
    yield Text(f"Before: {identity(before)}")
    yield Text(f"After: {identity(results)}")
    yield Text(f"Verdict before: {before.verdict.sentence}")
    yield Text(f"Verdict after: {results.verdict.sentence}",
               "plain" if results.verdict.missed or results.verdict.unknown else "met")
    gone, stay, new = miss_changes(before, results)
    for words, misses in (("New", new), ("Still", stay)):
        for miss in misses:
            yield Text(f"{words}: {miss.kind}: {miss.sentence}",
                       "miss" if miss.decided else "undecided")
    for miss in gone:
        yield Text(f"No longer missed: {miss.kind}: {miss.sentence}", "note")
    changes = file_changes(before.system.model, results.system.model)
    yield Heading("What changed in the file")
    if len(changes):
        yield Table("Changed in the file", changes, "Twins written out; a dash: only one has it.")
    else:
        yield Text("No key that means anything to the system differs.")
    yield Heading("What it did, number by number")
    yield from changed_tables({"Directions before and after": direction_changes(before, results),
                               **compared(before, results),
                               "Margins before and after": load_changes(before, results)})
