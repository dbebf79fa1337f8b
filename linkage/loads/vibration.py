"""How fast a rod shakes from side to side, beside the speeds of the engine."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from ..motion import System
from ..units import in_house_units
from .columns import tube_area, tube_inertia

if TYPE_CHECKING:
    import pandas as pd

    from ..model import Model

NEAR = 0.2  # share of an engine speed within which a rod is told: common practice, no source


def rod_frequency(model: Model, rod: str) -> float:
    """First natural frequency of a rod's tube between its balls, turns a minute.

    Parameters
    ----------
    model : Model
    rod : str

    Returns
    -------
    float
        30 / L² x √(E I / m) x π with the mass m a length, of a beam with pinned ends, unloaded
        (Blevins, Formulas for Natural Frequency and Mode Shape, from memory); NaN where the file
        gives no diameter, wall, material or density.  Shanks and rod ends are left out, which
        lower it, as compression does.
    """
    part = model.rods[rod]
    material = None if part.material is None else model.material(part.material)
    if None in (part.diameter, part.wall, material) or material.density is None:
        return math.nan
    size, length = (part.diameter, part.wall), model.rod_length(rod)
    stiff = material.modulus * float(tube_inertia(*size)) * 1e3  # kg mm³/s²
    mass = material.density * float(tube_area(*size))  # kg/mm
    return 30 * math.pi / length**2 * math.sqrt(stiff / mass)


@in_house_units(speed="first engine")
def rod_vibration(system: System) -> pd.DataFrame:
    """Every rod beside the nearest of the file's engine speeds.

    Returns
    -------
    DataFrame
        rod, first (rpm, as `rod_frequency` gives it), engine (rpm, the nearest; NaN where the file
        gives none), ratio (first over engine) and near (whether within a fifth of it).
    """
    import pandas as pd

    speeds, rows = np.array(system.model.engine, dtype=float), []
    for name in system.model.rods:
        first = rod_frequency(system.model, name)
        if math.isnan(first):
            continue
        nearest = speeds[np.abs(speeds / first - 1).argmin()] if len(speeds) else math.nan
        rows.append({"rod": name, "first": first, "engine": nearest, "ratio": first / nearest,
                     "near": bool(abs(first / nearest - 1) <= NEAR)})
    return pd.DataFrame(rows, columns=["rod", "first", "engine", "ratio", "near"])
