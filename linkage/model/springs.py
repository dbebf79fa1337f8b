"""Springs, what friction grows by, and what is asked of a stick that is let go."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from ..errors import LinkageError, mm
from ..units import HOUSE, as_float, file_length, length_mm, quantity
from .keys import Choice, ListOf, Number, Record, Text, at, got, key, read_keys, write_keys
from .shapes import PAIR, SIZE, Part
from .strength import FORCE, OwnUnit

COEFFICIENT = Number(least=0.0, what="coefficient")
ONE_OF = "needs one of ends (between two points) and pivot (a body it turns), got {}"
# What a spring between two points and one at a pivot count: rate, force, and what it is taken over.
BETWEEN, TURNING = ("spring rate", "force"), ("torsional rate", "moment")


class _Cell(Number):
    """A number or a text with its unit, which its spring reads."""

    def read(self, value: Any, unit: str) -> Any:
        return value

    def schema(self) -> dict:
        return {"type": ["number", "string"]}


@dataclass(frozen=True, kw_only=True)
class Spring(Part):
    """A spring or bungee between two points of two parts, or one that turns a body in its pivot.

    A force is a pull, a moment is on the body about its axis as written.
    """

    ends: tuple | None = key(PAIR, "the two points it is hung between, part/point", default=None)
    pivot: str | None = key(Text(), "the body that it turns on what carries it", default=None)
    rate: float | None = key(OwnUnit(above=0.0, what="rate", needs="a rate with its unit, such as "
                                     '"5 lbf/in", at a pivot "2 in*lbf/deg"'), "rate with its "
                             "unit: force per length, at a pivot moment per angle", default=None)
    free: float | None = key(SIZE, "length at which it pulls nothing", default=None)
    free_angle: float | None = key(Number(what="angle", unit="°"), "degrees of the body from "
                                   "neutral, about its axis as written, at which it gives nothing",
                                   default=None)
    preload: float | None = key(OwnUnit(what="preload", needs="a force (at a pivot a moment) with "
                                        "its unit"), "pull with its unit at neutral as drawn; at "
                                "a pivot moment on the body about its axis", default=None)
    table: tuple | None = key(ListOf(ListOf(_Cell(what="number"), 2, 2, "pair"), 2, None,
                                     "list of pairs"), "pairs of length and pull with its "
                              "unit, lengths rising; at a pivot of degrees and moment on the "
                              "body; straight between them", default=None)
    acts: str | None = key(Choice(("pull", "push", "both")), "which way it can act between two "
                           "points: pull (slack when shorter than free) unless given",
                           default=None)

    def _check(self):
        if (self.ends is None) == (self.pivot is None):
            raise LinkageError(ONE_OF.format("neither" if self.ends is None else "both"))
        if self.pivot is not None:
            self._refuse("ends", free="free_angle", acts=None)
        else:
            self._refuse("pivot", free_angle="free")
            if self.ends[0].split("/")[0] == self.ends[1].split("/")[0]:
                raise LinkageError(f'joins two points of "{self.ends[0].split("/")[0]}", which '
                                   f"never move against each other; name points of two parts")
        if (self.rate is None) == (self.table is None):
            raise LinkageError(f"needs one of rate and table, got "
                               f"{'neither' if self.rate is None else 'both'}")
        self._check_start()

    def _refuse(self, of, **words):
        for word, instead in words.items():
            if getattr(self, word) is not None:
                raise LinkageError(f"has {word}, which is of a spring with {of}; "
                                   + (f"give {instead}" if instead else "leave it out"))

    def _check_start(self):
        free = self.free if self.pivot is None else self.free_angle
        word = "free" if self.pivot is None else "free_angle"
        if self.table is not None:
            if free is not None or self.preload is not None:
                raise LinkageError(f"has a table, which says its force already; leave out "
                                   f"{word} and preload")
            self._check_table()
        elif (free is None) == (self.preload is None):
            raise LinkageError(f"needs one of {word} and preload beside its rate, got "
                               f"{'neither' if free is None else 'both'}")

    def _check_table(self):
        for (one, _), (other, _) in zip(self.table, self.table[1:], strict=False):
            if not one < other:
                said = mm if self.pivot is None else (lambda k: f"{k:g}°")
                raise LinkageError(f"has {said(other)} after {said(one)} in its table; write it "
                                   f"with rising {'lengths' if self.pivot is None else 'degrees'}")

    @property
    def counts(self) -> tuple[str, str]:
        """What its rate and its force are counted in."""
        return BETWEEN if self.pivot is None else TURNING

    @property
    def way(self) -> str:
        """Which way it can act: pull, push or both."""
        return "both" if self.pivot is not None else self.acts or "pull"


class _SpringKind(Record):
    """A spring; its rate, preload and table are read as what it is gives them."""

    def read(self, value: Any, unit: str) -> Spring:
        values = read_keys(Spring, value, unit)
        if "ends" in values and "pivot" in values:
            raise LinkageError(ONE_OF.format("both"))
        rate, load = TURNING if "pivot" in values else BETWEEN
        for word, what in (("rate", rate), ("preload", load)):
            if word in values:
                with at(word):
                    values[word] = quantity(values[word], what)
        if "table" in values:
            with at("table"):
                values["table"] = tuple(_row(row, load, unit) for row in values["table"])
        return Spring(**values)

    def write(self, value: Any, unit: str) -> dict:
        table = write_keys(value, unit)
        rate, load = value.counts
        for word, what in (("rate", rate), ("preload", load)):
            if getattr(value, word) is not None:
                table[word] = f"{getattr(value, word)!r} {HOUSE[what]}"
        if value.table is not None:
            table["table"] = [[at if load == "moment" else file_length(at, unit),
                               f"{force!r} {HOUSE[load]}"] for at, force in value.table]
        return table


def _row(row, load: str, unit: str) -> tuple[float, float]:
    """A line of a table: length (degrees) and force (moment)."""
    place, force = row
    if not isinstance(force, str):
        raise LinkageError(f"needs a {load} with its unit, in quotes, {got(force)}")
    if load == "force":
        return length_mm(place, unit), quantity(force, load)
    return (quantity(place, "angle") if isinstance(place, str) else as_float(place),
            quantity(force, load))


SPRING = _SpringKind(Spring)


@dataclass(frozen=True, kw_only=True)
class Friction(Part):
    """Coefficients of friction where a joint says none: friction that grows with its load."""

    pivot: float = key(COEFFICIENT, "of each pivot whose joint gives the diameter of its bolt",
                       default=0.0)
    rod_end: float = key(COEFFICIENT, "of each rod end that gives the diameter of its ball, "
                                      "sphere", default=0.0)


@dataclass(frozen=True, kw_only=True)
class Feel(Part):
    """What a stick has to do when it is let go, and how much friction it may have."""

    returns: float | None = key(Number(above=0.0, what="travel"), "degrees (mm) of neutral within "
                                "which it has to come back from everywhere in its travel, let go",
                                default=None)
    friction: float | None = key(FORCE, "most friction at the grip, with its unit", default=None)
    hands_off: tuple | None = key(ListOf(Number(what="position"), 2, 2, "pair [least, greatest]"),
                                  "degrees (mm) over which trim has to hold it hands off",
                                  default=None)

    def _check(self):
        if self.hands_off is not None and not self.hands_off[0] < self.hands_off[1]:
            raise LinkageError(f"hands_off [{self.hands_off[0]:g}, {self.hands_off[1]:g}] runs "
                               f"backwards; write the least first, then the greatest")
