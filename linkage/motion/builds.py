"""Every build within the tolerances: which dimensions vary, by how much, and any one of them."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from ..intervals import row_count
from .builds_rows import BuiltEnclosure
from .posture import Dimensions

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from ..model.parts import Tolerance
    from .system import System


@dataclass(frozen=True, eq=False)
class Builds:
    """The dimensions that a build may have otherwise than drawn.

    Each coordinate of a hardpoint that something moves by, each coordinate of the second point of
    an axis, and the length of each rod is off by up to its own size, independently of the others.

    Attributes
    ----------
    drawn : Dimensions
    places, throughs : dict
        ``{"part/point": first of its three numbers}``, and by body for the second point of an axis.
    ends : dict
        ``{body: (x, y, z)}`` of the second points.
    lengths : dict
        ``{rod: its number}``.
    sizes : ndarray (count,)
        mm, plus or minus.
    """

    drawn: Dimensions
    places: dict
    throughs: dict
    ends: dict
    lengths: dict
    sizes: np.ndarray

    @classmethod
    def of(cls, system: System, tolerances: Tolerance) -> Builds:
        """All builds of a system.

        Parameters
        ----------
        system : System
        tolerances : Tolerance
            The general ones; a part's, point's or rod's own stands before them.
        """
        return system.kept(("builds", tolerances), lambda: cls._of(system, tolerances))

    @classmethod
    def _of(cls, system, tolerances):
        model, sizes = system.model, []
        places = _numbered(sizes, 3, {name: model.point_tolerance(name, tolerances)
                                      for name in _pivots_and_ends(model)})
        ends = {name: tuple(body.through) for name, body in model.bodies.items()
                if body.through is not None and f"{name}/pivot" in places}
        throughs = _numbered(sizes, 3, {name: model.point_tolerance(f"{name}/pivot", tolerances)
                                        for name in ends})
        lengths = _numbered(sizes, 1, {name: model.rod_tolerance(name, tolerances)
                                       for name in model.rods})
        return cls(system.dimensions, places, throughs, ends, lengths, np.array(sizes))

    def only(self, system: System, ends: Iterable[str] = ()) -> tuple[Builds, np.ndarray]:
        """The builds of what a system solves, and of some points, and the numbers of these here.

        Parameters
        ----------
        system : System
            One that solves only what some bodies need.
        ends : iterable of str
            Points that something else moves by.
        """
        joints, rods = (tuple(dict.fromkeys(itertools.chain.from_iterable(
            getattr(step, name) for step in system.plan.steps))) for name in ("joints", "rods"))
        names = dict.fromkeys([*(f"{joint}/pivot" for joint in joints), *itertools.chain(
            *(system.model.rods[rod].ends for rod in rods)), *ends])
        kept = [(table, name, size) for table, wanted, size in (
            ("places", names, 3), ("throughs", joints, 3), ("lengths", rods, 1))
            for name in wanted if name in getattr(self, table)]
        tables, numbers = {"places": {}, "throughs": {}, "lengths": {}}, []
        for table, name, size in kept:
            tables[table][name] = len(numbers)
            first = getattr(self, table)[name]
            numbers += range(first, first + size)
        numbers = np.array(numbers, dtype=int)
        return replace(self, **tables, sizes=self.sizes[numbers]), numbers

    def enclosed(self, inputs: int, rows: int) -> Dimensions:
        """All of them at once, as enclosures of so many rows that follow so many inputs."""
        def varied(value, number):
            made = np.zeros(rows)
            made[0], made[row_count(inputs) - 1 + number] = value, self.sizes[number]
            return BuiltEnclosure(made, inputs)

        return self.made(varied)

    def dimensions(self, shares: np.ndarray) -> Dimensions:
        """Some builds.

        Parameters
        ----------
        shares : ndarray (count, ...)
            How far each dimension is off, from -1 to 1 of its size.
        """
        return self.made(lambda value, number: value + shares[number] * self.sizes[number])

    def made(self, varied: Callable[[float, int], Any]) -> Dimensions:
        """The dimensions, each that a build may have otherwise as `varied` has it.

        Parameters
        ----------
        varied : callable
            Of a dimension as drawn, mm, and its number.
        """
        def place(spot, first):
            return tuple(varied(k, first + axis) for axis, k in enumerate(spot))

        drawn = self.drawn
        places = {name: place(spot, self.places[name]) if name in self.places else spot
                  for name, spot in drawn.places.items()}
        axes = dict(drawn.axes)
        for name, first in self.throughs.items():
            run = [b - a for a, b in zip(places[f"{name}/pivot"], place(self.ends[name], first),
                                         strict=True)]
            size = np.sqrt(sum(k * k for k in run))
            axes[name] = tuple(k / size for k in run)
        lengths = {name: varied(length, self.lengths[name]) if name in self.lengths else length
                   for name, length in drawn.lengths.items()}
        return Dimensions(places, axes, lengths)


def _pivots_and_ends(model) -> list[str]:
    """Pivots of what turns, and ends of rods."""
    return [*(f"{name}/pivot" for name, body in model.bodies.items() if not body.slides),
            *(end for rod in model.rods.values() for end in rod.ends)]


def _numbered(sizes, count, tolerances) -> dict:
    """Where each of some dimensions that may be off begins among `sizes`, which grows by them."""
    first = {}
    for name, size in tolerances.items():
        if size > 0:
            first[name] = len(sizes)
            sizes += [size] * count
    return first
