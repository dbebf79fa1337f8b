"""Solids as triangles that turn outwards, round ones within a stated error of their surface."""

from __future__ import annotations

import math

import numpy as np

from ..geometry import Piece
from ..geometry.outlines import spanned
from ..model import SurfaceShape
from ..model.solids import FlatShape, Shape

WITHIN = 0.05  # mm that a flat may lie off a round surface
MOST_SIDES = 96


def tessellated(shape: Shape, within: float = WITHIN) -> np.ndarray:
    """Triangles of a solid that is placed.

    Parameters
    ----------
    shape : Shape
        Its places positions, not names.
    within : float
        How far a flat may lie off a round surface, mm; of a skin the middle surface is given.

    Returns
    -------
    ndarray (n, 3, 3)
        mm at neutral.
    """
    if isinstance(shape, SurfaceShape):
        return shape.pieces().corners
    if isinstance(shape, FlatShape):
        return _flat(shape, within)
    return np.concatenate([_bar(piece, within) if piece.radius else _hull(piece)
                           for piece in shape.pieces()])


def _hull(piece: Piece):
    """A piece with flat sides."""
    from scipy.spatial import ConvexHull

    return _outwards(piece.points[ConvexHull(piece.points).simplices])


def _outwards(corners):
    """Triangles about their middle, which sees them all, turned away from it."""
    away = corners.mean(axis=1) - corners.reshape(-1, 3).mean(axis=0)
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    inwards = (normal * away).sum(axis=1) < 0
    return np.where(inwards[:, None, None], corners[:, ::-1], corners)


def _flat(shape, within):
    """Both faces with their holes, and the walls about all loops."""
    import shapely

    loops = shape.loops(within)
    area = shapely.Polygon(loops[0]).difference(shapely.union_all(
        [shapely.Polygon(loop) for loop in loops[1:]]))
    u, v, normal = shape.axes

    def raised(flat, side):
        return (np.array(shape.at) + side * shape.thickness / 2 * normal
                + flat[..., :1] * u + flat[..., 1:] * v)

    made = []
    for part in shapely.get_parts(area):
        flat = np.array([shapely.get_coordinates(each.exterior)[:3] for each in shapely.get_parts(
            shapely.constrained_delaunay_triangles(part))])
        turn = spanned(flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]) < 0
        flat = np.where(turn[:, None, None], flat[:, ::-1], flat)
        made += [raised(flat, 1), raised(flat, -1)[:, ::-1]]
        for k, ring in enumerate((part.exterior, *part.interiors)):
            rim = shapely.get_coordinates(ring)
            left = shapely.LinearRing(rim).is_ccw == (k == 0)
            rim = rim if left else rim[::-1]
            low, high = raised(rim, -1), raised(rim, 1)
            made += [np.stack([low[:-1], low[1:], high[1:]], axis=1),
                     np.stack([low[:-1], high[1:], high[:-1]], axis=1)]
    return np.concatenate(made)


def _bar(piece: Piece, within):
    """A bar with half-ball ends, or a ball, by rings of corners on its surface."""
    start, end = piece.points[0], piece.points[-1]
    way, long = end - start, float(np.linalg.norm(end - start))
    z = way / long if long else np.array([0.0, 0.0, 1.0])
    x = np.cross(z, np.eye(3)[np.abs(z).argmin()])
    x /= np.linalg.norm(x)
    frame = np.stack([x, np.cross(z, x), z])
    share = min(max(1 - within / piece.radius, -1.0), 1.0)
    sides = int(min(max(math.ceil(math.pi / max(math.acos(share), 1e-3)), 8), MOST_SIDES))
    sides += sides % 2
    turn = 2 * np.pi * np.arange(sides) / sides
    rise = np.linspace(-np.pi / 2, 0, sides // 4 + 1)[1:]
    rings = []
    for up, base in [*((k, start) for k in rise), *((k, end) for k in -rise[::-1])]:
        flat = np.stack([np.cos(up) * np.cos(turn), np.cos(up) * np.sin(turn),
                         np.full(sides, np.sin(up))], axis=1)
        rings.append(base + piece.radius * flat @ frame)
    rings = np.array(rings)
    low, high = rings[:-1], rings[1:]
    after = np.roll(np.arange(sides), -1)
    walls = [np.stack([low, low[:, after], high[:, after]], axis=2).reshape(-1, 3, 3),
             np.stack([low, high[:, after], high], axis=2).reshape(-1, 3, 3)]
    tips = start - piece.radius * z, end + piece.radius * z
    caps = [np.stack([rings[0][after], rings[0], np.broadcast_to(tips[0], (sides, 3))], axis=1),
            np.stack([rings[-1], rings[-1][after], np.broadcast_to(tips[1], (sides, 3))], axis=1)]
    made = np.concatenate([*walls, *caps])
    sides = made[:, [1, 2, 0]] - made
    area = np.linalg.norm(np.cross(sides[:, 0], sides[:, 1]), axis=1)
    return made[area > 1e-12]
