"""What sort of surface it is, which side it is on, and which way it has to go for each input.

A kind is read from the words of the surface's name, else of its body's name: one word of `NAMES`
decides, a tab before all else, two different ones decide nothing.  The side is that of the hinge
points' butt line, else of the name's own left or right.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..model import BACK, SENSES, is_rudder
from ..motion import System, hinge_sign
from .senses import input_ways, is_pedals, pedal_sense, side_word, words_of

NAMES = {"aileron": "aileron", "flaperon": "flaperon", "elevon": "elevon", "spoiler": "spoiler",
         "elevator": "elevator", "stabilator": "stabilator", "canard": "canard",
         "foreplane": "canard", "ruddervator": "v-tail", "vtail": "v-tail", "rudder": "rudder",
         "nosewheel": "nosewheel", "tailwheel": "tailwheel", "flap": "flap", "tab": "tab"}
TOGETHER = {("nose", "wheel"): "nosewheel", ("tail", "wheel"): "tailwheel", ("v", "tail"): "v-tail"}
UNSURE = {"trim", "servo", "balance", "anti", "antiservo", "inverted"}  # change what a name means
CENTRAL = 1.0  # mm from BL 0 within which a hinge has no side
LEVEL = 0.05  # least share of BL in a hinge that stands up for its edge to have an up
SLOPED = 0.05  # least fall or rise of a hinge, mm per mm of BL, for a V-tail to be one

EDGES = {"up": "trailing edge up", "down": "trailing edge down", "left": "trailing edge left",
         "right": "trailing edge right"}
# Right side, or either; for stick aft, stick right and right pedal forward.
RULES = {
    "pitch": {"elevator": "up", "stabilator": "up", "elevon": "up", "v-tail": "up",
              "inverted v-tail": "up", "canard": "down"},
    "roll": {"aileron": "up", "elevon": "up", "flaperon": "up", "spoiler": "up"},
    "pedals": {"rudder": "right", "tailwheel": "right", "nosewheel": "points right",
               "v-tail": "down", "inverted v-tail": "up"},
}
LOWERED = {"flap": "down", "flaperon": "down", "spoiler": "up"}  # by a lever of its own
HANDED = {"roll": {"aileron", "elevon", "flaperon", "spoiler"},
          "pedals": {"v-tail", "inverted v-tail"}}
NEEDED = {"elevator": ("pitch",), "stabilator": ("pitch",), "canard": ("pitch",),
          "elevon": ("pitch", "roll"), "aileron": ("roll",), "flaperon": ("roll",),
          "rudder": ("pedals",), "v-tail": ("pitch", "pedals"),
          "inverted v-tail": ("pitch", "pedals")}  # inputs that have to command it
STANDING = {"rudder", "nosewheel", "tailwheel"}  # kinds on a hinge that stands up
OPPOSITE = {"up": "down", "down": "up", "left": "right", "right": "left",
            "points right": "points left", "points left": "points right"}


@dataclass(frozen=True)
class Expected:
    """What a surface has to do for the positive end of an input.

    Attributes
    ----------
    way : str
        up, down, left, right (its trailing edge), points left or points right.
    sign : float
        Of its deflection for that.
    one_sided : bool
        A spoiler on the stick: for this end it does, for the other it stays down.
    back : bool
        Whether the file lets it turn back before the end of the travel.
    exception : str or None
        The file's reason, where this is not what the kind does.
    """

    way: str
    sign: float
    one_sided: bool = False
    back: bool = False
    exception: str | None = None


def kind_of(system: System, surface: str) -> str | None:
    """What sort of surface it is, as the file says or its name does; None where neither.

    Parameters
    ----------
    system : System
    surface : str

    Returns
    -------
    str or None
    """
    part = system.model.surfaces[surface]
    return part.kind or kind_word(surface) or kind_word(part.body)


def kind_word(name: str) -> str | None:
    """The kind that a name says.

    Examples
    --------
    >>> kind_word("aileron left"), kind_word("Elevator trim tab"), kind_word("flap or spoiler")
    ('aileron', 'tab', None)
    """
    words = words_of(name)
    kinds = {NAMES[w] for word in words for w in (word, word.removesuffix("s")) if w in NAMES}
    kinds |= {kind for pair, kind in TOGETHER.items() if words.issuperset(pair)}
    if "tab" in kinds:
        return "tab"
    return kinds.pop() if len(kinds) == 1 and not words & UNSURE else None


def side_of(system: System, surface: str) -> int:
    """+1 for a surface on the right, -1 on the left, 0 where nothing says."""
    drawn = drawn_side(system, surface)
    return drawn or side_word(surface) or side_word(system.model.surfaces[surface].body)


def drawn_side(system: System, surface: str) -> int:
    """Side of the points its hinge is given by, 0 on the centre line."""
    body = system.model.bodies[system.model.surfaces[surface].body]
    off = [point[1] for point in (body.pivot, body.through) if point is not None]
    middle = sum(off) / len(off)
    return 0 if abs(middle) <= CENTRAL else int(np.sign(middle))


def family_of(system: System, name: str) -> str | None:
    """What an input is to the rules: pitch, roll, pedals, lever (its own way only) or None."""
    if name in SENSES:
        return name
    if is_pedals(system.model, name):
        return "pedals"
    low, high = system.inputs[name].travel
    return "lever" if low == 0 or high == 0 else None


def expected(system: System, surface: str, name: str) -> Expected | str:
    """What a surface has to do for the positive end of an input.

    Parameters
    ----------
    system : System
    surface : str
    name : str
        The input.

    Returns
    -------
    Expected or str
        The sentence's end of why nothing can be expected, where it can't.
    """
    part = system.model.surfaces[surface]
    rule = _rule(system, surface, name)
    stated = part.moves.get(name)
    if stated is None:
        return rule
    way = stated.removesuffix(BACK)
    sign, back = sign_of(system, surface, way), stated.endswith(BACK)
    one_sided = kind_of(system, surface) == "spoiler" and name == "roll"
    if one_sided and way == "down":
        way = "up"
    usual = rule.sign == sign if isinstance(rule, Expected) else \
        not is_crossed(system, surface, name)
    reason = None if usual and not back else part.reason or ""
    return Expected(way, sign, one_sided, back, reason)


def is_crossed(system: System, surface: str, name: str) -> bool:
    """Whether an input of the stick or the pedals has no business with a kind of surface."""
    kind, family = kind_of(system, surface), family_of(system, name)
    return family in RULES and kind not in (None, "tab") and kind not in RULES[family]


def _rule(system, surface, name):
    """What the kind says, or why it says nothing."""
    kind, family = kind_of(system, surface), family_of(system, name)
    silent = _unruled(system, surface, kind)
    if silent:
        return silent
    if family == "lever" and kind in LOWERED:
        way = LOWERED[kind]
        sign = sign_of(system, surface, way)
        low, _ = system.inputs[name].travel
        return Expected(way, sign) if low == 0 else Expected(OPPOSITE[way], -sign)
    if family == "pedals" and pedal_sense(system.model, name) == 0:
        return "which pedal goes forward for plus is not known: say ways = " \
               '["left pedal forward", "right pedal forward"] on the input, or the other way round'
    way = RULES.get(family, {}).get(kind)
    return "no rule says what it should do" if way is None else \
        _sided(system, surface, name, way)


def _unruled(system, surface, kind) -> str | None:
    """Why no rule can hold for a surface, whatever moves it."""
    if kind is None:
        return "its name says no kind of surface"
    if kind == "tab":
        return "a tab moves as its file says"
    body = system.model.bodies[system.model.surfaces[surface].body]
    if "v-tail" not in kind and (kind in STANDING) != is_rudder(body):
        return f"its hinge line is not that of a kind of {kind}"
    return None


def _sided(system, surface, name, way):
    kind, family = kind_of(system, surface), family_of(system, name)
    one_sided = kind == "spoiler"
    if kind in HANDED.get(family, ()):
        side = side_of(system, surface)
        if side == 0:
            return "it lies on BL 0 and its name says neither left nor right"
        if family == "pedals" and not _sloped(system, surface, kind):
            return "its hinge line does not rise outboard as that of a V-tail does: say " \
                   'kind = "inverted v-tail" if it falls'
        way = way if side > 0 else OPPOSITE[way]
    sign = sign_of(system, surface, way)
    if family == "pedals" and pedal_sense(system.model, name) < 0:
        way, sign = OPPOSITE[way], -sign
    return "its hinge stands square to BL, so it has no up" if sign == 0 else \
        Expected("up" if one_sided else way, sign, one_sided)


def _sloped(system, surface, kind) -> bool:
    """Whether a V-tail's hinge rises outboard, an inverted one's falls."""
    _, y, z = system.model.bodies[system.model.surfaces[surface].body].direction
    rise = z * np.sign(y) * side_of(system, surface)
    return rise > SLOPED if kind == "v-tail" else rise < -SLOPED


def sign_of(system: System, surface: str, way: str) -> float:
    """Sign of a deflection that goes one way; the trailing edge lies aft of the hinge line.

    Parameters
    ----------
    system : System
    surface : str
    way : str
        As `Expected.way`.

    Returns
    -------
    float
        0 where a hinge that stands square to BL has no up.
    """
    body = system.model.bodies[system.model.surfaces[surface].body]
    if way in ("left", "points right"):
        return 1.0
    if way in ("right", "points left"):
        return -1.0
    lowered = 1.0
    if is_rudder(body):
        lean = body.direction[1] * hinge_sign(body)
        lowered = 0.0 if abs(lean) < LEVEL else float(np.sign(lean))
    return lowered if way == "down" else -lowered


def said_way(way: str) -> str:
    """A way in words: "trailing edge up", "points right"."""
    return EDGES.get(way, way)


def is_named(system: System, name: str) -> bool:
    """Whether people have words for an input's ends."""
    return input_ways(system.model, name) is not None
