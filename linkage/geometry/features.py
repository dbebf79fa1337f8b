"""Distance of two hulls that don't overlap, by trying every pair of their features.

Slow and thorough: the last resort for postures that the walk (`approach`) can't prove. The
closest features are an edge and an edge or a corner and a face; every trial is a distance that
is truly there, so the least of them is never below the true one.
"""

from __future__ import annotations

import numpy as np

from .pieces import Piece
from .vectors import closest_on_lines, cross, dot

BUFFER = 1 << 17  # numbers worked on at once, so that they stay in the cache
SEAM = 1e-12  # overlap of the triangles of a face, or rounding would open a gap between them


def closest_features(hull1: np.ndarray, piece1: Piece, hull2: np.ndarray,
                     piece2: Piece) -> tuple[np.ndarray, np.ndarray]:
    """Closest points of two hulls.

    Parameters
    ----------
    hull1, hull2 : numpy.ndarray
        Posed corners, ``(3, n1, m)`` and ``(3, n2, m)`` mm, all finite.
    piece1, piece2 : Piece
        The pieces at neutral, for their edges and faces.

    Returns
    -------
    foot : numpy.ndarray
        Closest point of the first hull, ``(3, m)`` mm.
    between : numpy.ndarray
        From there to the closest point of the second, ``(3, m)`` mm.
    """
    postures = hull1.shape[2]
    foot, between = np.empty((3, postures)), np.empty((3, postures))
    pairs = max(len(_edges(piece1)) * len(_edges(piece2)),
                len(piece1.triangles) * hull2.shape[1], len(piece2.triangles) * hull1.shape[1])
    at_once = max(1, BUFFER // pairs)
    for start in range(0, postures, at_once):
        here = slice(start, start + at_once)
        first, second = hull1[..., here], hull2[..., here]
        feet2, back = _corner_to_face(second, first, piece1)
        trials = [_edge_to_edge(first, piece1, second, piece2),
                  _corner_to_face(first, second, piece2), (feet2 + back, -back)]
        feet, gaps = (np.concatenate(parts, axis=1) for parts in zip(*trials, strict=True))
        lengths = dot(gaps, gaps)
        best = (np.where(np.isnan(lengths), np.inf, lengths).argmin(axis=0),
                np.arange(lengths.shape[1]))
        foot[:, here], between[:, here] = feet[:, *best], gaps[:, *best]
    return foot, between


def _edges(piece):
    return piece.edges if len(piece.edges) else np.zeros((1, 2), dtype=int)


def _edge_to_edge(hull1, piece1, hull2, piece2):
    """Feet and gaps of all pairs of edges, ``(3, k, m)``."""
    (start1, end1), (start2, end2) = (
        (hull[:, _edges(piece)[:, 0]], hull[:, _edges(piece)[:, 1]])
        for hull, piece in ((hull1, piece1), (hull2, piece2)))
    start1, run1 = start1[:, :, None], (end1 - start1)[:, :, None]
    start2, run2 = start2[:, None], (end2 - start2)[:, None]
    along, _, between = closest_on_lines(start1, run1, start2, run2)
    return _listed(start1 + along * run1), _listed(between)


def _corner_to_face(corners, hull, piece):
    """Feet (the corners) and gaps of all pairs of a corner and a triangle of a face."""
    first, second, third = (hull[:, corner][:, None] for corner in piece.triangles.T)
    side1, side2 = second - first, third - first
    normal = cross(side1, side2)
    spoke = corners[:, :, None] - first
    area = dot(normal, normal)
    share1 = dot(cross(spoke, side2), normal) / area
    share2 = dot(cross(side1, spoke), normal) / area
    between = share1 * side1 + share2 * side2 - spoke
    over = (share1 >= -SEAM) & (share2 >= -SEAM) & (share1 + share2 <= 1 + SEAM)
    between[:, ~over] = np.nan
    return _listed(np.broadcast_to(corners[:, :, None], between.shape)), _listed(between)


def _listed(pairs):
    return pairs.reshape(3, -1, pairs.shape[-1])
