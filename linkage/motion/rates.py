"""First derivatives of a posture: exact, by implicit differentiation, chained through the tree.

A rate has the directions it is taken in along its first axis: shape (k, ...) beside a value of
shape (...).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from ..model import AIRFRAME
from . import kernels
from .plan import Close, Couple, Drive, body_of
from .posture import Posture, Slide, mixed

if TYPE_CHECKING:
    from .plan import Together

STILL = (0.0, 0.0, 0.0)


@dataclass(frozen=True)
class Seeds:
    """What varies, direction by direction.

    Attributes
    ----------
    inputs, places, axes, lengths : dict
        Rates by name; what is not named does not vary.
    """

    inputs: dict = field(default_factory=dict)
    places: dict = field(default_factory=dict)
    axes: dict = field(default_factory=dict)
    lengths: dict = field(default_factory=dict)


class Rates:
    """Rates of every joint and point of a settled posture.

    Parameters
    ----------
    posture : Posture
        All joints settled.
    seeds : Seeds
    """

    def __init__(self, posture: Posture, seeds: Seeds):
        self.posture, self.seeds = posture, seeds
        self.joints = {}
        self._seen = {}
        for step in posture.plan.steps:
            self._settle(step)

    def place(self, address: str, frame: str = AIRFRAME) -> Any:
        """Rate of a point as seen from a body, mm per unit of each direction."""
        return self._carried(address, frame)[1]

    def _carried(self, address, frame):
        if (address, frame) not in self._seen:
            p, rate = self.posture.dimensions.places[address], self.seeds.places.get(address, STILL)
            for joint, outward in self.posture.plan.route(body_of(address), frame):
                p, rate = self._crossed(p, rate, joint, outward)
            self._seen[address, frame] = p, rate
        return self._seen[address, frame]

    def _crossed(self, p, rate, joint, outward):
        posture, seeds = self.posture, self.seeds
        state = posture.states.get(joint)
        if state is None:
            return p, rate
        moved = posture.crossed(p, joint, outward)
        turn = self.joints.get(joint, 0.0)
        axis, axis_rate = posture.dimensions.axes[joint], seeds.axes.get(joint, STILL)
        sense = 1.0 if outward else -1.0
        if isinstance(state, Slide):
            return moved, kernels.slide_point_rate(p, axis, sense * state.value, rate, axis_rate,
                                                   sense * turn)
        pivot = f"{joint}/pivot"
        return moved, kernels.turn_point_rate(
            p, posture.dimensions.places[pivot], axis, state.cos, sense * state.sin, rate,
            seeds.places.get(pivot, STILL), axis_rate, sense * turn)

    def _settle(self, step):
        if isinstance(step, Drive):
            self.joints[step.joint] = step.sign * self.seeds.inputs.get(step.input, 0.0)
        elif isinstance(step, Couple):
            bodies = self.posture.plan.model.bodies
            self.joints[step.joint] = self.joints[step.source] * step.ratio * mixed(
                bodies[step.source].slides, bodies[step.joint].slides)
        elif isinstance(step, Close):
            self._close(step)
        else:
            self._close_together(step)

    def _close(self, step):
        posture, seeds = self.posture, self.seeds
        carrier = posture.plan.model.bodies[step.joint].on
        (r, d_r), (q, d_q) = self._carried(step.near, step.joint), self._carried(step.far, carrier)
        u, d_u = posture.dimensions.axes[step.joint], seeds.axes.get(step.joint, STILL)
        length, d_length = posture.dimensions.lengths[step.rod], seeds.lengths.get(step.rod, 0.0)
        state = posture.states[step.joint]
        if isinstance(state, Slide):
            self.joints[step.joint] = kernels.slide_rate(r, u, q, length, state.value, d_r, d_u,
                                                         d_q, d_length)
            return
        pivot = f"{step.joint}/pivot"
        self.joints[step.joint] = kernels.turn_rate(
            r, posture.dimensions.places[pivot], u, q, length, state.cos, state.sin, d_r,
            seeds.places.get(pivot, STILL), d_u, d_q, d_length)

    def _close_together(self, step):
        """Held joints first, then the joints whose rates bring every rod back to its length."""
        for joint in step.joints:
            self.joints[joint] = 0.0
        pushed = [self._stretch(rod) for rod in step.rods]
        shape = np.broadcast_shapes(*(np.shape(p) for p in pushed))
        right = np.stack([np.broadcast_to(p, shape) for p in pushed], axis=-1)
        matrix = jacobian(self.posture, step)
        rates = np.linalg.solve(matrix, -right[..., None])[..., 0]
        for i, joint in enumerate(step.joints):
            self.joints[joint] = rates[..., i]
        self._seen = {place: p for place, p in self._seen.items()
                      if not any(j in step.joints
                                 for j, _ in self.posture.plan.route(body_of(place[0]), place[1]))}

    def _stretch(self, rod):
        """Rate of the distance between a rod's ends, less the rate of its length."""
        one, other = self.posture.plan.model.rods[rod].ends
        (p, d_p), (q, d_q) = self._carried(one, AIRFRAME), self._carried(other, AIRFRAME)
        apart = [a - b for a, b in zip(p, q, strict=True)]
        pull = sum(e * (a - b) for e, a, b in zip(apart, d_p, d_q, strict=True))
        return pull / np.sqrt(sum(e * e for e in apart)) - self.seeds.lengths.get(rod, 0.0)


def jacobian(posture: Posture, step: Together) -> np.ndarray:
    """Rate of each rod's distance per turn of each joint solved together.

    Parameters
    ----------
    posture : Posture
    step : Together

    Returns
    -------
    ndarray, shape (..., rods, joints)
        mm per radian, or mm per mm for a slide.
    """
    rows = [[pull(posture, rod, joint) / _apart(posture, rod) for joint in step.joints]
            for rod in step.rods]
    shape = np.broadcast_shapes(*(np.shape(e) for row in rows for e in row))
    return np.stack([np.stack([np.broadcast_to(e, shape) for e in row], axis=-1)
                     for row in rows], axis=-2)


def _apart(posture, rod):
    p, q = (posture.place(end) for end in posture.plan.model.rods[rod].ends)
    return np.sqrt(sum((a - b) ** 2 for a, b in zip(p, q, strict=True)))


def pull(posture: Posture, rod: str, joint: str) -> Any:
    """Half the rate of one rod's squared distance per turn (mm) of one joint, mm2 per radian."""
    ends = posture.plan.model.rods[rod].ends
    p, q = (posture.place(end) for end in ends)
    apart = [a - b for a, b in zip(p, q, strict=True)]
    total = 0.0
    for end, sense in ((p, 1.0), (q, -1.0)):
        address = ends[0] if sense > 0 else ends[1]
        if (joint, True) not in posture.plan.route(body_of(address), AIRFRAME):
            continue
        u = posture.direction(joint)
        if posture.plan.model.bodies[joint].slides:
            move = u
        else:
            centre = posture.place(f"{joint}/pivot")
            x, y, z = (a - b for a, b in zip(end, centre, strict=True))
            move = (u[1] * z - u[2] * y, u[2] * x - u[0] * z, u[0] * y - u[1] * x)
        total = total + sense * sum(e * m for e, m in zip(apart, move, strict=True))
    return total
