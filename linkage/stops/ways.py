"""Straight ways out from neutral, and what an enclosure says along them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from ..intervals import U, row_count
from ..model import AIRFRAME

if TYPE_CHECKING:
    from ..clearances import Stage
    from ..motion import System


@dataclass(frozen=True, eq=False)
class Ways:
    """Straight ways from neutral through the space of some inputs; the others stay at 0.

    Attributes
    ----------
    names : tuple of str
    ends : ndarray (ways, inputs)
        Where each way ends, degrees (mm).
    starts : ndarray (ways, inputs) or None
        Where each way starts instead of neutral: an input that has a start is to have an end of 0,
        and keeps its start all along.
    """

    names: tuple[str, ...]
    ends: np.ndarray
    starts: np.ndarray | None = None

    @classmethod
    def of_inputs(cls, ends: Sequence[tuple[str, float]]) -> Ways:
        """Ways along single inputs: ``[(input, end)]``."""
        names = tuple(dict.fromkeys(name for name, _ in ends))
        return cls(names, np.array([[end if n == name else 0.0 for n in names]
                                    for name, end in ends]))

    @cached_property
    def long(self) -> np.ndarray:
        """Length of each way along its longest input, degrees (mm), shape (ways,)."""
        return np.abs(self.ends).max(axis=1)

    def place(self, share: np.ndarray, way: np.ndarray) -> dict:
        """Inputs at shares (n,) of ways (n,), for `System.sweep`."""
        at = self.ends[way] * share[:, None]
        at = at if self.starts is None else at + self.starts[way]
        return {name: at[:, i] for i, name in enumerate(self.names)}

    def over(self, centre: np.ndarray, half: np.ndarray, way: np.ndarray) -> tuple[dict, dict]:
        """Middles and half-widths of boxes about stretches of ways (n,), for `enclose`."""
        size = np.abs(self.ends[way])
        wide = size * (half * (1 + 8 * U) + 8 * U)[:, None]
        return self.place(centre, way), {n: wide[:, i] for i, n in enumerate(self.names)}

    def along(self, rows: np.ndarray, way: np.ndarray) -> np.ndarray:
        """Enclosures over such boxes as they are along the way: of one input instead of several.

        Parameters
        ----------
        rows : ndarray (rows, ..., n)
        way : ndarray of int (n,)

        Returns
        -------
        ndarray (4, ..., n)
        """
        signs, inputs = np.sign(self.ends[way]).T, len(self.names)
        pairs = [(i, j) for i in range(inputs) for j in range(i, inputs)]
        slope = sum(rows[1 + i] * signs[i] for i in range(inputs))
        bend = sum(rows[1 + inputs + n] * (signs[i] * signs[j]) for n, (i, j) in enumerate(pairs))
        shares = np.abs(rows[row_count(inputs) - 1:-1]).sum(axis=0)
        rest = rows[-1] + shares + 16 * U * np.abs(rows[:-1]).sum(axis=0)
        return np.stack([rows[0], slope, bend, rest])


def moving(stage: Stage) -> System:
    """The system of a stage, solving only what its solids ride on."""
    bodies = {body for seat in stage.seats for body in seat.carriers} - {AIRFRAME}
    return stage.system.only(bodies)


def first_root(value: np.ndarray, slope: np.ndarray, bend: np.ndarray) -> np.ndarray:
    """Where the first of some polynomials of degree 2 over -1 to 1 comes down to 0.

    Parameters
    ----------
    value, slope, bend : ndarray (polynomials, n)

    Returns
    -------
    ndarray (n,)
        -1 where one is not above 0 at the start, inf where none comes to 0.

    Examples
    --------
    >>> first_root(np.array([[0.5]]), np.array([[-1.0]]), np.array([[0.0]])).tolist()
    [0.5]
    """
    with np.errstate(all="ignore"):
        start, pace = value - slope + bend, slope - 2 * bend
        root = 2 * start / (np.sqrt(pace * pace - 4 * bend * start) - pace)
        root = np.where(root > 0, root - 1, np.inf)  # NaN where it has none
        return np.where(start > 0, root, -1.0).min(axis=0)
