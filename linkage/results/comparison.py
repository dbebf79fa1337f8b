"""Two model files side by side, before and after a change."""

from __future__ import annotations

from functools import partial

import numpy as np

from .. import gearing
from ..model import STATIONS
from ..units import LENGTHS
from .answers import Answers

SAME = 1e-6  # in whatever unit: below what any two runs differ by


def compared(before: Answers, after: Answers) -> dict:
    """Tables of what differs in travels, gearing, hardpoints, clearance and stops.

    Parameters
    ----------
    before, after : Answers

    Returns
    -------
    dict
        ``{name: DataFrame}`` of all that was compared, with the columns before, after and change,
        and a row for each thing that is not the same; lengths in the unit of `after`, and a dash
        where only one of the two has the row.  Clearance and stops are compared where both have
        them and they were asked for.
    """
    unit = after.system.model.length
    tables = {"Travels": ("°", _travels), "Gearing": ("°/°", _gearing),
              "Hardpoints": (unit, partial(_points, unit=unit))}
    if _both(before, after, "clearance"):
        tables["Clearance"] = unit, partial(_clearance, unit=unit)
    if _both(before, after, "stops"):
        for each in sorted({control.unit for control in after.system.inputs.values()}):
            name = "Stops" if each == "°" else f"Stops in {each}"
            tables[name] = each, partial(_stops, unit=each)
    return {f"{name} before and after": _changed(rows(before), rows(after), word)
            for name, (word, rows) in tables.items()}


def _both(before, after, name) -> bool:
    if after.only and name not in after.only:
        return False
    return getattr(before, name) is not None and getattr(after, name) is not None


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
            for name in results.system.travel_box()}


def _points(results, unit):
    per = LENGTHS[unit].mm
    model = results.system.model
    return {f"{name} {axis}": model.position(name)[k] / per for name in model.points
            for k, axis in enumerate(STATIONS)}


def _clearance(results, unit):
    return {f"{row['pair']} (proven)": row["proven"] / LENGTHS[unit].mm
            for row in results.clearance.to_dict("records") if row["rule"] != "stop"}


def _stops(results, unit):
    inputs = results.system.inputs
    return {row["stop"]: row["angle"] for row in results.stops.to_dict("records")
            if inputs[row["input"]].unit == unit}
