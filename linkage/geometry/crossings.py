"""Where a surface of triangles crosses itself."""

from __future__ import annotations

import numpy as np

from .vectors import cross, dot

HAIR = 1e-6  # of its longest side: a corner no farther off a triangle's plane lies in it
AT_ONCE = 1 << 18  # pairs of triangles asked at once


def crossings(corners: np.ndarray, faces: np.ndarray) -> tuple[int, np.ndarray | None]:
    """How many pairs of triangles without a common corner cross, and where the first of them do.

    A corner that touches a triangle does not cross it, nor do triangles in one plane.

    Parameters
    ----------
    corners : ndarray (n, 3, 3)
        mm.
    faces : ndarray of int (n, 3)
        Numbers of their corners, those at one place alike.

    Returns
    -------
    (int, ndarray (3,) or None)
        And a place, mm.

    Examples
    --------
    >>> one = np.array([[0, 0, 0], [4, 0, 0], [0, 4, 0]], float)
    >>> other = np.array([[1, 1, -1], [1, 1, 2], [9, 9, 0]], float)
    >>> crossings(np.array([one, other]), np.arange(6).reshape(2, 3))
    (1, array([2., 2., 0.]))
    """
    import shapely

    low, high = corners.min(axis=1), corners.max(axis=1)
    thin, (u, v) = _seen_along(low, high)
    boxes = shapely.box(low[:, u], low[:, v], high[:, u], high[:, v])
    one, other = shapely.STRtree(boxes).query(boxes)
    keep = (one < other) & (low[one, thin] <= high[other, thin]) \
        & (low[other, thin] <= high[one, thin])
    one, other = one[keep], other[keep]
    count, first = 0, None
    for start in range(0, len(one), AT_ONCE):
        some = one[start:start + AT_ONCE], other[start:start + AT_ONCE]
        apart = ~(faces[some[0]][:, :, None] == faces[some[1]][:, None]).any(axis=(1, 2))
        a, b = (corners[k[apart]].transpose(2, 1, 0) for k in some)
        meets, place = _pierced(a, b)
        more, where = _pierced(b, a)
        crossing = meets | more
        count += int(crossing.sum())
        if first is None and crossing.any():
            k = int(np.flatnonzero(crossing)[0])
            first = (place if meets[k] else where)[:, k]
    return count, first


def _seen_along(low, high):
    """The axis along which the boxes of triangles lie over each other least, and the others."""
    ways = [(k, tuple(j for j in range(3) if j != k)) for k in range(3)]

    def covered(way):
        wide, room = (high - low)[:, way[1]], np.ptp(np.concatenate([low, high]), axis=0)
        return wide.prod(axis=1).sum() / max(room[list(way[1])].prod(), 1e-300)

    return min(ways, key=covered)


@np.errstate(all="ignore")
def _pierced(a, b):
    """Whether a side of triangles a (3, 3, m) runs through those of b, and where: (3, m)."""
    normal = cross(b[:, 1] - b[:, 0], b[:, 2] - b[:, 0])
    size = np.sqrt(dot(normal, normal))
    normal = normal / size
    hair = HAIR * np.sqrt(np.maximum(size, 1e-300))
    height = dot(normal[:, None], a - b[:, :1])
    found, place = np.zeros(a.shape[2], bool), np.full((3, a.shape[2]), np.nan)
    for k in range(3):
        h1, h2 = height[k], height[k - 2]
        through = ((h1 > hair) & (h2 < -hair)) | ((h1 < -hair) & (h2 > hair))
        spot = a[:, k] + h1 / (h1 - h2) * (a[:, k - 2] - a[:, k])
        for n in range(3):
            side = b[:, n - 2] - b[:, n]
            inward = dot(cross(normal, side), spot - b[:, n])
            through &= inward > -HAIR * dot(side, side)
        place = np.where(through & ~found, spot, place)
        found |= through
    return found, place
