"""Bounds of a posture over whole cells of travel in every build within the tolerances, proven.

A build is followed to first order by a share of each dimension.  What is of second order in the
builds grows from joint to joint if it is counted anew by sums of sizes in each; so each joint that a
rod closes has shares of its own, which all that hangs on it have in common:

- what its turn is off from the sum of all other shares, at most (so that it passes on like one more
  tolerance),
- the square of its turn's share w, which is never below 0,
- w times each input.

Each stands for one number between -1 and 1 times its row, whatever else that number is.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from ..intervals import GROW, TINY, Enclosure, U, bend_rows, row_count
from . import kernels
from .bounds import EnclosedPosture, _as_enclosures, _unwrapped, _within_reach
from .bounds_together import close_together
from .builds import Builds
from .plan import Close, Couple, Drive
from .posture import Slide, Turn

if TYPE_CHECKING:
    from ..model.parts import Tolerance
    from .system import System


@dataclass
class BuiltPosture(EnclosedPosture):
    """A posture enclosed over cells and builds.

    Attributes
    ----------
    own : dict
        ``{joint: first row of its own shares}``.
    """

    own: dict = field(default_factory=dict)

    def close(self, step: Close) -> None:
        """Settle a joint from the rod that reaches across it, over whole cells and all builds."""
        if self.plan.model.bodies[step.joint].slides:
            super().close(step)
            self.take_up(step.joint)
            return
        closure = _Closure(self, step)
        if closure.plain:
            super().close(step)
            return
        theta, linear = closure.solved()
        self.turn(step.joint, theta, linear)

    def turn(self, joint: str, theta: Enclosure, linear: np.ndarray) -> None:
        """Set a joint's turn, whose rest becomes a share of its own.

        Parameters
        ----------
        joint : str
        theta : Enclosure
        linear : ndarray (rows, n)
            The shares of it that its square and products with inputs are those of.
        """
        rows = theta.rows.copy()
        wide = ~(rows[-1] < 1.0)  # radians; no share is told of what may be any turn
        rows[self.own[joint]] = np.where(wide, 0.0, rows[-1])
        rows[-1] = np.where(wide, rows[-1], TINY)
        theta = Enclosure(rows, self.inputs)
        self.states[joint] = Turn(*self.turned(joint, theta, linear), theta)

    def turned(self, joint: str, theta: Enclosure, linear: np.ndarray) -> tuple:
        """Cosine and sine of a turn, its square and products with inputs as shares of its own."""
        first = row_count(self.inputs) - 1
        drawn = theta.rows.copy()
        drawn[first:] = 0.0
        drawn = Enclosure(drawn, self.inputs)
        cos, sin = np.cos(drawn), np.sin(drawn)
        w = np.abs(linear).sum(axis=0) * GROW
        more = (np.abs(theta.rows[first:-1] - linear[first:-1]).sum(axis=0) + theta.rest) * GROW
        made = (self._grown(joint, theta, cos, -sin, w, more),
                self._grown(joint, theta, sin, cos, w, more))
        return tuple(map(_no_wider, made))

    def _grown(self, joint, theta, value, rate, w, more):  # noqa: PLR0913
        """A function of the turn with value, rate and -value as drawn, over all builds."""
        first, own = row_count(self.inputs) - 1, self.own[joint]
        rows = value.rows.copy()
        rows[first:-1] = rate.centre * theta.rows[first:-1]
        half = 0.25 * w * w * value.centre
        rows[0] -= half
        rows[own + 1] -= half
        rows[own + 2:own + 2 + self.inputs] += rate.slopes * w
        spread, bend, size = rate.sizes
        rest = (bend + rate.rest) * w + (spread + bend + rate.rest) * more
        spread, bend, size = value.sizes
        rest += 0.5 * ((spread + bend + value.rest) * w * w
                       + (size + value.rest) * (2 * w + more) * more)
        rest += (w + more) ** 3 / 6 * (1 + (w + more) / 4)
        rows[-1] = (rows[-1] + rest + 16 * U * (1 + w + more) ** 2) * GROW + TINY
        return Enclosure(rows, self.inputs)

    def take_up(self, joint: str) -> None:
        """Make the rest of a joint that is settled a share of its own."""
        state = self.states[joint]
        if not isinstance(state.value, Enclosure):
            return
        rows = state.value.rows.copy()
        if isinstance(state, Slide):
            rows[self.own[joint]], rows[-1] = rows[-1], TINY
            self.states[joint] = Slide(Enclosure(rows, self.inputs))
            return
        linear = rows.copy()
        linear[:row_count(self.inputs) - 1] = linear[-1] = 0.0
        self.turn(joint, state.value, linear)


def _no_wider(value):
    """A cosine held to -1 and 1 where its bounds are of no use."""
    wide = (sum(value.sizes[:2]) + value.rest > 1.0) & ~np.isnan(value.centre)
    value.rows[:, wide] = 0.0
    value.rows[-1, wide] = 1.0
    return Enclosure(value.rows, value.inputs)


def enclose_builds(system: System, centres: dict, halves: dict,
                   tolerances: Tolerance) -> BuiltPosture:
    """Bounds of every joint over cells of travel and all builds.

    Parameters
    ----------
    system : System
    centres, halves : dict
        ``{input: ndarray (n,)}``: middle and half-width of each cell, degrees (mm for a slide);
        an input left out stays at 0.
    tolerances : Tolerance

    Returns
    -------
    BuiltPosture
        As from `enclose`; the first shares are those of `Builds`, in its order.
    """
    builds, inputs = Builds.of(system, tolerances), len(centres)
    closed = [joint for step in system.plan.steps if not isinstance(step, Drive)
              for joint in step.joints]
    first, each = row_count(inputs) - 1 + len(builds.sizes), 2 + inputs
    rows = first + each * len(closed) + 1
    posture = BuiltPosture(system.plan, builds.enclosed(inputs, each * len(closed)), rows=rows,
                           inputs=inputs,
                           count=max((np.size(k) for k in centres.values()), default=1),
                           own={joint: first + each * k for k, joint in enumerate(closed)})
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        for step in system.plan.steps:
            if isinstance(step, Drive):
                posture.drive(step, _input(system, step.input, (centres, halves), rows))
            elif isinstance(step, Couple):
                posture.couple(step, _unwrapped(posture, step, system, (centres, halves)))
                posture.take_up(step.joint)
            elif isinstance(step, Close):
                posture.close(step)
            else:
                close_together(posture, step, system, centres)
                for joint in step.joints:
                    posture.take_up(joint)
    return posture


def _input(system, name, cells, rows):
    centres, halves = cells
    if name not in centres:
        return 0.0
    per = 1.0 if system.inputs[name].unit == "mm" else np.pi / 180
    cell = Enclosure.of_input(list(centres).index(name), len(centres),
                              np.asarray(centres[name], dtype=float),
                              np.asarray(halves[name], dtype=float),
                              rows - row_count(len(centres)))
    return cell if per == 1.0 else cell * per


class _Closure:
    """The loop that one rod closes about a turning joint, over cells and builds."""

    def __init__(self, posture, step):
        self.posture, self.step = posture, step
        self.near, self.far = posture.ends(step)
        sizes = posture.dimensions
        self.pivot, self.axis = sizes.places[f"{step.joint}/pivot"], sizes.axes[step.joint]
        self.length = sizes.lengths[step.rod]
        known = (*self.near, *self.far, *self.pivot, *self.axis, self.length)
        self.plain = not any(isinstance(k, Enclosure) for k in known)

    def solved(self):
        """The turn that closes the loop, and its shares of first order."""
        parts = _as_enclosures(*kernels.turn_parts(self.near, self.pivot, self.axis, self.far,
                                                  self.length))
        tried, linear = self._tried(parts)
        missed, steep = self._missed(tried, linear)
        off = (missed.sizes[2] + missed.rest) * GROW + TINY
        low, high = steep.bounds()
        sign = self.step.sign
        low = np.where(np.sign(steep.centre) == sign, np.maximum(low, -high), -1.0)
        reach = self._reach()
        # as far as r from the polynomial the rate is at least low - reach r: a root is within the
        # least r for which low r - reach r^2 / 2 is as much as is missed
        sure = (low > 0) & (2.5 * off * reach * GROW <= low * low) & np.isfinite(off / low)
        rows = tried.rows
        rest = 2 * off / (low + np.sqrt(np.maximum(low * low - 2 * GROW * reach * off, 0.0)))
        rows[-1] = np.where(sure, rest * GROW + TINY, 0.0)
        if not sure.all():
            rows[:, ~sure] = _within_reach(*(Enclosure(k.rows[:, ~sure], k.inputs)
                                            for k in parts), sign)
            linear[:, ~sure] = 0.0
        return Enclosure(rows, tried.inputs), linear

    def _tried(self, parts):
        """The polynomial tried for the turn, exact to second order in travel and builds."""
        a, b, c = parts
        rows = np.zeros(a.rows.shape)
        cos, sin = kernels.turn_close(a.centre, b.centre, c.centre, self.step.sign)
        steep = b.centre * cos - a.centre * sin
        rows[0] = np.arctan2(sin, cos)
        missed = a.rows * cos + b.rows * sin - c.rows
        rows[1:-1] = -missed[1:-1] / steep
        bends = bend_rows(a.inputs)
        rows[bends] = 0.0
        rows[:, ~np.isfinite(rows).all(axis=0)] = 0.0
        linear = rows.copy()
        linear[:row_count(a.inputs) - 1] = linear[-1] = 0.0
        left = self._missed(Enclosure(rows.copy(), a.inputs), linear)[0].rows[:-1] / steep
        rows[:-1] += np.where(np.isfinite(left), -left, 0.0)
        return Enclosure(rows, a.inputs), linear

    def _missed(self, theta, linear):
        """What the squared length is short by at a turn, and its rate."""
        cos, sin = self.posture.turned(self.step.joint, theta, linear)
        at = kernels.turn_point(self.near, self.pivot, self.axis, cos, sin)
        run = [k - q for k, q in zip(at, self.far, strict=True)]
        arm = [k - c for k, c in zip(at, self.pivot, strict=True)]
        missed = self.length * self.length - sum(k * k for k in run)
        u = self.axis
        way = (u[1] * arm[2] - u[2] * arm[1], u[2] * arm[0] - u[0] * arm[2],
               u[0] * arm[1] - u[1] * arm[0])
        return missed, -2.0 * sum(k * e for k, e in zip(run, way, strict=True))

    def _reach(self):
        """Bound of the second derivative of what is missed, whatever the turn."""
        size = 2.0
        for end in (self.near, self.far):
            parts = [_size(k - c) for k, c in zip(end, self.pivot, strict=True)]
            size = size * np.sqrt(sum(k * k for k in parts))
        return size * GROW


def _size(value):
    """Greatest size of a number or an enclosure."""
    return (value.sizes[2] + value.rest) * GROW if isinstance(value, Enclosure) else abs(value)
