"""What a build may have otherwise than drawn, by dimension, and one build by its shares."""

from __future__ import annotations

import copy
import math
from typing import TYPE_CHECKING

from flint import arb, arb_mat

from .balls import ALL, cross
from .lengths import Refused
from .motion import minus

if TYPE_CHECKING:
    from .reading import Machine


class Dimensions:
    """The dimensions of a machine that builds may have otherwise than drawn."""

    def __init__(self, machine: Machine, share: float = 1.0):
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

    def number(self, table: dict, name: str, size: float, count: int) -> None:
        """Give numbers to the coordinates of one."""
        if size > 0:
            table[name] = len(self.sizes)
            self.sizes += [size] * count

    def off(self, table: dict, name: str | None) -> float:
        """How far each coordinate of a dimension may be off that far, mm."""
        return self.sizes[table[name]] * self.share if name in table else 0.0

    def add(self, direct: arb_mat, at: int, block: arb_mat) -> None:
        """Add what the three coordinates of a dimension do to rows."""
        first = self.first + at
        for i, row in enumerate((block * arb(self.sizes[at])).tolist()):
            for k, x in enumerate(row):
                direct[i, first + k] += x

    def add_place(self, direct: arb_mat, point: str, ways: arb_mat) -> None:
        """Add what a point that is off does."""
        if point in self.places:
            self.add(direct, self.places[point], ways)

    def add_joint(self, direct: arb_mat, joint: str, ways: arb_mat | None, crossing: tuple) -> None:
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

    def add_length(self, row: arb_mat, rod: str, length: arb) -> None:
        """Add what a rod's length does to half of its squared length less that."""
        if rod in self.lengths:
            at = self.lengths[rod]
            row[0, self.first + at] -= length * arb(self.sizes[at])


def in_build(machine: Machine, dimensions: Dimensions, shares: list) -> Machine:
    """A machine as one build has it."""
    if len(shares) != dimensions.count or not all(-1 <= k <= 1 for k in shares):
        raise Refused("a build is not within the tolerances")
    made = copy.copy(machine)
    off = [k * size for k, size in zip(shares, dimensions.sizes, strict=True)]

    def moved(table: dict, name: str, place: tuple) -> tuple:
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
