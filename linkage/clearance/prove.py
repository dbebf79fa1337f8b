"""The least gap of many pairs over a whole box of travel, bracketed from both sides.

Over a cell of travel take n, the direction between the closest points at its centre.  For every
posture in the cell the gap of two convex pieces is at least

    min over points b of B of n.b  -  max over points a of A of n.a  -  radii,

and each n.(b - a) is bounded over the cell by its value, slopes, bends and rest there
(`linkage.intervals`).  At the centre this equals the gap, so what is lost is of second order in
the size of the cell.  Cells are split where the bound is not yet good enough (branch and bound).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..intervals import U, extent
from ..motion import enclose
from .placed import Stage

FIRST = 8  # cells per input of the first round
SPLIT = {1: 8, 2: 4}  # children per side of a cell, by how many inputs it has; 2 beyond
SMALLEST = 0.001  # degrees (mm) of a cell's side below which it stays open
MOST_ITEMS = 40_000  # worked at once, so that memory stays bounded


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
    """

    least: np.ndarray
    place: np.ndarray
    proven: np.ndarray
    open_at: dict
    visited: np.ndarray


def prove(stage: Stage, box: dict, tolerance, tolerances=None, limit=np.inf) -> Proof:
    """Bracket the least gap of every pair of a stage.

    Parameters
    ----------
    stage : Stage
    box : dict
        ``{input: (least, greatest)}``.
    tolerance : float
        Wanted width of the bracket, mm.
    tolerances : Tolerance, optional
        Build tolerances to hold the bound for; as drawn unless given.
    limit : float
        A pair proven to stay farther apart than its required clearance and this much more, mm,
        is not bracketed any closer.

    Returns
    -------
    Proof
    """
    search = _Search(stage, box, tolerance, tolerances, limit)
    items = search.first_items()
    while len(items[0]):
        items = search.round(items)
    return search.proof


class _Search:
    def __init__(self, stage, box, tolerance, tolerances, limit):
        self.stage, self.names = stage, list(box)
        self.box = np.array([box[name] for name in self.names], dtype=float).reshape(-1, 2)
        self.tolerance, self.tolerances = tolerance, tolerances
        count = len(stage.pairs)
        self.required = np.array([pair.required for pair in stage.pairs])
        self.limit = self.required + limit
        self.moves = np.array([[name in pair.inputs for name in self.names]
                               for pair in stage.pairs]).reshape(count, len(self.names))
        self.proof = Proof(np.full(count, np.inf), np.zeros((count, len(self.names))),
                           np.full(count, np.inf), {}, np.zeros(count, int))

    def first_items(self):
        """Piece pairs and cells of an even grid that balls about the pieces leave in question."""
        chosen, centres, halves = [], [], []
        for moves in np.unique(self.moves, axis=0):
            which = np.flatnonzero((self.moves[self.stage.pair_index] == moves).all(axis=1))
            centre, half = self._grid(moves)
            low = self._balls_apart(which, centre, half)
            self._meet_first(which, centre, low)
            pairs = self.stage.pair_index[which]
            enough = np.minimum(self.proof.least, self.limit)[pairs]
            keep = ~(low >= enough[:, None]) & ~np.isnan(low)
            dropped = np.where(keep | np.isnan(low), np.inf, low).min(axis=1)
            np.minimum.at(self.proof.proven, pairs, dropped)
            one, cell = np.nonzero(keep)
            chosen.append(which[one])
            centres.append(centre[cell])
            halves.append(half[cell])
        return np.concatenate(chosen), np.concatenate(centres), np.concatenate(halves)

    def _balls_apart(self, which, centre, half):
        """Lower bound of the gap of piece pairs (m,) over cells (n,): (m, n), NaN out of reach."""
        named = {n: centre[:, i] for i, n in enumerate(self.names)}
        enclosed = enclose(self.stage.system, named,
                           {n: half[:, i] for i, n in enumerate(self.names)}, self.tolerances)
        rows, radii = self.stage.balls(enclosed, len(centre))
        a, b = self.stage.sides[which].T
        apart = np.sqrt(((rows[0][:, b] - rows[0][:, a]) ** 2).sum(axis=0))
        loose = np.sqrt((np.abs(rows[1:]).sum(axis=0) ** 2).sum(axis=0))
        scale = 1e-9 + 64 * U * np.abs(rows[0]).max()
        return apart - loose[a] - loose[b] - (radii[a] + radii[b] + self.stage.radii[which]
                                              + scale)[:, None]

    def _meet_first(self, which, centre, low):
        """Meet a gap of every pair where its balls come nearest, so that far ones drop out."""
        pairs = self.stage.pair_index[which]
        flat = np.where(np.isnan(low), np.inf, low)
        cell = flat.argmin(axis=1)
        near = flat[np.arange(len(which)), cell]
        order = np.lexsort((near, pairs))
        rank = np.arange(len(order)) - np.searchsorted(pairs[order], pairs[order])
        items = order[rank < 3]  # the three nearest pieces of each pair
        named = {n: centre[cell[items], i] for i, n in enumerate(self.names)}
        motion = self.stage.system.sweep(**named)
        hulls = self.stage.hulls(motion.posture, which[items], np.arange(len(items)))
        good = np.isfinite(hulls[0]).all(axis=(0, 1)) & np.isfinite(hulls[1]).all(axis=(0, 1))
        value = np.full(len(items), np.nan)
        value[good] = self.stage.gap([h[..., good] for h in hulls], which[items[good]])[0]
        self._meet(value, pairs[items], centre[cell[items]])

    def _grid(self, moves):
        middle, reach = self.box.mean(axis=1), np.ptp(self.box, axis=1) / 2
        sides = [np.linspace(-1, 1, 2 * FIRST + 1)[1::2] if m else np.zeros(1) for m in moves]
        share = np.stack([s.ravel() for s in np.meshgrid(*sides, indexing="ij")], axis=-1)
        size = np.where(moves, reach / FIRST, 0.0)
        return (np.where(moves, middle, 0.0) + share * reach,
                np.broadcast_to(size * (1 + 4 * U) + np.abs(middle) * 2 * U * moves, share.shape))

    def round(self, items):
        """Bound every item, close what is good enough, split the rest."""
        order = np.argsort(self.stage.pair_index[items[0]], kind="stable")
        items = tuple(part[order] for part in items)
        kept = []
        for start in range(0, len(items[0]), MOST_ITEMS):
            part = tuple(k[start:start + MOST_ITEMS] for k in items)
            kept.append(self._looked_at(part))
        return self._split(tuple(np.concatenate(k) for k in zip(*kept, strict=True)))

    def _looked_at(self, items):
        which, centres, halves = items
        cells, cell = self._cells(centres, halves)
        pairs = self.stage.pair_index[which]
        np.add.at(self.proof.visited, pairs, 1)
        value, low = bounds(self.stage, (which, cell), (self.names, *cells), self.tolerances,
                            np.minimum(self.proof.least, self.limit)[pairs])
        self._meet(value, pairs, centres)
        best, tolerance = self.proof.least, self.tolerance
        wanted = np.minimum(tolerance, np.maximum(np.abs(best - self.required) / 2, 1e-6))
        with np.errstate(invalid="ignore"):
            closed = np.isnan(low) | (low >= np.minimum(best - wanted, self.limit)[pairs])
        sound = closed & ~np.isnan(low)
        np.minimum.at(self.proof.proven, pairs[sound], low[sound])
        tiny = ~closed & (halves.max(axis=1) * 2 < SMALLEST)
        for n in np.flatnonzero(tiny):
            self.proof.open_at.setdefault(int(pairs[n]), centres[n])
            self.proof.proven[pairs[n]] = min(self.proof.proven[pairs[n]], low[n])
        keep = ~closed & ~tiny
        return which[keep], centres[keep], halves[keep]

    def _meet(self, value, pairs, centres):
        """Keep the least gap met so far and where."""
        good = np.flatnonzero(np.isfinite(value))
        order = good[np.lexsort((value[good], pairs[good]))]
        first = np.flatnonzero(np.diff(pairs[order], prepend=-1))
        for n in order[first]:
            if value[n] < self.proof.least[pairs[n]]:
                self.proof.least[pairs[n]], self.proof.place[pairs[n]] = value[n], centres[n]

    def _cells(self, centres, halves):
        both = np.concatenate([centres, halves], axis=1)
        unique, cell = np.unique(both, axis=0, return_inverse=True)
        sides = len(self.names)
        return (unique[:, :sides], unique[:, sides:]), cell.reshape(-1)

    def _split(self, items):
        which, centres, halves = items
        if not len(which):
            return items
        moves = self.moves[self.stage.pair_index[which]]
        found = []
        for row in np.unique(moves, axis=0):
            here = np.flatnonzero((moves == row).all(axis=1))
            parts = SPLIT.get(int(row.sum()), 2)
            sides = [np.linspace(-1, 1, 2 * parts + 1)[1::2] if m else np.zeros(1) for m in row]
            share = np.stack([s.ravel() for s in np.meshgrid(*sides, indexing="ij")], axis=-1)
            child = centres[here, None] + share * halves[here, None]
            size = halves[here, None] / parts * (1 + 4 * U) + np.abs(child) * 2 * U * row
            found.append((np.repeat(which[here], len(share)),
                          child.reshape(-1, len(row)),
                          np.broadcast_to(size, child.shape).reshape(-1, len(row))))
        return tuple(np.concatenate(k) for k in zip(*found, strict=True))


def bounds(stage: Stage, items, cells, tolerances=None, cut=None):
    """Gap at the centre of cells and a lower bound over them.

    Parameters
    ----------
    stage : Stage
    items : (ndarray of int (m,), ndarray of int (m,))
        Piece pairs, and the cell each is asked over.
    cells : (list of str, ndarray (n, inputs), ndarray (n, inputs))
        Names of the inputs, middles and half-widths, degrees (mm).
    tolerances : Tolerance, optional
    cut : ndarray (m,), optional
        A gap already met by each item's pair: where a ball about each piece is clear by more,
        nothing finer is worked out.

    Returns
    -------
    (ndarray (m,), ndarray (m,))
        Attained gap (NaN where out of reach or not worked out) and lower bound (NaN where the
        whole cell is out of reach), mm.
    """
    (which, cell), (names, centres, halves) = items, cells
    motion = stage.system.sweep(**{n: centres[:, i] for i, n in enumerate(names)})
    enclosed = enclose(stage.system, {n: centres[:, i] for i, n in enumerate(names)},
                       {n: halves[:, i] for i, n in enumerate(names)}, tolerances)
    rows = stage.hulls(enclosed, which, cell)
    value = np.full(len(which), np.nan)
    low = ball_bound(stage, rows, which)
    todo = np.flatnonzero(~(low > (np.inf if cut is None else cut)) & ~np.isnan(low))
    if not todo.size:
        return value, low
    rows = [side[..., todo] for side in rows]
    hulls = stage.hulls(motion.posture, which[todo], cell[todo])
    lost = ~np.isfinite(hulls[0]).all(axis=(0, 1)) | ~np.isfinite(hulls[1]).all(axis=(0, 1))
    for side in (0, 1):  # out of reach at the centre: any direction serves, so take the middle's
        hulls[side][..., lost] = rows[side][0][..., lost]
    found, direction, *_ = stage.gap(hulls, which[todo])
    value[todo] = np.where(lost, np.nan, found)
    with np.errstate(invalid="ignore"):
        low[todo] = np.fmax(low[todo], along(direction, rows) - stage.radii[which[todo]])
    return value, low


def ball_bound(stage, rows, which):
    """Lower bound of the gap from balls about the points of both pieces; NaN where no posture."""
    centre = [side[0] for side in rows]
    loose = [np.sqrt(((np.abs(side[1:]).sum(axis=0)) ** 2).sum(axis=0)).max(axis=0)
             for side in rows]
    middle = [c.mean(axis=1) for c in centre]
    reach = [np.sqrt(((c - m[:, None]) ** 2).sum(axis=0)).max(axis=0)
             for c, m in zip(centre, middle, strict=True)]
    apart = np.sqrt(((middle[0] - middle[1]) ** 2).sum(axis=0))
    scale = np.abs(centre[0]).max(axis=(0, 1)) + np.abs(centre[1]).max(axis=(0, 1)) + apart
    return apart - sum(loose) - sum(reach) - stage.radii[which] - 64 * U * scale


def along(direction, rows):
    """Least of n.(b - a) over cells: n (3, m), rows of enclosures (rows, 3, corners, m)."""
    size = np.abs(direction[:, None])
    (a, rest_a), (b, rest_b) = (
        (np.einsum("rcpm,cm->rpm", side[:-1], direction), (side[-1] * size).sum(axis=0))
        for side in rows)
    apart = np.empty((len(a) + 1, a.shape[1], *b.shape[1:]))
    np.subtract(b[:, None], a[:, :, None], out=apart[:-1])
    low = (extent(apart)[0] - rest_b[None] - rest_a[:, None]).min(axis=(0, 1))
    scale = sum((np.abs(side[:-1]).sum(axis=0) * size).sum(axis=0).max(axis=0) for side in rows)
    return low - 64 * U * scale - 8 * U * np.abs(low)
