"""The whole control system as described; names that lead nowhere are refused at birth."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass, field, fields
from html import escape

from ..errors import ModelError, mm, nearest
from ..units import LENGTHS, LengthUnit
from .fittings import Fitted, RigPin, RodEnd
from .fixings import Bolting, Weld
from .keys import Choice, ListOf, Number, Record, TableOf, Text, at, key
from .parts import (
    AIRFRAME,
    BACK,
    BODY,
    INPUT,
    SENSES,
    UPRIGHT,
    Airframe,
    Body,
    Clearance,
    Coupling,
    PairRule,
    Play,
    Rod,
    Stop,
    Surface,
    Tolerance,
    Wire,
)
from .references import check_fixings, check_size, check_springs, check_trim, check_wire, refer
from .shapes import Part, ReadOnly
from .sizes import Size
from .solids import Tube
from .springs import SPRING, Friction
from .stock import HANDBOOK
from .strength import BoltedJoint, Factors, LoadCase, Material, Servo
from .surfaces import match_points, matched
from .threads import Thread, read_thread
from .turn import Turn

COUNTED = {"inputs": "input", "bodies": "body", "rods": "rod", "couplings": "coupling",
           "surfaces": "surface", "stops": "stop", "wires": "wire", "springs": "spring"}


@dataclass(frozen=True, kw_only=True, repr=False)
class Model(Part):
    """A whole control system as described, in mm and degrees.

    Parts are dictionaries by name; see the class of each for its keys.
    """

    elsewhere = {  # what a builder looks for under another name
        "cable": 'cable runs and quadrants are a [coupling."NAME"] with bodies and ratio',
        "bungee": 'a bungee is a [spring."NAME"] with ends, and rate or table',
        "pulley": 'cable runs and quadrants are a [coupling."NAME"] with bodies and ratio',
        "gear": 'gears are a [coupling."NAME"] with bodies and ratio'}

    title: str = key(Text(), "what the system is", default="untitled")
    revision: str | None = key(Text(), "its revision, printed on every sheet", default=None)
    approved_by: str | None = key(Text(), "who approved that revision, printed beside it",
                                  default=None)
    length: str = key(Choice(LENGTHS), "what a bare length means")
    inputs: dict = key(TableOf(INPUT, "input"), "inputs", word="input",
                       default_factory=dict)
    bodies: dict = key(TableOf(BODY, "body"), "bodies", word="body",
                       default_factory=dict)
    rods: dict = key(TableOf(Record(Rod), "rod"), "rods", word="rod", default_factory=dict)
    couplings: dict = key(TableOf(Record(Coupling), "coupling"), "couplings", word="coupling",
                          default_factory=dict)
    surfaces: dict = key(TableOf(Record(Surface), "surface"), "surfaces", word="surface",
                         default_factory=dict)
    airframe: Airframe = key(Record(Airframe), "what doesn't move", default=Airframe())
    stops: dict = key(TableOf(Record(Stop), "stop"), "stops", word="stop", default_factory=dict)
    clearance: Clearance = key(Record(Clearance), "required clearances", default=Clearance())
    pairs: tuple = key(ListOf(Record(PairRule)), "rules for single pairs", word="pair",
                       default=())
    tolerance: Tolerance = key(Record(Tolerance), "build tolerances", default=Tolerance())
    play: Play = key(Record(Play), "free play of joints", default=Play())
    springs: dict = key(TableOf(SPRING, "spring"), "springs and bungees", word="spring",
                        default_factory=dict)
    friction: Friction = key(Record(Friction), "friction that grows with load, where a joint says "
                             "none", default=Friction())
    materials: dict = key(TableOf(Record(Material), "material"), "materials", word="material",
                          default_factory=dict)
    factor: Factors = key(Record(Factors), "factors on limit loads", default=Factors())
    load_cases: dict = key(TableOf(Record(LoadCase), "load_case"), "load cases left out or "
                           "changed, by name or kind", word="load_case", default_factory=dict)
    joints: dict = key(TableOf(Record(BoltedJoint), "joint"), "bolts, bearings and plates",
                         word="joint", default_factory=dict)
    welds: dict = key(TableOf(Record(Weld), "weld"), "welds of plates to hubs and tubes",
                      word="weld", default_factory=dict)
    boltings: dict = key(TableOf(Record(Bolting), "bolting"), "bolts of plates to hubs and tubes",
                         word="bolting", default_factory=dict)
    servos: dict = key(TableOf(Record(Servo), "servo"), "servos", word="servo",
                       default_factory=dict)
    engine: tuple = key(ListOf(Number(above=0.0, what="speed")), "speeds that the engine runs at, "
                        "turns a minute", default=())
    wires: dict = key(TableOf(Record(Wire), "wire"), "wires", word="wire", default_factory=dict)
    size: Size = key(Record(Size), "dimensions to choose and what for", default=Size())
    rod_ends: dict = key(TableOf(Record(RodEnd), "rod_end"), "rod ends off the shelf",
                         word="rod_end", default_factory=dict)
    rig_pins: dict = key(TableOf(Record(RigPin), "rig_pin"), "rig pins", word="rig_pin",
                         default_factory=dict)
    meant: dict = key(TableOf(Text(), "part"), "sizes that look like a slip and are meant: part = "
                      "the reason, printed in every report", default_factory=dict)
    mirror: dict = key(TableOf(Text(), "word"), "word in a name = word in its twin's name",
                       default_factory=dict)
    _at: dict = field(init=False, repr=False, compare=False, default_factory=dict)

    def _check(self):
        _check_names(self)
        _check_carrying(self)
        self._at.update(_positions(self))
        _check_references(self)

    def __repr__(self):
        return f'Model("{self.title}": {", ".join(self._counts())}, lengths in {self.length})'

    def _repr_html_(self):
        rows = "".join(f"<tr><th>{escape(word)}</th><td>{escape(', '.join(getattr(self, each)))}"
                       f"</td></tr>" for each, word in COUNTED.items() if getattr(self, each))
        return f"<table><caption>{escape(self.title)}, lengths in {self.length}</caption>{rows}" \
               f"</table>"

    def _counts(self):
        solids = len(self.solids)
        yield from (f"{len(getattr(self, each))} {word if len(getattr(self, each)) == 1 else each}"
                    for each, word in COUNTED.items() if getattr(self, each))
        yield f"{solids} solid{'' if solids == 1 else 's'}"

    @property
    def unit(self) -> LengthUnit:
        """The unit that the file counts lengths in."""
        return LENGTHS[self.length]

    def position(self, name: str) -> tuple[float, float, float]:
        """Neutral position of ``"part/point"``, mm."""
        return self._at[name]

    @property
    def has_tolerances(self) -> bool:
        """Whether the file says by how much a build may be off."""
        general = self.tolerance
        homes = *self.bodies.values(), self.airframe
        spacers = [stop.spacer for stop in self.stops.values() if stop.spacer is not None]
        return any((general.hardpoint, general.rod, general.spacer)) or any(
            part.tolerance for part in (*self.bodies.values(), *self.rods.values(), *spacers,
                                        *(point for home in homes
                                          for point in home.points.values())))

    @property
    def points(self) -> tuple[str, ...]:
        """Every point by its address ``"part/point"``."""
        return tuple(self._at)

    @functools.cached_property
    def solids(self) -> ReadOnly:
        """Every solid by its address ``"part/solid"``; a rod's own is ``"rod/tube"``."""
        solids = {f"{name}/{solid}": shape for name, body in self.bodies.items()
                  for solid, shape in {**body.solids, **self._hand(name)}.items()}
        for name, rod in self.rods.items():
            if rod.diameter is not None:
                solids[f"{name}/tube"] = Tube(along=rod.ends, diameter=rod.diameter,
                                              clearance=rod.clearance)
        return ReadOnly(solids | {f"{AIRFRAME}/{solid}": shape
                                  for solid, shape in self.airframe.solids.items()})

    def _hand(self, name: str) -> dict:
        """The room of the hand on a body's grip, as clocked, by its name."""
        grip = self.bodies[name].grip
        if grip is None or grip.hand is None:
            return {}
        if not grip.clocking:
            return {"hand": grip.hand}
        line = tuple(self.spot(name, end) for end in grip.along)
        return {"hand": grip.hand.turned(Turn(line, -grip.clocking,
                                              functools.partial(self.spot, name)))}

    def spot(self, part: str,
             place: str | tuple[float, float, float]) -> tuple[float, float, float]:
        """Neutral position of a point of a part, or of a place [FS, BL, WL] itself, mm."""
        if not isinstance(place, str):
            return place
        return self._at[place if "/" in place else f"{part}/{place}"]

    def point_tolerance(self, address: str, general: Tolerance | None = None) -> float:
        """Plus or minus on each coordinate of ``"part/point"``, mm: its own, its part's, or all's.

        `general` stands in for the file's own general tolerances.
        """
        part, point = address.split("/")
        home = self.airframe if part == AIRFRAME else self.bodies[part]
        tolerances = [home.points[point].tolerance] if point in home.points else []
        tolerances += [getattr(home, "tolerance", None), (general or self.tolerance).hardpoint]
        return next(k for k in tolerances if k is not None)

    def rod_tolerance(self, name: str, general: Tolerance | None = None) -> float:
        """Plus or minus on the length of a rod, mm: its own, or all's."""
        own = self.rods[name].tolerance
        return own if own is not None else (general or self.tolerance).rod

    def spacer_tolerance(self, stop: str, general: Tolerance | None = None) -> float:
        """Plus or minus on the spacer of a stop, mm: its own, or all's; 0 without a spacer."""
        spacer = self.stops[stop].spacer
        if spacer is None:
            return 0.0
        return spacer.tolerance if spacer.tolerance is not None else \
            (general or self.tolerance).spacer

    def rod_length(self, name: str) -> float:
        """Length of a rod centre to centre, mm: as given, else between its points at neutral."""
        rod = self.rods[name]
        return rod.length if rod.length is not None else math.dist(
            self.position(rod.ends[0]), self.position(rod.ends[1]))

    def material(self, name: str) -> Material:
        """A material of the file, or of the handbook ones that need no description."""
        return {**HANDBOOK, **self.materials}[name]

    def fitting(self, rod: str, end: int) -> tuple[Fitted | None, RodEnd | None, Thread | None]:
        """What is known of a rod's first (0) or second (1) end: how fitted, rod end, thread."""
        part = self.rods[rod]
        fitted = part.fitted[min(end, len(part.fitted) - 1)] if part.fitted else None
        rod_end = self.rod_ends[fitted.rod_end] if fitted else None
        thread = (rod_end and rod_end.thread) or part.thread
        return fitted, rod_end, read_thread(thread) if thread else None

    def ball_arm(self, rod: str, end: int) -> float:
        """Coefficient of friction x radius of the ball of a rod's end, mm; 0 where not known."""
        rod_end = self.fitting(rod, end)[1]
        if rod_end is None or rod_end.sphere is None:
            return 0.0
        own = rod_end.friction
        return (self.friction.rod_end if own is None else own) * rod_end.sphere / 2

    def bolt_arm(self, place: str) -> float:
        """Coefficient of friction x radius of the bolt at ``"part/point"``, mm; 0 where not known.

        The general coefficient counts at pivots alone, and not for balls, rollers and what is
        fixed; at a slide it is the coefficient itself.
        """
        body, usual = self.bodies.get(place.removesuffix("/pivot")), 0.0
        for joint in self.joints.values():
            if place in joint.places and joint.bolt is not None:
                if body is not None and joint.kind not in ("rolling", "fixed"):
                    usual = self.friction.pivot
                coefficient = usual if joint.friction is None else joint.friction
                return coefficient * (1.0 if body is not None and body.slides else joint.bolt / 2)
        return 0.0

    def carriers(self, name: str) -> tuple[str, ...]:
        """What carries a body, from its own carrier down to the airframe."""
        chain = []
        while name != AIRFRAME:
            name = self.bodies[name].on
            chain.append(name)
        return tuple(chain)


def _check_names(model: Model) -> None:
    if AIRFRAME in model.bodies:
        raise ModelError('body "airframe": the name is taken by what doesn\'t move; rename it',
                         place='body "airframe"')
    for name in model.rods:
        if name in model.bodies or name == AIRFRAME:
            raise ModelError(f'rod "{name}": a body has this name too; rename one of them',
                             place=f'rod "{name}"')


def _check_carrying(model: Model) -> None:
    for name, body in model.bodies.items():
        place, chain, below = f'body "{name}"', [name], body.on
        while below != AIRFRAME:
            if below not in model.bodies:
                raise ModelError(f'{place}, on: no body "{below}"; '
                                 f'{nearest(below, [*model.bodies, AIRFRAME])}', place=place)
            if below in chain:
                raise ModelError(f'{place}, on: carries itself ({" on ".join([*chain, below])}); '
                                 f"let one of them be on the airframe", place=place)
            chain.append(below)
            below = model.bodies[below].on


def _positions(model: Model) -> dict:
    places = {}
    for name, body in model.bodies.items():
        places[f"{name}/pivot"] = body.centre
        places |= {f"{name}/{point}": p.position for point, p in body.points.items()}
    return places | {f"{AIRFRAME}/{point}": p.position
                     for point, p in model.airframe.points.items()}


def _check_references(model: Model) -> None:
    _check_bodies(model)
    _check_rods(model)
    _check_inputs(model)
    _check_rig_pins(model)
    for name, coupling in model.couplings.items():
        for body in coupling.bodies:
            refer(f'coupling "{name}", bodies', body, model.bodies, "body")
    for name, surface in model.surfaces.items():
        _check_surface(model, name, surface)
    for name, wire in model.wires.items():
        check_wire(model, name, wire)
    for name, servo in model.servos.items():
        _check_servo(model, name, servo)
    _check_solid_references(model)
    _check_materials(model)
    check_springs(model)
    check_trim(model)
    check_size(model)


def _check_servo(model: Model, name: str, servo: Servo) -> None:
    place = f'servo "{name}", body'
    refer(place, servo.body, model.bodies, "body")
    if model.bodies[servo.body].slides:
        raise ModelError(f'{place}: "{servo.body}" slides, and a torque turns nothing there; name '
                         f"the arm that its motor turns", place=place)


def _check_materials(model: Model) -> None:
    """Names of materials, and what joints are at."""
    known = {**HANDBOOK, **model.materials}
    ends = {end for rod in model.rods.values() for end in rod.ends}
    for name, joint in model.joints.items():
        place = f'joint "{name}"'
        for address in joint.places:
            refer(f"{place}, at", address,
                   [*sorted(ends), *(f"{body}/pivot" for body in model.bodies)],
                   "pivot or end of a rod")
        for word in ("material", "bolt_material", "bears_material"):
            refer(f"{place}, {word}", getattr(joint, word), known, "material")
    check_fixings(model)
    for what, parts in (("rod_end", model.rod_ends), ("body", model.bodies),
                        ("solid", model.solids), ("weld", model.welds),
                        ("bolting", model.boltings)):
        for name, part in parts.items():
            refer(f'{what} "{name}", material', getattr(part, "material", None), known,
                   "material")


def _check_bodies(model: Model) -> None:
    for name, body in model.bodies.items():
        place = f'body "{name}"'
        refer(f"{place}, input", body.input, model.inputs, "input")
        if body.tube is not None:
            refer(f"{place}, tube, material", body.tube.material, {**HANDBOOK, **model.materials},
                   "material")
        for point in body.level or ():
            refer(f"{place}, level", point, [*body.points, "pivot"], "point of it")
        _check_solids(place, body.solids, [*body.points, "pivot"])
        if body.grip is not None:
            _check_grip(model, f"{place}, grip", name, body.grip)
    _check_solids(AIRFRAME, model.airframe.solids, list(model.airframe.points))


def _check_grip(model: Model, place: str, name: str, grip) -> None:
    known = [*model.bodies[name].points, "pivot"]
    for spot in grip.along:
        if isinstance(spot, str):
            refer(f"{place}, along", spot, known, "point of it")
    if not math.dist(*(model.spot(name, spot) for spot in grip.along)) > 1e-6:
        raise ModelError(f"{place}, along: its two ends are at the same place; give a line",
                         place=place)
    if grip.hand is not None:
        _check_solids(place, {"hand": grip.hand}, known)


def _check_rods(model: Model) -> None:
    for name, rod in model.rods.items():
        place = f'rod "{name}"'
        for end in rod.ends:
            refer(f"{place}, ends", end, model.points, "hardpoint")
        refer(f"{place}, material", rod.material, {**HANDBOOK, **model.materials}, "material")
        if not model.rod_length(name) > 1e-6:
            raise ModelError(f"{place}: its two ends are at the same place, so its length is 0; "
                             f"move one of the points", place=place)
        _check_fitted(model, name, rod)


def _check_fitted(model: Model, name: str, rod: Rod) -> None:
    place = f'rod "{name}", fitted'
    for fitted in rod.fitted:
        refer(place, fitted.rod_end, model.rod_ends, "rod_end")
    ends_alone = sum(_bare_shank(place, *model.fitting(name, i)[:2])
                     for i in range(2 if rod.fitted else 0))
    if not ends_alone < model.rod_length(name):
        raise ModelError(f"{place}: its rod ends alone are {mm(ends_alone)} long, and the rod "
                         f"{mm(model.rod_length(name))}; use shorter ones", place=place)


def _bare_shank(place: str, fitted, rod_end) -> float:
    """Length of a rod end that stands out of its rod, mm; 0 where the engagement is not known."""
    if fitted.engaged is None:
        return 0.0
    for most, what in ((rod_end.most, "can be"), (rod_end.shank, "its shank is long")):
        if most is not None and not fitted.engaged <= most:
            raise ModelError(f'{place}: has {mm(fitted.engaged)} of thread engaged, and only '
                             f"{mm(most)} {what}; use a longer rod end or a shorter "
                             f"engagement", place=place)
    return (rod_end.shank or fitted.engaged) - fitted.engaged


def _check_rig_pins(model: Model) -> None:
    for name, pin in model.rig_pins.items():
        place = f'rig_pin "{name}"'
        for hole in pin.holes:
            refer(f"{place}, holes", hole, model.points, "hardpoint")
        for word in pin.input:
            refer(f"{place}, input", word, model.inputs, "input")


def _check_inputs(model: Model) -> None:
    for name, item in model.inputs.items():
        place = f'input "{name}"'
        refer(f"{place}, grip", item.grip, model.points, "hardpoint")
        if item.ways is not None and name in SENSES:
            raise ModelError(f"{place}, ways: its ends are called {' and '.join(SENSES[name])} "
                             f"already; leave it out", place=place)
        driven = [body for body, part in model.bodies.items() if part.input == name]
        if len(driven) > 1:
            raise ModelError(f'{place}: drives both "{driven[0]}" and "{driven[1]}"; let it drive '
                             f"one and join the other with a rod or a coupling", place=place)
        if driven:
            _check_travel(place, item, driven[0], model.bodies[driven[0]].slides, model.length)


def _check_travel(place: str, item, driven: str, slides: bool, unit: str) -> None:
    lengths = '["-0.8 in", "1.2 in"]' if unit == "in" else '["-20 mm", "30 mm"]'
    if slides and not item.in_mm:
        raise ModelError(f'{place}, travel: "{driven}" slides, so write its travel with a '
                         f'unit, like {lengths}', place=place)
    if item.in_mm and item.grip is None and not slides:
        raise ModelError(f'{place}, travel: "{driven}" turns, so give its travel in '
                         f"degrees, or name the grip that moves so far", place=place)


def _check_surface(model: Model, name: str, surface: Surface) -> None:
    place = f'surface "{name}"'
    refer(f"{place}, body", surface.body, model.bodies, "body")
    if model.bodies[surface.body].slides:
        raise ModelError(f'{place}, body: "{surface.body}" slides, so it has no hinge line; '
                         f"name the body that turns", place=place)
    words = ("left", "right") if is_rudder(model.bodies[surface.body]) else ("up", "down")
    for require in surface.require:
        refer(f"{place}, require, input", require.input, model.inputs, "input")
        for word in ("up", "down", "left", "right"):
            if word not in words and getattr(require, word) is not None:
                raise ModelError(f"{place}, require: {word} does not fit its hinge line; "
                                 f"use {words[0]} and {words[1]}", place=place)
    for word, way in surface.moves.items():
        refer(f"{place}, moves", word, model.inputs, "input")
        if (way.removesuffix(BACK) in UPRIGHT) != is_rudder(model.bodies[surface.body]):
            raise ModelError(f"{place}, moves, {word}: {way} does not fit its hinge line; "
                             f"use {words[0]} or {words[1]}", place=place)


def is_rudder(body: Body) -> bool:
    """Whether a surface on this hinge line moves left and right rather than up and down."""
    return abs(body.direction[2]) > abs(body.direction[1])


def _check_solids(place: str, solids: dict, points) -> None:
    for name, solid in solids.items():
        spots = [*getattr(solid, "along", ()), getattr(solid, "at", None), *match_points(solid)]
        for spot in spots:
            if isinstance(spot, str):
                refer(f'{place}, solid "{name}"', spot, points, "point of it")


def _check_solid_references(model: Model) -> None:
    solids, classes = model.solids, _classes(model)
    for name, solid in solids.items():
        refer(f'solid "{name}", clearance', solid.clearance, classes, "clearance class")
        if match_points(solid):
            with at(f'solid "{name}"'):
                matched(solid, functools.partial(model.spot, name.split("/")[0])).placement()
    for name, stop in model.stops.items():
        place = f'stop "{name}"'
        refer(f"{place}, input", stop.input, model.inputs, "input")
        for solid in stop.between:
            refer(f"{place}, between", solid, solids, "solid")
        if stop.spacer is not None and stop.spacer.on not in stop.between:
            raise ModelError(f'{place}, spacer, on: "{stop.spacer.on}" is not one of its two '
                             f"faces; use {' or '.join(stop.between)}", place=place)
    for rule in model.pairs:
        for solid in rule.between:
            refer("pair, between", solid, solids, "solid")


def _classes(model: Model) -> list[str]:
    own = [f.name for f in fields(Clearance) if f.name != "named"]
    return [*own, *model.clearance.named]
