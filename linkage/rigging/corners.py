"""The worst corner of the tolerances, solved exactly: every dimension off the bad way at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..motion import System
from ..stops import dimension_tolerances
from .builds import built_dimensions
from .tolerances import Spot, dimension_rates, sensitivities, set_by_rods

if TYPE_CHECKING:
    import pandas as pd

ROUNDS = 5  # corners tried one after the other, each by the signs of the one before
SAME = 1e-5  # degrees (mm) within which a travel ends at a stop


def worst_corners(system: System, at: list[Spot], rates: pd.DataFrame, *,
                  rigged: bool) -> pd.DataFrame:
    """How far every surface comes out at most, either way, in the builds at the corners.

    A corner has every dimension off by its whole tolerance, the way that the sign of its exact
    sensitivity says, asked for again in the corner itself: searched, no proof.  Rods and surfaces
    are solved exactly there; where the stick rests against a stop, how far the build shifts that
    is taken to first order.  Directions of axes are taken as drawn.

    Parameters
    ----------
    system : System
    at : list of Spot
    rates : DataFrame
        As `sensitivities` gives it for those spots.
    rigged : bool
        As it was asked.

    Returns
    -------
    DataFrame
        surface, at, low and high (degrees off what is drawn; NaN where such a build can't be put
        together), first_order (degrees, plus or minus).
    """
    import pandas as pd

    spots, rows = {spot.name: spot for spot in at}, []
    for (surface, name), mine in rates.groupby(["surface", "at"], sort=False):
        ends = [_corner(system, surface, (spots[name], mine), way, rigged) for way in (-1.0, 1.0)]
        rows.append({"surface": surface, "at": name, "low": min(ends), "high": max(ends),
                     "first_order": float(mine["moves"].sum())})
    return pd.DataFrame(rows, columns=["surface", "at", "low", "high", "first_order"])


def _corner(system, surface, which, way, rigged) -> float:
    """Degrees off what is drawn in one corner; its signs are asked for again where it lies."""
    spot, mine = which
    keys = list(zip(mine["part"], mine["what"], strict=True))
    size, sign = mine["tolerance"].to_numpy(), np.sign(mine["per_mm"].to_numpy())
    drawn = float(system.sweep(**spot.inputs).deflection(surface))
    best = -np.inf
    for _ in range(ROUNDS):
        errors = dict(zip(keys, way * sign * size, strict=True))
        shift = sum(rate * errors[key] for key, (rate, _) in spot.shifts.items() if key in errors)
        inputs = {name: value + shift for name, value in spot.inputs.items()}
        built = built_dimensions(system, errors, rigged=rigged)
        off = float(system.sweep_with(built, **inputs).deflection(surface)) - drawn
        if not np.isfinite(off):
            return np.nan
        if way * off <= best:
            break
        best = way * off
        there = _rates_there(system, surface, (spot, built, inputs), rigged)
        again = np.sign([there.get(key, 0.0) for key in keys])
        if (again == sign).all():
            break
        sign = np.where(again == 0, sign, again)
    return way * best


def _rates_there(system, surface, where, rigged) -> dict:
    """Rates of a surface per mm of each dimension in a build."""
    spot, built, inputs = where
    known = list(dimension_tolerances(system))
    total = dict(zip(known, dimension_rates(system, known, built, **inputs)[surface].tolist(),
                     strict=True))
    gearing = system.sweep_with(built, **inputs).gearing(surface)
    for name, (shift, _) in spot.shifts.items():
        total[name] = total.get(name, 0.0) + float(gearing[next(iter(spot.inputs))]) * shift
    return set_by_rods(system, total) if rigged else total


def built_travels(system: System, travels: pd.DataFrame, at: list[Spot]) -> pd.DataFrame:
    """Required travels over the builds within the file's tolerances, rods set to neutral.

    Parameters
    ----------
    system : System
    travels : DataFrame
        As `linkage.gearing.required_travels` gives it, up to the drawn stops.
    at : list of Spot
        Neutral and every stop.

    Returns
    -------
    DataFrame
        The same, with build_least and build_most (degrees found in the worst corners), ok judged
        on them, and decided: False where what the corner differs from first order is more than
        what is left of the band, so that another build may miss it.
    """
    found = travels.copy()
    found["build_least"] = found["build_most"] = np.nan
    found["decided"] = True
    for k, row in found.iterrows():
        if not np.isfinite(row["found"]):
            continue
        spot = _resting(system, at, row)
        rates = sensitivities(system, [spot], rigged=True)
        sign = 1.0 if row["way"] in ("down", "left") else -1.0
        corner = worst_corners(system, [spot], rates[rates["surface"] == row["surface"]],
                               rigged=True)
        low, high, first = corner.iloc[0][["low", "high", "first_order"]] if len(corner) else (
            0.0, 0.0, 0.0)
        ends = sorted(sign * float(end) for end in (low, high))
        found.loc[k, ["build_least", "build_most"]] = [row["found"] + end for end in ends]
        spare = row["within"] - max(abs(row["missed_by"] + end) for end in ends)
        bend = max(abs(abs(end) - first) for end in ends)
        found.loc[k, "ok"] = bool(spare >= bend)
        found.loc[k, "decided"] = bool(spare >= bend or spare < 0)
    return found


def _resting(system, at, row) -> Spot:
    """The stop that ends a travel, or the stick held where it is found."""
    for spot in at:
        if set(spot.inputs) == {row["input"]} and abs(
                spot.inputs[row["input"]] - row["at"]) < SAME:
            return spot
    return Spot("held", {row["input"]: row["at"]}, {})

