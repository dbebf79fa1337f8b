"""The convex pieces that solids are made of: balls, tubes, flat plates and prisms."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

import numpy as np

from ..errors import LinkageError, counted, mm
from .vectors import cross, dot

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

FLAT_WITHIN = 1e-9  # mm; rounding of a plate laid out at 1000 mm is a thousand times less
IN_LINE = 1e-11  # mm, within which corners seen along an edge count as one, or as in line


@dataclass(frozen=True, eq=False)
class Piece:
    """A convex piece of a solid: the hull of a few points, grown all round by a radius.

    Parameters
    ----------
    points : numpy.ndarray
        Corners at neutral, ``(n, 3)`` mm; one for a ball, two for a tube.
    radius : float
        Growth all round, mm, 0 for sharp-edged pieces.
    edges : numpy.ndarray
        Pairs of corners, ``(e, 2)``.
    faces : tuple of tuple of int
        Corners round each face, counter-clockwise seen from outside; none for balls and tubes,
        two (up and down) for a flat plate without thickness.

    Examples
    --------
    >>> tube([0, 0, 0], [100, 0, 0], 6.0).points.shape
    (2, 3)
    """

    points: np.ndarray
    radius: float
    edges: np.ndarray
    faces: tuple[tuple[int, ...], ...]

    def __post_init__(self):
        if not 0 <= self.radius < math.inf:
            raise LinkageError(
                f"a solid has radius {mm(self.radius)}; give a radius of {mm(0)} or more",
                radius=self.radius)
        if not np.isfinite(self.points).all():
            _refuse_points(self.points)

    @property
    def flat(self) -> bool:
        """Whether the piece is a plate without thickness."""
        return len(self.faces) == 2

    @cached_property
    def directions(self) -> np.ndarray:
        """One edge, as a pair of corners, for every direction that edges have, ``(k, 2)``."""
        if not self.faces:
            return self.edges
        ends = self.points[self.edges]
        return self.edges[_distinct(ends[:, 1] - ends[:, 0])]

    @cached_property
    def outlines(self) -> tuple[np.ndarray, ...]:
        """Corners on the outline seen along each of `directions`, one array per direction."""
        return tuple(_seen_outline(self.points, end - start)
                     for start, end in self.points[self.directions])

    @cached_property
    def facings(self) -> np.ndarray:
        """Three corners of one face for every direction that faces have, ``(k, 3)``.

        Opposite faces count once.
        """
        if not self.faces:
            return np.zeros((0, 3), dtype=int)
        triples = np.array([self._wide_triple(np.array(face)) for face in self.faces])
        first, second, third = np.moveaxis(self.points[triples], 1, 0)
        return triples[_distinct(np.cross(second - first, third - first))]

    @cached_property
    def triangles(self) -> np.ndarray:
        """All faces cut into triangles from one corner, ``(t, 3)``."""
        fans = [(face[0], face[k], face[k + 1])
                for face in self.faces for k in range(1, len(face) - 1)]
        return np.array(fans, dtype=int).reshape(-1, 3)

    def _wide_triple(self, face: np.ndarray) -> np.ndarray:
        spokes = self.points[face] - self.points[face[0]]
        far = (spokes**2).sum(axis=1).argmax()
        wide = (np.cross(spokes, spokes[far])**2).sum(axis=1).argmax()
        return face[[0, far, wide]]


def sphere(centre: ArrayLike, radius: float) -> Piece:
    """A ball.

    Parameters
    ----------
    centre : array_like
        ``(3,)`` mm at neutral.
    radius : float
        mm.

    Examples
    --------
    >>> sphere([0, 0, 0], 5.0).radius
    5.0
    """
    return Piece(_corners([centre]), float(radius), np.zeros((0, 2), dtype=int), ())


def tube(start: ArrayLike, end: ArrayLike, radius: float) -> Piece:
    """A round bar or tube with half-ball ends whose centres are the ends of its axis.

    Parameters
    ----------
    start, end : array_like
        Ends of the axis, ``(3,)`` mm at neutral; they may coincide.
    radius : float
        Outside radius, mm.

    Examples
    --------
    >>> tube([0, 0, 0], [0, 0, 10], 2.0).edges.tolist()
    [[0, 1]]
    """
    return Piece(_corners([start, end]), float(radius), np.array([[0, 1]]), ())


def hull_piece(points: ArrayLike, radius: float) -> Piece:
    """The hull of some corners, whose faces nobody asks for.

    Parameters
    ----------
    points : array_like (n, 3), mm
    radius : float
        Growth all round, mm.
    """
    return Piece(np.array(points, dtype=float), radius, np.zeros((0, 2), dtype=int), ())


def polygon(corners: ArrayLike, radius: float = 0.0) -> Piece:
    """A flat convex plate without thickness.

    Parameters
    ----------
    corners : array_like
        ``(m, 3)`` mm at neutral, in order round the outline, either way.
    radius : float
        Growth all round, mm.

    Examples
    --------
    >>> polygon([[0, 0, 0], [10, 0, 0], [0, 10, 0]]).flat
    True
    """
    corners = _corners(corners)
    _normal(corners)
    around = np.arange(len(corners))
    edges = np.stack((around, np.roll(around, -1)), axis=1)
    return Piece(corners, float(radius), edges, (tuple(around.tolist()),
                                                 tuple(around[::-1].tolist())))


def prism(corners: ArrayLike, offset: ArrayLike, radius: float = 0.0) -> Piece:
    """A flat convex outline swept along a vector: a plate, a box, a block.

    Parameters
    ----------
    corners : array_like
        The outline, ``(m, 3)`` mm at neutral, in order, either way round.
    offset : array_like
        Sweep, ``(3,)`` mm; it must leave the plane of the outline.
    radius : float
        Growth all round, mm.

    Returns
    -------
    Piece
        Its points are the outline, then the swept outline.

    Examples
    --------
    >>> box = prism([[0, 0, 0], [2, 0, 0], [2, 2, 0], [0, 2, 0]], [0, 0, 2])
    >>> len(box.points), len(box.edges), len(box.faces)
    (8, 12, 6)
    """
    corners, offset = _corners(corners), _corners([offset])[0]
    rise = float(_normal(corners) @ offset)
    if abs(rise) <= FLAT_WITHIN:
        raise LinkageError(
            f"a plate is {mm(abs(rise))} thick square to its outline; give its thickness, or "
            "describe it as a plate without thickness", thickness=abs(rise))
    if rise < 0:  # faces are written for a sweep to the side that sees the outline turn left
        corners = corners[::-1]
    return Piece(np.concatenate((corners, corners + offset)), float(radius),
                 *_prism_sides(len(corners)))


def prisms(polygons: Iterable[ArrayLike], base: ArrayLike, axes: ArrayLike,
           thickness: float) -> tuple[Piece, ...]:
    """Flat plates of one thickness side by side: the convex parts of one plate.

    Much quicker than `prism` for each, as the outlines are taken as they are: convex,
    counter-clockwise and without corners in line is for the caller to hold.

    Parameters
    ----------
    polygons : sequence of array_like
        ``(m, 2)`` mm each, in the plate's own plane.
    base : array_like
        Place of ``[0, 0]`` on the lower face, ``(3,)`` mm at neutral.
    axes : tuple of array_like
        Unit vectors ``(3,)`` of the two directions of the plane and of the normal that sees them
        turn left; the plates rise along the normal.
    thickness : float
        mm, more than 0.

    Returns
    -------
    tuple of Piece
        What `prism` makes of each polygon.

    Examples
    --------
    >>> left, right = prisms([[[0, 0], [2, 0], [0, 2]], [[2, 0], [2, 2], [0, 2]]], [0, 0, 0],
    ...                      np.eye(3), 1.0)
    >>> left.points[3].tolist(), len(right.faces)
    ([0.0, 0.0, 1.0], 5)
    """
    u, v, normal = np.asarray(axes, dtype=float)
    counts = np.array([len(polygon) for polygon in polygons], dtype=int)
    if not counts.size:
        return ()
    flat = np.concatenate(polygons, dtype=float)
    low = np.asarray(base, dtype=float) + flat[:, :1] * u + flat[:, 1:] * v
    ends = counts.cumsum()
    row = np.arange(len(flat)) + np.repeat(ends - counts, counts)  # of each lower corner
    points = np.empty((2 * len(flat), 3))
    points[row] = low
    points[row + np.repeat(counts, counts)] = low + normal * thickness
    return tuple(Piece(points[2 * (end - count):2 * end], 0.0, *_prism_sides(count))
                 for end, count in zip(ends.tolist(), counts.tolist(), strict=True))


@lru_cache(maxsize=1024)
def _prism_sides(count: int) -> tuple:
    """Edges and faces of any prism whose outline has `count` corners, read only."""
    low = np.arange(count)
    after = np.roll(low, -1)
    edges = np.concatenate([np.stack(pair, axis=1) for pair in (
        (low, after), (low + count, after + count), (low, low + count))])
    edges.flags.writeable = False  # one array serves all prisms of a kind
    sides = np.stack((low, after, after + count, low + count), axis=1)
    return edges, tuple(tuple(face.tolist()) for face in (low[::-1], low + count, *sides))


def _corners(points) -> np.ndarray:
    points = np.array(points, dtype=float)
    if points.ndim != 2 or points.shape[1] != 3:
        raise LinkageError(f"a solid needs points with x, y and z, and got an array of shape "
                           f"{points.shape}", shape=points.shape)
    if not np.isfinite(points).all():
        _refuse_points(points)
    return points


def _refuse_points(points):
    points = np.asarray(points)
    wrong = points[~np.isfinite(points).all(axis=-1)][0].tolist()
    raise LinkageError(f"a solid has a point that is no number, {wrong}; give x, y and z",
                       points=points)


def _normal(corners: np.ndarray) -> np.ndarray:
    """Unit normal that sees the outline turn left; refuses outlines not flat or not convex."""
    if len(corners) < 3:
        raise LinkageError(f"a plate's outline has {counted(len(corners), 'corner')}; give 3 "
                           f"or more", corners=len(corners))
    spokes = (corners - corners[0]).T
    sides = (np.concatenate((corners[1:], corners[:1])) - corners).T
    area = cross(spokes[:, 1:-1], spokes[:, 2:]).sum(axis=1)
    twice, lengths = math.hypot(*area), np.sqrt(dot(sides, sides))
    if lengths.min() <= FLAT_WITHIN or twice <= FLAT_WITHIN * lengths.max():
        raise LinkageError(f"a plate's outline spans no area, with a longest side of "
                           f"{mm(lengths.max())} and a shortest of {mm(lengths.min())}; give "
                           f"corners that span one",
                           area=twice / 2, side=lengths.min())
    normal = area / twice
    bow = np.abs(normal @ spokes).max()
    if bow > FLAT_WITHIN:
        raise LinkageError(f"a plate's outline is out of flat by {mm(bow)}; give corners in one "
                           "plane", bow=bow)
    inside = spokes.T @ (cross(normal[:, None], sides) / lengths)  # of each corner, from each side
    dent = (inside.diagonal() - inside).max()
    if dent > FLAT_WITHIN:
        raise LinkageError(f"a plate's outline is dented or crossed by {mm(dent)}; split it into "
                           "convex parts", dent=dent)
    return normal


def _distinct(vectors: np.ndarray) -> list[int]:
    """Places of the first vector of every direction, opposite ones counting as the same."""
    units = vectors / np.linalg.norm(vectors, axis=1, keepdims=True)
    places: list[int] = []
    for place, direction in enumerate(units):
        # 1e-12: over 1000 mm a direction dropped here moves nothing by more than rounding does
        if not places or np.linalg.norm(np.cross(direction, units[places]), axis=1).min() > 1e-12:
            places.append(place)
    return places


def _seen_outline(points: np.ndarray, way: np.ndarray) -> np.ndarray:
    """Places of the corners on the outline of a hull as seen along a direction.

    Those in line with each other count once. Outline by A. Andrew's sorted chains, 1979 (from
    memory).
    """
    way = way / np.linalg.norm(way)
    right = np.cross(way, np.eye(3)[np.abs(way).argmin()])
    right /= np.linalg.norm(right)
    flat = points @ np.stack((right, np.cross(way, right)), axis=1)
    flat = np.round((flat - flat[0]) / IN_LINE) * IN_LINE
    _, first = np.unique(flat, axis=0, return_index=True)  # sorted by the first, then the second
    if len(first) < 3:
        return first
    chains, spots, first = [], flat.tolist(), first.tolist()  # plain floats are quicker here
    for order in (first, first[::-1]):
        chain: list[int] = []
        for place in order:
            while len(chain) > 1 and _bulge(spots[chain[-2]], spots[chain[-1]],
                                            spots[place]) <= IN_LINE:
                chain.pop()
            chain.append(place)
        chains += chain[:-1]
    return np.array(chains)


def _bulge(first, second, third) -> float:
    """How far the second of three points lies outside the line of the others, mm."""
    x, y = third[0] - first[0], third[1] - first[1]
    return ((second[0] - first[0]) * y - (second[1] - first[1]) * x) / math.hypot(x, y)
