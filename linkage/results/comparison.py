"""Two model files side by side, before and after a change."""

from __future__ import annotations

import numpy as np

from .. import gearing
from ..model import STATIONS
from ..units import LENGTHS
from .answers import Answers

SAME = 1e-6  # in whatever unit: below what any two runs differ by


def compared(before: Answers, after: Answers) -> dict:
    """Tables of what differs in travels, gearing, clearance and stops.

    Parameters
    ----------
    before, after : Answers

    Returns
    -------
    dict
        ``{name: DataFrame}`` with the columns before, after and change, of what is not the same;
        lengths in the unit of `after`, and a dash where only one of the two has the row.
    """
    unit = after.system.model.length
    tables = {"Travels before and after": _changed(*map(_travels, (before, after)), "°"),
             "Gearing before and after": _changed(*map(_gearing, (before, after)), "°/°"),
             "Hardpoints before and after": _changed(
                 *(_points(each, unit) for each in (before, after)), unit)}
    if after.clearance is not None and before.clearance is not None:
        tables["Clearance before and after"] = _changed(
            *(_clearance(each, unit) for each in (before, after)), unit)
    if after.stops is not None and before.stops is not None:
        tables["Stops before and after"] = _changed(*map(_stops, (before, after)), "°")
    return {name: data for name, data in tables.items() if len(data)}


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
    per = LENGTHS[unit].mm
    model = results.system.model
    return {f"{name} {axis}": model.position(name)[k] / per for name in model.points
            for k, axis in enumerate(STATIONS)}


def _clearance(results, unit):
    return {f"{row['pair']} (proven)": row["proven"] / LENGTHS[unit].mm
            for row in results.clearance.to_dict("records") if row["rule"] != "stop"}


def _stops(results):
    return {name: angle for name, angle in zip(results.stops["stop"], results.stops["angle"],
                                               strict=True)}
