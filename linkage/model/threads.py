"""Screw threads of rod ends by designation: diameter, pitch and hand.

Inch sizes are the coarse and fine series of ASME B1.1 (UNC, UNF), metric ones the coarse and fine
pitches of ISO 261; both tables from memory, a pitch in inches being 1/n by definition.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from ..errors import LinkageError

MM_PER_IN = 25.4
INCH = {"6": (32, 40), "8": (32, 36), "10": (24, 32), "12": (24, 28), "1/4": (20, 28),
        "5/16": (18, 24), "3/8": (16, 24), "7/16": (14, 20), "1/2": (13, 20), "9/16": (12, 18),
        "5/8": (11, 18), "3/4": (10, 16)}  # threads per inch, coarse and fine
METRIC = {3: (0.5, 0.35), 4: (0.7, 0.5), 5: (0.8, 0.5), 6: (1.0, 0.75), 8: (1.25, 1.0, 0.75),
          10: (1.5, 1.25, 1.0, 0.75), 12: (1.75, 1.5, 1.25, 1.0), 14: (2.0, 1.5, 1.25, 1.0),
          16: (2.0, 1.5, 1.0), 18: (2.5, 2.0, 1.5, 1.0), 20: (2.5, 2.0, 1.5, 1.0)}  # mm

_LEFT = r"(?P<left>[\s-]*LH)?"
_INCH = re.compile(r"#?(?P<size>\d+(?:/\d+)?)\s*-\s*(?P<per>\d+)"
                   r"(?:\s*UNJ?[CF])?(?:-\d[AB])?" + _LEFT)
_METRIC = re.compile(r"M(?P<size>\d+)(?:\s*x\s*(?P<pitch>\d+(?:\.\d+)?))?(?:-\d[a-zH]+)?" + _LEFT)


@dataclass(frozen=True)
class Thread:
    """A screw thread.

    Attributes
    ----------
    designation : str
        As written.
    diameter, pitch : float
        Major diameter and movement per turn, mm.
    left : bool
        Whether it is left-hand.
    """

    designation: str
    diameter: float
    pitch: float
    left: bool

    @property
    def root(self) -> float:
        """Diameter at the root of the external thread, mm: d - 1.2269 P (ISO 68-1, from memory).

        Examples
        --------
        >>> round(read_thread("M8").root, 3)
        6.466
        """
        return self.diameter - 1.226869 * self.pitch


def read_thread(text: str) -> Thread:
    """A thread from its designation.

    Parameters
    ----------
    text : str
        Such as ``"1/4-28"``, ``"10-32 UNF-3A"``, ``"M6"``, ``"M8x1"``; ``LH`` at its end says
        left-hand.

    Returns
    -------
    Thread

    Raises
    ------
    LinkageError
        When it is no thread of the two standards' coarse and fine series.

    Examples
    --------
    >>> read_thread("1/4-28 LH")
    Thread(designation='1/4-28 LH', diameter=6.35, pitch=0.9071428571428571, left=True)
    >>> read_thread("M8x1").pitch
    1.0
    """
    inch, metric = _INCH.fullmatch(text.strip()), _METRIC.fullmatch(text.strip())
    if inch and inch["size"] in INCH:
        known, per = INCH[inch["size"]], int(inch["per"])
        if per in known:
            return Thread(text, _inch_diameter(inch["size"]), MM_PER_IN / per, bool(inch["left"]))
        raise _unlisted(text, " or ".join(f"{inch['size']}-{n}" for n in known), "ASME B1.1")
    if metric and int(metric["size"]) in METRIC:
        size = int(metric["size"])
        pitch = float(metric["pitch"] or METRIC[size][0])
        if pitch in METRIC[size]:
            return Thread(text, float(size), pitch, bool(metric["left"]))
        raise _unlisted(text, " or ".join(f"M{size}x{p:g}" for p in METRIC[size]), "ISO 261")
    raise LinkageError(f'"{text[:40]}" is no thread of ASME B1.1 or ISO 261; write it like '
                       f'"1/4-28" or "M6x1", with LH behind it for left-hand', thread=text)


def _inch_diameter(size: str) -> float:
    """Major diameter: a numbered size is 0.060 in + 0.013 in a number (ASME B1.1)."""
    inches = Fraction(size) if "/" in size else Fraction(60 + 13 * int(size), 1000)
    return float(inches * Fraction("25.4"))


def _unlisted(text, known, standard):
    return LinkageError(f'"{text[:40]}" has a pitch that {standard} does not list for its size; '
                        f"use {known}", thread=text)
