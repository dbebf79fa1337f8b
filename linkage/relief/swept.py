"""What a plate has to keep clear: everything that moves, grown, cut by the plate, projected.

A place (u, v) of a plate of half-thickness h is in the way of a convex piece exactly when the
needle {(u, v)} x [-h, h] comes within R, the required clearance plus the piece's radius, of the
hull of the piece's corners.  For one posture these places are convex, and how far they reach along
a unit vector d of the plane is

    max over points q of the hull of   d.q + sqrt(R^2 - g^2),   g = max(|q_w| - h, 0) <= R,

w along the normal: the ball about q is cut by the nearer face.  The largest d.q at a height w lies
on an edge of the hull, and along an edge of slope s = d(d.q)/dw the sum is greatest where
g = R |s| / sqrt(1 + s^2), on the side to which it rises, or at the end of the edge that comes
first.  So every reach is closed form, and the places that reach farthest make a polygon that is
nowhere larger than true.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
import shapely

from ..clearances import Travel
from ..clearances.scene import Pair, Solid
from ..geometry.outlines import spanned
from ..motion import System
from .flat import Flat

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

FIRST = 64  # directions asked at first
MOST_DIRECTIONS = 1024
CHORD = 0.005  # mm that the polygon of one posture may miss of its true edge
COARSE = 9  # stick positions per input at first
MOST_SIDE, MOST_POSITIONS = 600, 40_000
MOST_AT_ONCE = 4096
MOST_NUMBERS = 500_000  # worked at once
STRIDES = 6, 2, 1  # every so-many-th stick position per input is joined before the next
ABOUT = 32  # directions that tell whether a posture is held by those before
UNSEEN = 0.003  # mm that a posture may reach beyond those before and be left out
AIR = 1.0  # mm off the material beyond which open space need not be swept so closely
SCALLOP = 0.015  # mm between the circles of neighbouring stick positions, that sets the step
STEPS = 0.3, 3.0  # mm, least and greatest


def reach(hulls: np.ndarray, edges: np.ndarray, sizes: tuple[float, float],
          directions: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Where the places in the way of one piece reach farthest.

    Parameters
    ----------
    hulls : ndarray (m, n, 3)
        Corners of the piece at m postures, u, v and height w over the plate's middle, mm.
    edges : ndarray of int (e, 2)
        Its edges; a pair of one corner twice for a ball.
    sizes : (float, float)
        R, the piece's radius and the clearance, and h, half the plate's thickness, mm.
    directions : ndarray (k, 2)
        Unit vectors d of the plane.

    Returns
    -------
    (ndarray (m, k, 2), ndarray (m, k, 2))
        The places, mm, NaN where the piece stays clear of the plate's slab; and the edge with the
        share along it whose ball reaches there.

    Examples
    --------
    A ball of radius 5 whose middle is 3 over a thin plate cuts a circle of radius 4.

    >>> place, _ = reach(np.array([[[1.0, 0.0, 3.0]]]), np.array([[0, 0]]), (5.0, 0.0),
    ...                  np.array([[1.0, 0.0]]))
    >>> place.tolist()
    [[[5.0, 0.0]]]
    """
    step = max(1, MOST_NUMBERS // (len(edges) * len(directions)))
    blocks = [_reach(hulls[k:k + step], edges, sizes, directions)
              for k in range(0, len(hulls), step)]
    return tuple(np.concatenate(part) for part in zip(*blocks, strict=True))


@np.errstate(all="ignore")
def _reach(hulls, edges, sizes, directions):
    big, half = sizes
    along = hulls[..., :2] @ directions.T  # (m, n, k)
    first, second = edges.T
    w1, w2 = hulls[:, first, 2, None], hulls[:, second, 2, None]
    run, rise = w2 - w1, along[:, second] - along[:, first]
    slope = rise / run
    lean = big * np.abs(slope) / np.sqrt(1 + slope**2)
    best = np.where(slope > 0, half + lean, np.where(slope < 0, -half - lean, 0.0))
    low = np.maximum(np.minimum(w1, w2), -half - big)
    high = np.minimum(np.maximum(w1, w2), half + big)
    level = np.abs(run) < 1e-12
    share = np.where(level, (rise > 0) * 1.0, (np.clip(best, low, high) - w1) / run)
    share = np.clip(share, 0.0, 1.0)
    height = w1 + share * run
    over = np.maximum(np.abs(height) - half, 0.0)
    grown = np.sqrt(np.maximum(big**2 - over**2, 0.0))
    value = along[:, first] + share * rise + grown
    value = np.where((low <= high) & np.isfinite(value), value, -np.inf)
    edge = value.argmax(axis=1)  # (m, k)
    row, column = np.indices(edge.shape)
    share, grown = share[row, edge, column], grown[row, edge, column]
    start, end = hulls[row, first[edge], :2], hulls[row, second[edge], :2]
    place = start + share[..., None] * (end - start) + grown[..., None] * directions
    clear = ~np.isfinite(value[row, edge, column])
    place[clear], share[clear] = np.nan, np.nan
    return place, np.stack((edge, share), axis=-1)


def posed(system: System, inputs: dict, solid: Solid, flat: Flat) -> list:
    """Corners of every piece of a solid as the plate sees them.

    Parameters
    ----------
    system : System
    inputs : dict
        ``{input: ndarray (m,)}``, degrees (mm).
    solid : Solid
    flat : Flat

    Returns
    -------
    list of ndarray (m, n, 3)
        u, v and height over the plate's middle, mm; NaN out of reach.
    """
    motion = system.sweep(**inputs)
    count, posture = int(np.prod(motion.shape)), motion.flat_posture()
    hulls = []
    for piece in solid.pieces:
        hull = np.empty((count, len(piece.points), 3))
        for k, point in enumerate(piece.points):
            carrier = solid.carriers[k if len(solid.carriers) > 1 else 0]
            p = tuple(np.float64(x) for x in point)
            for joint, outward in system.plan.route(carrier, flat.body):
                p = posture.crossed(p, joint, outward)
            for axis in range(3):
                hull[:, k, axis] = p[axis]
        hulls.append((hull - flat.origin) @ flat.axes.T)
    return hulls


class Sweep:
    """What one solid sweeps out of a plate, from stick positions close together.

    Parameters
    ----------
    system : System
    flat : Flat
    solid : Solid
    pair : Pair
        Its required clearance and the inputs that move it against the plate.
    step : float, optional
        mm that nothing relevant moves more than between neighbouring positions; by the roundness
        of what sweeps unless given.
    within : Travel, optional
        The stick positions that count; the whole wanted travel unless given.
    """

    def __init__(self, system: System, flat: Flat, solid: Solid, pair: Pair,  # noqa: PLR0913
                 step: float | None = None, within: Travel | dict | None = None):
        self.system, self.flat, self.solid, self.pair, self.step = system, flat, solid, pair, step
        self.within = Travel.of(system.travel_box() if within is None else within)
        self.travel = {name: ends for name, ends in self.within.box.items() if name in pair.inputs}
        self.spacing = {name: high - low for name, (low, high) in self.travel.items()}
        self._corners = self._corners_of_cells()
        self.positions = 0
        low, high = np.array(flat.material.bounds).reshape(2, 2)
        room = shapely.box(*(low - 1000.0), *(high + 1000.0))
        self._air = room.difference(flat.material.buffer(AIR))

    def region(self) -> BaseGeometry:
        """The union over the whole travel, a shapely geometry in mm."""
        coarse = [np.linspace(*ends, COARSE) for ends in self.travel.values()]
        hulls = self._hulls(coarse)
        return shapely.union_all([self._piece_region(k, hull) for k, hull in enumerate(hulls)])

    def near(self, place: dict, level: int) -> BaseGeometry:
        """The union over one position and a few more about it, closer together at every level."""
        inputs = self._about(place, level)
        self.positions += len(next(iter(inputs.values()), ()))
        return shapely.union_all([shapely.union_all(self._polygons(k, hull)) for k, hull in
                                  enumerate(posed(self.system, inputs, self.solid, self.flat))])

    def _about(self, place, level):
        """One position and a few more about it, closer together at every level."""
        steps = {name: self.spacing[name] * 0.5**level / 3 for name in self.travel}
        grid = np.meshgrid(*(place[name] + step * np.arange(-3, 4) for name, step in steps.items()),
                           indexing="ij")
        inputs = self._reachable(dict(zip(steps, (side.ravel() for side in grid), strict=True)),
                                 steps)
        return {name: np.append(side, place[name]) for name, side in inputs.items()}

    def _corners_of_cells(self):
        """Corners of the travel's cells, which stick out of an even grid: (n, inputs)."""
        moves = np.array([name in self.travel for name in self.within.names])
        ends = np.stack(self.within.seen_along(moves))[:, :, moves]
        corners = [np.stack([ends[side, :, k] for k, side in enumerate(sides)], axis=-1)
                   for sides in itertools.product((0, 1), repeat=len(self.travel))]
        return np.unique(np.concatenate(corners), axis=0)

    def _reachable(self, inputs, spacing):
        """Of positions some steps apart those in the travel, or what of it is nearest each."""
        moves = np.array([name in inputs for name in self.within.names])
        places = np.stack([np.broadcast_to(inputs.get(name, 0.0), np.shape(next(iter(
            inputs.values())))) for name in self.within.names], axis=1)
        halves = np.array([spacing.get(name, 0.0) for name in self.within.names]) / 2
        which, middles, room = self.within.shrunk(places, np.broadcast_to(halves, places.shape),
                                                  moves)
        near = np.clip(places[which], middles - room, middles + room)
        near = np.where(self.within.holds(places[which], moves)[:, None], places[which], near)
        return {name: near[:, self.within.names.index(name)] for name in inputs}

    def _hulls(self, sides):
        """Corners at every position of a grid, one array (grid..., n, 3) per piece."""
        grid = np.meshgrid(*sides, indexing="ij")
        inputs = {name: side.ravel() for name, side in zip(self.travel, grid, strict=True)}
        self.positions += grid[0].size
        return [hull.reshape(*grid[0].shape, *hull.shape[1:]) for hull in
                posed(self.system, inputs, self.solid, self.flat)]

    def _sizes(self, k, more=0.0):
        return self.solid.pieces[k].radius + self.pair.required + more, self.flat.thickness / 2

    def _piece_region(self, k, hull):
        counts = self._counts(k, hull)
        if counts is None:
            return shapely.Polygon()
        sides = [np.linspace(*ends, count) for ends, count in
                 zip(self.travel.values(), counts, strict=True)]
        apart = dict(zip(self.travel, (side[1] - side[0] for side in sides), strict=True))
        self.spacing = {name: min(wide, apart[name]) for name, wide in self.spacing.items()}
        region = shapely.Polygon()
        for grid in finer_and_finer(counts):
            for rows in _blocks(grid):
                inputs = self._reachable({name: side[row] for name, side, row in
                                          zip(self.travel, sides, rows, strict=True)}, apart)
                region = self._joined(region, k, inputs)
        for rows in _blocks(self._corners):
            region = self._joined(region, k, dict(zip(self.travel, rows, strict=True)))
        return region

    def _joined(self, region, k, inputs):
        """A region and what sticks out of it at some more stick positions."""
        hull = posed(self.system, inputs, self.solid, self.flat)[k]
        self.positions += len(hull)
        if not region.is_empty:
            ways = circle(ABOUT)
            place, _ = self._reached(k, hull, ways)
            near = np.isfinite(place).all(axis=(1, 2))
            hull = hull[near & ~self._held(region, place, near)]
        return shapely.union_all([region, *self._polygons(k, hull)])

    def _held(self, region, place, near):
        """Which postures a region holds already, of those that come near the plate's slab."""
        ways, held = circle(place.shape[1]), np.zeros(len(place), bool)
        known = shapely.union_all([region.buffer(UNSEEN, quad_segs=2), self._air])
        shapely.prepare(known)
        about = shapely.polygons(shapely.linearrings(_about(place[near], ways)))
        held[near] = shapely.covers(known, about)
        return held

    def _counts(self, k, hull):
        """Stick positions per input that keep neighbours a step apart; None if never near."""
        moved = [np.linalg.norm(np.diff(hull, axis=i), axis=-1) for i in range(len(self.travel))]
        slack = sum(np.nanmax(m, initial=0.0) for m in moved)
        ways = circle(8)
        place, _ = self._reached(k, hull, ways, slack)
        known = place[np.isfinite(place[..., 0])]
        if not len(known) or not shapely.box(*known.min(axis=0), *known.max(axis=0)).intersects(
                self.flat.material):
            return None
        _, where = self._reached(k, hull, circle(FIRST), 0.0)
        most, step = [], self.step
        if step is None:
            step = np.clip(np.sqrt(8 * self._sizes(k)[0] * SCALLOP), *STEPS)
        for i in range(len(self.travel)):
            most.append(_moved_at(hull, i, _edges(self.solid.pieces[k]), where))
        counts = np.array([min(MOST_SIDE, int(np.ceil((COARSE - 1) * m / step)) + 2)
                           for m in most])
        while counts.prod() > MOST_POSITIONS:
            counts = np.maximum(2, (counts * 0.9).astype(int))
        return counts.tolist()

    def _reached(self, k, hull, directions, more=0.0):
        """What `reach` gives, in the shape of the grid of postures."""
        place, where = reach(hull.reshape(-1, *hull.shape[-2:]), _edges(self.solid.pieces[k]),
                             self._sizes(k, more), directions)
        return [part.reshape(*hull.shape[:-2], *part.shape[1:]) for part in (place, where)]

    def _polygons(self, k, hull):
        """One inscribed polygon per posture, those that miss the plate's slab left out."""
        if not len(hull):
            return np.array([], dtype=object)
        ways = circle(FIRST)
        place, _ = self._reached(k, hull, ways)
        place = place.reshape(-1, *place.shape[-2:])
        hull = hull.reshape(-1, *hull.shape[-2:])
        near = np.isfinite(place).all(axis=(1, 2))
        hull, place = hull[near], place[near]
        while len(hull) and len(ways) < MOST_DIRECTIONS:
            wide = np.flatnonzero(_missed(place, ways).max(axis=0) > CHORD)
            if not wide.size:
                break
            between = ways[wide] + np.roll(ways, -1, axis=0)[wide]
            between /= np.hypot(*between.T)[:, None]
            ways = np.insert(ways, wide + 1, between, axis=0)
            place = np.insert(place, wide + 1, self._reached(k, hull, between)[0], axis=1)
        return _polygons_of(place)


def circle(count: int) -> np.ndarray:
    """Evenly spread directions of the plane, (count, 2)."""
    turns = 2 * np.pi * (np.arange(count) + 0.5) / count
    return np.stack((np.cos(turns), np.sin(turns)), axis=1)


def finer_and_finer(counts: list[int]) -> Iterator[np.ndarray]:
    """Places (n, sides) of a grid, first those a wide stride apart, then those in between."""
    grid = np.meshgrid(*(np.arange(count) for count in counts), indexing="ij")
    done = np.zeros(counts, dtype=bool)
    for stride in STRIDES:
        on = np.ones(counts, dtype=bool)
        for places, count in zip(grid, counts, strict=True):
            on &= (places % stride == 0) | (places == count - 1)
        yield np.argwhere(on & ~done)
        done |= on


def _blocks(rows):
    """Rows (n, sides) as columns (sides, few), as many at once as memory is meant for."""
    for start in range(0, len(rows), MOST_AT_ONCE):
        yield rows[start:start + MOST_AT_ONCE].T


def _edges(piece):
    return piece.edges if len(piece.edges) else np.array([[0, 0]])


def _moved_at(hull, axis, edges, where):
    """Most that a point of the piece that reaches somewhere moves to the next posture, mm."""
    here = np.moveaxis(hull, axis, 0)
    where = np.moveaxis(where, axis, 0)
    most = 0.0
    for one, other, at in itertools.chain(zip(here[:-1], here[1:], where[:-1], strict=True),
                                          zip(here[1:], here[:-1], where[1:], strict=True)):
        moved = (other - one).reshape(-1, *hull.shape[-2:])
        at = at.reshape(len(moved), -1, 2)
        edge, share = at[..., 0].astype(int), at[..., 1, None]
        row = np.arange(len(moved))[:, None]
        way = moved[row, edges[edge, 0]] * (1 - share) + moved[row, edges[edge, 1]] * share
        most = max(most, float(np.nanmax(np.linalg.norm(way, axis=-1), initial=0.0)))
    return most


@np.errstate(all="ignore")
def _missed(place, ways):
    """What chords between neighbouring places may miss of the true edge, (m, k) mm.

    The true edge lies within the triangle of the chord and the two tangents.
    """
    after, way = np.roll(place, -1, axis=1), np.roll(ways, -1, axis=0)
    chord = after - place
    one, two = -(chord * ways).sum(axis=-1), (chord * way).sum(axis=-1)
    sine = np.abs(spanned(ways, way))
    return np.nan_to_num(one * two / (np.hypot(*np.moveaxis(chord, -1, 0)) * sine))


def _about(place, ways):
    """Corners of the polygons of tangents through the places, which hold all of each posture."""
    reach = (place * ways).sum(axis=-1)
    after, way = np.roll(reach, -1, axis=1), np.roll(ways, -1, axis=0)
    sine = spanned(ways, way)
    return np.stack((reach * way[:, 1] - after * ways[:, 1],
                     after * ways[:, 0] - reach * way[:, 0]), axis=-1) / sine[:, None]


def _polygons_of(place):
    """Polygons of places in order round; what has no area is left out."""
    if not len(place):
        return np.array([], dtype=object)
    polygons = shapely.polygons(shapely.linearrings(place))
    polygons = shapely.make_valid(polygons)
    return polygons[shapely.area(polygons) > 1e-9]
