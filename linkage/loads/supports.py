"""What each bearing of a turning body does to it: two by statics, more as a continuous beam."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence


def between_bearings(force: np.ndarray, moment: np.ndarray, axis: np.ndarray,
                     stations: Sequence[float]) -> tuple[np.ndarray, np.ndarray]:
    """What each of two bearings does to a body: together its pivot's load, (..., 3) N.

    The first takes all that is along the axis; neither takes a moment.
    """
    one, other = stations
    side = _across(force, axis)
    second = (np.cross(moment, axis) - one * side) / (other - one)
    return force - second, second


def on_bearings(acting: tuple, axis: np.ndarray, stations: Sequence[float]) -> np.ndarray:
    """What each of any number of bearings does to a straight body of one section.

    Parameters
    ----------
    acting : (ndarray (n, m), ndarray (n, loads, m, 3), ndarray (n, loads, m, 3))
        Where along the axis something acts, mm; its forces, N; its moments about there, N mm.
    axis : ndarray (n, 3)
    stations : sequence of float
        Of the bearings, mm.

    Returns
    -------
    ndarray (n, loads, bearings, 3)
        N.  The first takes all that is along the axis; none takes a moment.

    Notes
    -----
    E I v'''' = q with v = 0 at each bearing, rigid and in line, shear left out: v = c0 + c1 x + sum
    of F <x - a>³ / 6 + C <x - a>² / 2 over all that acts (Macaulay's brackets, beam texts, from
    memory), C = axis x moment; the bearings' forces and c0, c1 from one linear solve.
    """
    places, forces, moments = acting
    scale = float(np.ptp(stations))
    at, b = places / scale, np.asarray(stations) / scale
    u = axis[:, None, None]
    side = _across(forces, u)
    couples = np.cross(u, moments) / scale
    count = len(b)
    matrix = np.zeros((count + 2, count + 2))
    matrix[:count, :count] = _raised(b[:, None] - b, 3) / 6
    matrix[:count, count:] = np.stack([np.ones(count), b], axis=-1)
    matrix[count, :count], matrix[count + 1, :count] = 1.0, b
    off = b - at[..., None]  # (n, m, bearings)
    sunk = np.einsum("nmb,nemj->nebj", _raised(off, 3) / 6, side) + np.einsum(
        "nmb,nemj->nebj", _raised(off, 2) / 2, couples)
    whole = np.concatenate([sunk, side.sum(axis=2, keepdims=True), (
        at[:, None, :, None] * side - couples).sum(axis=2, keepdims=True)], axis=2)
    held = np.einsum("bk,nekj->nebj", np.linalg.inv(matrix)[:count], -whole)
    held[:, :, 0] -= (forces - side).sum(axis=2)
    return held


def _across(force, axis):
    """The part of forces that is square to an axis."""
    return force - np.einsum("...j,...j->...", force, axis)[..., None] * axis


def _raised(x, power):
    return np.maximum(x, 0.0) ** power
