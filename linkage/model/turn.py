"""A right-hand turn about a line: what clocking a grip does to the room of the hand."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from .keys import unit_vector


@dataclass(frozen=True)
class Turn:
    """A right-hand turn about a line.

    Attributes
    ----------
    line : pair of (x, y, z)
        Start and end of the line, mm.
    degrees : float
    spot : callable
        From a point's name or a place to its position, mm.
    """

    line: tuple[Sequence[float], Sequence[float]]
    degrees: float
    spot: Callable

    def place(self, place: str | Sequence[float]) -> tuple[float, float, float]:
        """Where a place, or a named point, comes to lie, mm."""
        start = self.line[0]
        arm = self.direction([a - b for a, b in zip(self.spot(place), start, strict=True)])
        return tuple(a + b for a, b in zip(start, arm, strict=True))

    def direction(self, vector: Sequence[float]) -> tuple[float, float, float]:
        """Which way a direction points then (Rodrigues' formula)."""
        start, end = self.line
        u, v, w = unit_vector([b - a for a, b in zip(start, end, strict=True)])
        cos, sin = math.cos(math.radians(self.degrees)), math.sin(math.radians(self.degrees))
        x, y, z = vector
        along = (u * x + v * y + w * z) * (1 - cos)
        across = (v * z - w * y, w * x - u * z, u * y - v * x)
        return tuple(p * cos + q * sin + a * along
                     for p, q, a in zip(vector, across, (u, v, w), strict=True))
