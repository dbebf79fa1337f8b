"""Margins of rods, their end joints and torque tubes at the worst of their loads."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from ..model import FITTING, SPECIAL, TorqueTube
from ..motion import System
from ..units import in_house_units
from .columns import torque_wall_stress, torsion_stress, tube_area
from .joints import fitting_factor
from .plates import plate_cuts, plate_stress, unbored
from .rod_columns import rod_column, shanks
from .shafts import shaft_stress, shafts
from .worst import beam_at, case_at, worst_loads

if TYPE_CHECKING:
    import pandas as pd

    from ..model import Material
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
        One row per rod: rod, tension, compression (N), length (mm), slenderness (L'/rho of the tube
        that buckles at the same elastic load as it, its shanks and end fixity included), column (N,
        at which it fails as a column), rule (what gave that), column_margin, tube_margin (yield at
        limit load and ultimate at limit x safety, whichever is less), shank_margin (of the thinner
        bare shank at the root of its thread in tension, ultimate at limit x safety x fitting, bent
        by the friction of its ball), thread_margin (of the engaged thread against stripping: half a
        cylinder at the root, in shear, at limit x safety x fitting), joint_factor, joint_needs (N
        of strength), joint_margin, joint_by (which figure of its ends decides, and the factor's
        reason), missing (what the file
        leaves out, "" when nothing).  A margin is strength / (load x factor) - 1: below 0 it is
        missed; NaN where the file gives too little, infinite without load.
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
                     "shank_margin": _shank_margin(model, name, max(pull, push)),
                     "thread_margin": _thread_margin(model, name, max(pull, push)),
                     **_joint(model, name, max(pull, push)),
                     "missing": ", ".join(missing(model, name))})
    return pd.DataFrame(rows, columns=[
        "rod", "tension", "compression", "length", "slenderness", "column", "rule", "column_margin",
        "tube_margin", "shank_margin", "thread_margin", "joint_factor", "joint_needs",
        "joint_margin", "joint_by", "missing"])


def missing(model: Model, rod: str) -> list[str]:
    """What the file leaves out of a rod that its strength needs."""
    part = model.rods[rod]
    return [word for word in ("diameter", "wall", "material") if getattr(part, word) is None]


def _tube(model, name, pull, push):
    nothing = {"slenderness": np.nan, "column": np.nan, "rule": "", "column_margin": np.nan,
               "tube_margin": np.nan}
    if missing(model, name):
        return nothing
    part, material = model.rods[name], model.material(model.rods[name].material)
    column, area = rod_column(model, name), float(tube_area(part.diameter, part.wall))
    return {"slenderness": column.slenderness, "column": column.load, "rule": column.rule,
            "column_margin": margin(column.load, push, model.factor.safety),
            "tube_margin": tension_margin(material, area, max(pull, push), model.factor.safety)}


def _shank_margin(model, name, load):
    """Of the shank that holds less; NaN where the file gives no shank or no material."""
    if model.rods[name].material is None:
        return np.nan
    friction = model.rods[name].friction or 0.0
    margins = []
    for shank in shanks(model, name):
        if shank is None:
            return np.nan
        # stress at the root, N/mm²: pull or push, and what the ball's friction bends it with
        bent = friction + load * shank.lever
        stress = load / shank.area + bent * shank.diameter / 2 / shank.inertia
        material, factor = shank.material, fitting_factor(model)[0]
        yields = margin(material.yield_stress, stress, 1.0)
        breaks = math.inf if material.ultimate is None else margin(material.ultimate, stress,
                                                                    factor)
        margins.append(min(yields, breaks) if load > 0 else math.inf)
    return min(margins)


def tension_margin(material: Material, area: float, load: float, safety: float) -> float:
    """Of a section of an area, mm²: yield at limit load, ultimate at limit x safety, the lesser."""
    yields = margin(material.yield_stress * area, load, 1.0)
    if material.ultimate is None:
        return yields
    return min(yields, margin(material.ultimate * area, load, safety))


def _thread_margin(model, name, load):
    """Of the thread engaged in the tube, the weaker of the two materials (simple texts)."""
    part, margins = model.rods[name], []
    for shank in shanks(model, name) if part.material is not None else (None,):
        weaker = None if shank is None else min(
            (k for k in (shank.material.breaks_in_shear,
                         model.material(part.material).breaks_in_shear) if k), default=None)
        if weaker is None:
            return np.nan
        strength = math.pi * shank.diameter * shank.engaged / 2 * weaker
        margins.append(margin(strength, load, fitting_factor(model)[0]))
    return min(margins)


def _joint(model, name, load):
    """The figure of a rod's two ends that leaves least, under the factor that goes with it."""
    figures = list(_end_strengths(model, name))
    if not figures:
        factor, why = _joint_factor(model, name)
        return {"joint_factor": factor, "joint_needs": factor * load, "joint_margin": np.nan,
                "joint_by": f"no strength given; {why}"}
    strength, factor, words = min(figures, key=lambda figure: figure[0] / figure[1])
    return {"joint_factor": factor, "joint_needs": factor * load,
            "joint_margin": margin(strength, load, factor), "joint_by": words}


def _end_strengths(model, name):
    """Each figure given for a rod's ends: N, factor, words."""
    factor, why = _joint_factor(model, name)
    if model.rods[name].strength is not None:
        yield model.rods[name].strength, factor, f"strength, {why}"
    for end in (0, 1):
        rod_end = model.fitting(name, end)[1]
        if rod_end is not None and rod_end.ultimate is not None:
            yield rod_end.ultimate, factor, f"ultimate of its rod end, {why}"
        if rod_end is not None and rod_end.rating is not None:
            yield rod_end.rating, 1.0, "rating of its rod end, not to be exceeded"


def _joint_factor(model, name) -> tuple[float, str]:
    """Factor on the ultimate strength of a rod's end joints, and why."""
    part, factors = model.rods[name], model.factor
    fitting = next(k for k in (part.fitting, factors.fitting, FITTING) if k is not None)
    bearing = next(k for k in (part.bearing, factors.bearing, SPECIAL["push-pull"])
                   if k is not None)
    whole = factors.safety * fitting
    if bearing <= whole:
        return whole, f"{factors.safety:g} x fitting {fitting:g}"
    from_file = part.bearing is not None or factors.bearing is not None
    return bearing, f"bearing {bearing:g}" + (
        "" if from_file else ", as the file does not say that it is no plain bearing")


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
    """Every torque tube at the worst of its loads, as a beam where it turns in bearings.

    Parameters
    ----------
    system : System
    worst : DataFrame, optional
        As `worst_loads` gives it.

    Returns
    -------
    DataFrame
        One row per body with a tube, and per shaft (tube or pipe with a wall, "body/solid") and
        plate with a material that takes a rod's end: body,
        torsion (N mm, greatest in the tube), bending (N mm, at
        the worst place; NaN where the file places no bearings, and bending is then not in it),
        stress (N/mm², equivalent by distortion energy), x, y, z (worst place on its middle line at
        neutral, mm), case, margin (yield at limit load, ultimate at limit x safety, whichever is
        less, of a plate with its buckling: `together_margin`), buckling (share of the load at which
        a plate's arms buckle out of their plane, NaN of all else), missing, and one column per
        input.
    """
    import pandas as pd

    worst = worst_loads(system) if worst is None else worst
    named = {(row["part"], row["what"]): row for row in worst.to_dict("records")}
    names = list(system.travel_box())
    rows = [_tube_row(system, name, named) for name, body in system.model.bodies.items()
            if body.tube is not None]
    rows += [_shaft_row(system, name, named) for name in shafts(system.model)]
    rows += [_plate_row(system, name, named) for name in plate_cuts(system)]
    return pd.DataFrame(rows, columns=["body", "torsion", "bending", "stress", "x", "y", "z",
                                       "case", "margin", "buckling", "missing", *names])


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
    lacking = ["material"] if tube.material is None else []
    row["margin"] = np.nan if lacking else _bent_margin(system.model, tube, row["stress"])
    row["missing"] = ", ".join(lacking + (["bearings"] if body.bearings is None else []))
    return row


def _shaft_row(system, name, named):
    """A shaft where it is worst, its place on its line at neutral."""
    model, body = system.model, name.split("/")[0]
    solid, most = model.solids[name], named.get((name, "stress"), {"stress": 0.0, "case": ""})
    row = {"body": name, "torsion": 0.0, "bending": 0.0, "stress": most["stress"], "x": np.nan,
           "y": np.nan, "z": np.nan, "case": most["case"], "missing": "",
           **_places(system, most)}
    if most["case"]:
        statics, share = case_at(system, most)
        stations, way, _, turn = (k[0] for k in statics.shafts[name])
        k = int(shaft_stress(statics, share, name)[0].argmax())
        moment = share[0] @ turn[:, k]
        row["torsion"] = abs(float(moment @ way[k]))
        row["bending"] = float(np.linalg.norm(moment - (moment @ way[k]) * way[k]))
        line = np.array([model.spot(body, place) for place in solid.along])
        along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
        row |= {word: float(np.interp(stations[k], along, line[:, i]))
                for i, word in enumerate("xyz")}
    section = TorqueTube(diameter=solid.diameter, wall=solid.wall,
                         material=model.bodies[body].material)
    row["margin"] = _bent_margin(model, section, row["stress"])
    return row


def _plate_row(system, name, named):
    """A plate at the cut where it is worst, the middle of its net section at neutral."""
    model, (body, solid) = system.model, name.split("/")
    most = named.get((name, "stress"), {"stress": 0.0, "case": ""})
    row = {"body": name, "torsion": np.nan, "bending": 0.0, "stress": most["stress"], "x": np.nan,
           "y": np.nan, "z": np.nan, "case": most["case"], **_places(system, most)}
    if most["case"]:
        statics, share = case_at(system, most)
        k = int(plate_stress(statics, share, name)[0].argmax())
        shape = model.bodies[body].solids[solid]
        place = model.spot(body, shape.at) + plate_cuts(system)[name].middles[k] @ np.stack(
            shape.axes)
        row |= dict(zip("xyz", place.tolist(), strict=True))
    lacking = unbored(model, name, (*plate_cuts(system)[name].addresses, f"{body}/pivot"))
    row["missing"] = f"hole at {', '.join(lacking)}" if lacking else ""
    made, near = model.material(model.solids[name].material), named.get((name, "buckling"))
    row["buckling"] = near["stress"] / made.yield_stress if near else 0.0
    row["margin"] = together_margin(made, row["stress"], row["buckling"], model.factor.safety)
    return row


def together_margin(material: Material, stress: float, buckling: float, safety: float) -> float:
    """Of a section and of buckling together: 1 / (stress / strength + share of buckling load) - 1.

    Yield at limit load, ultimate at limit x safety, the lesser (W. Merchant's and Rankine's rule,
    from memory: no more than what a member in which both grow together bears).
    """
    limits = [(material.yield_stress, 1.0)]
    limits += [(material.ultimate, safety)] if material.ultimate else []
    return min(margin(1.0, stress / strength + buckling, factor) for strength, factor in limits)


def _bent_margin(model, tube, stress):
    """Yield at limit load, ultimate and the buckling of its wall at limit x safety."""
    material, safety = model.material(tube.material), model.factor.safety
    wall = torque_wall_stress(tube.diameter, tube.wall, material)
    plain = tension_margin(material, 1.0, stress, safety)
    return plain if wall == material.yield_stress else min(margin(wall, stress, safety), plain)


def _places(system, row):
    return {name: row.get(name, np.nan) for name in system.travel_box()}
