"""How a chapter of a report opens: what is not in order first, and in a line what is."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from ..blocks import Text

if TYPE_CHECKING:
    from ..answers import Answers
    from ..blocks import Block


def opening(results: Answers, chapter: str) -> Iterator[Block]:
    """Blocks that open a chapter: misses, what could not be judged, what is in order in one line.

    Parameters
    ----------
    results : Answers
    chapter : str
        Its name; none where no question belongs to it.
    """
    mine = [each for each in results.verdict.standings if each.chapter == chapter]
    yield from _misses(mine)
    yield from _not_judged(mine)
    yield from _in_order(mine, results.verdict.build)


def _misses(standings):
    for each in standings:
        for miss in each.missed:
            yield Text(f"{each.kind}: {miss.sentence}", "miss" if miss.decided else "undecided")


def _not_judged(standings):
    left = [_begun(sentence) for each in standings for sentence in each.left]
    if left:
        yield Text(f"Not judged, and why under What the answer rests on: "
                   f"{'; '.join(dict.fromkeys(left))}.", "missing")


def _in_order(standings, build):
    met = [each.judged for each in standings if each.judged and not each.missed]
    partly = [f"of {each.judged} all but {len(each.missed)} above" for each in standings
              if each.judged and each.missed]
    if met or partly:
        yield Text(f"In order, as computed ({build}): "
                   f"{'; '.join([*met, *partly])}.")


def _begun(sentence) -> str:
    """What a sentence is about, its list of parts after the first left for elsewhere."""
    about, *more = sentence.split(":")[0].split(", ")
    return f"{about} …" if more else about
