"""A model file read for the checker: what moves and what is solid, in mm at neutral, twins too.

What a file may hold that the checker does not know is refused by its name.
"""

from __future__ import annotations

import csv
import math
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from .formats import in_mm
from .lengths import AIRFRAME, SIDES, UNITS, Refused, direction
from .twins import with_twins
from .vectors import dot, minus, plus

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

CLASSES = {"static": 3.175, "same": 3.175, "different": 6.35, "structure": 12.7, "joined": 0.0,
           "wire": 12.7}


@dataclass
class Joint:
    """How a body rides on what carries it."""

    on: str
    pivot: tuple
    axis: tuple
    slides: bool
    places: list  # where it is held: pivot, second point, bearings
    ball: float | None
    through: bool  # whether its axis runs to the second of its places


@dataclass
class Rod:
    """Two ball ends, mm apart."""

    ends: tuple
    length: float
    redundant: bool
    reach: list  # radius about each end that its head takes up, or None
    off: float  # mm that a build may have its length off


@dataclass
class Machine:
    """Everything that moves, in mm at neutral."""

    inputs: dict = field(default_factory=dict)  # name: (least, greatest, in mm)
    drives: dict = field(default_factory=dict)  # body: (input, sign)
    joints: dict = field(default_factory=dict)
    points: dict = field(default_factory=dict)
    rods: dict = field(default_factory=dict)
    couplings: dict = field(default_factory=dict)
    solids: dict = field(default_factory=dict)
    stops: dict = field(default_factory=dict)
    rules: dict = field(default_factory=dict)
    clearance: dict = field(default_factory=dict)
    surfaces: dict = field(default_factory=dict)  # name: body
    general: dict = field(default_factory=dict)  # how far a build may be off where not said, mm
    off: dict = field(default_factory=dict)  # part or point: mm that a build may have it off
    loose: dict = field(default_factory=dict)  # solid: mm that a build may have its points off
    files: list = field(default_factory=list)
    wires: bool = False  # whether it has any: of what their loops come near nothing is claimed

    def chain(self, body: str) -> list[str]:
        """A body and all that carries it, the airframe last."""
        chain = []
        while body != AIRFRAME:
            chain.append(body)
            body = self.joints[body].on
        return [*chain, AIRFRAME]

    def common(self, bodies: Sequence[str]) -> str:
        """The nearest body that is or carries each of some."""
        first, *others = map(self.chain, bodies)
        return next(body for body in first if all(body in chain for chain in others))

    def spot(self, part: str, value: Sequence | str) -> tuple:
        """A place, or where a named point is."""
        return self.points[full_name(part, value)] if isinstance(value, str) else value


def full_name(part: str, point: str) -> str:
    """A point's name with the part that it is on."""
    return point if "/" in point else f"{part}/{point}"


def read(text: str, folder: Path | str = ".") -> Machine:
    """The machine that a model file describes."""
    table = tomllib.loads(text)
    if table.get("length") not in UNITS:
        raise Refused(f'the checker does not know the unit "{table.get("length")}"')
    wires = "wire" in table
    files = [table["hardpoints"]] if "hardpoints" in table else []
    for name in files:
        add_hardpoints(table, Path(folder) / name)
    table = with_twins(in_mm("file", table, UNITS[table["length"]]))
    machine = without_parts(table)
    machine.files, machine.wires = files, wires
    for name, body in table.get("body", {}).items():
        read_body(machine, name, body)
        if "input" in body:
            positive = table["input"][body["input"]].get("positive")
            machine.drives[name] = body["input"], sense(body["input"], positive,
                                                        machine.joints[name])
    airframe = table.get(AIRFRAME, {})
    read_points(machine, AIRFRAME, airframe.get("points", {}))
    for name, rod in table.get("rod", {}).items():
        read_rod(machine, name, rod, table)
    read_solids(machine, AIRFRAME, airframe.get("solid", {}))
    return machine


def without_parts(table: dict) -> Machine:
    """Inputs, couplings, stops, the rules of single pairs, clearances and tolerances."""
    tolerance, clearance = table.get("tolerance", {}), table.get("clearance", {})
    general = {word: tolerance.get(word, 0.0) for word in ("hardpoint", "rod", "spacer")}
    for name, stop in table.get("stop", {}).items():
        if stop["side"] not in ("least", "greatest"):
            raise Refused(f'stop "{name}": the checker does not know the side "{stop["side"]}"')
    return Machine(
        inputs={name: item["travel"] for name, item in table.get("input", {}).items()},
        couplings=table.get("coupling", {}), stops=table.get("stop", {}),
        rules={frozenset(item["between"]): None if item.get("waive") else item["require"]
               for item in table.get("pair", [])},
        clearance=CLASSES | clearance | clearance.get("class", {}), general=general,
        surfaces={name: item["body"] for name, item in table.get("surface", {}).items()},
        off={AIRFRAME: general["hardpoint"]})


def add_hardpoints(table: dict, path: Path) -> None:
    """Points of a CSV file: part/point, FS, BL, WL a line."""
    for name, *spot in rows_of(path):
        part, point = name.split("/")
        home = table.setdefault(AIRFRAME, {}) if part == AIRFRAME else table["body"][part]
        slot = home if point == "pivot" else home.setdefault("points", {})
        slot[point] = spot


def rows_of(path: Path) -> Iterator[list]:
    """Rows of a CSV file without its heading, remarks and empty lines."""
    lines = path.read_text("utf-8-sig").splitlines()
    for number, row in enumerate(csv.reader(lines, skipinitialspace=True)):
        cells = [as_number(cell.strip()) for cell in row]
        heading = number == 0 and all(isinstance(k, str) for k in cells)
        if not heading and any(k != "" for k in cells) and not str(cells[0]).startswith("#"):
            yield cells


def as_number(cell: str) -> float | str:
    """What number a cell holds; itself if it holds none."""
    try:
        return float(cell)
    except ValueError:
        return cell


def read_body(machine: Machine, name: str, body: dict) -> None:
    """Keep a body, its points and its solids."""
    machine.off[name] = body.get("tolerance", machine.general["hardpoint"])
    read_points(machine, name, body.get("points", {}))
    pivot = body["pivot"] if "pivot" in body else machine.points[
        f"{name}/{next(iter(body['points']))}"]
    places, slides = [pivot, *body.get("bearings", ())], "slide" in body
    if "through" in body:
        places.insert(1, body["through"])
        axis = direction(minus(body["through"], pivot))
    else:
        axis = body["slide" if slides else "axis"]
    machine.joints[name] = Joint(body.get("on", AIRFRAME), pivot, axis, slides, places,
                                 body.get("joint"), "through" in body)
    machine.points[f"{name}/pivot"] = pivot
    machine.off.setdefault(f"{name}/pivot", machine.off[name])
    read_solids(machine, name, body.get("solid", {}))
    grip = body.get("grip", {})
    if "hand" in grip:
        start, end = (machine.spot(name, k) for k in grip["along"])
        read_solids(machine, name, {"hand": grip["hand"]})
        machine.solids[f"{name}/hand"]["turned"] = (
            start, direction(minus(end, start)), -float(grip.get("clocking", 0)))


def read_points(machine: Machine, part: str, points: dict) -> None:
    """Keep points of a part, built up along their bolts."""
    for name, item in points.items():
        at = item["at"]
        if item.get("stack"):
            lead = dot(item["bolt"], SIDES[item["side"]])
            at = plus(at, item["bolt"], math.copysign(item["stack"], lead))
        machine.points[f"{part}/{name}"] = at
        machine.off[f"{part}/{name}"] = item.get("tolerance", machine.off[part])


def read_solids(machine: Machine, part: str, solids: dict) -> None:
    """Keep solids, every named point looked up."""
    for name, shape in solids.items():
        named = [full_name(part, k) for k in (shape.get("at"), *shape.get("along", ()))
                 if isinstance(k, str)]
        machine.solids[f"{part}/{name}"] = shape | {
            word: machine.spot(part, shape[word]) for word in ("at", "corner", "opposite")
            if word in shape} | {"along": [machine.spot(part, k) for k in shape.get("along", ())]}
        machine.loose[f"{part}/{name}"] = machine.off[part] + max(
            (machine.off[k] for k in named), default=0.0)


def read_rod(machine: Machine, name: str, rod: dict, table: dict) -> None:
    """Keep a rod and its solid."""
    a, b = (machine.points[end] for end in rod["ends"])
    fitted = rod.get("fitted") or [None]
    machine.rods[name] = Rod(
        tuple(rod["ends"]), rod.get("length", math.dist(a, b)), bool(rod.get("redundant")),
        [head_size(rod, fitted[k], table) for k in (0, -1)],
        rod.get("tolerance", machine.general["rod"]))
    if "diameter" in rod:
        machine.loose[f"{name}/tube"] = machine.general["hardpoint"]
        machine.solids[f"{name}/tube"] = {"kind": "rod"} | {
            word: rod[word] for word in ("diameter", "clearance") if word in rod}


def head_size(rod: dict, fitted: dict | None, table: dict) -> float | None:
    """Radius about a rod's end within which it is meant to touch; None where the file has none."""
    head = table["rod_end"][fitted["rod_end"]] if fitted else {}
    if "joint" in rod or "shank" not in head:
        return rod.get("joint")
    return max(head["shank"] - fitted.get("engaged", 0.0), head.get("sphere", 0.0) / 2)


def sense(name: str, positive: str | None, joint: Joint) -> float:
    """+1 where the positive input turns right-hand about the axis as written."""
    if positive is not None:
        return 1.0 if positive == "along axis" else -1.0
    if name not in ("pitch", "roll"):
        return 1.0
    x, y, _ = joint.axis
    lead = (x if name == "pitch" else y) if joint.slides else (y if name == "pitch" else -x)
    if abs(lead) < 0.5:
        raise Refused(f'input "{name}": which way is positive can not be told')
    return 1.0 if lead > 0 else -1.0
