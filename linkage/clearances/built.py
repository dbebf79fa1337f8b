"""Branch and bound over every build within the tolerances at once."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np

from ..geometry import tube
from ..intervals import row_count
from ..model import AIRFRAME
from ..motion import Builds, body_of, enclose_builds
from .built_bounds import BuiltBounds, built_bounds, enclosed_builds, frames
from .carrying import Seat
from .search import TRIES, Leaves, Proof, Search
from .stage import Stage, measure
from .travel import Travel

SMALLEST_BUILT = 0.02  # degrees (mm) of a cell's side; smaller ones cost nothing any more
MOST_BUILT = 1500  # cells of a pair after which what is left stays open
EFFORT_BUILT = 24  # cells that a pair may take for a closer bracket than its requirement asks
SHARE = 0.1  # of what the tolerances cost a pair, that its bracket is narrowed to
CLOSE = 1e-6  # degrees (mm) of a cell in which the worst build at one place is asked for
FIRST_STEP, LAST_STEP = 0.25, 1e-3  # degrees (mm) of steps down a valley
STEPS = 12
SPANS = np.array([0, 0.06, 0.15, 0.3, 0.5, 0.7, 0.85, 0.94, 1])  # of rods, as shares of them
CELLS = 64  # bounded at once
MORE = 1.5  # times as many joints as a pair needs that it may be worked with
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

    def __init__(self, stage, travel, terms, builds):
        tolerance, tolerances, limit = terms
        super().__init__(stage, travel, tolerance, tolerances, limit)
        self.system, ends = solving(stage.system, stage.scene, stage.pairs)
        self.builds, self.numbers = builds.only(self.system, ends)
        count = len(stage.pairs)
        self.drawn, self.lost = np.full(count, np.inf), np.zeros(count, bool)
        self.proof.builds = self.builds
        self.proof.shares = np.zeros((count, len(self.builds.sizes)))
        self.effort = EFFORT_BUILT + np.bincount(stage.pair_index[:stage.first], minlength=count)

    def enclosed(self, centres, halves):
        """Bounds of the posture over cells (n, inputs) and all builds."""
        return enclosed_builds(self.stage, self.system, self.builds,
                               (self.names, centres, halves))

    def _bounds(self, which, centres, halves, enough=None):
        found = []
        order = np.lexsort((*halves.T, *centres.T))
        which, centres, halves = which[order], centres[order], halves[order]
        cells, cell = self.cells(centres, halves)
        for start in range(0, len(cells[0]), CELLS):
            here = np.flatnonzero((cell >= start) & (cell < start + CELLS))
            some = tuple(k[start:start + CELLS] for k in cells)
            posture = self.enclosed(*some)
            for first in range(0, len(here), self.most):
                part = here[first:first + self.most]
                found.append((order[part], built_bounds(
                    self.stage, posture, (which[part], cell[part] - start), (self.names, *some),
                    (self.loose, None if enough is None else enough[order[part]], self.swept))))
        back = np.argsort(np.concatenate([at for at, _ in found]))
        return BuiltBounds(*(np.concatenate(parts, axis=axis).take(back, axis=axis) for parts, axis
                             in zip(zip(*(k for _, k in found), strict=True), (0, 0, 0, 1),
                                    strict=True)))

    def _looked_at(self, items):
        which, centres, halves = items
        pairs = self.stage.pair_index[which]
        np.add.at(self.proof.visited, pairs, 1)
        enough = np.minimum(self.proof.least - self._wanted(), self.limit)[pairs]
        value, low, places, builds = self._bounds(which, centres, halves, enough)
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
        self._leave((which[~keep], centres[~keep], halves[~keep]), low[~keep])
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
        alone = self._bounds(which[items], at, np.full_like(at, CLOSE)).low
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

    def swept(self, builds, places):
        """Posture in builds (dimensions, n) at places (n, inputs)."""
        return self.system.sweep_with(self.builds.dimensions(builds), **{
            name: places[:, i] for i, name in enumerate(self.names)}).flat_posture()

    def _value(self, which, places, builds):
        return measure(self.stage, self.swept(builds, places), which, np.arange(len(which)), self.loose)

    def met(self, which, places):
        """Gap of piece pairs at places as drawn but for the solids, NaN out of reach."""
        motion = self.stage.system.sweep(**{n: places[:, i] for i, n in enumerate(self.names)})
        return measure(self.stage, motion.posture, which, np.arange(len(which)), self.loose)

    def proved(self) -> Proof:
        """Everything bracketed."""
        *items, low = self.first_items()
        if len(items[0]):
            self.meet_first(np.unique(self.stage.pair_index[items[0]]))
        items = self.still_open(items, low)
        while len(items[0]):
            items = self.round(items)
        self.finish()
        return self.proof

    def finish(self):
        """Go down the valley of the worst build met, of the build as of the place."""
        super().finish()
        wide = ~self._decided(self.proof.proven, np.arange(len(self.required))) | (
            self.proof.least - self.proof.proven > 2 * self._wanted())
        known = np.flatnonzero(np.isfinite(self.proof.least) & wide
                               & (self.proof.proven < self.limit))
        for _ in range(FLIPS):
            self._flip(known)
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
            builds = self._bounds(which[part], places[part],
                                  np.full_like(places[part], CLOSE)).builds
            self._meet_builds(which[part], places[part], builds)


def prove_built(stage: Stage, travel: Travel, terms) -> Proof:
    """Bracket the least gap of every pair of a stage in every build.

    Pairs that much the same joints move are worked together, with only these joints.

    Parameters
    ----------
    stage : Stage
    travel : Travel
    terms : tuple
        Width of the bracket, build tolerances and limit, as for `linkage.clearances.prove`.
    """
    builds, size = Builds.of(stage.system, terms[1]), len(travel.names)
    count = len(stage.pairs)
    whole = Proof(np.full(count, np.inf), np.zeros((count, size)), np.full(count, -np.inf), {},
                  np.zeros(count, int), np.full(count, -1), builds=builds,
                  shares=np.zeros((count, len(builds.sizes))))
    required = np.array([pair.required for pair in stage.pairs])
    todo = np.arange(count)
    for scene in (stage.scene, _InSpans(stage.scene)):
        for pairs, inputs in _alike(stage, todo):
            part = Stage(scene, [stage.pairs[k] for k in pairs])
            moves = np.array([name in inputs for name in travel.names], dtype=bool)
            search = BuiltSearch(part, _seen(travel, moves), terms, builds)
            _take(whole, search.proved(), (pairs, moves), search.numbers)
        settled = (whole.proven >= required) | (whole.least < required)
        todo = np.flatnonzero(~settled)
    for k in todo:
        whole.open_at.setdefault(int(k), whole.place[k])
    whole.open_at = {k: place for k, place in whole.open_at.items() if not settled[k]}
    return whole


def _take(whole, proof, which, numbers):
    """Take what is proven of some pairs, and what is met, into the proof of all, in place."""
    pairs, moves = which
    whole.visited[pairs] += proof.visited
    whole.proven[pairs] = np.maximum(whole.proven[pairs], proof.proven)
    for k in np.flatnonzero(proof.least < whole.least[pairs]):
        whole.least[pairs[k]] = proof.least[k]
        whole.place[pairs[k], moves] = proof.place[k]
        whole.shares[pairs[k]] = 0.0
        whole.shares[pairs[k], numbers] = proof.shares[k]
    for k, place in proof.open_at.items():
        at = np.zeros(len(moves))
        at[moves] = place
        whole.open_at[int(pairs[k])] = at


def moved_by_builds(scene, pairs, travel: Travel, tolerances) -> dict:
    """How far any build has any point of the solids of some pairs off, at most: ``{solid: mm}``."""
    names = dict.fromkeys(name for pair in pairs for name in (pair.first, pair.second))
    system, builds = scene.system, Builds.of(scene.system, tolerances)
    cells = travel.grid(np.ones(len(travel.names), bool), Search.grid)
    posture = enclose_builds(system, {n: cells[0][:, i] for i, n in enumerate(travel.names)},
                             {n: cells[1][:, i] for i, n in enumerate(travel.names)}, builds)
    envelopes = [scene.envelope(name) for name in names]
    seats = [Seat(each.carriers, AIRFRAME, np.zeros((1, 3)) if each.ends is None else each.ends,
                  () if each.ends is None else scene.model.rods[body_of(each.name)].ends)
             for each in envelopes]
    first = row_count(posture.inputs) - 1
    with np.errstate(invalid="ignore", over="ignore"):
        rows = np.array([np.abs(each[first:]).sum(axis=0) for each in
                         (frames([seat], posture)[..., 0, :] for seat in seats)])
    size = np.sqrt((rows * rows).sum(axis=1))  # (solids, 4, cells)
    found = {}
    for name, each, off in zip(names, envelopes, size, strict=True):
        if each.ends is None:
            corners = np.abs(np.concatenate([p.points for p in each.pieces])).max(axis=0)
            most = off[0] + corners @ off[1:]
        else:
            most = off[0] + off[1]
        loose = scene.looseness(name, tolerances) * np.sqrt(3.0)
        found[name] = float(np.fmax.reduce(most)) * (1 + 1e-9) + loose
    return found


def _seen(travel, moves):
    """A travel along some inputs alone."""
    low, high = (k[:, moves] for k in travel.seen_along(moves))
    return Travel(tuple(n for n, m in zip(travel.names, moves, strict=True) if m), low, high)


def solving(system, scene, pairs):
    """The system with only what some pairs need, and the ends of rods among their solids."""
    names = {name for pair in pairs for name in (pair.first, pair.second)}
    bodies = {body for name in names for body in scene.carriers(name)}
    rods = dict.fromkeys(body_of(name) for name in sorted(names) if body_of(name)
                         in scene.model.rods)
    return (system.only(bodies | {pair.frame for pair in pairs} - {AIRFRAME}),
            [end for rod in rods for end in scene.model.rods[rod].ends])


class _InSpans:
    """A scene whose rods are cut along, so that a far end counts for nothing near the other."""

    def __init__(self, scene):
        self._scene = scene

    def __getattr__(self, name):
        return getattr(self._scene, name)

    def solid_of(self, pair, name):
        """As of the scene, a rod's tubes cut into spans."""
        solid = self._scene.solid_of(pair, name)
        if solid.ends is None:
            return solid
        pieces = [tube(*ends, piece.radius) for piece in solid.pieces
                  for ends in itertools.pairwise(np.outer(1 - SPANS, piece.points[0])
                                                 + np.outer(SPANS, piece.points[1]))]
        return replace(solid, pieces=tuple(pieces))


def _alike(stage, chosen):
    """Groups of some pairs that much the same joints move, and the inputs of each."""
    needs = []
    for k in chosen:
        system, _ = solving(stage.system, stage.scene, [stage.pairs[k]])
        needs.append((frozenset(j for step in system.plan.steps for j in step.joints),
                      stage.pairs[k].inputs))
    groups = {}
    for k in sorted(range(len(chosen)), key=lambda k: -len(needs[k][0])):
        joints, inputs = needs[k]
        key = next(((more, other) for more, other in groups if inputs == other and joints <= more
                    and len(more) <= MORE * len(joints) + 1), needs[k])
        groups.setdefault(key, []).append(chosen[k])
    return [(np.sort(pairs), inputs) for (_, inputs), pairs in groups.items()]
