"""The twins across BL 0 of the parts of a model file that have a mirrored word in their names."""

from __future__ import annotations

import copy

from .lengths import AIRFRAME, NAMED, UNITS, direction, place


def with_twins(table: dict) -> dict:
    """The table with the twin across BL 0 of every part that has a mirrored word in its name."""
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
        for name, item in part.get(group, {}).items():
            twin = other_name(name, swap)
            if twin != name:
                made[group].setdefault(twin, across("at" if group == "points" else "shape", item,
                                                    swap))


def other_name(name: str, swap: dict) -> str:
    """Name of the twin."""
    parts = []
    for part in name.split("/"):
        held = f" {part} "
        word = next((k for k in swap if f" {k} " in held), None)
        parts.append(part if word is None else held.replace(f" {word} ", f" {swap[word]} ")[1:-1])
    return "/".join(parts)


PLACES = ("pivot", "through", "at", "corner", "opposite", "along", "bearings")
NAMES = ("on", "ends", "bodies", "between")


def across(word: str, value: object, swap: dict) -> object:
    """A value of the file as its mirror image has it; `word` is its key."""
    if word in ("holes", "fitted", "outline"):
        return value
    if isinstance(value, dict):
        return table_across(word, value, swap)
    if word in ("axis", "normal", "slide", "u", "bolt"):
        return way_across(value, word in ("axis", "normal"))
    if word in PLACES or word in NAMES or word == "clearance":
        return placed_across(value, swap)
    return word_across(word, value, swap)


def word_across(word: str, value: object, swap: dict) -> object:
    """A single word or number as the mirror has it."""
    if word == "side":
        return {"left": "right", "right": "left"}.get(value, value)
    if word == "input":
        return other_name(value, swap)
    return -value if word == "clocking" else value


def table_across(word: str, table: dict, swap: dict) -> dict:
    """A table of the file as the mirror has it."""
    names = word in ("points", "solid")
    return {other_name(k, swap) if names else k:
            across("at" if word == "points" else k, v, swap) for k, v in table.items()}


def way_across(value: object, turning: bool) -> list:
    """A direction as the mirror has it; a turning one keeps its sense of turn."""
    x, y, z = NAMED[value] if isinstance(value, str) else value
    return [-x, y, -z] if turning else [x, -y, z]


def placed_across(value: object, swap: dict) -> object:
    """Places and names as the mirror has them."""
    if isinstance(value, str):
        return other_name(value, swap)
    if len(value) == 3 and not any(isinstance(k, list) for k in value) and all(
            not isinstance(k, str) or k[-2:] in UNITS for k in value):
        return [value[0], other_side(value[1]), value[2]]
    return [placed_across(k, swap) for k in value]


def other_side(y: object) -> object:
    """A butt line as the mirror has it."""
    if not isinstance(y, str):
        return -y
    y = y.strip()
    return y[1:] if y.startswith("-") else f"-{y.removeprefix('+')}"


def twin_of(group: str, part: dict, swap: dict, table: dict) -> dict:
    """The twin of a part."""
    if group == "surface":
        return {"body": other_name(part["body"], swap)}
    twin = {k: across(k, v, swap) for k, v in part.items()}
    if group == "body" and "through" in part:
        twin["through"] = far_end(part, UNITS[table["length"]])
    for one, other in driving(group, part, swap, table):
        if runs_against(one, other, table):
            reverse(group, twin)
    return twin


def driving(group: str, part: dict, swap: dict, table: dict) -> list:
    """Bodies, with their twins, whose motion says which way a stop's or coupling's twin goes."""
    if group == "stop":
        pair = (driven(part["input"], table), driven(other_name(part["input"], swap), table))
        return [] if None in pair else [pair]
    pairs = [(name, other_name(name, swap)) for name in part.get("bodies", ())]
    bodies = table["body"] if group == "coupling" else {}
    return [(bodies[k], bodies[twin]) for k, twin in pairs if {k, twin} <= bodies.keys()]


def driven(name: str, table: dict) -> dict | None:
    """The first body that an input drives."""
    return next((body for body in table["body"].values() if body.get("input") == name), None)


def far_end(part: dict, unit: float) -> list:
    """Second point of a twin's axis: the mirrored axis, turned end for end as turning axes are."""
    (x, y, z), (a, b, c) = (place(part[k], unit) for k in ("pivot", "through"))
    return [f"{k!r} mm" for k in (2 * x - a, b - 2 * y, 2 * z - c)]


def reverse(group: str, twin: dict) -> None:
    """Turn round the twin of what moves against its mirror image."""
    if group == "stop":
        twin["side"] = "least" if twin["side"] == "greatest" else "greatest"
    else:
        twin["ratio"] = -twin["ratio"]


def runs_against(body: dict, other: dict, table: dict) -> bool:
    """Whether the mirror image of how one body moves runs against how the other one does."""
    (x, y, z), (a, b, c) = (way_of(k, table) for k in (body, other))
    return (x * a - y * b + z * c) * (1 if "slide" in body else -1) < 0


def way_of(body: dict, table: dict) -> list:
    """Along what a body slides or turns."""
    for word in ("slide", "axis"):
        if word in body:
            return direction(body[word])
    ends = (place(body[word], UNITS[table["length"]]) for word in ("pivot", "through"))
    return direction([b - a for a, b in zip(*ends, strict=True)])
