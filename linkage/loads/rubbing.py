"""Friction of joints: breakout, and what grows with the load that a joint carries."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..model import AIRFRAME
from ..motion import body_of, mixed
from .pilot_forces import grip_rate
from .statics import Push, Statics

if TYPE_CHECKING:
    from ..motion import Motion

STILL = 1e-10  # radians (mm) per radian (mm) of an input: what turns less does not turn


@dataclass(frozen=True, eq=False)
class Rub:
    """Friction of one joint as an input moves toward its positive end.

    Attributes
    ----------
    part : str
        The body, rod or coupling.
    pushes : tuple of Push
        What 1 N mm (N) of friction does.
    size : callable
        From ``(share, sense)``, what each unit load has and which way the input moves, to the
        friction at each position, N mm (N), shape (n,).
    """

    part: str
    pushes: tuple
    size: Callable


def rubs(statics: Statics, name: str) -> Iterator[Rub]:
    """Friction of every joint that moves with an input.

    Parameters
    ----------
    statics : Statics
    name : str
        The input.

    Returns
    -------
    iterator of Rub

    Notes
    -----
    Dry friction: breakout + coefficient x radius x load.  The load of a pivot is the force there,
    or of each of its bearings; of a rod's end the pull or push along the rod.  A rod's spin about
    its own line is not counted.  Of a cable led round something the pull falls by exp(coefficient
    x wrap) (Euler and Eytelwein; Hibbeler, Statics, belt friction, from memory).
    """
    yield from _of_pivots(statics, name)
    yield from _of_rod_ends(statics, name)
    yield from _of_cables(statics, name)


def _rate(statics, body, name):
    """Turn (mm) of a body's joint per radian (mm) of an input, (n,)."""
    motion = statics.motion
    rate = motion.input_rates.joints.get(body, 0.0)
    rate = rate[list(motion.system.inputs).index(name)] if np.ndim(rate) else rate
    return np.broadcast_to(rate, motion.shape).ravel()


def _sign(rate):
    return np.where(np.abs(rate) > STILL, np.sign(rate), 0.0)[:, None]


def _of_pivots(statics, name):
    for body, part in statics.model.bodies.items():
        fixed, arm = part.friction or 0.0, statics.model.bolt_arm(f"{body}/pivot")
        rate = _rate(statics, body, name)
        if (fixed or arm) and np.nanmax(np.abs(rate), initial=0.0) > STILL:
            push = statics.on_joint(body, -_sign(rate))
            yield Rub(body, (push,), _of_pivot(statics, body, fixed, arm))


def _of_pivot(statics, body, fixed, arm):
    def size(share, sense):
        if not arm:
            return np.full(statics.count, fixed)
        held = statics.bearings[body] if body in statics.bearings else \
            statics.reactions[body][0][:, :, None]
        each = np.einsum("ne,nebj->nbj", share, held)
        return fixed + arm * np.linalg.norm(each, axis=-1).sum(axis=-1)
    return size


def _of_rod_ends(statics, name):
    model = statics.model
    for rod, part in model.rods.items():
        i = statics.rods.index(rod) if rod in statics.rods else None
        arms = [0.0 if i is None else model.ball_arm(rod, k) or model.bolt_arm(part.ends[k])
                for k in (0, 1)]
        if not (part.friction or any(arms)):
            continue
        for turn, end, arm in zip(ball_turns(statics.motion, rod, name), part.ends, arms,
                                  strict=True):
            turn = turn.reshape(-1, 3)
            size = np.linalg.norm(turn, axis=-1, keepdims=True)
            with np.errstate(invalid="ignore", divide="ignore"):
                way = np.where(size > STILL, turn / size, 0.0)
            yield Rub(rod, _twisted(statics, rod, end, way),
                      _of_rod(statics, i, part.friction or 0.0, arm))


def _of_rod(statics, i, fixed, arm):
    def size(share, sense):
        if not arm:
            return np.full(statics.count, fixed)
        return fixed + arm * np.abs(np.einsum("ne,ne->n", share, statics.inner_forces[:, :, i]))
    return size


def _twisted(statics, rod, end, way):
    """What 1 N mm between a rod and the part at one of its ends does to the parts at both.

    The part gets it against its turn, the rod with it; forces across the rod at its ends hold that.
    """
    one, other = statics.model.rods[rod].ends
    d = statics.place(other) - statics.place(one)
    across = np.cross(d, way) / np.sum(d * d, axis=-1, keepdims=True)  # of the part on the rod
    still = np.zeros_like(way)
    return (Push(body_of(end), statics.place(end), still, -way),
            statics.at_point(other, -across), statics.at_point(one, across))


def _of_cables(statics, name):
    for k, (cable, step) in enumerate(statics.couplings.items()):
        part, bodies = statics.model.couplings[cable], statics.model.bodies
        if not part.friction:
            continue
        source, driven = (_rate(statics, body, name) for body in (step.source, step.joint))
        ratio = abs(step.ratio * mixed(bodies[step.source].slides, bodies[step.joint].slides))
        push = statics.on_joint(step.source, -_sign(source))
        yield Rub(cable, (push,), _of_cable(statics, len(statics.rods) + k, (ratio, driven),
                                            part.friction * math.radians(part.wrap)))


def _of_cable(statics, k, driven, exponent):
    """Friction at the source: the load takes exp(..) of its own there, or gives that much less."""
    ratio, rate = driven

    def size(share, sense):
        through = np.einsum("ne,ne->n", share, statics.inner_forces[:, :, k])
        lost = np.where(sense * through * rate > 0, math.expm1(exponent), -math.expm1(-exponent))
        return np.abs(through) * ratio * lost
    return size


def ball_turns(motion: Motion, rod: str, name: str) -> list[np.ndarray]:
    """Turn of the part at each of a rod's ends against the rod, per radian (mm) of an input.

    Parameters
    ----------
    motion : Motion
    rod, name : str
        The rod and the input.

    Returns
    -------
    list of two ndarray, shape (..., 3)
        In the airframe's frame; the rod's spin about its own line not counted.
    """
    ends = motion.system.model.rods[rod].ends
    p, q = (motion.point(end) for end in ends)
    line = q - p
    square = np.sum(line * line, axis=-1, keepdims=True)
    swing = np.cross(line, grip_rate(motion, ends[1], name) - grip_rate(motion, ends[0], name))
    turns = []
    for end in ends:
        turn = _turning(motion, body_of(end), name) - swing / square
        turns.append(turn - np.sum(turn * line, axis=-1, keepdims=True) / square * line)
    return turns


def _turning(motion, body, name):
    """Turning rate of a body in the airframe's frame, (..., 3) radians per radian (mm)."""
    model, index = motion.system.model, list(motion.system.inputs).index(name)
    total = np.zeros((*motion.shape, 3))
    while body != AIRFRAME:
        rate = motion.input_rates.joints.get(body)
        if rate is not None and not model.bodies[body].slides:
            rate = rate[index] if np.ndim(rate) else rate
            axis = motion.posture.direction(body)
            total = total + np.stack([np.broadcast_to(rate * k, motion.shape) for k in axis], -1)
        body = model.bodies[body].on
    return total
