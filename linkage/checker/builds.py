"""Every build within the tolerances: each dimension off by a share, from -1 to 1, of its size.

What a build does to a gap is the sum, on the straight way to it from what is drawn, of the gap's
rates by the dimensions.  Over each part of that way they are enclosed for all builds at once.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from flint import arb, arb_mat

from .dimensions import Dimensions
from .loops import OutOfReach, halved
from .motion import MOST, Motion, unit
from .rates import OutOfShow, Rates
from .taylor import UP, Taylor, above, column, sizes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .pairs import Pair
    from .sides import Side, Solid

TRIES = 4  # how often a joint's rates are asked how far builds may have it off
MORE = 1.25  # times as far as they last said
GROWN = 1.03  # times as far as it was for less of the way, by share of that
CLOSE = 1.5  # times what is moved at least, that a bound of it may be
NARROW = 1.0  # degrees (mm) of a cell that is cut no further to get one
MOST_CELLS = 200  # that it is got from
PARTS = 4, 12  # of the way from what is drawn to a build; the more where the fewer do not do


class Built(Motion):
    """The joints of a machine over cells, in all builds up to some part of the way to them."""

    def __init__(self, drawn: Motion, part: int = PARTS[0], parts: int = PARTS[0]):
        self.drawn, self.part, self.parts, machine = drawn, part, parts, drawn.machine
        self.nearer_in = Built(drawn, part - 1, parts) if part > 1 else None
        self.finer = Built(drawn, PARTS[1], PARTS[1]) if part == PARTS[0] == parts else None
        self.dimensions = known = Dimensions(machine, part / parts)
        super().__init__(machine)
        self.rates, self.means, self.most = Rates(self, known), {}, {}
        for name, place in machine.points.items():
            self.points[name] = [Taylor(self.table, {0: arb(k)}, known.off(known.places, name))
                                 for k in place]
        for name, joint in machine.joints.items():
            off = known.off(known.places, f"{name}/pivot")
            self.pivots[name] = [arb(k, off) for k in joint.pivot]
            if joint.through:
                run = [arb(b - a, 2 * off + 1e-12) for a, b in zip(*joint.places[:2], strict=True)]
                self.axes[name] = unit(run)
        for name, rod in machine.rods.items():
            self.lengths[name] = arb(rod.length, known.off(known.lengths, name))

    def settled(self, joint: str, cell: tuple) -> tuple:
        """State of a joint over a cell: as drawn, and off by what its rates allow in builds."""
        kind, *told = self.steps[joint]
        value = self.drawn.state(joint, cell)[2]
        if kind == "drive":
            return self.state_of(joint, value)
        if kind == "couple":
            off = self.state(told[0], cell)[2].rest - self.drawn.state(told[0], cell)[2].rest
            return self.off_by(joint, value, off * above(arb(told[1])))
        values = {j: self.drawn.state(j, cell)[2] for j in told[0].joints}
        return {j: self.off_by(j, values[j], off)
                for j, off in self.off_together(told[0].rods, values, cell).items()}[joint]

    def off_by(self, joint: str, value: Taylor, off: float) -> tuple:
        """State of a joint that builds have off by so much."""
        rest = (value.rest + off) * UP if off == off else math.inf
        return self.state_of(joint, Taylor(self.table, value.c, rest))

    def off_together(self, rods: Sequence, values: dict, cell: tuple) -> dict:
        """How far builds have some joints off that rods settle; without end where not shown.

        While they are off by no more than was tried, their rates hold; and where these can't take
        them farther than that on the whole way to any build, or a rod's own loop doesn't, they
        never are.
        """
        tried, sure = {j: self.expected(j, cell) for j in values}, None
        for _ in range(TRIES):
            rows, found = self.on_trial(rods, values, tried, cell)
            if rows and (tried == sure or within(found, tried)):
                self.rates.keep(rows, cell)
                return lesser(found, tried)
            if tried == sure:
                break
            sure = sure or {j: self.sure(j, value, cell) for j, value in values.items()}
            tried = {j: min(found[j] * MORE, off) for j, off in sure.items()}
        return dict.fromkeys(values, math.inf)

    def on_trial(self, rods: Sequence, values: dict, tried: dict, cell: tuple) -> tuple:
        """Rates of joints that are off by no more than is tried, and how far these take them."""
        rows = {}
        if all(map(math.isfinite, tried.values())):
            self.held = {j: self.off_by(j, value, tried[j]) for j, value in values.items()}
            try:
                rows = self.rates.closure(rods, list(values), cell)
                self.held = {}
                return rows, {j: self.farthest(j, row, cell) for j, row in rows.items()}
            except OutOfShow:
                rows = {}
            finally:
                self.held = {}
        return rows, dict.fromkeys(values, math.inf)

    def sure(self, joint: str, value: Taylor, cell: tuple) -> float:
        """How far builds have a joint off that one rod settles, by its loop in all of them."""
        _, closed = self.steps[joint]
        if len(closed.rods) > 1:
            return math.inf
        try:
            there = closed.settle(cell)[joint][2]
        except OutOfReach:
            return math.inf
        off = ((there - Taylor(self.table, value.c)).size - value.rest) * UP
        return off if off > 0 else math.inf

    def expected(self, joint: str, cell: tuple) -> float:
        """How far builds may have a joint off, as a first try: as on the parts before this."""
        if not self.nearer_in:
            return 0.0
        off = self.nearer_in.state(joint, cell)[2].rest - self.drawn.state(joint, cell)[2].rest
        return off * GROWN * self.part / (self.part - 1)

    def farthest(self, joint: str, row: arb_mat, cell: tuple) -> float:
        """How far rates take a joint on the way to any build."""
        before = self.nearer_in.joint_to(joint, cell) if self.nearer_in else row * 0
        ends = [sizes(k.entries()[self.dimensions.first:]) for k in (before, before + row)]
        return sum(map(max, *ends)) / self.parts * UP

    def joint_to(self, joint: str, cell: tuple) -> arb_mat:
        """Rates of a joint summed over the parts of the way up to here."""
        row = self.rates.joint(joint, cell)
        return row + self.nearer_in.joint_to(joint, cell) if self.nearer_in else row

    def seat_to(self, carriers: tuple, frame: str, cell: tuple) -> list:
        """Rates of a seat over the whole way: their mean over its parts."""
        key = self.seat_key(carriers, frame, cell)
        if key not in self.means:
            if len(self.means) > MOST:
                self.means.clear()
            self.means[key] = self.mean_or_none(carriers, frame, cell)
        if self.means[key] is None:
            raise OutOfShow
        return self.means[key]

    def mean_or_none(self, carriers: tuple, frame: str, cell: tuple) -> list | None:
        """The same worked out, in more parts where the cell is small; None where not shown."""
        try:
            return self.mean(carriers, frame, cell)
        except OutOfShow:
            needs = self.seat_needs(carriers, frame)
            if not self.finer or any(cell[k][1] - cell[k][0] > NARROW for k in needs):
                return None
            return self.finer.mean_or_none(carriers, frame, cell)

    def mean(self, carriers: tuple, frame: str, cell: tuple) -> list:
        """Rates of a seat over the whole way, worked out."""
        found = [self.rates.seat(carriers, frame, cell)]
        inner = self.nearer_in
        while inner:
            found.append(inner.rates.seat(carriers, frame, cell))
            inner = inner.nearer_in
        return [sum(parts[1:], parts[0]) * (1 / arb(len(found)))
                for parts in zip(*found, strict=True)]


    def most_moved(self, solid: Solid, frame: str, root: tuple, *, rough: bool) -> float:
        """How far builds may have any point of a solid off anywhere in a box of travel.

        Rough: by the whole box at once.
        """
        key = solid.name, frame, rough
        if key not in self.most:
            ahead, found, count = [[root], []], 0.0, 1  # not shown yet; shown, but not close
            while any(ahead) and found < math.inf:
                cell = (ahead[0] or ahead[1]).pop(0)
                far, shown = self.moved(solid, frame, cell)
                k = max(self.seat_needs(solid.carriers, frame), default=None,
                        key=lambda k: cell[k][1] - cell[k][0])
                if not (shown > 1 or rough or k is None) and count < MOST_CELLS \
                        and cell[k][1] - cell[k][0] > NARROW:
                    ahead[shown] += halved(cell, k)
                    count += 1
                else:
                    found = max(found, far)
            self.most[key] = found
        return self.most[key]

    def moved(self, solid: Solid, frame: str, cell: tuple) -> tuple:
        """How far builds may have a solid's points off in a cell; 1 where shown, 2 where close."""
        rod, most, least = bool(solid.ends), 0.0, 2
        for i, carrier in enumerate(solid.carriers):
            for row in [(1.0,)] if rod else solid.room:
                spot = solid.ends[i] if rod else solid.drawn(row)
                far, close = self.moved_point((carrier,), row, frame, cell)
                most = max(most, min(far, self.round_joints(carrier, spot, frame)))
                least = min(least, 2 if close or far == 0 else int(far < math.inf))
        loose = self.machine.loose[solid.name] * (1 if rod else math.sqrt(3.0))
        return (most + loose) * UP, least

    def moved_point(self, carriers: tuple, row: Sequence, frame: str, cell: tuple) -> tuple:
        """How far builds may have a point off in a cell by its rates, and whether that is close."""
        try:
            seat = self.seat_to(carriers, frame, cell)
        except (OutOfReach, OutOfShow):
            return math.inf, False
        moves = sum((m * w for m, w in zip(seat[1:], row[1:], strict=True)), seat[0] * row[0])
        balls = [r[self.dimensions.first:] for r in moves.tolist()]
        most = math.hypot(*(sum(sizes(r)) for r in balls)) * UP
        least = math.hypot(*(sum(abs(float(k.mid())) for k in r) for r in balls))
        return (most if most == most else math.inf), most <= CLOSE * least

    def round_joints(self, carrier: object, spot: Sequence, frame: str) -> float:
        """The same wherever its joints may have turned to: on spheres about their pivots."""
        body, point = carrier if isinstance(carrier, tuple) else (carrier, None)
        known, route = self.dimensions, self.route(body, frame)
        if any(sense < 0 or self.machine.joints[j].slides for j, sense in route):
            return math.inf
        own, found, start = math.sqrt(3.0) * known.off(known.places, point), 0.0, spot
        for joint, _ in route:
            pivot = self.machine.joints[joint].pivot
            off = known.off(known.places, f"{joint}/pivot")
            found += 2 * math.dist(spot, pivot) + 2 * math.sqrt(3.0) * off
            spot = pivot
        if len(route) == 1:
            found = min(found, self.round_axis(route[0][0], start))
        return (found + own) * UP

    def round_axis(self, joint: str, spot: Sequence) -> float:
        """How far a point may be off wherever a joint has turned to: on circles about its axis."""
        item, known = self.machine.joints[joint], self.dimensions
        size = math.hypot(*item.axis)
        along = sum((p - c) * k for p, c, k in zip(spot, item.pivot, item.axis, strict=True)) / size
        foot = [c + along * k / size for c, k in zip(item.pivot, item.axis, strict=True)]
        off = math.sqrt(3.0) * known.off(known.places, f"{joint}/pivot")
        through = math.sqrt(3.0) * known.off(known.throughs, joint)
        tilt = 2 * (off + through) / known.runs[joint] if joint in known.throughs else 0.0
        return (2 + tilt) * math.dist(spot, foot) + 3 * (off + abs(along) * tilt) + 1e-9


def within(found: dict, tried: dict) -> bool:
    """Whether no joint is taken farther than was tried."""
    return all(found[j] <= tried[j] for j in found)


def lesser(found: dict, tried: dict) -> dict:
    """The lesser of two bounds of each joint."""
    return {j: min(off, tried[j]) for j, off in found.items()}


class Cost:
    """What builds cost the gap of corners of two sides along a normal that turns."""

    def __init__(self, built: Built, pair: Pair, sides: tuple, cell: tuple, n: list):
        self.first = built.dimensions.first
        n = column(n).transpose()
        self.rows = [self.corners(built, side, pair.frame, cell, n) for side in sides]
        self.each = [[sum(sizes(row)) for row in rows] for rows in self.rows]
        self.loose = sum(self.solid(built, side, pair.frame, cell, n) for side in sides) * UP
        self.most = sum(max(k) for k in self.each) * UP + self.loose

    def corners(self, built: Built, side: Side, frame: str, cell: tuple, n: arb_mat) -> list:
        """Rates of n.p of every corner of a side, by dimension."""
        rates = built.seat_to(side.solid.carriers, frame, cell)
        parts = arb_mat([(n * k).entries()[self.first:] for k in rates])
        return (side.matrix * parts).tolist()

    def solid(self, built: Built, side: Side, frame: str, cell: tuple, n: arb_mat) -> float:
        """What a solid costs whose points are off in each coordinate of its part."""
        loose = built.machine.loose[side.solid.name] + side.more
        if side.solid.ends:  # of a rod all round
            return loose * math.hypot(*sizes(n.entries())) * UP
        length = math.hypot(*sizes(n.entries()))
        return loose * math.sqrt(3.0) * length * UP

    def of(self, i: int, j: int) -> float:
        """What builds cost the gap of a corner of the one and one of the other side."""
        return (sum(sizes(q - p for p, q in zip(self.rows[0][i], self.rows[1][j], strict=True)))
                + self.loose) * UP


class Drawn:
    """As drawn, builds cost nothing."""

    most = 0.0

    def of(self, i: int, j: int) -> float:
        """What builds cost the gap of two corners."""
        return 0.0


NONE = Drawn()
