"""The twin of a part across butt line 0.

A point (x, y, z) goes to (x, -y, z); a turning axis (x, y, z) to (-x, y, -z), so that the same
turn of the twin about its own axis is the mirror image of the turn.
"""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

from .fittings import RigPin
from .keys import (
    AXES,
    Direction,
    Either,
    Label,
    ListOf,
    OneOfRecords,
    Position,
    Record,
    TableOf,
    Text,
    at,
    file_keys,
)
from .parts import BACK, UPRIGHT, Airframe, Body, Coupling, Require, Stop, Surface
from .shapes import Point
from .springs import Spring
from .strength import Servo
from .surfaces import Mesh, Section

if TYPE_CHECKING:
    from .whole import Model

# Key of the file: attribute.
MIRRORED = {"body": "bodies", "rod": "rods", "coupling": "couplings", "surface": "surfaces",
            "stop": "stops", "wire": "wires", "rig_pin": "rig_pins", "joint": "joints",
            "weld": "welds", "bolting": "boltings", "servo": "servos", "spring": "springs"}
SWAPS = {"left": "right", "right": "left"}
OPPOSITE = {**SWAPS, "up": "down", "down": "up"}
REVERSED = {"clocking"}  # turns counted about a line of the part itself
TWIN_WITHIN = 1e-6  # mm, degrees: what differs by no more is the same number typed twice
TURNING = {"axis", "normal"}  # a plate's normal too: its outline then keeps its own order


def with_twins(parts: dict) -> dict:
    """Parts of a model with the twin of every part whose name has a mirrored word.

    Parameters
    ----------
    parts : dict
        Attributes of a `Model`, before it is made.

    Returns
    -------
    dict
        The same with twins added; a twin that is written out stays as written.
    """
    pairs = list(parts.get("mirror", {}).items())
    for word, other in pairs:
        with at(f'mirror, word "{word}"'):
            Text().check(other)
    names = [*pairs, *((there, here) for here, there in pairs)]
    done = dict(parts)
    for group in MIRRORED.values():
        table = dict(parts.get(group, {}))
        for name, part in parts.get(group, {}).items():
            twin = _renamed(name, names)
            if twin != name:
                table.setdefault(twin, _twin(part, names, parts))
            elif isinstance(part, Body):
                table[name] = _with_own_twins(part, names)
        done[group] = table
    done["airframe"] = _with_own_twins(parts.get("airframe", Airframe()), names)
    return done


def differing_twins(model: Model) -> list[tuple[str, str, tuple[str, ...]]]:
    """Twins that are both written out and are no mirror image of each other.

    Parameters
    ----------
    model : Model

    Returns
    -------
    list of (str, str, tuple of str)
        Both names, and the keys in which they differ; a line that runs the other way is no
        difference.
    """
    pairs = list(model.mirror.items())
    names = [*pairs, *((there, here) for here, there in pairs)]
    differing = []
    for table, home, parts in _tables_of(model):
        twins = [(name, _renamed(name, names)) for name in table]
        for name, twin in twins:
            if twin in table and twin > name:
                keys = _unlike(_twin(table[name], names, parts), table[twin])
                differing += [(home + name, home + twin, keys)] if keys else []
    return differing


def _tables_of(model):
    """Every table of parts, what stands before their names, and the tables they belong with."""
    parts = {field.name: getattr(model, field.name) for field in dataclasses.fields(model)}
    for group in MIRRORED.values():
        yield getattr(model, group), "", parts
    for home, part in (("airframe", model.airframe), *model.bodies.items()):
        for group in ("points", "solids"):
            yield getattr(part, group), f"{home}/", {}


def _unlike(image, part) -> tuple[str, ...]:
    """Keys of the file in which two parts differ."""
    if type(image) is not type(part):
        return ("kind",)
    return tuple(word for word, field in file_keys(type(part)).items()
                 if not _alike(getattr(image, field.name), getattr(part, field.name),
                               isinstance(field.metadata["kind"], Direction)))


def _alike(one, other, either_way=False) -> bool:
    if either_way and None not in (one, other):
        return _along_one_line(one, other)
    if dataclasses.is_dataclass(one):
        return type(one) is type(other) and not _unlike(one, other)
    for kinds, alike in ((dict, _entries_alike), (tuple | list, _items_alike),
                         (float | int, _sizes_alike)):
        if isinstance(one, kinds) and isinstance(other, kinds):
            return alike(one, other)
    return one == other


def _along_one_line(one, other) -> bool:
    """Whether two directions are the same, or the one the other's way back."""
    one, other = (AXES[v] if isinstance(v, str) else v for v in (one, other))
    return _alike(one, other) or _alike(tuple(-k for k in one), other)


def _entries_alike(one: dict, other: dict) -> bool:
    return one.keys() == other.keys() and all(_alike(one[k], other[k]) for k in one)


def _items_alike(one, other) -> bool:
    return len(one) == len(other) and all(map(_alike, one, other))


def _sizes_alike(one: float, other: float) -> bool:
    return abs(one - other) <= TWIN_WITHIN


def twin_name(name: str, mirror: dict) -> str:
    """Name of the twin of a part or point; the name itself where it has no mirrored word.

    Examples
    --------
    >>> twin_name("roll crank/out left", {"left": "right"})
    'roll crank/out right'
    """
    pairs = list(mirror.items())
    return _renamed(name, [*pairs, *((there, here) for here, there in pairs)])


def _renamed(name: str, names) -> str:
    """Name of the twin: every mirrored word as a whole word, swapped."""
    words = []
    for field in name.split("/"):
        swap = dict(names)
        words.append(_swapped(field, swap))
    return "/".join(words)


def _swapped(text: str, swap: dict) -> str:
    for here, there in swap.items():
        padded = f" {text} "
        if f" {here} " in padded:
            return padded.replace(f" {here} ", f" {there} ")[1:-1]
    return text


def _with_own_twins(part, names):
    """A central part with the twins of its own points and solids."""
    grown = {}
    for group in ("points", "solids"):
        table = dict(getattr(part, group))
        for name, item in getattr(part, group).items():
            twin = _renamed(name, names)
            if twin != name:
                table.setdefault(twin, _twin(item, names, {}))
        grown[group] = table
    return dataclasses.replace(part, **grown)


def _twin(part, names, parts):
    values = {}
    for word, field in file_keys(type(part)).items():
        value = getattr(part, field.name)
        values[field.name] = value if value is None else -value if word in REVERSED else \
            _mirrored(field.metadata["kind"], value, word, names)
    if type(part) in SENSES:
        values |= SENSES[type(part)](part, values, names, parts)
    return type(part)(**values)


def _other_hole_side(point, values, names, parts):
    return {"side": SWAPS.get(point.side, point.side)}


def _other_ways(require, values, names, parts):
    return {"left": require.right, "right": require.left}


def _other_end(stop, values, names, parts):
    if not _runs_backwards(stop.input, names, parts):
        return {}
    return {"side": "least" if stop.side == "greatest" else "greatest"}


def _other_position(pin, values, names, parts):
    return {"input": {_renamed(name, names): -at if _runs_backwards(name, names, parts) else at
                      for name, at in pin.input.items()}}


def _axis_through(body, values, names, parts):
    """The second point of an axis, which turns the other way round."""
    if body.through is None or body.pivot is None:
        return {}
    along = (b - a for a, b in zip(body.pivot, body.through, strict=True))
    return {"through": tuple(c + d * s for c, d, s in zip(values["pivot"], along, (-1, 1, -1),
                                                          strict=True))}


def _other_ratio(coupling, values, names, parts):
    """Each body whose twin runs against its mirror image changes the sign."""
    turned = sum(_twin_against(name, names, parts) for name in coupling.bodies)
    return {"ratio": values["ratio"] * (-1) ** turned}


def _other_turn(spring, values, names, parts):
    """A spring in the pivot of a body whose twin runs against its mirror image."""
    if not _twin_against(spring.pivot, names, parts):
        return {}
    back = {word: -getattr(spring, word) for word in ("free_angle", "preload")
            if getattr(spring, word) is not None}
    return back | ({} if spring.table is None else {
        "table": tuple((-at, -moment) for at, moment in spring.table[::-1])})


def _other_arm_travel(servo, values, names, parts):
    """How far an arm turns whose twin runs against its mirror image."""
    if servo.travel is None or not _twin_against(servo.body, names, parts):
        return {}
    least, greatest = servo.travel
    return {"travel": (-greatest, -least)}


def _other_moves(surface, values, names, parts):
    return {"moves": {_renamed(name, names): _other_way(way, _runs_backwards(name, names, parts))
                      for name, way in surface.moves.items()}}


def _other_way(way: str, backwards: bool) -> str:
    """Way of the twin's edge: an upright hinge swaps sides, an input that runs backwards turns."""
    first = way.removesuffix(BACK)
    if (first in UPRIGHT) != backwards:
        *ahead, word = first.split()
        first = " ".join([*ahead, OPPOSITE[word]])
    return first + way[len(way.removesuffix(BACK)):]


def _other_hand(mesh, values, names, parts):
    return {"mirrored": not mesh.mirrored}


def _other_breadths(section, values, names, parts):
    """The places in the same order, which runs the other way round."""
    return {"points": section.points and tuple((-b, w) for b, w in section.points)}


SENSES = {Point: _other_hole_side, Mesh: _other_hand, Section: _other_breadths,
          Require: _other_ways, Stop: _other_end, RigPin: _other_position,
          Surface: _other_moves, Body: _axis_through, Spring: _other_turn,
          Servo: _other_arm_travel, Coupling: _other_ratio}  # what a mirror swaps besides places


def _mirrored(kind, value, word: str, names):
    """A value of a key across butt line 0, by its kind."""
    if isinstance(kind, Label):
        return value
    if isinstance(kind, Direction):
        x, y, z = AXES[value] if isinstance(value, str) else value
        return (-x, y, -z) if word in TURNING else (x, -y, z)
    if isinstance(value, str):
        return _renamed(value, names)
    if isinstance(kind, Either):
        return _mirrored(kind.fitting(value), value, word, names)
    if isinstance(kind, Position):
        x, y, z = value
        return (x, -y, z)
    return _mirrored_parts(kind, value, word, names)


def _mirrored_parts(kind, value, word: str, names):
    """What holds other values, each of them mirrored; anything else as it is."""
    if dataclasses.is_dataclass(value) or isinstance(kind, (Record, OneOfRecords)):
        return _twin(value, names, {})
    if isinstance(kind, TableOf):
        return {_renamed(name, names): _mirrored(kind.kind, item, word, names)
                for name, item in value.items()}
    if isinstance(kind, ListOf):
        return tuple(_mirrored(kind.kind, item, word, names) for item in value)
    return value


def _runs_backwards(input_name: str, names, parts) -> bool:
    """Whether the mirrored system moves an input's twin the other way (roll so, pitch not).

    The twin of an input of one side is the other side's, which mostly runs alike.
    """
    bodies = parts.get("bodies", {}).values()
    one, other = (next((body for body in bodies if body.input == name), None)
                  for name in (input_name, _renamed(input_name, names)))
    return None not in (one, other) and _runs_against(one, other)


def _twin_against(name: str | None, names, parts) -> bool:
    """Whether a body's twin, as it is written out, runs against the body's mirror image."""
    bodies = parts.get("bodies", {})
    one, other = bodies.get(name), name and bodies.get(_renamed(name, names))
    return None not in (one, other) and _runs_against(one, other)


def _runs_against(body, other) -> bool:
    """Whether the mirror image of how one body moves runs against how the other one does."""
    across = (1, -1, 1) if body.slides else (-1, 1, -1)
    return sum(a * b * s for a, b, s in zip(body.direction, other.direction, across,
                                            strict=True)) < 0
