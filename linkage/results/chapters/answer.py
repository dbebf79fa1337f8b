"""The answer first: what is missed, what was not looked at, what the rest covers."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

import pandas as pd

from ..blocks import Heading, Table, Text, units_in_headings
from ..text import LINE

if TYPE_CHECKING:
    from ..answers import Answers
    from ..blocks import Block
    from ..verdict import Verdict

TABLES = ("Missed",)
LEAD = 15  # characters that stand before a sentence
LONG = 2 * LINE - 3 * LEAD  # characters of a sentence of the answer

LINES = 12  # that the answer has
MISSES = 8  # of them for what is missed; the rest follows in a table


def blocks(results: Answers) -> Iterator[Block]:
    """Blocks of at most twelve lines, and where the rest is that they have no room for."""
    verdict = results.verdict
    yield Heading("The answer")
    missed, left = fitting([f"{miss.kind}: {miss.sentence}" for miss in verdict.missed], MISSES)
    sentences = [Text(sentence, "miss" if miss.decided else "undecided")
                 for miss, sentence in zip(verdict.missed, missed, strict=False)]
    first = sum(miss.kind == "direction" for miss in verdict.missed[:len(sentences)])
    yield from sentences[:first]  # a wrong direction before all else
    yield Text(verdict.sentence, "plain" if verdict.missed or verdict.unknown else "met")
    yield from sentences[first:]
    if left:
        yield Text(f"and {left} more, all in the table Missed below")
    used = sum(map(lines_of, [verdict.sentence, *missed])) + bool(left)
    yield from _not_looked_at(verdict, LINES - used - 1)


def _not_looked_at(verdict, room):
    short = [shortened(sentence) for sentence in verdict.not_looked_at]
    listed, left = fitting(short, room)
    for sentence in listed:
        yield Text(f"Not looked at: {sentence}", "missing")
    if left:
        yield Text(f"and {left} more not looked at, under What the answer rests on")


def lines_of(sentence: str) -> int:
    """Lines that a sentence takes with what it is led by."""
    return -(-(len(sentence) + LEAD) // (LINE - LEAD))


def fitting(sentences: Iterable[str], room: int) -> tuple[list, int]:
    """Sentences that fit into some lines, at least one, and how many are left."""
    lines = []
    for sentence in sentences:
        room -= lines_of(sentence)
        if lines and room < 0:
            break
        lines.append(sentence)
    return lines, len(sentences) - len(lines)


def rest(results: Answers) -> Iterator[Block]:
    """Everything missed as a table, everything not looked at, and for what the answer holds."""
    verdict = results.verdict
    yield Heading("What the answer rests on")
    if verdict.missed:
        yield Table("Missed", missed_table(verdict))
    for sentence in verdict.not_looked_at:
        yield Text(f"Not looked at: {sentence}", "missing")
    for sentence in verdict.covers:
        yield Text(sentence)


def shortened(sentence: str) -> str:
    """A sentence for the answer, the end of a long one left for the details."""
    if len(sentence) <= LONG:
        return sentence
    return f"{sentence[:LONG].rsplit(' ', 1)[0].rstrip(',;')} …"


@units_in_headings
def missed_table(verdict: Verdict) -> pd.DataFrame:
    """What is missed, a row each."""
    return pd.DataFrame([{"kind": miss.kind, "what": miss.what, "how much": miss.how_much,
                          "where": miss.where, "verdict": miss.word} for miss in verdict.missed],
                        columns=["kind", "what", "how much", "where", "verdict"])
