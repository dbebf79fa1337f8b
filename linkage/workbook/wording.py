"""Words and units that the page's program has from the library, so that each is written once."""

from __future__ import annotations

import math

from ..gearing.words import NEUTRAL
from ..results.blocks import TRUTH
from ..units import LENGTHS, said_deflection


def length_unit(name: str) -> dict:
    """What the page has to know of the file's length unit.

    Parameters
    ----------
    name : {"mm", "in"}

    Returns
    -------
    dict
        name, mm (of one), digits (that a length is shown with), step (of a slider).

    Examples
    --------
    >>> length_unit("in")
    {'name': 'in', 'mm': 25.4, 'digits': 3, 'step': 0.001}
    """
    unit = LENGTHS[name]
    return {"name": name, "mm": unit.mm, "digits": unit.digits, "step": 10.0**-unit.digits}


def shown_position(unit: str, size: float) -> dict:
    """What the page has to know to show and read the positions of an input.

    Parameters
    ----------
    unit : str
        As shown; degrees, or a length.
    size : float
        Degrees or mm of one.

    Examples
    --------
    >>> shown_position("°", 1.0)
    {'unit': '°', 'per': 1.0, 'digits': 1, 'step': 0.1}
    >>> shown_position("in", 25.4)
    {'unit': 'in', 'per': 25.4, 'digits': 3, 'step': 0.01}
    """
    digits = 1 if size == 1.0 else LENGTHS[unit].digits
    return {"unit": unit, "per": size, "digits": digits, "step": 0.1 if digits == 1 else 0.01}


def page_words() -> dict:
    """Words of the verdicts and places."""
    (missed, met), (_, governs) = TRUTH["met"], TRUTH["governs"]
    return {"neutral": NEUTRAL, "lost": said_deflection(math.nan, ("", "")), "met": met,
            "missed": missed, "contact": "contact", "touch": "TOUCH", "below": "BELOW",
            "clear": "clear", "governs": governs, "proven": "proven", "exact": "exact",
            "sampled": "sampled", "before": "before"}
