"""Who pushes where: the grips of an input, and the limit force of a pilot on them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..model import PilotForce
from ..motion import System
from ..units import LBF

if TYPE_CHECKING:
    from ..motion.moved import Motion

SHARE = 0.75  # of one pilot's force for each of two: 14 CFR 23.399 (from memory), A23.13(b)
RULE = "14 CFR 23.397(b), 1-1-14 edition, design weight up to 5,000 lb"
# Stick pitch and roll, and pedals: most and least, lbf.
RULE_LBF = {"pitch": (167, 100), "roll": (67, 40), "yaw": (200, 150)}
FOLLOWS = 0.1  # least share of the most moved grip's movement at which a grip is one of the input


def pilot_force(system: System, name: str) -> PilotForce | None:
    """Limit force of one pilot on an input.

    Parameters
    ----------
    system : System
    name : str
        The input.

    Returns
    -------
    PilotForce or None
        As the file says, else the rule's for pitch, roll and yaw; None for any other input.
    """
    stated = system.model.inputs[name].force
    if stated is not None or name not in RULE_LBF:
        return stated
    most, least = RULE_LBF[name]
    return PilotForce(most=most * LBF, least=least * LBF)


def grips(system: System, name: str) -> tuple[str, ...]:
    """Points that hands or feet move an input by, the one on the driven body first.

    Parameters
    ----------
    system : System
    name : str
        The input.

    Returns
    -------
    tuple of str
        Points named "grip" that move with it, or the one that the file names; the pivot of a
        slide without either.
    """
    return system.kept(("grips", name), lambda: _grips(system, name))


def _grips(system, name):
    control, bodies = system.inputs[name], system.model.bodies
    if control.body is None:
        return ()
    points = [control.grip] if control.grip else []
    points += [f"{b}/grip" for b, part in bodies.items() if "grip" in part.points]
    neutral = system.sweep()
    speeds = {g: float(grip_speed(neutral, g, name)) for g in dict.fromkeys(points)}
    fastest = max(speeds.values(), default=0.0)
    if not fastest > 0:
        return (f"{control.body}/pivot",) if bodies[control.body].slides else ()
    return tuple(g for g, s in speeds.items() if s >= FOLLOWS * fastest)


def grip_rate(motion: Motion, grip: str, name: str) -> np.ndarray:
    """Movement of a grip per radian (mm) of an input, mm: shape (..., 3)."""
    index = list(motion.system.inputs).index(name)
    rate = [np.asarray(k)[index] if np.ndim(k) else 0.0 for k in motion.input_rates.place(grip)]
    return np.stack([np.broadcast_to(k, motion.shape) for k in rate], axis=-1)


def grip_speed(motion: Motion, grip: str, name: str) -> np.ndarray:
    """Size of `grip_rate`, shape (...)."""
    return np.linalg.norm(grip_rate(motion, grip, name), axis=-1)
