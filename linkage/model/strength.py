"""What loads and strength ask of a part: material, pilot force, hinge moment, tube, factors."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from ..errors import LinkageError, mm
from .keys import Choice, Either, Flag, ListOf, Number, Quantity, Record, TableOf, Text, got, key
from .shapes import SIZE, Part

FORCE = Quantity(what="force")
STRESS = Quantity(what="stress")
AREA = Quantity(what="area")
# Factor on ultimate bearing strength in place of 1.5 and 1.15, by 14 CFR 23.657(a) and 23.693,
# 1-1-14 edition; None where none is: ratings are not to be exceeded, and fixed joints take 1.5 x
# the fitting factor.
SPECIAL = {"push-pull": 3.33, "hinge": 6.67, "cable": 2.0, "rolling": None, "fixed": None}
FITTING = 1.15  # 14 CFR 23.625(a), from memory; 25.625(a) and CS 22.625(a) say the same
MOMENT = Quantity(what="moment")
ANY_MOMENT = Quantity(above=None, what="moment")
FACTOR = Number(least=1.0, what="factor")


@dataclass(frozen=True)
class OwnUnit(Number):
    """A quantity whose kind follows from the part that has it, which reads it."""

    needs: str = "a value with its unit"

    def read(self, value: Any, unit: str) -> Any:
        if not isinstance(value, str):
            raise LinkageError(f"needs {self.needs}, in quotes, {got(value)}")
        return value

    def schema(self) -> dict:
        return {"type": "string", "minLength": 1}


@dataclass(frozen=True, kw_only=True)
class ColumnCurve(Part):
    """A published short-column curve: `top` - `drop` x (L'/rho) ** `power`, Euler past `up_to`."""

    top: float = key(STRESS, "stress that the curve starts from, with its unit")
    drop: float = key(STRESS, "what it falls by, with its unit, per (L'/rho) ** power")
    power: float = key(Number(above=0.0, what="power"), "power of L'/rho in it", default=2.0)
    up_to: float = key(Number(above=0.0, what="L'/rho"), "L'/rho from which Euler's curve holds")


@dataclass(frozen=True, kw_only=True)
class Material(Part):
    """What a part is made of."""

    modulus: float = key(STRESS, "Young's modulus, with its unit")
    yield_stress: float = key(STRESS, "yield stress, with its unit", word="yield")
    ultimate: float | None = key(STRESS, "ultimate stress, with its unit", default=None)
    density: float | None = key(Quantity(what="density"), "density, with its unit", default=None)
    shear: float | None = key(STRESS, "shear modulus, with its unit; modulus / 2.6 unless given",
                              default=None)
    shear_ultimate: float | None = key(STRESS, "ultimate shear stress, with its unit; ultimate / "
                                       "√3 unless given", default=None)
    bearing_ultimate: float | None = key(STRESS, "ultimate bearing stress, with its unit; ultimate "
                                         "unless given", default=None)
    column: ColumnCurve | None = key(Record(ColumnCurve), "its published short-column curve; "
                                     "Johnson's parabola unless given", default=None)
    source: str = key(Text(), "where the figures come from")

    @property
    def shear_modulus(self) -> float:
        """Shear modulus, N/mm²: as given, else for a Poisson's ratio of 0.3."""
        return self.shear if self.shear is not None else self.modulus / 2.6

    @property
    def breaks_in_shear(self) -> float | None:
        """Ultimate shear stress, N/mm²: as given, else by distortion energy; None when unknown."""
        if self.shear_ultimate is not None or self.ultimate is None:
            return self.shear_ultimate
        return self.ultimate / math.sqrt(3.0)

    @property
    def breaks_in_bearing(self) -> float | None:
        """Ultimate bearing stress, N/mm²: as given, else that in tension; None when unknown."""
        return self.ultimate if self.bearing_ultimate is None else self.bearing_ultimate


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
    tabs: dict = key(TableOf(ANY_MOMENT, "tab"), "of each tab, by its surface, the moment on this "
                     "one per degree of the tab's deflection", default_factory=dict)


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
class LoadCase(Part):
    """A load case, or all of a kind, switched off or changed, and why."""

    off: bool = key(Flag(), "true leaves it out", default=False)
    force: float | None = key(FORCE, "force of each pilot in it, with its unit", default=None)
    reason: str = key(Text(), "why, printed with every result")

    def _check(self):
        if self.off == (self.force is not None):
            raise LinkageError("needs one of off = true and a force")


@dataclass(frozen=True, kw_only=True)
class Servo(Part):
    """A servo of an autopilot or a trim: the arm its motor turns, and what lets go of it."""

    body: str = key(Text(), "the arm that its motor turns")
    torque: float = key(MOMENT, "greatest torque of its motor about the arm's pivot, with its unit")
    clutch: float | None = key(MOMENT, "torque at which its clutch slips, with its unit",
                               default=None)
    shear_pin: float | None = key(MOMENT, "torque at which its pin shears, with its unit",
                                  default=None)
    over_centre: float | None = key(Number(above=0.0, what="margin", unit="°"), "degrees from dead "
                                    "centre that its arm has to keep", default=None)
    overpower: float | None = key(FORCE, "greatest force at a grip that may be needed to overpower "
                                  "it, with its unit", default=None)
    travel: tuple | None = key(ListOf(Number(what="travel", unit="°"), 2, 2,
                                      "pair [least, greatest]"), "how far its arm can turn from "
                               "neutral, degrees about its axis as written", default=None)

    @property
    def gives_way(self) -> float | None:
        """Torque at which it lets go, N mm: the lesser of clutch and pin; None where none does."""
        return min((k for k in (self.clutch, self.shear_pin) if k is not None), default=None)

    def _check(self):
        if self.over_centre is not None and not self.over_centre < 90:
            raise LinkageError(f"over-centre is {self.over_centre:g}°, and 90° is square; ask for "
                               f"less")
        if self.travel is not None and not self.travel[0] <= 0 <= self.travel[1]:
            raise LinkageError(f"travel [{self.travel[0]:g}, {self.travel[1]:g}] leaves out "
                               f"neutral (0); count it from neutral")


@dataclass(frozen=True, kw_only=True)
class BoltedJoint(Part):
    """What holds a rod's end, or a part in its pivot: bolt, what it bears in, and the plate."""

    at: str | tuple = key(Either((Text(), ListOf(Text(), 1, None, "list of points"))), "the end of "
                          "a rod or the pivot it is at, part/point; or a list of such, all alike")
    kind: str | None = key(Choice(tuple(SPECIAL)), "push-pull: a plain bearing that turns; hinge: "
                           "of a surface; cable: of a cable; rolling: balls or rollers; fixed: "
                           "does not turn; unless given hinge at a surface's pivot, push-pull "
                           "elsewhere", default=None)
    bolt: float | None = key(SIZE, "diameter of its bolt or pin", default=None)
    bolt_material: str | None = key(Text(), "material of its bolt", default=None)
    shear: str = key(Choice(("single", "double")), "cuts that would shear the bolt",
                     default="single")
    bears: float | None = key(SIZE, "length over which the bolt bears in the softest material "
                                    "there, such as a bush; thickness unless given", default=None)
    bears_material: str | None = key(Text(), "that material; material unless given", default=None)
    thickness: float | None = key(SIZE, "thickness of the plate the hole is in", default=None)
    material: str | None = key(Text(), "material of the plate", default=None)
    friction: float | None = key(Number(least=0.0, what="coefficient"), "coefficient of friction "
                                 "on its bolt, by which friction grows with its load",
                                 default=None)
    hole: float | None = key(SIZE, "diameter of the hole in the plate; that of the bolt unless "
                                   "given", default=None)
    edge: float | None = key(SIZE, "middle of the hole to the nearest edge of the plate",
                             default=None)
    width: float | None = key(SIZE, "width of the plate across the hole", default=None)
    rating: float | None = key(FORCE, "load that its rolling bearing is rated for, with its unit; "
                                      "no factor is on it", default=None)

    @property
    def places(self) -> tuple[str, ...]:
        """Where it is, part/point each."""
        return (self.at,) if isinstance(self.at, str) else self.at

    def _check(self):
        if self.friction and self.bolt is None:
            raise LinkageError(f"has friction {self.friction:g} and no bolt; give the diameter "
                               f"that rubs as its bolt")
        if self.rating is not None and self.kind != "rolling":
            raise LinkageError('has a rating, which is of a rolling bearing; add kind = "rolling"')
        if None not in (self.hole, self.bolt) and self.hole < self.bolt:
            raise LinkageError(f"has a hole of {mm(self.hole)} for a bolt of {mm(self.bolt)}; "
                               f"make the hole no smaller than the bolt")
        self._check_lug()

    def _check_lug(self):
        """Refuse a lug without material beside its hole."""
        hole = self.hole or self.bolt
        for word, least in (("edge", 0.5), ("width", 1.0)):
            size = getattr(self, word)
            if None not in (size, hole) and not size > least * hole:
                raise LinkageError(f"has {word} {mm(size)} and a hole of {mm(hole)}, which leaves "
                                   f"no material; measure them again")


@dataclass(frozen=True, kw_only=True)
class Factors(Part):
    """Factors on limit loads.

    14 CFR part 23, 1-1-14 edition: 23.303 (1.5), A23.13(a)(1) (1.25), 23.625 (fitting 1.15, from
    memory, as 25.625), 23.693 (bearing 3.33, in place of 1.5, on ultimate bearing strength).
    """

    safety: float = key(FACTOR, "limit to ultimate load", default=1.5)
    hinge: float = key(FACTOR, "on the hinge moments given", default=1.25)
    weight: float | None = key(Quantity(what="mass"), "design weight, with its unit: the rule's "
                               "pilot forces grow above 5,000 lb", default=None)
    fitting: float | None = key(FACTOR, "fitting factor on joints; 1.15 unless given",
                                default=None)
    bearing: float | None = key(FACTOR, "bearing factor of end joints that turn, in place of the "
                                        "factor of safety; 3.33, of plain bearings, unless given",
                                default=None)
