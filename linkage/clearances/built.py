"""Branch and bound over every build within the tolerances at once."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np

from ..motion import Builds
from .cell_bounds import bounds
from .search import MOST_ITEMS, TRIES, Search
from .stage import measure

if TYPE_CHECKING:
    from ..model.parts import Tolerance
    from .stage import Stage
    from .travel import Travel

SMALLEST_BUILT = 0.02  # degrees (mm) of a cell's side; smaller ones cost nothing any more
MOST_BUILT = 1500  # cells of a pair after which what is left stays open
HARDER = 1  # times the effort that a pair drawn may take
SHARE = 0.1  # of what the tolerances cost a pair, that its bracket is narrowed to
CLOSE = 1e-6  # degrees (mm) of a cell in which the worst build at one place is asked for
FIRST_STEP, LAST_STEP = 0.25, 1e-3  # degrees (mm) of steps down a valley
STEPS = 12
FLIPS = 3  # times that every dimension is asked which way is worse


class BuiltSearch(Search):
    """As `Search`, with the least gap that of the worst build met.

    A pair is done when the bound over all its cells is past what it requires, or a build that
    misses it is met; while it takes little effort its bracket is narrowed further.
    """

    def __init__(self, stage: Stage, travel: Travel | dict, tolerance: float,
                 tolerances: Tolerance, limit: float):
        super().__init__(stage, travel, tolerance, tolerances, limit)
        self.builds = Builds.of(stage.system, tolerances)
        count = len(stage.pairs)
        self.drawn, self.lost = np.full(count, np.inf), np.zeros(count, bool)
        self.proof.builds = self.builds
        self.proof.shares = np.zeros((count, len(self.builds.sizes)))
        self.effort = self.effort * HARDER
        self.most = max(200, 8 * MOST_ITEMS // (8 + len(self.builds.sizes)) // 4)

    def _looked_at(self, items):
        which, centres, halves = items
        cells, cell = self.cells(centres, halves)
        pairs = self.stage.pair_index[which]
        np.add.at(self.proof.visited, pairs, 1)
        enough = np.minimum(self.proof.least - self._wanted(), self.limit)[pairs]
        value, low, places, builds, planes = bounds(
            self.stage, (which, cell), (self.names, *cells), self.tolerances, enough)
        np.fmin.at(self.drawn, pairs, np.where(self.stage.rough[which], np.nan, value))
        self._try_builds(which, (low, places, builds))
        small = (halves.max(axis=1) * 2 < SMALLEST_BUILT) | (self.proof.visited[pairs]
                                                             > MOST_BUILT)
        self._give_up(which, (low, places))
        closed = self._closed(low, pairs)
        sound = ~np.isnan(low) & (closed | small)
        np.minimum.at(self.proof.proven, pairs[sound], low[sound])
        for n in np.flatnonzero(small & ~closed & ~self._decided(low, pairs)):
            self.proof.open_at.setdefault(int(pairs[n]), centres[n])
        keep = ~closed & ~small
        self._leave((which[~keep], centres[~keep], halves[~keep]), low[~keep],
                    np.where(np.isnan(low[~keep])[:, None, None], np.nan, planes[~keep]))
        return which[keep], centres[keep], halves[keep], np.full((keep.sum(), len(self.names)),
                                                                 np.nan)

    def _give_up(self, which, found):
        """Mark pairs that no smaller cells would decide: a bound at one place alone misses it."""
        low, places = found
        pairs = self.stage.pair_index[which]
        asked = (self.proof.visited[pairs] > self.effort[pairs]) & ~self.lost[pairs] & (
            self.proof.least[pairs] >= self.required[pairs]) & ~self.stage.rough[which]
        order = np.lexsort((low, pairs))
        order = order[asked[order]]
        items = order[np.diff(pairs[order], prepend=-1) > 0]
        if not items.size:
            return
        at = np.clip(places[items], *self.box.T)
        cells, cell = self.cells(at, np.full_like(at, CLOSE))
        alone = bounds(self.stage, (which[items], cell), (self.names, *cells), self.tolerances).low
        lost = items[alone < self.required[pairs[items]]]
        self.lost[pairs[lost]] = True
        for n in lost:
            self.proof.open_at.setdefault(int(pairs[n]), places[n])

    def _closed(self, low, pairs):
        """Whether bounds need no closer look."""
        best, decided = self.proof.least[pairs], self._decided(low, pairs)
        narrow = low >= best - self._wanted()[pairs]
        effort = self.proof.visited[pairs] > self.effort[pairs]
        return np.isnan(low) | (low >= self.limit[pairs]) | (decided & (narrow | effort))

    def _decided(self, low, pairs):
        """Whether bounds meet what is required, or their pairs' requirement is settled anyway."""
        return (low >= self.required[pairs]) | self.lost[pairs] | (
            self.proof.least[pairs] < self.required[pairs])

    def _wanted(self):
        with np.errstate(invalid="ignore"):
            cost = self.drawn - self.proof.least
        return np.fmax(self.tolerance, SHARE * np.where(np.isfinite(cost), cost, 0.0))

    def _try_builds(self, which, found):
        """Meet the gap of each pair's lowest bounds where, and in the build in which, they are."""
        low, places, builds = found
        pairs = self.stage.pair_index[which]
        order = np.lexsort((low, pairs))
        rank = np.arange(len(order)) - np.searchsorted(pairs[order], pairs[order])
        items = order[(rank < TRIES) & (low[order] < self.proof.least[pairs[order]])]
        if items.size:
            self._meet_builds(which[items], np.clip(places[items], *self.box.T), builds[:, items])

    def _meet_builds(self, which, places, builds):
        rough = self.stage.rough[which]
        back, parts = self.stage.parts_of(which[rough])
        which = np.concatenate([which[~rough], parts])
        places = np.concatenate([places[~rough], places[rough][back]])
        builds = np.concatenate([builds[:, ~rough], builds[:, rough][:, back]], axis=1)
        held = self._held(which, places)
        which, places, builds = which[held], places[held], builds[:, held].astype(float)
        if not which.size:
            return
        value = self._value(which, places, builds)
        pairs = self.stage.pair_index[which]
        before = self.proof.least.copy()
        self._meet(value, which, places)
        for k in np.flatnonzero(self.proof.least < before):
            met = np.flatnonzero((pairs == k) & (value == self.proof.least[k]))[0]
            self.proof.shares[k] = builds[:, met]

    def _value(self, which, places, builds):
        motion = self.stage.system.sweep_with(self.builds.dimensions(builds), **{
            name: places[:, i] for i, name in enumerate(self.names)})
        return measure(self.stage, motion.flat_posture(), which, np.arange(len(which)), self.loose)

    def finish(self) -> None:
        """Go down the valley of the worst build met, of the build as of the place."""
        super().finish()
        wide = self.proof.least - self.proof.proven > self._wanted()
        known = np.flatnonzero(np.isfinite(self.proof.least) & wide
                               & (self.proof.proven < self.limit))
        for _ in range(FLIPS):
            self._flip(known)
        step = np.full(len(known), FIRST_STEP)
        ways = np.array(list(itertools.product((-1.0, 0.0, 1.0), repeat=len(self.names))))
        for _ in range(STEPS):
            if not known.size:
                return
            before = self.proof.least[known]
            self._step(known, ways, step)
            lower = self.proof.least[known] < before - CLOSE
            step = np.where(lower, step, step / 4)
            known, step = known[step >= LAST_STEP], step[step >= LAST_STEP]

    def _flip(self, known):
        """Turn each dimension's share about, all those at once that lower the gap by themselves."""
        count = len(self.builds.sizes)
        if not known.size or not count:
            return
        proof = self.proof
        which = np.repeat(proof.item[known], count + 1)
        places = np.repeat(proof.place[known], count + 1, axis=0)
        builds = np.where(proof.shares[known] > 0, 1.0, -1.0)[:, None] * np.where(
            np.eye(count + 1, count, -1, dtype=bool), -1.0, 1.0)
        value = self._value(which, places, builds.reshape(-1, count).T).reshape(len(known), -1)
        better = builds[:, 0] * np.where(value[:, 1:] < value[:, :1], -1.0, 1.0)
        self._meet_builds(proof.item[known], proof.place[known], better.T)

    def _step(self, known, ways, step):
        """Ask the worst build at places all round the one met."""
        near = np.flatnonzero(~self.stage.rough & np.isin(self.stage.pair_index, known))
        pairs = self.stage.pair_index[near]
        value = self._value(near, self.proof.place[pairs], self.proof.shares[pairs].T)
        least = np.full(len(self.stage.pairs), np.inf)
        np.fmin.at(least, pairs, value)
        near = near[value <= least[pairs] + 0.1]
        pairs = self.stage.pair_index[near]
        at = np.searchsorted(known, pairs)
        places = self.proof.place[pairs][:, None] + step[at][:, None, None] * ways * \
            self.moves[pairs][:, None]
        places = np.clip(places, *self.box.T).reshape(-1, len(self.names))
        which = np.repeat(near, len(ways))
        for start in range(0, len(which), self.most):
            part = slice(start, start + self.most)
            cells, cell = self.cells(places[part], np.full_like(places[part], CLOSE))
            builds = bounds(self.stage, (which[part], cell), (self.names, *cells),
                            self.tolerances).builds
            self._meet_builds(which[part], places[part], builds)
