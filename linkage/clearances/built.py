"""Branch and bound over every build within the tolerances at once."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np

from ..model import AIRFRAME
from ..motion import body_of
from .built_bounds import BuiltBounds, built_bounds, enclosed_builds
from .search import TRIES, Search
from .stage import in_reach, measure

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ..motion import Builds, Posture, System
    from .scene import Pair, Scene
    from .stage import Stage
    from .travel import Travel

SMALLEST_BUILT = 0.02  # degrees (mm) of a cell's side; smaller ones cost nothing any more
MOST_BUILT = 1500  # cells of a pair after which what is left stays open
EFFORT_BUILT = 24  # cells that a pair may take for a closer bracket than its requirement asks
SHARE = 0.1  # of what the tolerances cost a pair, that its bracket is narrowed to
CLOSE = 1e-6  # degrees (mm) of a cell in which the worst build at one place is asked for
FIRST_STEP, LAST_STEP = 0.25, 1e-3  # degrees (mm) of steps down a valley
STEPS = 12
CELLS = 64  # bounded at once
FLIPS = 3  # times that every dimension is asked which way is worse


class BuiltSearch(Search):
    """As `Search`, with the least gap that of the worst build met.

    A pair is done when the bound over all its cells is past what it requires, or a build that
    misses it is met; while it takes little effort its bracket is narrowed further.

    Parameters
    ----------
    stage, travel, tolerance, tolerances, limit
        As for `linkage.clearances.prove`, of pairs that much the same joints move.
    builds : Builds
        All dimensions.
    """

    most_cells = MOST_BUILT

    def __init__(self, stage: Stage, travel: Travel, terms: tuple, builds: Builds):
        tolerance, tolerances, limit = terms
        super().__init__(stage, travel, tolerance, limit)
        self.loose = stage.looseness(tolerances)
        self.system, ends = solving(stage.system, stage.scene, stage.pairs)
        self.builds, self.numbers = builds.only(self.system, ends)
        count = len(stage.pairs)
        self.drawn, self.lost = np.full(count, np.inf), np.zeros(count, bool)
        self.proof.builds = self.builds
        self.proof.shares = np.zeros((count, len(self.builds.sizes)))
        self.effort = EFFORT_BUILT + np.bincount(stage.pair_index[:stage.first], minlength=count)

    def _enclosed(self, cells):
        return enclosed_builds(self.stage, self.system, self.builds, (self.names, *cells))

    def _bounds(self, which, centres, halves, enough=None):
        found = []
        order = np.lexsort((*halves.T, *centres.T))
        which, centres, halves = which[order], centres[order], halves[order]
        cells, cell = self.cells(centres, halves)
        for start in range(0, len(cells[0]), CELLS):
            here = np.flatnonzero((cell >= start) & (cell < start + CELLS))
            some = tuple(k[start:start + CELLS] for k in cells)
            posture = self._enclosed(some)
            for first in range(0, len(here), self.most):
                part = here[first:first + self.most]
                items, wanted = (which[part], cell[part] - start), None if enough is None else \
                    enough[order[part]]
                made = built_bounds(self.stage, posture, items, (self.names, *some),
                                    (self.loose, wanted, self.swept))
                self._raise(made, posture, (items, some), wanted)
                found.append((order[part], made))
        back = np.argsort(np.concatenate([at for at, _ in found]))
        return BuiltBounds(*(np.concatenate(parts, axis=axis).take(back, axis=axis) for parts, axis
                             in zip(zip(*(k for _, k in found), strict=True), (0, 0, 0, 1),
                                    strict=True)))

    def _raise(self, made, posture, asked, wanted):
        """Raise bounds that are not enough, in place, where there is a way to."""

    def _looked_at(self, items):
        which, centres, halves = items
        pairs = self.stage.pair_index[which]
        np.add.at(self.proof.visited, pairs, 1)
        value, low, places, builds = self._bounds(which, centres, halves,
                                                  self._enough(self._wanted())[pairs])
        self._meet_all(which, value, (low, places, builds))
        small = (halves.max(axis=1) * 2 < SMALLEST_BUILT) | (self.proof.visited[pairs]
                                                             > self.most_cells)
        self._give_up(which, (low, places))
        closed = self._closed(low, pairs)
        sound = ~np.isnan(low) & (closed | small)
        np.minimum.at(self.proof.proven, pairs[sound], low[sound])
        for n in np.flatnonzero(small & ~closed & ~self._decided(low, pairs)):
            self.proof.open_at.setdefault(int(pairs[n]), centres[n])
        keep = ~closed & ~small
        self._leave((which[~keep], centres[~keep], halves[~keep]), low[~keep])
        return which[keep], centres[keep], halves[keep], np.full((keep.sum(), len(self.names)),
                                                                 np.nan)

    def _meet_all(self, which, value, found):
        """Take in the gaps as drawn, and meet those of builds where the bounds are lowest."""
        np.fmin.at(self.drawn, self.stage.pair_index[which],
                   np.where(self.stage.rough[which], np.nan, value))
        self._try_builds(which, found)

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
        alone = self.bounds_at(which[items], at)
        lost = items[alone < self.required[pairs[items]]]
        self.lost[pairs[lost]] = True
        for n in lost:
            self.proof.open_at.setdefault(int(pairs[n]), places[n])

    def bounds_at(self, which: np.ndarray, places: np.ndarray) -> np.ndarray:
        """Lower bounds of items (n,) in all builds at one place of each (n, inputs) alone, mm."""
        return self._bounds(which, places, np.full_like(places, CLOSE),
                            self.required[self.stage.pair_index[which]]).low

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

    def _enough(self, tolerance):
        """As of all searches; where a requirement is not settled, no less than that."""
        narrow = self.proof.least - tolerance
        settled = self.lost | (self.proof.least < self.required)
        return np.minimum(np.where(settled, narrow, np.maximum(narrow, self.required)), self.limit)

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

    def swept(self, builds: np.ndarray, places: np.ndarray) -> Posture:
        """Posture in builds (dimensions, n) at places (n, inputs)."""
        return self.system.sweep_with(self.builds.dimensions(builds), **{
            name: places[:, i] for i, name in enumerate(self.names)}).flat_posture()

    def _value(self, which, places, builds):
        return measure(self.stage, self.swept(builds, places), which, np.arange(len(which)),
                       self.loose)

    def begin_at(self, items: np.ndarray, places: np.ndarray) -> None:
        """Meet a gap of every pair as drawn, and in a build that is near the worst there."""
        self._meet_builds(items, places, np.zeros((len(self.builds.sizes), len(items))))
        self.drawn = self.proof.least.copy()
        self._flips(np.flatnonzero(np.isfinite(self.proof.least)))

    def finish(self) -> None:
        """Go down the valley of the worst build met, of the build as of the place."""
        super().finish()
        wide = ~self._decided(self.proof.proven, np.arange(len(self.required))) | (
            self.proof.least - self.proof.proven > 2 * self._wanted())
        known = np.flatnonzero(np.isfinite(self.proof.least) & wide
                               & (self.proof.proven < self.limit))
        self._flips(known)
        known = known[~self._decided(self.proof.proven[known], known)]
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

    def _flips(self, known):
        """Turn shares about as long as a pair gains by it."""
        for _ in range(FLIPS):
            before = self.proof.least[known]
            self._flip(known)
            known = known[self.proof.least[known] < before]

    def _flip(self, known):
        """Turn each dimension's share about, all those at once that lower the gap by themselves.

        Which do is asked of the two closest points, held where they are on their parts.
        """
        count = len(self.builds.sizes)
        if not known.size or not count:
            return
        proof, stage = self.proof, self.stage
        which, places = proof.item[known], proof.place[known]
        base = np.where(proof.shares[known] > 0, 1.0, -1.0)
        axes = stage.axes(self.swept(base.T, places), which, np.arange(len(known)))
        good = np.flatnonzero(in_reach(axes))
        if not good.size:
            return
        known, which, places, base = known[good], which[good], places[good], base[good]
        axes = [k[..., good] for k in axes]
        _, way, *feet = stage.gap(axes, which)
        builds = base[:, None] * np.where(np.eye(count + 1, count, -1, dtype=bool), -1.0, 1.0)
        posture = self.swept(builds.reshape(-1, count).T, np.repeat(places, count + 1, axis=0))
        moved = stage.axes(posture, np.repeat(which, count + 1), np.arange(builds[..., 0].size))
        one, other = (_carried(k.reshape(3, 4, len(known), -1), _local(
            held, foot, stage.of_rod[stage.seat_of[pieces]])) for k, held, foot, pieces in zip(
                moved, axes, feet, stage.sides[which].T, strict=True))
        value = np.einsum("cmk,cm->mk", other - one, way)
        better = base * np.where(value[:, 1:] < value[:, :1], -1.0, 1.0)
        self._meet_builds(which, places, better.T)

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
            builds = self._bounds(which[part], places[part],
                                  np.full_like(places[part], CLOSE)).builds
            self._meet_builds(which[part], places[part], builds)


def _local(axes, point, of_rod):
    """Coordinates of points (3, m) along the vectors of some axes (3, 4, m), as `Frames` has them.

    Of a rod they are the shares that its two ends have in a point between them.
    """
    along = (axes[:, 1:] * (point - axes[:, 0])[:, None]).sum(axis=0)
    way = axes[:, 2] - axes[:, 1]
    share = ((point - axes[:, 1]) * way).sum(axis=0) / (way * way).sum(axis=0)
    return np.where(of_rod, [1 - share, share, np.zeros_like(share)], along)


def _carried(axes, local):
    """Points (3, m, k) that coordinates (3, m) are along axes (3, 4, m, k)."""
    return axes[:, 0] + (axes[:, 1:] * local[None, :, :, None]).sum(axis=1)


def solving(system: System, scene: Scene, pairs: Sequence[Pair]) -> tuple[System, list[str]]:
    """The system with only what some pairs need, and the ends of rods among their solids."""
    names = {name for pair in pairs for name in (pair.first, pair.second)}
    bodies = {body for name in names for body in scene.carriers(name)}
    rods = dict.fromkeys(body_of(name) for name in sorted(names) if body_of(name)
                         in scene.model.rods)
    return (system.only(bodies | {pair.frame for pair in pairs} - {AIRFRAME}),
            [end for rod in rods for end in scene.model.rods[rod].ends])
