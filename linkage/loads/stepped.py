"""A column whose section changes along it, exactly: where it buckles, and what a bow does to it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

ROUNDS = 60  # halvings of a bracket: to the last bits of a float
PLACES = 81  # at which a bowed stretch is looked at along its length


@dataclass(frozen=True)
class Stretch:
    """A stretch of a column of one section.

    Attributes
    ----------
    length : float
        mm.
    stiffness : float
        E I, N mm².
    """

    length: float
    stiffness: float


def buckling_load(stretches: list[Stretch]) -> float:
    """Compression at which an elastic column with pinned ends buckles.

    Parameters
    ----------
    stretches : list of Stretch
        From end to end.

    Returns
    -------
    float
        N: the least P for which y'' = -P y / (E I) has a solution that is 0 at both ends, followed
        exactly from stretch to stretch and bracketed by halving (Timoshenko & Gere, Theory of
        Elastic Stability, art. 2.14, from memory).

    Examples
    --------
    >>> round(buckling_load([Stretch(1000.0, 1e9)]) / (math.pi**2 * 1e3), 9)
    1.0
    """
    whole = sum(part.length for part in stretches)
    low, high = (math.pi**2 * pick(part.stiffness for part in stretches) / whole**2
                 for pick in (min, max))
    high *= 1 + 1e-12
    for _ in range(ROUNDS):
        middle = (low + high) / 2
        low, high = (middle, high) if _stands(stretches, middle) else (low, middle)
    return low


def _stands(stretches, load) -> bool:
    """Whether the bent shape that starts at one end comes back to the line before the other."""
    rise, slope = 0.0, 1.0
    for part in stretches:
        wave = math.sqrt(load / part.stiffness)
        phase = math.atan2(rise * wave, slope)
        size = math.hypot(rise, slope / wave)
        phase += wave * part.length
        if phase >= math.pi:
            return False
        rise, slope = size * math.sin(phase), size * wave * math.cos(phase)
    return True


def bowed_rises(stretches: list[Stretch], load: float, bow: float) -> list[float]:
    """How far each stretch of a bowed column stands off the line of its ends under a load.

    Parameters
    ----------
    stretches : list of Stretch
    load : float
        Compression below `buckling_load`, N.
    bow : float
        Of the unloaded column at its middle, a half sine wave from end to end, mm.

    Returns
    -------
    list of float
        Greatest in each stretch, mm; times the load the bending moment there.

    Notes
    -----
    y'' = y0'' - P y / (E I) with y0 = bow sin(pi x / L), solved in each stretch and joined with
    equal rise and slope (beam-column texts, such as Timoshenko & Gere, ch. 1, from memory).
    """
    whole = sum(part.length for part in stretches)
    q = math.pi / whole
    plain = _followed(stretches, (load, q, bow), (0.0, 0.0))
    free = _followed(stretches, (load, q, 0.0), (0.0, 1.0))
    start = -plain[-1][-1] / free[-1][-1]
    return [float(np.abs(one + start * other).max())
            for one, other in zip(plain, free, strict=True)]


def _followed(stretches, what, state):
    """Rises along each stretch from a rise and a slope at the start."""
    load, q, bow = what
    rise, slope = state
    x, lines = 0.0, []
    for part in stretches:
        square = load / part.stiffness
        if abs(square - q * q) < 1e-9 * q * q:
            square = q * q * (1 - 1e-9)  # at resonance the two waves are one
        k, driven = math.sqrt(square), bow * q * q / (q * q - square)
        at = np.linspace(0.0, part.length, PLACES)
        a = rise - driven * math.sin(q * x)
        b = (slope - driven * q * math.cos(q * x)) / k
        lines.append(a * np.cos(k * at) + b * np.sin(k * at) + driven * np.sin(q * (x + at)))
        end = k * part.length
        slope = k * (b * math.cos(end) - a * math.sin(end)) + driven * q * math.cos(
            q * (x + part.length))
        rise, x = float(lines[-1][-1]), x + part.length
    return lines
