"""Where an array function over travel crosses a level or is extreme.

A function is sampled, every bracket is refined together, and edges of NaN count as places to
look.  Two crossings between neighbouring samples can be missed: sample closer than they can lie.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

ROUNDS = 60
SAFETY = 2.0  # times what second differences say


def crossings(function: Callable, positions: ArrayLike, level: float = 0.0,
              tolerance: float = 1e-12) -> np.ndarray:
    """Every sampled crossing of a level, refined together (Chandrupatla 1997).

    Parameters
    ----------
    function : callable
        From an array of positions (n,) to values (n,); NaN where it has none.
    positions : array_like, shape (n,)
        Samples, rising.
    level : float
    tolerance : float
        On the position, in its own unit.

    Returns
    -------
    ndarray, shape (m,)
        Positions, rising.

    Examples
    --------
    >>> crossings(np.cos, np.linspace(0, 10, 50)).round(9).tolist()
    [1.570796327, 4.71238898, 7.853981634]
    """
    x = np.asarray(positions, dtype=float)
    y = np.asarray(function(x), dtype=float) - level
    with np.errstate(invalid="ignore"):
        change = np.flatnonzero(np.sign(y[:-1]) * np.sign(y[1:]) < 0)
    exact = x[y == 0]
    if not change.size:
        return exact
    inside = refine(lambda at: np.asarray(function(at), dtype=float) - level,
                    (x[change], y[change]), (x[change + 1], y[change + 1]), tolerance)
    return np.sort(np.concatenate([exact, inside]))


def refine(function: Callable, one: ArrayLike, other: ArrayLike,
           tolerance: float = 1e-12) -> np.ndarray:
    """Zeros between brackets, all together (Chandrupatla 1997).

    Parameters
    ----------
    function : callable
        From places (n,), one in each bracket, to values (n,).
    one, other : (ndarray (n,), ndarray (n,))
        Ends of the brackets and the values there, of opposite signs.
    tolerance : float

    Returns
    -------
    ndarray (n,)
    """
    (b, fb), (a, fa) = one, other
    c, fc = a, fa
    share = np.full(b.shape, 0.5)
    for _ in range(ROUNDS):
        x = a + share * (b - a)
        fx = function(x)
        same = np.sign(fx) == np.sign(fa)
        c, fc, b, fb = (np.where(same, a, b), np.where(same, fa, fb),
                        np.where(same, b, a), np.where(same, fb, fa))
        a, fa = x, fx
        near = np.abs(fa) < np.abs(fb)
        best = np.where(near, a, b)
        width = np.abs(b - a)
        if np.all((width <= tolerance) | (fa == 0) | ~np.isfinite(fa)):
            break
        share = np.clip(_next_share((a, b, c), (fa, fb, fc)), tolerance / np.maximum(width, 1e-300),
                        1 - tolerance / np.maximum(width, 1e-300))
        share = np.where(width <= 2 * tolerance, 0.5, share)
    return best


def _next_share(places, values):
    """Inverse quadratic step where it is trustworthy, else halving."""
    (a, b, c), (fa, fb, fc) = places, values
    with np.errstate(invalid="ignore", divide="ignore"):
        xi, phi = (a - b) / (c - b), (fa - fb) / (fc - fb)
        good = (phi**2 < xi) & ((1 - phi) ** 2 < 1 - xi)
        step = fa / (fb - fa) * fc / (fb - fc) + (c - a) / (b - a) * fa / (fc - fa) * fb / (fc - fb)
    return np.where(good & np.isfinite(step), step, 0.5)


def extreme(function: Callable, box: Sequence[tuple[float, float]], samples: int = 31,
            zooms: int = 12) -> tuple[float, np.ndarray]:
    """Least value of a function over a box of travel, by ever closer grids.

    Parameters
    ----------
    function : callable
        From one broadcast array per side of the box to values; NaN where it has none.
    box : sequence of (float, float)
        Least and greatest of each side.
    samples : int
        Per side of the first grid.
    zooms : int
        Each narrows the grid to three eighths, about its best place.

    Returns
    -------
    (float, ndarray of shape (sides,))
        The least value and where it is; (nan, nan) when there is none.

    Examples
    --------
    >>> least, place = extreme(lambda x, y: (x - 1) ** 2 + y, [(-3, 3), (-1, 2)])
    >>> round(least, 6), place.round(4).tolist()
    (-1.0, [1.0, -1.0])
    """
    def alone(*sides):
        return np.asarray(function(*(side[0] for side in sides)))[None]

    least, place = extremes(alone, box, 1, samples, zooms)
    return float(least[0]), place[0]


def extremes(function: Callable, box: Sequence[tuple[float, float]], count: int, samples: int = 31,
             zooms: int = 12) -> tuple[np.ndarray, np.ndarray]:
    """Least values of many functions over one box of travel, all worked together.

    Parameters
    ----------
    function : callable
        From one array per side of the box, (count, n, 1, ...), (count, 1, n, ...), ..., each
        function's own positions (all the same at first, and then once, (1, ...)), to values
        (count, n, n, ...); NaN where it has none.
    box : sequence of (float, float)
    count : int
        Functions.
    samples, zooms : int
        As of `extreme`.

    Returns
    -------
    (ndarray (count,), ndarray (count, sides))
        Least values and where they are; NaN where there is none.
    """
    box = np.asarray(box, dtype=float).reshape(-1, 2)
    lower, upper = (np.broadcast_to(end, (count, len(box))) for end in box.T)
    best, place = np.full(count, np.inf), np.full((count, len(box)), np.nan)
    for zoom in range(zooms + 1):
        shape = [samples if wide else 1 for wide in np.ptp(box, axis=1) > 0]
        sides = [np.linspace(lower[:, i], upper[:, i], n, axis=-1) for i, n in enumerate(shape)]
        positions = _spread(sides if zoom else [side[:1] for side in sides], shape)
        values = np.broadcast_to(function(*positions), (count, *shape)).reshape(count, -1)
        values = np.where(np.isnan(values), np.inf, values)
        index = np.unravel_index(values.argmin(axis=1), shape)
        here = np.stack([s[np.arange(count), i] for s, i in zip(sides, index, strict=True)], -1)
        better = values.min(axis=1) < best
        best, place = np.where(better, values.min(axis=1), best), np.where(
            better[:, None], here, place)
        reach = (upper - lower) / (samples - 1) * 1.5
        lower, upper = (np.where(np.isnan(place), end, k) for end, k in (
            (lower, np.maximum(box[:, 0], place - reach)),
            (upper, np.minimum(box[:, 1], place + reach))))
        samples = 9
    return np.where(np.isfinite(best), best, np.nan), place


def _spread(sides, shape) -> list[np.ndarray]:
    """Each side's positions (count, n) along an axis of its own."""
    return [side.reshape(-1, *(n if i == axis else 1 for i, n in enumerate(shape)))
            for axis, side in enumerate(sides)]


def corners(box: Sequence[tuple[float, float]]) -> list[tuple[float, ...]]:
    """Corners of a box of travel.

    Examples
    --------
    >>> corners([(0, 1), (2, 3)])
    [(0, 2), (0, 3), (1, 2), (1, 3)]
    """
    return list(itertools.product(*box))


def may_rise(values: np.ndarray, sides: list[np.ndarray]) -> np.ndarray:
    """How far values on a grid may rise about each of its positions: an estimate, no proof.

    Between the positions of a grid a smooth value lies within an eighth of its second difference of
    the straight line (the error of linear interpolation, Davis, Interpolation and Approximation,
    1963, from memory); twice that is allowed for.  A peak narrower than the steps is not seen.

    Parameters
    ----------
    values : ndarray
        One axis a side; NaN where there is none.
    sides : list of ndarray
        Rising positions along each axis.

    Returns
    -------
    ndarray
        Of the same shape, 0 or more.
    """
    rise = np.zeros(values.shape)
    for axis, side in enumerate(sides):
        if len(side) < 3:
            continue
        steps = np.diff(side).reshape([-1 if i == axis else 1 for i in range(values.ndim)])
        slope = np.diff(values, axis=axis) / steps
        before, after = (np.take(steps, range(k, len(side) - 2 + k), axis=axis) for k in (0, 1))
        bend = np.abs(np.diff(slope, axis=axis)) * 2 / (before + after)
        bend = bend * np.maximum(before, after) ** 2 / 8
        ends = [(2, 2) if i == axis else (0, 0) for i in range(values.ndim)]
        wide = np.pad(np.nan_to_num(bend), ends, mode="edge")
        near = [np.take(wide, range(k, len(side) + k), axis=axis) for k in range(3)]
        rise += SAFETY * np.maximum.reduce(near)
    return rise
