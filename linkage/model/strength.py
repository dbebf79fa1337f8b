"""What loads and strength ask of a part: pilot force, hinge moment, torque tube, factors."""

from __future__ import annotations

from dataclasses import dataclass

from ..errors import LinkageError, mm
from .keys import Number, Quantity, Text, key
from .shapes import SIZE, Part

FORCE = Quantity(what="force")
MOMENT = Quantity(what="moment")
ANY_MOMENT = Quantity(above=None, what="moment")
FACTOR = Number(least=1.0, what="factor")


@dataclass(frozen=True, kw_only=True)
class PilotForce(Part):
    """Limit force of one pilot at the grip, square to the arm."""

    most: float = key(FORCE, "limit pilot force, with its unit")
    least: float | None = key(FORCE, "least force the system is made for, with its unit",
                              default=None)

    def _check(self):
        if self.least is not None and self.least > self.most:
            raise LinkageError(f"least of {self.least:g} N is above most of {self.most:g} N; "
                               f"swap them")


@dataclass(frozen=True, kw_only=True)
class HingeMoment(Part):
    """Air's moment on a surface: `neutral` + `slope` x degrees of deflection.

    Signed like the deflection: positive moves the trailing edge down (a rudder's: left).
    """

    at: str = key(Text(), "speed and condition it holds for")
    neutral: float = key(ANY_MOMENT, "moment at no deflection, with its unit; + trailing edge "
                                     "down (a rudder's: left)", default=0.0)
    slope: float = key(ANY_MOMENT, "moment per degree of deflection, with the moment's unit; "
                                   "below 0 where the air brings the surface back")


@dataclass(frozen=True, kw_only=True)
class TorqueTube(Part):
    """The round tube that carries a body's moment from arm to arm."""

    diameter: float = key(SIZE, "outside diameter")
    wall: float = key(SIZE, "its wall")
    material: str | None = key(Text(), "its material", default=None)

    def _check(self):
        if not self.wall <= self.diameter / 2:
            raise LinkageError(f"has a wall of {mm(self.wall)} in a tube of {mm(self.diameter)}; "
                               f"make the wall thinner")


@dataclass(frozen=True, kw_only=True)
class Factors(Part):
    """Factors on limit loads.

    14 CFR part 23, 1-1-14 edition: 23.303 (1.5, from memory), A23.13(a)(1) (1.25), 23.625 (fitting
    1.15, from memory), 23.693 (bearing 3.33, in place of 1.5, on ultimate bearing strength).
    """

    safety: float = key(FACTOR, "limit to ultimate load", default=1.5)
    hinge: float = key(FACTOR, "on the hinge moments given", default=1.25)
    fitting: float = key(FACTOR, "fitting factor on every rod's end joints, such as 1.15",
                         default=1.0)
    bearing: float = key(FACTOR, "bearing factor of plain end joints that turn, such as 3.33; it "
                                 "stands in place of the factor of safety", default=1.0)
