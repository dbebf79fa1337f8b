"""Stops, spacers to make, and the travel map."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from ... import gearing
from ...stops import stock_about
from ...units import LENGTHS, shown_length
from ..blocks import Heading, Picture, Table, Text, units_in_headings
from ..columns import in_words

if TYPE_CHECKING:
    from ...motion.system import System
    from ..answers import Answers
    from ..blocks import Block

TABLES = ("Stops", "Spacers to make")


def blocks(results: Answers) -> Iterator[Block]:
    """Blocks on which stop ends each travel, and what of the rectangle is free of contact."""
    system = results.system
    yield Heading("Stops and travel map")
    if results.stops is None:
        yield Text(f"Missing: {results.why_not('stops')}.", "missing")
    else:
        yield from _stops(results)
    yield from _spacers(system)
    yield from _map(results)


def _spacers(system):
    spacers = spacers_to_make(system)
    if not spacers.empty:
        yield Table("Spacers to make", spacers)
    twins = [there for _, there in gearing.twins(system, spacers["stop"])]
    for name in spacers["stop"]:
        if name not in twins and system.model.stops[name].spacer.stock:
            yield Picture(_chart(system, name), f"Spacer thickness at {name} against stick angle "
                                                f"and deflection")


def _chart(system, name):
    def draw():
        from ... import plots

        return plots.spacer_chart(system, plots.half_axes(), stop=name)

    return draw


def _stops(results):
    system, contacts = results.system, results.stops
    table = stops_table(system, contacts)
    yield Table("Stops", table, "Where each is reached along its input, the others at neutral.",
                words=in_words(system, table))
    angle = dict(zip(contacts["stop"], contacts["angle"], strict=True))
    side = {name: system.model.stops[name].side for name in contacts["stop"]}
    for one, other in gearing.twins(system, contacts["stop"]):
        if side[one] == side[other]:
            apart = abs(angle[one] - angle[other])
            slides = system.inputs[system.model.stops[one].input].slides
            distance = shown_length(apart, system.model.length) if slides else f"{apart:.3f}°"
            yield Text(f"Both sticks: {one} and {other} are reached {distance} apart.")


@units_in_headings
def stops_table(system: System, contacts: pd.DataFrame) -> pd.DataFrame:
    """Where each stop is reached, with which spacer, and what the surfaces do there.

    Parameters
    ----------
    system : System
    contacts : DataFrame
        What `find_stops` gave.

    Returns
    -------
    DataFrame
    """
    unit, stops = system.model.length, system.model.stops
    data = contacts[["stop", "input"]].copy()
    data["side"] = [stops[name].side for name in contacts["stop"]]
    data[f"spacer {unit}"] = [stops[name].spacer.thickness / LENGTHS[unit].mm
                              if stops[name].spacer else np.nan for name in contacts["stop"]]
    shown = [gearing.position_unit(system, system.inputs[name]) for name in contacts["input"]]
    data[f"reached at {'/'.join(sorted({word for word, _ in shown}))}"] = [
        angle / size for angle, (_, size) in zip(contacts["angle"], shown, strict=True)]
    for surface in system.model.surfaces:
        data[f"{surface} °"] = contacts[surface]
    data["governs"], data["why"] = contacts["governs"].astype(bool), contacts["reason"]
    return data


def _map(results):
    travel = results.travel_map
    if travel is None:
        yield Text(f"Travel map missing: {results.why_not('travel_map')}.", "missing")
        return
    yield Picture(lambda: _drawn(results), "The rectangle of both inputs with what can be reached "
                                           "free of contact")
    yield Text(f"{travel.usable:.1%} of the wanted {travel.inputs[1]} and {travel.inputs[0]} "
               f"rectangle is free of contact from neutral on.")
    for side, limit in travel.sides.items():
        if limit:
            yield Text(f"toward {_side_words(results.system, side)}: {limit}")
    if not any(travel.sides.values()):
        yield Text("Nothing touches on the way to any side or corner of it.")


def _drawn(results):
    from ... import plots

    return plots.travel_map(results.system, worked_out=results.drawn_map)


def _side_words(system, side: str) -> str:
    """A side or corner of the map as people say it, such as "roll right, pitch aft"."""
    words = [part.rsplit(" ", 1) for part in side.split(", ")]
    return ", ".join(f"{name} {gearing.sense_word(system, name, end == 'greatest')}"
                     for name, end in words)


@units_in_headings
def spacers_to_make(system: System) -> pd.DataFrame:
    """What to make for the stops: each spacer, where it sits and what it is stacked of."""
    unit, rows = system.model.length, []
    for name, stop in system.model.stops.items():
        if stop.spacer is None:
            continue
        stack = ""
        if stop.spacer.stock:
            for pile in stock_about(stop.spacer.stock, stop.spacer.thickness):
                if pile and abs(sum(pile) - stop.spacer.thickness) < 1e-6:
                    stack = " + ".join(f"{k / LENGTHS[unit].mm:.4g}" for k in pile)
        rows.append({"stop": name, "sits on": stop.spacer.on,
                     f"thickness {unit}": stop.spacer.thickness / LENGTHS[unit].mm,
                     f"stacked of ({unit})": stack or "to be made so thick"})
    return pd.DataFrame(rows, columns=["stop", "sits on", f"thickness {unit}",
                                       f"stacked of ({unit})"])
