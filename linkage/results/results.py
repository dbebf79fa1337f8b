"""The results of a system: every answer, the verdict, and how both are read."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property
from typing import TYPE_CHECKING

from .answers import Answers
from .blocks import DataTable, Table
from .chapters import CHAPTERS, blocks_of
from .chapters.contacts import CURED
from .chapters.front import clearance_misses, place_of_miss
from .cures import cures_of
from .html import as_fragment
from .questions import verdict_of
from .text import as_text
from .verdict import Verdict

if TYPE_CHECKING:
    from .blocks import Block
    from .cures import Cure


class Results(Answers):
    r"""Everything found of one system, each answer worked out on first use and kept.

    Examples
    --------
    >>> from linkage import parse_model, System
    >>> results = Results(System(parse_model('length = "mm"\n[input.pitch]\ntravel = [-15, 20]')))
    >>> results.verdict.sentence
    'Nothing was required of what was looked at, so nothing is missed.'
    """

    @cached_property
    def verdict(self) -> Verdict:
        """What is missed, what was not looked at, and what the rest covers."""
        return verdict_of(self)

    @cached_property
    def cures(self) -> dict[str, list[Cure]]:
        """``{pair: cures}`` of the clearances that are missed, the worst of them."""
        return {miss.what: cures_of(self, miss.what, place_of_miss(self, miss))
                for miss in clearance_misses(self)[:CURED]}

    @property
    def missed(self) -> int:
        """Requirements that are missed or not decided."""
        return len(self.verdict.missed)

    @property
    def chapters(self) -> tuple[str, ...]:
        """Names of the chapters that are printed."""
        if self.only:
            about = {"answer", "before-and-after", "rests-on"}
            return tuple(chapter.name for chapter in CHAPTERS
                         if chapter.name in about | set(self.only))
        return tuple(chapter.name for chapter in CHAPTERS if chapter.printed)

    def chapter(self, *names: str) -> Shown:
        """Chapters to be looked at in a notebook cell or printed.

        Parameters
        ----------
        *names : str
            Those of the sheet unless given.
        """
        return Shown(blocks_of(self, names or self.chapters))

    def tables(self, names: Iterable[str] | None = None) -> dict:
        """Every table of chapters as ``{name: DataFrame}``, those that are only data too."""
        return tables_of(blocks_of(self, self.chapters if names is None else names))

    def _repr_html_(self) -> str:
        return self.chapter("answer")._repr_html_()


class Shown:
    """Blocks as text, and as HTML in a notebook's cell."""

    def __init__(self, blocks: list[Block]):
        self.blocks = blocks

    def __repr__(self) -> str:
        return as_text(self.blocks)

    def _repr_html_(self) -> str:
        return as_fragment(self.blocks)


def tables_of(blocks: Iterable[Block]) -> dict:
    """Tables among blocks: ``{name: DataFrame}``."""
    return {block.name: block.data for block in blocks if isinstance(block, Table | DataTable)}
