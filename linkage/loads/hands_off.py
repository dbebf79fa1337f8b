"""Where a stick stays hands off as trim is moved, and what trim does to its force."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..gearing import round_positions
from ..motion import System
from ..search import crossings, may_rise
from ..stops import judged_box
from ..units import in_house_units
from .feel import CLOSE, felt, let_go, rest_about, whole_travel

if TYPE_CHECKING:
    import pandas as pd

LOOKS = 61  # positions of the input that is trimmed


def trimmers(system: System) -> dict:
    """What trims what, by the file: ``{trim input: input}``."""
    return {name: part.trims for name, part in system.model.inputs.items()
            if part.trims is not None}


@in_house_units(force="at_neutral rising")
def trim_table(system: System, trim: str) -> pd.DataFrame:
    """Where the stick stays hands off, trim position by trim position.

    Parameters
    ----------
    system : System
    trim : str
        An input that trims another.

    Returns
    -------
    DataFrame
        One row per trim position and place of rest (one row with NaN where it goes to its end):
        the trim input's position; hands_off (degrees or mm of the input that it trims, at which it
        rests without friction); least and greatest (between which friction holds it about there);
        rising (N per degree or mm, how fast the force grows there); at_neutral (N, what holds the
        input at neutral); and one column per surface, its deflection there.  Trim and all other
        inputs are taken to stay where they are put.
    """
    import pandas as pd

    name = system.model.inputs[trim].trims
    rows = [row for t in round_positions(*judged_box(system)[trim])
            for row in _rows(system, name, trim, float(t))]
    columns = [trim, "hands_off", "least", "greatest", "rising", "at_neutral",
               *system.model.surfaces]
    return pd.DataFrame(rows, columns=columns)


def _rows(system, name, trim, at):
    along = whole_travel(system, name, {trim: at}, LOOKS)
    places = crossings(lambda x: along.at(x).force, along.x, tolerance=CLOSE)
    places = np.unique(places)
    neutral = float(along.at([0.0]).force[0])
    blank = {trim: at, "hands_off": np.nan, "least": np.nan, "greatest": np.nan, "rising": np.nan,
             "at_neutral": neutral}
    releases = let_go(along) if len(places) else []
    rows = []
    for place in places:
        low, high = (min(max(place + k, along.x[0]), along.x[-1]) for k in (-1e-4, 1e-4))
        rising = float(np.diff(along.at([low, high]).force)[0] / (high - low))
        if rising > 0:
            band = rest_about(releases, place) or (np.nan, np.nan)
            there = system.sweep(**{name: float(place), trim: at})
            rows.append(blank | {"hands_off": float(place), "least": band[0], "greatest": band[1],
                                 "rising": rising} | {
                s: float(there.deflection(s)) for s in system.model.surfaces})
    return rows or [blank]


def trimmed_margin(system: System, trim: str, least: float, greatest: float
                   ) -> tuple[float, float, float]:
    """By how much force trim can hold the stick hands off all over a range, either way.

    Parameters
    ----------
    system : System
    trim : str
    least, greatest : float
        Of the input that it trims, degrees (mm).

    Returns
    -------
    (float, float, float)
        The least over the range of what trim can still give beyond holding it, N; where; and how
        much less it may be between the positions looked at.  Below 0 trim does not hold it there;
        NaN where it is out of reach.

    Notes
    -----
    The force changes sign between two trim positions, so that one between them holds it: the
    greatest force over the trim positions looked at and minus the least, the lesser of both.
    """
    name = system.model.inputs[trim].trims
    x = np.linspace(least, greatest, LOOKS)
    forces = np.stack([felt(system, name, x, {trim: float(t)}).force
                       for t in round_positions(*judged_box(system)[trim])])
    sides = forces.max(axis=0), -forces.min(axis=0)
    margin = np.minimum(*sides)
    if not np.isfinite(margin).all():
        return np.nan, float(x[np.isnan(margin)][0]), 0.0
    k, rise = int(margin.argmin()), np.maximum(*(may_rise(side, [x]) for side in sides))
    return float(margin[k]), float(x[k]), float(margin[k] - (margin - rise).min())


def falling(system: System, trim: str, least: float, greatest: float) -> list[float]:
    """Trim positions at which the stick would not stay where trim balances it, within a range.

    Parameters
    ----------
    system : System
    trim : str
    least, greatest : float
        Of the input that it trims, degrees (mm).

    Returns
    -------
    list of float
        Where the force falls as the stick moves on through a balance.
    """
    name, bad = system.model.inputs[trim].trims, []
    x = np.linspace(least, greatest, LOOKS)
    for t in round_positions(*judged_box(system)[trim]):
        force = felt(system, name, x, {trim: float(t)}).force
        if ((force[:-1] > 0) & (force[1:] <= 0)).any():
            bad.append(float(t))
    return bad
