"""How far two hulls overlap: the shortest push that parts them, over every axis that could be it.

Two convex bodies with flat faces are parted along a face normal of either or square to an edge
of each, and the least push that parts overlapping ones is along such an axis too, because those
are the face normals of their difference (separating axes, S. Gottschalk, M. Lin and D. Manocha,
"OBBTree", 1996, from memory). Any axis gives a true bound; the full set makes it the least.
"""

from __future__ import annotations

import numpy as np

from .pieces import Piece
from .vectors import cross, dot, square_to_both, unit

BUFFER = 1 << 17  # numbers worked on at once, so that they stay in the cache


def widest_space(hull1: np.ndarray, piece1: Piece, hull2: np.ndarray,
                 piece2: Piece) -> tuple[np.ndarray, np.ndarray]:
    """Axis along which two pieces are farthest apart, or overlap least.

    Parameters
    ----------
    hull1, hull2 : numpy.ndarray
        Posed corners, ``(3, n1, m)`` and ``(3, n2, m)`` mm, all finite.
    piece1, piece2 : Piece
        The pieces at neutral, for their edges and faces.

    Returns
    -------
    space : numpy.ndarray
        ``(m,)`` mm: 0 or less exactly when the hulls touch or overlap, and then minus the length
        of the shortest push that parts them; above 0 it is no more than their distance.
    axis : numpy.ndarray
        Unit vector from the first to the second, ``(3, m)``.
    """
    postures = hull1.shape[2]
    space, axis = np.empty(postures), np.empty((3, postures))
    corners = hull1.shape[1] + hull2.shape[1]
    at_once = max(1, BUFFER // (corners * (len(piece1.facings) + len(piece2.facings))))
    for start in range(0, postures, at_once):
        here = slice(start, start + at_once)
        space[here], axis[:, here] = _widest(hull1[..., here], piece1, hull2[..., here], piece2)
    return space, axis


def _widest(hull1, piece1, hull2, piece2):
    """The same for as many postures as fit the cache."""
    normals1, normals2 = _normals(hull1, piece1), _normals(hull2, piece2)
    ways1, ways2 = _ways(hull1, piece1), _ways(hull2, piece2)
    axes = [normals1, normals2]
    for piece, normals in ((piece1, normals1), (piece2, normals2)):
        if piece.flat:  # two outlines in one plane are parted within it
            axes += [unit(cross(normals, ways)) for ways in (ways1, ways2)]
    axes = np.concatenate(axes, axis=1)[:, :, None]
    trials = [_widest_along(axes, hull1[:, None], hull2[:, None])]
    for places1, corners1 in _by_outline(piece1):
        for places2, corners2 in _by_outline(piece2):
            axes = square_to_both(ways1[:, places1, None], ways2[:, None, places2])
            trials.append(_widest_along(axes, hull1[:, corners1], hull2[:, corners2]))
    spaces, axes = (np.stack(part, axis=-2) for part in zip(*trials, strict=True))
    best = (spaces.argmax(axis=0), np.arange(spaces.shape[1]))
    return spaces[best], axes[:, *best]


def _widest_along(axes, corners1, corners2):
    """Widest space along axes ``(3, k1, k2, m)``, and the axis.

    ``(3, k1 or 1, n1, m)`` and ``(3, k2 or 1, n2, m)`` are the corners that can be outermost.
    """
    along1 = dot(axes[:, :, :, None], corners1[:, :, None])
    along2 = dot(axes[:, :, :, None], corners2[:, None])
    ahead, behind = (space.reshape(-1, axes.shape[-1]) for space in (
        along2.min(axis=2) - along1.max(axis=2), along1.min(axis=2) - along2.max(axis=2)))
    spaces = np.maximum(ahead, behind)
    spaces[np.isnan(spaces)] = -np.inf  # parallel edges have no axis of their own
    best = (spaces.argmax(axis=0), np.arange(axes.shape[-1]))
    way = np.where(ahead[best] >= behind[best], 1.0, -1.0)
    return spaces[best], way * axes.reshape(3, *spaces.shape)[:, *best]


def _by_outline(piece):
    """Directions of edges and the outlines seen along them, together where equally long.

    Only corners on the outline seen along an edge can be outermost square to it.
    """
    lengths = np.array([len(outline) for outline in piece.outlines])
    for length in np.unique(lengths):
        places = np.flatnonzero(lengths == length)
        yield places, np.array([piece.outlines[place] for place in places])


def _normals(hull, piece):
    first, second, third = (hull[:, corner] for corner in piece.facings.T)
    return unit(cross(second - first, third - first))


def _ways(hull, piece):
    return unit(hull[:, piece.directions[:, 1]] - hull[:, piece.directions[:, 0]])
