"""Wires, grips and the room of hands over the whole travel."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from ...gearing import said_place
from ...units import shown_length
from ..blocks import Heading, Table, Text, as_read, units_in_headings
from ..columns import in_units, in_words
from ..movements import in_builds
from ..questions import clamps_apart

if TYPE_CHECKING:
    import pandas as pd

    from ...motion.system import System
    from ..answers import Answers
    from ..blocks import Block

TABLES = ("Wires", "Chafing", "Grips", "Hands")
RUNS = "least greatest never_more needed length spare bend bend_limit to_exit"


def blocks(results: Answers) -> Iterator[Block]:
    """Blocks on what wires, grips and hands need and have."""
    system = results.system
    yield Heading("Wires, grips and hands")
    for name in ("wires", "grips", "hands"):
        if getattr(results, name) is None:
            yield Text(f"Missing: {results.why_not(name)}.", "missing")
    if results.wires is not None:
        yield Table("Wires", wires_table(system, results.wires),
                    _wires_note(results.wires, system.model.length))
        yield from _clamps(results)
    if results.chafing is not None and len(results.chafing):
        data = in_units(system, results.chafing, length="gap may_be reach required")
        yield Table("Chafing", data, "What each wire can reach, and the gap of its loop as it "
                    f"lies: an arc, looked at in {results.chafing.attrs['steps']} positions of "
                    f"each input; may be: between them, by second differences.",
                    words=in_words(system, data))
    if results.grips is not None:
        yield Table("Grips", in_units(system, results.grips, length="bore shaft",
                                      angle="clocking"), "Clocking: to the right positive.",
                    rounding=as_read("clocking °"))
    if results.hands is not None:
        yield from _hands(results)


@units_in_headings
def wires_table(system: System, runs: pd.DataFrame) -> pd.DataFrame:
    """Every wire over the whole travel, where its clamps are nearest and farthest in words."""
    data = runs.assign(**{word: [said_place(system, place) for place in runs[word]]
                          for word in ("least_at", "greatest_at")})
    return in_units(system, data, length=RUNS)


def _clamps(results):
    for row in results.wires.to_dict("records"):
        if apart := clamps_apart(row, results.system.model.length):
            yield Text(f"Wire {row['wire']}: {apart}.")


def _wires_note(runs, unit) -> str:
    within = (runs["never_more"] - runs["greatest"]).max()
    proven = "not proven" if not math.isfinite(within) else \
        f"proven within {shown_length(within, unit, 4)}"
    return ("Least and greatest are the distance of its clamps; needed: free length for the whole "
            "travel, its slack and its bend limit; bend: least radius of the loop taken as an arc "
            f"with its ends free to turn, where the clamps are nearest; greatest {proven}.")


def _hands(results):
    room, unit = results.hands, results.system.model.length
    if len(room):
        data = in_units(results.system, room, length="least proven required")
        yield Table("Hands", data, "Room of the hand over the travel that the stops leave, proven "
                    f"{in_builds(results)}.",
                    words=in_words(results.system, data))
    elif far := room.attrs["far"]:
        yield Text(f"Every hand stays proven more than {shown_length(far, unit)} from everything "
                   f"else.")
