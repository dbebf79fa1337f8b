"""Two model files side by side, before and after a change."""

from __future__ import annotations

import numpy as np

from .. import gearing
from ..model import STATIONS
from ..units import MM_PER
from .blocks import Grid, Heading, Text
from .results import Results

SAME = 1e-6  # in whatever unit: below what any two runs differ by

def compared(before: Results, after: Results) -> dict:
    """Tables of what differs in travels, gearing, clearance and stops.

    Parameters
    ----------
    before, after : Results

    Returns
    -------
    dict
        ``{name: DataFrame}`` with the columns before, after and change, of what is not the same;
        lengths in the unit of `after`, and a dash where only one of the two has the row.
    """
    unit = after.system.model.length
    found = {"Travels before and after": _changed(*map(_travels, (before, after)), "°"),
             "Gearing before and after": _changed(*map(_gearing, (before, after)), "°/°"),
             "Hardpoints before and after": _changed(
                 *(_points(each, unit) for each in (before, after)), unit)}
    if after.clearance is not None and before.clearance is not None:
        found["Clearance before and after"] = _changed(
            *(_clearance(each, unit) for each in (before, after)), unit)
    if after.stops is not None and before.stops is not None:
        found["Stops before and after"] = _changed(*map(_stops, (before, after)), "°")
    return {name: data for name, data in found.items() if len(data)}


def comparison(before: Results, after: Results):
    """Blocks of the comparison of two model files.

    Parameters
    ----------
    before, after : Results

    Yields
    ------
    Heading, Text, Grid
    """
    yield Heading("Before and after")
    yield Text(f"Before: {before.source}, digest {before.digest}.  After: {after.source}, digest "
               f"{after.digest}.  A dash stands where only one of the two has it.")
    for finding in gearing.flipped(before.system, after.system):
        yield Text(finding.text, "miss")
    tables = compared(before, after)
    for name, data in tables.items():
        yield Grid(name, data)
    if not tables:
        yield Text("Travels, gearing, hardpoints, clearance and stops are the same.")


def _changed(before: dict, after: dict, unit: str):
    """Rows of both by their name, where they are not the same."""
    import pandas as pd

    rows = [{"what": name, f"before {unit}": before.get(name, np.nan),
             f"after {unit}": after.get(name, np.nan),
             f"change {unit}": after.get(name, np.nan) - before.get(name, np.nan)}
            for name in dict.fromkeys([*before, *after])
            if not abs(after.get(name, np.nan) - before.get(name, np.nan)) < SAME]
    return pd.DataFrame(rows, columns=["what", *(f"{w} {unit}" for w in ("before", "after",
                                                                       "change"))])


def _travels(results):
    return {f"{row['surface']} {gearing.WAYS[row['way']]}": row["found"]
            for row in results.travels.to_dict("records")}


def _gearing(results):
    motion = results.system.sweep()
    return {f"{surface} by {name}, at neutral": float(motion.gearing(surface)[name])
            for surface in results.system.model.surfaces
            for name in gearing.box_of(results.system)}


def _points(results, unit):
    per = MM_PER[unit]
    model = results.system.model
    return {f"{name} {axis}": model.position(name)[k] / per for name in model.points
            for k, axis in enumerate(STATIONS)}


def _clearance(results, unit):
    return {f"{row['pair']} (proven)": row["proven"] / MM_PER[unit]
            for row in results.clearance.to_dict("records") if row["rule"] != "stop"}


def _stops(results):
    return {name: angle for name, angle in zip(results.stops["stop"], results.stops["angle"],
                                               strict=True)}
