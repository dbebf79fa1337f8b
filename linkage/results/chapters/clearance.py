"""Clearance over the whole travel, with proof."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from ...clearances import NEAR, scene_of
from ...gearing import said_place
from ...model import STATIONS, SurfaceShape
from ...units import LENGTHS, rounded_down, shown_length
from ..blocks import DataTable, Heading, Table, Text, units_in_headings
from ..columns import in_units, in_words

if TYPE_CHECKING:
    from ...motion.system import System
    from ..answers import Answers
    from ..blocks import Block

TABLES = ("Clearance", "Closest points", "Left out at joints")
ALIKE = 1e-4  # mm within which two bounds stand in the order of the file


def blocks(results: Answers) -> Iterator[Block]:
    """Blocks on the least and proven clearance of every near pair, the worst first."""
    yield Heading("Clearance over the whole travel, with proof")
    gaps, system = results.clearance, results.system
    if gaps is None:
        yield Text(f"Missing: {results.why_not('clearance')}.", "missing")
        return
    table = clearance_table(system, gaps)
    yield Table("Clearance", table, "Least was met at the stick position beside it; proven is "
                "never undercut anywhere in the travel.", words=in_words(system, table))
    if _mesh_touches(system, gaps):
        yield Text("A least gap of 0 or less against a mesh or skin says that they touch, not how "
                   "deep they overlap.")
    unit = system.model.length
    yield Text(f"{len(gaps.attrs['far'])} further pairs are proven to stay farther apart than "
               f"required and {rounded_down(NEAR / LENGTHS[unit].mm, 2):.2f} {unit} more.")
    for pair, place in gaps.attrs["open"].items():
        yield Text(f"not proven near {said_place(system, place)}: {pair}", "undecided")
    yield from _waived(system, gaps)
    left_out = left_out_table(system)
    if len(left_out):
        yield Table("Left out at joints", left_out, "What lies within the radius about a joint "
                    "that two parts share is meant to touch there, and is held to nothing.")
    yield DataTable("Closest points", lambda: points_table(system, gaps))


def _waived(system, gaps):
    """Waived pairs, those with one reason in one sentence."""
    least = dict(zip(gaps["pair"], gaps["least"], strict=True))
    reasons = {}
    for pair, why in scene_of(system).waived.items():
        gap = f" (least {shown_length(least[pair], system.model.length)})" if pair in least else ""
        reasons.setdefault(why, []).append(f"{pair}{gap}")
    for why, pairs in reasons.items():
        yield Text(f"Waived: {'; '.join(pairs)}, because {why}")


def _mesh_touches(system, gaps) -> bool:
    """Whether a pair with a mesh or skin touches, of which no depth is worked out."""
    return any(isinstance(system.model.solids[solid], SurfaceShape)
               for pair in gaps["pair"][gaps["least"] <= 0] for solid in pair.split(" | "))


@units_in_headings
def clearance_table(system: System, gaps: pd.DataFrame) -> pd.DataFrame:
    """Least and proven clearance of every listed pair but stops and waivers, and where.

    Parameters
    ----------
    system : System
    gaps : DataFrame
        What `linkage.clearance` gave.

    Returns
    -------
    DataFrame
    """
    bounds = [name for name in ("least", "proven", "real_least", "real_proven", "required")
              if name in gaps]
    judged = gaps[~gaps["rule"].isin(["stop", "waived"])]
    order = np.lexsort((np.arange(len(judged)), (judged["proven"] / ALIKE).round(),
                        judged["ok"].astype(bool)))
    data = judged.iloc[order][["pair", *bounds, "ok", "rule", *system.travel_box()]]
    return in_units(system, data.rename(columns={"rule": "class"}), length=" ".join(bounds))


@units_in_headings
def left_out_table(system: System) -> pd.DataFrame:
    """Material of which pair is left out at which joint, and where the radius comes from."""
    rows = [{"joint": item.ball.joint, "radius": item.ball.radius, "pair": item.name,
             "wholly there": ", ".join(item.whole), "radius from": item.ball.source}
            for item in scene_of(system).left_out]
    rows.sort(key=lambda row: row["joint"])
    return in_units(system, pd.DataFrame(rows), length="radius")


@units_in_headings
def points_table(system: System, gaps: pd.DataFrame) -> pd.DataFrame:
    """The two closest points of every listed pair, stops and waivers too."""
    unit = system.model.length
    columns = {"pair": gaps["pair"], "class": gaps["rule"]}
    for word in ("least", "proven", "required"):
        columns[f"{word} {unit}"] = gaps[word] / LENGTHS[unit].mm
    for word in ("first", "second"):
        for axis, station in enumerate(STATIONS):
            columns[f"{word} {station} {unit}"] = [spot[axis] / LENGTHS[unit].mm
                                                   for spot in gaps[word]]
    return pd.DataFrame(columns)
