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

from .lengths import AIRFRAME, SIDES, UNITS, Refused, direction, not_below_0, place, size
from .twins import with_twins

if TYPE_CHECKING:
    from collections.abc import Iterator

CLASSES = {"static": 3.175, "same": 3.175, "different": 6.35, "structure": 12.7, "joined": 0.0,
           "wire": 12.7}
# keys that bear on what is checked, and keys that do not
KNOWN = {
    "input": ("travel positive", "ways force trims feel"),
    "body": ("on pivot axis through slide input points solid grip bearings joint tolerance",
             "level play tube friction material"),
    "airframe": ("points solid", ""),
    "rod": ("ends length redundant diameter fitted joint clearance tolerance", "wall thread "
            "material fixity strength fitting bearing friction play bow"),
    "coupling": ("bodies ratio", "friction wrap"),
    "spring": ("", "ends pivot rate free free_angle preload table acts"),
    "stop": ("input side between spacer search", ""),
    "spacer": ("on thickness tolerance", "stock"),
    "pair": ("between require waive", "reason"),
    "rod_end": ("shank sphere", "thread most misalignment ball race shoulder hardware "
                "material rating ultimate friction"),
    "point": ("at bolt side stack tolerance", ""),
    "grip": ("along clocking hand", "bore"),
    "fitted": ("rod_end engaged", "least witness adjustable bolt hardware"),
    "sphere": ("kind at diameter clearance", ""), "tube": ("kind along diameter clearance", "wall"),
    "pipe": ("kind along diameter clearance", "wall"),
    "box": ("kind corner opposite clearance", ""),
    "plate": ("kind at normal u outline thickness holes clearance", "material"),
    "washer": ("kind at normal outside inside thickness clearance", ""),
    "hole": ("at diameter slot outline", ""),
    "clearance": (" ".join(CLASSES) + " class", ""),
    "tolerance": ("hardpoint rod spacer", ""),
}
TOP = {"length", "input", "body", "airframe", "rod", "coupling", "stop", "pair", "rod_end",
       "clearance", "mirror", "hardpoints", "surface", "tolerance"}
BESIDE = {"title", "revision", "approved_by", "wire", "material", "play", "factor", "rig_pin",
          "size", "meant", "joint", "weld", "bolting", "load_case", "engine", "servo", "spring",
          "friction"}


@dataclass
class Joint:
    """How a body rides on what carries it."""

    on: str
    pivot: tuple
    axis: tuple
    slides: bool
    places: list = field(default_factory=list)  # where it is held: pivot, second point, bearings
    ball: float | None = None
    through: bool = False  # whether its axis runs to the second of its places


@dataclass
class Rod:
    """Two ball ends, mm apart."""

    ends: tuple
    length: float
    redundant: bool
    reach: list  # radius about each end that its head takes up, or None
    off: float = 0.0  # mm that a build may have its length off


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


def keys_known(kind: str, table: dict, place: str) -> None:
    """Refuse a key that is not known."""
    for word in table:
        if word not in " ".join(KNOWN[kind]).split():
            raise Refused(f'{place}: the checker does not know "{word}"')


def read(text: str, folder: Path | str = ".") -> Machine:
    """The machine that a model file describes."""
    table = tomllib.loads(text)
    tables_known(table)
    if "hardpoints" in table:
        add_hardpoints(table, Path(folder) / table["hardpoints"])
    files = [table["hardpoints"]] if "hardpoints" in table else []
    table, unit, machine = with_twins(table), UNITS[table["length"]], Machine(files=files)
    machine.wires = "wire" in table
    machine.general = read_tolerance(table.get("tolerance", {}), unit)
    for name, body in table.get("body", {}).items():
        read_body(machine, name, body, unit)
    for name, item in table.get("input", {}).items():
        read_input(machine, name, item, unit)
    for name, body in table.get("body", {}).items():
        if "input" in body:
            positive = table["input"][body["input"]].get("positive")
            machine.drives[name] = body["input"], sense(body["input"], positive,
                                                        machine.joints[name])
    machine.surfaces |= {name: item["body"] for name, item in table.get("surface", {}).items()}
    read_fixed_and_rods(machine, table, unit)
    read_rules(machine, table, unit)
    return machine


def tables_known(table: dict) -> None:
    """Refuse a file with a table or a unit that this program does not know."""
    for word in table:
        if word not in TOP | BESIDE:
            raise Refused(f'the checker does not know the table "{word}"')
    if table.get("length") not in UNITS:
        raise Refused(f'the checker does not know the unit "{table.get("length")}"')


def read_tolerance(told: dict, unit: float) -> dict[str, float]:
    """How far a build may be off where nothing closer is said, mm."""
    keys_known("tolerance", told, "tolerance")
    return {k: not_below_0(told.get(k, 0.0), unit) for k in ("hardpoint", "rod", "spacer")}


def off_by(item: dict, usual: float, unit: float) -> float:
    """How far a build may have something off, mm: as it says itself, else as usual."""
    return not_below_0(item["tolerance"], unit) if "tolerance" in item else usual


def read_fixed_and_rods(machine: Machine, table: dict, unit: float) -> None:
    """Keep the points and solids of the airframe, and the rods."""
    fixed = table.get(AIRFRAME, {})
    keys_known(AIRFRAME, fixed, AIRFRAME)
    machine.off[AIRFRAME] = machine.general["hardpoint"]
    read_points(machine, AIRFRAME, fixed.get("points", {}), unit)
    for name, rod in table.get("rod", {}).items():
        read_rod(machine, name, rod, (table, unit))
    read_solids(machine, AIRFRAME, fixed.get("solid", {}), unit)


def read_rules(machine: Machine, table: dict, unit: float) -> None:
    """Keep couplings, stops, the rules of single pairs and the clearances."""
    for kind, items in (("coupling", machine.couplings), ("stop", machine.stops)):
        for name, item in table.get(kind, {}).items():
            keys_known(kind, item, f'{kind} "{name}"')
            items[name] = dict(item)
    for name, spring in table.get("spring", {}).items():
        keys_known("spring", spring, f'spring "{name}"')
    for name, stop in machine.stops.items():
        if stop["side"] not in ("least", "greatest"):
            raise Refused(f'stop "{name}": the checker does not know the side "{stop["side"]}"')
        if "spacer" in stop:
            keys_known("spacer", stop["spacer"], f'stop "{name}", spacer')
            thick = not_below_0(stop["spacer"]["thickness"], unit)
            stop["spacer"] = {"on": stop["spacer"]["on"], "thickness": thick,
                              "off": off_by(stop["spacer"], machine.general["spacer"], unit)}
    for item in table.get("pair", []):
        keys_known("pair", item, "pair")
        machine.rules[frozenset(item["between"])] = (
            None if item.get("waive") else size(item["require"], unit))
    read_clearance(machine, table.get("clearance", {}), unit)


def add_hardpoints(table: dict, path: Path) -> None:
    """Points of a CSV file: part/point, FS, BL, WL a line."""
    for name, *spot_at in rows_of(path):
        part, point = name.split("/")
        home = table.setdefault(AIRFRAME, {}) if part == AIRFRAME else table["body"][part]
        slot = home if point == "pivot" else home.setdefault("points", {})
        slot[point] = spot_at


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


def read_input(machine: Machine, name: str, item: dict, unit: float) -> None:
    """Keep an input's travel."""
    keys_known("input", item, f'input "{name}"')
    in_mm = any(isinstance(k, str) for k in item["travel"])
    ends = [size(k, unit) if in_mm else float(k) for k in item["travel"]]
    machine.inputs[name] = (*ends, in_mm)


def read_clearance(machine: Machine, told: dict, unit: float) -> None:
    """Keep the required clearances by class."""
    keys_known("clearance", told, "clearance")
    machine.clearance = CLASSES | {k: size(v, unit) for k, v in told.items() if k != "class"} | {
        k: size(v, unit) for k, v in told.get("class", {}).items()}


def read_body(machine: Machine, name: str, body: dict, unit: float) -> None:
    """Keep a body, its points and its solids."""
    keys_known("body", body, f'body "{name}"')
    machine.off[name] = off_by(body, machine.general["hardpoint"], unit)
    read_points(machine, name, body.get("points", {}), unit)
    slides = "slide" in body
    pivot = place(body["pivot"], unit) if "pivot" in body else \
        machine.points[f"{name}/{next(iter(body['points']))}"]
    places = [pivot]
    if "through" in body:
        places.append(place(body["through"], unit))
        axis = direction([b - a for a, b in zip(pivot, places[1], strict=True)])
    else:
        axis = direction(body["slide"] if slides else body["axis"])
    places += [place(k, unit) for k in body.get("bearings", ())]
    ball = size(body["joint"], unit) if "joint" in body else None
    machine.joints[name] = Joint(body.get("on", AIRFRAME), pivot, axis, slides, places, ball,
                                 "through" in body)
    machine.points[f"{name}/pivot"] = pivot
    machine.off.setdefault(f"{name}/pivot", machine.off[name])
    read_solids(machine, name, body.get("solid", {}), unit)
    grip = body.get("grip", {})
    keys_known("grip", grip, f'body "{name}", grip')
    if "hand" in grip:
        ends = [spot(machine, name, k, unit) for k in grip["along"]]
        along = direction([b - a for a, b in zip(*ends, strict=True)])
        read_solids(machine, name, {"hand": grip["hand"]}, unit)
        machine.solids[f"{name}/hand"]["turned"] = ends[0], along, -float(grip.get("clocking", 0))


def read_points(machine: Machine, name: str, points: dict, unit: float) -> None:
    """Keep points of a part, built up along their bolts."""
    for point, told in points.items():
        item = told if isinstance(told, dict) else {"at": told}
        keys_known("point", item, f'point "{name}/{point}"')
        at = place(item["at"], unit)
        if item.get("stack"):
            bolt = direction(item["bolt"])
            rise = sum(size(next(iter(k.values())), unit) / 2 if isinstance(k, dict)
                       else size(k, unit) for k in item["stack"])
            lead = sum(a * b for a, b in zip(bolt, SIDES[item["side"]], strict=True))
            at = tuple(a + math.copysign(rise, lead) * u for a, u in zip(at, bolt, strict=True))
        machine.points[f"{name}/{point}"] = at
        machine.off[f"{name}/{point}"] = off_by(item, machine.off[name], unit)


def spot(machine: Machine, name: str, value: object, unit: float) -> tuple:
    """A place, or where a named point is."""
    if not isinstance(value, str):
        return place(value, unit)
    return machine.points[value if "/" in value else f"{name}/{value}"]


def read_solids(machine: Machine, name: str, solids: dict, unit: float) -> None:
    """Keep solids, every length in mm and every named point looked up."""
    for solid, shape in solids.items():
        told = f'solid "{name}/{solid}"'
        if shape.get("kind") not in ("sphere", "tube", "pipe", "box", "plate", "washer"):
            raise Refused(f'{told}: the checker does not know the kind "{shape.get("kind")}"')
        keys_known(shape["kind"], shape, told)
        made = {word: in_mm(machine, name, (word, value), unit) for word, value in shape.items()}
        if shape["kind"] == "washer":
            made.setdefault("inside", 0.0)
        made["holes"] = [in_plane(hole, unit, told) for hole in shape.get("holes", [])]
        machine.solids[f"{name}/{solid}"] = made
        named = [k if "/" in k else f"{name}/{k}" for k in (shape.get("at"), *shape.get(
            "along", ())) if isinstance(k, str)]
        machine.loose[f"{name}/{solid}"] = machine.off[name] + max(
            (machine.off[k] for k in named), default=0.0)


def in_mm(machine: Machine, name: str, told: tuple, unit: float) -> object:
    """A value of a solid in mm, by its key."""
    word, value = told
    if word in ("at", "corner", "opposite"):
        return spot(machine, name, value, unit)
    if word in ("diameter", "outside", "inside", "thickness"):
        return not_below_0(value, unit)
    if word in ("normal", "u"):
        return direction(value)
    if word == "along":
        return [spot(machine, name, k, unit) for k in value]
    return [place(corner, unit) for corner in value] if word == "outline" else value


def in_plane(hole: dict, unit: float, told: str) -> dict:
    """A cut-out in mm: the two ends of its middle line and its width, or its outline."""
    keys_known("hole", hole, told)
    if "outline" in hole:
        return {"outline": [place(corner, unit) for corner in hole["outline"]]}
    ends = hole["slot"] if "slot" in hole else [hole["at"]] * 2
    return {"ends": [place(k, unit) for k in ends], "diameter": not_below_0(hole["diameter"], unit)}


def read_rod(machine: Machine, name: str, rod: dict, home: tuple) -> None:
    """Keep a rod and its solid."""
    table, unit = home
    keys_known("rod", rod, f'rod "{name}"')
    ends = tuple(rod["ends"])
    a, b = (machine.points[end] for end in ends)
    length = size(rod["length"], unit) if "length" in rod else math.dist(a, b)
    fitted = rod.get("fitted", [])
    fitted = [fitted] if isinstance(fitted, dict) else fitted
    reach = [head_size(rod, fitted[min(k, len(fitted) - 1)] if fitted else None, home)
             for k in (0, 1)]
    machine.rods[name] = Rod(ends, length, bool(rod.get("redundant")), reach,
                             off_by(rod, machine.general["rod"], unit))
    if "diameter" in rod:
        machine.loose[f"{name}/tube"] = machine.general["hardpoint"]
        machine.solids[f"{name}/tube"] = {"kind": "rod",
                                            "diameter": not_below_0(rod["diameter"], unit)} \
            | ({"clearance": rod["clearance"]} if "clearance" in rod else {})


def head_size(rod: dict, fitted: dict | None, home: tuple) -> float | None:
    """Radius about a rod's end within which it is meant to touch; None where the file has none."""
    table, unit = home
    head = {}
    if fitted is not None:
        keys_known("fitted", fitted, "fitted")
        head = table["rod_end"][fitted["rod_end"]]
        keys_known("rod_end", head, f'rod_end "{fitted["rod_end"]}"')
    if "joint" in rod:
        return size(rod["joint"], unit)
    if "shank" not in head:
        return None
    return max(size(head["shank"], unit) - size(fitted.get("engaged", 0.0), unit),
               size(head.get("sphere", 0.0), unit) / 2)


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
