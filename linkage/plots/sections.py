"""Cuts through solids at one stick position: what of each lies in a plane of stations."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np
import shapely

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

ALONG = 49  # places along an edge of a round piece at which it is cut
ARCS = 16  # straight pieces to a quarter of a circle
NUDGE = 0.25  # mm that a cut goes into a solid whose very face it would run along


def section(pieces: Iterable[tuple[np.ndarray, float]], normal: int, level: float) -> BaseGeometry:
    """What of some pieces lies in a plane of stations.

    Parameters
    ----------
    pieces : iterable of (ndarray (n, 3), float)
        Points and radius of each, mm.
    normal : int
        Station that the plane is square to: 0 FS, 1 BL, 2 WL.
    level : float
        Where along it, mm; moved into the solid where it runs along its face.

    Returns
    -------
    shapely geometry
        mm, its coordinates the two other stations in their order.

    Examples
    --------
    >>> ball = [(np.zeros((1, 3)), 5.0)]
    >>> round(section(ball, 2, 3.0).area / (np.pi * 16), 2)
    1.0
    """
    pieces = [(points, radius) for points, radius in pieces if np.isfinite(points).all()]
    if not pieces:
        return shapely.Polygon()
    low = min(points[:, normal].min() - radius for points, radius in pieces)
    high = max(points[:, normal].max() + radius for points, radius in pieces)
    nudge = min(NUDGE, (high - low) / 4)
    level = float(np.clip(level, low + nudge, high - nudge))
    return shapely.union_all([_cut(points, radius, normal, level) for points, radius in pieces
                              if points[:, normal].min() - radius <= level
                              <= points[:, normal].max() + radius])


def _cut(points, radius, normal, level):
    """Of one convex piece: the hull of where its edges, or the balls along them, are cut."""
    across = [k for k in range(3) if k != normal]
    if len(points) == 1:
        points = np.repeat(points, 2, axis=0)
    pairs = np.array(list(itertools.combinations(range(len(points)), 2)))
    starts, ends = points[pairs[:, 0]], points[pairs[:, 1]]
    if radius == 0:
        away, far = starts[:, normal] - level, ends[:, normal] - level
        crossed = (away * far <= 0) & (np.abs(away - far) > 1e-12)
        share = (away[crossed] / (away - far)[crossed])[:, None]
        spots = starts[crossed] + share * (ends[crossed] - starts[crossed])
        return shapely.MultiPoint(spots[:, across]).convex_hull
    share = np.linspace(0, 1, ALONG)[None, :, None]
    spots = (starts[:, None] + share * (ends - starts)[:, None]).reshape(-1, 3)
    room = radius**2 - (spots[:, normal] - level) ** 2
    spots, room = spots[room > 0], room[room > 0]
    discs = shapely.buffer(shapely.points(spots[:, across]), np.sqrt(room), quad_segs=ARCS)
    return shapely.union_all(discs).convex_hull


def best_plane(way: np.ndarray, normals: Iterable[np.ndarray] = ()) -> int:
    """Station that a cut should be square to, so that a gap along a way is seen in it.

    Parameters
    ----------
    way : ndarray (3,)
        From one closest point to the other, mm; of any length.
    normals : iterable of ndarray (3,)
        Of flat parts that are best seen in their own plane.

    Returns
    -------
    int
    """
    size = np.linalg.norm(way)
    seen = 1.0 - np.abs(way) / size if size > 1e-9 else np.ones(3)
    for normal in normals:
        seen = seen + 0.4 * (np.abs(normal) > 0.9)
    return int(np.argmax(seen))
