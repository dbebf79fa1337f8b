"""How positions, deflections and findings are said: aft and forward, TEU and TED."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ..model import SENSES, is_rudder
from ..motion import System
from ..units import LENGTHS, rounded_text, said_deflection
from .senses import input_ways

if TYPE_CHECKING:
    from ..model import Body
    from ..motion.system import Control

WAYS = {"up": "TEU", "down": "TED", "left": "TEL", "right": "TER"}
NEUTRAL = "neutral"


@dataclass(frozen=True)
class Finding:
    """One thing found.

    Attributes
    ----------
    part : str
        What it is about.
    text : str
        One sentence.
    miss : bool
        Whether it counts as a missed requirement.
    kind : {"direction", "size", "feel", "motion"}
        What it is about; the file's `meant` can say of a size or a feel that it is meant.
    """

    part: str
    text: str
    miss: bool = False
    kind: str = "motion"


@dataclass(frozen=True)
class Direction:
    """What one input makes one surface do, and whether that is the right way.

    Attributes
    ----------
    surface, input : str
    end : str
        The positive end of the input in words, such as "stick right".
    goes : str
        What the surface does for it at neutral, such as "trailing edge up".
    due : str
        What it has to do; empty where nothing says.
    outcome : {"wrong", "turns back", "not decided", "exception", "not judged", "right"}
    text : str
        One sentence.
    place : dict
        ``{input: position}`` that the sentence is about; empty for the whole travel.
    """

    surface: str
    input: str
    end: str
    goes: str
    due: str
    outcome: str
    text: str
    place: dict

    @property
    def miss(self) -> bool:
        """Whether it counts as a missed requirement."""
        return self.outcome in ("wrong", "turns back", "not decided")


def deflection_words(system: System, surface: str) -> tuple[str, str]:
    """What a negative and a positive deflection of a surface are called.

    Parameters
    ----------
    system : System
    surface : str

    Returns
    -------
    (str, str)
        ``("TEU", "TED")``, or ``("TER", "TEL")`` for a rudder.
    """
    body = system.model.bodies[system.model.surfaces[surface].body]
    return ("TER", "TEL") if is_rudder(body) else ("TEU", "TED")


def said_surface(system: System, surface: str, degrees: float, digits: int = 1) -> str:
    """A deflection in words, such as "12.4° TEU"."""
    return said_deflection(degrees, deflection_words(system, surface), digits)


def position_unit(system: System, part: Control | Body) -> tuple[str, float]:
    """The unit in which positions of an input or a body are shown, and how many mm it is.

    Degrees, whose size is 1, or on a slide the file's own unit.
    """
    if not part.slides:
        return "°", 1.0
    return system.model.length, LENGTHS[system.model.length].mm


def said_input(system: System, name: str, value: float, digits: int = 1) -> str:
    r"""A stick position in words.

    Examples
    --------
    >>> from linkage.motion import System
    >>> from linkage import parse_model
    >>> system = System(parse_model('length = "mm"\n[input.pitch]\ntravel = [-15, 20]'))
    >>> said_input(system, "pitch", -12.5), said_input(system, "pitch", 0)
    ('12.5° forward', 'neutral')
    """
    unit, size = position_unit(system, system.inputs[name])
    if size != 1.0:  # a slide of an inch file, to a thousandth
        value, digits = value / size, LENGTHS[unit].digits
    if not math.isfinite(value):
        return "nowhere"
    size = rounded_text(abs(value), digits)
    if float(size) == 0:
        return NEUTRAL
    size += unit if unit == "°" else f" {unit}"
    ways = input_ways(system.model, name)
    if ways is not None:
        return f"{size} {ways[bool(value > 0)]}"
    return f"{'-' if value < 0 else '+'}{size} {name}"


def said_end(system: System, name: str, greatest: bool) -> str:
    """Which way a hand or foot goes toward an end of an input, such as "stick aft"."""
    ways = input_ways(system.model, name)
    if ways is None:
        return f"{'+' if greatest else '-'} {name}"
    return f"stick {ways[greatest]}" if name in SENSES else ways[greatest]


def sense_word(system: System, name: str, greatest: bool) -> str:
    """What the least or greatest end of an input is called."""
    return (input_ways(system.model, name) or ("least", "greatest"))[greatest]


def said_place(system: System, values: dict) -> str:
    """A stick position of several inputs in words, such as "17.0° aft, 21.0° left"."""
    moved = [said_input(system, name, value) for name, value in values.items()
             if said_input(system, name, value) != NEUTRAL]
    return ", ".join(moved) if moved else NEUTRAL
