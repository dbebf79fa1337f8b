"""Rods that settle their joints together: interval Newton on all of them, followed from neutral.

A root in a box of joints is the only one there where Newton's step maps the box into itself.
From neutral to the middle of a cell such boxes are laid one behind another along the straight way;
a root that lies in two of them is one, so that no other way of assembling the parts is met.
Where that fails, as at an edge of reach, all turns of the joints are parted into boxes, and those
are left out in which some rod can't have its length.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from contextlib import suppress
from typing import Any

from flint import arb, arb_mat

from .lengths import part_of
from .loops import OutOfReach, followed, halved
from .taylor import UP, Taylor, constant, middles, turn
from .vectors import cross, dot, minus

NEWTON = 12
BOXES, MOST_BOXES = 1500, 40_000  # of the joints that are looked at in a cell, and in all
SMALL = 1.0  # degrees (mm) of a cell in reach that is asked so
NARROW = 0.004  # radians of a box that is halved no further
WIDE = 0.25  # radians of half a box of which the rates of rods tell nothing


class Group:
    """Rods of a machine that settle as many joints, for the `Motion` that asks for them."""

    def __init__(self, motion: Any, rods: Sequence, joints: Sequence):
        self.motion, self.rods, self.joints, self.roots = motion, rods, joints, {}
        self.parted, self.looked = {}, 0
        self.wide = Taylor(motion.table, {}, math.inf)
        self.turns = not any(motion.machine.joints[j].slides for j in joints)
        ends = [part_of(end) for rod in rods for end in motion.machine.rods[rod].ends]
        self.frame = motion.machine.common(ends)

    def settle(self, cell: tuple) -> dict:
        """States of all its joints over a cell."""
        root, found, wide = None, None, [self.wide] * len(self.joints)
        with suppress(OutOfReach):  # of the middle or the straight way to it, not of the cell
            root = self.root(middle_of(cell))
        if root is not None:
            found = self.enclosed(cell, middles(root))
        if found is not None and self.holds(found, root, [0.0] * len(cell)):
            return self.states(found[0])
        self.rates(cell, wide, ())  # of a cell in which nothing before it can be reached, none is
        cuts = root is not None and max(high - low for low, high in self.key(cell)) > SMALL
        return self.states(wide) if cuts or not self.turns else self.in_boxes(cell)

    def states(self, values: Sequence) -> dict:
        """States of its joints."""
        return {j: self.motion.state_of(j, v) for j, v in zip(self.joints, values, strict=True)}

    def lifted(self, value: Taylor, cell: tuple) -> Taylor:
        """A joint's turn with whole turns told apart: it is followed from neutral as it is."""
        return value

    # ---------------------------------------------------------------- wherever the rods let it be

    def key(self, cell: tuple) -> tuple:
        """What of a cell its joints depend on."""
        return self.motion.key(self.joints[0], cell)[1:]

    def in_boxes(self, cell: tuple) -> dict:
        """States of its joints wherever each rod may have its length; whole turns are not told."""
        boxes = self.parted[self.key(cell)] = self.left(cell)
        if not boxes:
            raise OutOfReach
        return {j: (*turn(self.between(one_span(spans))), self.wide)
                for j, spans in zip(self.joints, zip(*boxes, strict=True), strict=True)}

    def left(self, cell: tuple) -> list:
        """Boxes of the joints that hold every posture of a cell."""
        ahead, left = self.about_cell(self.key(cell)), []
        for _ in range(min(BOXES, MOST_BOXES - self.looked)):
            if not ahead:
                break
            box, self.looked = ahead.pop(0), self.looked + 1
            if self.may_close(cell, box):
                k = max(range(len(box)), key=lambda k: box[k][1] - box[k][0])
                parts = halved(box, k) if box[k][1] - box[k][0] > NARROW else []
                ahead, left = ahead + parts, left + ([] if parts else [box])
        return ahead + left

    def about_cell(self, key: tuple) -> list:
        """Boxes that were left of the last cell about one; without, all turns of its joints."""
        for about, boxes in reversed(self.parted.items()):
            if all(a <= c and d <= b for (a, b), (c, d) in zip(about, key, strict=True)):
                return list(boxes)
        return [((-3.2, 3.2),) * len(self.joints)]

    def between(self, ends: tuple) -> Taylor:
        """A turn of which two ends are known."""
        middle = (ends[0] + ends[1]) / 2
        return Taylor(self.motion.table, {0: arb(middle)}, (ends[1] - middle) * UP + 1e-12)

    def may_close(self, cell: tuple, box: tuple) -> bool:
        """Whether each rod may have its length with the joints in a box."""
        wide = [self.between(k) for k in box]
        if beyond(self.rates(cell, wide, ())[0], [0.0] * len(self.rods)):
            return False
        values, room = [Taylor(k.table, k.c) for k in wide], [k.rest for k in wide]
        missed, matrix = self.rates(cell, values)
        inverse = inverse_at_middle(matrix) if max(room) < WIDE else None
        # with Y about the inverse of the rates, a root e off has Y misfit = -e - (Y rates - 1) e
        return inverse is None or not beyond(
            combined(inverse, missed), self.mapped(cell, inverse, values, (room, room)))
    # ---------------------------------------------------------------- the way from neutral

    def root(self, place: tuple) -> list | None:
        """Joints at a place, followed from neutral; None where the way is not shown."""
        goal = tuple(a for a, _ in place)
        if goal not in self.roots:
            start = tuple((0.0, 0.0) for _ in goal)
            found = self.about(start, start, [0.0] * len(self.joints))
            self.roots[goal] = followed(goal, found and found[0], self.further)
        return self.roots[goal]

    def further(self, root: Sequence, cell: tuple) -> Sequence | None:
        """Joints at the far end of a part of the way, by one box that holds them at both ends."""
        signs = [-1.0 if low < 0 else 1.0 for low, _ in cell]
        place = tuple((ends[sign > 0],) * 2 for ends, sign in zip(cell, signs, strict=True))
        held = self.about(cell, middle_of(cell), middles(root))
        if held is None or not self.holds(held, root, [-k for k in signs]):
            return None
        found = self.about(place, place, [self.at(k, signs) for k in held[0]])
        return found[0] if found and self.holds(held, found[0], signs) else None

    def about(self, cell: tuple, place: tuple, guess: Sequence) -> tuple | None:
        """Joints over a cell, about where Newton gets from a guess at a place in it."""
        reached = self.newton(place, guess)
        return None if reached is None else self.enclosed(cell, reached)

    def holds(self, found: tuple, root: Sequence, at: Sequence) -> bool:
        """Whether a root lies in the box in which an enclosure is the only one."""
        return all(abs(float((k.centre - self.at(value, at)).mid())) + k.spread + 1e-13 < room
                   for k, value, room in zip(root, *found, strict=True))

    def at(self, value: Taylor, place: Sequence) -> float:
        """What a polynomial gives at a place of its cell."""
        total = 0.0
        for k, x in value.c.items():
            part = float(x.mid())
            for i in self.motion.table.names[k]:
                part *= place[i]
            total += part
        return total

    # ---------------------------------------------------------------- over a cell

    def newton(self, place: tuple, guess: Sequence) -> Sequence | None:
        """Joints at a place in floats; None where Newton does not get there."""
        for _ in range(NEWTON):
            missed, matrix = self.rates(place, [constant(self.motion.table, k) for k in guess])
            inverse = inverse_at_middle(matrix)
            if inverse is None:
                return None
            moves = middles(combined(inverse, missed))
            if not max(map(abs, moves)) < 1e6:
                return None
            guess = minus(guess, moves)
            if max(map(abs, moves)) < 1e-13 * (1 + max(map(abs, guess))):
                return guess
        return guess

    def enclosed(self, cell: tuple, guess: Sequence) -> tuple | None:
        """Joints over a cell, and how far about them no other root lies; None where not shown."""
        table = self.motion.table
        values = [constant(table, k) for k in guess]
        missed, matrix = self.rates(cell, values)
        inverse = inverse_at_middle(matrix)
        if inverse is None:
            return None
        for order in (1, 2):
            values = [moved_back(v, s, order) for v, s in
                      zip(values, combined(inverse, missed), strict=True)]
            missed = self.rates(cell, values)[0]
        off = [k.size for k in combined(inverse, missed)]
        room = [2 * k + 1e-11 for k in off]
        found = self.mapped(cell, inverse, values, (off, room))
        if not all(f * UP < r for f, r in zip(found, room, strict=True)):
            return None
        return [Taylor(table, v.c, f * UP) for v, f in zip(values, found, strict=True)], room

    def mapped(self, cell: tuple, inverse: Sequence, values: Sequence, known: tuple) -> list:
        """How far from its middle Newton's step leads from anywhere in a box, joint by joint."""
        off, room = known
        wide = [Taylor(self.motion.table, v.c, r) for v, r in zip(values, room, strict=True)]
        matrix, found = self.rates(cell, wide)[1], list(off)
        for k, width in enumerate(room):
            column = combined(inverse, [row[k] for row in matrix])
            for i, share in enumerate(column):
                found[i] += (share - (1 if i == k else 0)).size * width
        return found

    def rates(self, cell: tuple, values: Sequence, along: Sequence | None = None) -> list[list]:
        """Misfit of every rod, and its rates along every joint, or along some."""
        motion = self.motion
        motion.held = self.states(values)
        try:
            axes = [self.axis(j, cell) for j in (self.joints if along is None else along)]
            return [list(k) for k in zip(*(self.of_rod(rod, cell, axes) for rod in self.rods),
                                         strict=True)]
        finally:
            motion.held = {}

    def axis(self, joint: str, cell: tuple) -> tuple:
        """A joint's pivot, and where its axis points, seen from the frame."""
        motion, on = self.motion, self.motion.machine.joints[joint].on
        axis = [constant(motion.table, k) for k in motion.axes[joint]]
        return (motion.place(motion.points[f"{joint}/pivot"], on, self.frame, cell),
                motion.place(axis, on, self.frame, cell, way=True))

    def of_rod(self, rod: str, cell: tuple, axes: Sequence) -> tuple[Taylor, list]:
        """Misfit of a rod, and its rates along the joints."""
        motion, machine, rates = self.motion, self.motion.machine, []
        ends = [(machine.chain(part_of(end)), motion.place(
            motion.points[end], part_of(end), self.frame, cell)) for end in machine.rods[rod].ends]
        apart = minus(ends[0][1], ends[1][1])
        for joint, (pivot, axis) in zip(self.joints, axes, strict=False):
            rate = constant(motion.table, 0)
            for (chain, p), sense in zip(ends, (2, -2), strict=True):
                if joint in chain:
                    slides = machine.joints[joint].slides
                    rate += dot(apart, axis if slides else cross(axis, minus(p, pivot))) * sense
            rates.append(rate)
        return dot(apart, apart) - motion.lengths[rod] * motion.lengths[rod], rates


def inverse_at_middle(matrix: Sequence) -> Sequence | None:
    """Inverse of the middles of a matrix of Taylors; None where it has none."""
    try:
        inverse = arb_mat([[arb(k.centre.mid()) for k in row] for row in matrix]).inv()
    except ZeroDivisionError:
        return None
    count = len(matrix)
    return [[arb(inverse[i, j].mid()) for j in range(count)] for i in range(count)]


def moved_back(value: Taylor, step: Taylor, order: int) -> Taylor:
    """A polynomial less what of one degree Newton's step has."""
    names = value.table.names
    return Taylor(value.table, value.c | {k: arb(-x.mid()) for k, x in step.c.items()
                                          if len(names[k]) == order})


def combined(matrix: Sequence, values: Sequence) -> list:
    """A matrix of balls times a column of Taylors."""
    return [sum(v * k for v, k in zip(values, row, strict=True)) for row in matrix]


def middle_of(cell: tuple) -> tuple:
    """The middle of a cell, as a cell."""
    return tuple(((a + b) / 2,) * 2 for a, b in cell)


def beyond(values: Sequence, sizes: Sequence) -> bool:
    """Whether one of some values is larger than its size all over a cell."""
    return any(k.low() > far * UP or k.high() < -far * UP
               for k, far in zip(values, sizes, strict=True))


def one_span(spans: Sequence) -> tuple[float, float]:
    """Ends of all that some spans of a turn hold, brought near the first by whole turns."""
    whole = [2 * math.pi * round((sum(k) - sum(spans[0])) / (4 * math.pi)) for k in spans]
    return (min(low - k for (low, _), k in zip(spans, whole, strict=True)),
            max(high - k for (_, high), k in zip(spans, whole, strict=True)))

