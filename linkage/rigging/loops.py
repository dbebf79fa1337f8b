"""The loop of a wire taken as an arc: a piece of a circle of given length on a given chord.

A wire of length L whose ends are c apart and free to turn lies, as an arc, on a circle of radius
R = L / (2 a), where a is half its opening angle and sin a / a = c / L (plane geometry).  A clamp
that holds the wire in another direction bends it closer than that.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

HALVINGS = 60


def half_opening(chord: ArrayLike, length: ArrayLike) -> np.ndarray:
    """Half the opening angle of an arc on a chord, radians.

    Parameters
    ----------
    chord, length : array_like
        mm, broadcast together.

    Returns
    -------
    ndarray (...)
        0 where the wire is straight, NaN where it is shorter than the chord.

    Examples
    --------
    >>> round(float(half_opening(2.0, np.pi)), 9)  # a half circle of radius 1
    1.570796327
    """
    share = np.asarray(chord, dtype=float) / np.asarray(length, dtype=float)
    low, high = np.zeros(share.shape), np.full(share.shape, np.pi)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        wide = np.sinc(middle / np.pi) > share
        low, high = np.where(wide, middle, low), np.where(wide, high, middle)
    return np.where(share > 1, np.nan, np.where(share == 1, 0.0, (low + high) / 2))


def bend_radius(chord: ArrayLike, length: ArrayLike) -> np.ndarray:
    """Radius of an arc of a length on a chord, mm: infinite when straight, NaN when too short.

    Parameters
    ----------
    chord, length : array_like
        mm.

    Returns
    -------
    ndarray (...)

    Examples
    --------
    >>> round(float(bend_radius(2.0, np.pi)), 9)
    1.0
    """
    half = half_opening(chord, length)
    with np.errstate(divide="ignore"):
        return np.asarray(length, dtype=float) / (2 * half)


def length_needed(chords: tuple[float, float], slack: float, bend: float) -> float:
    """Least length of wire that spans the longest chord with slack and never bends too close.

    Parameters
    ----------
    chords : (float, float)
        Least and greatest distance of the clamps, mm.  At a given length the arc bends closest
        at the least.
    slack : float
        Length to spare at the greatest, mm.
    bend : float
        Least bend radius, mm.

    Returns
    -------
    float
        mm.

    Examples
    --------
    >>> length_needed((100.0, 120.0), 5.0, 40.0)  # half the least chord is radius enough
    125.0
    >>> round(length_needed((10.0, 12.0), 1.0, 10.0), 3)  # five sixths of a circle of radius 10
    52.36
    """
    least, greatest = chords
    length = greatest + slack
    if not bend_radius(least, length) < bend:
        return length
    # 2 R sin a = c has two arcs; a wire longer than the wider of them lies on a larger circle
    return 2 * bend * (math.pi - math.asin(least / (2 * bend)))


def arc_chain(ends: tuple[ArrayLike, ArrayLike], length: float, sag: ArrayLike,
              pieces: int) -> tuple[np.ndarray, np.ndarray]:
    """Corners of a chain along an arc that sags to one side, and how far it strays from the arc.

    Parameters
    ----------
    ends : (ndarray (..., 3), ndarray (..., 3))
        Clamps, mm.
    length : float
        Of the wire, mm.
    sag : array_like (3,)
        Way it lies, as nearly as its ends let it.
    pieces : int

    Returns
    -------
    (ndarray (..., pieces + 1, 3), ndarray (...))
        mm; NaN where the wire is too short.
    """
    start, end = (np.asarray(k, dtype=float) for k in ends)
    chord = np.linalg.norm(end - start, axis=-1)
    half = np.maximum(half_opening(chord, length), 1e-7)
    along = (end - start) / chord[..., None]
    sag = _square(np.asarray(sag, dtype=float), along)
    turn = half[..., None] * np.linspace(-1, 1, pieces + 1)
    radius = length / (2 * half)[..., None]
    way, drop = radius * np.sin(turn), radius * (np.cos(turn) - np.cos(half[..., None]))
    middle = (start + end)[..., None, :] / 2
    corners = middle + way[..., None] * along[..., None, :] + drop[..., None] * sag[..., None, :]
    return corners, radius[..., 0] * (1 - np.cos(half / pieces))


def _square(way, along):
    """The part of a direction square to another, unit; any square one where they agree."""
    square = way - (along @ way)[..., None] * along
    size = np.linalg.norm(square, axis=-1, keepdims=True)
    spare = np.cross(along, np.eye(3)[np.argmin(np.abs(along), axis=-1)])
    spare /= np.linalg.norm(spare, axis=-1, keepdims=True)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(size > 1e-6, square / size, spare)
