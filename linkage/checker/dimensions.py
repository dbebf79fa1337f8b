"""What a build may have otherwise than drawn, by dimension, and one build by its shares."""

from __future__ import annotations

import copy
import math
from typing import TYPE_CHECKING

from flint import arb, arb_mat

from .lengths import Refused
from .taylor import ALL, cross_matrix
from .vectors import minus

if TYPE_CHECKING:
    from .reading import Joint, Machine


class Dimensions:
    """The dimensions of a machine that builds may have otherwise than drawn."""

    def __init__(self, machine: Machine, share: float = 1.0):
        self.first, self.share = len(machine.inputs), share
        self.places, self.throughs, self.lengths, self.sizes = {}, {}, {}, []
        for name in places_of(machine):
            self.number(self.places, name, machine.off[name], 3)
        for name in [n for n, joint in machine.joints.items() if joint.through]:
            self.number(self.throughs, name, machine.off[f"{name}/pivot"], 3)
        self.number_rods(machine.rods)
        self.count = len(self.sizes)
        self.runs = {n: math.dist(*machine.joints[n].places[:2]) for n in self.throughs}

    def number(self, table: dict, name: str, size: float, count: int) -> None:
        """Give numbers to the coordinates of one."""
        if size > 0:
            table[name] = len(self.sizes)
            self.sizes += [size] * count

    def number_rods(self, rods: dict) -> None:
        """Give numbers to the lengths of rods."""
        for name, rod in rods.items():
            self.number(self.lengths, name, rod.off, 1)

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
            1 - cos) - ways * cross_matrix(x) * sin
        tilt = tilt * (ALL - axis * axis.transpose()) * (1 / arb(
            self.runs[joint], 4 * self.off(self.throughs, joint)))
        self.add(direct, self.throughs[joint], tilt)
        self.add(direct, self.places[pivot], tilt * -1)

    def add_length(self, row: arb_mat, rod: str, length: arb) -> None:
        """Add what a rod's length does to half of its squared length less that."""
        if rod in self.lengths:
            at = self.lengths[rod]
            row[0, self.first + at] -= length * arb(self.sizes[at])


def places_of(machine: Machine) -> list:
    """Pivots of what turns, and ends of rods, each once."""
    turning = [n for n, joint in machine.joints.items() if not joint.slides]
    ends = [end for rod in machine.rods.values() for end in rod.ends]
    return list(dict.fromkeys([*(f"{n}/pivot" for n in turning), *ends]))


def in_build(machine: Machine, dimensions: Dimensions, shares: list) -> Machine:
    """A machine as one build has it."""
    if len(shares) != dimensions.count or not all(-1 <= k <= 1 for k in shares):
        raise Refused("a build is not within the tolerances")
    made = copy.copy(machine)
    off = [k * size for k, size in zip(shares, dimensions.sizes, strict=True)]
    made.points = {n: moved(place, off, dimensions.places.get(n))
                   for n, place in machine.points.items()}
    made.joints = {n: joint_in_build(joint, off, (dimensions.places.get(f"{n}/pivot"),
                                                  dimensions.throughs.get(n)))
                   for n, joint in machine.joints.items()}
    made.rods = {name: copy.copy(rod) for name, rod in machine.rods.items()}
    for name, at in dimensions.lengths.items():
        made.rods[name].length += off[at]
    return made


def moved(place: tuple, off: list, at: int | None) -> tuple:
    """A place in a build; `at` is the number of its first coordinate, None where none is off."""
    return place if at is None else tuple(k + d for k, d in zip(place, off[at:], strict=False))


def joint_in_build(joint: Joint, off: list, at: tuple) -> Joint:
    """A joint in a build; `at` has the numbers of its pivot and of the second point of its axis."""
    made = copy.copy(joint)
    if not joint.slides:
        made.pivot = moved(joint.pivot, off, at[0])
    if joint.through:
        made.axis = minus(moved(joint.places[1], off, at[1]), made.pivot)
    return made
