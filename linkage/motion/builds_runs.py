"""Where a run of joints may be cut: what lies beyond a joint depends on nothing but its turn.

All that the builds and the stick do before that joint is then the range that it turns through.
"""

from __future__ import annotations

import copy
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from .plan import Couple, Drive, body_of
from .system import Control

if TYPE_CHECKING:
    from collections.abc import Iterable

    from .builds_bounds import BuiltPosture
    from .plan import Plan
    from .system import System

WIDEST = 170.0  # degrees either way of a range of turn that is told from another whole turn


def cut_joint(plan: Plan, bodies: Iterable[str]) -> str | None:
    """The last joint whose turn alone some bodies depend on; None where there is none.

    Parameters
    ----------
    plan : Plan
    bodies : iterable of str
    """
    bodies = set(bodies)
    for step in reversed(plan.steps):
        if len(step.joints) == 1 and not isinstance(step, Drive) and _alone(
                plan, step.joints[0], bodies):
            return step.joints[0]
    return None


def _alone(plan, joint, bodies) -> bool:
    """Whether bodies depend on the turn of a joint, and on that of no input but through it."""
    wanted, met = plan.with_carriers(bodies), False
    for step in reversed(plan.steps):
        if wanted.isdisjoint(step.joints):
            continue
        if isinstance(step, Drive):
            return False
        if joint in step.joints:
            met = True
            continue
        if isinstance(step, Couple):
            wanted |= plan.with_carriers([step.source])
        wanted |= plan.with_carriers(body_of(end) for rod in step.rods
                                     for end in plan.model.rods[rod].ends)
    return met


def cut_system(system: System, joint: str, ends: tuple[float, float]) -> System:
    """A system in which a joint is driven by an input of its own name, and all before it is not.

    Parameters
    ----------
    system : System
    joint : str
    ends : (float, float)
        Its travel, degrees (mm for a slide).
    """
    at = next(i for i, step in enumerate(system.plan.steps) if joint in step.joints)
    pruned = copy.copy(system)
    pruned.plan = replace(system.plan, steps=(Drive(joint, joint, 1.0),
                                              *system.plan.steps[at + 1:]))
    unit = "mm" if system.model.bodies[joint].slides else "°"
    pruned.inputs = {joint: Control(joint, joint, ends, None, unit)}
    pruned._kept = {}
    return pruned


def range_of(posture: BuiltPosture, joint: str) -> tuple[float, float] | None:
    """Range that a joint turns through over all cells and builds, degrees (mm); None if any turn.

    Parameters
    ----------
    posture : BuiltPosture
    joint : str
    """
    slides = posture.plan.model.bodies[joint].slides
    if posture.any_turn.get(joint, np.zeros(1, bool)).any():
        return None
    low, high = posture.states[joint].value.bounds()
    if np.isnan(low).all():
        return None
    ends = np.array([np.nanmin(low), np.nanmax(high)]) * (1.0 if slides else 180 / np.pi)
    ends = ends + np.array([-1e-9, 1e-9]) * (1 + np.abs(ends))
    if not np.isfinite(ends).all() or (not slides and np.abs(ends).max() > WIDEST):
        return None
    return float(ends[0]), float(ends[1])
