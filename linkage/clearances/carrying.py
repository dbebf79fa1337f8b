"""Seats carried to where a posture, or an enclosed one, puts them; and directions along them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..intervals import Enclosure, unknown
from ..motion import Posture, System, TracedPosture, leaf_of, varied

if TYPE_CHECKING:
    from collections.abc import Iterable


@dataclass(frozen=True)
class Seat:
    """What carries a piece: one body, or one under each end of a rod; and the frame it is seen in.

    Attributes
    ----------
    carriers : tuple of str
    frame : str
    origin : ndarray (points, 3)
        Points carried, mm: one origin, or the two ends.
    ends : tuple of str
        Hardpoints that the two ends are.
    """

    carriers: tuple[str, ...]
    frame: str
    origin: np.ndarray
    ends: tuple[str, ...] = ()


class Frames:
    """An origin and three vectors for each of some seats, that every point of a piece is given by.

    Of a body they are its unit vectors; of a rod its two ends from the frame's own origin, so that
    a point of it is a weighted mean of the two, and one of no length.

    Parameters
    ----------
    system : System
    seats : sequence of Seat
    """

    def __init__(self, system: System, seats: Iterable[Seat]):
        self.system, self.seats, self._programs = system, tuple(seats), {}
        crossed = {joint for seat in self.seats for body in seat.carriers
                   for joint, _ in system.plan.route(body, seat.frame)}
        self._joints = tuple(joint for joint in system.model.bodies if joint in crossed)

    def of(self, posture: Posture) -> np.ndarray:
        """Where a posture puts them.

        Parameters
        ----------
        posture : Posture
            Settled at n positions along one axis, or enclosed over n cells.

        Returns
        -------
        ndarray
            (3, 4, seats, n) of numbers, or (rows, 3, 4, seats, n) of enclosures; n is 1 where they
            are the same at all.
        """
        return posture.remembered(self, lambda: self._worked_out(posture))

    def _worked_out(self, posture):
        key = (tuple(joint for joint in self._joints if joint in posture.states),
               varied(posture.dimensions, self.system.dimensions))
        if key not in self._programs:
            self._programs[key] = self._traced(*key)
        program, shape = self._programs[key], (3, 4, len(self.seats))
        leaves = [leaf_of(posture, name) for name in program.leaves]
        with np.errstate(invalid="ignore", over="ignore"):
            if posture.rows is None:
                count = max((np.size(leaf) for leaf in leaves), default=1)
                return program.numbers(leaves, count).reshape(*shape, count)
            return program.enclosures(leaves, (posture.rows, posture.count),
                                      posture.inputs).reshape(posture.rows, *shape, posture.count)

    def _traced(self, settled, other):
        traced = TracedPosture.of(self.system.plan, self.system.dimensions, other, settled)
        turned = traced.of_vectors()
        ends = np.array([self._vectors(seat, traced, turned) for seat in self.seats], dtype=object)
        return traced.tape.ready(ends.transpose(2, 1, 0).ravel())

    def _vectors(self, seat, traced, turned):
        """Origin and vectors of a seat as sums on a tape: four of three."""
        if seat.ends:
            return ZERO, *(traced.place(name, seat.frame) for name in seat.ends), ZERO
        vectors = [(traced, tuple(seat.origin[0].tolist())), *((turned, x) for x in UNIT)]
        made = []
        for posture, p in vectors:
            for joint, outward in traced.plan.route(seat.carriers[0], seat.frame):
                p = posture.crossed(p, joint, outward)
            made.append(p)
        return made


UNIT = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)
ZERO = (0.0, 0.0, 0.0)


def product(n: np.ndarray, axes: np.ndarray, inputs: int,
            kind: type[Enclosure] = Enclosure) -> np.ndarray:
    """Direction (rows, 3, m) along carried vectors (rows, 3, q, m): enclosures (rows, q, m)."""
    total = 0.0
    for c in range(3):
        total = total + kind(n[:, c, None], inputs) * kind(axes[:, c], inputs)
    return total.rows


def held_product(n: np.ndarray, axes: np.ndarray) -> np.ndarray:
    """Direction (3, m) held over the cell along carried vectors (rows, 3, q, m)."""
    rows = np.einsum("rcqm,cm->rqm", axes, n)
    rows[-1] = unknown((axes[-1] * np.abs(n)[:, None]).sum(axis=0), rows[0])
    return rows


def combined(axes: np.ndarray, x: np.ndarray) -> np.ndarray:
    """Origin plus coordinates along three vectors: (rows, 4, m) and (3, corners, m)."""
    whole = axes[:, :1] + sum(axes[:, 1 + i, None] * x[i] for i in range(3))
    rest = axes[-1, :1] + sum(axes[-1, 1 + i] * np.abs(x[i]) for i in range(3))
    whole[-1] = unknown(rest, whole[0])
    return whole
