"""Required clearances as part of a fit: where a pair comes too near, and how that changes."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

from ..clearances import pair_gap, scene_of
from ..errors import LinkageError
from ..motion import System
from ..stops import clearance
from .dimensions import Layout
from .fit import Cut
from .targets import Aim

if TYPE_CHECKING:
    import pandas as pd

    from ..clearances.scene import Pair

BRACKET = 0.02  # mm; width of the proof
PAD = 0.03  # mm beyond the requirement that a fit aims for, so that the proof finds it met
STEP = 1e-3  # mm and degrees to either side for the rate of a gap
SAME = 1e-6  # mm, and mm per mm, within which two pairs come near alike
STILL = 1e-9  # mm per mm below which a dimension doesn't change a gap


def proven(system: System, after: pd.DataFrame | None = None) -> pd.DataFrame:
    """The clearance table over the travel that the stops leave; None where the file asks for none.

    Parameters
    ----------
    system : System
    after : DataFrame, optional
        That of a like system, whose proof is taken up.

    Returns
    -------
    DataFrame or None
    """
    if not system.model.size.clearance or not system.model.solids:
        return None
    return clearance(system, BRACKET, after=after)


def too_near(system: System, table: pd.DataFrame) -> dict:
    """Where each missed pair is nearest.

    Parameters
    ----------
    system : System
    table : DataFrame or None
        From `proven`.

    Returns
    -------
    dict
        ``{pair name: (Pair, {input: position})}``.
    """
    if table is None:
        return {}
    return {row["pair"]: (scene_of(system).pairs[row["pair"]],
                          {n: float(row[f"real_{n}"]) for n in system.travel_box()})
            for row in table[~table["ok"].astype(bool)].to_dict("records")}


def cuts(layout: Layout, values: np.ndarray,
         watched: Iterable[tuple[Pair, dict]]) -> tuple[tuple[Cut, ...], tuple[str, ...]]:
    """Gaps of watched pairs at their positions as they change with the dimensions.

    Parameters
    ----------
    layout : Layout
    values : ndarray (k,)
    watched : list of (Pair, dict)

    Returns
    -------
    (tuple of Cut, tuple of str)
        And the pairs that no dimension changes; of two that change alike, as twins do, one.
    """
    systems = [_system(layout, values + move) for move in _moves(len(values))]
    terms, still = [], []
    for pair, position in watched:
        gaps = np.array([np.nan if s is None else float(pair_gap(s.sweep(**position), pair))
                         for s in systems])
        rate = np.nan_to_num((gaps[1::2] - gaps[2::2]) / (2 * STEP))
        if np.abs(rate).max(initial=0.0) < STILL:
            still.append(pair.name)
            continue
        if any(abs(other.value - gaps[0]) < SAME and np.abs(other.rate - rate).max() < SAME
               for other in terms):
            continue
        aim = Aim("clearance", pair.name, "", "", pair.required + PAD, 0.0)
        terms.append(Cut(aim, tuple(position.items()), float(gaps[0]), rate, values))
    return tuple(terms), tuple(dict.fromkeys(still))


def _moves(count):
    yield np.zeros(count)
    for row in np.eye(count):
        yield STEP * row
        yield -STEP * row


def _system(layout, values):
    try:
        return System(layout.model_at(values))
    except LinkageError:
        return None
