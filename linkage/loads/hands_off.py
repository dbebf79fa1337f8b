"""Where a stick stays hands off as trim is moved, and what trim does to its force."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..gearing import round_positions
from ..motion import System
from ..search import may_rise
from ..stops import judged_box
from ..units import in_house_units
from .feel import NOISE, felt, zeros

if TYPE_CHECKING:
    import pandas as pd

LOOKS = 61  # positions of the input that is trimmed
NEAR = 1e-4  # degrees (mm) to both sides of a rest between which its force is seen to rise


def trimmers(system: System) -> dict:
    """What trims what, by the file: ``{trim input: input}``."""
    return {name: part.trims for name, part in system.model.inputs.items()
            if part.trims is not None}


@in_house_units(force="at_neutral", force_per_position="rising",
                position="hands_off least greatest")
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

    box = judged_box(system)[system.model.inputs[trim].trims]
    trims, along = _felt(system, trim, np.unique([0.0, *np.linspace(*box, LOOKS)]))
    rows = [{trim: t, "at_neutral": force} for t, force in zip(
        trims, along.force[along.x == 0], strict=True)]
    rests = _rests(along, trim)
    rows = [row | rest for row in rows for rest in rests.get(row[trim], [{}])]
    columns = [trim, "hands_off", "least", "greatest", "rising", "at_neutral",
               *system.model.surfaces]
    return pd.DataFrame(rows, columns=columns)


def _rests(along, trim):
    """``{trim position: [what is at each place where it rests]}``."""
    at, places = zeros(along, 0)
    trims = along.others[trim][at]
    rising = _rising(along, trim, trims, places)
    edges = _edges(along, trim)
    there, rests = along.system.sweep(**{along.name: places, trim: trims}), {}
    for k in np.argsort(places):
        if rising[k] > 0:
            least, greatest = _held_about(edges.get(trims[k], []), places[k], along.x)
            rests.setdefault(float(trims[k]), []).append({
                "hands_off": float(places[k]), "rising": float(rising[k]),
                "least": least, "greatest": greatest,
                **{s: float(there.deflection(s)[k]) for s in along.system.model.surfaces}})
    return rests


def _rising(along, trim, trims, places):
    """How fast the force grows at places, the trim at a position of its own for each."""
    if not len(places):
        return places
    below, above = (np.clip(places + k, along.x.min(), along.x.max()) for k in (-NEAR, NEAR))
    more, less = (felt(along.system, along.name, x, {trim: trims}).force for x in (above, below))
    return (more - less) / (above - below)


def _edges(along, trim):
    """Where friction ceases to hold it, ``{trim position: [place]}``."""
    edges = {}
    for sense in (1, -1):
        for k, place in zip(*zeros(along, sense), strict=True):
            edges.setdefault(along.others[trim][k], []).append(place)
    return edges


def _held_about(edges, place, x):
    """From and to which place of a travel friction holds it about a place of rest."""
    return (max([x.min(), *(edge for edge in edges if edge <= place)]),
            min([x.max(), *(edge for edge in edges if edge >= place)]))


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
    x, _, forces = _forces(system, trim, least, greatest)
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
        Where the force falls as the stick moves on through a balance: at the trim positions looked
        at, and between two of them at the one that balances each position of the stick looked at.
    """
    x, trims, forces = _forces(system, trim, least, greatest)
    at = trims[((forces[:, :-1] > 0) & (forces[:, 1:] <= 0)).any(axis=1)]
    j, i = np.nonzero(forces[:-1, :-1] * forces[1:, :-1] < 0)
    if not len(j):
        return [float(t) for t in at]
    between = trims[j] + (trims[j + 1] - trims[j]) / (1 - forces[j + 1, i] / forces[j, i])
    here, beyond = (felt(system, system.model.inputs[trim].trims, x[k], {trim: between}).force
                    for k in (i, i + 1))
    return sorted({*at.tolist(), *between[beyond < here - NOISE].tolist()})


def _forces(system, trim, least, greatest):
    """What holds the input without friction at positions (n,), by trim: (trims, n) N."""
    x = np.linspace(least, greatest, LOOKS)
    trims, along = _felt(system, trim, x)
    return x, trims, along.force.reshape(len(trims), len(x))


def _felt(system, trim, x):
    """Trim positions, and what is felt of the input at positions of it for each in turn."""
    trims = round_positions(*judged_box(system)[trim])
    grid = [side.ravel() for side in np.meshgrid(trims, x, indexing="ij")]
    return trims, felt(system, system.model.inputs[trim].trims, grid[1], {trim: grid[0]})
