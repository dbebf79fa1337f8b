"""Rods that have to be solved together: Newton with the exact Jacobian, followed from neutral.

Each stick position is followed along the straight line from neutral by itself, with its own
steps, so that a result never depends on the array it came in.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from .plan import Together
from .posture import Posture, Slide, Turn
from .rates import jacobian

CLOSED = 1e-11  # mm per mm of the longest rod: a rod this near its length is closed
NEWTON = 12
SHORTEST = 2.0**-12  # share of the way below which following is given up


def follow(posture: Posture, step: Together, at_share: Callable, steps_wanted: np.ndarray) -> None:
    """Settle the joints of a group by following them from neutral.

    Parameters
    ----------
    posture : Posture
        Settled up to the group.
    step : Together
    at_share : callable
        Gives the posture settled up to the group at a share (n,) of the way from neutral for the
        positions `index` (n,): ``at_share(share, index)``.
    steps_wanted : ndarray, shape (...)
        Steps to begin with at each position.
    """
    shape = np.shape(steps_wanted)
    size = int(np.prod(shape))
    share, stride = np.zeros(size), 1 / np.maximum(1.0, np.ravel(steps_wanted))
    joints, good = _started(at_share, step, size)
    sense = _sense(at_share, step, joints, good)
    active = np.flatnonzero(good)
    while active.size:
        goal = np.minimum(1.0, share[active] + stride[active])
        angles, closed = _newton(at_share(goal, active), step, joints[active])
        closed &= _sense_of(at_share(goal, active), step, angles) == sense[active]
        joints[active[closed]] = angles[closed]
        share[active[closed]] = goal[closed]
        stride[active[~closed]] /= 2
        lost = stride[active] < SHORTEST
        good[active[lost]] = False
        active = active[(share[active] < 1) & ~lost]
    joints[~good] = np.nan
    for i, joint in enumerate(step.joints):
        posture.states[joint] = _state(posture, joint, joints[:, i].reshape(shape))


def _started(at_share, step, size):
    """Neutral itself: from the hardpoints to the posture in which every rod has its length."""
    every = np.arange(size)
    start = at_share(np.zeros(size), every)
    return _newton(start, step, np.zeros((size, len(step.joints))))


def _sense(at_share, step, joints, good):
    every = np.arange(len(joints))
    sense = _sense_of(at_share(np.zeros(len(joints)), every), step, joints)
    return np.where(good, sense, 0.0)


def _sense_of(posture, step, joints):
    """Sign of the Jacobian's determinant: it flips only through a dead centre."""
    with np.errstate(invalid="ignore"):
        matrix = jacobian(_with(posture, step, joints), step)
    return np.sign(np.linalg.det(np.broadcast_to(matrix, (len(joints), *matrix.shape[-2:]))))


def _newton(posture, step, joints):
    """Joints at which every rod has its length, and whether Newton got there."""
    joints = np.array(joints)
    longest = max(np.max(posture.dimensions.lengths[rod]) for rod in step.rods)
    for _ in range(NEWTON):
        trial = _with(posture, step, joints)
        misfit = np.stack(np.broadcast_arrays(*(stretch(trial, rod) for rod in step.rods)), axis=-1)
        matrix = jacobian(trial, step)
        singular = ~(np.abs(np.linalg.det(matrix)) > 0)
        matrix = np.where(singular[..., None, None], np.eye(len(step.joints)), matrix)
        move = np.where(singular[..., None], np.nan,
                        np.linalg.solve(matrix, -misfit[..., None])[..., 0])
        joints = joints + np.clip(move, -limit(posture, step), limit(posture, step))
        if np.all(~(np.abs(misfit) > CLOSED * longest)):
            break
    trial = _with(posture, step, joints)
    left = np.stack(np.broadcast_arrays(*(stretch(trial, rod) for rod in step.rods)), axis=-1)
    return joints, np.all(np.abs(left) <= CLOSED * longest, axis=-1)


def limit(posture: Posture, step: Together) -> np.ndarray:
    """Largest Newton move of each joint: half a radian, or a fifth of the longest rod."""
    longest = max(np.max(posture.dimensions.lengths[rod]) for rod in step.rods)
    return np.array([0.2 * longest if posture.plan.model.bodies[j].slides else 0.5
                     for j in step.joints])


def stretch(posture: Posture, rod: str) -> Any:
    """Distance between a rod's ends less its length, mm."""
    p, q = (posture.place(end) for end in posture.plan.model.rods[rod].ends)
    apart = np.sqrt(sum((a - b) * (a - b) for a, b in zip(p, q, strict=True)))
    return apart - posture.dimensions.lengths[rod]


def _with(posture, step, joints):
    states = dict(posture.states)
    for i, joint in enumerate(step.joints):
        states[joint] = _state(posture, joint, joints[:, i])
    return replace(posture, states=states, _seen={})


def _state(posture, joint, value):
    if posture.plan.model.bodies[joint].slides:
        return Slide(value)
    return Turn(np.cos(value), np.sin(value), value)
