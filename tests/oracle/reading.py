"""A model file read by hand: TOML to plain numbers in mm and radians, twins written out."""

import copy
import math
import tomllib
from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np

NAMED = {"lateral": (0.0, 1.0, 0.0), "fore-aft": (-1.0, 0.0, 0.0), "vertical": (0.0, 0.0, 1.0)}
INCH = 25.4
HARDPOINT, ROD = "hardpoint", "rod"


@dataclass
class Joint:
    """How a body rides on what carries it."""

    on: str
    pivot: np.ndarray
    axis: np.ndarray
    slides: bool
    through: np.ndarray | None = None


@dataclass
class Machine:
    """Everything that moves, in mm at neutral."""

    unit: float
    inputs: dict = field(default_factory=dict)
    drives: dict = field(default_factory=dict)
    joints: dict = field(default_factory=dict)
    points: dict = field(default_factory=dict)
    rods: dict = field(default_factory=dict)
    couplings: dict = field(default_factory=dict)
    solids: dict = field(default_factory=dict)
    stops: dict = field(default_factory=dict)
    rules: dict = field(default_factory=dict)
    tolerance: dict = field(default_factory=dict)

    def chain(self, body):
        """A body and all that carries it, down to but without the airframe."""
        chain = []
        while body != "airframe":
            chain.append(body)
            body = self.joints[body].on
        return chain


def direction(value):
    v = np.array(NAMED[value] if isinstance(value, str) else value, dtype=float)
    return v / np.linalg.norm(v)


def read(text):
    """The machine that a model file describes."""
    table = tomllib.loads(text)
    table = with_twins(table)
    machine = Machine(INCH if table["length"] == "in" else 1.0)
    for name, item in table.get("input", {}).items():
        machine.inputs[name] = tuple(plain(k, item, machine.unit) for k in item["travel"])
    for name, body in table.get("body", {}).items():
        read_body(machine, name, body)
        if "input" in body:
            positive = table["input"][body["input"]].get("positive")
            machine.drives[name] = body["input"], sense(body["input"], positive,
                                                        machine.joints[name])
    fixed = table.get("airframe", {})
    read_points(machine, "airframe", fixed.get("points", {}))
    read_solids(machine, "airframe", fixed.get("solid", {}))
    for name, rod in table.get("rod", {}).items():
        read_rod(machine, name, rod)
    for name, item in table.get("coupling", {}).items():
        machine.couplings[name] = tuple(item["bodies"]), float(item["ratio"])
    machine.stops = table.get("stop", {})
    machine.rules = {frozenset(item["between"]): item for item in table.get("pair", [])}
    general = table.get("tolerance", {})
    machine.tolerance |= {HARDPOINT: size(general.get(HARDPOINT, 0.0), machine.unit),
                          ROD: size(general.get(ROD, 0.0), machine.unit)}
    return machine


def plain(value, item, unit):
    """An end of a travel: degrees, or mm where it is written as a length."""
    return size(value, unit) if isinstance(value, str) or "grip" in item else float(value)


def read_body(machine, name, body):
    slides = "slide" in body
    if "pivot" in body:
        pivot = place(body["pivot"], machine.unit)
    else:
        read_points(machine, name, body["points"])
        pivot = machine.points[f"{name}/{next(iter(body['points']))}"]
    through = None
    if "through" in body:
        through = place(body["through"], machine.unit)
        axis = direction(through - pivot)
    else:
        axis = direction(body["slide"] if slides else body["axis"])
    machine.joints[name] = Joint(body.get("on", "airframe"), pivot, axis, slides, through)
    machine.points[f"{name}/pivot"] = pivot
    if "tolerance" in body:
        machine.tolerance[name] = size(body["tolerance"], machine.unit)
    read_points(machine, name, body.get("points", {}))
    read_solids(machine, name, body.get("solid", {}))
    if "hand" in body.get("grip", {}):
        read_hand(machine, name, body["grip"])


def read_points(machine, name, points):
    for point, told in points.items():
        item = told if isinstance(told, dict) else {"at": told}
        if "tolerance" in item:
            machine.tolerance[f"{name}/{point}"] = size(item["tolerance"], machine.unit)
        at = place(item["at"], machine.unit)
        if "stack" in item:
            bolt = direction(item["bolt"])
            rise = sum(size(next(iter(k.values())), machine.unit) / 2 if isinstance(k, dict)
                       else size(k, machine.unit) for k in item["stack"])
            at = at + np.sign(bolt @ SIDES[item["side"]]) * rise * bolt
        machine.points[f"{name}/{point}"] = at


def size(value, unit):
    """A length of the file in mm: bare in the file's unit, or with its own."""
    if not isinstance(value, str):
        return unit * value
    number, own = value.rsplit(" ", 1)
    size = float(sum(Fraction(k) for k in number.replace("-", " ").split()))
    return size * (INCH if own == "in" else 1.0)


def place(value, unit):
    return np.array([size(k, unit) for k in value], dtype=float)


def read_solids(machine, name, solids):
    for solid, shape in solids.items():
        machine.solids[f"{name}/{solid}"] = in_mm(machine, name, shape)


def in_mm(machine, name, shape):
    """A solid's table with every place and size in mm, named points looked up."""
    unit, made = machine.unit, dict(shape)
    for word in ("at", "corner", "opposite"):
        if word in made:
            made[word] = spot(machine, name, made[word])
    if "along" in made:
        made["along"] = [spot(machine, name, k) for k in made["along"]]
    for word in ("diameter", "outside", "inside", "thickness"):
        if word in made:
            made[word] = size(made[word], unit)
    for word in ("normal", "u"):
        if word in made:
            made[word] = direction(made[word])
    if "outline" in made:
        made["outline"] = [place(corner, unit) for corner in made["outline"]]
    made["holes"] = [in_plane(hole, unit) for hole in made.get("holes", [])]
    return made


def in_plane(hole, unit):
    """A cut-out in mm: the two ends of its middle line and its width, or its outline."""
    if "outline" in hole:
        return {"outline": [place(corner, unit) for corner in hole["outline"]]}
    ends = hole.get("slot", [hole["at"]] * 2 if "at" in hole else None)
    return {"ends": [place(k, unit) for k in ends], "diameter": size(hole["diameter"], unit)}


def spot(machine, name, value):
    return machine.points[f"{name}/{value}"] if isinstance(value, str) else \
        place(value, machine.unit)


def read_hand(machine, name, grip):
    """The room of the hand, turned clockwise as seen from the grip's top by its clocking."""
    shape = in_mm(machine, name, grip["hand"])
    ends = [spot(machine, name, k) for k in grip["along"]]
    turn = -math.radians(grip.get("clocking", 0.0))
    machine.solids[f"{name}/hand"] = shape | {"turned": (ends[0], direction(ends[1] - ends[0]),
                                                         turn)}


def read_rod(machine, name, rod):
    ends = tuple(rod["ends"])
    drawn = np.linalg.norm(machine.points[ends[0]] - machine.points[ends[1]])
    length = size(rod["length"], machine.unit) if "length" in rod else float(drawn)
    machine.rods[name] = ends, length
    if "tolerance" in rod:
        machine.tolerance[name] = size(rod["tolerance"], machine.unit)
    if "diameter" in rod:
        machine.solids[f"{name}/tube"] = {"kind": "rod",
                                          "diameter": size(rod["diameter"], machine.unit)}


def sense(name, positive, joint):
    """+1 where the positive input turns right-hand about the axis as written."""
    if positive is not None:
        return 1.0 if positive == "along axis" else -1.0
    if joint.slides or name not in ("pitch", "roll"):
        return 1.0
    lead = joint.axis[1] if name == "pitch" else -joint.axis[0]
    return 1.0 if lead > 0 else -1.0


def with_twins(table):
    """The table with the twin across BL 0 of every part that has a mirrored word in its name."""
    swap = {}
    for one, other in table.get("mirror", {}).items():
        swap |= {one: other, other: one}
    made = copy.deepcopy(table)
    if not swap:
        return made
    for group in ("body", "rod", "coupling", "stop"):
        for name, part in table.get(group, {}).items():
            twin = other_name(name, swap)
            if twin != name:
                made[group].setdefault(twin, twin_of(group, part, swap, table))
            elif group == "body":
                own_twins(made[group][name], part, swap)
    own_twins(made.get("airframe", {}), table.get("airframe", {}), swap)
    return made


def own_twins(made, part, swap):
    for group in ("points", "solid"):
        for name, item in part.get(group, {}).items():
            twin = other_name(name, swap)
            if twin != name:
                made[group].setdefault(twin, across("at" if group == "points" else "shape", item,
                                                       swap))


def other_name(name, swap):
    parts = []
    for part in name.split("/"):
        words = part.split(" ")
        parts.append(" ".join(swap.get(w, w) for w in words))
    return "/".join(parts)


PLACES = ("pivot", "through", "at", "corner", "opposite", "along", "bearings")
NAMES = ("on", "ends", "bodies", "between")
SIDES = {"right": (0, 1, 0), "left": (0, -1, 0), "aft": (1, 0, 0), "forward": (-1, 0, 0),
         "up": (0, 0, 1), "down": (0, 0, -1)}


def across(word, value, swap):
    """A value of the file as its mirror image has it; `word` is its key."""
    if isinstance(value, dict):
        names = word in ("points", "solid")
        return {other_name(k, swap) if names else k:
                across("at" if word == "points" else k, v, swap) for k, v in value.items()}
    if word in ("axis", "normal", "slide", "u", "bolt"):
        x, y, z = NAMED[value] if isinstance(value, str) else value
        return [-x, y, -z] if word in ("axis", "normal") else [x, -y, z]
    if word in PLACES or word in NAMES:
        return placed_across(value, swap)
    if word == "side":
        return {"left": "right", "right": "left"}.get(value, value)
    return -value if word == "clocking" else value


def placed_across(value, swap):
    if isinstance(value, str):
        return other_name(value, swap)
    if isinstance(value[0], (list, str)) and not (len(value) == 3 and is_place(value)):
        return [placed_across(k, swap) for k in value]
    return [value[0], negative(value[1]), value[2]] if len(value) == 3 else value


def is_place(value):
    return all(not isinstance(k, list) and (not isinstance(k, str) or k[-2:] in ("in", "mm"))
               for k in value)


def negative(value):
    return f"-{value}" if isinstance(value, str) else -value


def twin_of(group, part, swap, table):
    twin = {k: across(k, v, swap) for k, v in part.items()}
    if group == "body" and "through" in part:
        # the twin's axis is the mirrored axis, turned end for end as every turning axis is
        (x, y, z), (a, b, c) = part["pivot"], part["through"]
        twin["through"] = [2 * x - a, b - 2 * y, 2 * z - c]
    if group == "stop":
        for body in table["body"].values():
            if body.get("input") == part["input"] and turns_back(body):
                twin["side"] = "least" if part["side"] == "greatest" else "greatest"
    if group == "coupling":
        for name in part["bodies"]:
            if other_name(name, swap) == name and turns_back(table["body"][name]):
                twin["ratio"] = -twin["ratio"]
    return twin


def turns_back(body):
    """Whether a central body's motion is reversed in the mirror."""
    if "slide" in body:
        x, y, z = direction(body["slide"])
        return (x * x - y * y + z * z) < 0
    axis = body["axis"] if "axis" in body else np.subtract(body["through"], body["pivot"])
    x, y, z = direction(axis)
    return (-x * x + y * y - z * z) < 0
