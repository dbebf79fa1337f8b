"""First contact on straight ways out from neutral, proven free up to there and met there.

Each pair of pieces marches out along each way by itself.  Over the next stretch of the way every
n.(b - a) of its corners is a polynomial of degree 2 with a rest (`linkage.clearance.prove`), n the
direction between the closest points at the middle; up to the first root of any of them, the rest
counted against it, the pieces are proven apart, and the next stretch begins there (interval
Newton; Moore, Kearfott & Cloud, Introduction to Interval Analysis, 2009, ch. 8, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..clearances import Stage
from ..clearances.cell_bounds import MOST_TURN, SOME_WAY
from ..clearances.corners import along, corner_pairs
from ..clearances.mesh_gaps import inside
from ..clearances.stage import measure, spine_gaps
from ..intervals import GROW, U
from ..motion import enclose
from ..search import refine
from .depths import depths
from .ways import Ways, first_root, moving

if TYPE_CHECKING:
    from ..motion.posture import Posture

WITHIN = 1e-6  # degrees (mm) between free up to and met at for a first contact to be decided
STUCK = 0.2  # share of that: a stretch that can't be proven free, at which a march ends
STRETCHES = 8  # of each way at first
ROUNDS = 1500  # stretches of one march after which it ends where it is
TOGETHER = 20_000  # stretches worked at once, so that memory stays bounded
ASIDE = -0.5  # share of half a stretch at which the direction is asked again, on the free side
SLACK = 1024 * U  # of the greatest coordinate in play: roundings of the sums, and of the roots
LOOKS = 121  # places looked at for contact beyond where a march is stuck without any


@dataclass(frozen=True, eq=False)
class FirstContact:
    """First contact of pairs along ways from neutral, as shares of each way.

    Attributes
    ----------
    free_to : ndarray (pairs, ways)
        Proven free of contact from neutral up to there; 1 all along, and where not asked.
    met_at : ndarray (pairs, ways)
        Where contact (a gap of 0 or less) was met, the first one known; inf where none was.
    lost_at : ndarray (pairs, ways)
        Where a rod that the pair depends on was met out of reach; inf where none was.
    """

    free_to: np.ndarray
    met_at: np.ndarray
    lost_at: np.ndarray


def first_contact(stage: Stage, ways: Ways, asked: np.ndarray | None = None,
                  within: float = WITHIN, apart_to: np.ndarray | float = 0.0) -> FirstContact:
    """March out from neutral along ways until each pair first touches.

    Parameters
    ----------
    stage : Stage
    ways : Ways
    asked : ndarray of bool (pairs, ways), optional
        Which pairs are asked along which ways; all unless given.
    within : float
        Degrees (mm) that free up to and met at are brought within, where the two don't just graze.
    apart_to : ndarray (pairs, ways), optional
        Share of each way up to which each pair is known to be apart: the march begins there.

    Returns
    -------
    FirstContact
    """
    march = _March(stage, ways, within)
    asked = np.ones(march.met.shape, dtype=bool) if asked is None else asked
    held = march.enclosed(asked)
    march.run(asked & ~held, np.broadcast_to(apart_to, march.met.shape))
    march.settle()
    march.met[held] = march.stuck[held] = 0.0
    free = np.minimum(march.stuck, 1.0)
    lost = np.isfinite(march.lost) & (march.lost < march.met)
    free = np.where(lost, np.minimum(free, march.lost), free)
    return FirstContact(free, march.met, march.lost)


class _March:
    def __init__(self, stage, ways, within):
        self.stage, self.ways, self.within = stage, ways, within
        self.least = STUCK * within / ways.long  # stretch that ends a march which can't prove it
        self.system = moving(stage)  # what moves nothing here need not be worked out
        shape = len(stage.pairs), len(ways.ends)
        self.met, self.lost, self.stuck = (np.full(shape, np.inf) for _ in range(3))
        self.ended = []

    def enclosed(self, asked):
        """Which pairs begin with one solid within the other, so that no surfaces need to meet."""
        held = np.zeros(asked.shape, bool)
        if self.stage.trees is not None:
            pair, ray = np.nonzero(asked & self.stage.trees.of_pair[:, None])
            posture = self.system.sweep(**self.ways.place(np.zeros(len(ray)), ray)).flat_posture()
            held[pair, ray] = inside(self.stage, pair, posture, np.arange(len(ray)))
        return held

    def run(self, asked, apart_to):
        """March every pair of pieces until it is free, stuck, or past what was met."""
        items = self._first_items(asked & (apart_to < 1.0), apart_to)
        for _ in range(ROUNDS):
            items = self._still_asked(items)
            if not len(items[0]):
                return
            items = tuple(np.concatenate(k) for k in zip(*(
                self._stretch(tuple(k[start:start + TOGETHER] for k in items))
                for start in range(0, len(items[0]), TOGETHER)), strict=True))
        self._stop(items)

    def _first_items(self, asked, apart_to):
        """Piece pairs and where on each way round tubes about them are not proven apart."""
        stage = self.stage
        edges = np.linspace(0.0, 1.0, STRETCHES + 1)
        which = np.flatnonzero(asked.any(axis=1)[stage.pair_index[:stage.first]])
        pieces, back = np.unique(stage.sides[which], return_inverse=True)
        a, b = back.reshape(-1, 2).T
        per = max(1, 4 * TOGETHER // (len(which) * STRETCHES + 1))
        made = []
        for start in range(0, len(self.ways.ends), per):
            rays = np.arange(start, min(start + per, len(self.ways.ends)))
            cells = np.tile((edges[:-1] + edges[1:]) / 2, len(rays))
            posture = enclose(self.system, *self.ways.over(
                cells, np.full(len(cells), 0.5 / STRETCHES), np.repeat(rays, STRETCHES)))
            apart = tubes_apart(stage, posture, (pieces, a, b), len(cells))
            near = ~(apart > 0).reshape(len(which), len(rays), STRETCHES)
            near &= asked[stage.pair_index[which]][:, rays, None]
            known = apart_to[stage.pair_index[which]][:, rays]
            near &= edges[1:] > known[..., None]
            item, at = np.nonzero(near.any(axis=2))
            made.append((which[item], rays[at], np.maximum(
                edges[near[item, at].argmax(axis=1)], known[item, at]),
                np.full(len(item), 1.0 / STRETCHES)))
        return tuple(np.concatenate(k) for k in zip(*made, strict=True))

    def _end(self, pair, ray):
        """Share that a pair is asked up to, by what was met since."""
        return np.minimum.reduce([np.ones(len(ray)), self.met[pair, ray], self.lost[pair, ray],
                                  self.stuck[pair, ray]])

    def _still_asked(self, items):
        """The items that still have a stretch before them; where the others ended is kept."""
        which, ray, free, step = items
        pair = self.stage.pair_index[which]
        stuck = (step <= 0) & (free < self._end(pair, ray))
        self._stop(tuple(k[stuck] for k in items))
        end = self._end(pair, ray)
        going = (free < end) & (step > 0)
        near = ~going & ((free - end) * self.ways.long[ray] <= 8 * self.within)
        self.ended.append((which[near], ray[near], free[near]))
        return tuple(k[going] for k in items)

    def _stop(self, items):
        which, ray, free, _ = items
        np.minimum.at(self.stuck, (self.stage.pair_index[which], ray), free)

    def _stretch(self, items):
        """One stretch of each march: met, or proven free up to somewhere."""
        which, ray, free, step = items
        pair = self.stage.pair_index[which]
        high = np.minimum(free + step, self._end(pair, ray))
        centre, half = (free + high) / 2, (high - free) / 2
        aside = centre + ASIDE * half
        _, first, cell = np.unique(np.stack([ray, free, high], axis=1), axis=0,
                                   return_index=True, return_inverse=True)
        cell = cell.reshape(-1)
        value, way, before, turned = self._gaps(which, ((centre[first], aside[first]), ray[first]),
                                                cell)
        back = self._met(which, ray, value, centre)
        self._met(which, ray, before, aside)
        ask, proven = np.flatnonzero(~back), np.full(len(which), -1.0)
        if ask.size:
            cells, again = np.unique(cell[ask], return_inverse=True)
            at, again = first[cells], again.reshape(-1)
            posture = enclose(self.system, *self.ways.over(centre[at], half[at], ray[at]))
            proven[ask] = self._proven(posture, (which[ask], again), ray[ask],
                                       (way[:, ask], turned[:, ask]))
        with np.errstate(divide="ignore", invalid="ignore"):
            likely = centre + half * ASIDE * value / (value - before)
        return self._next(items, (centre, half, high), (proven, likely), back)

    def _gaps(self, which, cells, cell):
        """Gap and direction of items in the middle of their cells, and aside, asked at once."""
        shares, ray = cells
        posture = self.system.sweep(**self.ways.place(
            np.concatenate(shares), np.tile(ray, 2))).flat_posture()
        known = depths(self.stage, posture, np.tile(which, 2),
                       np.concatenate([cell, cell + len(ray)]))
        lost, count = ~np.isfinite(known.way).all(axis=0), len(which)
        way = np.where(lost, SOME_WAY, known.way)
        return known.gap[:count], way[:, :count], known.gap[count:], way[:, count:]

    def _met(self, which, ray, value, share):
        """Keep what was met at some shares, and tell which items were touching or lost there."""
        pair = self.stage.pair_index[which]
        hit, gone = (value <= 0) & ~self.stage.rough[which], np.isnan(value)
        np.minimum.at(self.met, (pair[hit], ray[hit]), share[hit])
        np.minimum.at(self.lost, (pair[gone], ray[gone]), share[gone])
        return hit | gone

    def _proven(self, posture, items, ray, ways):
        """Where in their cells, -1 to 1, items stop being proven apart.

        The direction turns with the closest points, from that at the middle towards that aside.
        """
        which, (way, turned) = items[0], ways
        turn = (turned - way) / ASIDE
        turn -= way * (turn * way).sum(axis=0)
        turn = np.where((turn * turn).sum(axis=0) < MOST_TURN**2, turn, 0.0)
        ways = np.zeros((posture.rows, *way.shape))
        ways[0] = way
        main = np.abs(self.ways.ends[ray]).argmax(axis=1)
        ways[1 + main, :, np.arange(len(ray))] = (
            turn * np.sign(self.ways.ends[ray, main])).T
        radii, proven = self.stage.radii[which] * (1 + 8 * U), np.empty(len(which))
        slack = SLACK * self.stage.scale(posture)
        for here, sides, behind in along(self.stage, posture, items, ways):
            rows = corner_pairs([self.ways.along(side, ray[here]) for side in sides])
            # the direction's length is at most 1 + |turn|^2 d^2 / 2
            rows[0] += behind - radii[here] - rows[3] * GROW - slack
            rows[2] -= radii[here] * (turn[:, here] ** 2).sum(axis=0) / 2
            proven[here] = first_root(rows[0], rows[1], rows[2])
        return proven

    def _next(self, items, cells, found, back):
        """Where each march goes on, and how far its next stretch is."""
        which, ray, free, step = items
        (centre, half, high), (proven, likely) = cells, found
        whole = proven >= 1
        now = np.where(whole, high, np.maximum(free, centre + half * proven))
        now = np.where(back, free, now)
        left, least = likely - now, self.least[ray]
        width = np.where(now - free > half, 2 * half, half / 2)
        nearer = np.clip(1.5 * left, least, np.where(back, half, width))
        width = np.where((left > 0) & (back | (likely > centre)), nearer, width)
        width = np.where(whole, np.maximum(step, 4 * half), width)
        stuck = ~whole & ~self.stage.rough[which] & (2 * half <= 1.01 * least)
        width = np.where(stuck, 0.0, np.maximum(width, least))
        split = self.stage.rough[which] & ~whole & ~back
        keep = ~split
        again, parts = self.stage.parts_of(which[split])
        wide = np.where(now > free, width, step)[split]
        return (np.concatenate([which[keep], parts]),
                np.concatenate([ray[keep], ray[split][again]]),
                np.concatenate([now[keep], now[split][again]]),
                np.concatenate([width[keep], wide[again]]))

    def settle(self):
        """Meet the contact just past where marches are stuck; look beyond where there is none."""
        which, ray, free = (np.concatenate(k) for k in zip(*self.ended, strict=True))
        pair = self.stage.pair_index[which]
        first = self.stuck[pair, ray]
        near = np.isfinite(first) & ((free - first) * self.ways.long[ray] <= self.within) \
            & ~self.stage.rough[which]
        if near.any():
            self._meet_just_past(which[near], ray[near], free[near])
        stuck = np.isfinite(self.stuck)
        late = (self.met - np.where(stuck, self.stuck, 0.0)) * self.ways.long > self.within
        for k, way in zip(*np.nonzero(stuck & late), strict=True):
            self._look_beyond(k, way)

    def _meet_just_past(self, which, ray, free):
        """Refine the contact of piece pairs within reach of where they are stuck."""
        def gap(share, chosen):
            motion = self.system.sweep(**self.ways.place(share, ray[chosen]))
            return depths(self.stage, motion.flat_posture(), which[chosen],
                          np.arange(len(share))).gap

        some, low, before = np.arange(len(which)), free, None
        for reach in (0.0, 1.0, 1 / STUCK):
            high = np.minimum(free + reach * self.least[ray], 1.0)
            value = gap(high[some], some)
            before = value if before is None else before
            touching = value <= 0
            hit = some[touching]
            if hit.size:
                self._refined((which, ray), hit, lambda x, h=hit: gap(x, h),
                              ((low[hit], before[touching]), (high[hit], value[touching])))
            some, before = some[~touching], before[~touching]
            if not some.size:
                return

    def _refined(self, items, hit, gap, ends):
        """Keep the first place in brackets, of places and the gaps there, at which items touch."""
        (low, _), (high, _) = ends
        root = refine(gap, *ends, 1e-14) if (high > low).any() else low
        for ulps in (0, 16, 4096):
            tried = np.clip(root * (1 + ulps * U), low, high)
            touching = gap(tried) <= 0
            high = np.where(touching & (tried < high), tried, high)
            if touching.all():
                break
        np.minimum.at(self.met, (self.stage.pair_index[items[0][hit]], items[1][hit]), high)

    def _look_beyond(self, pair, way):
        """Contact met at places beyond where a pair's march is stuck: a first look, no search."""
        end = min(1.0, self.met[pair, way], self.lost[pair, way])
        share = np.linspace(self.stuck[pair, way], end, LOOKS)
        items = np.flatnonzero((self.stage.pair_index == pair) & ~self.stage.rough)
        motion = self.system.sweep(**self.ways.place(share, np.full(LOOKS, way)))
        value = measure(self.stage, motion.flat_posture(), np.repeat(items, LOOKS),
                        np.tile(np.arange(LOOKS), len(items))).reshape(len(items), -1)
        lost, hit = np.isnan(value).any(axis=0), (value <= 0).any(axis=0)
        if hit.any():
            self.met[pair, way] = min(self.met[pair, way], share[hit.argmax()])
        if lost.any():
            self.lost[pair, way] = min(self.lost[pair, way], share[lost.argmax()])


def tubes_apart(stage: Stage, posture: Posture, pieces: tuple, count: int) -> np.ndarray:
    """Lower bound of the gap of piece pairs over cells from the round tubes about them.

    Parameters
    ----------
    stage : Stage
    posture : EnclosedPosture
        Over `count` cells.
    pieces : (ndarray of int (n,), ndarray of int (m,), ndarray of int (m,))
        Pieces, and which of them are the first and second of each pair.
    count : int

    Returns
    -------
    ndarray (m, count)
        mm; NaN or -inf where nothing is known.
    """
    pieces, a, b = pieces
    rows = stage.spines(posture, pieces, np.arange(count))
    about = stage.around(pieces) + 1e-9 + SLACK * stage.scale(posture) / 2
    # no point of a spine moves farther than the one of its ends that moves farthest
    loose = np.sqrt((np.abs(rows[1:]).sum(axis=0) ** 2).sum(axis=0)).max(axis=0)
    moved = np.where(np.isnan(loose), np.inf, loose)
    return spine_gaps(rows[0], a, b) - moved[a] - moved[b] - (about[a] + about[b])[:, None]
