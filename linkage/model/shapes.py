"""Hardpoints and shapes: what a part is made of, in mm at neutral."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..errors import LinkageError, mm
from .keys import (
    Choice,
    Direction,
    Either,
    Kind,
    Length,
    ListOf,
    OneOfRecords,
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


@dataclass(frozen=True, kw_only=True)
class Sphere(Part):
    """A ball, such as a knob."""

    kind = "sphere"
    at: str | tuple = key(PLACE, "its middle; a point of the part or [FS, BL, WL]")
    diameter: float = key(SIZE, "its diameter")
    clearance: str | None = key(Text(), "clearance class to hold it to", default=None)


@dataclass(frozen=True, kw_only=True)
class Tube(Part):
    """A straight round tube or rod with round ends."""

    kind = "tube"
    along: tuple = key(ListOf(PLACE, 2, 2, "pair of points"), "its two ends")
    diameter: float = key(SIZE, "its outside diameter")
    clearance: str | None = key(Text(), "clearance class to hold it to", default=None)


class _Bends(ListOf):
    """The line of a bent pipe; a straight one is a tube."""

    def _refuse(self, value):
        if isinstance(value, (tuple, list)) and len(value) == 2:
            raise LinkageError('has two points and so no bend; use kind = "tube"')
        super()._refuse(value)


@dataclass(frozen=True, kw_only=True)
class Pipe(Part):
    """A bent round pipe: a chain of straight pieces."""

    kind = "pipe"
    along: tuple = key(_Bends(PLACE, 3, None, "list of points"), "its bends, ends included")
    diameter: float = key(SIZE, "its outside diameter")
    clearance: str | None = key(Text(), "clearance class to hold it to", default=None)


@dataclass(frozen=True, kw_only=True)
class Box(Part):
    """A block with edges along the stations at neutral."""

    kind = "box"
    corner: tuple = key(Position(), "one corner")
    opposite: tuple = key(Position(), "the corner across the block")
    clearance: str | None = key(Text(), "clearance class to hold it to", default=None)

    def _check(self):
        same = " and ".join(f"{word} {mm(a)}" for word, a, b in zip(
            ("FS", "BL", "WL"), self.corner, self.opposite, strict=True) if a == b)
        if same:
            raise LinkageError(f"has no thickness in one direction: both corners are at "
                               f"{same}; move the opposite corner")


OUTLINE = ListOf(ListOf(Length(), 2, 3, "corner [u, v] or [u, v, corner radius]"), 3, None,
                 "list of corners")


@dataclass(frozen=True, kw_only=True)
class Hole(Part):
    """A cut-out of a plate: round, a slot, or an outline."""

    at: tuple | None = key(ListOf(Length(), 2, 2, "place [u, v]"), "middle of a round hole",
                           default=None)
    diameter: float | None = key(SIZE, "diameter of a round hole, width of a slot", default=None)
    slot: tuple | None = key(ListOf(ListOf(Length(), 2, 2, "place [u, v]"), 2, 2, "pair of places"),
                             "the two centres of a slot's round ends", default=None)
    outline: tuple | None = key(OUTLINE, "corners of a cut-out", default=None)

    def _check(self):
        given = [word for word in ("at", "slot", "outline") if getattr(self, word) is not None]
        if len(given) != 1:
            raise LinkageError(f"needs one of at, slot or outline, got "
                               f"{' and '.join(given) or 'none'}")
        if (self.outline is None) != (self.diameter is not None):
            raise LinkageError(f"has {given[0]} {'and' if self.outline else 'without'} a "
                               f"diameter; it needs one with at or slot, and none with outline")


@dataclass(frozen=True, kw_only=True)
class Plate(Part):
    """A flat plate of its true outline, drawn in its own plane [u, v] from `at`."""

    kind = "plate"
    at: str | tuple = key(PLACE, "where [0, 0] of the outline lies, in the plate's middle plane")
    normal: str | tuple = key(Direction(), "direction square to the plate")
    u: str | tuple = key(Direction(), "direction of the outline's first axis")
    outline: tuple = key(OUTLINE, "corners [u, v] or [u, v, corner radius]")
    thickness: float = key(SIZE, "thickness")
    holes: tuple = key(ListOf(Record(Hole)), "cut-outs", default=())
    clearance: str | None = key(Text(), "clearance class to hold it to", default=None)

    def _check(self):
        off = _dot(unit_vector(self.normal), unit_vector(self.u))
        if abs(off) > 1e-6:
            between = math.degrees(math.acos(max(-1.0, min(off, 1.0))))
            raise LinkageError(f"has u at {between:.6g}° to its normal; turn one of them to 90°")


@dataclass(frozen=True, kw_only=True)
class Washer(Part):
    """A washer or round plate with a hole."""

    kind = "washer"
    at: str | tuple = key(PLACE, "its middle")
    normal: str | tuple = key(Direction(), "direction square to it")
    outside: float = key(SIZE, "outside diameter")
    inside: float = key(THICKNESS, "diameter of its hole, 0 for none", default=0.0)
    thickness: float = key(SIZE, "thickness")
    clearance: str | None = key(Text(), "clearance class to hold it to", default=None)

    def _check(self):
        if not self.inside < self.outside:
            raise LinkageError(f"has a hole of {mm(self.inside)} in {mm(self.outside)} outside; "
                               f"make the hole smaller")


SOLID = OneOfRecords((Sphere, Tube, Pipe, Box, Plate, Washer))
SOLIDS = TableOf(SOLID, "solid")
