"""Which way an input's positive end goes, read from its parts as drawn: no motion is worked out."""

from __future__ import annotations

import re

import numpy as np

from ..model import SENSES, Model
from ..motion import body_of, input_sign

LEFT = {"left", "l", "lh", "port"}
RIGHT = {"right", "r", "rh", "starboard"}
FEET = {"yaw", "pedal", "pedals", "foot", "feet", "rudder"}
HELD = {"grip", "handle", "knob", "lever", "pedal", "foot"}
LINES = (("forward", "aft"), ("left", "right"), ("down", "up"))  # along -/+ FS, BL, WL
CLEAR = 0.8  # least share of a movement along one line for it to be called by that line
UPRIGHT_AXIS = 0.8  # least share of WL in the axis of a foot bar
PEDAL_WAYS = ("left pedal forward", "right pedal forward")


def words_of(name: str) -> set:
    """The words of a shop's name, small letters, run-together digits left out.

    Examples
    --------
    >>> sorted(words_of("Pedal-LEFT 2"))
    ['left', 'pedal']
    """
    return set(re.findall(r"[^\W\d_]+", name.lower()))


def side_word(name: str) -> int:
    """+1 where a name says right, -1 left, 0 neither or both."""
    words = words_of(name)
    return bool(words & RIGHT) - bool(words & LEFT)


def is_pedals(model: Model, name: str) -> bool:
    """Whether an input is what the feet move: its own name says so, or its part's."""
    driven = driven_body(model, name)
    return name not in SENSES and bool(words_of(name) & FEET or
                                       driven is not None and words_of(driven) & FEET - {"rudder"})


def driven_body(model: Model, name: str) -> str | None:
    """The body that an input drives."""
    return next((body for body, part in model.bodies.items() if part.input == name), None)


def input_ways(model: Model, name: str) -> tuple[str, str] | None:
    """What the least and the greatest end of an input are called, none where nobody can know.

    The file's own `ways` first; pitch and roll have theirs; pedals are named by the pedal that
    goes forward, a lever by the line its grip (a slide: itself) moves along.

    Parameters
    ----------
    model : Model
    name : str

    Returns
    -------
    (str, str) or None
    """
    if model.inputs[name].ways is not None:
        return model.inputs[name].ways
    if name in SENSES:
        return SENSES[name]
    if is_pedals(model, name):
        sense = drawn_pedals(model, name)
        return None if sense == 0 else PEDAL_WAYS[::sense]
    return _lever(model, name)


def pedal_sense(model: Model, name: str) -> int:
    """+1 where the positive end of an input is the right pedal forward, -1 the left, 0 unknown."""
    return drawn_pedals(model, name) or told_pedals(model, name)


def drawn_pedals(model: Model, name: str) -> int:
    """As `pedal_sense`, from the parts as drawn alone."""
    body = driven_body(model, name)
    if body is None or not is_pedals(model, name):
        return 0
    senses = set()
    for point in _held(model, body):
        ahead = _forward(velocity(model, name, point))
        side = side_word(point.split("/")[1]) or side_word(body)
        senses.add(side * ahead)
    senses.discard(0)
    if senses:
        return senses.pop() if len(senses) == 1 else 0
    part = model.bodies[body]
    if not part.slides and abs(part.direction[2]) > UPRIGHT_AXIS and not side_word(body):
        return int(np.sign(part.direction[2] * input_sign(model, name, body)))
    return 0


def told_pedals(model: Model, name: str) -> int:
    """From the file's own words: "right pedal forward" and no word of the other side or way."""
    ways = model.inputs[name].ways
    if ways is None or not is_pedals(model, name):
        return 0
    sides = [side_word(way) * (-1 if words_of(way) & {"aft", "back"} else 1) for way in ways]
    return sides[1] if sides[0] * sides[1] == -1 else 0


def _held(model, body):
    """Points that a hand or foot holds, on a body or on what rides on it."""
    riders = [b for b in model.bodies if body in (b, *model.carriers(b))]
    return [f"{b}/{point}" for b in riders for point in model.bodies[b].points
            if words_of(point) & HELD]


def velocity(model: Model, name: str, point: str | None = None) -> np.ndarray:
    """How a point starts to move for the positive end of an input, mm per radian (mm), (3,).

    Parameters
    ----------
    model : Model
    name : str
    point : str, optional
        ``"part/point"``; of a slide any.
    """
    body = driven_body(model, name)
    part, sign = model.bodies[body], input_sign(model, name, body)
    u = sign * np.array(part.direction)
    if part.slides:
        return u
    return np.cross(u, np.subtract(model.position(point), part.centre))


def _forward(way) -> int:
    size = float(np.linalg.norm(way))
    return 0 if not abs(way[0]) > CLEAR * size else int(-np.sign(way[0]))


def _lever(model, name):
    """Ways of a lever: what it is called, and the line it moves along."""
    body = driven_body(model, name)
    if body is None:
        return None
    point = model.inputs[name].grip or next(iter(_held(model, body)), None)
    if point is None and not model.bodies[body].slides:
        return None
    way = velocity(model, name, point)
    line = int(np.abs(way).argmax())
    if not abs(way[line]) > CLEAR * np.linalg.norm(way):
        return None
    words = LINES[line][::1 if way[line] > 0 else -1]
    called = body if point is None else body_of(point)
    return tuple(f"{called} {word}" for word in words)
