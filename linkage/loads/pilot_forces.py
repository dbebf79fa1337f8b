"""Who pushes where: the grips of an input, and the limit force of a pilot on them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..model import PilotForce
from ..motion import System
from ..units import LBF, LENGTHS, POUND

if TYPE_CHECKING:
    from ..motion.moved import Motion

SHARE = 0.75  # of one pilot's force for each of two: 14 CFR 23.399 (from memory), A23.13(b)
RULE = "14 CFR 23.397(b), 1-1-14 edition, design weight up to 5,000 lb"
HEAVY = (5000.0, 12_500.0, 0.18)  # lb between which the most grows, and by which share: footnote 1
SECONDARY = "14 CFR 25.405, for want of figures in part 23"
OF_A_LEVER = (50.0, 150.0)  # lbf, least and most of (1 + R) / 3 x 50 with R in inches
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
        As the file says, else the rule's for pitch, roll and yaw, which grows with the design
        weight above 5,000 lb; for any other lever or wheel with a grip that of 25.405; None for a
        slide without a force in the file.
    """
    stated = system.model.inputs[name].force
    if stated is not None:
        return stated
    if name not in RULE_LBF:
        return _of_a_lever(system, name)
    most, least = RULE_LBF[name]
    return PilotForce(most=most * LBF * heavier(system), least=least * LBF)


def heavier(system: System) -> float:
    """What the design weight makes of the rule's greatest forces: 1 to 1.18, between linear."""
    low, high, share = HEAVY
    weight = system.model.factor.weight
    if weight is None:
        return 1.0
    return 1 + share * min(max((weight / POUND - low) / (high - low), 0.0), 1.0)


def _of_a_lever(system, name):
    """(1 + R) / 3 x 50 lbf, 50 to 150, R the grip's radius in inches; None where none is known."""
    body = system.inputs[name].body
    points = grips(system, name)
    if not points or system.model.bodies[body].slides:
        return None
    radius = float(grip_speed(system.sweep(), points[0], name)) / LENGTHS["in"].mm
    low, high = OF_A_LEVER
    return PilotForce(most=min(max((1 + radius) / 3 * 50.0, low), high) * LBF)


def rule_of_force(system: System, name: str) -> str:
    """Where the limit force of an input comes from, in words."""
    if system.model.inputs[name].force is not None:
        return "the file"
    if name not in RULE_LBF:
        return SECONDARY
    weight = system.model.factor.weight
    if weight is None:
        return RULE
    beyond = ", beyond which the rule says nothing" if weight / POUND > HEAVY[1] else ""
    return (f"14 CFR 23.397(b), 1-1-14 edition, x {heavier(system):.3g} for a design weight of "
            f"{weight / POUND:,.0f} lb{beyond}")


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
