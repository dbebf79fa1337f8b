"""Where the parts are all over a cell of travel: every joint enclosed, every loop shown to close.

Joints are settled in the order in which inputs, couplings and rods determine them.  A rod's loop
closes in a cell where interval Newton shows that it does: the misfit of a polynomial tried for the
joint, over the least rate at which the rod turns the joint, is all that it may be off.
"""

from __future__ import annotations

import math
from itertools import combinations
from typing import TYPE_CHECKING

from flint import arb

from .lengths import AIRFRAME, Refused
from .pairs import part_of
from .taylor import UP, Table, Taylor, above, constant, dot, turn
from .together import Group, OutOfReach

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from .reading import Machine, Rod

DEAD = 1e-6
DIGITS = [*"0123456789"]  # words of a tree: the input that is cut at its middle
MOST = 40_000  # postures of bodies remembered
EYE = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))


class Motion:
    """A machine's joints over cells: a cell is a tuple of (least, greatest) per input."""

    def __init__(self, machine: Machine):
        self.machine, self.names = machine, list(machine.inputs)
        self.table = Table(len(self.names))
        self.steps, self.needs, self.held = {}, {}, {}
        self.states, self.seats, self.needed = {}, {}, {}
        self.pivots = {name: [arb(k) for k in joint.pivot]
                       for name, joint in machine.joints.items()}
        self.axes = {name: unit([arb(k) for k in joint.axis])
                     for name, joint in machine.joints.items()}
        self.lengths = {name: arb(rod.length) for name, rod in machine.rods.items()}
        self.points = {name: [constant(self.table, k) for k in place]
                       for name, place in machine.points.items()}
        self.origins = {name: joint.pivot for name, joint in machine.joints.items()}
        self.plan()

    # ---------------------------------------------------------------- order

    def plan(self) -> None:
        """What settles each joint, in order."""
        couplings, rods = dict(self.machine.couplings), self.crossed_by_rods()
        self.driven()
        while self.coupled(couplings) or self.closed(rods) or self.closed_together(rods):
            pass
        if couplings or rods:  # one too many, or its joints are not settled at all
            raise Refused(f'no joint is left for rod or coupling "{[*couplings, *rods][0]}" alone '
                          f"to settle")
        self.still = [j for j in self.machine.joints if j not in self.steps]
        self.needs |= {joint: frozenset() for joint in self.still}

    def settle(self, joints: Iterable[str], step: tuple, needs: frozenset) -> None:
        """Keep what settles some joints, and the inputs that they then depend on."""
        for joint in joints:
            if joint in self.steps:
                raise Refused(f'"{joint}" is driven twice')
            self.steps[joint], self.needs[joint] = step, needs

    def driven(self) -> None:
        """Settle the joints that inputs move themselves."""
        for joint, (name, sign) in self.machine.drives.items():
            if self.machine.inputs[name][2] != self.machine.joints[joint].slides:
                raise Refused(f'the travel of input "{name}" is not of the kind "{joint}" needs')
            self.settle([joint], ("drive", self.names.index(name), sign), frozenset([name]))

    def coupled(self, couplings: dict) -> bool:
        """Settle a joint by a coupling that is ready; whether one was."""
        for name, item in list(couplings.items()):
            one, other = item["bodies"]
            if (one in self.steps) != (other in self.steps):
                del couplings[name]
                ratio = float(item["ratio"])
                source, joint, ratio = (one, other, arb(ratio)) if one in self.steps else \
                    (other, one, 1 / arb(ratio))
                joints = self.machine.joints
                if joints[source].slides != joints[joint].slides:
                    ratio *= arb.pi() / 180 if joints[source].slides else 180 / arb.pi()
                self.settle([joint], ("couple", source, ratio), self.needs[source])
                return True
        return False

    def closed(self, rods: dict) -> bool:
        """Settle a joint by a rod that is ready; whether one was."""
        for name, crossed in rods.items():
            joints = [j for j in crossed if j not in self.steps]
            if len(joints) == 1:
                self.settle(joints, self.closing(name, joints[0]),
                            self.all_needs(rods.pop(name)))
                return True
        return False

    def closed_together(self, rods: dict) -> bool:
        """Settle the joints of the fewest rods that settle as many; whether any did."""
        for count in range(2, len(rods) + 1):
            for names in combinations(rods, count):
                crossed = set().union(*(rods[n] for n in names))
                joints = [j for j in self.machine.joints if j in crossed and j not in self.steps]
                if len(joints) == count:
                    for name in names:
                        del rods[name]
                    needs = self.all_needs(crossed - set(joints))
                    self.settle(joints, ("together", Group(self, names, joints)), needs)
                    return True
        return False

    def all_needs(self, joints: Iterable[str]) -> frozenset:
        """Inputs that any of some joints depends on."""
        return frozenset().union(*(self.needs.get(j, frozenset()) for j in joints))

    def crossed_by_rods(self) -> dict[str, list]:
        """Joints between the two ends of every rod that is to settle one."""
        return {name: self.crossed(rod) for name, rod in self.machine.rods.items()
                if not rod.redundant}

    def crossed(self, rod: Rod) -> list[str]:
        """Joints between the two ends of a rod."""
        one, other = (self.machine.chain(part_of(end)) for end in rod.ends)
        return [j for j in (*one, *other) if (j in one) != (j in other)]

    def closing(self, name: str, joint: str) -> tuple:
        """A rod that settles a joint: which end rides on it, and on which side of dead centre."""
        rod, item = self.machine.rods[name], self.machine.joints[joint]
        near, far = rod.ends if joint in self.machine.chain(part_of(rod.ends[0])) else \
            rod.ends[::-1]
        r, q = (self.points[end] for end in (near, far))
        if item.slides:
            lead, reach = float(dot(minus(r, q), self.axes[joint]).centre.mid()), rod.length
        else:
            a, b, _ = self.turning(joint, r, q, self.lengths[name])
            lead = float(b.centre.mid())
            reach = math.hypot(float(a.centre.mid()), lead)
        if not abs(lead) >= DEAD * reach:
            raise Refused(f'rod "{name}" stands at a dead centre at neutral')
        return "close", name, near, far, math.copysign(1.0, lead)

    # ---------------------------------------------------------------- joints over a cell

    def state(self, joint: str, cell: tuple) -> tuple | None:
        """Cos and sin of a joint's turn (None for a slide), and the turn or way itself."""
        if joint in self.held:
            return self.held[joint]
        if joint not in self.steps:
            return None
        key = self.key(joint, cell)
        if key not in self.states:
            try:
                self.states[key] = self.settled(joint, cell)
            except OutOfReach:
                self.states[key] = OutOfReach
        if self.states[key] is OutOfReach:
            raise OutOfReach
        return self.states[key]

    def key(self, joint: str, cell: tuple) -> tuple:
        """A joint, and what of a cell it depends on."""
        return joint, *(ends for name, ends in zip(self.names, cell, strict=True)
                        if name in self.needs[joint])

    def settled(self, joint: str, cell: tuple) -> tuple:
        """State of a joint over a cell, by what settles it."""
        kind, *told = self.steps[joint]
        if kind == "drive":
            value = self.input(cell, told[0]) * told[1]
        elif kind == "together":
            return self.grouped(told[0], joint, cell)
        elif kind == "couple":
            value = self.lifted(told[0], cell) * told[1]
        else:
            return self.by_rod(joint, told, cell)
        return self.state_of(joint, value)

    def state_of(self, joint: str, value: Taylor) -> tuple:
        """Cos and sin of a joint's turn (None for a slide), and the turn or way itself."""
        slides = self.machine.joints[joint].slides
        return (None, None, value) if slides else (*turn(value), value)

    def grouped(self, group: Group, joint: str, cell: tuple) -> tuple:
        """One joint of a group, worked out with the others once."""
        key = group, *self.key(joint, cell)[1:]
        if key not in self.states:
            self.states[key] = group.settle(cell)
        return self.states[key][joint]

    def input(self, cell: tuple, k: int) -> Taylor:
        """An input over a cell, radians or mm."""
        low, high = cell[k]
        centre = (low + high) / 2
        half = max(high - centre, centre - low)
        half += abs(half) * 2.0**-50
        per = arb(1) if self.machine.inputs[self.names[k]][2] else arb.pi() / 180
        return Taylor(self.table, {0: arb(centre) * per} | ({1 + k: arb(half) * per} if half
                                                            else {}))

    def lifted(self, source: str, cell: tuple) -> Taylor:
        """A joint's turn with whole turns told apart, as they are on the way from neutral."""
        value = self.state(source, cell)[2]
        if self.steps[source][0] != "close" or self.machine.joints[source].slides:
            return value
        try:
            end = self.on_the_way(source, [(low + high) / 2 for low, high in cell])
        except OutOfReach:  # the straight way; another may lead there
            end = None
        if end is None or not value.spread + end[1] < 3:
            return self.anywhere()
        return value + 2 * arb.pi() * nearest_turns(end[0], value)

    def on_the_way(self, source: str, goal: Sequence[float]) -> tuple[arb, float] | None:
        """A joint's turn (a ball, and how far it may be off) at the end of the way from neutral.

        None where whole turns can not be told apart.
        """
        share, step, end = 0.0, 1.0, (arb(0), 0.0)
        while share < 1:
            found = self.state(source, tuple(
                tuple(sorted((share * g, min(share + step, 1.0) * g))) for g in goal))[2]
            if found.spread < 1:
                here = found.centre + 2 * arb.pi() * nearest_turns(end[0], found)
                if above(here - end[0]) < 3 - found.spread - end[1]:
                    # both hold the turn where they meet, so that they are one way
                    share, end, step = share + step, (here, found.spread), 2 * step
                    continue
            step /= 2
            if step < 2.0**-12:
                return None
        return end

    def anywhere(self) -> Taylor:
        """A joint of which nothing is known."""
        return Taylor(self.table, {}, float("inf"))

    def turning(self, joint: str, r: Sequence, q: Sequence, length: arb) -> tuple[Taylor, ...]:
        """A, B, C of A cos + B sin = C, which closes a rod's loop over a turning joint."""
        u = self.axes[joint]
        c = self.pivots[joint]
        x = minus(r, c)
        along = dot(x, u)
        across = [a - along * k for a, k in zip(x, u, strict=True)]
        w = crossed_by(u, x)
        d = [a - b - along * k for a, b, k in zip(q, c, u, strict=True)]
        return (dot(d, across) * 2, dot(d, w) * 2,
                dot(across, across) + dot(d, d) - length * length)

    def by_rod(self, joint: str, told: Sequence, cell: tuple) -> tuple:
        """State of a joint that one rod settles."""
        name, near, far, sign = told
        r = self.place(self.points[near], part_of(near), joint, cell)
        q = self.place(self.points[far], part_of(far), self.machine.joints[joint].on, cell)
        length = self.lengths[name]
        if self.machine.joints[joint].slides:
            e = minus(r, q)
            b, c = dot(e, self.axes[joint]), dot(e, e) - length * length
            if (c - b * b).low() > 0:
                raise OutOfReach
            b0, c0 = (float(k.centre.mid()) for k in (b, c))
            value = closed(self.table, lambda t: t * t + b * t * 2 + c, lambda t: (t + b) * 2, 2.0,
                           (-b0 + sign * math.sqrt(max(b0 * b0 - c0, 0.0)), sign))
            return None, None, value or self.slid_within_reach(b, c, sign)
        a, b, c = self.turning(joint, r, q, length)
        if (c * c - a * a - b * b).low() > 0:
            raise OutOfReach
        a0, b0, c0 = (float(k.centre.mid()) for k in (a, b, c))
        start = math.atan2(b0, a0) - sign * math.atan2(math.sqrt(max(a0 * a0 + b0 * b0 - c0 * c0,
                                                                     0.0)), c0)
        value = closed(self.table, lambda t: misfit(a, b, c, t), lambda t: rate(a, b, t),
                       math.hypot(a.size, b.size) * UP, (start, sign))
        value = value or self.within_reach(a, b, c, sign)
        if value.spread > 1:
            anywhere = Taylor(self.table, {}, 1.0)
            return anywhere, anywhere, value
        return (*turn(value), value)

    def slid_within_reach(self, b: Taylor, c: Taylor, sign: float) -> Taylor:
        """The way by the closed form, in plain balls, where a cell is partly out of reach."""
        square = b * b - c
        low, high = max(square.low(), 0.0), square.high()
        if not 0 <= high < math.inf:
            return self.anywhere()
        root = ball(math.sqrt(low) / UP, math.sqrt(high) * UP)
        return -b + Taylor(self.table, {0: root.mid() * sign}, float(root.rad()) * UP)

    def within_reach(self, a: Taylor, b: Taylor, c: Taylor, sign: float) -> Taylor:
        """The turn by the closed form, in plain balls, where a cell is partly out of reach."""
        long = math.hypot(a.size, b.size) * UP
        way = closed(self.table, lambda t: rate(a, b, t), lambda t: -(a * turn(t)[0]
                     + b * turn(t)[1]), long, (math.atan2(*(float(k.centre.mid())
                                                           for k in (b, a))), -1.0))
        short = (a * a + b * b).low()
        if way is None or not short > 0:
            return self.anywhere()
        share = ball(c.low(), c.high()) / ball(math.sqrt(short) / UP, min(
            long, math.sqrt((a * a + b * b).high()) * UP))
        low, high = max(float(share.lower()) - 1e-12, -1.0), min(float(share.upper()) + 1e-12, 1.0)
        if low > high:
            raise OutOfReach
        angle = ball(float(arb(high).acos().lower()) - 1e-12,
                     float(arb(low).acos().upper()) + 1e-12)
        return way - Taylor(self.table, {0: angle.mid() * sign}, float(angle.rad()) * UP)

    # ---------------------------------------------------------------- places over a cell

    def place(self, point: Sequence, body: str, frame: str, cell: tuple, *,
              way: bool = False) -> Sequence:
        """A point (a direction, if `way`) of a body as seen from another, as three Taylors."""
        for joint, sense in self.route(body, frame):
            point = self.across(point, joint, cell, sense, way)
        return point

    def route(self, body: str, frame: str) -> list[tuple]:
        """The joints between a body and another, and the sense in which each is crossed."""
        here, there = self.machine.chain(body), self.machine.chain(frame)
        return [*((j, 1) for j in here if j not in there),
                *((j, -1) for j in there[::-1] if j not in here)]

    def across(self, p: Sequence, joint: str, cell: tuple, sense: int, way: bool) -> Sequence:
        """A point carried across one joint, to what carries it or back."""
        state = self.state(joint, cell)
        if state is None:
            return p
        cos, sin, value = state
        u = self.axes[joint]
        if cos is None:
            return p if way else [a + value * (k * sense) for a, k in zip(p, u, strict=True)]
        c = [arb(0)] * 3 if way else self.pivots[joint]
        x = minus(p, c)
        along = dot(x, u)
        w = crossed_by(u, x)
        if sense < 0:
            sin = -sin
        return [along * k + cos * (a - along * k) + sin * b + m
                for a, b, k, m in zip(x, w, u, c, strict=True)]

    def seat(self, carriers: tuple, frame: str, cell: tuple) -> list:
        """What carries corners: an origin and three directions, or the two ends of a rod."""
        key = self.seat_key(carriers, frame, cell)
        if key not in self.seats:
            if len(self.seats) > MOST:
                self.seats.clear()
            self.seats[key] = self.carried(carriers, frame, cell)
        return self.seats[key]

    def seat_key(self, carriers: tuple, frame: str, cell: tuple) -> tuple:
        """What carries corners, and what of a cell that depends on."""
        return carriers, frame, *(cell[k] for k in self.seat_needs(carriers, frame))

    def seat_needs(self, carriers: tuple, frame: str) -> list[int]:
        """Places of the inputs that what carries corners depends on, seen from a frame."""
        if (carriers, frame) not in self.needed:
            bodies = [body[0] if isinstance(body, tuple) else body for body in carriers]
            needs = self.all_needs(j for body in bodies for j, _ in self.route(body, frame))
            self.needed[carriers, frame] = [k for k, n in enumerate(self.names) if n in needs]
        return self.needed[carriers, frame]

    def carried(self, carriers: tuple, frame: str, cell: tuple) -> list:
        """Where what carries corners is over a cell."""
        return [self.place(start, body, frame, cell, way=way)
                for start, body, way, _ in self.starts(carriers)]

    def starts(self, carriers: tuple) -> list[tuple]:
        """What carries corners, where it is fixed: (coordinates, body, whether a way, point)."""
        if isinstance(carriers[0], tuple):  # ends of a rod: (body, point)
            return [(self.points[point], body, False, point) for body, point in carriers]
        places = self.origin(carriers[0]), *EYE
        return [([constant(self.table, k) for k in place], carriers[0], way > 0, None)
                for way, place in enumerate(places)]

    def origin(self, body: str) -> tuple:
        """The point of a body that its corners are counted from: its pivot as drawn."""
        return (0.0, 0.0, 0.0) if body == AIRFRAME else self.origins[body]


def unit(v: Sequence) -> list[arb]:
    """A vector of balls made one long."""
    size = sum((k * k for k in v), arb(0)).sqrt()
    return [k / size for k in v]


def nearest_turns(ball: arb, value: Taylor) -> int:
    """Whole turns that bring a Taylor's middle nearest to a ball."""
    return round(float(((ball - value.centre) / (2 * arb.pi())).mid()))


def leaves_of(words: Iterable, root: object, parts: Callable) -> Iterator[tuple]:
    """Leaves of a tree in the order of its words: (word, node).

    `parts` gives what a word cuts a node into, and None where the node is a leaf.
    """
    words, ahead = iter(words), [root]
    while ahead:
        node, word = ahead.pop(), next(words, None)
        found = parts(word, node)
        if found is None:
            yield word, node
        else:
            ahead += found[::-1]
    if next(words, None) is not None:
        raise Refused("a tree has more leaves than it needs")


def misfit(a: Taylor, b: Taylor, c: Taylor, t: Taylor) -> Taylor:
    """A cos t + B sin t - C."""
    cos, sin = turn(t)
    return a * cos + b * sin - c


def rate(a: Taylor, b: Taylor, t: Taylor) -> Taylor:
    """What the misfit grows by per radian."""
    cos, sin = turn(t)
    return b * cos - a * sin


def closed(table: Table, missed: Callable, steep: Callable, bend: float,
           start: tuple) -> Taylor | None:
    """The root of a closure over a cell by interval Newton; None where it does not show.

    `missed` and `steep` give the closure and its derivative, whose own rate is at most `bend`; the
    sign of the derivative tells the one assembly from the other.
    """
    value, sign = start
    if not math.isfinite(value):
        return None
    value = constant(table, value)
    slope = float(steep(value).centre.mid())
    if not abs(slope) > 0:
        return None
    for order in (1, 2):
        found = missed(value)
        value = Taylor(table, value.c | {k: arb(-float(x.mid()) / slope) for k, x in found.c.items()
                                         if len(table.names[k]) == order})
    off, low = missed(value).size, (steep(value) * sign).low()
    if not (low > 0 and 4 * off * bend * UP <= low * low):
        return None
    return Taylor(table, value.c, off / (low - bend * 2 * off / low) * UP * UP)


def minus(a: Sequence, b: Sequence) -> list:
    """One point less another."""
    return [p - q for p, q in zip(a, b, strict=True)]


def crossed_by(u: Sequence, x: Sequence) -> list:
    """Vector product of an axis and a vector."""
    return [x[2] * u[1] - x[1] * u[2], x[0] * u[2] - x[2] * u[0], x[1] * u[0] - x[0] * u[1]]


def ball(low: float, high: float) -> arb:
    """A ball that holds all between two numbers."""
    return arb(low).union(arb(high))
