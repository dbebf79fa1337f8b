"""Bounds of a posture over whole cells of travel in every build within the tolerances, proven.

A build is followed to first order, at every place of a cell, by a share of each dimension.  What
is of second order in the builds would grow from joint to joint if it were counted anew by sums of
sizes in each; so each joint that is not driven has two shares of its own, which all that hangs on
it has in common: what its turn is off from the sum of all other shares, at most, so that it passes
on like one more tolerance; and the square of what builds turn it by, which is never below 0.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from ..intervals import GROW, TINY, Enclosure, U, bend_rows, fitted, row_count, unknown
from . import kernels
from .bounds import EnclosedPosture, enclose_drawn, still_in_use, unwrapped, within_reach
from .bounds_together import close_together
from .builds import Builds
from .builds_rows import BuiltEnclosure, share_rows
from .plan import Close, Couple, Drive
from .posture import Posture, Slide, Turn

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ..model.parts import Tolerance
    from .system import System

@dataclass
class BuiltPosture(EnclosedPosture):
    """A posture enclosed over cells and builds.

    Attributes
    ----------
    own : dict
        ``{joint: first of the rows of its own shares}``.
    dimension_count : int
        Dimensions that the builds have otherwise, whose shares come first.
    doubtful : set of str
        Joints that some build may have out of reach somewhere, as far as is proven.
    """

    own: dict = field(default_factory=dict)
    dimension_count: int = 0
    doubtful: set = field(default_factory=set)
    kind = BuiltEnclosure

    def close(self, step: Close) -> None:
        """Settle a joint from the rod that reaches across it, over whole cells and all builds."""
        closure = _Closure(self, step)
        if self.plan.model.bodies[step.joint].slides or closure.plain:
            Posture.close(self, step)
            self.take_up(step.joint)
            sure = closure.plain
        else:
            *found, sure = closure.solved()
            self.turn(step.joint, *found)
        if not sure:
            self.doubtful.add(step.joint)

    def off_drawn(self, rows: np.ndarray) -> np.ndarray:
        """How far any build may have what some rows are of from where it is as drawn, at most.

        Only where it is in reach as drawn.  What is bounded but not followed may be off either way
        in either of the two.
        """
        first = row_count(self.inputs) - 1
        count = share_rows(rows, self.inputs).stop - first
        size = np.abs(rows[first:])
        twice = np.arange(len(size)) % max(count, 1) >= self.dimension_count
        twice[-1] = True
        return (size.sum(axis=0) + size[twice].sum(axis=0)) * GROW

    def crossed(self, p: Any, joint: str, outward: bool) -> Any:
        """A point carried across one joint, its three coordinates at once."""
        state, axis = self.states.get(joint), self.dimensions.axes[joint]
        if not isinstance(state, Turn) or any(isinstance(k, Enclosure) for k in axis):
            return super().crossed(p, joint, outward)
        sin = state.sin if outward else -state.sin
        at = turned_point(self, p, (self.dimensions.places[f"{joint}/pivot"], axis),
                          (state.cos, sin))
        return tuple(BuiltEnclosure(k, self.inputs) for k in at.rows.swapaxes(0, 1))

    def turn(self, joint: str, theta: Enclosure, linear: np.ndarray) -> None:
        """Set a joint's turn, whose rest becomes a share of its own.

        Parameters
        ----------
        joint : str
        theta : Enclosure
        linear : ndarray (rows, n)
            The shares of it that its square is that of.
        """
        rows = theta.rows.copy()
        wide = ~(rows[-1] < 1.0)  # radians; no share is told of what may be any turn
        rows[self.own[joint]] = np.where(wide, 0.0, rows[-1])
        rows[-1] = np.where(wide, rows[-1], TINY)
        theta = BuiltEnclosure(rows, self.inputs)
        self.states[joint] = Turn(*self.turned(joint, theta, linear), theta)

    def turned(self, joint: str, theta: Enclosure, linear: np.ndarray) -> tuple:
        """Cosine and sine of a turn, the square of what builds turn it by a share of its own."""
        first = row_count(self.inputs) - 1
        drawn, off, square = theta.rows.copy(), theta.rows.copy(), np.zeros(theta.rows.shape)
        drawn[first:] = off[:first] = 0.0
        w = np.abs(linear).sum(axis=0) * GROW
        more = (np.abs(off[:-1] - linear[:-1]).sum(axis=0) + off[-1]) * GROW
        square[0] = square[self.own[joint] + 1] = 0.5 * w * w
        square[-1] = ((2 * w + more) * more + 4 * U * w * w) * GROW
        third = (w + more) ** 3 / 6 * (1 + (w + more) / 4) * GROW
        drawn, off, square = (BuiltEnclosure(k, self.inputs) for k in (drawn, off, square))
        cos, sin = np.cos(drawn), np.sin(drawn)
        made = []
        for value, rate in ((cos, -sin), (sin, cos)):
            found = value + rate * off - value * (0.5 * square)
            found.rows[-1] += third
            made.append(_no_wider(found))
        return tuple(made)

    def take_up(self, joint: str) -> None:
        """Make the rest of a joint that is settled a share of its own."""
        state = self.states[joint]
        if not isinstance(state.value, Enclosure):
            return
        rows = state.value.rows.copy()
        if isinstance(state, Slide):
            rows[self.own[joint]], rows[-1] = rows[-1], np.where(np.isnan(rows[-1]), np.nan, TINY)
            self.states[joint] = Slide(BuiltEnclosure(rows, self.inputs))
            return
        linear = rows.copy()
        linear[:row_count(self.inputs) - 1] = linear[-1] = 0.0
        self.turn(joint, state.value, linear)


def _no_wider(value):
    """A cosine held to -1 and 1 where its bounds are of no use."""
    wide = ~(sum(value.sizes[:2]) + value.rest <= 1.0) & ~np.isnan(value.centre)
    value.rows[:, wide] = 0.0
    value.rows[-1, wide] = 1.0
    return BuiltEnclosure(value.rows, value.inputs)


def enclose(system: System, centres: dict, halves: dict, tolerances: Tolerance | None = None,
            ends: tuple[str, ...] | None = None) -> EnclosedPosture:
    """Bounds of every joint over cells of travel.

    Parameters
    ----------
    system : System
    centres, halves : dict
        ``{input: ndarray (n,)}``: middle and half-width of each cell, degrees (mm for a slide);
        an input left out stays at 0.
    tolerances : Tolerance, optional
        Build tolerances: the bounds then hold for every build, and follow each dimension.
    ends : tuple of str, optional
        Only dimensions that the system solves by are followed then, and those of these points.

    Returns
    -------
    EnclosedPosture
        Its states and places are enclosures over the n cells, their inputs in the order given.
        NaN marks a cell in which no position is within reach, in any build.  One that is still in
        use is given again.
    """
    if tolerances is None:
        return enclose_drawn(system, centres, halves)
    builds = Builds.of(system, tolerances)
    if ends is not None:
        builds = builds.only(system, ends)[0]
    return still_in_use(system, ((tolerances, ends), centres, halves), lambda: enclose_builds(
        system, centres, halves, builds))


def enclose_builds(system: System, centres: dict, halves: dict, builds: Builds) -> BuiltPosture:
    """Bounds of every joint over cells of travel and all builds.

    Parameters
    ----------
    system : System
    centres, halves : dict
        ``{input: ndarray (n,)}``: middle and half-width of each cell, degrees (mm for a slide);
        an input left out stays at 0.
    builds : Builds

    Returns
    -------
    BuiltPosture
        As from `enclose`; the first shares are the builds', in their order.
    """
    inputs = len(centres)
    rows, own = layout(system, inputs, builds)
    posture = BuiltPosture(system.plan, builds.enclosed(inputs, rows), rows=rows, inputs=inputs,
                           dimension_count=len(builds.sizes), own=own,
                           count=max((np.size(k) for k in centres.values()), default=1))
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        for step in system.plan.steps:
            _settle(posture, step, system, (centres, halves))
    return posture


def layout(system: System, inputs: int, builds: Builds) -> tuple[int, dict]:
    """Rows of an enclosure over builds, and the first of each joint's own shares."""
    count = len(builds.sizes)
    closed = [joint for step in system.plan.steps if not isinstance(step, Drive)
              for joint in step.joints]
    return (row_count(inputs) + (count + 2 * len(closed)) * (1 + inputs),
            {joint: row_count(inputs) - 1 + count + 2 * k for k, joint in enumerate(closed)})


def _settle(posture, step, system, cells):
    if isinstance(step, Drive):
        posture.drive(step, input_over(system, step.input, cells, posture.rows))
    elif isinstance(step, Close):
        posture.close(step)
    elif isinstance(step, Couple):
        posture.couple(step, unwrapped(posture, step, system, cells))
        posture.take_up(step.joint)
    else:
        close_together(posture, step, system, cells[0])
        posture.doubtful.update(step.joints)
        for joint in step.joints:
            posture.take_up(joint)


def input_over(system: System, name: str, cells: tuple, rows: int) -> Enclosure | float:
    """An input over cells, radians or mm; 0 of one that they don't name."""
    centres, halves = cells
    if name not in centres:
        return 0.0
    scale = system.inputs[name].scale
    cell = Enclosure.of_input(list(centres).index(name), len(centres),
                              np.asarray(centres[name], dtype=float),
                              np.asarray(halves[name], dtype=float),
                              rows - row_count(len(centres)))
    return BuiltEnclosure(cell.rows, cell.inputs) * scale


class _Closure:
    """The loop that one rod closes about a turning joint, over cells and builds."""

    def __init__(self, posture, step):
        self.posture, self.step = posture, step
        self.near, self.far = posture.ends(step)
        self.axis, self.length = (table[name] for table, name in (
            (posture.dimensions.axes, step.joint), (posture.dimensions.lengths, step.rod)))
        self.pivot = posture.dimensions.places.get(f"{step.joint}/pivot", (0.0, 0.0, 0.0))
        known = (*self.near, *self.far, *self.pivot, *self.axis, self.length)
        self.plain = not any(isinstance(k, Enclosure) for k in known)

    def solved(self):
        """The turn that closes the loop, its shares of first order, and whether it always does.

        As far as r from the turn tried the rate of what is missed is at least low - reach r: so a
        root is within the least r for which low r - reach r^2 / 2 is as much as is missed.
        """
        parts = _as_enclosures(*kernels.turn_parts(self.near, self.pivot, self.axis, self.far,
                                                   self.length))
        tried, linear = self._tried(parts)
        missed, steep = self._missed(tried, linear)
        off = (missed.sizes[2] + missed.rest) * GROW + TINY
        low, high = steep.bounds()
        sign = self.step.sign
        low = np.where(np.sign(steep.centre) == sign, np.maximum(low, -high), -1.0)
        reach = self._reach()
        sure = (low > 0) & (2.5 * off * reach * GROW <= low * low) & np.isfinite(off / low)
        rows = tried.rows
        rest = 2 * off / (low + np.sqrt(np.maximum(low * low - 2 * GROW * reach * off, 0.0)))
        rows[-1] = np.where(sure, rest * GROW + TINY, 0.0)
        if not sure.all():
            rows[:, ~sure] = within_reach(*(Enclosure(k.rows[:, ~sure], k.inputs)
                                             for k in parts), np.full((~sure).sum(), sign))
            linear[:, ~sure] = 0.0
        return BuiltEnclosure(rows, tried.inputs), linear, bool(sure.all())

    def _tried(self, parts):
        """The polynomial tried for the turn, exact to second order in travel and builds."""
        a, b, c = parts
        rows, inputs = np.zeros(a.rows.shape), a.inputs
        cos, sin = kernels.turn_close(a.centre, b.centre, c.centre, self.step.sign)
        steep = b.centre * cos - a.centre * sin
        missed = a.rows * cos + b.rows * sin - c.rows
        rows[0] = np.arctan2(sin, cos)
        rows[1:-1] = -missed[1:-1] / steep
        rows[bend_rows(inputs)] = rows[share_rows(rows, inputs).stop:-1] = 0.0
        rows[:, ~np.isfinite(rows).all(axis=0)] = 0.0
        own = self.posture.own[self.step.joint] + 1
        for last in (False, True):
            linear = rows.copy()
            linear[:row_count(inputs) - 1] = linear[-1] = 0.0
            left = self._missed(BuiltEnclosure(rows.copy(), inputs), linear)[0].rows[:-1] / steep
            rows[:-1] += np.where(np.isfinite(left), -left, 0.0)
            if not last:
                rows[own] = 0.0  # of another square than the next
        return BuiltEnclosure(rows, inputs), linear

    def _missed(self, theta, linear):
        """What the squared length is short by at a turn, and its rate."""
        cos, sin = self.posture.turned(self.step.joint, theta, linear)
        if not any(isinstance(k, Enclosure) for k in self.axis):
            return self._missed_at_once(cos, sin)
        at = kernels.turn_point(self.near, self.pivot, self.axis, cos, sin)
        run = [k - q for k, q in zip(at, self.far, strict=True)]
        arm = [k - c for k, c in zip(at, self.pivot, strict=True)]
        missed = self.length * self.length - sum(k * k for k in run)
        u = self.axis
        way = (u[1] * arm[2] - u[2] * arm[1], u[2] * arm[0] - u[0] * arm[2],
               u[0] * arm[1] - u[1] * arm[0])
        return missed, -2.0 * sum(k * e for k, e in zip(run, way, strict=True))

    def _missed_at_once(self, cos, sin):
        posture, u = self.posture, np.array(self.axis)
        pivot = together(posture, self.pivot)
        at = turned_point(posture, self.near, (self.pivot, self.axis), (cos, sin))
        run = at - together(posture, self.far)
        arm = at - pivot
        way = linear_of(np.cross(u, np.eye(3)).T, arm)
        return (self.length * self.length - total(run * run), -2.0 * total(run * way))

    def _reach(self):
        """Bound of the second derivative of what is missed, whatever the turn."""
        size = 2.0
        for end in (self.near, self.far):
            parts = [_size(k - c) for k, c in zip(end, self.pivot, strict=True)]
            size = size * np.sqrt(sum(k * k for k in parts))
        return size * GROW


def together(posture: BuiltPosture, p: Sequence) -> BuiltEnclosure:
    """Three coordinates as one enclosure of rows (rows, 3, ...)."""
    shapes = [k.rows.shape[1:] if isinstance(k, Enclosure) else np.shape(k) for k in p]
    shape = np.broadcast_shapes((1,), *shapes)
    rows = np.zeros((posture.rows, 3, *shape))
    for made, value in zip(rows.swapaxes(0, 1), p, strict=True):
        if isinstance(value, Enclosure):
            made[...] = fitted(value.rows, len(shape))
        else:
            made[0] = value
    return BuiltEnclosure(rows, posture.inputs)


def linear_of(matrix: np.ndarray, p: BuiltEnclosure) -> BuiltEnclosure:
    """A matrix (3, 3) times three coordinates."""
    rows = np.einsum("ij,rj...->ri...", matrix, p.rows)
    size = np.abs(p.rows).sum(axis=0)
    rows[-1] = unknown(np.einsum("ij,j...->i...", np.abs(matrix), p.rows[-1] + 8 * U * size),
                       rows[0]) * GROW + TINY
    return BuiltEnclosure(rows, p.inputs)


def total(p: BuiltEnclosure) -> BuiltEnclosure:
    """Sum of three coordinates."""
    rows = p.rows.sum(axis=1)
    rows[-1] = (rows[-1] + 4 * U * np.abs(p.rows).sum(axis=(0, 1))) * GROW + TINY
    return BuiltEnclosure(rows, p.inputs)


def turned_point(posture: BuiltPosture, p: Sequence, joint: tuple, turn: tuple) -> BuiltEnclosure:
    """Where a turn about a pivot and an axis that is the same in all builds takes a point.

    Parameters
    ----------
    posture : BuiltPosture
    p : three coordinates
    joint : (three coordinates, three numbers)
    turn : (Enclosure, Enclosure)
        Its cosine and sine.

    Returns
    -------
    BuiltEnclosure
        Rows (rows, 3, ...).
    """
    pivot, u = joint[0], np.array(joint[1], dtype=float)
    x = together(posture, [k - c for k, c in zip(p, pivot, strict=True)])
    along = np.outer(u, u)
    across, aside = linear_of(np.eye(3) - along, x), linear_of(np.cross(u, np.eye(3)).T, x)
    return (together(posture, pivot) + linear_of(along, x) + across * turn[0] + aside * turn[1])


def _as_enclosures(*values):
    known = [v for v in values if isinstance(v, Enclosure)]
    ndim = max(k.rows.ndim for k in known) - 1
    shape = np.broadcast_shapes(*(fitted(k.rows, ndim).shape for k in known))
    made = []
    for value in values:
        rows = np.zeros(shape)
        if isinstance(value, Enclosure):
            rows[...] = fitted(value.rows, ndim)
        else:
            rows[0] = value
        made.append(BuiltEnclosure(rows, known[0].inputs))
    return made


def _size(value):
    """Greatest size of a number or an enclosure."""
    return (value.sizes[2] + value.rest) * GROW if isinstance(value, Enclosure) else abs(value)
