"""Welds and bolts that hold plates, and what they hold beside them, against their strength."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from ..model import Weld
from ..motion import System
from ..units import in_house_units
from .fixings import fixings
from .joints import fitting_factor
from .margins import margin, together_margin
from .plates import plate_cuts
from .worst import worst_loads

if TYPE_CHECKING:
    import pandas as pd

NOTHING = {"stress": 0.0, "case": ""}
LOAD = ("part", "what", "force", "moment", "stress")  # a row of the worst loads less its place
COLUMNS = ["fixing", "plate", "check", "stress", "strength", "factor", "reason", "margin", "case",
           "missing"]


@in_house_units(stress="stress strength")
def fixing_margins(system: System, worst: pd.DataFrame | None = None) -> pd.DataFrame:
    """Every weld and bolting that the file gives, at each plate it holds.

    Parameters
    ----------
    system : System
    worst : DataFrame, optional
        As `worst_loads` gives it.

    Returns
    -------
    DataFrame
        One row per plate and way of failing: fixing, plate, check ("weld", "plate beside it",
        "tube beside it", "bolts", "bearing", "sleeve", "tube at its hole"), stress (N/mm² at limit
        load), strength (N/mm², ultimate), factor, reason (of the factor), margin (strength /
        (stress x factor) - 1, of plate and tube the lesser of that and yield at limit; NaN where
        the file gives too little), case, missing (what it leaves out), and one column per input.

    Notes
    -----
    Weld and bolts take 1.5 x the fitting factor, as all that is not in motion.  What is welded is
    held to `beside` of its strength: the plate at its worst anywhere, the tube where the plate is.
    """
    import pandas as pd

    worst = worst_loads(system) if worst is None else worst
    named = {(row["what"], row["part"]): row for row in worst.to_dict("records")}
    rows = [{"fixing": name, "plate": plate, **row} for name, part in fixings(system.model)
            for plate in part.plates
            for row in _checks(system, (name, part, plate), named)]
    return pd.DataFrame(rows, columns=[*COLUMNS, *system.travel_box()])


def _checks(system, fixing, named) -> Iterator[dict]:
    name, part, plate = fixing
    if plate not in plate_cuts(system):
        yield _row(name.split(" ")[0], missing="a material of the plate, or an outline that holds "
                                               "the axis and a rod's end")
    elif isinstance(part, Weld):
        yield from _weld_checks(system.model, fixing, named)
    else:
        yield from _bolt_checks(system.model, fixing, named)


def _weld_checks(model, fixing, named):
    name, part, plate = fixing
    strength = part.material and model.material(part.material).breaks_in_shear
    yield _held(model, "weld", named.get((name, plate)), strength,
                "material" if part.material is None else "ultimate stress of its material")
    body, _ = plate.split("/")
    made, near = model.material(model.solids[plate].material), named.get(("buckling", plate))
    yield _section(model, "plate beside it", named.get(("stress", plate)), (made, part.beside),
                   near["stress"] / made.yield_stress if near else 0.0)
    tube = model.bodies[body].tube
    if tube is not None:
        yield _tube(model, "tube beside it", fixing, named, part.beside)


def _bolt_checks(model, fixing, named):
    name, part, plate = fixing
    body = model.bodies[plate.split("/")[0]]
    known = part.material and model.material(part.material).ultimate
    yield _held(model, "bolts", named.get((name, plate)), known,
                "material" if part.material is None else "ultimate stress of its material")
    bears = named.get((f"{name} bears", plate))
    plated = model.material(model.solids[plate].material).breaks_in_bearing
    if not part.across:
        yield _held(model, "bearing", bears, plated, "ultimate stress of the plate")
        return
    tubed = body.tube.material and model.material(body.tube.material).breaks_in_bearing
    yield _held(model, "bearing", bears, tubed, "material of the tube")
    if bears is not None and part.sleeve is not None:
        bears = {**bears, "stress": bears["stress"] * body.tube.wall / part.sleeve}
    yield _held(model, "sleeve", bears, part.sleeve and plated,
                "sleeve" if part.sleeve is None else "ultimate stress of the plate")
    yield _tube(model, "tube at its hole", fixing, named, 1.0)


def _tube(model, check, fixing, named, share):
    """The tube where the plate is, on the bearings that the file places."""
    name, _, plate = fixing
    body = model.bodies[plate.split("/")[0]]
    lacking = [word for word, value in (("bearings", body.bearings),
                                        ("material of the tube", body.tube.material))
               if value is None]
    if lacking:
        return _row(check, missing=", ".join(lacking))
    return _section(model, check, named.get((f"{name} tube", plate)),
                    (model.material(body.tube.material), share))


def _held(model, check, load, strength, lacking):
    """What is in no motion: its ultimate strength under 1.5 x the fitting factor."""
    if not strength:
        return _row(check, missing=lacking)
    factor, reason = fitting_factor(model)
    load = load or NOTHING
    return _row(check, **_place(load), stress=load["stress"], strength=strength, factor=factor,
                reason=reason, margin=margin(strength, load["stress"], factor))


def _section(model, check, load, made, buckling=0.0):
    """What is welded or bored, of a material at a share of its strength."""
    material, share = made
    if share is None:
        return _row(check, missing="beside")
    load, safety = load or NOTHING, model.factor.safety
    reason = f"yield at limit, ultimate x {safety:g}" if material.ultimate else "yield at limit"
    return _row(check, **_place(load), stress=load["stress"],
                strength=share * (material.ultimate or math.nan), factor=safety,
                reason=reason,
                margin=together_margin(material, load["stress"] / share, buckling, safety))


def _place(load):
    """The case of a load, and the stick position."""
    return {key: value for key, value in load.items() if key not in LOAD}


def _row(check, **figures):
    return {"check": check, "stress": math.nan, "strength": math.nan, "factor": math.nan,
            "reason": "", "margin": math.nan, "case": "", "missing": "", **figures}
