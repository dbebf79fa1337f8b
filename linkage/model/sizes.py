"""What is to be chosen, within which limits, and what for: the `size` table of a model file."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from ..errors import LinkageError, mm
from .keys import Choice, Flag, Length, Number, Record, TableOf, Text, key
from .shapes import SIZE, Part

STATIONS = ("FS", "BL", "WL")
ANGLE = Number(what="angle", unit="°")
MOST_STEPS = 1e6  # from 0 to a limit
ROOM = 1e-9  # share of a step by which a multiple may lie outside its limits


def _check_limits(part, say):
    if not part.least < part.greatest:
        raise LinkageError(f"runs from {say(part.least)} to {say(part.greatest)}, so nothing is "
                           f"left to choose; give a greatest above the least")
    if part.step is None:
        return
    if max(abs(part.least), abs(part.greatest)) / MOST_STEPS > part.step:
        raise LinkageError(f"has a step of {say(part.step)}, which is too small to count by; make "
                           f"it greater")
    if not steps_within(part):
        raise LinkageError(f"has no multiple of its step of {say(part.step)} between "
                           f"{say(part.least)} and {say(part.greatest)}; widen the limits or "
                           f"make the step smaller")


def steps_within(part: Any) -> range:
    """How many of its steps each value that it can be rounded to is."""
    return range(math.ceil(part.least / part.step - ROOM),
                 math.floor(part.greatest / part.step + ROOM) + 1)


def _degrees(value):
    return f"{value:g}°"


@dataclass(frozen=True, kw_only=True)
class Arm(Part):
    """An arm to choose: how far a point is from its part's pivot axis, square to the axis."""

    point: str = key(Text(), "the point at the arm's end, part/point")
    least: float = key(SIZE, "shortest it may be")
    greatest: float = key(SIZE, "longest it may be")
    step: float | None = key(SIZE, "stock or drill step it is rounded to", default=None)

    def _check(self):
        _check_limits(self, mm)


@dataclass(frozen=True, kw_only=True)
class Clocking(Part):
    """How far a point is turned about its part's pivot axis from where it is drawn."""

    point: str = key(Text(), "the point that is turned, part/point")
    least: float = key(ANGLE, "degrees from as drawn, right-hand about the axis")
    greatest: float = key(ANGLE, "degrees from as drawn, right-hand about the axis")
    step: float | None = key(Number(above=0.0, what="angle", unit="°"),
                             "degrees it is rounded to", default=None)

    def _check(self):
        _check_limits(self, _degrees)
        if not (self.least > -180 and self.greatest < 180):
            raise LinkageError(f"runs from {self.least:g}° to {self.greatest:g}°; stay within half "
                               f"a turn of as drawn")


@dataclass(frozen=True, kw_only=True)
class Place(Part):
    """Where a hardpoint lies along one station; a pivot takes along what rides on it."""

    point: str = key(Text(), "the point, part/point; part/pivot moves the whole part")
    along: str = key(Choice(STATIONS), "the station that is chosen: FS, BL or WL")
    least: float = key(Length(), "least station")
    greatest: float = key(Length(), "greatest station")
    step: float | None = key(SIZE, "step its station is rounded to", default=None)

    def _check(self):
        _check_limits(self, mm)


@dataclass(frozen=True, kw_only=True)
class RodLength(Part):
    """A rod's length to choose, centre to centre."""

    rod: str = key(Text(), "the rod")
    least: float = key(SIZE, "shortest it may be")
    greatest: float = key(SIZE, "longest it may be")
    step: float | None = key(SIZE, "step it is rounded to", default=None)

    def _check(self):
        _check_limits(self, mm)


@dataclass(frozen=True, kw_only=True)
class Target(Part):
    """What a surface has to do besides its required travels."""

    surface: str = key(Text(), "the surface")
    differential: float | None = key(Number(above=0.0, what="ratio"), "travel up over travel down "
                                     "(left over right for a rudder) at the ends of the input",
                                     default=None)
    gearing: float | None = key(Number(above=0.0, what="gearing"), "degrees of surface per degree "
                                "(mm) of the input at neutral, either way", default=None)
    within: float = key(Number(above=0.0, what="tolerance"), "plus or minus", default=0.05)
    input: str | None = key(Text(), "input it is asked of; the one that moves the surface most "
                                    "unless given", default=None)

    def _check(self):
        if (self.differential is None) == (self.gearing is None):
            raise LinkageError(f"needs either differential or gearing, one of them; it has "
                               f"{'neither' if self.gearing is None else 'both'}")

    @property
    def wanted(self) -> float:
        """The number that is asked for."""
        return self.gearing if self.differential is None else self.differential


@dataclass(frozen=True, kw_only=True)
class Size(Part):
    """Dimensions to choose within limits so that the required travels and these targets are met."""

    arms: dict = key(TableOf(Record(Arm), "arm"), "arm lengths to choose", word="arm",
                     default_factory=dict)
    clockings: dict = key(TableOf(Record(Clocking), "clocking"), "turns of points to choose",
                          word="clocking", default_factory=dict)
    places: dict = key(TableOf(Record(Place), "place"), "pivot and hardpoint stations to choose",
                       word="place", default_factory=dict)
    rods: dict = key(TableOf(Record(RodLength), "rod"), "rod lengths to choose", word="rod",
                     default_factory=dict)
    targets: dict = key(TableOf(Record(Target), "target"), "what surfaces have to do besides "
                        "their required travels", word="target", default_factory=dict)
    over_centre: float | None = key(Number(above=0.0, what="margin", unit="°"), "degrees from "
                                    "dead centre that every rod end keeps over the whole travel",
                                    word="over-centre", default=None)
    clearance: bool = key(Flag(), "true to hold every pair to its required clearance too",
                          default=False)

    def _check(self):
        if self.over_centre is not None and not self.over_centre < 90:
            raise LinkageError(f"over-centre is {self.over_centre:g}°, and 90° is square; ask for "
                               f"less")
        names = [name for table in self.tables.values() for name in table]
        twice = next((name for name in names if names.count(name) > 1), None)
        if twice is not None:
            raise LinkageError(f'names two dimensions "{twice}"; rename one of them')

    @property
    def tables(self) -> dict:
        """Every dimension to choose: ``{kind: {name: part}}``."""
        return {"arm": self.arms, "clocking": self.clockings, "place": self.places,
                "rod": self.rods}
