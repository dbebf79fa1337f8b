"""A sheet for each clearance that is missed: mark here, how to see it, what would cure it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import partial
from typing import TYPE_CHECKING

import pandas as pd

from ... import gearing, relief
from ...model import STATIONS
from ...units import LENGTHS, shown_length
from ..blocks import Heading, Picture, Table, Text, with_units
from .front import clearance_misses, near_of_miss, place_said

if TYPE_CHECKING:
    from ...motion import System
    from ...plots import Near
    from ...relief.marks import Mark
    from ..answers import Answers
    from ..blocks import Block

TABLES = ("Mark here ", "Cures of ")
CURED = 4  # sheets with cures worked out; each takes seconds
MOST = 12  # sheets; the rest have their rows in the table of clearances


def blocks(results: Answers) -> Iterator[Block]:
    """Blocks of a sheet for each miss that was met at a stick position."""
    misses = clearance_misses(results)
    for number, miss in enumerate(misses[:MOST], 1):
        near = near_of_miss(results, miss)
        yield Heading(f"Contact sheet {number}: {miss.what}")
        yield from _sheet(results, (miss, near), number)
    if len(misses) > MOST:
        yield Text(f"{len(misses) - MOST} more misses have no sheet; they are in the table "
                   f"Clearance.")


def _sheet(results, missed, number) -> Iterator[Block]:
    system, (miss, near) = results.system, missed
    marks = marks_of(results, near)
    done = [each for each in (results.reliefs or ([], []))[0]
            if any(row["pair"] == near.pair for row in each.pairs)]
    yield Text(f"{near.words}, at {place_said(results, near)}.",
               "miss" if miss.decided else "undecided")
    yield Picture(partial(_drawn, system, near, marks, done),
                  f"{near.pair}: a cut through the place, and both parts in their own plane")
    yield Table(f"Mark here {number}", marks_table(system, marks),
                "Stations with the system at neutral; distances on the part itself"
                + (", in the worst build met; the parts are drawn as drawn." if results.built
                   else "."))
    yield Text(how_to_see(results, near, miss.decided))
    if number > CURED:
        yield Text(f"What would cure it is worked out for the first {CURED} sheets alone.",
                   "missing")
        return
    yield Table(f"Cures of {number}", pd.DataFrame(
        [{"cure": cure.kind, "do": cure.do, "effect": cure.effect,
          "proven": "yes" if cure.works else "no"}
         for cure in results.cures[near.pair]],
        columns=["cure", "do", "effect", "proven"]),
        "Each alone, in the system as it stands; proven: this pair's clearance, no other "
        "requirement; required travels along that input, where missed, are in the effect.")


def _drawn(system, near, marks, done):
    from ... import plots

    after = {each.name: relief.outline_after(each.flat, each.cut.left) for each in done}
    return plots.mark_here(system, near, marks, after)


def marks_of(results: Answers, near: Near) -> list:
    """Where the place lies on each of the two parts."""
    motion = results.system.sweep(**near.place)
    return [relief.mark_on(motion, name, spot)
            for name, spot in zip(near.pair.split(" | "), (near.first, near.second), strict=True)]


def marks_table(system: System, marks: Iterable[Mark]) -> pd.DataFrame:
    """Both places by stations, and from two edges, holes or ends of each part."""
    unit = system.model.length
    per = LENGTHS[unit].mm
    return with_units(pd.DataFrame([{
        "part": mark.solid, **{f"{axis} {unit}": float(k) / per
                               for axis, k in zip(STATIONS, mark.stations, strict=True)},
        "on": mark.side, "measured on it": mark.said(unit) or "by stations"} for mark in marks]))


def how_to_see(results: Answers, near: Near, decided: bool = True) -> str:
    """What to do on the aircraft to see the place; whether it is missed there, or not decided."""
    system = results.system
    motion, unit = system.sweep(**near.place), system.model.length
    levels = [f"a level on {name} ({' to '.join(part.level)}) reads "
              f"{float(gearing.level_reading(motion, name)):.1f}°"
              for name, part in system.model.bodies.items() if part.level is not None]
    spot = ", ".join(f"{axis} {shown_length(k, unit)}" for axis, k in zip(STATIONS, near.middle,
                                                                      strict=True))
    reading = f" ({'; '.join(levels)})" if levels else ""
    build = "in the worst build met" if results.built else "as drawn"
    passes = f"by this computation, {build}, does not" if decided else \
        "this computation could not decide whether it does"
    return (f"To see it: hold the stick {place_said(results, near)}{reading}, look at {spot}, and "
            f"try a feeler or drill shank of {shown_length(near.required, unit)} between the two "
            f"parts: it has to pass, and {passes}.")
