"""Distance of two hulls of points by walking to their closest features, many postures at once.

The walk is that of E. Gilbert, D. Johnson and S. Keerthi, "A fast procedure for computing the
distance between complex objects in three-dimensional space", 1988 (from memory): the difference
of the hulls is explored by its farthest points, and the nearest point to the origin of the
feature kept so far says where to look next. Each step here keeps at most three points, since the
nearest feature always contains the newest.

Every answer comes with its proof: the hulls lie on either side of two planes square to
`direction`, `proven` apart, so that proven <= true distance <= length of `between`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from .vectors import cross, dot, unit

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

ENOUGH = 1e-11  # mm between proven and found distance, at which a walk stops
STEPS = 60
ROUNDING = 1e-15
_AFTER = np.array([1, 2, 0])


class Approach(NamedTuple):
    """Where two hulls are closest, for ``m`` postures.

    Parameters
    ----------
    between : numpy.ndarray
        From the closest point of the first to that of the second, ``(3, m)`` mm.
    foot : numpy.ndarray
        Closest point of the first, ``(3, m)`` mm.
    direction : numpy.ndarray
        Unit vector, ``(3, m)``; NaN or useless where the hulls overlap.
    proven : numpy.ndarray
        Clear space between the hulls along `direction`, ``(m,)`` mm; negative or NaN where they
        overlap.
    """

    between: np.ndarray
    foot: np.ndarray
    direction: np.ndarray
    proven: np.ndarray


class Ragged:
    """Hulls of unlike corner counts, one per posture, as `approach` takes them.

    Parameters
    ----------
    parts : list of (numpy.ndarray (k,), numpy.ndarray (3, n, k))
        Places among all, and posed corners, mm, of those that have up to n corners.
    """

    __slots__ = ("parts",)

    def __init__(self, parts: list[tuple[np.ndarray, np.ndarray]]):
        self.parts = parts

    def farthest(self, direction: np.ndarray) -> np.ndarray:
        """As the function of that name."""
        if len(self.parts) == 1:
            return farthest(self.parts[0][1], direction)
        corner = np.empty_like(direction)
        for places, hull in self.parts:
            corner[:, places] = farthest(hull, direction[:, places])
        return corner

    def some(self, chosen: np.ndarray) -> Ragged:
        """Those where `chosen`, bool ``(m,)``, says so."""
        place, parts = np.cumsum(chosen) - 1, []
        for places, hull in self.parts:
            kept = chosen[places]
            if kept.any():
                parts.append((place[places[kept]], hull[..., kept]))
        return Ragged(parts)

    def at(self, places: np.ndarray) -> np.ndarray:
        """Corners of those at some places, which have like counts, ``(3, n, len(places))`` mm."""
        own, hull = next(part for part in self.parts if np.isin(places, part[0]).all())
        return hull[..., np.searchsorted(own, places)]


def farthest(hull: np.ndarray | Ragged, direction: np.ndarray) -> np.ndarray:
    """Corner of a hull that is farthest along a direction.

    Parameters
    ----------
    hull : numpy.ndarray or Ragged
        Corners, ``(3, n, m)`` mm.
    direction : numpy.ndarray
        ``(3, m)``, of any length.

    Returns
    -------
    numpy.ndarray
        ``(3, m)`` mm.
    """
    if isinstance(hull, Ragged):
        return hull.farthest(direction)
    corners, postures = hull.shape[1:]
    if corners == 1:
        return hull[:, 0]
    along = hull[0] * direction[0]
    along += hull[1] * direction[1]
    along += hull[2] * direction[2]
    place = along.argmax(axis=0) * postures + np.arange(postures)
    return hull.reshape(3, -1).take(place, axis=1)


def clear_space(hull1: np.ndarray, hull2: np.ndarray, direction: ArrayLike) -> np.ndarray:
    """Space between two hulls along a unit vector, ``(m,)`` mm: negative where they overlap."""
    return dot(direction, farthest(hull2, -direction) - farthest(hull1, direction))


@np.errstate(all="ignore")  # a direction of length 0 is NaN, and is dealt with
def approach(hull1: np.ndarray | Ragged, hull2: np.ndarray | Ragged,
             towards: np.ndarray, steps: int = STEPS) -> Approach:
    """Closest points of two hulls, with proof.

    Parameters
    ----------
    hull1, hull2 : numpy.ndarray or Ragged
        Posed corners, ``(3, n1, m)`` and ``(3, n2, m)`` mm, all finite.
    towards : numpy.ndarray
        Roughly from the first to the second, ``(3, m)``: where to start.
    steps : int
        Steps after which a walk ends where it is; what is proven holds wherever that is.

    Returns
    -------
    Approach
        Where the hulls overlap it proves nothing, and says so.
    """
    feature = _walk(hull1, hull2, towards, steps)
    between = feature.between
    length = np.sqrt(feature.square)
    direction = between / length
    proven = clear_space(hull1, hull2, direction)
    open_ = ~(length - proven <= ENOUGH)
    unsure = np.flatnonzero(open_)
    if unsure.size:
        square = _square_to(_picked(feature, unsure))
        better = clear_space(_some(hull1, open_), _some(hull2, open_), square)
        gained = (better > proven[unsure]) | np.isnan(proven[unsure])
        proven[unsure[gained]] = better[gained]
        direction[:, unsure[gained]] = square[:, gained]
    feet, weights = feature.pairs[3:], feature.weights
    foot = weights[0] * feet[:, 0] + weights[1] * feet[:, 1] + weights[2] * feet[:, 2]
    return Approach(between, foot, direction, proven)


class _Feature(NamedTuple):
    """The feature of the difference of two hulls that a walk has come to, for ``m`` postures."""

    between: np.ndarray  # its point nearest to the origin, (3, m)
    square: np.ndarray  # the square of that point's distance, (m,)
    pairs: np.ndarray  # its three corners, each a corner of the second hull minus one of the
    # first (rows 0-2), and that of the first (rows 3-5): (6, 3, m)
    weights: np.ndarray  # shares of the corners in the nearest point, (3, m)


def _walk(hull1, hull2, towards, steps) -> _Feature:
    feature = _first_feature(hull1, hull2, towards)
    ended = _Feature(*(np.empty_like(part) for part in feature))
    live = np.arange(feature.square.size)  # places of the postures still worked on
    open_ = np.ones(live.size, dtype=bool)  # which of those are not at their end yet
    for _ in range(steps):
        ahead, going = _advanced(hull1, hull2, feature)
        ending = open_ & ~going
        if ending.any():
            _put(ended, live[ending], _picked(feature, ending))
            open_ = open_ & going
            left = np.count_nonzero(open_)
            if not left:
                return ended
            if 2 * left < open_.size:
                hull1, hull2, live = _some(hull1, open_), _some(hull2, open_), live[open_]
                ahead, open_ = _picked(ahead, open_), np.ones(left, dtype=bool)
        feature = ahead
    _put(ended, live[open_], _picked(feature, open_))
    return ended


def _first_feature(hull1, hull2, towards):
    foot = farthest(hull1, towards)
    start = farthest(hull2, -towards) - foot
    weights = np.zeros_like(start)
    weights[0] = 1.0
    pair = np.concatenate((start, foot))
    return _Feature(start, dot(start, start), np.stack([pair] * 3, axis=1), weights)


def _advanced(hull1, hull2, feature):
    """The next feature, and for which postures it is truly nearer than the last."""
    foot = farthest(hull1, feature.between)
    newest = farthest(hull2, -feature.between) - foot
    short = feature.square - dot(feature.between, newest)
    going = short > ENOUGH * np.sqrt(feature.square)
    if not going.any():
        return feature, going
    slot, nearest = _nearest_with(feature.pairs[:3], newest)
    square, share, share_after = nearest[3:]
    pairs, weights = np.empty_like(feature.pairs), np.empty_like(feature.weights)
    pairs[:3, 0], pairs[3:, 0] = newest, foot
    flat, place = feature.pairs.reshape(6, -1), np.arange(slot.size)
    pairs[:, 1] = flat.take(slot * slot.size + place, axis=1)
    pairs[:, 2] = flat.take(_AFTER[slot] * slot.size + place, axis=1)
    weights[0], weights[1], weights[2] = 1.0 - share - share_after, share, share_after
    # a turn of the direction can matter where the distance no longer shows it, so no strict "<"
    going &= square <= feature.square * (1 + ROUNDING)
    going &= ~(feature.pairs[:3] == newest[:, None]).all(axis=0).any(axis=0)
    return _Feature(nearest[:3], square, pairs, weights), going


def _nearest_with(corners, newest):
    """Point nearest to the origin on the edges and triangles from the newest corner to the rest.

    Returns the slot of the corner on the edge (for a triangle: and of the one after it), and in
    six rows the point, the square of its distance, and the shares of those two corners.
    """
    postures = newest.shape[1]
    trials = np.zeros((6, 6, postures))  # what is returned, of three edges and three triangles
    newest = newest[:, None]
    edge = corners - newest
    after = edge[:, _AFTER]
    long, mixed, along = dot(edge, edge), dot(edge, after), dot(newest, edge)
    long_after, along_after = long[_AFTER], along[_AFTER]
    one = along_after * mixed - along * long_after
    two = along * mixed - along_after * long
    spread = long * long_after - mixed * mixed
    outside = ~((one > 0) & (two > 0) & (one + two < spread))
    share, share_after = trials[4], trials[5]
    np.divide(along, -long, out=share[:3], where=long > 0)
    np.minimum(np.maximum(share[:3], 0.0, out=share[:3]), 1.0, out=share[:3])
    np.divide(one, spread, out=share[3:])
    np.divide(two, spread, out=share_after[3:])
    tips = trials[:3]
    np.multiply(share[:3], edge, out=tips[:, :3])
    np.add(share[3:] * edge, share_after[3:] * after, out=tips[:, 3:])
    tips += newest
    trials[3] = dot(tips, tips)
    trials[3, 3:][outside] = np.inf
    best = trials[3].argmin(axis=0)
    return best % 3, trials.reshape(6, -1).take(best * postures + np.arange(postures), axis=1)


def _square_to(feature: _Feature) -> np.ndarray:
    """Unit vector square to the feature, which keeps its digits where the hulls nearly touch."""
    first, second, third = np.moveaxis(feature.pairs[:3], 1, 0)
    normal = cross(second - first, third - first)
    normal = np.where(dot(normal, feature.between) < 0, -normal, normal)
    one, two, three = feature.weights > 0
    run = np.where(one, np.where(two, second, third) - first, third - second)
    across = feature.between - dot(feature.between, run) / dot(run, run) * run
    edge = (one & two) | (one & three) | (two & three)
    return unit(np.where(one & two & three, normal, np.where(edge, across, feature.between)))


def _some(hull, chosen):
    return hull.some(chosen) if isinstance(hull, Ragged) else hull[..., chosen]


def _picked(feature, postures) -> _Feature:
    return _Feature(*(part[..., postures] for part in feature))


def _put(target, postures, feature):
    for component, part in zip(target, feature, strict=True):
        component[..., postures] = part
