"""Surfaces of triangles: a lazily built tree of flat rectangles about them, and what is inside.

A node of the tree is a rectangle in the plane of the main axes of its triangles, grown all round by
half of their thickness there: an ordinary convex piece, so that any bound of pieces bounds nodes.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from .closest import approach
from .pieces import Piece, sphere

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

EDGES = np.array([[0, 1], [1, 2], [2, 0]])
EDGES.flags.writeable = False
FACES = ((0, 1, 2), (0, 2, 1))
RECTANGLE = np.array([[0, 1], [1, 2], [2, 3], [3, 0]])
RECTANGLE.flags.writeable = False
SIDES = ((0, 1, 2, 3), (0, 3, 2, 1))
SPREAD = 1e-9  # mm added to a node for the roundings of its rectangle
AT_ONCE = 1 << 21  # solid angles worked at once
LOOKED_AT = 1000  # corners of a surface that are measured from what it is drawn by
HALVED = 4.0  # mm; a triangle with no longer side is halved no further at a ball


class Triangles(Sequence):
    """The triangles of a surface as convex pieces, each made when asked for.

    Parameters
    ----------
    corners : ndarray (n, 3, 3)
        mm at neutral.
    radius : float
        Growth all round, mm: half a skin's thickness, and how far off the true surface may lie.
    solid : bool
        Whether what they enclose is material too; then they are closed and turn outwards.
    whole : Triangles, optional
        The closed surface that these are a part of.
    """

    def __init__(self, corners: np.ndarray, radius: float, solid: bool,
                 whole: Triangles | None = None):
        self.corners, self.radius, self.solid = corners, float(radius), solid
        self.whole = self if whole is None else whole
        self._kept = {}

    def __len__(self):
        return len(self.corners)

    def __getitem__(self, place):
        if isinstance(place, slice):
            return [self[k] for k in range(*place.indices(len(self)))]
        return Piece(self.corners[place], self.radius, EDGES, FACES)

    @cached_property
    def tree(self) -> Tree:
        """The tree of its nodes, opened as it is gone down."""
        return Tree(self.corners, self.radius)

    @cached_property
    def room(self) -> tuple[np.ndarray, np.ndarray]:
        """Least and greatest coordinates of its corners, mm."""
        flat = self.corners.reshape(-1, 3)
        return flat.min(axis=0), flat.max(axis=0)

    @cached_property
    def firsts(self) -> np.ndarray:
        """One corner of each connected part, (k, 3) mm."""
        _, parts = connected(welded(self.corners))
        _, first = np.unique(parts, return_index=True)
        return self.corners[first, 0]

    def encloses(self, points: ArrayLike) -> np.ndarray:
        """Which points (k, 3) lie within the closed surface of a solid; False for a skin."""
        points, found = np.asarray(points, dtype=float), np.zeros(len(points), bool)
        if not self.whole.solid:
            return found
        low, high = self.whole.room
        near = np.flatnonzero(((points > low) & (points < high)).all(axis=1))
        found[near] = np.abs(winding(self.whole.corners, points[near])) > 0.5
        return found

    def distance(self, point: ArrayLike, most: float) -> float:
        """Distance of a point from the surface, mm, where it is at most so much; else infinite."""
        return self.apart(sphere(point, 0.0), most)

    def held(self, most: int) -> tuple[Piece, ...]:
        """Some pieces that hold all of it, about `most`: flat rectangles that are thick enough."""
        tree, nodes = self.tree, np.array([0])
        while len(nodes) < most and (tree.triangle[nodes] < 0).any():
            tree.open(nodes)
            single = tree.triangle[nodes] >= 0
            ends = tree.first[nodes[~single]], tree.count[nodes[~single]]
            nodes = np.concatenate([nodes[single], *(np.arange(first, first + count) for
                                                     first, count in zip(*ends, strict=True))])
        return tuple(node_piece(corners, radius, one) for corners, radius, one in zip(
            tree.corners[nodes], tree.radius[nodes].tolist(), (tree.triangle[nodes] >= 0).tolist(),
            strict=True))

    def apart(self, piece: Piece, most: float) -> float:
        """Distance of a piece, mm, where it is at most so much; else infinite."""
        reach = most + self.radius + piece.radius
        low, high = piece.points.min(axis=0) - reach, piece.points.max(axis=0) + reach
        near = self.corners[((self.corners.min(axis=1) <= high)
                             & (self.corners.max(axis=1) >= low)).all(axis=1)]
        if not len(near):
            return np.inf
        apart = float(point_distances(near, piece.points).min()) - self.radius - piece.radius
        return apart if apart <= most else np.inf

    def surrounds(self, centre: ArrayLike, radius: float) -> bool:
        """Whether the wall of a hole about a point lies within a ball: more than half of it."""
        within = ((self.corners - centre)**2).sum(axis=2).max(axis=1) <= radius**2
        return bool(within.any()) and abs(float(
            winding(self.corners[within], np.asarray(centre, float)[None])[0])) > 0.5

    def outside_balls(self, balls: Sequence) -> Triangles:
        """What of it does not lie within some balls; itself where nothing does.

        Parameters
        ----------
        balls : sequence of ((3,), float)
            Centres and radii, mm; `radius` has to lie in the ball too.  Triangles partly in one
            are halved until they are small, and then kept.
        """
        key = tuple((tuple(centre), reach) for centre, reach in balls)
        if key not in self._kept:
            self._kept[key] = self._outside(key)
        return self._kept[key]

    def _outside(self, balls):
        kept, asked, lost = [], self.corners, False
        while len(asked):
            inside, near = np.zeros((2, len(asked)), bool)
            for centre, reach in balls:
                far = ((asked - centre)**2).sum(axis=2).max(axis=1)
                inside |= far <= max(reach - self.radius - SPREAD, 0.0)**2
                middle = asked.mean(axis=1)
                size = np.sqrt(((asked - middle[:, None])**2).sum(axis=2).max(axis=1))
                near |= np.linalg.norm(middle - centre, axis=1) <= size + reach
            lost |= bool(inside.any())
            long = np.linalg.norm(np.roll(asked, -1, axis=1) - asked, axis=2)
            open_ = near & ~inside & (long.max(axis=1) > HALVED)
            kept.append(asked[~inside & ~open_])
            asked = halved(asked[open_], long[open_].argmax(axis=1))
        return Triangles(np.concatenate(kept), self.radius, self.solid, self.whole) \
            if lost else self


def halved(corners: np.ndarray, side: np.ndarray) -> np.ndarray:
    """Both halves of triangles across a side each."""
    place = np.arange(len(corners))
    one, other, top = (corners[place, (side + k) % 3] for k in range(3))
    middle = (one + other) / 2
    return np.concatenate([np.stack([one, middle, top], axis=1),
                           np.stack([middle, other, top], axis=1)])


def node_piece(corners: np.ndarray, radius: float, single: bool) -> Piece:
    """The piece of a node: its rectangle, or of a single triangle its first three corners."""
    return Piece(corners[:3], radius, EDGES, FACES) if single else Piece(corners, radius, RECTANGLE,
                                                                         SIDES)


class Tree:
    """Nodes about triangles, each opened into up to four when it is asked for.

    Attributes
    ----------
    corners : ndarray (nodes, 4, 3)
        Of each node's rectangle, mm; of a single triangle its own, the last one twice.
    radius : ndarray (nodes,)
        Growth all round, mm.
    size : ndarray (nodes,)
        How far apart points of the node may be from its middle, mm; 0 of a single triangle.
    first, count : ndarray of int (nodes,)
        Where its children stand; a count of -1 means not opened yet.
    triangle : ndarray of int (nodes,)
        Of a single triangle its number; else -1.
    """

    def __init__(self, corners: np.ndarray, radius: float):
        self._corners, self._skin = corners, radius
        self._middles = corners.mean(axis=1)
        self._order = np.arange(len(corners))
        self._start, self._stop = np.zeros((2, 0), int)
        self.corners, self.radius, self.size = np.zeros((0, 4, 3)), np.zeros(0), np.zeros(0)
        self.first, self.count, self.triangle = np.zeros((3, 0), int)
        self._add(np.array([0]), np.array([len(corners)]))

    def open(self, nodes: np.ndarray) -> None:
        """Make the children of some nodes."""
        nodes = np.unique(nodes[(self.count[nodes] < 0) & (self.triangle[nodes] < 0)])
        if not nodes.size:
            return
        start, stop = self._start[nodes], self._stop[nodes]
        parent = np.arange(len(nodes))
        for _ in range(2):
            start, stop, back = self._halves(start, stop)
            parent = parent[back]
        self.count[nodes] = np.bincount(parent, minlength=len(nodes))
        self.first[nodes] = len(self.radius) + np.cumsum(self.count[nodes]) - self.count[nodes]
        self._add(start, stop)

    def _halves(self, start, stop):
        """Ranges halved at the median along the longest side of their middles, and of which."""
        many = np.flatnonzero(stop - start > 1)
        place, seg, at = _ranges(start[many], stop[many])
        middles = self._middles[self._order[place]]
        spread = np.maximum.reduceat(middles, at) - np.minimum.reduceat(middles, at)
        along = middles[np.arange(len(seg)), spread.argmax(axis=1)[seg]]
        self._order[place] = self._order[place][np.lexsort((along, seg))]
        middle = (start + stop) // 2
        wide = stop - start > 1
        back = np.repeat(np.arange(len(start)), np.where(wide, 2, 1))
        second = np.zeros(len(back), bool)
        second[1:] = back[1:] == back[:-1]
        return (np.where(second, middle[back], start[back]),
                np.where(wide[back] & ~second, middle[back], stop[back]), back)

    def _add(self, start, stop):
        """Nodes of ranges of the order."""
        place, seg, at = _ranges(start, stop)
        points = self._corners[self._order[place]]
        count = (stop - start)[:, None]
        middle = np.add.reduceat(points.mean(axis=1), at) / count
        off = points - middle[seg][:, None]
        spread = np.add.reduceat(np.einsum("nci,ncj->nij", off, off), at)
        axes = np.linalg.eigh(spread)[1][:, :, ::-1]
        along = off @ axes[seg]
        low = np.minimum.reduceat(along.min(axis=1), at)
        high = np.maximum.reduceat(along.max(axis=1), at)
        half, centre = (high - low) / 2, (high + low) / 2
        signs = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
        local = np.empty((len(start), 4, 3))
        local[..., :2] = centre[:, None, :2] + signs * half[:, None, :2]
        local[..., 2] = centre[:, None, 2]
        corners = middle[:, None] + np.einsum("nck,nik->nci", local, axes)
        one = stop - start == 1
        single = self._order[start[one]]
        corners[one, :3], corners[one, 3] = self._corners[single], self._corners[single, 2]
        radius = self._skin + np.where(one, 0.0, half[:, 2] * (1 + 1e-12) + SPREAD)
        size = np.where(one, 0.0, np.sqrt((half**2).sum(axis=1)))
        triangle = np.where(one, self._order[start], -1)
        for name, more in (("_start", start), ("_stop", stop), ("corners", corners),
                           ("radius", radius), ("size", size), ("triangle", triangle),
                           ("first", np.zeros(len(start), int)),
                           ("count", np.where(one, 0, -1))):
            setattr(self, name, np.concatenate([getattr(self, name), more]))


def _ranges(start, stop):
    """All places of some ranges, of which range each is, and where each range begins."""
    count = stop - start
    at = np.cumsum(count) - count
    seg = np.repeat(np.arange(len(start)), count)
    return np.arange(count.sum()) - at[seg] + start[seg], seg, at


def welded(corners: np.ndarray) -> np.ndarray:
    """Numbers of the corners of triangles (n, 3, 3), those at the very same place alike: (n, 3)."""
    flat = np.ascontiguousarray(corners.reshape(-1, 3)) + 0.0  # -0.0 is 0.0
    whole = flat.view(np.dtype((np.void, flat.dtype.itemsize * 3))).ravel()
    return np.unique(whole, return_inverse=True)[1].reshape(-1, 3)


def connected(faces: np.ndarray) -> tuple[int, np.ndarray]:
    """How many connected parts triangles make, and which each is in; corners as numbers (n, 3)."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    count = int(faces.max()) + 1
    one, other = faces[:, [0, 1]].ravel(), faces[:, [1, 2]].ravel()
    links = coo_matrix((np.ones(len(one), bool), (one, other)), shape=(count, count))
    parts = connected_components(links, directed=False)[1][faces[:, 0]]
    kinds, parts = np.unique(parts, return_inverse=True)
    return len(kinds), parts


def winding(corners: np.ndarray, points: np.ndarray) -> np.ndarray:
    """How often triangles (n, 3, 3) go round points (k, 3): 1 inside a closed surface, 0 outside.

    By the solid angle of each triangle (A. Van Oosterom and J. Strackee, "The solid angle of a
    plane triangle", 1983, from memory).
    """
    found = np.zeros(len(points))
    step = max(1, AT_ONCE // max(len(corners), 1))
    for first in range(0, len(points), step):
        some = points[first:first + step]
        a, b, c = (corners[:, k].T[:, None] - some.T[:, :, None] for k in range(3))
        la, lb, lc = (np.sqrt((k * k).sum(axis=0)) for k in (a, b, c))
        det = (a[0] * (b[1] * c[2] - b[2] * c[1]) + a[1] * (b[2] * c[0] - b[0] * c[2])
               + a[2] * (b[0] * c[1] - b[1] * c[0]))
        rest = (la * lb * lc + (a * b).sum(axis=0) * lc + (b * c).sum(axis=0) * la
                + (c * a).sum(axis=0) * lb)
        found[first:first + step] = np.arctan2(det, rest).sum(axis=1) / (2 * np.pi)
    return found


def point_distances(corners: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Distance of the hull of some points (k, 3) from triangles (n, 3, 3): (n,) mm."""
    hull = corners.transpose(2, 1, 0)
    spot = np.broadcast_to(points.T[:, :, None], (3, len(points), len(corners)))
    seen = approach(hull, spot, points.mean(axis=0)[:, None] - hull.mean(axis=1))
    return np.sqrt((seen.between**2).sum(axis=0))


def coarser(corners: np.ndarray, most: int) -> tuple[np.ndarray, float]:
    """Fewer triangles that lie near a surface, to draw it by.

    Corners within a cell of an even grid are taken together at the one nearest their middle, of
    those on an open edge where there are any; the grid is made coarser until the triangles are few.

    Parameters
    ----------
    corners : ndarray (n, 3, 3)
        mm.
    most : int
        Triangles wanted at most.

    Returns
    -------
    (ndarray (k, 3, 3), float)
        And how far the surface was found to lie off them, at up to `LOOKED_AT` of its corners, mm.
    """
    if len(corners) <= most:
        return corners, 0.0
    spots, place = np.unique(corners.reshape(-1, 3), axis=0, return_inverse=True)
    place = place.reshape(-1, 3)
    edge, low = _on_open_edges(place, len(spots)), spots.min(axis=0)
    size = float(np.ptp(spots, axis=0).max()) / (most / 6) ** 0.5 / 4
    while True:
        _, cell, count = np.unique(np.floor((spots - low) / size), axis=0, return_inverse=True,
                                   return_counts=True)
        cell = cell.ravel()
        middle = np.stack([np.bincount(cell, spots[:, k]) for k in range(3)], axis=1) \
            / count[:, None]
        off = ((spots - middle[cell])**2).sum(axis=1)
        order = np.lexsort((off, ~edge, cell))
        chosen = spots[order[np.searchsorted(cell[order], np.arange(len(count)))]]
        faces = cell[place]
        wide = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (
            faces[:, 2] != faces[:, 0])
        _, first = np.unique(np.sort(faces[wide], axis=1), axis=0, return_index=True)
        if len(first) <= most:
            drawn = chosen[faces[wide][np.sort(first)]]
            return drawn, _lies_off(spots, drawn)
        size *= 1.15


def _on_open_edges(faces, count):
    """Which of some corners lie on a side of one triangle alone."""
    sides = np.sort(np.stack([faces, np.roll(faces, -1, axis=1)], axis=-1).reshape(-1, 2), axis=1)
    ends, times = np.unique(sides, axis=0, return_counts=True)
    found = np.zeros(count, bool)
    found[ends[times == 1]] = True
    return found


def _lies_off(points, drawn):
    """How far any of some points, evenly picked, lies off triangles, mm."""
    some = points[::max(1, len(points) // LOOKED_AT)]
    middles = drawn.mean(axis=1)
    reach = np.linalg.norm(drawn - middles[:, None], axis=2).max(axis=1)
    away = np.sqrt(((some[:, None] - middles)**2).sum(axis=2))
    point, near = np.nonzero(away - reach <= away.min(axis=1)[:, None])
    hull, spots = drawn[near].transpose(2, 1, 0), some[point].T[:, None]
    seen = approach(hull, spots, spots[:, 0] - hull.mean(axis=1))
    least = np.full(len(some), np.inf)
    np.fmin.at(least, point, np.sqrt((seen.between**2).sum(axis=0)))
    return float(least.max())
