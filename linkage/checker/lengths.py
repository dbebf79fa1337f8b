"""Lengths, places and directions of a model file, in mm."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

NAMED = {"lateral": (0.0, 1.0, 0.0), "fore-aft": (-1.0, 0.0, 0.0), "vertical": (0.0, 0.0, 1.0)}
SIDES = {"right": (0, 1, 0), "left": (0, -1, 0), "aft": (1, 0, 0), "forward": (-1, 0, 0),
         "up": (0, 0, 1), "down": (0, 0, -1)}
UNITS = {"in": 25.4, "mm": 1.0}
AIRFRAME = "airframe"
EYE = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))


class Refused(Exception):
    """What the checker does not know, or a claim that does not hold, in a sentence."""


def part_of(address: str) -> str:
    """The part that a point or solid belongs to."""
    return address.split("/")[0]


def direction(value: object, unit: float = 1.0) -> tuple:
    """Unit vector of a named axis or a vector."""
    v = NAMED[value] if isinstance(value, str) else [float(k) for k in value]
    size = math.hypot(*v)
    return tuple(k / size for k in v)


def length(value: object, unit: float) -> float:
    """A length of the file in mm: bare in the file's unit, or with its own."""
    if not isinstance(value, str):
        return float(value) * unit
    number, _, own = value.strip().rpartition(" ")
    sense = -1.0 if number.startswith("-") else 1.0
    try:
        parts = number.lstrip("+-").replace("-", " ").split()
        return sense * float(sum(Fraction(k) for k in parts)) * UNITS[own]
    except (KeyError, ValueError, ZeroDivisionError):
        raise Refused(f'the checker does not know the length "{value}"') from None


def not_below_0(value: object, unit: float) -> float:
    """A size in mm."""
    found = length(value, unit)
    if not 0 <= found < math.inf:
        raise Refused(f"a size is {value}")
    return found


def place(value: Sequence, unit: float) -> tuple:
    """Coordinates in mm."""
    return tuple(length(k, unit) for k in value)


def travel(value: Sequence, unit: float) -> tuple:
    """Both ends of an input in degrees or mm, and whether in mm."""
    in_mm = any(isinstance(k, str) for k in value)
    return (*(length(k, unit) if in_mm else float(k) for k in value), in_mm)


def stacked(items: Sequence, unit: float) -> float:
    """How high a stack is that a point lies on: washers, and half of what has it in its middle."""
    return sum(length(next(iter(k.values())), unit) / 2 if isinstance(k, dict)
               else length(k, unit) for k in items)
