"""The sign of the gearing over whole cells of travel, proven.

The gearing is dF/dx over dF/dtheta of each rod's closure F(theta, x) = 0 (implicit
differentiation), chained through the tree.  That formula is evaluated on enclosures of every
angle and point over a cell, so what comes out holds the gearing of every position in the cell.
An enclosure of a turn is never differentiated itself: its rest bounds values, not slopes.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from ..intervals import GROW, TINY, Enclosure
from ..motion import Rates, Seeds, System, enclose, hinge_sign, pull

NARROW = 0.05  # degrees (mm): cells are not split below this
COARSE = 1 / 24  # share of a travel: once a wrong cell is known, others are split only this far
FIRST = 4  # cells per input to begin with
MOST = 40_000  # cells looked at before what is open is left so


@dataclass(frozen=True, eq=False)
class SignProof:
    """What was proven of a sign over cells of travel.

    Attributes
    ----------
    names : tuple of str
        Inputs of the columns below.
    wrong : ndarray (n, inputs)
        Middles of cells where the sign is proven to be the other one.
    open : ndarray (m, inputs)
        Middles of cells where it is not decided.
    looked : int
        Cells looked at.
    """

    names: tuple
    wrong: np.ndarray
    open: np.ndarray
    looked: int

    @property
    def holds(self) -> bool:
        """Whether the sign is proven everywhere that the rods reach."""
        return not len(self.wrong) and not len(self.open)

    def nearest(self, which: str) -> dict:
        """The cell nearest to neutral of those that are `wrong` or `open`: ``{input: middle}``."""
        middles = getattr(self, which)
        best = middles[np.argmin(np.abs(middles).sum(axis=1))]
        return dict(zip(self.names, best.tolist(), strict=True))


class EnclosedRates(Rates):
    """Rates over whole cells; rods solved together by a preconditioned series.

    With C the inverse of the Jacobian M at the centre and E = I - C M, the rates solve
    x = C b + E x, so x lies within |E|^2 max|x| of C b + E C b, and max|x| is at most
    max|C b| / (1 - |E|) where |E| < 1 (Moore, Kearfott & Cloud, Introduction to Interval
    Analysis, 2009, ch. 7, from memory).
    """

    def _solved(self, step, pushed):
        # complexity over 10: the sums of the docstring's three formulas, each index a loop
        matrix = [[_known(pull(self.posture, rod, joint)) for joint in step.joints]
                  for rod in step.rods]
        inverse, lost = _inverse_at_centre(matrix)
        size, cells = len(step.joints), lost.shape
        first = [_total(inverse[:, i, j] * (-pushed[j]) for j in range(size))
                 for i in range(size)]
        off = [[float(i == k) - _total(inverse[:, i, j] * matrix[j][k] for j in range(size))
                for k in range(size)] for i in range(size)]
        norm = np.max([sum(_size(e, cells) for e in row) for row in off], axis=0)
        most = np.max([_size(k, cells) for k in first], axis=0) / (1 - norm)
        left = np.where((norm < 1) & ~lost, norm * norm * most * GROW + TINY, np.inf)
        return [_loosened(first[i] + _total(off[i][k] * first[k] for k in range(size)), left)
                for i in range(size)]

    def _close_together(self, step):
        for joint in step.joints:
            self.joints[joint] = 0.0
        pushed = [self._pushed(rod) for rod in step.rods]
        if all(isinstance(p, float) and p == 0.0 for p in pushed):
            return
        with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
            rates = self._solved(step, pushed)
        self.joints.update(zip(step.joints, rates, strict=True))
        self._seen = {}

    def _pushed(self, rod):
        """Half the rate of the squared distance between a rod's ends, the group's joints held."""
        one, other = self.posture.plan.model.rods[rod].ends
        (p, d_p), (q, d_q) = self._carried(one, "airframe"), self._carried(other, "airframe")
        return _total((a - b) * (c - d) for a, b, c, d in zip(p, q, d_p, d_q, strict=True))


def _inverse_at_centre(matrix):
    """Inverse of a matrix of enclosures at each cell's centre, and the cells that have none."""
    cells = next(k.centre.shape for row in matrix for k in row if isinstance(k, Enclosure))
    middle = np.stack([[np.broadcast_to(getattr(k, "centre", k), cells) for k in row]
                       for row in matrix]).transpose(2, 0, 1)
    lost = ~(np.abs(np.linalg.det(middle)) > 0)
    return np.linalg.inv(np.where(lost[:, None, None], np.eye(len(matrix)), middle)), lost


def _known(value):
    return value if isinstance(value, Enclosure) else float(value)


def _total(terms):
    """Sum that keeps a plain 0 plain."""
    total = 0.0
    for term in terms:
        total = total + term
    return total


def _size(value, cells):
    if isinstance(value, Enclosure):
        return (value.sizes[2] + value.rest) * GROW
    return np.broadcast_to(np.abs(value), cells)


def _loosened(value, by) -> Enclosure:
    rows = value.rows.copy()
    rows[-1] = (rows[-1] + by) * GROW
    return Enclosure(rows, value.inputs)


def enclosed_gearing(system: System, surface: str, name: str, centres: dict,
                     halves: dict) -> tuple[np.ndarray, np.ndarray]:
    """Least and greatest gearing of a surface over cells of travel.

    Parameters
    ----------
    system : System
    surface, name : str
        Surface and input.
    centres, halves : dict
        ``{input: ndarray (n,)}``, degrees (mm for a slide).

    Returns
    -------
    (ndarray (n,), ndarray (n,))
        Degrees (radians where the input is in mm) per unit of the input, rounded outward; NaN
        where no rod of a cell reaches, infinite where nothing is known.
    """
    body = system.model.surfaces[surface].body
    small = system.only([body])
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        posture = enclose(small, centres, halves)
        rate = EnclosedRates(posture, Seeds(inputs={name: 1.0})).joints.get(body, 0.0)
        return _bounds(rate * hinge_sign(system.model.bodies[body]), posture, body, centres)


def enclosed_deflection(system: System, surface: str, centres: dict,
                        halves: dict) -> tuple[np.ndarray, np.ndarray]:
    """Least and greatest deflection of a surface over cells, degrees; as `enclosed_gearing`."""
    body = system.model.surfaces[surface].body
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        posture = enclose(system.only([body]), centres, halves)
        value = posture.states[body].value * (hinge_sign(system.model.bodies[body]) * 180 / np.pi)
        return _bounds(value, posture, body, centres)


def _bounds(value, posture, body, centres):
    shape = np.shape(next(iter(centres.values())))
    if isinstance(value, Enclosure):
        low, high = value.bounds()
    else:
        low = high = np.asarray(value, dtype=float)
    low, high = (np.array(np.broadcast_to(k, shape)) for k in (low, high))
    turn = posture.states[body].value
    if isinstance(turn, Enclosure):
        lost = np.broadcast_to(np.isnan(turn.centre), shape)
        unknown = np.isnan(low) | np.isnan(high)
        low, high = np.where(unknown, -np.inf, low), np.where(unknown, np.inf, high)
        low[lost] = high[lost] = np.nan
    return low, high


def prove_sign(bounds: Callable, centres: dict, halves: dict) -> SignProof:
    """Prove that a value is above 0 over cells of travel, by branch and bound.

    Parameters
    ----------
    bounds : callable
        ``bounds(centres, halves)`` gives its least and greatest over cells, (n,) each, NaN where
        there is none.
    centres, halves : dict
        ``{input: ndarray (n,)}``: the cells that the travel is covered by.

    Returns
    -------
    SignProof
        Cells are split until each is decided or no wider than `NARROW`.
    """
    names = tuple(centres)
    empty = np.zeros((0, len(names)))
    if not names or not np.size(centres[names[0]]):
        return SignProof(names, empty, empty, 0)
    middle, half = (np.stack([np.asarray(k[n], dtype=float) for n in names], axis=1)
                    for k in (centres, halves))
    span = np.maximum((middle + half).max(axis=0) - (middle - half).min(axis=0), NARROW)
    wrong, undecided, looked = [], [], 0
    while len(middle):
        low, high = bounds(dict(zip(names, middle.T, strict=True)),
                           dict(zip(names, half.T, strict=True)))
        looked += len(middle)
        wrong += list(middle[high < 0])
        todo = ~((low > 0) | (high < 0) | np.isnan(low))
        middle, half = middle[todo], half[todo]
        least = np.maximum(NARROW, span * COARSE) if wrong else np.full(len(span), NARROW)
        narrow = (2 * half <= least).all(axis=1) | (looked > MOST)
        undecided += list(middle[narrow])
        middle, half = _split(middle[~narrow], half[~narrow], np.where(2 * half[~narrow] <= least,
                                                                       0.0, half[~narrow] / span))
    return SignProof(names, np.array(wrong) if wrong else empty,
                     np.array(undecided) if undecided else empty, looked)


def _split(middle, half, shares):
    """Each cell cut in two across its widest side."""
    if not len(middle):
        return middle, half
    cut = np.zeros_like(half)
    side = shares.argmax(axis=1)
    rows = np.arange(len(half))
    cut[rows, side] = half[rows, side] / 2
    return (np.concatenate([middle - cut, middle + cut]),
            np.concatenate([half - cut, half - cut]))


def cells_of(box: dict, per_side: int = FIRST) -> tuple[dict, dict]:
    """A box of travel as cells.

    Parameters
    ----------
    box : dict
        ``{input: (least, greatest)}``.
    per_side : int

    Returns
    -------
    (dict, dict)
        Centres and halves, ``{input: ndarray (n,)}``.
    """
    sides = []
    for low, high in box.values():
        edges = np.linspace(low, high, per_side + 1)
        sides.append([((a + b) / 2, (b - a) / 2 * (1 + 1e-12)) for a, b in
                      itertools.pairwise(edges)])
    cells = np.array(list(itertools.product(*sides))).reshape(-1, len(box), 2)
    return tuple({name: cells[:, i, k] for i, name in enumerate(box)} for k in (0, 1))


def projected(cells: tuple[dict, dict], names: Iterable[str]) -> tuple[dict, dict]:
    """Cells over all inputs seen along some of them, each kept once.

    Parameters
    ----------
    cells : (dict, dict)
        Centres and halves, ``{input: ndarray (n,)}``.
    names : collection of str

    Returns
    -------
    (dict, dict)
    """
    shared = [name for name in cells[0] if name in names]
    rows = np.unique(np.stack([*(cells[0][n] for n in shared), *(cells[1][n] for n in shared)],
                              axis=1), axis=0)
    return tuple({name: rows[:, i + k * len(shared)] for i, name in enumerate(shared)}
                 for k in (0, 1))
