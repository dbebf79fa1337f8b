"""Hardpoints and shapes: what a part is made of, in mm at neutral."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..errors import LinkageError
from .keys import (
    Choice,
    Direction,
    Either,
    Kind,
    Length,
    ListOf,
    Position,
    Record,
    TableOf,
    Text,
    check_keys,
    file_keys,
    got,
    key,
    read_keys,
    unit_vector,
    write_keys,
)

SIDES = {"right": (0.0, 1.0, 0.0), "left": (0.0, -1.0, 0.0), "aft": (1.0, 0.0, 0.0),
         "forward": (-1.0, 0.0, 0.0), "up": (0.0, 0.0, 1.0), "down": (0.0, 0.0, -1.0)}
SIZE = Length(above=0.0)
THICKNESS = Length(least=0.0)
PLACE = Either((Text(), Position()))
PAIR = ListOf(Text(), 2, 2, "pair of names")


def _dot(a, b) -> float:
    return sum(x * y for x, y in zip(a, b, strict=True))


class ReadOnly(dict):
    """Named parts of a part: `dataclasses.replace` makes another, nothing changes this one.

    Examples
    --------
    >>> ReadOnly(pitch=1)["roll"] = 2
    Traceback (most recent call last):
        ...
    TypeError: a model is never changed in place; dataclasses.replace makes a changed one
    """

    def _refuse(self, *args, **kwargs):
        raise TypeError("a model is never changed in place; dataclasses.replace makes a changed "
                        "one")

    __setitem__ = __delitem__ = __ior__ = _refuse
    clear = pop = popitem = setdefault = update = _refuse

    def __reduce__(self):
        return ReadOnly, (dict(self),)


class Part:
    """A described part: checked once, when it is made."""

    def __post_init__(self):
        check_keys(self)
        for field in file_keys(type(self)).values():
            if isinstance(getattr(self, field.name), dict):
                object.__setattr__(self, field.name, ReadOnly(getattr(self, field.name)))
        self._check()

    def _check(self):
        """Refuse what the keys alone can't show to be impossible."""


@dataclass(frozen=True, kw_only=True)
class Layer(Part):
    """One thing of a stack of which only half counts: it lies to both sides of the middle."""

    ball: float | None = key(SIZE, "width of the ball, half of which counts", default=None)
    plate: float | None = key(SIZE, "thickness of the plate the hole is in, half of which counts",
                              default=None)

    def _check(self):
        if (self.ball is None) == (self.plate is None):
            raise LinkageError(f"needs either ball or plate, one of them; it has "
                               f"{'neither' if self.ball is None else 'both'}")


@dataclass(frozen=True, kw_only=True)
class Point(Part):
    """A hardpoint; built up along its bolt when it can't be measured itself."""

    at: tuple = key(Position(), "[FS, BL, WL] of the point, or of the bolt hole at the plate's "
                                "middle")
    bolt: str | tuple | None = key(Direction(), "direction of the bolt", default=None)
    side: str | None = key(Choice(tuple(SIDES)), "side of the plate on which the ball sits",
                           default=None)
    stack: tuple = key(ListOf(Either((THICKNESS, Record(Layer)))), "what lies between the hole "
                       "and the ball's middle: thicknesses, { ball = width }, "
                       "{ plate = thickness }", default=())
    tolerance: float | None = key(THICKNESS, "plus or minus on each of its coordinates",
                                  default=None)

    def _check(self):
        if self.stack:
            self._check_stack()
        elif self.bolt is not None or self.side is not None:
            raise LinkageError(f"has {'side' if self.bolt is None else 'bolt'} without a stack; "
                               f"add the stack or give the position alone")

    def _check_stack(self):
        if self.bolt is None or self.side is None:
            raise LinkageError(f"has a stack, so it needs {'bolt' if self.bolt is None else 'side'}"
                               f" too to know which way it goes")
        if abs(self._along()) < 0.5:
            raise LinkageError(f'has side "{self.side}" more than 60° off its bolt; '
                               f"choose a side along the bolt")

    def _along(self) -> float:
        return _dot(unit_vector(self.bolt), SIDES[self.side])

    @property
    def position(self) -> tuple[float, float, float]:
        """Where the point is, mm: `at` plus the stack, a ball or plate counting half."""
        if not self.stack:
            return self.at
        rise = sum((item.ball or item.plate) / 2 if isinstance(item, Layer) else item
                   for item in self.stack)
        sense = math.copysign(rise, self._along())
        return tuple(a + sense * u for a, u in zip(self.at, unit_vector(self.bolt), strict=True))


class _PointKind(Kind):
    """[FS, BL, WL], or a table for a point that is built up along its bolt."""

    def read(self, value, unit):
        if isinstance(value, list):
            return Point(at=Position().read(value, unit))
        if isinstance(value, dict):
            return Point(**read_keys(Point, value, unit))
        return value

    def check(self, value):
        if not isinstance(value, Point):
            raise LinkageError(f"needs a position [FS, BL, WL] or a table with at, bolt, side and "
                               f"stack, {got(value)}")

    def write(self, value, unit):
        table = write_keys(value, unit)
        return table if set(table) != {"at"} else table["at"]

    def schema(self):
        return {"anyOf": [Position().schema(), {"$ref": "#/$defs/Point"}]}


POINTS = TableOf(_PointKind(), "point")
