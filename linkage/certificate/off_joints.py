"""Nearest points of two solids that share a joint, neither of them where they are meant to touch.

Pieces whose nearest points lie at the joint are halved, and what lies there as a whole is left out.
"""

from __future__ import annotations

import heapq
import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..checker.solids import Line
from .nearest import WEIGHT, nearest, posed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ..checker.leaves import Book
    from ..checker.motion import Motion
    from ..checker.pairs import Pair

MOST = 1000  # parts of pieces looked at
FINEST = 0.2  # mm of a part that is halved no further
MORE = 1e-6  # mm that a point keeps from where its solids are meant to touch


@dataclass(frozen=True)
class _Part:
    """Part of a piece: its corners at a place, and as rows of what carries its solid."""

    name: str
    index: int
    whole: object
    piece: object
    corners: np.ndarray

    @property
    def radius(self) -> float:
        """Its radius, of a flat one 0."""
        return self.piece.radius if isinstance(self.piece, Line) else 0.0

    @property
    def long(self) -> float:
        """Its longest side as it lies, mm: a rod's own corners are shares of its length."""
        return float(np.ptp(self.corners, axis=1).max())

    def cut_to(self, piece: object, corners: np.ndarray) -> _Part:
        """A part of it."""
        return _Part(self.name, self.index, self.whole, piece, corners)

    def told(self, book: Book, shares: np.ndarray) -> tuple:
        """Where a point of it is at neutral, and as shares of the corners of the whole piece."""
        from scipy.optimize import nnls

        known = book.known[self.name]
        row = np.array([known.row(c) for c in self.piece.corners]).T @ shares
        whole = np.array([known.row(c) for c in self.whole.corners]).T
        size = WEIGHT * max(1.0, float(np.abs(whole).max()))
        of_whole = nnls(np.vstack([whole, np.full((1, whole.shape[1]), size)]),
                        np.append(row, size))[0]
        return known.drawn(row), [self.index, of_whole.tolist()]


def off_joints(book: Book, pair: Pair, place: Sequence[tuple],
               motion: Motion | None = None) -> tuple[float, list] | None:
    """Gap of a pair off the joints that it shares, and a point of each solid that shows it.

    None where it is not found.
    """
    def pieces_at(name, pieces):
        return posed(book, pair.frame, (name, pieces), place, motion)

    sides = [pieces_at(name, side.pieces)
             for name, side in zip(pair.names, book.sides(pair), strict=True)]
    if None in sides:
        return None
    ahead = _Ahead(book, pair)
    for two in itertools.product(*([_Part(name, i, piece, piece, corners)
                                    for i, (piece, corners) in enumerate(side)]
                                   for name, side in zip(pair.names, sides, strict=True))):
        ahead.add(two)
    for two in ahead.taken():
        k = max((0, 1), key=lambda k: two[k].long)
        if two[k].long > FINEST:
            for half in pieces_at(two[k].name, two[k].piece.halves()):
                ahead.add([*two[:k], two[k].cut_to(*half), *two[k + 1:]])
    return ahead.best if ahead.best[1] else None


class _Ahead:
    """Parts of both solids still to be looked at, the nearest first."""

    def __init__(self, book, pair):
        self.book, self.pair = book, pair
        self.heap, self.order, self.best = [], itertools.count(), (math.inf, None)

    def add(self, two):
        """Keep two parts for later, unless one lies at a joint as a whole."""
        if not any(self._at_joint(part) for part in two):
            apart, shares = nearest(*(part.corners for part in two))
            heapq.heappush(self.heap, (apart - sum(part.radius for part in two), next(self.order),
                                       two, shares))

    def _at_joint(self, part):
        known = self.book.known[part.name]
        return any(all(math.dist(known.at_neutral(c), centre) < reach for c in part.piece.corners)
                   for centre, reach in self.pair.balls)

    def taken(self):
        """Parts whose nearest points lie at a joint, until no nearer ones are left."""
        for _ in range(MOST):
            if not self.heap or self.heap[0][0] >= self.best[0]:
                return
            apart, _, two, shares = heapq.heappop(self.heap)
            told = [part.told(self.book, s) for part, s in zip(two, shares, strict=True)]
            if all(math.dist(spot, centre) > reach + MORE for spot, _ in told
                   for centre, reach in self.pair.balls):
                self.best = apart, [shown for _, shown in told]
            else:
                yield two
