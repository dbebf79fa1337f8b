"""The chapters on a system, in the order in which a builder asks; each a list of blocks."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ...errors import LinkageError, nearest
from . import (
    answer,
    as_built,
    assumptions,
    before_and_after,
    clearance,
    contacts,
    description,
    feel,
    findings,
    front,
    gearing,
    loads,
    reliefs,
    revision,
    rods,
    sequence,
    shop_card,
    stops,
    test_cards,
    tolerances,
    wires,
)

if TYPE_CHECKING:
    from ..answers import Answers

__all__ = ["CHAPTERS", "TABLES", "Chapter", "blocks_of", "chapter_named"]


@dataclass(frozen=True)
class Chapter:
    """A chapter.

    Attributes
    ----------
    name : str
        What ``--only`` takes.
    blocks : callable
        From the results to its blocks.
    printed : bool
        Whether the sheet has it unless told otherwise; the report has every one.
    """

    name: str
    blocks: Callable[..., Iterator]
    printed: bool = True


CHAPTERS = (
    Chapter("answer", answer.blocks),
    Chapter("page-one", front.blocks, printed=False),
    Chapter("contact-sheets", contacts.blocks, printed=False),
    Chapter("before-and-after", before_and_after.blocks),
    Chapter("findings", findings.blocks),
    Chapter("gearing", gearing.blocks),
    Chapter("clearance", clearance.blocks),
    Chapter("stops", stops.blocks),
    Chapter("reliefs", reliefs.blocks, printed=False),
    Chapter("loads", loads.blocks),
    Chapter("feel", feel.blocks),
    Chapter("rods", rods.blocks),
    Chapter("wires", wires.blocks),
    Chapter("tolerances", tolerances.blocks, printed=False),
    Chapter("sequence", sequence.blocks, printed=False),
    Chapter("test-cards", test_cards.blocks, printed=False),
    Chapter("description", description.blocks, printed=False),
    Chapter("shop-card", shop_card.blocks, printed=False),
    Chapter("rests-on", answer.rest),
    Chapter("assumptions", assumptions.blocks, printed=False),
    Chapter("revision", revision.blocks, printed=False),
)
# Every table by its name, or by how that begins where it ends in a blank: a table that is there as
# a file is seen before the work.
TABLES = tuple(dict.fromkeys(name for chapter in (
    answer, as_built, assumptions, before_and_after, clearance, contacts, description, feel,
    findings, gearing, loads, reliefs, revision, rods, sequence, shop_card, stops, test_cards,
    tolerances, wires)
    for name in chapter.TABLES))


def chapter_named(name: str) -> Chapter:
    """The chapter of a name; an unknown one is refused."""
    for chapter in CHAPTERS:
        if chapter.name == name:
            return chapter
    raise LinkageError(f'no chapter "{name}"; {nearest(name, [c.name for c in CHAPTERS])}')


def blocks_of(results: Answers, names: Iterable[str] | None = None) -> list:
    """Blocks of chapters.

    Parameters
    ----------
    results : Results
    names : iterable of str, optional
        All chapters unless given.

    Returns
    -------
    list of Heading, Text, Table, Picture
    """
    chosen = CHAPTERS if names is None else [chapter_named(name) for name in names]
    return [block for chapter in chosen for block in chapter.blocks(results)]
