"""Faults planted into the shipped files: none may come out as if nothing were wrong.

A fault is made on the model; the same seed gives the same faults.  What it changes is looked up in
the verdict on the file as shipped: a fault is told where something more is missed, undecided or
named as not judged, and silent where the verdict says no more than before.
"""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cache, partial
from pathlib import Path

import numpy as np
from systems.planted_directions import (
    DUE,
    across,
    over_the_pivot,
    really_wrong,
    swapped_rods,
)

import linkage
from linkage.model import Box, Model, Plate, Point
from linkage.motion import System
from linkage.results import Results

ROOT = Path(__file__).parents[1]
FILES = {("new " if path.parent.name == "starters" else "") + path.stem: path for path in (
    *sorted((ROOT / "examples").glob("*.toml")),
    *sorted((ROOT / "linkage" / "starters").glob("*.toml")))}
INCH = 25.4
TURNED = ("findings", "gearing")
# what looks at a fault; the rest is left out, so that a thousand take an hour and not a day
ONLY = {"reversed": TURNED, "swapped rods": TURNED, "mirrored sign": TURNED,
        "missing stop": ("stops",), "unit slip of the file": TURNED,
        "unit slip of a place": TURNED, "unit slip of a size": TURNED,
        "shape taken out": ("clearance",), "thin rod": TURNED,
        "stop past the wanted travel": ("gearing", "stops")}


@dataclass(frozen=True)
class Fault:
    """A fault planted into a file.

    Attributes
    ----------
    kind, file, what : str
    make : callable
        The model with it.
    """

    kind: str
    file: str
    what: str
    make: Callable[[], Model]


def outcome(fault: Fault) -> str:
    """What a fault comes out as: refused, missed, named, harmless or SILENT.

    Harmless is a reversal that leaves every trailing edge going the right way all along its input,
    by a formula of its own; and a slip of a place on which no deflection depends, such as the arm
    of a servo that is carried along.
    """
    try:
        system = System(fault.make())
        turned = fault.kind in ("reversed", "swapped rods", "mirrored sign")
        if turned and really_wrong(system, DUE[fault.file]) is False:
            return "harmless"
        if fault.kind == "unit slip of a place" and _moves_alike(fault.file, system):
            return "harmless"
        verdict = verdict_on(system, fault.file, fault.kind)
    except linkage.LinkageError:
        return "refused"
    before = as_shipped(fault.file, fault.kind)
    if {miss.sentence for miss in verdict.missed} - {miss.sentence for miss in before.missed}:
        return "missed"
    return "named" if set(verdict.unknown) - set(before.unknown) else "SILENT"


def _moves_alike(name, system) -> bool:
    shipped = linkage.load(FILES[name])
    for control, (low, high) in system.travel_box().items():
        x = np.linspace(low, high, 21)
        for surface in system.model.surfaces:
            turned = [s.sweep(**{control: x}).deflection(surface) for s in (shipped, system)]
            if not np.allclose(*turned, atol=1e-9):
                return False
    return True


def _only_solids(model, used) -> Model:
    """A model with some of its solids alone."""
    def kept(name, solids):
        return {solid: shape for solid, shape in solids.items() if f"{name}/{solid}" in used}

    bodies = {name: replace(part, grip=None, solids=kept(name, part.solids))
              for name, part in model.bodies.items()}
    rods = {name: rod if any(s.startswith(f"{name}/") for s in used) else
            replace(rod, diameter=None, wall=None) for name, rod in model.rods.items()}
    return replace(model, bodies=bodies, rods=rods, welds={}, boltings={}, airframe=replace(
        model.airframe, solids=kept("airframe", model.airframe.solids)))


@cache
def as_shipped(name: str, kind: str):
    """The verdict on a shipped file, by what looks at a kind of fault."""
    system = System(stripped(linkage.load(FILES[name]).model, kind))
    return verdict_on(system, name, kind)


def verdict_on(system, name, kind):
    """The verdict by what looks at a kind of fault.

    What is not drawn is named without any proof, so that a shape taken out takes over the proof of
    the file as shipped: it is told by being named, or not at all.
    """
    results = Results(system, only=ONLY[kind])
    if kind == "shape taken out":
        results.keep({"clearance": shipped_clearance(name)}, {})
    return results.verdict


@cache
def shipped_clearance(name: str):
    """Clearance of a shipped file's moving parts."""
    return linkage.clearance(System(stripped(linkage.load(FILES[name]).model, "shape taken out")))


def faults(count: int, seed: int = 0) -> list[Fault]:
    """So many faults, as many of each kind as of any other, drawn by chance."""
    chance = random.Random(seed)
    each = {kind: [] for kind in ONLY}
    for name, path in FILES.items():
        for fault in all_faults(name, linkage.load(path).model):
            each[fault.kind].append(fault)
    for some in each.values():
        chance.shuffle(some)
    drawn = []
    while len(drawn) < count and any(each.values()):
        drawn += [some.pop() for some in each.values() if some]
    return drawn[:count]


def all_faults(name: str, model: Model) -> Iterator[Fault]:
    """Every fault of one file."""
    bare, stops = (stripped(model, kind) for kind in ("reversed", "stop"))
    for kind, what, make in (*_turned(bare), *_stops(stops), *_slips(bare), *_shapes(model)):
        yield Fault(kind, name, what, make)


def stripped(model: Model, kind: str) -> Model:
    """A model less what the question of a kind of fault has no need of, to be quick."""
    if "stop" in kind:
        used = {solid for stop in model.stops.values() for solid in stop.between}
        return _only_solids(replace(model, pairs=(), wires={}, rig_pins={}), used)
    less = replace(model, stops={}, pairs=(), wires={}, rig_pins={}, airframe=replace(
        model.airframe, solids={}))
    if kind == "shape taken out":
        return less
    return replace(less, welds={}, boltings={}, bodies={
        name: replace(part, solids={}, grip=None) for name, part in less.bodies.items()})


def _turned(model):
    for rod in model.rods.values():
        for end in rod.ends:
            yield "reversed", end, partial(over_the_pivot, model, end)
    rods = list(model.rods)
    for i, one in enumerate(rods):
        for other in rods[:i]:
            yield "swapped rods", f"{one}, {other}", partial(swapped_rods, model, one, other)
    for name, part in model.couplings.items():
        yield "mirrored sign", name, partial(_with, model, "couplings", name, ratio=-part.ratio)
    for name, part in model.bodies.items():
        if any(abs(p.position[1] - part.centre[1]) > 1 for p in part.points.values()):
            yield "mirrored sign", name, partial(across, model, name)


def _with(model, table, name, **changes):
    parts = getattr(model, table)
    return replace(model, **{table: {**parts, name: replace(parts[name], **changes)}})


def _stops(model):
    for end in dict.fromkeys((stop.input, stop.side) for stop in model.stops.values()):
        gone = {name: stop for name, stop in model.stops.items()
                if (stop.input, stop.side) != end}
        yield "missing stop", " ".join(end), partial(replace, model, stops=gone)
        for past in (3.0, 4.0, 5.0, 6.0, 7.0):
            yield ("stop past the wanted travel", f"{' '.join(end)} by {past:g}",
                   partial(_drawn_in, model, end, past))


def _drawn_in(model, end, past):
    """A wanted travel so much less than the stop leaves, and what is required as at the stop."""
    control = model.inputs[end[0]]
    ends = list(control.travel)
    last = int(end[1] == "greatest")
    ends[last] -= math.copysign(past, ends[last])
    inputs = {**model.inputs, end[0]: replace(control, travel=tuple(ends))}
    shorter = System(replace(model, inputs=inputs))
    from linkage.gearing import required_travels

    found = {(row["surface"], row["way"]): row for row in required_travels(
        shorter).to_dict("records") if np.isfinite(row["found"])}
    surfaces = {name: replace(part, require=tuple(
        replace(each, **{way: found[name, way]["found"] for way in ("up", "down", "left", "right")
                         if getattr(each, way) is not None and (name, way) in found})
        for each in part.require)) for name, part in model.surfaces.items()}
    return replace(model, inputs=inputs, surfaces=surfaces)


def _slips(model):
    other = "mm" if model.length == "in" else "in"
    yield "unit slip of the file", other, partial(_in_the_other_unit, model)
    for end in dict.fromkeys(end for rod in model.rods.values() for end in rod.ends):
        yield from _slips_of_place(model, end)
    for name, rod in model.rods.items():
        if rod.diameter is not None:
            for kind, size in (("unit slip of a size", rod.diameter * INCH),
                               ("unit slip of a size", rod.diameter / INCH), ("thin rod", 0.9),
                               ("thin rod", rod.diameter / 6)):
                yield kind, f"{name} of {size:.3g} mm", partial(
                    _with, model, "rods", name, diameter=size, wall=None)
    for name, surface in model.surfaces.items():
        for slip in (INCH, 1 / INCH) if surface.chord is not None else ():
            yield ("unit slip of a size", f"{name} chord times {slip:.3g}",
                   partial(_with, model, "surfaces", name, chord=surface.chord * slip))


def _slips_of_place(model, end):
    """One station of a joint in the other unit, where it is off its pivot by some of it."""
    body = end.split("/")[0]
    if body not in model.bodies:
        return
    place, centre = model.position(end), model.bodies[body].centre
    for axis, slip in itertools.product(range(3), (INCH, 1 / INCH)):
        if abs(place[axis] * (slip - 1)) > INCH and abs(place[axis] - centre[axis]) > 1:
            yield ("unit slip of a place", f"{end} {['FS', 'BL', 'WL'][axis]} times {slip:.3g}",
                   partial(_moved, model, end, axis, slip))


def _moved(model, address, axis, slip):
    body, point = address.split("/")
    place = list(model.position(address))
    place[axis] *= slip
    part = model.bodies[body]
    return _with(model, "bodies", body, points={**part.points, point: Point(at=tuple(place))})


def _in_the_other_unit(model):
    """The file read in the other unit: its text with the other word."""
    from linkage.model.file import format_model, parse_model

    text = format_model(model)
    one, other = ('"in"', '"mm"') if model.length == "in" else ('"mm"', '"in"')
    assert f"length = {one}" in text
    return parse_model(text.replace(f"length = {one}", f"length = {other}", 1))


def _shapes(model):
    """One shape less, of the whole file: what names it there refuses to be without."""
    for name, body in model.bodies.items():
        for solids in ({}, *({k: v for k, v in body.solids.items() if k != solid}
                             for solid, shape in body.solids.items()
                             if len(body.solids) > 1 and isinstance(shape, Box | Plate))):
            gone = [f"{name}/{solid}" for solid in body.solids if solid not in solids]
            if gone:
                yield ("shape taken out", gone[0] if solids else name,
                       partial(_without_shape, model, "bodies", name, solids=solids))
    for name, rod in model.rods.items():
        if rod.diameter is not None:
            yield "shape taken out", name, partial(_without_shape, model, "rods", name,
                                                   diameter=None, wall=None)


def _without_shape(model, table, name, **changes):
    return stripped(_with(model, table, name, **changes), "shape taken out")
