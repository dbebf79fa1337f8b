"""Rod ends, how they are screwed into a rod, and rig pins."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..errors import LinkageError, mm
from .keys import Direction, Flag, Label, ListOf, Number, Quantity, TableOf, Text, got, key
from .shapes import SIZE, THICKNESS, Part
from .threads import read_thread


class _ThreadKind(Label):
    """Designation of a thread."""

    def check(self, value):
        super().check(value)
        read_thread(value)


THREAD = _ThreadKind()
FORCE = Quantity(what="force")


@dataclass(frozen=True, kw_only=True)
class RodEnd(Part):
    """A rod end off the shelf: a ball in a race on a threaded shank."""

    thread: str | None = key(THREAD, 'its thread, "LH" behind it for left-hand; that of its rod '
                                     "unless given", default=None)
    shank: float | None = key(SIZE, "middle of the ball to the end of the shank", default=None)
    most: float | None = key(SIZE, "most thread that can be engaged, till the jam nut or the "
                                   "bottom of the hole stops it", default=None)
    misalignment: float | None = key(Number(above=0.0, what="angle", unit="°"),
                                     "allowed between the rod and the ball's middle plane, "
                                     "degrees, by its maker", default=None)
    ball: float | None = key(SIZE, "width of the ball", default=None)
    race: float | None = key(SIZE, "width of the race or head about the ball", default=None)
    sphere: float | None = key(SIZE, "diameter of the ball", default=None)
    shoulder: float | None = key(SIZE, "diameter of what bears on the ball's faces; their own "
                                       "unless given", default=None)
    hardware: tuple = key(ListOf(Label()), "what always goes with it: bolt, washers, nut, jam nut",
                          default=())
    material: str | None = key(Text(), "material of its shank; that of its rod unless given",
                               default=None)
    friction: float | None = key(Number(least=0.0, what="coefficient"), "coefficient of friction "
                                 "of its ball, by which its load bends the shank; with sphere",
                                 default=None)
    rating: float | None = key(FORCE, "load its maker allows, with its unit: not to be exceeded at "
                                      "limit load, and no factor is on it", default=None)
    ultimate: float | None = key(FORCE, "load it breaks at by its maker, with its unit: the "
                                        "factors are on the load", default=None)

    def _check(self):
        if self.most is not None and self.shank is not None and not self.most < self.shank:
            raise LinkageError(f"lets {mm(self.most)} of thread engage on a shank of "
                               f"{mm(self.shank)} from the ball's middle; give a longer shank")
        sizes = (self.ball, self.race, self.sphere)
        if self.friction and self.sphere is None:
            raise LinkageError(f"has friction {self.friction:g} of its ball and no size of it; "
                               f"give ball, race and sphere")
        if any(size is not None for size in (*sizes, self.shoulder)):
            self._check_ball(sizes)

    def _check_ball(self, sizes):
        if self.misalignment is not None:
            raise LinkageError(f"has misalignment {self.misalignment:g}° and sizes of its ball; "
                               f"give one of the two")
        if None in sizes:
            lacks = [word for word in ("ball", "race", "sphere") if getattr(self, word) is None]
            raise LinkageError(f"needs {' and '.join(lacks)} too: ball, race and sphere together "
                               f"give its misalignment")
        if not self.race < self.ball < self.sphere:
            raise LinkageError(f"needs race {mm(self.race)} under ball {mm(self.ball)} under "
                               f"sphere {mm(self.sphere)}; measure them again")
        least = math.sqrt(self.sphere**2 - self.ball**2)
        if self.shoulder is not None and not least <= self.shoulder < self.sphere:
            raise LinkageError(f"has a shoulder of {mm(self.shoulder)}; it lies between the "
                               f"ball's face ({mm(least)}) and its diameter "
                               f"({mm(self.sphere)})")
        if not self.allowed > 0:
            raise LinkageError(f"has a shoulder of {mm(self.shoulder)} that the race touches "
                               f"before it tilts; use a smaller shoulder")

    @property
    def allowed(self) -> float | None:
        """Degrees that the rod may stand off the ball's middle plane; None when not known.

        Given, or asin(ball/sphere) - asin(race/sphere), with a shoulder acos(shoulder/sphere)
        - asin(race/sphere): the race's edge meets the ball's face or the shoulder (solid
        geometry).

        Examples
        --------
        >>> round(RodEnd(ball=10.0, race=6.0, sphere=20.0).allowed, 6)
        12.542397
        """
        if self.sphere is None:
            return self.misalignment
        face = math.asin(self.ball / self.sphere) if self.shoulder is None else \
            math.acos(self.shoulder / self.sphere)
        return math.degrees(face - math.asin(self.race / self.sphere))


@dataclass(frozen=True, kw_only=True)
class Fitted(Part):
    """A rod end as it sits in one end of a rod."""

    rod_end: str = key(Label(), "which rod end, by its name under rod_end")
    engaged: float | None = key(SIZE, "length of thread engaged", default=None)
    least: float | None = key(SIZE, "least length of thread that has to stay engaged",
                              default=None)
    witness: float | None = key(SIZE, "far edge of the witness hole from the end of the tube; "
                                      "the shank has to reach past it", default=None)
    adjustable: bool = key(Flag(), "false for an end that can't be turned in place", default=True)
    bolt: str | tuple | None = key(Direction(), "direction of its bolt at neutral; that of its "
                                                "point or the axis of its part unless given",
                                   default=None)
    hardware: tuple = key(ListOf(Label()), "what it takes besides",
                          default=())

    def _check(self):
        if self.engaged is not None and self.needed is not None and \
                not self.engaged >= self.needed:
            raise LinkageError(f"has only {mm(self.engaged)} of thread engaged, where "
                               f"{mm(self.needed)} have to be (least, or the witness hole); "
                               f"screw it in and make the tube longer")

    @property
    def needed(self) -> float | None:
        """Least engagement, mm: the greater of least and witness hole; None without either."""
        sizes = [size for size in (self.least, self.witness) if size is not None]
        return max(sizes, default=None)


@dataclass(frozen=True, kw_only=True)
class RigPin(Part):
    """A pin that holds a part where it belongs at one position of the inputs."""

    holes: tuple = key(ListOf(Text(), 1, 2, "list of points"), "the holes it goes through, "
                       "part/point; one alone is drilled on from its part")
    input: dict = key(TableOf(Number(what="position"), "input"), "position of each input at which "
                      "it goes in; 0 unless given", default_factory=dict)
    direction: str | tuple | None = key(Direction(), "direction of the pin; the axis of the part "
                                                     "of its first hole unless given",
                                        default=None)
    within: float | None = key(THICKNESS, "how far the holes may be off each other", default=None)

    def _check(self):
        if len(self.holes) == 2 and self.holes[0].split("/")[0] == self.holes[1].split("/")[0]:
            raise LinkageError(f"has both its holes in one part, {got(self.holes[0])}; name a hole "
                               f"of another part")
