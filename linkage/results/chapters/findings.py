"""Directions and other findings: what to know before trusting the numbers."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import pandas as pd

from ..blocks import Heading, Table, Text
from ..movements import in_builds

if TYPE_CHECKING:
    from ..answers import Answers
    from ..blocks import Block

TABLES = ("Directions",)


def blocks(results: Answers) -> Iterator[Block]:
    """Blocks on what was found of how the system moves."""
    yield Heading("Directions and findings")
    if not results.findings:
        yield Text("No findings.")
    yield from _directions(results)
    for finding in sorted(results.findings, key=lambda finding: not finding.miss):
        yield Text(finding.text, "miss" if finding.miss else "note")


def _directions(results):
    if not results.directions:
        return
    rows = [{"hand or foot": each.end or "–", "surface": each.surface, "goes": each.goes,
             "has to go": each.due or "–", "judged": each.outcome} for each in results.directions]
    yield Table("Directions", pd.DataFrame(rows), "What each surface does at neutral; judged "
                f"there, at both ends and by the sign of the gearing, proven {in_builds(results)} "
                f"all over the travel that the stops leave.")
