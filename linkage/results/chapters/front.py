"""Page one of a report: the verdict, directions, what is missed in pictures, what was not seen."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from ... import gearing
from ..blocks import Heading, Picture, Text
from .answer import MISSES, fitting, shortened

if TYPE_CHECKING:
    from ...plots import Near
    from ..answers import Answers
    from ..blocks import Block
    from ..verdict import Miss

TABLES = ()
SHOWN = 3  # places in the picture
UNSEEN = 9  # lines for what was not looked at


def blocks(results: Answers) -> Iterator[Block]:
    """Blocks of one page; what it has no room for is under What the answer rests on."""
    verdict = results.verdict
    yield Heading("The answer")
    yield Text(identity(results))
    yield from _said_first(verdict)
    if results.directions:
        yield Text(directions_line(results))
    yield from _too_near(results)
    if verdict.missed and verdict.met:
        yield Text(f"In order, as computed ({verdict.build}): {', '.join(verdict.met)}.")
    yield from _not_looked_at(verdict)


def _said_first(verdict):
    """The verdict and what is missed; a surface that moves the wrong way stands above it."""
    missed, left = fitting([f"{miss.kind}: {miss.sentence}" for miss in verdict.missed],
                           2 * MISSES)
    sentences = [Text(sentence, "miss" if miss.decided else "undecided")
                 for miss, sentence in zip(verdict.missed, missed, strict=False)]
    first = sum(miss.kind == "direction" for miss in verdict.missed[:len(sentences)])
    yield from sentences[:first]
    yield Text(verdict.sentence, "plain" if verdict.missed or verdict.unknown else "met")
    yield from sentences[first:]
    if left:
        yield Text(f"and {left} more, all in the table Missed below")


def _too_near(results):
    """A picture of where parts come too near, the worst first."""
    shown = clearance_misses(results)[:SHOWN]
    near = [near_of_miss(results, miss) for miss in shown]
    if near:
        sure = all(miss.decided for miss in shown)
        yield Picture(lambda: _drawn(results, near), "Where parts come too near"
                      + ("" if sure else ", or are not proven not to")
                      + ": " + "; ".join(each.pair for each in near))


def _not_looked_at(verdict):
    listed, left = fitting([shortened(text) for text in verdict.not_looked_at], UNSEEN)
    for sentence in listed:
        yield Text(f"Not looked at: {sentence}", "missing")
    if left:
        yield Text(f"and {left} more not looked at, under What the answer rests on")


def identity(results: Answers) -> str:
    """What sheet this is: revision and who approved it as the file says, and its digest."""
    model = results.system.model
    revision = f"Revision {model.revision}" if model.revision else "No revision in the file"
    by = f"approved by {model.approved_by}, as the file says" if model.approved_by else \
        "the file names nobody who approved it"
    source = f"file {results.source}, digest {results.digest}" if results.digest else "no file"
    return f"{revision}; {by}; {source}."


def directions_line(results: Answers) -> str:
    """What each surface does for each hand or foot, as far as it was found right."""
    right = [each for each in results.directions if each.outcome == "right"]
    parts = {}
    for each in right:
        parts.setdefault(each.end or each.input, []).append(f"{each.surface} {each.goes}")
    rest = len(results.directions) - len(right)
    words = "; ".join(f"{end}: {', '.join(goes)}" for end, goes in parts.items())
    more = f"; {rest} more in the table Directions" if rest else ""
    return f"Directions found as they have to be: {words or 'none'}{more}."


def clearance_misses(results: Answers) -> list[Miss]:
    """What is missed of clearance and was met at a stick position, the worst first."""
    if results.clearance is None:
        return []
    known = results.clearance["pair"][np.array([np.isfinite(first).all() for first in
                                                results.clearance["first"]], dtype=bool)]
    return [miss for miss in results.verdict.missed
            if miss.kind == "clearance" and miss.what in set(known)]


def near_of_miss(results: Answers, miss: Miss) -> Near:
    """Where a missed pair is nearest, over the travel on which it is judged."""
    from ... import plots

    row = _row_of(results, miss)
    return plots.Near(miss.what, place_of_miss(results, miss), np.asarray(row["first"]),
                      np.asarray(row["second"]), miss.how_much, float(row["required"]))


def place_of_miss(results: Answers, miss: Miss) -> dict:
    """``{input: position}`` there."""
    real = "real_" if "real_least" in results.clearance else ""
    row = _row_of(results, miss)
    return {name: float(row[f"{real}{name}"]) for name in results.system.travel_box()}


def _row_of(results, miss):
    table = results.clearance
    return table[table["pair"] == miss.what].iloc[0]


def _drawn(results, near):
    from ... import plots

    return plots.places(results.system, near)


def place_said(results: Answers, near: Near) -> str:
    """The stick position of a place in words."""
    return gearing.said_place(results.system, near.place)
