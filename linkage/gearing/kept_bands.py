"""Whether surfaces keep to their required travels wherever the other inputs stand.

`required_travels` looks along one input, the others at neutral.  What the stops leave of that input
may be more, or less, with another one moved.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np

from ..motion import System
from ..units import in_house_units
from .gearing_sign import enclosed_deflection, projected, prove_sign
from .surface_ways import commands, moved_by, travel_ends
from .travels import SIGNS

if TYPE_CHECKING:
    import pandas as pd

PLACES = 9  # of each other input, at which the end of the travel is looked up
SAME = 1e-9  # degrees


@in_house_units(angle="required within found")
def bands(system: System, travels: pd.DataFrame, cells: tuple[dict, dict],
          fine: dict) -> pd.DataFrame:
    """Required travels that some position of the other inputs brings out of their band.

    Parameters
    ----------
    system : System
    travels : DataFrame
        As `required_travels` gives it.
    cells : (dict, dict)
        Centres and halves, ``{input: ndarray (n,)}``: a cover of the travel that the stops leave.
    fine : dict
        ``{input: degrees (mm)}`` by which that cover may be larger than the truth.

    Returns
    -------
    DataFrame
        surface, way, required, within, found (degrees, at `place`), place (``{input: degrees or
        mm}``) and decided, a row for each that goes too far, not far enough, or is not proven to
        do neither.  That none goes too far is proven; whether one ends too soon is looked up at
        ``attrs["places"]`` positions of each other input.  Inputs that command the surface too
        stay at 0, since what they do to it is meant.
    """
    import pandas as pd

    rows = []
    for row in travels.to_dict("records"):
        if row["ok"] and np.isfinite(row["found"]):
            rows += _of_one(system, row, cells, fine)
    table = pd.DataFrame(rows, columns=["surface", "way", "required", "within", "found", "place",
                                        "decided"])
    table.attrs["places"] = PLACES
    return table


def _of_one(system, row, cells, fine):
    body = system.model.surfaces[row["surface"]].body
    here = _others_at_neutral(system, row, cells)
    needed = [name for name in here[0] if name in system.plan.depends_on()[body]]
    if row["input"] not in needed:
        return
    far = _too_far(system, row, projected(here, needed), fine)
    short = _too_short(system, row, here)
    for place, reached, decided in [*far, *short]:
        yield {**{k: row[k] for k in ("surface", "way", "required", "within")}, "found": reached,
               "place": place, "decided": decided}


def _others_at_neutral(system, row, cells):
    """The cells where other inputs that command the surface stand at 0, along those left."""
    moved = moved_by(system, row["surface"])
    held = [n for n in cells[0] if n != row["input"] and n in moved and commands(moved[n], moved)]
    count = len(cells[0][row["input"]])
    inside = _all_of(count, (np.abs(cells[0][n]) <= cells[1][n] for n in held))
    return tuple({n: k[n][inside] for n in cells[0] if n not in held} for k in cells)


def _all_of(count, conditions) -> np.ndarray:
    """Where all of some conditions, bool (count,) each, hold; everywhere without any."""
    return np.logical_and.reduce([np.ones(count, bool), *conditions])


def _deflection(system, row, places):
    """Degrees the required way at places, ``{input: ndarray (n,)}``."""
    return SIGNS[row["way"]] * np.asarray(system.sweep(**places).deflection(row["surface"]))


def _too_far(system, row, cells, fine):
    """The farthest place that goes past the band, if one does or is not proven not to."""
    sign, most = SIGNS[row["way"]], row["required"] + row["within"] + SAME

    def room(centres, halves):
        low, high = enclosed_deflection(system, row["surface"], centres, halves)
        return (most - high, most - low) if sign > 0 else (most + low, most + high)

    proof = prove_sign(room, *cells)
    for which in ("wrong", "open"):
        middles = getattr(proof, which)
        if len(middles):
            places = dict(zip(proof.names, middles.T, strict=True))
            turned = _deflection(system, row, places)
            if np.isnan(turned).all():  # rods that don't reach there are missed for themselves
                continue
            k = int(np.nanargmax(turned))
            place = {n: float(values[k]) for n, values in places.items()}
            gearing = system.sweep(**place).gearing(row["surface"])
            seam = sum(abs(float(gearing[n])) * fine.get(n, 0.0) for n in place)
            yield place, float(turned[k]), which == "wrong" and bool(turned[k] > most + seam)
            return


def _too_short(system, row, cells):
    """The place of the other inputs where the travel ends soonest, if too soon."""
    soonest = min(_ends_reached(system, row, cells), key=lambda end: end[1], default=None)
    if soonest is not None and soonest[1] < row["required"] - row["within"] - SAME:
        yield *soonest, True


def _ends_reached(system, row, cells):
    """Each place of the other inputs with the end of the travel there, and the degrees reached."""
    name, (low, high) = row["input"], ({n: cells[0][n] + way * cells[1][n] for n in cells[0]}
                                       for way in (-1.0, 1.0))
    ends = travel_ends(system, cells)
    sides = {n: np.linspace(*ends[n], PLACES).tolist() for n in low if n != name}
    for values in itertools.product(*sides.values()):
        at = dict(zip(sides, values, strict=True))
        both = _ends_at(name, at, low, high)
        if both is None:
            continue
        turned = _deflection(system, row, {**{n: np.full(2, x) for n, x in at.items()}, name: both})
        if np.isfinite(turned).all():
            yield {name: float(both[turned.argmax()]), **at}, float(turned.max())


def _ends_at(name, at, low, high):
    """Both ends of an input with the others at a place, by cells; None where no cell is there."""
    held = _all_of(len(low[name]), ((low[n] <= x) & (x <= high[n]) for n, x in at.items()))
    return np.array([low[name][held].min(), high[name][held].max()]) if held.any() else None
