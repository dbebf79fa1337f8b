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

from ..intervals import U, bend_rows, extent, row_count
from ..motion import enclose
from .stage import Stage

if TYPE_CHECKING:
    from ..model.parts import Tolerance
    from ..model.whole import Model
    from ..motion.posture import Posture

ASIDE = 0.5  # share of a half-width at which the direction is asked again
MOST_TURN = 0.5  # radians over half a cell beyond which the direction is held instead
SOME_WAY = np.full((3, 1), 3.0**-0.5)  # a direction where the centre of a cell gives none
MOST_PAIRS = 48  # corners of one piece times corners of the other, bounded pair by pair
TOP = 6


class Bounds(NamedTuple):
    """What is known of items over their cells.

    Attributes
    ----------
    value : ndarray (m,)
        Attained gap at the centre, mm; NaN out of reach.
    low : ndarray (m,)
        Lower bound, mm; NaN where the whole cell is out of reach.
    places : ndarray (m, inputs)
        Where in the cell the bound's polynomial is least, degrees (mm).
    builds : ndarray (tolerances, m)
        The build in which it is, as 1 or -1 for each dimension that varies.
    planes : ndarray (m, 1 + inputs, 3)
        The direction that gives the bound, and how it turns over half the cell per input.
    """

    value: np.ndarray
    low: np.ndarray
    places: np.ndarray
    builds: np.ndarray
    planes: np.ndarray


def bounds(stage: Stage, items, cells, tolerances: Tolerance | None = None,
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
        A bound that is good enough: where a plane that is held gives it, none is turned.

    Returns
    -------
    Bounds
    """
    (which, cell), (names, centres, halves) = items, cells
    named = {n: centres[:, i] for i, n in enumerate(names)}
    posture = stage.system.sweep(**named).posture
    enclosed = enclose(stage.system, named, {n: halves[:, i] for i, n in enumerate(names)},
                       tolerances)
    middle = (0.0,) * len(names)
    beside = [(*middle[:i], ASIDE, *middle[i + 1:]) for i in range(len(names))]
    value, low, places = np.empty(len(which)), np.empty(len(which)), centres[cell]
    loose = None if tolerances is None else stage.looseness(tolerances)
    first = row_count(len(names)) - 1
    builds = np.zeros((enclosed.rows - 1 - first, len(which)), np.int8)
    planes = np.zeros((len(which), 1 + len(names), 3))
    for here, _ in stage.by_corners(which):
        value[here], way = towards(stage, posture, (which[here], cell[here]))
        lost = np.flatnonzero(np.isnan(value[here]))
        if lost.size:
            way[:, lost] = towards(stage, enclosed, (which[here[lost]], cell[here[lost]]),
                                    middle)[1]
        kept = slice(None) if tolerances is None else stage.rows_of(enclosed, which[here])
        low[here], model = _bound(stage, enclosed, (which[here], cell[here]), (way, 1.0, 1.0),
                                  (loose, kept))
        planes[here, 0] = way.T
        todo = np.arange(len(here)) if enough is None else \
            np.flatnonzero(~(low[here] >= enough[here]) & ~np.isnan(low[here]))
        if todo.size:
            some = which[here[todo]], cell[here[todo]]
            ways = [towards(stage, enclosed, some, aside)[1] for aside in beside]
            turning, *sizes = _turning(way[:, todo], ways, enclosed.rows)
            better, turned = _bound(stage, enclosed, some, (turning, *sizes), (loose, kept))
            gained = ~(better < low[here[todo]])
            low[here[todo[gained]]] = better[gained]
            model[:, todo[gained]] = turned[:, gained]
            planes[here[todo[gained]]] = turning[:1 + len(names), :, gained].transpose(2, 0, 1)
        places[here] += lowest_place(model, len(names)).T * halves[cell[here]]
        if tolerances is not None:
            share = kept[(kept >= first) & (kept < enclosed.rows - 1)]
            builds[np.ix_(share - first, here)] = np.where(model[first:-1] > 0, -1, 1)
    return Bounds(value, low, places, builds, planes)


def held_bounds(stage: Stage, items, cells, planes: np.ndarray, tolerances=None) -> np.ndarray:
    """Lower bounds of items over cells by planes that are given: no closest points are looked for.

    Parameters
    ----------
    stage, items, cells, tolerances
        As for `bounds`.
    planes : ndarray (m, 1 + inputs, 3)

    Returns
    -------
    ndarray (m,)
        mm; NaN where the whole cell is out of reach.
    """
    (which, cell), (names, centres, halves) = items, cells
    enclosed = enclose(stage.system, {n: centres[:, i] for i, n in enumerate(names)},
                       {n: halves[:, i] for i, n in enumerate(names)}, tolerances)
    loose = None if tolerances is None else stage.looseness(tolerances)
    low = np.empty(len(which))
    for here, _ in stage.by_corners(which):
        kept = slice(None) if tolerances is None else stage.rows_of(enclosed, which[here])
        turning = np.zeros((enclosed.rows, 3, len(here)))
        turning[:1 + len(names)] = planes[here].transpose(1, 2, 0)
        low[here] = _bound(stage, enclosed, (which[here], cell[here]),
                           (turning, *_lengths(turning, len(names))), (loose, kept))[0]
    return low


def _bound(stage, enclosed, items, towards, build):
    """Lower bound of items with a direction of given least and greatest size; its polynomial."""
    (direction, *sizes), (loose, kept) = towards, build
    sides = stage.along(enclosed, *items, direction, loose, kept)
    apart, model = least_along(sides, stage.scale(enclosed), enclosed.inputs)
    lost = np.isnan(sides[0][0]).any(axis=0) | np.isnan(sides[1][0]).any(axis=0)
    apart = np.where(np.isnan(apart) & ~lost, -np.inf, apart)  # only what has no posture is NaN
    # lines and points are never less than 0 apart, however deep the tubes about them overlap
    deepest = 0.0 if loose is None else -2 * loose[stage.sides[items[0]]].sum(axis=1)
    apart = np.where(stage.round[items[0]], np.maximum(apart, deepest), apart)
    return apart / np.where(apart > 0, sizes[1], sizes[0]) - stage.radii[items[0]], model


def towards(stage, posture: Posture, items, at=()):
    """Gap and the direction from the first piece to the second; some way where out of reach."""
    hulls = stage.hulls(posture, *items, at)
    lost = ~np.isfinite(hulls[0]).all(axis=(0, 1)) | ~np.isfinite(hulls[1]).all(axis=(0, 1))
    for hull in hulls:
        hull[..., lost] = 0.0
    value, direction, *_ = stage.gap(hulls, items[0])
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


def lowest_place(model: Model, inputs):
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


def least_along(sides: list, scale: float, inputs: int):
    """Least of n.(b - a) over cells, and its polynomial.

    Every pair of corners is bounded where they are few.  Of many corners the `TOP` foremost are
    paired; the rest are bounded against the foremost one of their own piece, with which they turn.

    Parameters
    ----------
    sides : list of two ndarray (rows, corners, m)
        Bounds of n.p.
    scale : float
        Greatest coordinate in play, mm, for the roundings.
    inputs : int
        That the bounds follow.

    Returns
    -------
    (ndarray (m,), ndarray (rows, m))
        Lower bound, mm, and the polynomial of the pair of corners that has it.
    """
    apart, behind = corner_pairs(sides, inputs)
    each = extent(apart, inputs)[0] - apart[-1]
    lowest = each.argmin(axis=0)
    low = each[lowest, np.arange(len(lowest))] + behind
    return low - 512 * U * scale, apart[:, lowest, np.arange(len(lowest))]


def corner_pairs(sides: list, inputs: int):
    """Bounds of n.(b - a) for the pairs of corners that matter.

    Parameters
    ----------
    sides : list of two ndarray (rows, corners, m)
        Bounds of n.p.
    inputs : int
        That the bounds follow.

    Returns
    -------
    (ndarray (rows, pairs, m), float or ndarray (m,))
        And by how much, at most, any other pair of corners comes nearer than these (<= 0), mm.
    """
    behind = 0.0
    if sides[0].shape[1] * sides[1].shape[1] > MOST_PAIRS:
        (one, lag), (other, more) = (_foremost(side, sense, inputs)
                                     for side, sense in zip(sides, (1.0, -1.0), strict=True))
        sides, behind = [one, other], lag + more
    a, b = sides
    apart = b[:, None] - a[:, :, None]
    apart[-1] = b[-1] + a[-1][:, None]
    return apart.reshape(len(apart), -1, apart.shape[-1]), behind


def _foremost(side, sense, inputs):
    """The foremost corners of a piece, and by how much the others can pass the first (<= 0)."""
    if side.shape[1] <= TOP:
        return side, 0.0
    order = np.argsort(-sense * side[0], axis=0)
    ranked = np.take_along_axis(side, order[None], axis=1)
    lag = sense * (ranked[:, :1] - ranked[:, TOP:])
    lag[-1] = ranked[-1, :1] + ranked[-1, TOP:]
    return ranked[:, :TOP], np.minimum((extent(lag, inputs)[0] - lag[-1]).min(axis=0), 0.0)
