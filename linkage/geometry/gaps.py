"""The gap between two convex pieces, for one posture or a million."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..errors import LinkageError
from .closest import approach, clear_space
from .features import closest_features
from .overlap import widest_space
from .pieces import Piece
from .tubes import tube_gap
from .vectors import dot

PROOF = 1e-10  # mm between proven and found distance, above which every feature is tried
EXACT = 1e-9  # mm, the promise of `Gap.exact`
PUSHED = 1.0  # mm of clear space that an overlapping piece is pushed out to
CORNERS = 1 << 16  # corners posed in one block, so that its arrays stay in the cache


@dataclass(frozen=True, eq=False)
class Gap:
    """How far apart two pieces are, and where.

    Parameters
    ----------
    value : numpy.ndarray
        ``(...)`` mm: above 0 their distance, 0 or less exactly when they touch or overlap, and
        then minus the length of the shortest push that parts them; NaN where a point is NaN.
    direction : numpy.ndarray
        Unit vector from the first to the second along which the gap is measured, ``(..., 3)``.
    point_a, point_b : numpy.ndarray
        The closest points on the two surfaces, ``(..., 3)`` mm: ``value * direction`` leads from
        the first to the second.
    exact : numpy.ndarray
        ``(...)``: the clear space between the two along `direction` is `value` within 1e-9 mm,
        which proves it. False for NaN, and for rare postures all but touching on slivers, where
        `value` was found by trying every feature but its direction is rounding.
    """

    value: np.ndarray
    direction: np.ndarray
    point_a: np.ndarray
    point_b: np.ndarray
    exact: np.ndarray


def piece_gap(points_a: np.ndarray, piece_a: Piece, points_b: np.ndarray, piece_b: Piece) -> Gap:
    """Gap between two posed pieces.

    Parameters
    ----------
    points_a, points_b : array_like
        Posed points of the pieces, ``(..., n, 3)`` mm, broadcast together over leading axes.
    piece_a, piece_b : Piece
        The pieces at neutral.

    Returns
    -------
    Gap
        The result for a posture does not depend on the postures beside it.

    Examples
    --------
    >>> from linkage.geometry import prism, tube
    >>> bar = tube([-50, 0, 20], [50, 0, 20], 4.0)
    >>> plate = prism([[-100, -100, -1], [100, -100, -1], [100, 100, -1], [-100, 100, -1]],
    ...               [0, 0, 2])
    >>> gap = piece_gap(bar.points, bar, plate.points, plate)
    >>> float(gap.value), (gap.direction + 0.0).tolist()
    (15.0, [0.0, 0.0, -1.0])
    """
    points_a, points_b = _posed(points_a, piece_a), _posed(points_b, piece_b)
    shape = np.broadcast_shapes(points_a.shape[:-2], points_b.shape[:-2])
    rows_a, rows_b = _rows(points_a, shape), _rows(points_b, shape)
    postures = int(np.prod(shape))
    value, exact = np.empty(postures), np.empty(postures, dtype=bool)
    vectors = np.empty((3, postures, 3))
    block = min(1024, max(64, CORNERS // (len(piece_a.points) + len(piece_b.points))))
    with np.errstate(all="ignore"):
        for start in range(0, postures, block):
            here = slice(start, min(start + block, postures))
            found = _block_gap(_hull(rows_a, here), piece_a, _hull(rows_b, here), piece_b)
            value[here], exact[here] = found[0], found[4]
            for vector, part in zip(vectors, found[1:4], strict=True):
                vector[here] = part.T
    direction, point_a, point_b = (vector.reshape(*shape, 3) for vector in vectors)
    return Gap(value.reshape(shape), direction, point_a, point_b, exact.reshape(shape))


def least_gap(gaps: Sequence[Gap]) -> Gap:
    """Smallest of several gaps, posture by posture; NaN where one of them is NaN.

    Parameters
    ----------
    gaps : sequence of Gap
        Those of all pairs of pieces of two solids, of one shape.

    Returns
    -------
    Gap
        With direction and points of the pair that is closest.

    Examples
    --------
    >>> from linkage.geometry import sphere
    >>> ball = sphere([0, 0, 0], 1.0)
    >>> gaps = [piece_gap(ball.points, ball, [[x, 0, 0]], ball) for x in (7, -5)]
    >>> float(least_gap(gaps).value), least_gap(gaps).direction.tolist()
    (3.0, [-1.0, 0.0, 0.0])
    """
    least = gaps[0]
    for gap in gaps[1:]:
        nearer = (gap.value < least.value) | np.isnan(gap.value)
        wide = nearer[..., None]
        least = Gap(np.where(nearer, gap.value, least.value),
                    np.where(wide, gap.direction, least.direction),
                    np.where(wide, gap.point_a, least.point_a),
                    np.where(wide, gap.point_b, least.point_b),
                    np.where(nearer, gap.exact, least.exact))
    return least


def support(points: np.ndarray, direction: np.ndarray) -> np.ndarray:
    """How far a hull of points reaches along a direction.

    Parameters
    ----------
    points : array_like
        ``(..., n, 3)`` mm.
    direction : array_like
        Unit vector, ``(..., 3)``.

    Returns
    -------
    numpy.ndarray
        ``(...)`` mm, from the plane through the origin.

    Examples
    --------
    >>> float(support([[1, 2, 3], [4, 0, 0]], [0, 0, 1]))
    3.0
    """
    points, direction = np.asarray(points, dtype=float), np.asarray(direction, dtype=float)
    return dot(np.moveaxis(points, -1, 0), np.moveaxis(direction, -1, 0)[..., None]).max(axis=-1)


def _posed(points, piece):
    points = np.asarray(points, dtype=float)
    if points.ndim < 2 or points.shape[-2:] != piece.points.shape:
        raise LinkageError(f"a piece of {len(piece.points)} points is posed by an array of shape "
                           f"{points.shape}; give (..., {len(piece.points)}, 3)",
                           shape=points.shape)
    return points


def _rows(points, shape):
    """All postures in one row, ``(m, n, 3)``, or ``(1, n, 3)`` for a piece that stands still."""
    count = points.shape[-2:]
    if points.size == np.prod(count):
        return points.reshape(1, *count)
    return np.broadcast_to(points, (*shape, *count)).reshape(-1, *count)


def _hull(rows, here):
    """Posed corners of one block of postures, ``(3, n, m)``."""
    chosen = rows if len(rows) == 1 else rows[here]
    chosen = np.broadcast_to(chosen, (here.stop - here.start, *rows.shape[1:]))
    return np.ascontiguousarray(chosen.transpose(2, 1, 0))


def _block_gap(hull_a, piece_a, hull_b, piece_b):
    """Value, direction, closest points and exactness, postures last; NaN postures left out."""
    usable = np.isfinite(hull_a).all(axis=(0, 1)) & np.isfinite(hull_b).all(axis=(0, 1))
    if not usable.all():
        usable_gap = _block_gap(hull_a[..., usable], piece_a, hull_b[..., usable], piece_b)
        spread = [np.full((*part.shape[:-1], usable.size), np.nan) for part in usable_gap[:4]]
        spread.append(np.zeros(usable.size, dtype=bool))
        for whole, part in zip(spread, usable_gap, strict=True):
            whole[..., usable] = part
        return spread
    if piece_a.faces or piece_b.faces:
        value, direction, foot_a, foot_b, exact = _hull_gap(hull_a, piece_a, hull_b, piece_b)
    else:
        value, direction, foot_a, foot_b = tube_gap(hull_a, hull_b)
        exact = np.ones(value.shape, dtype=bool)
    return (value - (piece_a.radius + piece_b.radius), direction,
            foot_a + piece_a.radius * direction, foot_b - piece_b.radius * direction, exact)


def _hull_gap(hull_a, piece_a, hull_b, piece_b):
    """The same for the hulls without their radii: walked to, and settled where not proven."""
    nearest = approach(hull_a, hull_b, _middle(hull_b) - _middle(hull_a))
    distance = np.sqrt(dot(nearest.between, nearest.between))
    gap = (distance, nearest.direction, nearest.foot, nearest.foot + nearest.between,
           distance - nearest.proven <= PROOF)
    open_ = np.flatnonzero(~gap[4])
    if open_.size:
        hull_a, hull_b = hull_a[..., open_], hull_b[..., open_]
        space, axis = widest_space(hull_a, piece_a, hull_b, piece_b)
        for chosen, settle in ((space <= 0, _overlapping), (space > 0, _apart)):
            if not chosen.any():
                continue
            settled = settle(hull_a[..., chosen], piece_a, hull_b[..., chosen], piece_b,
                             space[chosen], axis[:, chosen])
            for whole, part in zip(gap, settled, strict=True):
                whole[..., open_[chosen]] = part
    return gap


def _middle(hull):
    """Midpoint of two corners far apart: the centre, for a box or a tube."""
    corners = hull.shape[1]
    return 0.5 * (hull[:, 0] + hull[:, corners // 2 + corners // 4])


def _overlapping(hull_a, piece_a, hull_b, piece_b, space, axis):
    """Pushed out along the axis they must be clear by just that much; that proves the depth."""
    push = (PUSHED - space) * axis
    pushed = approach(hull_a, hull_b + push[:, None], axis)
    distance = np.sqrt(dot(pushed.between, pushed.between))
    return (space, axis, pushed.foot, pushed.foot + pushed.between - push,
            np.abs(distance - PUSHED) <= EXACT)


def _apart(hull_a, piece_a, hull_b, piece_b, space, axis):
    """Every feature tried; measured along whichever direction proves most."""
    foot, between = closest_features(hull_a, piece_a, hull_b, piece_b)
    distance = np.sqrt(dot(between, between))
    direction = between / distance
    along = clear_space(hull_a, hull_b, direction)
    direct = along > space
    direction = np.where(direct, direction, axis)
    return (distance, direction, foot, foot + between,
            distance - np.where(direct, along, space) <= EXACT)
