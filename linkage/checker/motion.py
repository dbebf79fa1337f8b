"""Where the parts are all over a cell of travel: every joint enclosed, every loop shown to close.

Joints are settled in the order in which inputs, couplings and rods determine them.
"""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING

from flint import arb

from .lengths import AIRFRAME, EYE, Refused, part_of
from .loops import Loop, OutOfReach
from .taylor import Table, Taylor, constant, turn
from .together import Group
from .vectors import cross, dot, minus, plus

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from .reading import Machine, Rod

DIGITS = [*"0123456789"]  # words of a tree: the input that is cut at its middle
MOST = 40_000  # postures of bodies remembered


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
                self.settle(joints, ("close", Loop(self, name, *joints)),
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
                    self.settle(joints, ("close", Group(self, names, joints)), needs)
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
        if kind == "close":
            return self.closed_by(told[0], cell)[joint]
        value = self.input(cell, told[0]) if kind == "drive" else self.lifted(told[0], cell)
        return self.state_of(joint, value * told[1])

    def state_of(self, joint: str, value: Taylor) -> tuple:
        """Cos and sin of a joint's turn (None for a slide), and the turn or way itself."""
        slides = self.machine.joints[joint].slides
        return (None, None, value) if slides else (*turn(value), value)

    def closed_by(self, rods: Loop | Group, cell: tuple) -> dict:
        """States of the joints that some rods settle, worked out once."""
        key = rods, *self.key(rods.joints[0], cell)[1:]
        if key not in self.states:
            self.states[key] = rods.settle(cell)
        return self.states[key]

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
        (kind, what, *_), value = self.steps[source], self.state(source, cell)[2]
        return what.lifted(value, cell) if kind == "close" else value

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
            return p if way else plus(p, u, value * sense)
        c = [arb(0)] * 3 if way else self.pivots[joint]
        x = minus(p, c)
        along = [dot(x, u) * k for k in u]
        sin = -sin if sense < 0 else sin
        return [a + cos * (b - a) + sin * w + m
                for a, b, w, m in zip(along, x, cross(u, x), c, strict=True)]

    def seat(self, carriers: tuple, frame: str, cell: tuple) -> list:
        """What carries corners: an origin and three directions, or the two ends of a rod."""
        if self.held and any(j in self.held for j in self.crossed_by(carriers, frame)):
            return self.seat_of(carriers, frame, cell)
        key = self.seat_key(carriers, frame, cell)
        if key not in self.seats:
            if len(self.seats) > MOST:
                self.seats.clear()
            self.seats[key] = self.seat_of(carriers, frame, cell)
        return self.seats[key]

    def seat_key(self, carriers: tuple, frame: str, cell: tuple) -> tuple:
        """What carries corners, and what of a cell that depends on."""
        return carriers, frame, *(cell[k] for k in self.seat_needs(carriers, frame))

    def seat_needs(self, carriers: tuple, frame: str) -> list[int]:
        """Places of the inputs that what carries corners depends on, seen from a frame."""
        if (carriers, frame) not in self.needed:
            needs = self.all_needs(self.crossed_by(carriers, frame))
            self.needed[carriers, frame] = [k for k, n in enumerate(self.names) if n in needs]
        return self.needed[carriers, frame]

    def crossed_by(self, carriers: tuple, frame: str) -> list[str]:
        """Joints between what carries corners and a frame."""
        bodies = [body[0] if isinstance(body, tuple) else body for body in carriers]
        return [joint for body in bodies for joint, _ in self.route(body, frame)]

    def seat_of(self, carriers: tuple, frame: str, cell: tuple) -> list:
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


def carried(seat: Sequence, row: Sequence) -> list:
    """A point given by shares of what carries it, as a seat has that over a cell."""
    return [sum(p[c] * w for p, w in zip(seat, row, strict=True)) for c in range(3)]


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
