"""Vectors and lines whose three components come first, ``(3, ...)``.

Sums are written out, never left to a library reduction, so that the bits of a result do not
depend on how many postures stand beside it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike


def dot(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """Scalar product of ``(3, ...)`` and ``(3, ...)``.

    Examples
    --------
    >>> float(dot(np.array([1.0, 2.0, 3.0]), np.array([4.0, 5.0, 6.0])))
    32.0
    """
    total = first[0] * second[0]
    total += first[1] * second[1]
    total += first[2] * second[2]
    return total


def cross(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """Vector product of ``(3, ...)`` and ``(3, ...)``.

    Examples
    --------
    >>> cross(np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0])).tolist()
    [0.0, 0.0, 1.0]
    """
    return np.stack((
        first[1] * second[2] - first[2] * second[1],
        first[2] * second[0] - first[0] * second[2],
        first[0] * second[1] - first[1] * second[0],
    ))


def unit(vector: np.ndarray) -> np.ndarray:
    """``(3, ...)`` scaled to length 1; NaN where the length is 0.

    Examples
    --------
    >>> unit(np.array([0.0, 3.0, 4.0])).tolist()
    [0.0, 0.6, 0.8]
    """
    return vector / np.sqrt(dot(vector, vector))


def square_to_both(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """Unit vector square to two unit vectors ``(3, ...)``; NaN where they are parallel.

    The product of one with the *difference* of the two is the same vector, and keeps its digits
    when the two are nearly parallel: nearby numbers are subtracted without rounding.

    Examples
    --------
    >>> tilt = unit(np.array([1.0, 1e-9, 0.0]))
    >>> square_to_both(np.array([1.0, 0.0, 0.0]), tilt).tolist()
    [0.0, 0.0, 1.0]
    """
    same_way = np.where(dot(first, second) < 0, -1.0, 1.0)
    return unit(cross(first, same_way * second - first) * same_way)


def any_square_to(vector: np.ndarray) -> np.ndarray:
    """Some unit vector square to each of ``(3, ...)``; square to x for vectors of length 0.

    Examples
    --------
    >>> any_square_to(np.array([0.0, 0.0, 2.0])).tolist()
    [0.0, 1.0, 0.0]
    """
    least = np.abs(vector).argmin(axis=0)
    helper = np.stack([(least == k).astype(float) for k in range(3)])
    square = cross(vector, helper)
    none = dot(vector, vector) == 0
    return unit(np.where(none, np.array([0.0, 0.0, 1.0]).reshape(3, *[1] * none.ndim), square))


def closest_on_lines(start1: ArrayLike, run1: ArrayLike, start2: ArrayLike,
                     run2: ArrayLike) -> tuple:
    """Closest points of two lines of finite length.

    The foot on the first line is where the common normal n = d1 x d2 meets it,
    ((p2 - p1) x d2) . n / (n . n), kept to its ends; then each foot in turn is the nearest to the
    other (clamping as in C. Ericson, *Real-Time Collision Detection*, 5.1.9, from memory). Taken
    with vector products instead of his scalar ones, nearly parallel lines keep their digits.

    Parameters
    ----------
    start1, run1, start2, run2 : numpy.ndarray
        Starts and start-to-end vectors, ``(3, ...)`` mm, broadcast together; a run of 0 is a
        point.

    Returns
    -------
    tuple of numpy.ndarray
        Fractions along the lines, ``(...)`` in 0..1, and the vector between the closest points,
        ``(3, ...)`` mm.

    Examples
    --------
    >>> x, y, z = np.eye(3)
    >>> first, second, between = closest_on_lines(0 * x, 2 * x, x + 3 * z - y, 4 * y)
    >>> float(first), float(second), between.tolist()
    (0.5, 0.25, [0.0, 0.0, 3.0])
    """
    apart = start2 - start1
    normal = cross(run1, run2)
    first = _fraction(dot(cross(apart, run2), normal), dot(normal, normal))
    second = _fraction(dot(first * run1 - apart, run2), dot(run2, run2))
    reach = apart + second * run2
    first = _fraction(dot(reach, run1), dot(run1, run1))
    return first, second, reach - first * run1


def _fraction(numerator, denominator):
    """Their quotient kept to 0..1, and 0 where the denominator is 0."""
    share = np.divide(numerator, denominator, out=np.zeros_like(numerator), where=denominator > 0)
    return np.minimum(np.maximum(share, 0.0), 1.0)
