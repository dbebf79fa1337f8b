"""Every build within the tolerances: each dimension off by a share, from -1 to 1, of its size.

What a build does to a gap is the sum, on the straight way to it from what is drawn, of the gap's
rates by the dimensions.  Over each part of that way they are enclosed for all builds at once.
"""

import copy
import math

from flint import arb, arb_mat

from .motion import MOST, Motion, OutOfReach, minus, unit
from .rates import ALL, OutOfShow, Rates, column, cross, sizes
from .reading import Refused
from .taylor import UP, Taylor

TIMES = 2  # that a joint is made closer by its rates
PARTS = 4  # of the way from what is drawn to a build


class Dimensions:
    """The dimensions of a machine that builds may have otherwise than drawn."""

    def __init__(self, machine, share=1.0):
        self.first, self.share = len(machine.inputs), share
        self.places, self.throughs, self.lengths, self.sizes = {}, {}, {}, []
        turning = [n for n, joint in machine.joints.items() if not joint.slides]
        ends = [end for rod in machine.rods.values() for end in rod.ends]
        for name in dict.fromkeys([*(f"{n}/pivot" for n in turning), *ends]):
            self.number(self.places, name, machine.off[name], 3)
        for name in [n for n, joint in machine.joints.items() if joint.through]:
            self.number(self.throughs, name, machine.off[f"{name}/pivot"], 3)
        for name, rod in machine.rods.items():
            self.number(self.lengths, name, rod.off, 1)
        self.count = len(self.sizes)
        self.runs = {n: math.dist(*machine.joints[n].places[:2]) for n in self.throughs}

    def number(self, table, name, size, count):
        """Give numbers to the coordinates of one."""
        if size > 0:
            table[name] = len(self.sizes)
            self.sizes += [size] * count

    def off(self, table, name):
        """How far each coordinate of a dimension may be off that far, mm."""
        return self.sizes[table[name]] * self.share if name in table else 0.0

    def add(self, direct, at, block):
        """Add what the three coordinates of a dimension do to rows."""
        first = self.first + at
        for i, row in enumerate((block * arb(self.sizes[at])).tolist()):
            for k, x in enumerate(row):
                direct[i, first + k] += x

    def add_place(self, direct, point, ways):
        """Add what a point that is off does."""
        if point in self.places:
            self.add(direct, self.places[point], ways)

    def add_joint(self, direct, joint, ways, crossing):
        """Add what a joint does whose pivot, and whose axis, is off."""
        pivot = f"{joint}/pivot"
        if ways is not None and pivot in self.places:
            self.add(direct, self.places[pivot], ways)
        if joint not in self.throughs:
            return
        ways, axis, x, cos, sin = crossing
        # of (1 - cos) (u.x) u + cos x + sin u x x, by u
        tilt = ((ways * axis) * x.transpose() + ways * (axis.transpose() * x)[0, 0]) * (
            1 - cos) - ways * cross(x) * sin
        tilt = tilt * (ALL - axis * axis.transpose()) * (1 / arb(
            self.runs[joint], 4 * self.off(self.throughs, joint)))
        self.add(direct, self.throughs[joint], tilt)
        self.add(direct, self.places[pivot], tilt * -1)

    def add_length(self, row, rod, length):
        """Add what a rod's length does to half of its squared length less that."""
        if rod in self.lengths:
            at = self.lengths[rod]
            row[0, self.first + at] -= length * arb(self.sizes[at])


class Built(Motion):
    """The joints of a machine over cells, in all builds up to some part of the way to them."""

    def __init__(self, drawn, part=PARTS):
        self.drawn, machine = drawn, drawn.machine
        self.nearer_in = Built(drawn, part - 1) if part > 1 else None
        self.dimensions = known = Dimensions(machine, part / PARTS)
        super().__init__(machine)
        self.rates, self.means = Rates(self, known), {}
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

    def tightened(self, states, cell):
        """States of joints, no farther from those as drawn than their rates allow."""
        for _ in range(TIMES):
            if not all(math.isfinite(value.rest) for *_, value in states.values()):
                return states
            self.held = states
            try:
                joints = list(states)
                rows = self.rates.settled(joints[0], cell)
            except OutOfShow:
                return states
            finally:
                self.held = {}
            states = {joint: self.nearer(joint, state[2], rows[joint], cell)
                      for joint, state in states.items()}
            self.rates.keep(rows, cell)
        return states

    def nearer(self, joint, value, row, cell):
        """State of a joint, by its rates where that is closer."""
        try:
            drawn = self.drawn.state(joint, cell)[2]
        except OutOfReach:  # which some builds may reach all the same
            return self.state_of(joint, value)
        if self.nearer_in:
            row = row + self.nearer_in.joint_to(joint, cell)
        cost = sum(sizes(row.entries()[self.dimensions.first:])) / PARTS
        rest = (drawn.rest + cost) * UP
        closer = Taylor(self.table, drawn.c, rest)
        return self.state_of(joint, closer if closer.spread < value.spread else value)


    def joint_to(self, joint, cell):
        """Rates of a joint summed over the parts of the way up to here."""
        row = self.rates.joint(joint, cell)
        return row + self.nearer_in.joint_to(joint, cell) if self.nearer_in else row

    def seat_to(self, carriers, frame, cell):
        """Rates of a seat over the whole way: their mean over its parts."""
        key = self.seat_key(carriers, frame, cell)
        if key not in self.means:
            if len(self.means) > MOST:
                self.means.clear()
            self.means[key] = self.mean(carriers, frame, cell)
        return self.means[key]

    def mean(self, carriers, frame, cell):
        """Rates of a seat over the whole way, worked out."""
        found = [self.rates.seat(carriers, frame, cell)]
        inner = self.nearer_in
        while inner:
            found.append(inner.rates.seat(carriers, frame, cell))
            inner = inner.nearer_in
        return [sum(parts[1:], parts[0]) * (1 / arb(len(found)))
                for parts in zip(*found, strict=True)]


class Cost:
    """What builds cost the gap of corners of two sides along a normal that turns."""

    def __init__(self, book, pair, sides, cell, n):
        self.first = book.built.dimensions.first
        n = column(n).transpose()
        self.rows = [self.corners(book, side, pair.frame, cell, n) for side in sides]
        self.each = [[sum(sizes(row)) for row in rows] for rows in self.rows]
        self.loose = sum(self.solid(book, side, pair.frame, cell, n) for side in sides) * UP
        self.most = sum(max(k) for k in self.each) * UP + self.loose

    def corners(self, book, side, frame, cell, n):
        """Rates of n.p of every corner of a side, by dimension."""
        rates = book.built.seat_to(side.solid.carriers, frame, cell)
        parts = arb_mat([(n * k).entries()[self.first:] for k in rates])
        return (side.matrix * parts).tolist()

    def solid(self, book, side, frame, cell, n):
        """What a solid costs whose points are off in each coordinate of its part."""
        loose = book.machine.loose[side.solid.name] + side.more
        if side.solid.ends:  # of a rod all round
            return loose * math.hypot(*sizes(n.entries())) * UP
        seat = book.built.seat(side.solid.carriers, frame, cell)
        return loose * sum(sizes((n * column(way))[0, 0] for way in seat[1:]))

    def of(self, i, j):
        """What builds cost the gap of a corner of the one and one of the other side."""
        return (sum(sizes(q - p for p, q in zip(self.rows[0][i], self.rows[1][j], strict=True)))
                + self.loose) * UP


class Drawn:
    """As drawn, builds cost nothing."""

    most = 0.0

    def of(self, i, j):
        """What builds cost the gap of two corners."""
        return 0.0


NONE = Drawn()


def in_build(machine, dimensions, shares):
    """A machine as one build has it."""
    if len(shares) != dimensions.count or not all(-1 <= k <= 1 for k in shares):
        raise Refused("a build is not within the tolerances")
    made = copy.copy(machine)
    off = [k * size for k, size in zip(shares, dimensions.sizes, strict=True)]

    def moved(table, name, place):
        at = table.get(name)
        return place if at is None else tuple(k + d for k, d in zip(place, off[at:], strict=False))

    made.points = {n: moved(dimensions.places, n, k) for n, k in machine.points.items()}
    made.joints = {}
    for name, joint in machine.joints.items():
        made.joints[name] = held = copy.copy(joint)
        held.pivot = moved(dimensions.places, f"{name}/pivot", joint.pivot) if not joint.slides \
            else joint.pivot
        if joint.through:
            end = moved(dimensions.throughs, name, joint.places[1])
            held.axis = tuple(minus(end, held.pivot))
    made.rods = {}
    for name, rod in machine.rods.items():
        made.rods[name] = held = copy.copy(rod)
        held.length += off[dimensions.lengths[name]] if name in dimensions.lengths else 0.0
    return made
