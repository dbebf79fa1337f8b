"""The stick positions that something is proven over: cells that together hold every one."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field

import numpy as np

from ..intervals import U

MOST = 4_000_000  # comparisons of cells worked at once


@dataclass(frozen=True, eq=False)
class Travel:
    """A set of stick positions, as cells that may overlap and need not hang together.

    Attributes
    ----------
    names : tuple of str
        Inputs; all others stay at 0.
    low, high : ndarray (cells, inputs)
        Ends of each cell, degrees (mm for a slide).

    Examples
    --------
    >>> box = Travel.of_box({"pitch": (-10, 20), "roll": (-5, 5)})
    >>> box.holds(np.array([[0.0, 5.0], [0.0, 6.0]]), np.array([True, True])).tolist()
    [True, False]
    """

    names: tuple[str, ...]
    low: np.ndarray
    high: np.ndarray
    _seen: dict = field(default_factory=dict, repr=False)

    @classmethod
    def of_box(cls, box: dict) -> Travel:
        """The whole of ``{input: (least, greatest)}``."""
        ends = np.array(list(box.values()), dtype=float).reshape(-1, 2)
        return cls(tuple(box), ends[None, :, 0], ends[None, :, 1])

    @classmethod
    def of(cls, travel: Travel | dict) -> Travel:
        """A travel as it is, or the whole of a box."""
        return travel if isinstance(travel, Travel) else cls.of_box(travel)

    @property
    def box(self) -> dict:
        """``{input: (least, greatest)}`` that holds every cell."""
        return dict(zip(self.names, zip(self.low.min(axis=0).tolist(),
                                        self.high.max(axis=0).tolist(), strict=True), strict=True))

    def same_as(self, other: Travel) -> bool:
        """Whether another travel has the same cells."""
        return self is other or (self.names == other.names and np.array_equal(self.low, other.low)
                                 and np.array_equal(self.high, other.high))

    @property
    def spread(self) -> tuple[dict, dict]:
        """Middles and half-widths of the cells, ``{input: ndarray (n,)}`` each."""
        middle = (self.low + self.high) / 2
        half = (self.high - self.low) / 2 * (1 + 4 * U) + np.abs(middle) * 2 * U
        return tuple({name: each[:, i] for i, name in enumerate(self.names)}
                     for each in (middle, half))

    def seen_along(self, moves: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Ends of the cells as seen along some inputs only, without repeats.

        Parameters
        ----------
        moves : ndarray of bool (inputs,)

        Returns
        -------
        (ndarray (cells, inputs), ndarray (cells, inputs))
            0 along the inputs left out.
        """
        key = tuple(bool(m) for m in moves)
        if key not in self._seen:
            low, high = (np.where(moves, ends, 0.0) for ends in (self.low, self.high))
            both = np.unique(np.concatenate([low, high], axis=1), axis=0)
            self._seen[key] = both[:, :len(key)], both[:, len(key):]
        return self._seen[key]

    def grid(self, moves: np.ndarray, parts: int) -> tuple[np.ndarray, np.ndarray]:
        """Even cells over the box, shrunk to what of the travel lies in each.

        Parameters
        ----------
        moves : ndarray of bool (inputs,)
            Inputs that are parted; the others stay at 0.
        parts : int

        Returns
        -------
        (ndarray (n, inputs), ndarray (n, inputs))
            Middles and half-widths, degrees (mm).
        """
        low, high = (ends for ends in self.seen_along(moves))
        low, high = low.min(axis=0), high.max(axis=0)
        middle, reach = (low + high) / 2, (high - low) / 2
        sides = [np.linspace(-1, 1, 2 * parts + 1)[1::2] if m else np.zeros(1) for m in moves]
        share = np.array(list(itertools.product(*sides))).reshape(-1, len(sides))
        size = np.where(moves, reach / parts, 0.0) * (1 + 4 * U) + np.abs(middle) * 2 * U * moves
        centres = np.where(moves, middle, 0.0) + share * reach
        _, centres, halves = self.shrunk(centres, np.broadcast_to(size, share.shape), moves)
        return centres, halves

    def shrunk(self, centres: np.ndarray, halves: np.ndarray,
               moves: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Cells shrunk to what of the travel lies in each; those that hold nothing are left out.

        Parameters
        ----------
        centres, halves : ndarray (n, inputs)
        moves : ndarray of bool (inputs,)

        Returns
        -------
        (ndarray of int (m,), ndarray (m, inputs), ndarray (m, inputs))
            Which are kept, and their middles and half-widths.
        """
        low, high = self.seen_along(moves)
        step = max(1, MOST // (len(low) * max(1, low.shape[1])))
        found = [self._shrunk(centres[k:k + step], halves[k:k + step], (low, high))
                 for k in range(0, len(centres), step)]
        if not found:
            return np.zeros(0, int), centres, halves
        kept, centres, halves = (np.concatenate([part[i] for part in found]) for i in range(3))
        return np.flatnonzero(kept), centres, halves

    def _shrunk(self, centres, halves, ends):
        one, other = centres - halves, centres + halves
        low, high = ends
        first, last = np.maximum(one[:, None], low), np.minimum(other[:, None], high)
        meets = (first <= last).all(axis=-1)[..., None]
        first = np.where(meets, first, np.inf).min(axis=1)
        last = np.where(meets, last, -np.inf).max(axis=1)
        kept = meets.any(axis=1)[:, 0]
        first, last, one, other = (k[kept] for k in (first, last, one, other))
        inside = (first > one) | (last < other)
        middle = np.where(inside, (first + last) / 2, centres[kept])
        size = np.where(inside, (last - first) / 2 * (1 + 4 * U) + np.abs(middle) * 2 * U,
                        halves[kept])
        return kept, middle, np.where(last > first, size, (last - first) / 2)

    def holds(self, places: np.ndarray, moves: np.ndarray) -> np.ndarray:
        """Whether places (n, inputs) lie in the travel, as far as some inputs go: bool (n,)."""
        low, high = self.seen_along(moves)
        step = max(1, MOST // (len(low) * max(1, low.shape[1])))
        near = 4 * U * (np.abs(low) + np.abs(high))
        found = [((places[k:k + step, None] >= low - near) & (places[k:k + step, None]
                                                            <= high + near)
                  | ~np.asarray(moves)).all(axis=-1).any(axis=1)
                 for k in range(0, len(places), step)]
        return np.concatenate(found) if found else np.zeros(0, bool)

    def holds_each(self, places: np.ndarray, moves: np.ndarray) -> np.ndarray:
        """As `holds`, with inputs of its own that count for each place: moves (n, inputs)."""
        held = np.ones(len(places), bool)
        for row in np.unique(moves, axis=0):
            here = np.flatnonzero((moves == row).all(axis=1))
            held[here] = self.holds(places[here], row)
        return held

    def held_to(self, ends: np.ndarray) -> np.ndarray:
        """Share of straight ways from neutral up to which all of each lies in the travel.

        Parameters
        ----------
        ends : ndarray (ways, inputs)
            Where each way ends, degrees (mm).

        Returns
        -------
        ndarray (ways,)
            0 to 1.

        Examples
        --------
        >>> box = Travel.of_box({"pitch": (-10, 20)})
        >>> box.held_to(np.array([[40.0], [-5.0]])).tolist()
        [0.5, 1.0]
        """
        return np.array([self._held_to(end) for end in np.asarray(ends, dtype=float)])

    def _held_to(self, end) -> float:
        still = end == 0
        here = (((self.low <= 0) & (self.high >= 0)) | ~still).all(axis=1)
        with np.errstate(divide="ignore", invalid="ignore"):
            one, other = (np.where(still, sign * np.inf, k[here] / end)
                          for k, sign in ((self.low, -1), (self.high, 1)))
        first, last = np.minimum(one, other).max(axis=1), np.maximum(one, other).min(axis=1)
        held = 0.0
        for k in np.argsort(first, kind="stable"):
            if first[k] > held:
                break
            held = max(held, float(last[k]) if first[k] <= last[k] else held)
        return min(held, 1.0)
