"""Distance of the axes of tubes and the centres of balls."""

from __future__ import annotations

import numpy as np

from .vectors import any_square_to, closest_on_lines, dot, square_to_both, unit

NEAR = 1.0  # mm between axes, below which the direction needs more care than the difference gives


@np.errstate(all="ignore")  # a direction of length 0 is NaN, and is dealt with
def tube_gap(axis1: np.ndarray, axis2: np.ndarray) -> tuple:
    """Distance of the axes of two tubes; a ball's axis is its centre.

    Parameters
    ----------
    axis1, axis2 : numpy.ndarray
        Posed ends of the axes, ``(3, 1 or 2, m)`` mm.

    Returns
    -------
    tuple of numpy.ndarray
        Distance ``(m,)`` mm; unit vector from the first to the second ``(3, m)``, square to both
        where the axes meet; closest points on the axes, ``(3, m)`` mm each.
    """
    start1, run1 = axis1[:, 0], axis1[:, -1] - axis1[:, 0]
    start2, run2 = axis2[:, 0], axis2[:, -1] - axis2[:, 0]
    first, second, between = closest_on_lines(start1, run1, start2, run2)
    distance = np.sqrt(dot(between, between))
    direction = between / distance
    close = np.flatnonzero(distance < NEAR)
    if close.size:
        direction[:, close] = _careful_direction(
            between[:, close], run1[:, close], run2[:, close], first[close], second[close])
    return distance, direction, start1 + first * run1, start2 + second * run2


def _careful_direction(between, run1, run2, first, second):
    """Unit vector along which two axes are farthest apart, kept where `between` is rounding.

    Tried are `between` itself, made square to the axes whose foot is inside their ends, the
    normal of both axes, and, for axes in line, anything square to them.
    """
    way1, way2 = unit(run1), unit(run2)
    tidy = between.copy()
    for share, way in ((first, way1), (second, way2)):
        inside = (share > 0) & (share < 1)
        tidy = np.where(inside, tidy - dot(tidy, way) * way, tidy)
    normal = square_to_both(way1, way2)
    normal = np.where(dot(normal, between) < 0, -normal, normal)
    longer = np.where(dot(run1, run1) >= dot(run2, run2), run1, run2)
    tried = np.stack((unit(between), unit(tidy), normal, any_square_to(longer)), axis=1)
    lean1, lean2 = dot(tried, run1[:, None]), dot(tried, run2[:, None])
    space = (dot(tried, between[:, None]) - np.maximum(-first * lean1, (1 - first) * lean1)
             + np.minimum(-second * lean2, (1 - second) * lean2))
    best = np.where(np.isnan(space), -np.inf, space).argmax(axis=0)
    return tried[:, best, np.arange(best.size)]
