"""Rig pins: where their holes are, and whether the holes line up."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from ..model import AIRFRAME
from ..model.keys import unit_vector
from ..motion import System, body_of
from ..units import in_house_units
from .rod_end_angles import carried_direction

if TYPE_CHECKING:
    import pandas as pd

    from ..model.fittings import RigPin
    from ..motion.moved import Motion


@in_house_units(length="x y z apart within", angle="turn")
def rig_pins(system: System) -> pd.DataFrame:
    """Where the holes of every rig pin are at the position it goes in.

    Parameters
    ----------
    system : System

    Returns
    -------
    DataFrame
        A row per hole: pin, hole, x, y, z (stations, mm; a lone hole is drilled on from there),
        apart (how far its two holes are off each other across the pin, mm), turn (degrees that
        the first hole's part still has to turn about its axis), within (mm) and ok (None where
        within is not given), and one column per input: where the pin goes in.
    """
    import pandas as pd

    rows = []
    for name, pin in system.model.rig_pins.items():
        at = {word: pin.input.get(word, 0.0) for word in system.inputs}
        motion = system.sweep(**at)
        apart, turn = _misfit(motion, pin) if len(pin.holes) == 2 else (np.nan, np.nan)
        judged = pin.within is not None and math.isfinite(apart)
        for hole in pin.holes:
            x, y, z = (float(k) for k in motion.point(hole))
            rows.append({"pin": name, "hole": hole, "x": x, "y": y, "z": z, "apart": apart,
                         "turn": turn, "within": np.nan if pin.within is None else pin.within,
                         "ok": bool(apart <= pin.within) if judged else None, **at})
    return pd.DataFrame(rows, columns=["pin", "hole", "x", "y", "z", "apart", "turn", "within",
                                       "ok", *system.inputs])


def pin_offset(motion: Motion, pin: RigPin) -> np.ndarray:
    """How far the second hole of a pin is off the first, square to the pin: (3,) mm.

    Parameters
    ----------
    motion : Motion
        At one position, where the pin goes in.
    pin : RigPin
        Of two holes.
    """
    holes = _moving_first(pin)
    body = motion.system.model.bodies[body_of(holes[0])]
    one, other = (motion.point(hole) for hole in holes)
    along = unit_vector(pin.direction) if pin.direction is not None else body.direction
    across = other - one
    if pin.direction is not None or not body.slides:
        axis = carried_direction(motion, body_of(holes[0]), along)
        across = across - np.dot(across, axis) * axis
    return across


def _moving_first(pin):
    return sorted(pin.holes, key=lambda hole: body_of(hole) == AIRFRAME)


def _misfit(motion, pin):
    """Distance of two holes across their pin, mm, and the turn of the first part that is left."""
    apart, holes = float(np.linalg.norm(pin_offset(motion, pin))), _moving_first(pin)
    if motion.system.model.bodies[body_of(holes[0])].slides:
        return apart, np.nan
    return apart, _turn_left(motion, body_of(holes[0]), [motion.point(hole) for hole in holes])


def _turn_left(motion, body, holes) -> float:
    axis = carried_direction(motion, body, motion.system.model.bodies[body].direction)
    arms = [hole - motion.point(f"{body}/pivot") for hole in holes]
    here, there = (arm - np.dot(arm, axis) * axis for arm in arms)
    return math.degrees(math.atan2(np.dot(np.cross(here, there), axis), np.dot(here, there)))
