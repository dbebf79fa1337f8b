"""The parts of a control system as a builder lists them, one frozen class each."""

from __future__ import annotations

from dataclasses import dataclass

from ..errors import LinkageError, mm
from ..units import HOUSE, file_length, quantity
from .fittings import THREAD, Fitted
from .keys import (
    Choice,
    Direction,
    Flag,
    Length,
    ListOf,
    Number,
    Position,
    Record,
    TableOf,
    Text,
    at,
    key,
    read_keys,
    unit_vector,
    write_keys,
)
from .shapes import PAIR, PLACE, POINTS, SIZE, THICKNESS, Part
from .springs import COEFFICIENT, Feel
from .strength import AREA, FACTOR, FORCE, MOMENT, HingeMoment, OwnUnit, PilotForce, TorqueTube
from .surfaces import SOLID, SOLIDS

AIRFRAME = "airframe"
SENSES = {"pitch": ("forward", "aft"), "roll": ("left", "right")}  # least and greatest end
KINDS = ("aileron", "flaperon", "elevon", "spoiler", "elevator", "stabilator", "canard", "v-tail",
         "inverted v-tail", "rudder", "nosewheel", "tailwheel", "flap", "tab")
BACK = " then back"  # end of a way: the surface may turn back before the end of the travel
UPRIGHT = ("left", "right", "points left", "points right")  # ways on a hinge that stands up
MOVES = tuple(way + end for end in ("", BACK) for way in ("up", "down", *UPRIGHT))
MOST_TURN = 3600.0  # ten turns of a wheel; beyond it a number is a slip
BEND = 10.0  # bundle diameters of least bend radius (TM 1-1500-204-23-4 item 27)


class _TravelEnd(Number):
    def schema(self):
        return {"type": ["number", "string"]}


@dataclass(frozen=True, kw_only=True)
class Input(Part):
    """What a hand or foot moves, and how far it is wanted to go."""

    travel: tuple = key(ListOf(_TravelEnd(what="travel"), 2, 2, "pair [least, greatest]"),
                        "wanted travel [least, greatest], degrees from neutral; lengths with grip "
                        "or on a slide")
    grip: str | None = key(Text(), "point whose straight movement from neutral `travel` gives",
                           default=None)
    positive: str | None = key(Choice(("along axis", "against axis")),
                               "which turn about the axis as written is positive", default=None)
    ways: tuple | None = key(ListOf(Text(), 2, 2, "pair of phrases"), "what its least and its "
                             "greatest end are called, such as left pedal forward, right pedal "
                             "forward; pitch and roll have their words", default=None)
    force: PilotForce | None = key(Record(PilotForce), "limit pilot force at the grip; of pitch, "
                                   "roll and yaw after 14 CFR 23.397(b) unless given", default=None)
    trims: str | None = key(Text(), "the input that it trims: a trim lever, or what moves a trim "
                                    "tab; it stays where it is put", default=None)
    feel: Feel | None = key(Record(Feel), "what is asked of it when it is let go, and of its "
                                          "friction", default=None)
    in_mm: bool = False  # whether `travel` is a movement in mm rather than an angle

    def _check(self):
        least, greatest = self.travel
        if self.grip is not None and not self.in_mm:
            raise LinkageError(f'names a grip "{self.grip}", so its travel is a movement '
                               "(in_mm=True)")
        if not least < greatest:
            how = "is no travel at all" if least == greatest else "runs backwards"
            raise LinkageError(f"travel [{least:g}, {greatest:g}] {how}; write the least first, "
                               f"then the greatest")
        if not self.in_mm and max(-least, greatest) > MOST_TURN:
            raise LinkageError(f"travel [{least:g}, {greatest:g}] is more than {MOST_TURN:g}° to "
                               f"one side of neutral; write it in degrees")
        if not least <= 0 <= greatest:
            raise LinkageError(f"travel [{least:g}, {greatest:g}] leaves out neutral (0); "
                               f"count it from neutral")


class _InputKind(Record):
    """An input; its travel is read as lengths where it has a grip or is written with units."""

    def read(self, value, unit):
        values = read_keys(Input, value, unit)
        travel = values["travel"]
        moves = "grip" in values or (isinstance(travel, tuple)
                                     and any(isinstance(end, str) for end in travel))
        if moves:
            with at("travel"):
                values["travel"] = ListOf(Length()).read(value["travel"], unit)
        return Input(**values, in_mm=moves)

    def write(self, value, unit):
        table = write_keys(value, unit)
        if value.in_mm:
            ends = [file_length(end, unit) for end in value.travel]
            table["travel"] = ends if value.grip is not None else [
                end if isinstance(end, str) else f"{end!r} {unit}" for end in ends]
        return table


INPUT = _InputKind(Input)


@dataclass(frozen=True, kw_only=True)
class Grip(Part):
    """A hand grip on a stick, and the room the hand round it needs."""

    along: tuple = key(ListOf(PLACE, 2, 2, "pair of points"),
                       "line it is put on along, from the shaft up")
    bore: float | None = key(SIZE, "diameter of its hole, which the shaft goes into", default=None)
    clocking: float = key(Number(what="turn", unit="°"), "degrees it is turned on the shaft, "
                          "clockwise seen from its top, with what is said of the hand",
                          default=0.0)
    hand: object = key(SOLID, "room the hand needs, before clocking: a solid that has to keep "
                              "its clearance", default=None)


@dataclass(frozen=True, kw_only=True)
class Body(Part):
    """A part that turns about, or slides along, one axis on what carries it."""

    on: str = key(Text(), "what carries it", default=AIRFRAME)
    pivot: tuple | None = key(Position(), "a point of its axis [FS, BL, WL]", default=None)
    axis: str | tuple | None = key(Direction(), "direction of its pivot axis; lateral is right, "
                                   "fore-aft forward, vertical up", default=None)
    through: tuple | None = key(Position(), "a second point of its pivot axis", default=None)
    slide: str | tuple | None = key(Direction(), "direction it slides in when it counts plus; "
                                    "fore-aft is forward", default=None)
    input: str | None = key(Text(), "the input that drives it", default=None)
    points: dict = key(POINTS, "hardpoints of the part", default_factory=dict)
    level: tuple | None = key(ListOf(Text(), 2, 2, "pair of its points"),
                              "the line a digital level is laid on", default=None)
    solids: dict = key(SOLIDS, "its shapes", word="solid", default_factory=dict)
    grip: Grip | None = key(Record(Grip), "the hand grip on it", default=None)
    tolerance: float | None = key(THICKNESS, "plus or minus on each coordinate of its pivot and "
                                             "points", default=None)
    play: float | None = key(THICKNESS, "movement in its pivot from side to side, square to the "
                                        "axis", default=None)
    tube: TorqueTube | None = key(Record(TorqueTube), "the round tube that carries its moment "
                                  "from arm to arm", default=None)
    bearings: tuple | None = key(ListOf(Position(), 2, None, "list of places [FS, BL, WL]"),
                                 "two or more bearings along its axis that share the load of its "
                                 "pivot, more than two as those of a straight beam of one section; "
                                 "the first takes what is along the axis", default=None)
    material: str | None = key(Text(), "material of its shafts", default=None)
    joint: float | None = key(SIZE, "radius about its pivot, bearings and hinge within which it is "
                                    "meant to touch what carries it; 1 in, or 1/2 in round the "
                                    "tube there, unless given", default=None)
    friction: float | None = key(OwnUnit(above=0.0, what="friction", needs="a moment (of a slide a "
                                         "force) with its unit"), "breakout friction of its joint "
                                 "with its unit: a moment, of a slide a force", default=None)

    def _check(self):
        if self.grip is not None and self.grip.hand is not None and "hand" in self.solids:
            raise LinkageError('has a solid named "hand", which the hand on its grip has '
                               'already; rename it')
        self._check_axis()
        if self.bearings is not None:
            self._check_bearings()
        if "pivot" in self.points:
            raise LinkageError('has a point named "pivot", which every body has already; '
                               'rename it')

    def _check_axis(self):
        ways = [word for word in ("axis", "through", "slide") if getattr(self, word) is not None]
        if len(ways) != 1:
            raise LinkageError(f"needs one of axis, through or slide, got "
                               f"{' and '.join(ways) if ways else 'none'}")
        if self.pivot is None and not (self.slide and self.points):
            raise LinkageError(f"needs a pivot [FS, BL, WL] with its {ways[0]}")
        if self.through is not None and self.through == self.pivot:
            raise LinkageError(f"through is the pivot itself, {mm(*self.pivot)}; give a second "
                               f"point of the axis")

    def _check_bearings(self):
        if self.slides:
            raise LinkageError("has bearings, which are of a turning part; a slide has none")
        along = sorted(self.bearing_stations)
        apart = min(other - one for one, other in zip(along, along[1:], strict=False))
        if not apart > 1e-3:
            raise LinkageError(f"bearings are only {mm(apart)} apart along its axis, "
                               f"where they can't hold it straight; move one of them along it")

    @property
    def bearing_stations(self) -> tuple[float, ...]:
        """Where its bearings are, mm from the pivot along the axis."""
        return tuple(sum(u * (b - c) for u, b, c in zip(self.direction, place, self.centre,
                                                        strict=True)) for place in self.bearings)

    @property
    def direction(self) -> tuple[float, float, float]:
        """Unit vector of its axis or slide as written."""
        if self.through is not None:
            return unit_vector([b - a for a, b in zip(self.pivot, self.through, strict=True)])
        return unit_vector(self.axis if self.axis is not None else self.slide)

    @property
    def centre(self) -> tuple[float, float, float]:
        """Its pivot, mm; of a slide without one, its first point."""
        return self.pivot if self.pivot is not None else next(iter(self.points.values())).position

    @property
    def slides(self) -> bool:
        """Whether it slides instead of turning."""
        return self.slide is not None


class _BodyKind(Record):
    """A body; its friction is read as what its joint takes."""

    def read(self, value, unit):
        values = read_keys(Body, value, unit)
        if "friction" in values:
            with at("friction"):
                values["friction"] = quantity(values["friction"], _friction_of("slide" in values))
        return Body(**values)

    def write(self, value, unit):
        table = write_keys(value, unit)
        if value.friction is not None:
            table["friction"] = f"{value.friction!r} {HOUSE[_friction_of(value.slides)]}"
        return table


def _friction_of(slides: bool) -> str:
    return "force" if slides else "moment"


BODY = _BodyKind(Body)


@dataclass(frozen=True, kw_only=True)
class Airframe(Part):
    """What doesn't move: fixed points and structure."""

    points: dict = key(POINTS, "fixed points", default_factory=dict)
    solids: dict = key(SOLIDS, "fixed shapes", word="solid", default_factory=dict)


class _OneOrMore(ListOf):
    """Several tables, or one alone without the brackets."""

    def read(self, value, unit):
        return super().read([value] if isinstance(value, dict) else value, unit)

    def write(self, value, unit):
        tables = super().write(value, unit)
        return tables[0] if len(tables) == 1 else tables

    def schema(self):
        return {"anyOf": [self.kind.schema(), super().schema()]}


@dataclass(frozen=True, kw_only=True)
class Rod(Part):
    """A pushrod: two ball ends a fixed length apart."""

    ends: tuple = key(PAIR, "the two points it joins, part/point")
    length: float | None = key(SIZE, "centre to centre; from the points unless given",
                               default=None)
    redundant: bool = key(Flag(), "true for a second load path, whose misfit is reported",
                          default=False)
    diameter: float | None = key(SIZE, "outside diameter, which gives it a solid", default=None)
    wall: float | None = key(SIZE, "wall of its tube", default=None)
    thread: str | None = key(THREAD, "thread of its rod ends", default=None)
    fitted: tuple = key(_OneOrMore(Record(Fitted), 0, 2, "list"), "its rod ends in the order of "
                        "ends; one table for both alike", default=())
    material: str | None = key(Text(), "material of its tube", default=None)
    bow: float | None = key(THICKNESS, "how far its middle may stand off the straight line; it is "
                            "taken as straight unless given", default=None)
    fixity: float = key(Number(above=0.0, what="fixity"), "end fixity c as a column: 1 pinned, "
                        "as with ball ends; 4 clamped at both", default=1.0)
    strength: float | None = key(FORCE, "ultimate strength of its weaker end joint, with its unit",
                                 default=None)
    fitting: float | None = key(FACTOR, "fitting factor of its end joints", default=None)
    bearing: float | None = key(FACTOR, "bearing factor of its end joints", default=None)
    friction: float | None = key(MOMENT, "breakout moment of each of its ball ends, with its unit",
                                 default=None)
    tolerance: float | None = key(THICKNESS, "plus or minus on its length", default=None)
    play: float | None = key(THICKNESS, "movement in each of its rod ends from side to side, "
                                        "along the rod", default=None)
    joint: float | None = key(SIZE, "radius about each of its ends within which it is meant to "
                                    "touch what it is bolted to; that of its rod end's head and "
                                    "shank unless given, else 1 in", default=None)
    clearance: str | None = key(Text(), "clearance class to hold it to", default=None)

    def _check(self):
        if self.ends[0] == self.ends[1]:
            raise LinkageError(f'joins "{self.ends[0]}" to itself; give two points')
        if self.wall and self.diameter and not self.wall <= self.diameter / 2:
            raise LinkageError(f"has a wall of {mm(self.wall)} in a tube of {mm(self.diameter)}; "
                               f"make the wall thinner")


@dataclass(frozen=True, kw_only=True)
class Coupling(Part):
    """A fixed ratio between two bodies: cable quadrants, gears."""

    bodies: tuple = key(PAIR, "the two bodies")
    ratio: float = key(Number(), "turn of the second per turn of the first, each about its own "
                                 "axis; mm per degree for a slide")
    friction: float | None = key(COEFFICIENT, "coefficient of friction of a cable where it is led "
                                              "round; with wrap", default=None)
    wrap: float | None = key(Number(above=0.0, what="angle", unit="°"), "degrees that a cable is "
                             "led round altogether: its pull falls by exp(friction x wrap)",
                             default=None)

    def _check(self):
        if self.ratio == 0:
            raise LinkageError(f'ratio is 0, so "{self.bodies[1]}" would never move; give '
                               f"its ratio")
        if (self.friction is None) != (self.wrap is None):
            raise LinkageError(f"has {'wrap' if self.friction is None else 'friction'} alone; give "
                               f"friction and wrap together")
        if self.bodies[0] == self.bodies[1]:
            raise LinkageError(f'couples "{self.bodies[0]}" to itself; give two bodies')


@dataclass(frozen=True, kw_only=True)
class Require(Part):
    """Travels a surface has to reach."""

    up: float | None = key(Number(least=0.0, what="travel"), "degrees trailing edge up",
                           default=None)
    down: float | None = key(Number(least=0.0, what="travel"), "degrees trailing edge down",
                             default=None)
    left: float | None = key(Number(least=0.0, what="travel"), "degrees trailing edge left",
                             default=None)
    right: float | None = key(Number(least=0.0, what="travel"), "degrees trailing edge right",
                              default=None)
    within: float = key(Number(least=0.0, what="tolerance"), "plus or minus, degrees", default=1.0)
    input: str | None = key(Text(), "input it is asked of; the one that moves the surface most "
                                    "unless given", default=None)

    def _check(self):
        if all(getattr(self, word) is None for word in ("up", "down", "left", "right")):
            raise LinkageError("names no travel; give up and down, or left and right")


@dataclass(frozen=True, kw_only=True)
class Surface(Part):
    """A control surface: the deflection of a body about its hinge line."""

    body: str = key(Text(), "the body that is the surface")
    chord: float | None = key(SIZE, "hinge line to trailing edge, square to the hinge",
                              default=None)
    require: tuple = key(_OneOrMore(Record(Require)), "required travels", default=())
    hinge: HingeMoment | None = key(Record(HingeMoment), "air's moment about the hinge line",
                                    default=None)
    lost_motion: float | None = key(Number(above=0.0, what="angle", unit="°"), "degrees it may "
                                    "give at one pilot's limit force with the grip held",
                                    default=None)
    free_play: float | None = key(Number(above=0.0, what="angle", unit="°"), "degrees from side to "
                                  "side it may move with the grip held", default=None)
    area: float | None = key(AREA, "area aft of the hinge line, with its unit: "
                             "with mean_chord a gust on the ground is a load case", default=None)
    mean_chord: float | None = key(SIZE, "mean chord aft of the hinge line", default=None)
    kind: str | None = key(Choice(KINDS), "what sort of surface it is; read from its name unless "
                           "given", default=None)
    moves: dict = key(TableOf(Choice(MOVES), "input"), "way its trailing edge goes against what "
                      "carries it for the positive end of each input (aft, right, right pedal "
                      "forward); where its kind and side don't say, or otherwise than they say",
                      default_factory=dict)
    reason: str | None = key(Text(), "why it moves otherwise than its kind does, printed in every "
                             "report", default=None)


@dataclass(frozen=True, kw_only=True)
class Spacer(Part):
    """A pad or washer stack on one face of a stop."""

    on: str = key(Text(), "the face it sits on, part/solid")
    thickness: float = key(THICKNESS, "its thickness")
    stock: tuple = key(ListOf(SIZE), "thicknesses it can be made of, single or stacked",
                       default=())
    tolerance: float | None = key(THICKNESS, "plus or minus on its thickness", default=None)


@dataclass(frozen=True, kw_only=True)
class Stop(Part):
    """Two solids that are meant to touch, and so end the travel of an input."""

    input: str = key(Text(), "the input whose travel it ends")
    side: str = key(Choice(("least", "greatest")), "which end of the travel")
    between: tuple = key(PAIR, "the two solids, part/solid")
    spacer: Spacer | None = key(Record(Spacer), "pad or washers on one face", default=None)
    search: float | None = key(Number(above=0.0, what="angle", unit="°"),
                               "how far from neutral to look, degrees; 10 past the wanted travel "
                               "unless given", default=None)

    def _check(self):
        if self.search is not None and self.search > MOST_TURN:
            raise LinkageError(f"search {self.search:g}° is more than {MOST_TURN:g}°; leave it "
                               f"out to look 10° past the wanted travel")
        parts = {solid.split("/")[0] for solid in self.between}
        if len(parts) == 1:
            raise LinkageError(f'between: both solids are of "{parts.pop()}", and so never meet; '
                               f"name solids of two parts")


@dataclass(frozen=True, kw_only=True)
class Clearance(Part):
    """Required clearances by class; after MIL-F-9490D, from memory, to be verified."""

    static: float = key(THICKNESS, "between parts that don't move against each other",
                        default=3.175)
    same: float = key(THICKNESS, "between moving parts carried by the same part", default=3.175)
    different: float = key(THICKNESS, "between moving parts carried by different parts",
                           default=6.35)
    structure: float = key(THICKNESS, "between a moving part and structure it is not attached to",
                           default=12.7)
    joined: float = key(THICKNESS, "between parts that share a joint, outside the ball about it; "
                                   "0: free of contact", default=0.0)
    wire: float = key(THICKNESS, "between a wire's loop and what it could chafe on; 1/2 in after "
                                 "AC 43.13-1B 11-125, from memory", default=12.7)
    named: dict = key(TableOf(THICKNESS, "class"), "classes of the builder's own", word="class",
                      default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class PairRule(Part):
    """A pair of solids that is added, held to a clearance of its own, or waived."""

    between: tuple = key(PAIR, "the two solids, part/solid")
    require: float | None = key(THICKNESS, "clearance required of this pair", default=None)
    waive: bool = key(Flag(), "true to leave the pair out of the requirement", default=False)
    reason: str = key(Text(), "why, printed in every report")

    def _check(self):
        if self.waive == (self.require is not None):
            raise LinkageError(f"needs either require or waive = true, between "
                               f"{' and '.join(self.between)} it has "
                               f"{'both' if self.waive else 'neither'}")


@dataclass(frozen=True, kw_only=True)
class Tolerance(Part):
    """How far the build may be off, plus or minus, where nothing closer is said."""

    hardpoint: float = key(THICKNESS, "each coordinate of each hardpoint", default=0.0)
    rod: float = key(THICKNESS, "each rod length", default=0.0)
    spacer: float = key(THICKNESS, "each spacer thickness", default=0.0)


@dataclass(frozen=True, kw_only=True)
class Play(Part):
    """Free play of joints, total from side to side as a dial gauge reads it, where not said."""

    pivot: float = key(THICKNESS, "of each pivot, square to its axis", default=0.0)
    rod_end: float = key(THICKNESS, "of each rod end, along the rod", default=0.0)


@dataclass(frozen=True, kw_only=True)
class Wire(Part):
    """A wire bundle that crosses from one part to another."""

    clamps: tuple = key(PAIR, "the two points it is clamped at, part/point")
    exit: str | None = key(Text(), "the hole it leaves by, part/point", default=None)
    diameter: float = key(SIZE, "diameter of the bundle")
    length: float | None = key(SIZE, "free length between the clamps", default=None)
    slack: float = key(THICKNESS, "length to spare where the clamps are farthest apart: its "
                                  "service loop", default=0.0)
    sag: str | tuple = key(Direction(), "way its loop lies; down unless given",
                           default=(0.0, 0.0, -1.0))
    bend: float | None = key(SIZE, "least bend radius; ten diameters unless given, after "
                                   "TM 1-1500-204-23-4", default=None)

    def _check(self):
        if self.clamps[0] == self.clamps[1]:
            raise LinkageError(f'is clamped at "{self.clamps[0]}" twice; give two points')

    @property
    def bend_limit(self) -> float:
        """Least bend radius allowed, mm."""
        return self.bend if self.bend is not None else BEND * self.diameter
