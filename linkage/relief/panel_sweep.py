"""What of a skin of triangles comes nearer to what moves than it may."""

from __future__ import annotations

import numpy as np
import shapely

from ..geometry import approach
from ..geometry.triangles import Triangles, halved
from .swept import COARSE, MOST_POSITIONS, MOST_SIDE, SCALLOP, STEPS, Sweep, posed

FINE = 0.5  # mm, below which the edge of what is in the way is taken for straight in a triangle
AT_ONCE = 1 << 19  # triangles against hulls, asked at once
MOST_HULLS = 4000  # of a piece at a position each, worked at once


class PanelSweep(Sweep):
    """As `Sweep`, of a skin: the region is what of it is in the way, seen square to its plane.

    A place of the skin is in the way of a piece that comes within R of it: the clearance, the
    piece's radius and the skin's own.  Distance changes no faster than the place does, so that a
    triangle whose middle is clear of R by more than its size is in the way as a whole or not at
    all; others are halved, and in small ones the edge runs straight between their sides.
    """

    def region(self) -> shapely.Geometry:
        """The union over the whole travel, a shapely geometry in mm."""
        sides = [np.linspace(*ends, COARSE) for ends in self.travel.values()]
        kinds = self._kinds(self._grid(sides))
        moved = np.array([_moved(hull, len(sides)) for hull, _ in kinds]).reshape(-1, len(sides))
        near = [k for k, (hull, size) in enumerate(kinds) if self._may_meet(
            hull, size + moved[k].sum())]
        if not near:
            return shapely.Polygon()
        counts = self._counts(min(kinds[k][1] for k in near), moved[near].max(axis=0))
        sides = [np.linspace(*ends, count) for ends, count in zip(self.travel.values(), counts,
                                                                   strict=True)]
        self.spacing = {name: float(side[1] - side[0]) for name, side in zip(
            self.travel, sides, strict=True)}
        corners = dict(zip(self.travel, self._corners.T, strict=True))
        return self._in_the_way([self._reachable(self._grid(sides), self.spacing), corners])

    def _counts(self, size, moved):
        """How many positions of each input are swept, of pieces that move so far at most."""
        step = self.step if self.step is not None else np.clip(np.sqrt(8 * size * SCALLOP), *STEPS)
        counts = np.array([min(MOST_SIDE, int(np.ceil((COARSE - 1) * m / step)) + 2)
                           for m in moved])
        while counts.prod() > MOST_POSITIONS // 8:
            counts = np.maximum(2, (counts * 0.9).astype(int))
        return counts

    def near(self, place: dict, level: int) -> shapely.Geometry:
        """The union over one position and a few more about it, closer together at every level."""
        return self._in_the_way([self._about(place, level)])

    def comes_near(self) -> np.ndarray:
        """Which triangles something may come near to, by a few positions: bool (n,)."""
        sides = [np.linspace(*ends, COARSE) for ends in self.travel.values()]
        found = np.zeros(len(self.flat.corners), bool)
        for hulls, size in self._kinds(self._grid(sides)):
            for hull in hulls[np.isfinite(hulls).all(axis=(1, 2))]:
                here = np.flatnonzero(~found & _boxes_meet(self.flat.corners, hull[None], size))
                middle, reach = _middles(self.flat.corners[here])
                found[here] |= _apart(middle, np.broadcast_to(
                    hull, (len(here), *hull.shape))) <= size + reach
        return found

    def _grid(self, sides):
        grid = np.meshgrid(*sides, indexing="ij")
        return dict(zip(self.travel, (side.ravel() for side in grid), strict=True))

    def _kinds(self, inputs):
        """Corners (m, n, 3) of every piece at some positions as the panel sees them, and its R."""
        self.positions += len(next(iter(inputs.values()), ()))
        pieces, more = self.solid.pieces, self.pair.required + self.flat.radius
        if isinstance(pieces, Triangles):
            hulls = self._posed_triangles(inputs)
            return [(hulls, pieces.radius + more)]
        return [(hull, piece.radius + more) for hull, piece in zip(
            posed(self.system, inputs, self.solid, self.flat), pieces, strict=True)]

    def _posed_triangles(self, inputs):
        """Triangles of a mesh at some positions as so many hulls (m, 3, 3)."""
        motion = self.system.sweep(**inputs)
        posture, corners = motion.flat_posture(), self.solid.pieces.corners
        p = tuple(axis.reshape(-1, 1) for axis in np.moveaxis(corners.reshape(-1, 3), -1, 0))
        for joint, outward in self.system.plan.route(self.solid.carriers[0], self.flat.body):
            p = posture.crossed(p, joint, outward)
        count = int(np.prod(motion.shape))
        spots = np.stack([np.broadcast_to(k, (3 * len(corners), count)) for k in p], axis=-1)
        local = (spots - self.flat.origin) @ self.flat.axes.T
        return local.reshape(len(corners), 3, count, 3).transpose(2, 0, 1, 3).reshape(-1, 3, 3)

    def _may_meet(self, hulls, size):
        return bool(_boxes_meet(self.flat.corners, hulls, size).any())

    def _in_the_way(self, groups):
        """Union of what of the panel's triangles is in the way at some positions."""
        corners, region = self.flat.corners, []
        for inputs in groups:
            for hulls, size in self._kinds(inputs):
                hulls = hulls[np.isfinite(hulls).all(axis=(1, 2))]
                for start in range(0, len(hulls), MOST_HULLS):
                    some = hulls[start:start + MOST_HULLS]
                    some = some[_boxes_meet(some, corners, size)]
                    near = corners[_boxes_meet(corners, some, size)] if len(some) else some
                    if len(near):
                        region.append(shapely.union_all(in_the_way(near, some, size)))
        return shapely.union_all(region) if region else shapely.Polygon()


def _moved(hull, inputs) -> list:
    """How far a hull's corners move at most from a coarse position of each input to the next."""
    grid = hull.reshape(*(COARSE,) * inputs, *hull.shape[1:])
    return [np.nanmax(np.linalg.norm(np.diff(grid, axis=k), axis=-1), initial=0.0)
            for k in range(inputs)]


def _boxes_meet(corners, others, size):
    """Which of some hulls (m, n, 3) come within a size of the box about others."""
    flat = others.reshape(-1, 3)
    low, high = np.nanmin(flat, axis=0) - size, np.nanmax(flat, axis=0) + size
    return ((corners.min(axis=1) <= high) & (corners.max(axis=1) >= low)).all(axis=1)


def _middles(corners):
    """Middles of hulls (m, n, 3), and how far their corners lie from them."""
    middle = corners.mean(axis=1)
    return middle, np.linalg.norm(corners - middle[:, None], axis=2).max(axis=1)


def _apart(spots, hulls):
    """Distance of places (m, 3) from hulls (m, n, 3), mm."""
    seen = approach(hulls.transpose(2, 1, 0), spots.T[:, None], (spots - hulls.mean(axis=1)).T)
    return np.sqrt((seen.between**2).sum(axis=0))


def in_the_way(corners: np.ndarray, hulls: np.ndarray, size: float) -> np.ndarray:
    """What of triangles lies within a size of any of some hulls, seen along the third coordinate.

    Parameters
    ----------
    corners : ndarray (k, 3, 3)
        mm.
    hulls : ndarray (m, n, 3)
        mm.
    size : float
        mm.

    Returns
    -------
    ndarray of shapely geometry
        Polygons, mm.

    Examples
    --------
    >>> square = np.array([[[-9., -9, 0], [9, -9, 0], [9, 9, 0]], [[-9, -9, 0], [9, 9, 0],
    ...                                                            [-9, 9, 0]]])
    >>> disc = shapely.union_all(in_the_way(square, np.array([[[0., 0, 3]]]), 5.0))
    >>> bool(abs(disc.area - np.pi * 4**2) < 0.3)
    True
    """
    whole, small = [], []
    which, hull = _pairs_near(corners, hulls, size)
    while len(which):
        middle, reach = _middles(corners)
        apart = _apart(middle[which], hulls[hull])
        covered = np.zeros(len(corners), bool)
        covered[which[apart + reach[which] < size]] = True
        whole.append(corners[covered])
        keep = (apart - reach[which] <= size) & ~covered[which]
        which, hull = which[keep], hull[keep]
        long = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
        fine = long.max(axis=1) <= FINE
        small.append(_crossed(corners, (which[fine[which]], hull[fine[which]]), hulls, size))
        which, hull = which[~fine[which]], hull[~fine[which]]
        used, back = np.unique(which, return_inverse=True)
        corners = halved(corners[used], long[used].argmax(axis=1))
        which, hull = np.concatenate([back, back + len(used)]), np.concatenate([hull, hull])
    flat = shapely.polygons(np.concatenate(whole)[..., :2]) if whole else np.zeros(0, object)
    return np.concatenate([flat, *small])


def _pairs_near(corners, hulls, size):
    """Which triangles and hulls come within a size by the balls about them."""
    middle, reach = _middles(corners)
    centre, far = _middles(hulls)
    found = []
    step = max(1, AT_ONCE // len(hulls))
    for start in range(0, len(corners), step):
        part = slice(start, start + step)
        away = np.linalg.norm(middle[part, None] - centre, axis=2)
        one, other = np.nonzero(away <= reach[part, None] + far + size)
        found.append((one + start, other))
    return tuple(np.concatenate(k) for k in zip(*found, strict=True))


def _crossed(corners, items, hulls, size):
    """What of small triangles lies within a size of the hulls that come near each."""
    which, hull = items
    used, back = np.unique(which, return_inverse=True)
    if not len(used):
        return np.zeros(0, object)
    over = np.full((len(used), 3), np.inf)
    for k in range(3):
        np.minimum.at(over[:, k], back, _apart(corners[which, k], hulls[hull]) - size)
    polygons = [_below(*each) for each in zip(corners[used][..., :2].tolist(), over.tolist(),
                                              strict=True) if min(each[1]) < 0]
    return np.concatenate([shapely.polygons(np.array(
        [ring for ring in polygons if len(ring) == count]).reshape(-1, count, 2))
        for count in (3, 4)])


def _below(ring, over):
    """The part of a triangle in which a value given at its corners is below 0."""
    made = []
    for k in range(3):
        (x1, y1), (x2, y2), a, b = ring[k], ring[k - 2], over[k], over[k - 2]
        if a < 0:
            made.append((x1, y1))
        if (a < 0) != (b < 0):
            share = a / (a - b)
            made.append((x1 + share * (x2 - x1), y1 + share * (y2 - y1)))
    return made
