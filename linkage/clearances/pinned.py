"""Bounds of the gap in every build, each dimension that only ever makes it less held at one end.

Along a direction that is held, the gap of two pieces is the least of n.(b - a) over their corners.
Where the rate of one of these by a dimension has one sign over a cell and all builds, it is least
at one end of that dimension, whatever the others are: so that only builds with it there need be
bounded.  Of those the rates are known better, so that more dimensions are held in the next round.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from ..intervals import GROW, U
from ..motion import can_be_written, written
from ..motion.builds_rows import built_extent
from .built import BuiltSearch
from .built_bounds import directions
from .cell_bounds import towards
from .corners import corner_pairs, sides_along

WIDEST = 1.5  # degrees (mm) of a cell's half-width up to which signs of rates are asked for
ROUNDS = 16  # that dimensions are held in
PARTS = 4  # share of the free dimensions that are held where no rate of theirs has a sign
MOST_PINNED = 20_000  # cells of a pair after which what is left stays open
TOGETHER = 96  # pairs of corners worked at once
STILL = 1e-9  # mm that a side at rest moves at most


class _Corners(NamedTuple):
    """Pairs of corners, each over a cell along a direction of its own.

    Attributes
    ----------
    seats : ndarray of int (2, u)
    spots : ndarray (2, 3, u)
        Coordinates along the vectors of the seats.
    way : ndarray (3, u)
    centres, halves : ndarray (u, inputs)
    wanted : ndarray (u,)
        Bound that is good enough, mm.
    """

    seats: np.ndarray
    spots: np.ndarray
    way: np.ndarray
    centres: np.ndarray
    halves: np.ndarray
    wanted: np.ndarray

    def of(self, chosen):
        """Some of them."""
        return _Corners(*(k[..., chosen] for k in self[:3]), *(k[chosen] for k in self[3:]))


class PinnedSearch(BuiltSearch):
    """As `BuiltSearch`, for pairs that it leaves open: where its bounds miss, dimensions are held.

    That costs more, in cells that are small enough for the rates to have signs.
    """

    most_cells = MOST_PINNED

    def __init__(self, *args: Any):
        super().__init__(*args)
        self._asked = np.zeros(len(self.stage.pairs), bool)

    def _give_up(self, which, found):
        """Ask once of each pair: a place that one bound misses by little, others don't decide."""
        fresh = ~self._asked[self.stage.pair_index[which]]
        super()._give_up(which[fresh], tuple(k[fresh] for k in found))
        self._asked |= self.proof.visited > self.effort

    def _raise(self, made, posture, asked, wanted):
        (which, cell), cells = asked
        if wanted is None or not can_be_written(self.system.plan):
            return
        todo = np.flatnonzero((made.low < wanted) & ~self.stage.rough[which]
                              & (cells[1][cell].max(axis=1) <= WIDEST))
        if todo.size:
            low = self._pinned(posture, (which[todo], cell[todo]), cells, (
                self._ways(made, which, todo), wanted[todo]))
            made.low[todo] = np.fmax(made.low[todo], low)

    def _ways(self, made, which, todo):
        """Direction between the pieces of items in the build in which their bound is least."""
        built = self.swept(made.builds[:, todo].astype(float),
                           np.clip(made.places[todo], *self.box.T))
        way = towards(self.stage, built, (which[todo], np.arange(len(todo))))[1]
        return directions(self.stage, built, which[todo], (way, self.loose))

    def _pinned(self, posture, items, cells, asked):
        """Lower bound of items along directions; of each so much is wanted."""
        stage, (which, cell), (way, wanted) = self.stage, items, asked
        slack, low = 512 * U * stage.scale(posture) + STILL, np.empty(len(which))
        wanted = wanted + stage.radii[which] + slack
        for here, one, other in sides_along(stage, posture, items, way,
                                            (self.loose, slice(None))):
            rows, lag, off = corner_pairs([one.rows, other.rows]), one.lag + other.lag, \
                one.off + other.off
            each = built_extent(rows, posture.inputs) - rows[-1]
            behind = _behind(one, -1.0)[:, None] | _behind(other, 1.0)[None]
            each[behind.reshape(each.shape)] = np.inf
            pair, k = np.nonzero(each + lag < wanted[here])
            a, b = np.divmod(pair, other.rows.shape[1])
            corners = _Corners(stage.seat_of[stage.sides[which[here[k]]]].T,
                               np.stack([one.spots[:, a, k], other.spots[:, b, k]]),
                               way[:, here[k]], *(ends[cell[here[k]]] for ends in cells),
                               wanted[here[k]] - lag[k] + off[k])
            each[pair, k] = np.fmax(each[pair, k], self._least(corners) - off[k])
            low[here] = each.min(axis=0) + lag - slack
        return low - 16 * U * np.abs(low) - stage.radii[which]

    def _least(self, corners):
        """Lower bounds of n.(b - a) of pairs of corners: (u,)."""
        low = np.full(len(corners.wanted), -np.inf)
        seats, group = np.unique(corners.seats, axis=1, return_inverse=True)
        for g, pair in enumerate(seats.T):
            here = np.flatnonzero(group.reshape(-1) == g)
            for start in range(0, len(here), TOGETHER):
                part = here[start:start + TOGETHER]
                self._hold(corners.of(part), [self.stage.seats[k] for k in pair], low, part)
        return low

    def _hold(self, corners, seats, low, part):
        """Raise bounds, in place, by holding dimensions at their worse ends round by round.

        Where no other rate has a sign, those are held whose rate is least of the other sign, at
        what that may cost.
        """
        count, cost = len(self.builds.sizes), np.zeros(len(part))
        middle, half = np.zeros((count, len(part))), np.ones((count, len(part)))
        for _ in range(ROUNDS):
            with np.errstate(invalid="ignore", over="ignore", divide="ignore"):
                posture = written(self.system, (self.names, corners.centres, corners.halves),
                                  self.builds, (middle, half))
                gap = _apart(posture, seats, corners)
                rows = gap.value.rows
                least, most = _ends(gap.rates(posture.varied), rows.shape, len(self.names))
            low[part] = np.fmax(low[part], _lower(rows, len(self.names)) - cost)
            up = most > -least
            wrong = np.where(half > 0, np.maximum(np.where(up, -least, most), 0.0), np.inf)
            more = _next(wrong)
            left = (low[part] < corners.wanted) & more.any(axis=0)
            if not left.any():
                return
            sizes = 2 * self.builds.sizes[:, None]
            cost = (cost + (np.where(more, wrong, 0.0) * sizes).sum(axis=0) * GROW)[left]
            middle = np.where(more, np.where(up, -1.0, 1.0), middle)[:, left]
            half, corners, part = (half * ~more)[:, left], corners.of(left), part[left]


def _next(wrong):
    """Dimensions to hold: all whose rate has a sign; where none has, those that have it nearly."""
    surely, maybe = wrong == 0, np.isfinite(wrong)
    few = np.sort(wrong, axis=0)[np.ceil(maybe.sum(axis=0) / PARTS).astype(int) - 1,
                                 np.arange(wrong.shape[1])]
    return np.where(surely.any(axis=0), surely, maybe & (wrong <= few))


def _behind(side, sense):
    """Corners of a side at rest that others of it are before, along the direction: (corners, k)."""
    rows = side.rows - side.off * (np.arange(len(side.rows)) == len(side.rows) - 1)[:, None, None]
    still = np.abs(rows[1:]).sum(axis=(0, 1)) < STILL
    best = (sense * rows[0]).argmin(axis=0)
    return still & (np.arange(rows.shape[1])[:, None] != best)


def _apart(posture, seats, corners):
    """n.(b - a), written down."""
    a, b = (_spot(posture, seat, spot) for seat, spot in zip(seats, corners.spots, strict=True))
    return sum(n * (q - p) for n, p, q in zip(corners.way, a, b, strict=True))


def _spot(posture, seat, spot):
    """A point by its coordinates along the vectors of its seat."""
    if seat.ends:
        one, other = (posture.place(name, seat.frame) for name in seat.ends)
        return [spot[0] * k + spot[1] * q for k, q in zip(one, other, strict=True)]
    p = tuple(k + x for k, x in zip(seat.origin[0], spot, strict=True))
    for joint, outward in posture.plan.route(seat.carriers[0], seat.frame):
        p = posture.crossed(p, joint, outward)
    return p


def _lower(rows, inputs):
    """Least of enclosures, roundings and all."""
    size = np.abs(rows).sum(axis=0)
    low = built_extent(rows, inputs) - (rows[-1] + 64 * U * size) * GROW
    return np.where(np.isnan(low), -np.inf, low)


def _ends(rates, shape, inputs):
    """Least and greatest of each rate over the cell and all builds: two (dimensions, u)."""
    rows = np.zeros((shape[0], len(rates), *shape[1:]))
    for made, rate in zip(rows.swapaxes(0, 1), rates, strict=True):
        made[...] = getattr(rate, "rows", 0.0)
    turned = -rows
    turned[-1] = rows[-1]
    return _lower(rows, inputs), -_lower(turned, inputs)
