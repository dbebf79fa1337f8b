"""Bounds of the gap of pieces over cells of travel, by the plane between the closest points.

Over a cell of travel take n, the direction between the closest points at its centre.  For every
posture in the cell the gap of two convex pieces is at least

    min over points b of B of n.b  -  max over points a of A of n.a  -  radii,

and each n.(b - a) is bounded over the cell by its value, slopes, bends and rest there
(`linkage.intervals`).  At the centre this equals the gap, so what is lost is of second order in
the size of the cell.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from ..intervals import U, bend_rows, extent
from ..motion import enclose
from .corners import along, corner_pairs
from .stage import Stage, in_reach

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ..model.parts import Tolerance
    from ..motion.posture import Posture

ASIDE = 0.5  # share of a half-width at which the direction is asked again
MOST_TURN = 0.5  # radians over half a cell beyond which the direction is held instead
SOME_WAY = np.full((3, 1), 3.0**-0.5)  # a direction where the centre of a cell gives none


class Bounds(NamedTuple):
    """What is known of items over their cells.

    Attributes
    ----------
    value : ndarray (m,)
        Attained gap at the centre, mm; NaN out of reach, and where a bound was good enough
        before it was asked for.
    low : ndarray (m,)
        Lower bound, mm; NaN where the whole cell is out of reach.
    places : ndarray (m, inputs)
        Where in the cell the bound's polynomial is least, degrees (mm).
    planes : ndarray (m, 1 + inputs, 3)
        The direction that gives the bound, and how it turns over half the cell per input.
    unsure : ndarray of bool (m,)
        Whether rods solved together are known there by a box alone, as at an end of their reach.
    model : ndarray (rows, m)
        The polynomial that the bound was had from, along its direction, mm.
    """

    value: np.ndarray
    low: np.ndarray
    places: np.ndarray
    planes: np.ndarray
    unsure: np.ndarray
    model: np.ndarray


def bounds(stage: Stage, items: tuple, cells: tuple, tolerances: Tolerance | None = None,
           enough: np.ndarray | None = None) -> Bounds:
    """Gap at the centre of cells and a lower bound over them.

    Parameters
    ----------
    stage : Stage
    items : (ndarray of int (m,), ndarray of int (m,))
        Piece pairs, and the cell each is asked over.
    cells : (list of str, ndarray (n, inputs), ndarray (n, inputs))
        Names of the inputs, middles and half-widths, degrees (mm).
    tolerances : Tolerance, optional
    enough : ndarray (m,), optional
        A bound that is good enough: where a plane between the middle lines gives it, no closest
        points are looked for, and where one between those gives it, none is turned.

    Returns
    -------
    Bounds
    """
    (which, cell), (names, centres, halves) = items, cells
    named = {n: centres[:, i] for i, n in enumerate(names)}
    posture = stage.system.sweep(**named).posture
    enclosed = enclose(stage.system, named, {n: halves[:, i] for i, n in enumerate(names)},
                       tolerances, stage.rod_ends)
    found = _Found(stage, enclosed, items, tolerances)
    way = found.between_spines()
    found.improve(np.arange(len(which)), way)
    value, todo = np.full(len(which), np.nan), found.open(np.arange(len(which)), enough)
    if todo.size:
        value[todo], way[:, todo] = towards(stage, posture, found.some(todo), way[:, todo])
        lost = todo[np.isnan(value[todo])]
        if lost.size:
            way[:, lost] = towards(stage, enclosed, found.some(lost))[1]
        found.improve(todo, way[:, todo])
        todo = found.open(todo, enough)
        todo = todo[~stage.are_nodes(which[todo])]
    if todo.size:
        found.improve(todo, *found.turning(todo, way[:, todo]))
    places = centres[cell] + lowest_place(found.model, len(names)).T * halves[cell]
    unsure = np.zeros(len(centres), bool)
    for known in enclosed.any_turn.values():
        unsure |= known
    return Bounds(value, found.low, places, found.planes, unsure[cell], found.model)


class _Found:
    """The best bounds yet of items over their cells, and what gives them."""

    def __init__(self, stage, enclosed, items, tolerances):
        self.stage, self.enclosed, self.items = stage, enclosed, items
        count, self.inputs = len(items[0]), enclosed.inputs
        self.loose = None if tolerances is None else stage.looseness(tolerances)
        self.kept = np.arange(enclosed.rows) if tolerances is None else \
            stage.rows_of(enclosed, items[0])
        self.low, self.model = np.full(count, -np.inf), np.zeros((len(self.kept), count))
        self.planes = np.zeros((count, 1 + self.inputs, 3))

    def some(self, here):
        """Some of the items."""
        return self.items[0][here], self.items[1][here]

    def open(self, here, enough):
        """Which of some items a better bound is wanted of."""
        if enough is None:
            return here
        low = self.low[here]
        return here[~(low >= enough[here]) & ~np.isnan(low)]

    def between_spines(self):
        """Direction from the middle line of the one piece to that of the other: quick, and near."""
        direction = self.stage.spine_gap(self.stage.axes(self.enclosed, *self.items),
                                         self.items[0])[1]
        return np.where(np.isfinite(direction).all(axis=0), direction, SOME_WAY)

    def turning(self, here, way):
        """Directions at the middle, made to turn as the closest points do; least, greatest size."""
        at = [tuple(ASIDE * k) for k in np.eye(self.inputs)]
        beside = [towards(self.stage, self.enclosed, self.some(here), way, a)[1] for a in at]
        return _turning(way, beside, self.enclosed.rows)

    def improve(self, here, direction, short=1.0, long=1.0):
        """Bound some items by planes square to a direction, and keep what is better."""
        better, model = _bound(self.stage, self.enclosed, self.some(here),
                               (direction, short, long), (self.loose, self.kept))
        gained = ~(better < self.low[here])
        here = here[gained]
        self.low[here], self.model[:, here] = better[gained], model[:, gained]
        turns = direction[:1 + self.inputs] if direction.ndim == 3 else direction[None]
        self.planes[here] = 0.0
        self.planes[here, :len(turns)] = turns[..., gained].transpose(2, 0, 1)


def held_bounds(stage: Stage, items: tuple, cells: tuple, planes: np.ndarray) -> np.ndarray:
    """Lower bounds, as drawn, by planes that are given: no closest points are looked for.

    Parameters
    ----------
    stage, items, cells
        As for `bounds`.
    planes : ndarray (m, 1 + inputs, 3)

    Returns
    -------
    ndarray (m,)
        mm; NaN where the whole cell is out of reach.
    """
    which, (names, centres, halves) = items[0], cells
    enclosed = enclose(stage.system, {n: centres[:, i] for i, n in enumerate(names)},
                       {n: halves[:, i] for i, n in enumerate(names)})
    turning = np.zeros((enclosed.rows, 3, len(which)))
    turning[:1 + len(names)] = planes.transpose(1, 2, 0)
    return _bound(stage, enclosed, items, (turning, *_lengths(turning, len(names))),
                  (None, np.arange(enclosed.rows)))[0]


def _bound(stage, enclosed, items, towards, build):
    """Lower bound of items with a direction of given least and greatest size; its polynomial."""
    (direction, *sizes), (loose, kept) = towards, build
    apart = np.empty(len(items[0]))
    model = np.empty((len(kept), len(apart)))
    slack = 512 * U * stage.scale(enclosed)
    for here, sides, behind in along(stage, enclosed, items, direction, loose, kept):
        least, rows = least_along(sides, enclosed.inputs)
        least += behind - slack
        lost = np.isnan(sides[0][0]).any(axis=0) | np.isnan(sides[1][0]).any(axis=0)
        # only what has no posture is NaN
        apart[here] = np.where(np.isnan(least) & ~lost, -np.inf, least)
        model[:, here] = rows
    # lines and points are never less than 0 apart, however deep the tubes about them overlap
    deepest = 0.0 if loose is None else -2 * loose[stage.sides[items[0]]].sum(axis=1)
    apart = np.where(stage.round[items[0]], np.maximum(apart, deepest), apart)
    return apart / np.where(apart > 0, sizes[1], sizes[0]) - stage.radii[items[0]], model


def towards(stage: Stage, posture: Posture, items: tuple, start: np.ndarray | None = None,
            at: Sequence[float] | None = None) -> tuple[np.ndarray, np.ndarray]:
    """Gap and the direction from the first piece to the second; some way where out of reach.

    Of an enclosed posture it is asked near the middle of the cells, or `at` shares of them, from
    where `start` points.
    """
    axes = stage.axes(posture, *items, at)
    lost = ~in_reach(axes)
    for held in axes:
        held[..., lost] = 0.0
    value, direction, *_ = stage.gap(axes, items[0], start, near=at is not None)
    direction = np.where(lost | ~np.isfinite(direction).all(axis=0), SOME_WAY, direction)
    return np.where(lost, np.nan, value), direction


def _turning(way, ways, rows):
    """A direction that turns over the cell as the closest points do; its least and greatest size.

    Parameters
    ----------
    way : ndarray (3, m)
        At the centre.
    ways : list of ndarray (3, m)
        At `ASIDE` of the half-width along each input.
    rows : int

    Returns
    -------
    (ndarray (rows, 3, m), ndarray (m,), ndarray (m,))
    """
    turning = np.zeros((rows, *way.shape))
    turning[0] = way
    for i, other in enumerate(ways):
        slope = (other - way) / ASIDE
        slope -= way * (slope * way).sum(axis=0)
        turning[1 + i] = np.where((slope * slope).sum(axis=0) < MOST_TURN**2, slope, 0.0)
    return turning, *_lengths(turning, len(ways))


def _lengths(turning, inputs):
    """Least and greatest size of a direction that turns."""
    way, slopes = turning[0], turning[1:1 + inputs]
    spread = np.abs(slopes).sum(axis=0)
    size = (way * way).sum(axis=0)
    along = np.abs((slopes * way).sum(axis=1)).sum(axis=0)
    long = np.sqrt(size + 2 * along + (spread * spread).sum(axis=0)) * (1 + 16 * U)
    short = np.sqrt(np.maximum(size - 2 * along, 1e-12)) * (1 - 16 * U)
    return short, long


def lowest_place(model: np.ndarray, inputs: int) -> np.ndarray:
    """Where in its cell a polynomial of degree 2 is least, as shares (inputs, m) of the cell.

    Looked for at the stationary point, on the sides and at the corners; a guess to be tried, so
    that its being the least is no one's premise.
    """
    slopes, bends = model[1:1 + inputs], model[bend_rows(inputs)]
    first, second = (np.array(k) for k in zip(*((i, j) for i in range(inputs)
                                                for j in range(i, inputs)), strict=True))
    tried = np.array(list(itertools.product((-1.0, -0.5, 0.0, 0.5, 1.0), repeat=inputs))).T
    for _ in range(3):
        tried = tried[..., None] if tried.ndim == 2 else tried
        value = (slopes[:, None] * tried).sum(axis=0) + (
            bends[:, None] * tried[first] * tried[second]).sum(axis=0)
        best = np.take_along_axis(np.broadcast_to(tried, (inputs, *value.shape)),
                                  value.argmin(axis=0)[None, None], axis=1)[:, 0]
        step = np.array(list(itertools.product((-1.0, 0.0, 1.0), repeat=inputs))).T[..., None]
        tried = np.clip(best[:, None] + step * 0.25, -1, 1)
    return best


def least_along(sides: list, inputs: int) -> tuple[np.ndarray, np.ndarray]:
    """Least of n.(b - a) over cells, roundings left out, and its polynomial.

    Parameters
    ----------
    sides : list of two ndarray (rows, corners, m)
        Bounds of n.p.
    inputs : int
        That the bounds follow.

    Returns
    -------
    (ndarray (m,), ndarray (rows, m))
        mm, and the polynomial of the pair of corners that has it.
    """
    apart = corner_pairs(sides)
    each = extent(apart, inputs)[0] - apart[-1]
    lowest, place = each.argmin(axis=0), np.arange(each.shape[1])
    return each[lowest, place], apart[:, lowest, place]
