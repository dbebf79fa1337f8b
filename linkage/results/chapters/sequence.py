"""The rigging sequence, with room for readings and signatures."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from ..blocks import Heading, Table, Text

if TYPE_CHECKING:
    from ..answers import Answers
    from ..blocks import Block

TABLES = ("Rigging",)


def blocks(results: Answers) -> Iterator[Block]:
    """Blocks to rig and sign by."""
    yield Heading("Rigging sequence")
    yield Text("In the order of the drive.  Write each reading down and sign it; write the angles "
               "of the surfaces into the file of readings too, and linkage rig --readings finds "
               "what was built.")
    if results.sequence is None:
        yield Text(f"Missing: {results.why_not('sequence')}.", "missing")
        return
    yield Table("Rigging", results.sequence, blank=("reading", "signed"))
