"""Branch and bound: cells of travel are split where the bound over them is not yet good enough."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..intervals import U
from ..motion import Builds, enclose
from .cell_bounds import bounds
from .stage import in_reach, measure, spine_gaps
from .travel import Travel

if TYPE_CHECKING:
    from ..motion.moved import Motion
    from ..motion.system import System
    from .stage import Stage

SPLIT = {1: 4}  # children per side of a cell, by how many inputs it has; 2 unless said
SMALLEST = 0.001  # degrees (mm) of a cell's side below which it stays open
ABOUT = 0.3  # share of a half-width to each side of a bottom that its own child takes
EFFORT = 60  # cells that a pair may take for a closer bracket than asked for
TRIES = 8  # places tried per pair and round
TRIES_OF_NODES = 2  # of nodes about many triangles, each tried in several of them
FIRST_TRIES = 2  # piece pairs tried at each end and middle of the travel
MOST_CELLS = 30_000  # cells of a pair after which what is left stays open
# degrees (mm) of a cell in which rods solved together are known by a box alone, below which a bound
# is good that meets what is required; and such cells of a pair after which what is left stays open
EDGE, MOST_AT_EDGE = 0.2, 1000
STEPS_INTO_REACH = 129  # places asked on the way from one told as open to one in reach
MOST_ROUND = 32  # cells whose round tubes are worked at once
MOST_ITEMS = 40_000  # worked at once, so that memory stays bounded


@dataclass(frozen=True)
class Leaves:
    """Cells that the proofs ended with: together they hold every stick position of every pair.

    Attributes
    ----------
    which : ndarray of int (n,)
        Piece pair of the stage.
    centres, halves : ndarray (n, inputs)
        Degrees (mm).
    planes : ndarray (n, 1 + inputs, 3)
        As `linkage.clearances.Bounds` has them; NaN where round tubes about the pieces did, or
        where nothing is in reach.
    low : ndarray (n,)
        The bound there, mm; NaN where nothing is in reach.
    """

    which: np.ndarray
    centres: np.ndarray
    halves: np.ndarray
    planes: np.ndarray
    low: np.ndarray

    def __len__(self):
        return len(self.which)

    def of(self, chosen: np.ndarray) -> Leaves:
        """Some of them."""
        return Leaves(self.which[chosen], self.centres[chosen], self.halves[chosen],
                      self.planes[chosen], self.low[chosen])

    @classmethod
    def joined(cls, many: Iterable[Leaves], inputs: int) -> Leaves:
        """All of many."""
        none = cls(np.zeros(0, int), np.zeros((0, inputs)), np.zeros((0, inputs)),
                   np.zeros((0, 1 + inputs, 3)), np.zeros(0))
        many = [none, *many]
        return cls(*(np.concatenate([getattr(k, name) for k in many])
                     for name in ("which", "centres", "halves", "planes", "low")))


@dataclass
class Proof:
    """What branch and bound found, pair by pair.

    Attributes
    ----------
    least : ndarray (pairs,)
        Least gap met, mm.
    place : ndarray (pairs, inputs)
        Where it was met, degrees (mm).
    proven : ndarray (pairs,)
        Lower bound over the whole box, mm.
    open_at : dict
        ``{pair: place}``: near where a bound could not be had.
    visited : ndarray of int (pairs,)
        Cells looked at.
    item : ndarray of int (pairs,)
        Piece pair of the stage that met it; -1 where none did.
    leaves : Leaves, optional
        What the proofs rest on.
    builds : Builds, optional
        All builds that the bound holds for.
    shares : ndarray (pairs, dimensions), optional
        The build in which the least gap was met: how far each dimension is off.
    """

    least: np.ndarray
    place: np.ndarray
    proven: np.ndarray
    open_at: dict
    visited: np.ndarray
    item: np.ndarray | None = None
    leaves: Leaves | None = None
    builds: Builds | None = None
    shares: np.ndarray | None = None

    def motion(self, system: System, names: Iterable[str], pairs: np.ndarray) -> Motion:
        """The system where, and in the build in which, the least gaps of some pairs were met."""
        places = {name: self.place[pairs, i] for i, name in enumerate(names)}
        return system.sweep(**places) if self.builds is None else \
            system.sweep_with(self.builds.dimensions(self.shares[pairs].T), **places)


class Search:
    """The items, a piece pair over a cell each, that are not yet closed, and what is proven.

    Parameters are those of `linkage.clearances.prove`.
    """

    grid = 4  # cells per input of the first round
    most = MOST_ITEMS
    within = np.inf  # closer bracket while it takes little effort
    loose = None  # mm that builds have the solids' points off, as `Stage.looseness` gives it

    def __init__(self, stage: Stage, travel: Travel | dict, tolerance: float,
                 limit: float):
        self.stage, self.travel = stage, Travel.of(travel)
        self.names = list(self.travel.names)
        self.box = np.array(list(self.travel.box.values()), dtype=float).reshape(-1, 2)
        self.tolerance = tolerance
        count = len(stage.pairs)
        self.required = np.array([pair.required for pair in stage.pairs])
        self.limit, self.limit_beyond = self.required + limit, limit
        self.moves = np.array([[name in pair.inputs for name in self.names]
                               for pair in stage.pairs]).reshape(count, len(self.names))
        self.effort = EFFORT + 4 * np.bincount(stage.pair_index, minlength=count)
        self.proof = Proof(np.full(count, np.inf), np.zeros((count, len(self.names))),
                           np.full(count, np.inf), {}, np.zeros(count, int),
                           np.full(count, -1))
        self.leaves, self._at_edge = [], np.zeros(count, int)
        self._first = None  # keeps the enclosures of the first cells alive for the first round

    def first_items(self, cold: np.ndarray | None = None) -> tuple[np.ndarray, ...]:
        """Piece pairs and cells of an even grid that may be within the limit, and their bounds.

        The bounds are those of round tubes about the pieces.  `cold` are the pairs asked for, all
        unless given.
        """
        size = len(self.names)
        found = [(np.zeros(0, int), np.zeros((0, size)), np.zeros((0, size)), np.zeros(0))]
        first = self.stage.pair_index[:self.stage.first]
        asked = np.ones(len(self.stage.pairs), bool) if cold is None else cold
        if not asked.any():
            return found[0]
        rows = np.unique(self.moves[asked], axis=0)
        grids = [self.travel.grid(moves, self.grid) for moves in rows]
        cells, place = self.cells(*(np.concatenate(k) for k in zip(*grids, strict=True)))
        self._first = self._enclosed(cells)
        ends = np.cumsum([0, *(len(centre) for centre, _ in grids)])
        for moves, (centre, half), of in zip(rows, grids, itertools.pairwise(ends), strict=True):
            which = np.flatnonzero((self.moves[first] == moves).all(axis=1) & asked[first])
            low = self._about_apart(which, self._first, place[slice(*of)])
            pairs = self.stage.pair_index[which]
            keep = ~(low >= self.limit[pairs][:, None]) & ~np.isnan(low)
            dropped = np.where(keep | np.isnan(low), np.inf, low).min(axis=1)
            np.minimum.at(self.proof.proven, pairs, dropped)
            one, cell = np.nonzero(~keep)
            self._leave((which[one], centre[cell], half[cell]), low[~keep])
            one, cell = np.nonzero(keep)
            found.append((which[one], centre[cell], half[cell], low[keep]))
        return tuple(np.concatenate(k) for k in zip(*found, strict=True))

    def about_apart_each(self, leaves: Leaves) -> np.ndarray:
        """Lower bounds by round tubes of piece pairs over a cell each, NaN out of reach: (n,)."""
        low = np.empty(len(leaves))
        moves = self.moves[self.stage.pair_index[leaves.which]]
        for row in np.unique(moves, axis=0):
            here = np.flatnonzero((moves == row).all(axis=1))
            which, one = np.unique(leaves.which[here], return_inverse=True)
            cells, cell = self.cells(leaves.centres[here], leaves.halves[here])
            for start in range(0, len(cells[0]), MOST_ROUND):
                part = slice(start, start + MOST_ROUND)
                some = (cell >= start) & (cell < start + MOST_ROUND)
                needed, of = np.unique(one[some], return_inverse=True)
                enclosed = self._enclosed([ends[part] for ends in cells])
                all_low = self._about_apart(which[needed], enclosed, np.arange(enclosed.count))
                low[here[some]] = all_low[of, cell[some] - start]
        return low

    def still_open(self, items: tuple, low: np.ndarray) -> tuple[np.ndarray, ...]:
        """Items whose bound is below the least gap met since; the others are closed with it."""
        pairs = self.stage.pair_index[items[0]]
        keep = ~(low >= self.proof.least[pairs])
        np.minimum.at(self.proof.proven, pairs[~keep], low[~keep])
        self._leave(tuple(part[~keep] for part in items), low[~keep])
        return tuple(part[keep] for part in items)

    def _leave(self, items, low, planes=None):
        """Keep items that are closed, and the planes that closed them."""
        which, centres, halves = items
        if planes is None:
            planes = np.full((len(which), 1 + len(self.names), 3), np.nan)
        self.leaves.append(Leaves(which, centres, halves, planes, low))

    def _enclosed(self, cells):
        centres, halves = ({n: k[:, i] for i, n in enumerate(self.names)} for k in cells)
        return enclose(self.stage.system, centres, halves)

    def _about_apart(self, which, enclosed, cells):
        """Lower bound of the gap of piece pairs (m,) over cells (n,): (m, n), NaN out of reach."""
        pieces, back = np.unique(self.stage.sides[which], return_inverse=True)
        rows = self.stage.spines(enclosed, pieces, cells)
        about = self.stage.around(pieces)
        if self.loose is not None:
            about = about + np.sqrt(3.0) * self.loose[pieces]
        a, b = back.reshape(-1, 2).T
        # no point of a spine moves farther than the one of its ends that moves farthest
        loose = np.sqrt((np.abs(rows[1:]).sum(axis=0) ** 2).sum(axis=0)).max(axis=0)
        scale = 1e-9 + 64 * U * self.stage.scale(enclosed)
        apart = spine_gaps(rows[0], a, b)  # NaN just where a piece has no posture
        moved = np.where(np.isnan(loose), np.inf, loose)
        return apart - moved[a] - moved[b] - (about[a] + about[b] + scale)[:, None]

    def meet_first(self, pairs: np.ndarray) -> None:
        """Meet a gap of some pairs at the ends and middles of the travel, where they are near.

        The pieces asked are the nearest few by the round tubes about them.
        """
        ends = [(low, 0.5 * (low + high), high) for low, high in self.box]
        places = np.array(list(itertools.product(*ends)))
        which = np.flatnonzero(np.isin(self.stage.pair_index[:self.stage.first], pairs))
        pieces, back = np.unique(self.stage.sides[which], return_inverse=True)
        motion = self.stage.system.sweep(**{n: places[:, i] for i, n in enumerate(self.names)})
        about = self.stage.around(pieces)
        a, b = back.reshape(-1, 2).T
        spines = self.stage.spines(motion.posture, pieces, np.arange(len(places)))
        near = spine_gaps(spines, a, b) - (about[a] + about[b])[:, None]
        near = np.where(np.isnan(near), np.inf, near).T.ravel()
        items, place = np.tile(which, len(places)), np.repeat(np.arange(len(places)), len(which))
        group = self.stage.pair_index[items] * len(places) + place
        order = np.lexsort((near, group))
        rank = np.arange(len(order)) - np.searchsorted(group[order], group[order])
        chosen = order[rank < FIRST_TRIES]
        moves = self.moves[self.stage.pair_index[items[chosen]]]
        self.meet_at(items[chosen], np.where(moves, places[place[chosen]], 0.0))

    def round(self, items: tuple) -> tuple[np.ndarray, ...]:
        """Bound every item, close what is good enough, split the rest."""
        order = np.argsort(self.stage.pair_index[items[0]], kind="stable")
        items = tuple(part[order] for part in items)
        kept = []
        for start in range(0, len(items[0]), self.most):
            part = tuple(k[start:start + self.most] for k in items)
            kept.append(self._looked_at(part))
        self._first = None
        return self._split(tuple(np.concatenate(k) for k in zip(*kept, strict=True)))

    def proved(self, cold: np.ndarray | None = None, taken_up: tuple | None = None) -> Proof:
        """Everything bracketed, all from the start or as `linkage.clearances.warm.resume` has it.

        Then only the `cold` pairs are, and `taken_up` are the open items of the others.
        """
        *items, low = self.first_items(cold)
        if len(items[0]):
            self.meet_first(np.unique(self.stage.pair_index[items[0]]))
        items = self.still_open(items, low)
        if taken_up is not None:
            items = tuple(np.concatenate(part) for part in zip(items, taken_up, strict=True))
        while len(items[0]):
            items = self.round(items)
        self.finish()
        return self.proof

    def finish(self) -> None:
        """What is left to do when every item is closed."""
        self.proof.leaves = Leaves.joined(self.leaves, len(self.names))
        move_into_reach(self.stage, self.travel, self.proof)

    def _looked_at(self, items):
        which, centres, halves = items
        cells, cell = self.cells(centres, halves)
        pairs, nodes = self.stage.pair_index[which], self.stage.are_nodes(which)
        np.add.at(self.proof.visited, pairs[~nodes], 1)
        enough = self._enough(self._wanted())[pairs]
        value, low, places, planes, unsure, _ = bounds(
            self.stage, (which, cell), (self.names, *cells), None, enough)
        self._meet(np.where(self.stage.rough[which] | ~self._held(which, centres), np.nan, value),
                   which, centres)
        self._try(which, pairs, low, places)
        edge = unsure & (halves.max(axis=1) * 2 < EDGE)
        self._at_edge += np.bincount(pairs[edge], minlength=len(self._at_edge))
        small = (halves.max(axis=1) * 2 < SMALLEST) | (self.proof.visited[pairs] > MOST_CELLS) | (
            edge & (self._at_edge[pairs] > MOST_AT_EDGE))
        good, deep = self.good_enough(low, pairs, self.tolerance), self.stage.to_open(
            which, (value, low), small)
        small &= ~nodes
        closed = self.good_enough(low, pairs, self._wanted()) | (good & small) | (
            edge & (low >= self.required[pairs]))
        closed |= self._touches(pairs)
        sound = closed & ~np.isnan(low)
        np.minimum.at(self.proof.proven, pairs[sound], low[sound])
        tiny = ~closed & small
        for n in np.flatnonzero(tiny):
            self.proof.open_at.setdefault(int(pairs[n]), centres[n])
            self.proof.proven[pairs[n]] = min(self.proof.proven[pairs[n]], low[n])
        keep = ~closed & ~tiny
        self._leave((which[~keep], centres[~keep], halves[~keep]), low[~keep],
                    np.where(np.isnan(low[~keep])[:, None, None], np.nan, planes[~keep]))
        aims = np.where(good[:, None], places, np.nan)
        return which[keep], centres[keep], halves[keep], aims[keep], deep[keep]

    def _touches(self, pairs):
        """Which items are of pairs with a mesh that were met touching, whose depth is not told."""
        if self.stage.trees is None:
            return np.zeros(len(pairs), bool)
        met = self.stage.trees.of_pair & (self.proof.least <= 0)
        self.proof.proven[met] = -np.inf
        return met[pairs]

    def good_enough(self, low: np.ndarray, pairs: np.ndarray,
                    tolerance: np.ndarray | float) -> np.ndarray:
        """Whether bounds are within a tolerance of the least gap met, or past the limit."""
        return np.isnan(low) | (low >= self._enough(tolerance)[pairs])

    def _enough(self, tolerance):
        """Bound of each pair that is good enough, mm."""
        best = self.proof.least
        with np.errstate(invalid="ignore"):
            wanted = np.minimum(tolerance, np.maximum(np.abs(best - self.required) / 2, 1e-6))
            return np.minimum(best - wanted, self.limit)

    def _try(self, which, pairs, low, places):
        """Meet the gap where each pair's lowest bounds say that it is least."""
        order = np.lexsort((low, pairs))
        rank = np.arange(len(order)) - np.searchsorted(pairs[order], pairs[order])
        tries = np.where(self.stage.are_nodes(which[order]), TRIES_OF_NODES, TRIES)
        items = order[(rank < tries) & (low[order] < self.proof.least[pairs[order]])]
        if items.size:
            self.meet_at(which[items], np.clip(places[items], *self.box.T))

    def meet_at(self, which: np.ndarray, places: np.ndarray) -> None:
        """Meet the gap of items at places, of rough ones in their finer pieces."""
        rough = self.stage.rough[which]
        back, parts = self._finer(which[rough], places[rough])
        which = np.concatenate([which[~rough], parts])
        places = np.concatenate([places[~rough], places[rough][back]])
        held = self._held(which, places)
        which, places = which[held], places[held]
        self._meet(self.met(which, places), which, places)

    def _finer(self, which, places):
        """Finer items of rough ones: all, or of a mesh those that are likely nearest at a place."""
        if self.stage.trees is None:
            return self.stage.parts_of(which)
        motion = self.stage.system.sweep(**{n: places[:, i] for i, n in enumerate(self.names)})
        return self.stage.nearest_parts(which, motion.posture)

    def met(self, which: np.ndarray, places: np.ndarray) -> np.ndarray:
        """Gap of piece pairs at places, as drawn but for the solids, which builds may have grown.

        NaN out of reach, and where it can't be the least of its pair.
        """
        motion = self.stage.system.sweep(**{n: places[:, i] for i, n in enumerate(self.names)})
        return measure(self.stage, motion.posture, which, np.arange(len(which)),
                       self.loose, self.proof.least)

    def _held(self, which, places):
        """Whether places of items lie in the travel, as far as their pairs can tell."""
        return self.travel.holds_each(places, self.moves[self.stage.pair_index[which]])

    def _meet(self, value, which, centres):
        """Keep the least gap met so far, where, and of which pieces."""
        pairs = self.stage.pair_index[which]
        good = np.flatnonzero(np.isfinite(value))
        order = good[np.lexsort((value[good], pairs[good]))]
        first = np.flatnonzero(np.diff(pairs[order], prepend=-1))
        for n in order[first]:
            if value[n] < self.proof.least[pairs[n]]:
                self.proof.least[pairs[n]], self.proof.place[pairs[n]] = value[n], centres[n]
                self.proof.item[pairs[n]] = which[n]

    def _wanted(self):
        """Width of the bracket that each pair is now held to."""
        easy = self.proof.visited <= self.effort
        return np.where(easy, np.minimum(self.within, self.tolerance), self.tolerance)

    def cells(self, centres: np.ndarray,
              halves: np.ndarray) -> tuple[tuple[np.ndarray, np.ndarray], np.ndarray]:
        """Cells without repeats, and which of them each item has."""
        both = np.concatenate([centres, halves], axis=1)
        unique, cell = np.unique(both, axis=0, return_inverse=True)
        sides = len(self.names)
        return (unique[:, :sides], unique[:, sides:]), cell.reshape(-1)

    def _split(self, items):
        """Children of cells: even ones, or a small one about a bottom that is nearly settled."""
        which, centres, halves, aims, *deep = items
        rough = np.logical_and.reduce([self.stage.rough[which], *deep])
        back, parts = self.stage.parts_of(which[rough])
        found = [(parts, centres[rough][back], halves[rough][back])]
        moves = self.moves[self.stage.pair_index[which]]
        aimed = ~np.isnan(aims).any(axis=1)
        for row in np.unique(moves, axis=0):
            for about in (False, True):
                here = np.flatnonzero((moves == row).all(axis=1) & ~rough & (aimed == about))
                if here.size:
                    made = self._edges(row, len(here)) if not about else _edges_about(
                        row, (aims[here] - centres[here]) / np.where(row, halves[here], 1.0))
                    found.append(self._shrunk(_children(
                        which[here], (centres[here], halves[here]), made, row), row))
        return tuple(np.concatenate(k) for k in zip(*found, strict=True))

    def _shrunk(self, items, row):
        which, centres, halves = items
        kept, centres, halves = self.travel.shrunk(centres, halves, row)
        return which[kept], centres, halves

    def _edges(self, row, count):
        """Even edges of children as shares of the half-width: a (count, n) array per input."""
        parts = SPLIT.get(int(row.sum()), 2)
        even = np.linspace(-1, 1, parts + 1)
        return [np.broadcast_to(even if m else np.zeros(2), (count, parts + 1 if m else 2))
                for m in row]


def move_into_reach(stage: Stage, travel: Travel, proof: Proof) -> None:
    """Move places that are told as open to where their pairs are in reach as drawn, in place.

    A cell that is open may have its middle, and all but a corner of it, out of reach; the place
    is then moved towards where the least gap was met, as far as the nearest of some that are in.
    """
    steps = np.linspace(0.0, 1.0, STEPS_INTO_REACH)[:, None]
    for k, place in proof.open_at.items():
        if not np.isfinite(proof.least[k]):
            continue  # nothing of it was met in reach
        item = np.flatnonzero(stage.pair_index == k)[0]
        places = place + steps * (proof.place[k] - place)
        motion = stage.system.sweep(**{n: places[:, i] for i, n in enumerate(travel.names)})
        moves = np.array([name in stage.pairs[k].inputs for name in travel.names])
        good = in_reach(stage.axes(motion.posture, np.full(len(steps), item),
                                   np.arange(len(steps))))
        good &= travel.holds_each(places, np.broadcast_to(moves, places.shape))
        proof.open_at[k] = places[np.argmax(good)] if good.any() else proof.place[k]


def _edges_about(row, share):
    """Edges of children about places in cells, given as shares of the half-width."""
    found = []
    for m, at in zip(row, np.clip(share, -1, 1).T, strict=True):
        low, high = np.maximum(at - ABOUT, -1), np.minimum(at + ABOUT, 1)
        found.append(np.stack([-np.ones_like(at), low, high, np.ones_like(at)], axis=1) if m
                     else np.zeros((len(at), 2)))
    return found


def _children(which, cells, edges, row):
    """Cells between the edges, which cover their parent whatever was rounded."""
    centres, halves = cells
    spans = [np.stack([e[:, :-1], e[:, 1:]], axis=-1) for e in edges]
    picks = np.array(list(itertools.product(*(range(s.shape[1]) for s in spans))))
    ends = np.stack([s[:, picks[:, i]] for i, s in enumerate(spans)], axis=2)
    child = centres[:, None] + ends.mean(axis=-1) * halves[:, None]
    size = (ends[..., 1] - ends[..., 0]) / 2 * halves[:, None] * (1 + 8 * U)
    slack = (np.abs(centres) + halves)[:, None] * 4 * U * row
    wide = ((ends[..., 1] > ends[..., 0]) | ~row).all(axis=-1)
    return (np.repeat(which, wide.sum(axis=1)), child[wide],
            np.broadcast_to(size + slack, child.shape)[wide])
