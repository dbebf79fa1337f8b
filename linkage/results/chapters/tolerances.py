"""Build tolerances, builds by chance and free play: how far off a surface may come out."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from ... import gearing, rigging
from ...units import LENGTHS
from ..blocks import DataTable, Heading, Table, Text, units_in_headings
from ..columns import in_units, in_words

if TYPE_CHECKING:
    from ..answers import Answers
    from ..blocks import Block

TABLES = ("Tolerance bands", "Most moved by", "Contributors", "Builds by chance",
          "Free play bands", "Free play")
NONE = "none in the file; give [tolerance] hardpoint, rod and spacer"
NO_PLAY = "none in the file; give [play] pivot and rod_end"


def blocks(results: Answers) -> Iterator[Block]:
    """Blocks on what tolerances and play do at neutral and at every stop."""
    yield Heading("Tolerances and free play")
    if results.spots is None:
        yield Text(f"Missing: {results.why_not('spots')}.", "missing")
        return
    yield from _tolerances(results)
    if results.play is None or results.play.empty:
        yield Text(f"Free play: {results.why_not('play') or NO_PLAY}.", "missing")
    else:
        yield from _play(results)


def _tolerances(results):
    builds = results.few_builds
    if results.rigged is None or not results.rigged["moves"].to_numpy().any():
        yield Text(f"Build tolerances: {results.why_not('rigged') or NONE}.", "missing")
    elif builds is not None and builds.unbuildable:
        yield Text(f"{builds.lost:,} of {builds.count:,} builds within the tolerances can't be put "
                   f"together somewhere in the travel, so no figure of the others is given: check "
                   f"the tolerances, and how near dead centre the run comes.", "miss")
    else:
        yield from _bands(results)


def _bands(results):
    system = results.system
    bands = in_units(system, tolerance_bands(results), angle="drawn worst rss rigged_worst "
                                                             "rigged_rss")
    yield Table("Tolerance bands", bands, "How far a surface may come out, plus or minus. Worst: "
                "every dimension off the bad way at once, solved exactly, the worse side of the "
                "two; rss: root sum square, to first order. At a stop the stick is against it "
                "wherever the build puts it, that to first order. Rigged: rods set so that every "
                "part stands at neutral.", words=in_words(system, bands))
    moves = pd.concat([results.drilled.assign(rods="as made"),
                       results.rigged.assign(rods="set to neutral")], ignore_index=True)
    per = in_units(system, moves.assign(per_mm=moves["per_mm"] * _per(system)),
                   length="tolerance", angle="moves")
    per = per.rename(columns={"per mm": f"moves by °/{system.model.length}"})
    yield Table("Most moved by", _largest(per), "The largest contributors where a surface is "
                "worst, rods set.")
    yield DataTable("Contributors", lambda: per)
    if results.builds is not None:
        yield from _chance(results)


def _per(system) -> float:
    return LENGTHS[system.model.length].mm


def _largest(per, most: int = 5):
    """The largest contributors at each surface's worst spot, rods set."""
    rigged, tables = per[per["rods"] == "set to neutral"], []
    for _, mine in rigged.groupby("surface", sort=False):
        totals = mine.groupby("at", sort=False)["moves °"].sum()
        if totals.max() > 0:
            tables.append(mine[mine["at"] == totals.idxmax()].head(most))
    return pd.concat(tables) if tables else rigged.head(0)


def tells(results: Answers, surface: str, at: str) -> bool:
    """Whether a spot is neutral or moves a surface by the input that drives it."""
    inputs = {spot.name: spot.inputs for spot in results.spots}[at]
    return not inputs or gearing.driving_input(results.system, surface) in inputs


@units_in_headings
def tolerance_bands(results: Answers) -> pd.DataFrame:
    """Error bands as made and rigged, side by side, with the deflection as drawn; degrees.

    The worst of each is that of the worst corner, solved exactly, on its worse side.
    """
    made, rigged = (_worst_of(results, rates, rigged=rods) for rates, rods in (
        (results.drilled, False), (results.rigged, True)))
    table = made.merge(rigged, on=["surface", "at"], suffixes=("", "_rigged"))
    table = table.rename(columns={"worst_rigged": "rigged_worst", "rss_rigged": "rigged_rss"})
    places = {spot.name: spot.inputs for spot in results.spots}
    drawn = [float(results.system.sweep(**places[at]).deflection(surface))
             for surface, at in zip(table["surface"], table["at"], strict=True)]
    table.insert(2, "drawn", drawn)
    return table


def _worst_of(results, rates, *, rigged):
    """Error bands of the spots that tell something of a surface."""
    pairs = rates[["surface", "at"]].drop_duplicates()
    telling = {pair for pair in pairs.itertuples(index=False, name=None) if tells(results, *pair)}
    rates = rates[[pair in telling for pair in zip(rates["surface"], rates["at"], strict=True)]]
    corners = rigging.worst_corners(results.system, results.spots, rates, rigged=rigged)
    worst = np.maximum(-corners["low"].to_numpy(), corners["high"].to_numpy())
    table = rigging.error_bands(rates).drop(columns="worst").merge(
        corners.assign(worst=worst)[["surface", "at", "worst"]], on=["surface", "at"])
    return table[["surface", "at", "worst", "rss"]]


def _chance(results):
    builds = results.builds
    rows = []
    for surface in results.system.model.surfaces:
        low, high = builds.band(surface)
        for i, spot in enumerate(results.spots):
            if tells(results, surface, spot.name):
                rows.append({"surface": surface, "at": spot.name,
                             "drawn": float(builds.drawn[surface][i]), "low": float(low[i]),
                             "high": float(high[i])})
    data = in_units(results.system, pd.DataFrame(rows), angle="drawn low high")
    yield Table("Builds by chance", data, f"The middle 99.73 % of {builds.count:,} builds with "
                f"{builds.chance.spread} errors{', rigged' if builds.chance.rigged else ''}, the "
                f"stick held at the angle as drawn (seed {builds.chance.seed}), off what is drawn; "
                f"{builds.lost} can't be put together.", words=in_words(results.system, data))


def _play(results):
    system = results.system
    bands = rigging.play_bands(results.play)
    telling = [tells(results, *pair) for pair in zip(bands["surface"], bands["at"], strict=True)]
    bands = bands[telling]
    chords = [system.model.surfaces[name].chord for name in bands["surface"]]
    bands = bands.assign(edge=[math.nan if chord is None else chord * math.radians(worst)
                               for chord, worst in zip(chords, bands["worst"], strict=True)])
    yield Table("Free play bands", in_units(system, bands, angle="worst rss",
                                            length="grip_worst grip_rss edge"),
                "Total from side to side: the surface with the grip held, the grip with the "
                "surface held.")
    yield DataTable("Free play", lambda: in_units(
        system, results.play, length="play grip_moves", angle="surface_moves"))
