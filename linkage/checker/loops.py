"""A rod that settles one joint: its loop closed over a cell by interval Newton.

The loop closes where the misfit of a polynomial tried for the joint, over the least rate at which
the rod turns the joint, is all that it may be off.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from flint import arb

from .lengths import Refused, part_of
from .taylor import UP, Taylor, constant, middles, turn
from .vectors import cross, dot, minus

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

DEAD = 1e-6
FINEST = 2.0**-12  # share of the way from neutral below which following is given up


class OutOfReach(Exception):
    """No position of a cell can be reached."""


class Loop:
    """A rod of a machine and the joint that it settles, for the `Motion` that asks for it."""

    def __init__(self, motion: Any, rod: str, joint: str):
        self.motion, self.rods, self.joints = motion, [rod], [joint]
        self.joint, self.length = motion.machine.joints[joint], motion.machine.rods[rod].length
        ends = motion.machine.rods[rod].ends
        rides = joint in motion.machine.chain(part_of(ends[0]))
        self.near, self.far = ends if rides else ends[::-1]
        r, q = motion.points[self.near], motion.points[self.far]
        if self.joint.slides:
            (lead,), reach = middles([dot(minus(r, q), motion.axes[joint])]), self.length
        else:
            a, lead, _ = middles(self.turning(r, q))
            reach = math.hypot(a, lead)
        if not abs(lead) >= DEAD * reach:
            raise Refused(f'rod "{rod}" stands at a dead centre at neutral')
        self.sign = math.copysign(1.0, lead)  # on which side of dead centre

    def settle(self, cell: tuple) -> dict:
        """State of its joint over a cell."""
        motion, (joint,) = self.motion, self.joints
        r = motion.place(motion.points[self.near], part_of(self.near), joint, cell)
        q = motion.place(motion.points[self.far], part_of(self.far), self.joint.on, cell)
        value = self.slid(r, q) if self.joint.slides else self.turned(r, q)
        return {joint: motion.state_of(joint, value)}

    def slid(self, r: Sequence, q: Sequence) -> Taylor:
        """How far its joint slides, by t^2 + 2 b t + c = 0."""
        table, length = self.motion.table, self.motion.lengths[self.rods[0]]
        e = minus(r, q)
        b, c = dot(e, self.motion.axes[self.joints[0]]), dot(e, e) - length * length
        square = b * b - c
        if square.high() < 0:
            raise OutOfReach
        b0, c0 = middles((b, c))
        value = closed(table, lambda t: (t * t + b * t * 2 + c, (t + b) * 2), 2.0,
                       (-b0 + self.sign * math.sqrt(max(b0 * b0 - c0, 0.0)), self.sign))
        if value:
            return value
        # by the closed form, in plain balls, where a cell is partly out of reach
        low, high = max(square.low(), 0.0), square.high()
        if not high < math.inf:
            return anywhere(table)
        return between(table, math.sqrt(low) / UP, math.sqrt(high) * UP) * self.sign - b

    def turning(self, r: Sequence, q: Sequence) -> tuple[Taylor, ...]:
        """A, B, C of A cos + B sin = C, which closes its loop over a turning joint."""
        motion, (joint,), (rod,) = self.motion, self.joints, self.rods
        u, c, length = motion.axes[joint], motion.pivots[joint], motion.lengths[rod]
        x = minus(r, c)
        along = [dot(x, u) * k for k in u]
        across, d = minus(x, along), minus(minus(q, c), along)
        return (dot(d, across) * 2, dot(d, cross(u, x)) * 2,
                dot(across, across) + dot(d, d) - length * length)

    def turned(self, r: Sequence, q: Sequence) -> Taylor:
        """How far its joint turns."""
        a, b, c = self.turning(r, q)
        if (c * c - a * a - b * b).low() > 0:
            raise OutOfReach

        def misfit(t):
            cos, sin = turn(t)
            return a * cos + b * sin - c, b * cos - a * sin

        a0, b0, c0 = middles((a, b, c))
        start = math.atan2(b0, a0) - self.sign * math.atan2(
            math.sqrt(max(a0 * a0 + b0 * b0 - c0 * c0, 0.0)), c0)
        return closed(self.motion.table, misfit, math.hypot(a.size, b.size) * UP,
                      (start, self.sign)) or self.within_reach(a, b, c)

    def within_reach(self, a: Taylor, b: Taylor, c: Taylor) -> Taylor:
        """The turn by the closed form, in plain balls, where a cell is partly out of reach."""
        table, long = self.motion.table, math.hypot(a.size, b.size) * UP

        def across(t):
            cos, sin = turn(t)
            return b * cos - a * sin, -(a * cos + b * sin)

        way = closed(table, across, long, (math.atan2(*middles((b, a))), -1.0))
        square = a * a + b * b
        short = square.low()
        if way is None or not short > 0:
            return anywhere(table)
        share = between(table, c.low(), c.high()).ball / between(
            table, math.sqrt(short) / UP, min(long, math.sqrt(square.high()) * UP)).ball
        low, high = max(float(share.lower()) - 1e-12, -1.0), min(float(share.upper()) + 1e-12, 1.0)
        if low > high:
            raise OutOfReach
        return way - between(table, float(arb(high).acos().lower()) - 1e-12,
                             float(arb(low).acos().upper()) + 1e-12) * self.sign

    def lifted(self, value: Taylor, cell: tuple) -> Taylor:
        """Its joint's turn with whole turns told apart, as they are on the way from neutral."""
        if self.joint.slides:
            return value
        try:
            end = followed([(low + high) / 2 for low, high in cell], (arb(0), 0.0), self.further)
        except OutOfReach:  # the straight way; another may lead there
            end = None
        if end is None or not value.spread + end[1] < 3:
            return anywhere(self.motion.table)
        return value + 2 * arb.pi() * nearest_turns(end[0], value)

    def further(self, end: tuple, cell: tuple) -> tuple[arb, float] | None:
        """Its turn (a ball, and how far it may be off) after one more part of the way."""
        found = self.motion.state(self.joints[0], cell)[2]
        if not found.spread < 1:
            return None
        # each holds the turn where they meet within 1, which no other whole turns let both do
        return found.centre + 2 * arb.pi() * nearest_turns(end[0], found), found.spread


def followed(goal: Sequence[float], start: object, further: Callable) -> object | None:
    """What is reached on the straight way from neutral to a goal; None where that is not shown.

    `further` leads from what is reached through one more part of the way, a cell, or gives None;
    then a shorter part is tried.
    """
    share, step, reached = 0.0, 1.0, start
    while reached is not None and share < 1:
        end = min(share + step, 1.0)
        found = further(reached, tuple(tuple(sorted((share * g, end * g))) for g in goal))
        if found is not None:
            share, step, reached = end, 2 * step, found
        else:
            step /= 2
            if step < FINEST:
                return None
    return reached


def closed(table: Any, work: Callable, bend: float, start: tuple) -> Taylor | None:
    """The root of a closure over a cell by interval Newton; None where it does not show.

    `work` gives the closure and its derivative, whose own rate is at most `bend`; the sign of the
    derivative tells the one assembly from the other.
    """
    value, sign = start
    if not math.isfinite(value):
        return None
    value = constant(table, value)
    missed, steep = work(value)
    slope = float(steep.centre.mid())
    if not abs(slope) > 0:
        return None
    for order in (1, 2):
        value = Taylor(table, value.c | {
            k: arb(-float(x.mid()) / slope) for k, x in missed.c.items()
            if len(table.names[k]) == order})
        missed, steep = work(value)
    off, low = missed.size, (steep * sign).low()
    if not (low > 0 and 4 * off * bend * UP <= low * low):
        return None
    return Taylor(table, value.c, off / (low - bend * 2 * off / low) * UP * UP)


def between(table: Any, low: float, high: float) -> Taylor:
    """Anything between two numbers."""
    ball = arb(low).union(arb(high))
    return Taylor(table, {0: ball.mid()}, float(ball.rad()) * UP)


def anywhere(table: Any) -> Taylor:
    """A joint of which nothing is known."""
    return Taylor(table, {}, math.inf)


def nearest_turns(ball: arb, value: Taylor) -> int:
    """Whole turns that bring a Taylor's middle nearest to a ball."""
    return round(float(((ball - value.centre) / (2 * arb.pi())).mid()))


def halved(cell: tuple, k: int) -> list[tuple]:
    """A cell cut at the middle of an input, into two that hold all of it."""
    low, high = cell[k]
    middle = (low + high) / 2
    return [(*cell[:k], ends, *cell[k + 1:]) for ends in ((low, middle), (middle, high))]
