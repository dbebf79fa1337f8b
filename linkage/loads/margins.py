"""Margins of rods, their end joints and torque tubes at the worst of their loads."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from ..motion import System
from ..units import in_house_units
from .columns import column_load, slenderness, torsion_stress, tube_area
from .worst import beam_at, worst_loads

if TYPE_CHECKING:
    import pandas as pd

    from ..model.whole import Model

SHEAR = math.sqrt(3.0)  # shear strength as a share of the tensile one: distortion energy


@in_house_units(force="tension compression column joint_needs", length="length")
def rod_margins(system: System, worst: pd.DataFrame | None = None) -> pd.DataFrame:
    """Every rod against its greatest tension and compression.

    Parameters
    ----------
    system : System
    worst : DataFrame, optional
        As `worst_loads` gives it.

    Returns
    -------
    DataFrame
        One row per rod: rod, tension, compression (N), length (mm), slenderness (L'/rho, end
        fixity included), column (N, at which it fails as a column), column_margin, tube_margin
        (yield at limit load and ultimate at limit x safety, whichever is less), joint_factor,
        joint_needs (N of ultimate strength), joint_margin, missing (what the file leaves out, ""
        when nothing).  A margin is strength / (load x factor) - 1: below 0 it is missed; NaN where
        the file gives too little, infinite without load.
    """
    import pandas as pd

    worst = worst_loads(system) if worst is None else worst
    loads = {(row["part"], row["what"]): row["force"] for row in worst.to_dict("records")}
    rows = []
    model = system.model
    for name in model.rods:
        pull, push = (loads.get((name, what), 0.0) for what in ("tension", "compression"))
        rows.append({"rod": name, "tension": pull, "compression": push,
                     "length": model.rod_length(name), **_tube(model, name, pull, push),
                     **_joint(model, name, max(pull, push)),
                     "missing": ", ".join(missing(model, name))})
    return pd.DataFrame(rows, columns=[
        "rod", "tension", "compression", "length", "slenderness", "column", "column_margin",
        "tube_margin", "joint_factor", "joint_needs", "joint_margin", "missing"])


def missing(model: Model, rod: str) -> list[str]:
    """What the file leaves out of a rod that its strength needs."""
    part = model.rods[rod]
    return [word for word in ("diameter", "wall", "material") if getattr(part, word) is None]


def _tube(model, name, pull, push):
    nothing = {"slenderness": np.nan, "column": np.nan, "column_margin": np.nan,
               "tube_margin": np.nan}
    if missing(model, name):
        return nothing
    part, material = model.rods[name], model.material(model.rods[name].material)
    size, length = (part.diameter, part.wall), model.rod_length(name)
    column = float(column_load(length, *size, material, part.fixity))
    return {"slenderness": float(slenderness(length, *size, part.fixity)), "column": column,
            "column_margin": margin(column, push, model.factor.safety),
            "tube_margin": _tension_margin(material, float(tube_area(*size)), max(pull, push),
                                           model.factor.safety)}


def _tension_margin(material, area, load, safety):
    yields = margin(material.yield_stress * area, load, 1.0)
    if material.ultimate is None:
        return yields
    return min(yields, margin(material.ultimate * area, load, safety))


def _joint(model, name, load):
    part, factors = model.rods[name], model.factor
    fitting = factors.fitting if part.fitting is None else part.fitting
    bearing = factors.bearing if part.bearing is None else part.bearing
    factor = max(factors.safety * fitting, bearing)
    return {"joint_factor": factor, "joint_needs": factor * load, "joint_margin":
            np.nan if part.strength is None else margin(part.strength, load, factor)}


def margin(strength: float, load: float, factor: float) -> float:
    """Strength / (load x factor) - 1; infinite without load.

    Examples
    --------
    >>> margin(3000.0, 1000.0, 1.5)
    1.0
    """
    return strength / (load * factor) - 1 if load > 0 else math.inf


@in_house_units(moment="torsion bending", stress="stress", length="x y z")
def tube_margins(system: System, worst: pd.DataFrame | None = None) -> pd.DataFrame:
    """Every torque tube at the worst of its loads, as a beam where it turns in two bearings.

    Parameters
    ----------
    system : System
    worst : DataFrame, optional
        As `worst_loads` gives it.

    Returns
    -------
    DataFrame
        One row per body with a tube: body, torsion (N mm, greatest in the tube), bending (N mm, at
        the worst place; NaN where the file places no bearings, and bending is then not in it),
        stress (N/mm², equivalent by distortion energy), x, y, z (worst place on its middle line at
        neutral, mm), case, margin (yield at limit load, ultimate at limit x safety, whichever is
        less), missing, and one column per input.
    """
    import pandas as pd

    worst = worst_loads(system) if worst is None else worst
    named = {(row["part"], row["what"]): row for row in worst.to_dict("records")}
    names = list(system.travel_box())
    rows = [_tube_row(system, name, named) for name, body in system.model.bodies.items()
            if body.tube is not None]
    return pd.DataFrame(rows, columns=["body", "torsion", "bending", "stress", "x", "y", "z",
                                       "case", "margin", "missing", *names])


def _tube_row(system, name, named):
    body, tube = system.model.bodies[name], system.model.bodies[name].tube
    twisted = named.get((name, "tube"), {"moment": 0.0, "case": ""})
    stress = SHEAR * float(torsion_stress(twisted["moment"], tube.diameter, tube.wall))
    row = {"body": name, "torsion": twisted["moment"], "bending": np.nan, "stress": stress,
           "x": np.nan, "y": np.nan, "z": np.nan, "case": twisted["case"],
           **_places(system, twisted)}
    if (name, "stress") in named:
        most = named[name, "stress"]
        beam = beam_at(system, name, most)
        k = int(beam.stress[0].argmax())
        place = np.add(body.centre, np.multiply(beam.stations[0, k], body.direction))
        row |= {"bending": float(beam.bending[0, k]), "stress": most["stress"],
                "case": most["case"], **dict(zip("xyz", place.tolist(), strict=True)),
                **_places(system, most)}
    known = tube.material is not None
    row["margin"] = _tension_margin(system.model.material(tube.material), 1.0, row["stress"],
                                    system.model.factor.safety) if known else np.nan
    lacking = [] if known else ["material"]
    row["missing"] = ", ".join(lacking + (["bearings"] if body.bearings is None else []))
    return row


def _places(system, row):
    return {name: row.get(name, np.nan) for name in system.travel_box()}
