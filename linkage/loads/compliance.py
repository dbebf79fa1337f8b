"""Lost motion: what rods and torque tubes give at the surface while the stick is held."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..motion import System
from ..search import may_rise
from ..stops import judged_box
from ..units import in_house_units
from .columns import tube_area, tube_inertia
from .load_cases import Case, balanced, cases, hand, shares
from .margins import missing
from .statics import Statics
from .worst import NOISE, tube_moments

if TYPE_CHECKING:
    import pandas as pd

    from ..model.whole import Model

STEPS = 41
LEAST = 1e-9  # degrees: what is less is rounding


def lost_motion(statics: Statics, case: Case, surface: str) -> dict:
    """How far a surface turns under a load case with its grip held, part by part.

    Parameters
    ----------
    statics : Statics
    case : Case
    surface : str

    Returns
    -------
    dict
        ``{rod or body: ndarray (n,)}`` degrees, signed like the deflection.  A rod without
        diameter, wall or material and a body without a tube count as rigid.

    Notes
    -----
    Unit-load method: sum over rods of N n L / (E A), over stretches of tube of T t L / (G J), N and
    T of the case, n and t of a unit hinge moment held at the same grip (Gere, Mechanics of
    Materials, 7th ed., ch. 9, from memory).
    """
    model = statics.model
    share = shares(statics, case)
    moment = np.zeros_like(share)
    moment[:, list(statics.loads).index(("hinge", surface))] = 1.0
    at = [grip for grip, _ in case.forces]
    unit = balanced(statics, moment, [hand(statics, name, at) for name in statics.drives])
    turns = {rod: _rod_give(statics, i, share, unit) for i, rod in enumerate(statics.rods)
             if not missing(model, rod)}
    return turns | {name: _twist(statics, name, share, unit) for name, body in model.bodies.items()
                    if body.tube is not None and body.tube.material is not None
                    and name in statics.arms}


def _rod_give(statics, i, share, unit):
    """Degrees by which the stretch of a rod turns the surface."""
    one, other = (np.einsum("ne,ne->n", k, statics.inner_forces[:, :, i]) for k in (share, unit))
    return np.degrees(one * other * rod_give(statics.model, statics.rods[i]))


def _twist(statics, name, share, unit):
    """Degrees by which the twist of a tube turns the surface."""
    tube = statics.model.bodies[name].tube
    (lengths, one), (_, other) = (tube_moments(statics, k, name) for k in (share, unit))
    stiff = 2 * tube_inertia(tube.diameter, tube.wall) * \
        statics.model.material(tube.material).shear_modulus
    return np.degrees((one * other) @ lengths / stiff)


def rod_give(model: Model, rod: str) -> float:
    """Stretch of a rod per newton, L / (E A): mm/N."""
    part = model.rods[rod]
    area = float(tube_area(part.diameter, part.wall))
    return model.rod_length(rod) / (model.material(part.material).modulus * area)


@in_house_units(angle="neutral worst", position="at")
def lost_motion_table(system: System) -> pd.DataFrame:
    """Lost motion of every surface with the stick held, one pilot's limit force on it.

    Parameters
    ----------
    system : System

    Returns
    -------
    DataFrame
        One row per surface and grip: surface, input, grip, neutral and worst (degrees, size),
        at (input where worst, the others at 0), most_from (the part that gives most there), share
        (of it) and rigid (rods that carry load and were taken as rigid, as the file gives no
        diameter, wall or material).  NaN where nothing is known to give.  Both ways of pushing
        give the same sizes.  The worst is searched at ``attrs["positions"]`` of the input, the
        others at 0; up to ``attrs["error"]`` degrees may be missing between them
        (`linkage.search.may_rise`).
    """
    import pandas as pd

    rows, errors = [], [0.0]
    box = judged_box(system)
    for name in box:
        single = [case for case in cases(system) if _pushes_alone(case, name)]
        x = np.unique([0.0, *np.linspace(*box[name], STEPS)])
        statics = Statics(system.sweep(**{name: x})) if single else None
        for case in single:
            for _, surface in case.against:
                row, error = _row(statics, case, surface, x)
                rows.append(row)
                errors.append(error)
    table = pd.DataFrame(rows, columns=["surface", "input", "grip", "neutral", "worst", "at",
                                        "most_from", "share", "rigid"])
    table.attrs |= {"positions": STEPS, "error": max(errors)}
    return table


def _pushes_alone(case, name) -> bool:
    """Whether one pilot pushes an input toward its greatest end, all else as it should be."""
    return (case.input == name and len(case.forces) == 1 and not case.springs
            and case.forces[0][1] > 0 and "jammed" not in case.name)


def _row(statics, case, surface, x):
    """A row of the table, and how much more it may be between the positions looked at, degrees."""
    parts = lost_motion(statics, case, surface)
    row = {"surface": surface, "input": case.input, "grip": case.forces[0][0], "neutral": np.nan,
           "worst": np.nan, "at": np.nan, "most_from": "", "share": np.nan,
           "rigid": ", ".join(_taken_as_rigid(statics, case))}
    total = np.abs(sum(parts.values())) if parts else np.full(x.shape, np.nan)
    if not np.nanmax(total, initial=0.0) > LEAST:
        return row, 0.0
    k = int(np.nanargmax(total))
    most = max(parts, key=lambda part: abs(parts[part][k]))
    error = float(np.nanmax(total + may_rise(total, [x])) - total[k])
    return row | {"neutral": float(total[x == 0][0]), "worst": float(total[k]), "at": float(x[k]),
                  "most_from": most, "share": float(abs(parts[most][k]) / total[k])}, error


def _taken_as_rigid(statics, case):
    """Rods that carry load in a case, and whose stretch the file doesn't give."""
    axial = np.abs(np.einsum("ne,nec->nc", shares(statics, case), statics.inner_forces))
    for i, rod in enumerate(statics.rods):
        if missing(statics.model, rod) and np.nanmax(axial[:, i], initial=0.0) > NOISE:
            yield rod
