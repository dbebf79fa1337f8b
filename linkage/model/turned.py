"""A solid turned about a line: what clocking a grip does to the room of the hand."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Sequence
from typing import Any

from .keys import unit_vector
from .shapes import Box, Pipe, Plate, Sphere, Tube


def turned(shape: Any, line: tuple[Sequence[float], Sequence[float]], spot: Callable,
           degrees: float) -> Any:
    """A solid turned right-hand about a line; what is not turned stays as it is.

    Parameters
    ----------
    shape : Sphere, Tube, Pipe, Box, Plate or Washer
    line : pair of (x, y, z)
        Start and end of the line, mm.
    spot : callable
        From a point's name or a place to its position, mm.
    degrees : float

    Returns
    -------
    solid
        A box becomes a plate of its size, since its edges leave the stations.
    """
    if not degrees:
        return shape
    start, end = line
    axis = unit_vector([b - a for a, b in zip(start, end, strict=True)])

    def place(p):
        arm = _turn([a - b for a, b in zip(spot(p), start, strict=True)], axis, degrees)
        return tuple(a + b for a, b in zip(start, arm, strict=True))

    if isinstance(shape, Sphere):
        return dataclasses.replace(shape, at=place(shape.at))
    if isinstance(shape, (Tube, Pipe)):
        return dataclasses.replace(shape, along=tuple(place(p) for p in shape.along))
    plate = _as_plate(shape) if isinstance(shape, Box) else shape
    ways = {word: _turn(unit_vector(getattr(plate, word)), axis, degrees)
            for word in ("normal", "u") if hasattr(plate, word)}
    return dataclasses.replace(plate, at=place(plate.at), **ways)


def _turn(vector, axis, degrees):
    """Rodrigues' formula."""
    cos, sin = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    (x, y, z), (u, v, w) = vector, axis
    along = (u * x + v * y + w * z) * (1 - cos)
    across = (v * z - w * y, w * x - u * z, u * y - v * x)
    return tuple(p * cos + q * sin + a * along
                 for p, q, a in zip(vector, across, axis, strict=True))


def _as_plate(box: Box) -> Plate:
    half = [abs(b - a) / 2 for a, b in zip(box.corner, box.opposite, strict=True)]
    middle = tuple((a + b) / 2 for a, b in zip(box.corner, box.opposite, strict=True))
    x, y, z = half
    return Plate(at=middle, normal="vertical", u=(1.0, 0.0, 0.0), thickness=2 * z,
                 outline=((-x, -y), (x, -y), (x, y), (-x, y)), clearance=box.clearance)
