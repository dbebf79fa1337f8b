"""What a person types into a box, by the rules of the model file's own text.

The page's program has the same rules for its own boxes (``js/typed.js``); one table of cases,
``tests/js/typed.json``, holds for both and for the file's parser.  Beyond the file's rules a box
takes a decimal comma, a bare shop fraction, ``.5``, the inch mark and the typographic minus.
"""

from __future__ import annotations

import functools
import re

from ..errors import LinkageError
from ..units import quantity, shown_length

LENGTHS = ("mm", "cm", "m", "µm", "um", "in", "inch", "ft", "foot", "thou", "mil", "millimeter",
           "millimetre", "millimeters", "millimetres")  # what the file's parser reads, as written
ANGLES = ("°", "deg", "degree", "degrees", "rad", "mrad", "radian", "radians")
FARTHEST = 1e5  # mm
LONGEST = 60  # signs that a box is read to

_NUMBER = re.compile(
    r"([+-]?)(?:([0-9]+)(?:\s+|-))?([0-9]+)\s*/\s*([1-9][0-9]*)\s*(\S.*)?"
    r"|([+-]?)((?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?)\s*(\S.*)?", re.DOTALL)
_THOUSANDS = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")


@functools.cache
def unit_words(kind: str) -> dict:
    """Units that may be typed, ``{word: mm or degrees of one}``.

    Parameters
    ----------
    kind : {"length", "angle"}
    """
    words = LENGTHS if kind == "length" else ANGLES
    sizes = {word: quantity(f"1 {word}", kind) for word in words}
    return sizes | ({'"': sizes["in"], "\N{DOUBLE PRIME}": sizes["in"]} if kind == "length" else {})


def read_number(text: str) -> tuple[float, str]:
    """The number of a text and what stands after it.

    Raises
    ------
    LinkageError
        For what is no number, and for one that can be read in two ways.

    Examples
    --------
    >>> read_number("1-1/8 in"), read_number("4,5°"), read_number("−.063")
    ((1.125, 'in'), (4.5, '°'), (-0.063, ''))
    """
    plain = " ".join(text.replace("\N{MINUS SIGN}", "-").split())
    shown = plain if len(plain) <= 40 else f"{plain[:40]}…"
    match = _NUMBER.fullmatch(plain) if len(plain) <= LONGEST else None
    if match is None:
        raise LinkageError(f'"{shown}" is no number' if plain else "the box is empty")
    if match[3]:  # a fraction, maybe after a whole number
        sign, rest, size = match[1], match[5], _fraction(*match.group(2, 3, 4))
    else:
        sign, rest, size = match[6], match[8], _decimal(match[7], shown)
    if not size < 1e300:
        raise LinkageError(f'"{shown}" is no number that a part can have')
    return (-size if sign == "-" else size), (rest or "").strip()


def _fraction(whole: str | None, top: str, bottom: str) -> float:
    return float(whole or 0) + float(top) / float(bottom)


def _decimal(digits: str, shown: str) -> float:
    if _THOUSANDS.fullmatch(digits):
        raise LinkageError(f'"{shown}" can be read in two ways; write '
                           f'{digits.replace(",", "")} or {digits.replace(",", ".")}')
    return float(digits.replace(",", "."))


def typed_length(text: str, unit: str) -> float:
    """A length as a person types it, in mm.

    Parameters
    ----------
    text : str
    unit : {"mm", "in"}
        What a bare number means.

    Raises
    ------
    LinkageError

    Examples
    --------
    >>> typed_length("5-1/4 in", "mm"), typed_length("−2", "in"), typed_length("1/8", "in")
    (133.35, -50.8, 3.175)
    """
    value, word = read_number(text)
    per = unit_words("length").get(word or unit)
    if per is None:
        raise LinkageError(f'"{word[:40]}" is no unit of length; write it like 3.2 mm or 1/8 in')
    if not abs(value * per) < FARTHEST:
        raise LinkageError(f'"{text.strip()[:40]}" is no length on an aircraft; give less than '
                           f"{shown_length(FARTHEST, unit)}")
    return value * per
