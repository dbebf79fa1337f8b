"""Cells of a box that are joined to neutral: halved where it is not decided which are in it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

DEPTH = 20  # halvings of a side at most, so that the ends of cells are whole numbers
MOST_COMPARED = 4_000_000  # pairs of cells compared at once


@dataclass(frozen=True, eq=False)
class Cells:
    """Cells of a box whose ends are whole numbers, so that neighbours share theirs exactly.

    Attributes
    ----------
    box : ndarray (inputs, 2)
        Least and greatest of each input, degrees (mm).
    low, high : ndarray of int (n, inputs)
        Ends, in parts of the box of which there are ``2**DEPTH`` along each input.
    """

    box: np.ndarray
    low: np.ndarray
    high: np.ndarray

    @classmethod
    def of(cls, box: np.ndarray) -> Cells:
        """The whole of a box as one cell."""
        box = np.asarray(box, dtype=float).reshape(-1, 2)
        size = np.full((1, len(box)), 2**DEPTH, dtype=np.int64)
        return cls(box, np.zeros_like(size), size)

    def ends(self) -> tuple[np.ndarray, np.ndarray]:
        """Ends of the cells, degrees (mm): two arrays (n, inputs)."""
        span = (self.box[:, 1] - self.box[:, 0]) / 2**DEPTH
        return tuple(np.where(part == 2**DEPTH, self.box[:, 1], self.box[:, 0] + part * span)
                     for part in (self.low, self.high))

    @property
    def widths(self) -> np.ndarray:
        """Widths, degrees (mm), (n, inputs)."""
        low, high = self.ends()
        return high - low

    def picked(self, some: np.ndarray) -> Cells:
        """Some of the cells."""
        return Cells(self.box, self.low[some], self.high[some])

    def halved(self, along: np.ndarray) -> tuple[Cells, np.ndarray]:
        """Cells halved along inputs of their own, (n, inputs) of bool; and whose halves they are.

        A cell that is halved along nothing stays as it is.
        """
        low, high, parent = self.low, self.high, np.arange(len(self.low))
        for k in range(len(self.box)):
            cut = np.flatnonzero(along[parent, k])
            middle = (low[cut, k] + high[cut, k]) // 2
            low = np.concatenate([low, low[cut]])
            high = np.concatenate([high, high[cut]])
            high[cut, k], low[len(low) - len(cut):, k] = middle, middle
            parent = np.concatenate([parent, parent[cut]])
        return Cells(self.box, low, high), parent

    def joined(self, place: np.ndarray) -> np.ndarray:
        """Which cells are joined to those that hold a place, over faces, edges and corners.

        Parameters
        ----------
        place : ndarray (inputs,)

        Returns
        -------
        ndarray of bool (n,)
        """
        low, high = self.ends()
        reached = ((low <= place) & (place <= high)).all(axis=1)
        ahead = np.flatnonzero(reached)
        while ahead.size:
            rest = np.flatnonzero(~reached)
            ahead = rest[self.picked(rest).meeting(self.picked(ahead))]
            reached[ahead] = True
        return reached

    def meeting(self, others: Cells) -> np.ndarray:
        """Which cells share a face, an edge or a corner with one of others: bool (n,)."""
        met = np.zeros(len(self.low), bool)
        step = max(1, MOST_COMPARED // max(1, len(self.low)))
        for start in range(0, len(others.low), step):
            low, high = others.low[start:start + step], others.high[start:start + step]
            meets = np.ones((len(low), len(self.low)), bool)
            for k in range(len(self.box)):
                meets &= low[:, None, k] <= self.high[None, :, k]
                meets &= high[:, None, k] >= self.low[None, :, k]
            met |= meets.any(axis=0)
        return met

    def with_more(self, others: Cells) -> Cells:
        """These and other cells of the same box."""
        return Cells(self.box, np.concatenate([self.low, others.low]),
                     np.concatenate([self.high, others.high]))

    def merged(self) -> Cells:
        """The same positions in fewer cells: those that differ along one input only are joined."""
        low, high = self.low, self.high
        while True:
            count = len(low)
            for k in range(len(self.box)):
                low, high = _merged_along(low, high, k)
            if len(low) == count:
                return Cells(self.box, low, high)


def _merged_along(low, high, k):
    """Cells with the same ends along all other inputs and a shared one along this, joined."""
    others = [i for i in range(low.shape[1]) if i != k]
    order = np.lexsort((low[:, k], *(part[:, i] for i in others for part in (low, high))))
    low, high = low[order], high[order]
    same = np.ones(len(low), bool)
    same[0] = False
    for i in others:
        same[1:] &= (low[1:, i] == low[:-1, i]) & (high[1:, i] == high[:-1, i])
    same[1:] &= low[1:, k] == high[:-1, k]
    first = np.flatnonzero(~same)
    last = np.append(first[1:], len(low)) - 1
    made = high[first].copy()
    made[:, k] = high[last, k]
    return low[first], made
