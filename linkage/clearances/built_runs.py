"""What builds need be looked at together: every pair by the joints that move it, and no more.

Beyond a joint through which alone the stick moves a pair, all that comes before it is a range that
the joint turns through; its builds and the stick's travel then are no more variables.  What is not
decided that way is proven over the whole travel and all builds before it, then with its rods cut.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from ..geometry import tube
from ..model import AIRFRAME
from ..motion import (
    Builds,
    BuiltPosture,
    Drive,
    body_of,
    cut_joint,
    cut_system,
    enclose_builds,
    range_of,
)
from .built import BuiltSearch, solving
from .built_bounds import frames
from .carrying import Seat
from .pinned import PinnedSearch
from .search import Proof, Search, move_into_reach
from .stage import Stage
from .travel import Travel

if TYPE_CHECKING:
    from collections.abc import Iterable

    from ..model import Tolerance
    from ..motion import System
    from .scene import Pair, Scene

SPANS = np.array([0, 0.06, 0.15, 0.3, 0.5, 0.7, 0.85, 0.94, 1])  # of rods, as shares of them
MORE = 1.5  # times as many joints as a pair needs that it may be worked with
# cells along each input over which the range of a joint is asked for, by how many inputs move it
PARTS = {1: 8, 2: 8, 3: 4}
FINE_PARTS = 40  # and along the turn of the joint before it
RUNS = 3  # joints that a pair is tried from, one before the other
ROUGHLY = 0.5  # mm of the least gap as drawn within which a build near the worst is looked for


def prove_built(stage: Stage, travel: Travel, terms: tuple) -> Proof:
    """Bracket the least gap of every pair of a stage in every build.

    Parameters
    ----------
    stage : Stage
    travel : Travel
    terms : tuple
        Width of the bracket, build tolerances and limit, as for `linkage.clearances.prove`.
    """
    work = _Work.of(stage, travel, terms)
    work.meet()
    work.by_runs()
    for scene in (stage.scene, _InSpans(stage.scene)):
        for pairs, inputs in _alike(stage, work.hopeful()):
            search, moves = work.search(scene, pairs, inputs)
            _take(work.whole, _of_whole_rods(search), (pairs, moves), search.numbers)
            work.lost[pairs] = search.lost
    work.pin()
    whole, left = work.whole, set(work.open.tolist())
    for k in left:
        whole.open_at.setdefault(k, whole.place[k])
    whole.open_at = {k: place for k, place in whole.open_at.items() if k in left}
    move_into_reach(stage, travel, whole)
    return whole


@dataclass(frozen=True)
class _Work:
    """What is proven so far of all pairs, and of what."""

    stage: Stage
    travel: Travel
    terms: tuple
    builds: Builds
    whole: Proof
    drawn: np.ndarray
    lost: np.ndarray

    @classmethod
    def of(cls, stage, travel, terms):
        builds, count = Builds.of(stage.system, terms[1]), len(stage.pairs)
        whole = Proof(np.full(count, np.inf), np.zeros((count, len(travel.names))),
                      np.full(count, -np.inf), {}, np.zeros(count, int), np.full(count, -1),
                      builds=builds, shares=np.zeros((count, len(builds.sizes))))
        return cls(stage, travel, terms, builds, whole, np.full(count, np.inf),
                   np.zeros(count, bool))

    @property
    def open(self):
        """Pairs whose requirement is not decided."""
        required = self.required
        return np.flatnonzero(~((self.whole.proven >= required) | (
            (self.whole.least < required) & np.isfinite(self.whole.proven))))

    @property
    def required(self):
        """Clearance that each pair needs, mm."""
        return np.array([pair.required for pair in self.stage.pairs])

    def hopeful(self):
        """Those of the open pairs that a search over the whole travel may decide.

        A pair with a bound is not searched if the bound at the place that was met alone misses it.
        """
        open_pairs = self.open[~self.lost[self.open]]
        known = open_pairs[np.isfinite(self.whole.proven[open_pairs])
                           & np.isfinite(self.whole.least[open_pairs])]
        for pairs, inputs in _alike(self.stage, known):
            search, moves = self.search(self.stage.scene, pairs, inputs)
            which = np.flatnonzero(~search.stage.rough)
            at = self.whole.place[pairs][search.stage.pair_index[which]][:, moves]
            low = search.bounds_at(which, at)
            missed = search.stage.pair_index[which[low < search.required[
                search.stage.pair_index[which]]]]
            self.lost[pairs[np.unique(missed)]] = True
        return open_pairs[~self.lost[open_pairs]]

    def pin(self):
        """Prove what is open yet by holding dimensions at their worse ends."""
        met = self.open[~(self.whole.least[self.open] < self.required[self.open])]
        for pairs, inputs in _alike(self.stage, met):
            search, moves = self.search(_InSpans(self.stage.scene), pairs, inputs, PinnedSearch)
            _take(self.whole, _of_whole_rods(search), (pairs, moves), search.numbers)

    def search(self, scene, pairs, inputs, kind=BuiltSearch):
        """A search of some pairs over the whole travel, and which inputs it is along."""
        part = Stage(scene, [self.stage.pairs[k] for k in pairs])
        moves = np.array([name in inputs for name in self.travel.names], dtype=bool)
        return kind(part, _seen(self.travel, moves), self.terms, self.builds), moves

    def meet(self):
        """Meet a build of every pair that is near the worst where its gap is least as drawn."""
        stage = self.stage
        proof = Search(stage, self.travel, ROUGHLY, self.terms[2]).proved()
        ranks = stage.places_among()[0]
        for pairs, inputs in _alike(stage, np.arange(len(stage.pairs))):
            search, moves = self.search(stage.scene, pairs, inputs)
            met = proof.item[pairs] >= 0  # of the others any piece will do, midway
            rank = np.where(met, ranks[proof.item[pairs]], 0)
            _, order, start = search.stage.places_among()
            search.begin_at(order[start + rank], np.where(
                met[:, None], proof.place[pairs][:, moves], search.box.mean(axis=1)))
            search.proof.proven[:] = -np.inf
            self.drawn[pairs] = search.drawn
            _take(self.whole, search.proof, (pairs, moves), search.numbers)

    def by_runs(self):
        """Prove pairs beyond joints through which alone the stick moves them.

        What is not decided from the last such joint is tried from the one before it: fewer builds
        are then counted twice, and more at once.
        """
        ranges = _Ranges(self.stage.system, self.travel, self.terms[1])
        joints = {k: ranges.cut(self._carriers(pair))
                  for k, pair in enumerate(self.stage.pairs) if pair.frame == AIRFRAME}
        for _ in range(RUNS):
            groups = {}
            for k in self.open:
                groups.setdefault(joints.get(k), []).append(k)
            groups.pop(None, None)
            for joint, pairs in groups.items():
                if ranges.of(joint) is not None:
                    self._by_run(joint, ranges.of(joint), np.array(pairs))
            joints = {k: joint and ranges.before(joint) for k, joint in joints.items()}

    def _carriers(self, pair):
        return {body for name in (pair.first, pair.second)
                for body in self.stage.scene.carriers(name)}

    def _by_run(self, joint, ends, pairs):
        stage, whole = self.stage, self.whole
        part = Stage(_InSpans(stage.scene, cut_system(stage.system, joint, ends)),
                     [replace(stage.pairs[k], inputs=(joint,)) for k in pairs])
        search = _RunSearch(part, Travel.of({joint: ends}), self.terms, self.builds)
        search.proof.least[:] = whole.least[pairs]
        search.drawn = self.drawn[pairs]
        proof = _of_whole_rods(search)
        whole.visited[pairs] += proof.visited
        whole.proven[pairs] = np.maximum(whole.proven[pairs], proof.proven)


class _Ranges:
    """Ranges that joints turn through over a travel in all builds."""

    def __init__(self, system, travel, tolerances):
        self.system, self.builds = system, Builds.of(system, tolerances)
        self._travel, self._tolerances, self._known = travel, tolerances, {}

    def of(self, joint):
        """Range of a joint, degrees (mm), from all travel and from that of the joint before it."""
        if joint not in self._known:
            posture = everywhere(self.system, self._travel, self._tolerances, [joint])
            found = [ends for ends in (range_of(posture, joint), self._by_run(joint)) if ends]
            self._known[joint] = (max(low for low, _ in found), min(high for _, high in found)) \
                if found else None
        return self._known[joint]

    def cut(self, bodies):
        """The last joint whose turn alone bodies depend on; None where there is none."""
        return cut_joint(self.system.plan, bodies - {AIRFRAME})

    def before(self, joint):
        """The last joint whose turn alone that of a joint depends on; None where there is none."""
        plan = self.system.plan
        step = next(step for step in plan.steps if joint in step.joints)
        if plan.model.bodies[joint].on != AIRFRAME:
            return None
        return self.cut({body_of(end) for rod in step.rods
                         for end in plan.model.rods[rod].ends} - {joint})

    def _by_run(self, joint):
        before = self.before(joint)
        ends = None if before is None else self.of(before)
        if ends is None:
            return None
        system = cut_system(self.system, before, ends).only([joint])
        centres, halves = Travel.of({before: ends}).grid(np.ones(1, bool), FINE_PARTS)
        posture = enclose_builds(system, {before: centres[:, 0]}, {before: halves[:, 0]},
                                 self.builds.only(system)[0])
        return range_of(posture, joint)


class _RunSearch(BuiltSearch):
    """A search beyond a joint: what it asks is no build's place, so that it meets no gap."""

    def meet_first(self, pairs):
        """None is met."""

    def _meet_all(self, which, value, found):
        """None is met."""

    def finish(self):
        """Nothing is left to do."""


def everywhere(system: System, travel: Travel, tolerances: Tolerance,
               bodies: Iterable[str]) -> BuiltPosture:
    """Some bodies enclosed over the whole of a travel and all builds, worked out once.

    With them is enclosed all that no other inputs move.
    """
    inputs = _driven(system, bodies)

    def work():
        some = [body for body in system.model.bodies if _driven(system, [body]) <= inputs]
        pruned = system.only(some)
        moves = np.array([name in inputs for name in travel.names], dtype=bool)
        seen = _seen(travel, moves)
        count = len(seen.names)
        centres, halves = seen.grid(np.ones(count, bool), PARTS.get(count, 2)) if count else \
            np.zeros((2, 1, 0))
        return enclose_builds(pruned, {n: centres[:, i] for i, n in enumerate(seen.names)},
                              {n: halves[:, i] for i, n in enumerate(seen.names)},
                              Builds.of(system, tolerances).only(pruned)[0])

    return system.kept(("everywhere", tolerances, inputs, travel.names, travel.low.tobytes(),
                        travel.high.tobytes()), work)


def _driven(system, bodies) -> frozenset:
    """Inputs that move some bodies."""
    bodies = frozenset(bodies) - {AIRFRAME}
    return system.kept(("driven", bodies), lambda: frozenset(
        step.input for step in system.only(bodies).plan.steps if isinstance(step, Drive)))


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


def moved_by_builds(scene: Scene, pairs: Iterable[Pair], travel: Travel,
                    tolerances: Tolerance) -> dict:
    """How far any build has any point of the solids of some pairs off, at most: ``{solid: mm}``.

    Infinite for what may be out of reach, where there is nothing that it is off from.
    """
    groups = {}
    for name in dict.fromkeys(name for pair in pairs for name in (pair.first, pair.second)):
        groups.setdefault(scene.carriers(name), []).append(name)
    found = {}
    for carriers, names in groups.items():
        posture = everywhere(scene.system, travel, tolerances, carriers)
        off = _moved(scene, [scene.envelope(name) for name in names], posture)
        found |= {name: float(most) + scene.looseness(name, tolerances) * np.sqrt(3.0)
                  for name, most in zip(names, off, strict=True)}
    return found


def _moved(scene, solids, posture):
    """Of solids that the same bodies carry."""
    steps = scene.system.only(set(solids[0].carriers) - {AIRFRAME}).plan.steps
    if not posture.doubtful.isdisjoint(joint for step in steps for joint in step.joints):
        return np.full(len(solids), np.inf)
    middles, out = (np.array(k) for k in zip(*map(_middle_and_reach, solids), strict=True))
    seats = [_seat_of(scene, solid, middle) for solid, middle in zip(solids, middles, strict=True)]
    with np.errstate(invalid="ignore", over="ignore"):
        off = posture.off_drawn(frames(seats, posture))
        off = np.sqrt((off * off).sum(axis=0))  # (4, solids, cells)
    rod = np.array([solid.ends is not None for solid in solids])
    most = np.where(rod[:, None], off[1:3].max(axis=0),
                    off[0] + np.einsum("sa,asn->sn", out, off[1:]))
    return np.where(np.isnan(most), np.inf, most).max(axis=1) * (1 + 1e-9)


def _middle_and_reach(solid):
    """The middle of a solid's corners, and how far they lie from it along each axis."""
    points = np.concatenate([piece.points for piece in solid.pieces])
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    return middle, np.abs(points - middle).max(axis=0)


def _seat_of(scene, solid, middle) -> Seat:
    """A rod's ends carry it, axes at its middle all else: from afar turns count for more."""
    if solid.ends is not None:
        ends = scene.model.rods[body_of(solid.name)].ends
        return Seat(solid.carriers, AIRFRAME, solid.ends, ends)
    return Seat(solid.carriers, AIRFRAME, middle[None], ())


def _seen(travel, moves):
    """A travel along some inputs alone."""
    low, high = (k[:, moves] for k in travel.seen_along(moves))
    return Travel(tuple(n for n, m in zip(travel.names, moves, strict=True) if m), low, high)


class _InSpans:
    """A scene whose rods are cut along, so that a far end counts for nothing near the other."""

    def __init__(self, scene, system=None):
        self._scene, self.system = scene, scene.system if system is None else system

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


def _of_whole_rods(search):
    """What a search proves, of rods cut along as it holds of whole ones.

    A rod is as near as its nearest span while its middle line is proven outside the other solid.
    How deep a whole one lies in it no span says: no deeper than the radii and the other's size.
    """
    stage, proof, loose = search.stage, search.proved(), search.loose
    if not isinstance(stage.scene, _InSpans):
        return proof
    size = np.array([np.linalg.norm(np.ptp(piece.points, axis=0)) for piece in stage.pieces])
    size = np.where(stage.of_rod[stage.seat_of], 0.0, size) + 4 * loose
    thin, deep = (np.full(len(stage.pairs), fill) for fill in (np.inf, 0.0))
    np.minimum.at(thin, stage.pair_index, stage.radii)
    np.maximum.at(deep, stage.pair_index, stage.radii + size[stage.sides].sum(axis=1))
    inside = proof.proven < -thin
    proof.proven[inside] = np.minimum(proof.proven, -deep)[inside]
    return proof


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
