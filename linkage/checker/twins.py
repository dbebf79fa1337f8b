"""The twins across BL 0 of the parts of a model file that have a mirrored word in their names."""

from __future__ import annotations

import copy

from .formats import KINDS, across, other_name
from .lengths import AIRFRAME
from .vectors import dot, minus


def with_twins(table: dict) -> dict:
    """The table (in mm) with the twin of every part that has a mirrored word in its name."""
    swap = dict(table.get("mirror", {}))
    swap |= {there: here for here, there in table.get("mirror", {}).items()}
    made = copy.deepcopy(table)
    for group in ("body", "rod", "coupling", "stop", "surface"):
        for name, part in table.get(group, {}).items():
            twin = other_name(name, swap)
            if twin != name:
                made[group].setdefault(twin, twin_of(group, part, swap, table))
            elif group == "body":
                own_twins(made[group][name], part, swap)
    own_twins(made.get(AIRFRAME, {}), table.get(AIRFRAME, {}), swap)
    return made


def own_twins(made: dict, part: dict, swap: dict) -> None:
    """Twins of a central part's own points and solids."""
    for group in ("points", "solid"):
        for name, item in across(KINDS["body"][group], part.get(group, {}), swap).items():
            made[group].setdefault(name, item)


def twin_of(group: str, part: dict, swap: dict, table: dict) -> dict:
    """The twin of a part."""
    twin = across(group, part, swap)
    if group == "body" and "through" in part:  # its axis is turned end for end as turning axes are
        (x, y, z), (a, b, c) = part["pivot"], part["through"]
        twin["through"] = 2 * x - a, b - 2 * y, 2 * z - c
    for one, other in driving(group, part, swap, table["body"]):
        if runs_against(one, other) and group == "stop":
            twin["side"] = "least" if twin["side"] == "greatest" else "greatest"
        elif runs_against(one, other):
            twin["ratio"] = -twin["ratio"]
    return twin


def driving(group: str, part: dict, swap: dict, bodies: dict) -> list:
    """Bodies, with their twins, whose motion says which way a stop's or coupling's twin goes."""
    if group == "stop":
        pair = [next((body for body in bodies.values() if body.get("input") == name), None)
                for name in (part["input"], other_name(part["input"], swap))]
        return [] if None in pair else [pair]
    pairs = [(name, other_name(name, swap)) for name in part.get("bodies", ())]
    return [(bodies[k], bodies[twin]) for k, twin in pairs
            if group == "coupling" and {k, twin} <= bodies.keys()]


def runs_against(body: dict, other: dict) -> bool:
    """Whether the mirror image of how one body moves runs against how the other one does."""
    image = across("way" if "slide" in body else "axis", way_of(body), {})
    return dot(image, way_of(other)) < 0


def way_of(body: dict) -> tuple:
    """Along what a body slides or turns."""
    ways = [body[word] for word in ("slide", "axis") if word in body]
    return ways[0] if ways else minus(body["through"], body["pivot"])
