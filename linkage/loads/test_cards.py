"""What to hang and pull on the aircraft: limit load static test, operation test.

14 CFR 23.681 and 23.683, 1-1-14 edition.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..gearing import driving_input, round_positions
from ..model import is_rudder
from ..motion import System
from ..stops import judged_box
from ..units import in_house_units
from .load_cases import cases, hinge_moment
from .pilot_forces import grips, pilot_force
from .stick import hinge_of_grip_force
from .worst import FIXED, case_at, worst_loads

if TYPE_CHECKING:
    import pandas as pd

NOTHING = 1e-3  # N mm: what is less is rounding
LEANS = 0.5  # least share of a force that has to point down for a weight alone to give it
TESTED = ("tension", "compression", "stress", "load", "tube")  # what of a part names its case


@in_house_units(force="force weight")
def limit_load_card(system: System, worst: pd.DataFrame | None = None) -> pd.DataFrame:
    """Limit load static test: each case that is worst for some part, at its stick position.

    Parameters
    ----------
    system : System
    worst : DataFrame, optional
        As `worst_loads` gives it.

    Returns
    -------
    DataFrame
        One row per case, stick position and pilot: case, held (what is held fast: surfaces, or the
        stop that is met), worst_for (parts), one column per input (degrees, mm for a slide), at
        (grip), force (N), aft, right and up (its direction cosines), how ("weight", or "pulley"
        where it does not point down), weight (N, dead weight that gives the force, NaN over a
        pulley: the force itself). Cases of the air's own moments are not in it.
    """
    import pandas as pd

    worst = worst_loads(system) if worst is None else worst
    names, rows = list(system.travel_box()), []
    known = {case.name: case for stop in (None, *system.model.stops)
             for case in cases(system, stop)}
    chosen = worst[worst["what"].isin(TESTED) | worst["what"].str.startswith(FIXED)]
    for at, group in chosen.groupby(["case", *names], sort=False):
        case, first = known[at[0]], group.iloc[0].to_dict()
        if not case.forces:
            continue
        statics, _ = case_at(system, first)
        for grip, force in case.forces:
            way = np.sign(force) * statics.loads["grip", grip, case.input][0].force[0]
            falls = way[2] < -LEANS
            rows.append({"case": case.name, "held": ", ".join(key[1] for key in case.against),
                         "worst_for": ", ".join(dict.fromkeys(group["part"])),
                         **dict(zip(names, at[1:], strict=True)), "at": grip, "force": abs(force),
                         "aft": way[0], "right": way[1], "up": way[2],
                         "how": "weight" if falls else "pulley",
                         "weight": abs(force / way[2]) if falls else np.nan})
    return pd.DataFrame(rows, columns=["case", "held", "worst_for", *names, "at", "force", "aft",
                                       "right", "up", "how", "weight"])


@in_house_units(position="position", angle="deflection", moment="moment", length="arm",
                force="weight")
def operation_card(system: System) -> pd.DataFrame:
    """Operation test: the control worked through its travel with each surface under load.

    Parameters
    ----------
    system : System

    Returns
    -------
    DataFrame
        One row per surface that has a chord, and stick position along its own input, the others at
        neutral: surface, input, position, deflection (degrees), moment (N mm, signed like the
        deflection: the lesser of the air load by the file, no factor on it, and what the limit
        pilot force holds), from ("air load" or "pilot force"), arm (mm, of a weight at the trailing
        edge, the chord taken as level at neutral), weight (N) and how ("weight"; "inverted or
        pulley" where it has to lift, "pulley" on a hinge that stands up).

    Notes
    -----
    A dead weight only pulls down, and its moment is weight x chord x cos(deflection).
    """
    import pandas as pd

    rows = []
    for name, surface in system.model.surfaces.items():
        driver = driving_input(system, name)
        gripped = driver is not None and grips(system, driver)
        limit = pilot_force(system, driver) if gripped else None
        if surface.chord is not None and limit is not None:
            rows += _operated(system, name, driver, limit)
    return pd.DataFrame(rows, columns=["surface", "input", "position", "deflection", "moment",
                                       "from", "arm", "weight", "how"])


def _operated(system, name, driver, limit):
    """Rows of a surface, worked through the travel of its own input."""
    surface, x = system.model.surfaces[name], round_positions(*judged_box(system)[driver])
    motion = system.sweep(**{driver: x})
    turned = motion.deflection(name)
    moment, by_air = _test_moment(motion, name, limit, driver)
    arm = surface.chord * np.cos(np.radians(turned))
    upright = is_rudder(system.model.bodies[surface.body])
    for p, d, m, air, a in zip(x, turned, moment, by_air, arm, strict=True):
        if abs(m) > NOTHING:
            yield {"surface": name, "input": driver, "position": p, "deflection": d, "moment": m,
                   "from": "air load" if air else "pilot force", "arm": a, "weight": abs(m) / a,
                   "how": "pulley" if upright else "weight" if m >= 0 else "inverted or pulley"}


def _test_moment(motion, name, limit, driver):
    """Moment on a surface, N mm, and whether it is the air's: the pilot may hold less than that."""
    held = np.abs(hinge_of_grip_force(motion, limit.most, driver, name))
    # a surface is loaded back to neutral unless the file says more
    against = -np.sign(motion.deflection(name))
    air = hinge_moment(motion, name) if motion.system.model.surfaces[name].hinge else np.where(
        against == 0, 0.0, np.copysign(np.inf, against))
    by_air = np.abs(air) <= held
    return np.where(by_air, air, np.where(air == 0, against, np.sign(air)) * held), by_air
