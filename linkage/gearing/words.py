"""How positions and deflections are said: aft and forward, TEU and TED, never a bare sign."""

from __future__ import annotations

import math

from ..model import is_rudder
from ..motion import System
from ..units import said_deflection

WAYS = {"up": "TEU", "down": "TED", "left": "TEL", "right": "TER"}
SENSES = {"pitch": ("forward", "aft"), "roll": ("left", "right")}


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
    unit = system.inputs[name].unit
    if not math.isfinite(value):
        return "nowhere"
    if float(f"{value:.{digits}f}") == 0:
        return "neutral"
    if name in SENSES:
        return f"{abs(value):.{digits}f}{unit} {SENSES[name][bool(value > 0)]}"
    return f"{value:+.{digits}f}{unit} {name}"


def said_place(system: System, values: dict) -> str:
    """A stick position of several inputs in words, such as "17.0° aft, 21.0° left"."""
    moved = [said_input(system, name, value) for name, value in values.items()
             if said_input(system, name, value) != "neutral"]
    return ", ".join(moved) if moved else "neutral"
