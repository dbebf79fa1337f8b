"""Bolts, bearings and plates against what they carry, each with the factor of its kind."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from ..model import FITTING, SPECIAL
from ..motion import System
from ..units import in_house_units
from .worst import worst_loads

if TYPE_CHECKING:
    import pandas as pd

    from ..model import Model
    from ..model.strength import BoltedJoint

RULES = {"push-pull": "14 CFR 23.693", "hinge": "14 CFR 23.657(a)", "cable": "14 CFR 23.693"}
COLUMNS = ["joint", "at", "check", "load", "factor", "reason", "strength", "margin", "missing"]


@in_house_units(force="load strength")
def joint_margins(system: System, worst: pd.DataFrame | None = None) -> pd.DataFrame:
    """Every joint that the file describes, at each place it is at, against its greatest load.

    Parameters
    ----------
    system : System
    worst : DataFrame, optional
        As `worst_loads` gives it.

    Returns
    -------
    DataFrame
        One row per place and way of failing: joint, at, check ("bolt in shear", "bearing",
        "plate in bearing", "tear-out", "net section", "rating"), load (N at limit), factor, reason
        (of the factor), strength (N), margin (strength / (load x factor) - 1, NaN where the file
        gives too little) and missing (what it leaves out).

    Notes
    -----
    Bearing: bolt x length x ultimate bearing stress of the softest material there, under the factor
    of its kind in place of 1.5 and 1.15.  Plate in bearing, where the bolt bears in a bush or a
    rolling bearing: bolt x thickness x the plate's, under the fitting factor.  Shear: cuts x area
    of the bolt; tear-out: two planes from the hole's edge to the plate's; net section: width less
    hole, all x 1.5 x the fitting factor, the highest pertinent special factor (14 CFR 23.619,
    amendment 23-7), not a product.  The load is taken along the least edge distance, whichever way
    it points (simple lug texts, from memory).
    """
    import pandas as pd

    worst = worst_loads(system) if worst is None else worst
    carried = loads_at(system, worst)
    rows = [{"joint": name, "at": place, **row}
            for name, joint in system.model.joints.items() for place in joint.places
            for row in _checks(system.model, joint, place, carried.get(place, 0.0))]
    return pd.DataFrame(rows, columns=COLUMNS)


def loads_at(system: System, worst: pd.DataFrame) -> dict[str, float]:
    """Greatest load at the ends of rods and at pivots, ``{part/point: N}``.

    Rods that end at one point are added up, each at its greatest; of a pivot between bearings
    it is that of the one that carries most.
    """
    forces = {}
    for row in worst.to_dict("records"):
        forces.setdefault(row["part"], {})[row["what"]] = row["force"]
    carried = {}
    for name, rod in system.model.rods.items():
        most = max(forces.get(name, {}).get(what, 0.0) for what in ("tension", "compression"))
        for end in rod.ends:
            carried[end] = carried.get(end, 0.0) + most
    for name, body in system.model.bodies.items():
        held = ("pivot",) if body.bearings is None else [
            f"bearing {k + 1}" for k in range(len(body.bearings))]
        carried[f"{name}/pivot"] = max(forces.get(name, {}).get(what, 0.0) for what in held)
    return carried


def kind_of_joint(model: Model, joint: BoltedJoint, place: str) -> str:
    """Its kind: as the file says, else the one that asks most of such a place."""
    if joint.kind is not None:
        return joint.kind
    hinges = {f"{surface.body}/pivot" for surface in model.surfaces.values()}
    return "hinge" if place in hinges else "push-pull"


def fitting_factor(model: Model) -> tuple[float, str]:
    """Factor on shear, tension and tear-out, limit to ultimate in it, and why."""
    own = model.factor.fitting
    factor = model.factor.safety * (FITTING if own is None else own)
    return factor, f"{model.factor.safety:g} x fitting {factor / model.factor.safety:g}" + (
        ", which the file does not say" if own is None else "")


def _checks(model: Model, joint, place, load) -> Iterator[dict]:
    kind, plate = kind_of_joint(model, joint, place), ("thickness", "material")
    hole = "hole" if joint.hole else "bolt"

    def bears(bolt, length, name):
        return _times(bolt * length, model.material(name).breaks_in_bearing)

    if kind == "rolling":
        yield _row("rating", load, (1.0, "14 CFR 23.693: ratings are not to be exceeded"),
                   _known(joint, ("rating",), lambda rating: rating))
    else:
        yield _row("bearing", load, _bearing_factor(model, joint, kind), _known(
            joint, ("bolt", "bears" if joint.bears else "thickness",
                    "bears_material" if joint.bears_material else "material"), bears))
    factor, cuts = fitting_factor(model), {"single": 1, "double": 2}[joint.shear]
    if kind == "rolling" or joint.bears or joint.bears_material:
        yield _row("plate in bearing", load, factor, _known(joint, ("bolt", *plate), bears))
    yield _row("bolt in shear", load, factor, _known(
        joint, ("bolt", "bolt_material"), lambda bolt, name: _times(
            cuts * math.pi / 4 * bolt**2, model.material(name).breaks_in_shear)))
    yield _row("tear-out", load, factor, _known(
        joint, (*plate, hole, "edge"), lambda t, name, d, edge: _times(
            2 * t * (edge - d / 2), model.material(name).breaks_in_shear)))
    yield _row("net section", load, factor, _known(
        joint, (*plate, hole, "width"), lambda t, name, d, width: _times(
            t * (width - d), model.material(name).ultimate)))


def _bearing_factor(model, joint, kind):
    special = SPECIAL[kind]
    if special is None:
        return fitting_factor(model)
    return special, f"{RULES[kind]}, 1-1-14 edition, {kind}" + (
        "" if joint.kind else ", which the file does not say")


def _times(size, stress):
    return math.nan if stress is None else size * stress


def _known(joint, words, work):
    """Strength worked out of some keys, and those of them that the file leaves out."""
    values = [getattr(joint, word) for word in words]
    lacking = [word for word, value in zip(words, values, strict=True) if value is None]
    if lacking:
        return math.nan, ", ".join(lacking)
    strength = work(*values)
    return strength, "ultimate stress of its material" if math.isnan(strength) else ""


def _row(check, load, factor, found):
    (size, reason), (strength, missing) = factor, found
    margin = strength / (load * size) - 1 if load > 0 else math.inf
    return {"check": check, "load": load, "factor": size, "reason": reason, "strength": strength,
            "margin": np.nan if math.isnan(strength) else margin, "missing": missing}


def silent_joints(system: System, worst: pd.DataFrame) -> list[str]:
    """Ends of rods and pivots that carry load and whose joint the file doesn't describe."""
    told = {place for joint in system.model.joints.values() for place in joint.places}
    return [place for place, load in loads_at(system, worst).items()
            if load > 0 and place not in told]
