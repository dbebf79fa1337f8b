"""Bounds of the gap of pieces over cells of travel in every build, by planes of the worst builds.

As `cell_bounds`, with the dimensions of a build followed like the inputs.  Any plane gives a bound
of all builds; the one between the closest points as drawn may be far from the best, so that the one
in the build in which that bound is least is tried next.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from ..geometry import Ragged, approach
from ..intervals import U
from ..motion import Builds, BuiltPosture, enclose_builds
from ..motion.builds_rows import built_extent, parted
from .carrying import UNIT
from .cell_bounds import lowest_place, towards
from .corners import along, corner_pairs
from .stage import Stage, in_reach

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ..motion import Posture, System
    from .carrying import Seat

TRIES = 3  # planes of worst builds
CORNERS = np.array(list(itertools.product((-1.0, 1.0), repeat=3)))


class BuiltBounds(NamedTuple):
    """What is known of items over their cells and all builds.

    Attributes
    ----------
    value : ndarray (m,)
        Gap as drawn at the centre, mm; NaN out of reach.
    low : ndarray (m,)
        Lower bound, mm; NaN where the whole cell is out of reach in any build.
    places : ndarray (m, inputs)
        Where in the cell the bound's polynomial is least, degrees (mm).
    builds : ndarray (dimensions, m)
        The build in which it is, as 1 or -1 for each dimension that varies.
    """

    value: np.ndarray
    low: np.ndarray
    places: np.ndarray
    builds: np.ndarray


def enclosed_builds(stage: Stage, system: System, builds: Builds, cells: tuple) -> BuiltPosture:
    """A posture enclosed over cells and builds, with the seats of a stage carried by it.

    Parameters
    ----------
    stage : Stage
    system : System
        The stage's, or one that solves no more than its pairs need.
    builds : Builds
    cells : (sequence of str, ndarray (n, inputs), ndarray (n, inputs))
    """
    names, centres, halves = cells
    posture = enclose_builds(system, {n: centres[:, i] for i, n in enumerate(names)},
                             {n: halves[:, i] for i, n in enumerate(names)}, builds)
    with np.errstate(invalid="ignore", over="ignore"):
        posture.remembered(stage.frames, lambda: frames(stage.seats, posture))
    return posture


def frames(seats: Sequence[Seat], posture: BuiltPosture) -> np.ndarray:
    """Origin and vectors of seats, as `Frames` gives them: (rows, 3, 4, seats, n)."""
    made = np.zeros((posture.rows, 3, 4, len(seats), posture.count))
    turned, known = posture.of_vectors(), {}
    for s, seat in enumerate(seats):
        if seat.ends:
            for end, name in enumerate(seat.ends):
                for axis, value in enumerate(posture.place(name, seat.frame)):
                    _put(made[:, axis, 1 + end, s], value)
            continue
        carried = seat.carriers[0], seat.frame
        start = tuple(seat.origin[0].tolist())
        for joint, outward in posture.plan.route(*carried):
            start = posture.crossed(start, joint, outward)
        for axis in range(3):
            _put(made[:, axis, 0, s], start[axis])
        if carried in known:
            made[:, :, 1:, s] = made[:, :, 1:, known[carried]]
            continue
        known[carried], ways = s, tuple(np.array(UNIT).T[..., None])
        for joint, outward in posture.plan.route(*carried):
            ways = turned.crossed(ways, joint, outward)
        for axis in range(3):
            _put(made[:, axis, 1:, s], ways[axis])
    return made


def _put(made, value):
    """Write a number, an array or an enclosure into rows, in place."""
    rows = getattr(value, "rows", None)
    if rows is None:
        made[0] = value
    else:
        made[:] = rows.reshape(len(rows), *(1,) * (made.ndim - rows.ndim), *rows.shape[1:])


def built_bounds(stage: Stage, posture: BuiltPosture, items: tuple, cells: tuple,
                 asked: tuple) -> BuiltBounds:
    """Gap as drawn at the centre of cells, and a lower bound over them in every build.

    Parameters
    ----------
    stage : Stage
    posture : BuiltPosture
        From `enclosed_builds`, over these cells.
    items : (ndarray of int (m,), ndarray of int (m,))
        Piece pairs, and the cell each is asked over.
    cells : (sequence of str, ndarray (n, inputs), ndarray (n, inputs))
    asked : (ndarray (pieces,), ndarray (m,) or None, callable)
        As `Stage.looseness` gives it; a bound that is good enough, so that no other plane is tried
        where one gives it; and what gives a posture in builds (dimensions, k) at places
        (k, inputs).
    """
    (which, cell), (names, centres, halves), (loose, enough, swept) = items, cells, asked
    drawn = stage.system.sweep(**{n: centres[:, i] for i, n in enumerate(names)}).flat_posture()
    value, way = towards(stage, drawn, items)
    lost = np.flatnonzero(np.isnan(value))
    if lost.size:
        way[:, lost] = towards(stage, posture, (which[lost], cell[lost]))[1]
    low, model = _bound(stage, posture, items, way, loose)
    places, builds = _worst(posture, model)
    tried = builds.copy()
    for turn in range(TRIES):
        todo = ~stage.rough[which] & ~np.isnan(low)
        todo = np.flatnonzero(todo if enough is None else todo & ~(low >= enough))
        if not todo.size:
            break
        some, here = which[todo], cell[todo]
        built = swept(tried[:, todo], centres[here] + places[:, todo].T * halves[here])
        away = directions(stage, built, some, (way[:, todo], loose))
        better, turned = _bound(stage, posture, (some, here), away, loose)
        gained = better > low[todo]
        low[todo[gained]] = better[gained]
        at, worst = _worst(posture, turned)
        places[:, todo], builds[:, todo] = at, worst
        # of two builds, each worst for the other's plane, one between them has a better plane
        tried[:, todo] += (worst - tried[:, todo]) / (turn + 2)
    return BuiltBounds(value, low, centres[cell] + places.T * halves[cell], builds)


def _worst(posture, model):
    """Where in its cell a polynomial is least, as shares of the cell, and in which build."""
    at = lowest_place(model, posture.inputs)
    share, crossed = parted(model, posture.inputs)
    worst = np.where(share + (crossed * at[:, None]).sum(axis=0) > 0, -1.0, 1.0)
    return at, worst[:posture.dimension_count]


def _bound(stage, posture, items, direction, loose):
    """Lower bound of items by a direction that is held, and its polynomial."""
    apart = np.empty(len(items[0]))
    model = np.zeros((posture.rows, len(apart)))
    slack = 512 * U * stage.scale(posture)
    for here, sides, behind in along(stage, posture, items, direction, loose):
        rows = corner_pairs(sides)
        each = built_extent(rows, posture.inputs) - rows[-1]
        lowest, place = each.argmin(axis=0), np.arange(len(here))
        least = each[lowest, place] + behind - slack
        lost = np.isnan(sides[0][0]).any(axis=0) | np.isnan(sides[1][0]).any(axis=0)
        # only what has no posture is NaN
        apart[here] = np.where(np.isnan(least) & ~lost, -np.inf, least)
        model[:, here] = rows[:, lowest, place]
    # lines and points are never less than 0 apart, however deep the tubes about them overlap
    deepest = -2 * loose[stage.sides[items[0]]].sum(axis=1)
    apart = np.where(stage.round[items[0]], np.maximum(apart, deepest), apart)
    # the size of a direction is 1 but for rounding
    apart = apart - 16 * U * np.abs(apart)
    return apart - stage.radii[items[0]], model


def directions(stage: Stage, posture: Posture, items: np.ndarray, towards: tuple) -> np.ndarray:
    """Direction from the first piece to the second of items (m,) at as many positions: (3, m).

    Of pieces grown by what each of their coordinates may be off; where there is none, as before.
    """
    way, loose = towards
    axes = stage.axes(posture, items, np.arange(len(items)))
    good = np.flatnonzero(in_reach(axes))
    found = way.copy()
    if good.size:
        hulls = [_grown(stage, k[..., good], pieces, loose) for k, pieces in zip(
            axes, stage.sides[items[good]].T, strict=True)]
        found[:, good] = approach(*hulls, way[:, good]).direction
    return np.where(np.isfinite(found).all(axis=0), found, way)


def _grown(stage, axes, pieces, loose):
    """Corners of pieces that some axes carry, of all but rods grown along the three vectors."""
    off = np.where(stage.of_rod[stage.seat_of[pieces]], 0.0, loose[pieces])
    steps = np.einsum("cam,sa->csm", axes[:, 1:], CORNERS) * off
    return Ragged([(here, (hull[:, :, None] + steps[:, None, :, here]).reshape(
        3, -1, len(here))) for here, hull in stage.posed(axes, pieces).parts])
