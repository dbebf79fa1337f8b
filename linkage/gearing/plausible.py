"""Is that meant?  Sizes that a shop would not believe, each with the value and a likely reason.

Every limit is wide: it is to catch a slip of the unit, of the decimal point or of a sign, not to
judge a design.  Limits without a source beside them are common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ..model import Box, Pipe, Plate, Sphere, SurfaceShape, Tube, Washer
from ..model.mirroring import twin_name
from ..motion import System, body_of
from ..units import LENGTHS, shown_length
from .kinds import kind_of
from .words import Finding

# mm, least and most
STATIONS = {"FS": (-20_000, 20_000), "BL": (-16_000, 16_000), "WL": (-8_000, 8_000)}
# a 12,500 lb aeroplane is under 16 m long, the widest sailplane 31 m wide (both from memory)
WHOLE = 120.0  # mm within which a whole system of several parts is not believed
ARM, GRIP_ARM, ROD = (8, 600), (60, 1_200), (25, 6_000)
ROD_DIAMETER, WALL = (3.0, 80), (0.35, 7)  # thinnest drawn tube 0.016 in; thickest rod about 3 in
SLENDER = 150  # diameters that a rod is long; of a thin tube twice the usual slenderness of 200
TUBE, CHORD, JOINT = (8, 160), (20, 1_800), (1, 100)
SOLID = {Tube: ("diameter", 0.8, 250), Pipe: ("diameter", 0.8, 250), Sphere: ("diameter", 2, 400),
         Plate: ("thickness", 0.2, 150), Washer: ("outside", 2, 200)}
BOX = (0.3, 4_000)
SURFACE = (5, 16_000)  # longest side of a mesh or skin
WIRE, CLEARANCE, SPACER = (0.4, 40), (0.1, 80), (0.05, 40)
TRAVEL_MM, TRAVEL_TURN = (5, 1_500), 2.0
STICK_TURN = {"pitch": 45, "roll": 135}  # degrees each way; a control wheel turns 90 and more
FREE_TURN = 90  # degrees that any surface, flap or wheel may be asked for
WIDE = (None, "flap", "spoiler", "nosewheel", "tailwheel", "tab")
SURFACE_TURN = 60  # degrees that any but a flap, spoiler, wheel or tab may be asked for
WITHIN = 5.0  # degrees plus or minus on a travel; 1 to 2 are usual
SHARE = 0.25  # share of an arm above which its tolerance or play is no tolerance
ROD_SHARE = 0.1  # the same of a rod's length
THREADS = 13.0  # mm that the threads of two rod ends may take up between them
TOLERANCE, PLAY = 6.4, 2.0  # mm
SLOPE, MOMENT = (1.0, 100_000), 2e6  # N·mm per degree; N·mm
PILOT = (20, 2_500)  # N; 14 CFR 23.397(b) has 100 to 300 lbf (445 to 1334 N)
STRENGTH = (200, 500_000)  # N
FRICTION = {False: (0, 20_000), True: (0, 500)}  # N·mm where it turns, N where it slides
MODULUS, STRESS = (300, 450_000), (1, 3_500)  # N/mm²: foam to tungsten carbide, cloth to wire
DENSITY = (1e-8, 2.5e-5)  # kg/mm³
COEFFICIENT = (0, 1)
RATIO, MIXED_RATIO = (0.05, 20), (0.01, 100)
ASKEW = 12.7  # mm that two sides' joints may be off each other's mirror image
MANY = 3  # odd lengths from which the whole file's unit is doubted
MOSTLY = 0.75  # share of them that the other unit would mend


@dataclass(frozen=True)
class Odd:
    """A size outside what is usual.

    Attributes
    ----------
    part : str
        What `meant` may name.
    text : str
        The sentence but its likely reason.
    value, least, most : float
        mm, or another unit where `length` is False.
    length : bool
    reason : str
        A likely reason known already.
    """

    part: str
    text: str
    value: float = math.nan
    least: float = math.nan
    most: float = math.nan
    length: bool = False
    reason: str = ""


def implausible(system: System) -> list[Finding]:
    """Sizes that a shop would not believe; a miss each unless the file's `meant` names the part.

    Parameters
    ----------
    system : System

    Returns
    -------
    list of Finding
    """
    oddities = [each for look in (_stations, _sides, _arms, _rods, _lengths, _gaps, _solids,
                                  _inputs, _required, _tolerances, _plays, _loads, _materials,
                                  _couplings)
                for each in look(system)]
    findings = _unit_doubted(system, oddities)
    findings += [_meant(each, system.model.length) for each in oddities
                 if not findings or not _other_unit_fits(each, system.model.length)]
    odd = {"length", *(finding.part for finding in findings), *_leaning(system.model)}
    return findings + [Finding(name, f'meant names "{name}", and nothing odd is found there; take '
                               f"it out or mend the name", kind="size")
                       for name in system.model.meant if name not in odd]


def _meant(odd, unit) -> Finding:
    return Finding(odd.part, f"is that meant? {odd.text}: {odd.reason or _reason(odd, unit)}",
                   True, "size")


def _leaning(model) -> list[str]:
    """Surfaces whose air load pushes them away from neutral, which `meant` may name too."""
    return [name for name, surface in model.surfaces.items()
            if surface.hinge is not None and surface.hinge.slope > 0]


def _unit_doubted(system, oddities) -> list[Finding]:
    """One finding instead of dozens where the whole file seems to be in the other unit."""
    unit = system.model.length
    lengths = [each for each in oddities if each.length]
    mended = [each for each in lengths if _other_unit_fits(each, unit)]
    if len(lengths) < MANY or len(mended) < MOSTLY * len(lengths) or "length" in system.model.meant:
        return []
    other = LENGTHS[_other(unit)].words
    return [Finding("length", f'is that meant? the file says length = "{unit}", and {len(mended)} '
                    f"of its {len(lengths)} odd lengths would be usual were the numbers in "
                    f"{other}, such as: {'; '.join(each.text for each in mended[:2])}", True,
                    "size")]


def _other(unit: str) -> str:
    return "mm" if unit == "in" else "in"


def _other_unit_fits(each: Odd, unit: str) -> bool:
    value = each.value * LENGTHS[_other(unit)].mm / LENGTHS[unit].mm
    return each.length and each.least <= value <= each.most


def _reason(each: Odd, unit: str) -> str:
    if _other_unit_fits(each, unit):
        return f"usual if its number were in {LENGTHS[_other(unit)].words}"
    for factor in (10, 0.1, 100, 0.01, 1000, 0.001):
        if each.least <= each.value * factor <= each.most:
            return "a slip of the decimal point or of the unit?"
    return "check the number, its sign and its unit"


def _odd(system, part, what, value, limits) -> Iterator[Odd]:
    """A length outside its limits."""
    least, most = limits
    if value is not None and not least <= value <= most:
        unit = system.model.length
        yield Odd(part, f'{what} of "{part}" is {shown_length(value, unit)}, and '
                        f"{shown_length(least, unit)} to {shown_length(most, unit)} is usual",
                  value, least, most, True)


def _plain(part, what, value, limits, unit="", per=1.0) -> Iterator[Odd]:
    """Another size outside its limits, said in a unit of `per`."""
    least, most = limits
    if value is not None and not least <= value <= most:
        yield Odd(part, f'{what} of "{part}" is {value / per:.4g}{unit}, and {least / per:.4g} to '
                        f"{most / per:.4g}{unit} is usual", value, least, most)


def _stations(system):
    """Points beyond any light aircraft, told once for each part, and a whole that is too small."""
    model, parts = system.model, set()
    for address in model.points:
        for axis, value, limits in zip(STATIONS, model.position(address), STATIONS.values(),
                                       strict=True):
            part = body_of(address)
            if part not in parts and not limits[0] <= value <= limits[1]:
                parts.add(part)
                yield Odd(part, f'"{address}" lies at {axis} {shown_length(value, model.length)}, '
                                f"beyond any light aircraft", value, *limits, True)
    if len(model.bodies) > 1:
        places = np.array([model.position(address) for address in model.points])
        size = float(np.ptp(places, axis=0).max())
        if size < WHOLE:
            yield Odd("airframe", f"all {len(model.points)} points of the system lie within "
                      f"{shown_length(size, model.length)} of each other", size, WHOLE, 40_000,
                      True)


def _sides(system):
    """Joints of one side that are far from the mirror image of the other side's."""
    model, words = system.model, system.model.mirror or {"left": "right"}
    ends = dict.fromkeys(end for rod in model.rods.values() for end in rod.ends)
    for address in ends:
        twin = twin_name(address, words)
        if twin == address or twin not in ends or twin < address:
            continue
        x, y, z = model.position(address)
        apart = float(np.linalg.norm(np.subtract((x, -y, z), model.position(twin))))
        if apart > ASKEW:
            yield Odd(body_of(address), f'"{twin}" lies {shown_length(apart, model.length)} from '
                      f'where the mirror image of "{address}" is', reason="the numbers of one side "
                      "are slipped, or the sides differ on purpose")


def _arm(model, address) -> float | None:
    """How far a point is from its part's pivot axis, mm; None on a slide or the airframe."""
    body = model.bodies.get(body_of(address))
    if body is None or body.slides:
        return None
    away = np.subtract(model.position(address), body.centre)
    return float(np.linalg.norm(np.cross(body.direction, away)))


def _arms(system):
    model, unit = system.model, system.model.length
    for address in dict.fromkeys(end for rod in model.rods.values() for end in rod.ends):
        arm = _arm(model, address)
        if arm is None or ARM[0] <= arm <= ARM[1]:
            continue
        if arm < ARM[0] and len(model.carriers(body_of(address))) > 1:
            continue  # a part carried by another may hold a rod near its own axis on purpose
        yield Odd(address, f'arm of "{address}" is {shown_length(arm, unit)}, and '
                  f"{shown_length(ARM[0], unit)} to {shown_length(ARM[1], unit)} is usual",
                  arm, *ARM, True)
    for name in model.bodies:
        if "grip" in model.bodies[name].points:
            yield from _odd(system, f"{name}/grip", "arm", _arm(model, f"{name}/grip"), GRIP_ARM)


def _rods(system):
    model, unit = system.model, system.model.length
    for name, rod in model.rods.items():
        yield from _odd(system, name, "length", model.rod_length(name), ROD)
        yield from _odd(system, name, "diameter", rod.diameter, ROD_DIAMETER)
        yield from _odd(system, name, "wall", rod.wall, WALL)
        yield from _slender(model, name)
        apart = math.dist(*(model.position(end) for end in rod.ends))
        room = min(ROD_SHARE * apart, THREADS)
        if rod.length is not None and abs(rod.length - apart) > room:
            yield Odd(name, f'rod "{name}" is given {shown_length(rod.length, unit)} long, and its '
                      f"points lie {shown_length(apart, unit)} apart", rod.length,
                      apart - room, apart + room, True)
        threads = [thread for k in (0, 1) if (thread := model.fitting(name, k)[2]) is not None]
        thick = max((thread.diameter for thread in threads), default=0.0)
        if rod.diameter is not None and rod.diameter < thick - 1e-6:
            yield Odd(name, f'rod "{name}" is {shown_length(rod.diameter, unit)} thick, thinner '
                      f"than its thread of {shown_length(thick, unit)}", rod.diameter, thick,
                      ROD_DIAMETER[1], True)


def _slender(model, name):
    length, diameter = model.rod_length(name), model.rods[name].diameter
    if diameter is not None and length > SLENDER * diameter:
        least = length / SLENDER
        yield Odd(name, f'rod "{name}" is {shown_length(diameter, model.length)} thick and '
                  f"{shown_length(length, model.length)} long, and no rod is longer than {SLENDER} "
                  f"times its diameter", diameter, least, max(least, ROD_DIAMETER[1]), True)


def _lengths(system):
    """Chords, torque tubes, joints, wires, spacers."""
    model = system.model
    for name, surface in model.surfaces.items():
        yield from _odd(system, name, "chord", surface.chord, CHORD)
    for name, body in model.bodies.items():
        if body.tube is not None:
            yield from _odd(system, name, "torque tube's diameter", body.tube.diameter, TUBE)
            yield from _odd(system, name, "torque tube's wall", body.tube.wall, WALL)
    for name, part in {**model.bodies, **model.rods}.items():
        yield from _odd(system, name, "joint's radius", part.joint, JOINT)
    for name, wire in model.wires.items():
        yield from _odd(system, name, "bundle", wire.diameter, WIRE)
    for name, stop in model.stops.items():
        if stop.spacer is not None and stop.spacer.thickness != 0:
            yield from _odd(system, name, "spacer", stop.spacer.thickness, SPACER)


def _gaps(system):
    """Required clearances."""
    clearance = system.model.clearance
    sizes = {name: getattr(clearance, name)
             for name in ("static", "same", "different", "structure", "wire")}
    for name, value in [*sizes.items(), *clearance.named.items()]:
        if value != 0:
            yield from _odd(system, f"clearance {name}", "required gap", value, CLEARANCE)


def _solids(system):
    for name, solid in system.model.solids.items():
        if body_of(name) in system.model.rods:
            continue
        if type(solid) in SOLID:
            word, *limits = SOLID[type(solid)]
            yield from _odd(system, name, word, getattr(solid, word), limits)
        elif isinstance(solid, Box):
            sides = np.abs(np.subtract(solid.corner, solid.opposite))
            for side in sides[(sides < BOX[0]) | (sides > BOX[1])][:1]:
                yield from _odd(system, name, "a side", float(side), BOX)
        elif isinstance(solid, SurfaceShape):
            sides = np.ptp(solid.surface().corners.reshape(-1, 3), axis=0)
            yield from _odd(system, name, "a longest side", float(sides.max()), SURFACE)


def _inputs(system):
    for name, item in system.model.inputs.items():
        whole = item.travel[1] - item.travel[0]
        if item.in_mm:
            yield from _odd(system, name, "travel", whole, TRAVEL_MM)
            continue
        if whole < TRAVEL_TURN:
            yield Odd(name, f'travel of "{name}" is {whole:.3g}° from end to end',
                      reason="written in radians?")
        most = STICK_TURN.get(name, math.inf)
        far = max(-item.travel[0], item.travel[1])
        if far > most:
            yield Odd(name, f'travel of "{name}" goes to {far:g}° from neutral, and no more than '
                      f"{most:g}° is usual", reason="check the number")


def _required(system):
    """What surfaces are asked for, and how far they go at the ends of their inputs."""
    for surface, part in system.model.surfaces.items():
        limit = FREE_TURN if kind_of(system, surface) in WIDE else SURFACE_TURN
        yield from _goes_far(system, surface, limit)
        for require in part.require:
            far = max(angle for angle in (require.up, require.down, require.left, require.right)
                      if angle is not None)
            yield from _far(surface, far, limit)
            if far > 0 and (require.within > WITHIN or 2 * require.within > far):
                yield Odd(surface, f'"{surface}" is required within ±{require.within:g}°, a band '
                          f"of {2 * require.within:g}° on a travel of {far:g}°, and ±1° to ±2° is "
                          f"usual", reason="so wide a band asks for nothing")


def _goes_far(system, surface, limit):
    for name, control in system.inputs.items():
        turned = 0.0 if control.body is None else np.abs(
            system.sweep(**{name: [*control.travel]}).deflection(surface))
        far = float(np.nanmax(turned, initial=0.0))
        if far > limit:
            yield Odd(surface, f'"{surface}" goes {far:.0f}° at an end of {name}, and no more than '
                      f"{limit}° is usual", reason="an arm, a ratio or its travel is slipped?")


def _far(surface, far, limit):
    if far > limit:
        yield Odd(surface, f'"{surface}" is required to go {far:g}°, and no more than '
                  f"{limit}° is usual", reason="check the number")
    elif 0 < far < TRAVEL_TURN:
        yield Odd(surface, f'"{surface}" is required to go {far:g}° at most',
                  reason="written in radians?")


def _tolerances(system):
    """Tolerances larger than what they are of."""
    model = system.model
    for address in dict.fromkeys(end for rod in model.rods.values() for end in rod.ends):
        yield from _point_tolerance(model, address)
    for name in model.rods:
        length = model.rod_length(name)
        yield from _loose(model, name, f'rod "{name}"', model.rod_tolerance(name),
                          (length, min(ROD_SHARE * length, TOLERANCE)))
    for name, stop in model.stops.items():
        if stop.spacer is not None and stop.spacer.thickness != 0:
            yield from _loose(model, name, f'the spacer of "{name}"', model.spacer_tolerance(name),
                              (stop.spacer.thickness,) * 2, at_most=False)


def _point_tolerance(model, address):
    unit, arm, loose = model.length, _arm(model, address), model.point_tolerance(address)
    if loose > TOLERANCE or arm is not None and arm >= ARM[0] and loose > SHARE * arm:
        yield Odd(address, f'tolerance of "{address}" is ±{shown_length(loose, unit)}'
                  + (f" on an arm of {shown_length(arm, unit)}" if arm is not None else ""),
                  loose, 0.0, min(TOLERANCE, SHARE * (arm or math.inf)), True)


def _loose(model, name, what, loose, sizes, at_most=True):
    """A tolerance above a limit, or one that reaches it where `at_most` is false."""
    length, limit = sizes
    if loose > limit or (loose == limit and not at_most):
        yield Odd(name, f"tolerance of {what} is ±{shown_length(loose, model.length)} on "
                  f"{shown_length(length, model.length)}", loose, 0.0, limit, True)


def _plays(system):
    model = system.model
    yield from _odd(system, "play pivot", "free play", model.play.pivot, (0, PLAY))
    yield from _odd(system, "play rod_end", "free play", model.play.rod_end, (0, PLAY))
    for name, part in {**model.bodies, **model.rods}.items():
        yield from _odd(system, name, "free play", part.play, (0, PLAY))


def _loads(system):
    """Hinge moments, pilot forces, strengths and frictions."""
    model = system.model
    newton, per_force = model.unit.force, model.unit.newton
    moment, per_moment = model.unit.moment, model.unit.newton_mm
    yield from _hinge_moments(model)
    for name, item in model.inputs.items():
        if item.force is not None:
            yield from _plain(name, "limit pilot force", item.force.most, PILOT, f" {newton}",
                              per_force)
    for name, rod in model.rods.items():
        yield from _plain(name, "strength", rod.strength, STRENGTH, f" {newton}", per_force)
        yield from _plain(name, "friction", rod.friction, FRICTION[False], f" {moment}",
                          per_moment)
    for name, body in model.bodies.items():
        unit, per = (newton, per_force) if body.slides else (moment, per_moment)
        yield from _plain(name, "friction", body.friction, FRICTION[body.slides], f" {unit}", per)
    yield from _coefficients(model)


def _hinge_moments(model):
    moment, per = model.unit.moment, model.unit.newton_mm
    for name, surface in model.surfaces.items():
        if surface.hinge is not None:
            yield from _plain(name, "hinge moment's slope", abs(surface.hinge.slope) or None,
                              SLOPE, f" {moment} per degree", per)
            yield from _plain(name, "hinge moment at no deflection", abs(surface.hinge.neutral),
                              (0, MOMENT), f" {moment}", per)


def _coefficients(model):
    for name, part in {**model.couplings, **model.joints, **model.rod_ends}.items():
        yield from _plain(name, "coefficient of friction", part.friction, COEFFICIENT)
    for word in ("pivot", "rod_end"):
        yield from _plain(f"friction {word}", "coefficient", getattr(model.friction, word),
                          COEFFICIENT)


def _materials(system):
    for name, part in system.model.materials.items():
        yield from _plain(name, "modulus", part.modulus, MODULUS, " N/mm²")
        yield from _plain(name, "yield stress", part.yield_stress, STRESS, " N/mm²")
        yield from _plain(name, "ultimate stress", part.ultimate, STRESS, " N/mm²")
        yield from _plain(name, "density", part.density, DENSITY, " kg/m³", 1e-9)
        if part.ultimate is not None and part.ultimate < part.yield_stress:
            yield Odd(name, f'ultimate stress of "{name}" is {part.ultimate:.4g} N/mm², below its '
                      f"yield stress of {part.yield_stress:.4g} N/mm²", reason="swapped?")
        if part.shear is not None and part.shear > 0.6 * part.modulus:
            yield Odd(name, f'shear modulus of "{name}" is {part.shear:.4g} N/mm², and its modulus '
                      f"{part.modulus:.4g} N/mm²", reason="a slip of the unit?")


def _couplings(system):
    bodies = system.model.bodies
    for name, part in system.model.couplings.items():
        alike = len({bodies[body].slides for body in part.bodies}) == 1
        yield from _plain(name, "ratio", abs(part.ratio), RATIO if alike else MIXED_RATIO)
