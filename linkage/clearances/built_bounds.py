"""Bounds of the gap of pieces over cells of travel in every build, by a plane that follows builds.

As `cell_bounds`, with the dimensions of a build followed like the inputs.  The plane between two
pieces is held as drawn, or turns with their relative motion as the closest points do: of two long
parts side by side a build may turn one a little, and a plane that is held then counts its far end.
Either is proven; the higher bound counts.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ..geometry import approach, tube_gap
from ..intervals import U, row_count
from ..motion import Builds, BuiltPosture, enclose_builds
from ..motion.builds_rows import built_extent, parted, share_rows
from .carrying import UNIT
from .cell_bounds import lowest_place, towards
from .corners import along, corner_pairs
from .stage import Stage

MOST_TURN = 0.5  # radians in all beyond which a plane is held instead
LEAST_STEP = 1e-3, 1e-5  # mm and radians that pieces are moved by to see how the plane turns
MOST_STEP = 0.3  # radians


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


def enclosed_builds(stage: Stage, system, builds: Builds, cells) -> BuiltPosture:
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


def frames(seats, posture: BuiltPosture) -> np.ndarray:
    """Origin and vectors of seats, as `Frames` gives them: (rows, 3, 4, seats, n)."""
    made = np.zeros((posture.rows, 3, 4, len(seats), posture.count))
    turned = posture.of_vectors()
    for s, seat in enumerate(seats):
        if seat.ends:
            ends = [posture.place(name, seat.frame) for name in seat.ends]
            for axis, (a, b) in enumerate(zip(*ends, strict=True)):
                _put(made[:, axis, 0, s], a)
                _put(made[:, axis, 1, s], b - a)
            continue
        start = tuple(seat.origin[0].tolist())
        ways = tuple(np.array(UNIT).T[..., None])
        for joint, outward in posture.plan.route(seat.carriers[0], seat.frame):
            start = posture.crossed(start, joint, outward)
            ways = turned.crossed(ways, joint, outward)
        for axis in range(3):
            _put(made[:, axis, 0, s], start[axis])
            _put(made[:, axis, 1:, s], ways[axis])
    return made


def _put(made, value):
    """Write a number, an array or an enclosure into rows, in place."""
    rows = getattr(value, "rows", None)
    if rows is None:
        made[0] = value
    else:
        made[:] = rows.reshape(len(rows), *(1,) * (made.ndim - rows.ndim), *rows.shape[1:])


def built_bounds(stage: Stage, posture: BuiltPosture, items, cells, limits) -> BuiltBounds:
    """Gap as drawn at the centre of cells, and a lower bound over them in every build.

    Parameters
    ----------
    stage : Stage
    posture : BuiltPosture
        From `enclosed_builds`, over these cells.
    items : (ndarray of int (m,), ndarray of int (m,))
        Piece pairs, and the cell each is asked over.
    cells : (sequence of str, ndarray (n, inputs), ndarray (n, inputs))
    limits : (ndarray (pieces,), ndarray (m,) or None)
        As `Stage.looseness` gives it; and a bound that is good enough, so that a plane that is held
        and gives it is not turned.
    """
    (which, cell), (names, centres, halves), (loose, enough) = items, cells, limits
    drawn = stage.system.sweep(**{n: centres[:, i] for i, n in enumerate(names)}).flat_posture()
    value, way = towards(stage, drawn, items)
    lost = np.flatnonzero(np.isnan(value))
    if lost.size:
        way[:, lost] = towards(stage, posture, (which[lost], cell[lost]), (0.0,) * len(names))[1]
    low, model = _bound(stage, posture, items, (way, 1.0, 1.0), loose)
    todo = (value > 0) & ~stage.rough[which]
    todo = np.flatnonzero(todo if enough is None else todo & ~(low >= enough) & ~np.isnan(low))
    if todo.size:
        some = which[todo], cell[todo]
        turning, *sizes = _turning(stage, posture, some, (stage.axes(drawn, *some), way[:, todo]))
        better, turned = _bound(stage, posture, some, (turning, *sizes), loose)
        gained = ~(better < low[todo])
        low[todo[gained]] = better[gained]
        model[:, todo[gained]] = turned[:, gained]
    at = lowest_place(model, len(names))
    share, crossed = parted(model, len(names))
    builds = np.where(share + (crossed * at[:, None]).sum(axis=0) > 0, -1, 1)
    return BuiltBounds(value, low, centres[cell] + at.T * halves[cell],
                       builds[:posture.dimension_count])


def _bound(stage, posture, items, towards, loose):
    """Lower bound of items with a direction of given least and greatest size; its polynomial."""
    direction, *sizes = towards
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
    return apart / np.where(apart > 0, sizes[1], sizes[0]) - stage.radii[items[0]], model


def _turning(stage, posture, items, drawn):
    """A direction that turns as the closest points of items do; its least and greatest size.

    Parameters
    ----------
    drawn : (list of two ndarray (3, 4, m), ndarray (3, m))
        Axes that carry both sides as drawn, at the middle; and the direction there.

    Returns
    -------
    (ndarray (rows, 3, m), ndarray (m,), ndarray (m,))
    """
    axes, way = drawn
    which, inputs = items[0], posture.inputs
    feet = _nearest(stage, axes, which, way)[1:]
    (shift_a, turn_a), (shift_b, turn_b) = (
        _moved(stage, k, held, foot, inputs) for k, held, foot in zip(
            stage.enclosed_axes(posture, *items), axes, feet, strict=True))
    shift, turn = shift_b - shift_a, turn_a - turn_b
    ways = np.cross(turn_b, way[None], axis=1)
    steps = np.maximum(np.abs(shift).sum(axis=0), LEAST_STEP[0])
    turns = np.clip(np.abs(turn).sum(axis=0), LEAST_STEP[1], MOST_STEP)
    for c in range(3):
        ways += _slope(stage, axes, (which, way), (_shifted, feet[0], c, steps[c])) * \
            shift[:, c, None]
        ways += _slope(stage, axes, (which, way), (_rotated, feet[0], c, turns[c])) * \
            turn[:, c, None]
    ways -= way * (ways * way).sum(axis=1)[:, None]
    spread = np.sqrt((np.abs(ways).sum(axis=0) ** 2).sum(axis=0))
    ways = np.where(spread < MOST_TURN, ways, 0.0)
    spread = np.where(spread < MOST_TURN, spread, 0.0)
    turning = np.zeros((posture.rows, *way.shape))
    turning[0], turning[_linear(turning, inputs)] = way, ways
    lean = 2 * np.abs((ways * way).sum(axis=1)).sum(axis=0)
    size = (way * way).sum(axis=0)
    return (turning, np.sqrt(np.maximum(size - lean, 1e-12)) * (1 - 16 * U),
            np.sqrt(size + lean + spread * spread) * (1 + 16 * U))


def _linear(rows, inputs):
    """Rows of slopes and of shares."""
    here = share_rows(rows, inputs)
    return np.r_[1:1 + inputs, here.start:here.stop]


def _moved(stage, enclosed, held, foot, inputs):
    """How a point of each side moves, and how the side turns, per slope and share: (k, 3, m)."""
    rows = enclosed[_linear(enclosed, inputs)]
    off, size = foot - held[:, 0], (held[:, 1:] ** 2).sum(axis=0)
    local = (held[:, 1:] * off[:, None]).sum(axis=0) / np.where(size > 0, size, 1.0)
    shift = rows[:, :, 0] + (rows[:, :, 1:] * local).sum(axis=2)
    # a body has three unit vectors, each of which tells two of three turns; a rod has one
    share = np.where((size > 0).all(axis=0), 0.5, 1.0) / np.where(size > 0, size, 1.0)
    turn = sum(np.cross(held[None, :, 1 + i], rows[:, :, 1 + i], axis=1) * share[i]
               for i in range(3))
    return shift, turn


def _slope(stage, axes, items, how):
    """Rate of the direction per step that one side is moved by."""
    (which, way), (move, foot, c, step) = items, how
    one, other = (_nearest(stage, move(axes, foot, c, sign * step), which, way)[0]
                  for sign in (1.0, -1.0))
    slope = (one - other) / (2 * step)
    return np.where(np.isfinite(slope), slope, 0.0)


def _shifted(axes, foot, c, step):
    """The second side moved along a station axis."""
    other = axes[1].copy()
    other[c, 0] += step
    return [axes[0], other]


def _rotated(axes, foot, c, step):
    """The first side turned about a point of it."""
    k, j = (c + 1) % 3, (c + 2) % 3
    one = axes[0].copy()
    one[:, 0] -= foot
    cos, sin = np.cos(step), np.sin(step)
    one[k], one[j] = cos * one[k] - sin * one[j], sin * one[k] + cos * one[j]
    one[:, 0] += foot
    return [one, axes[1]]


def _nearest(stage, axes, items, start):
    """Direction from the first piece to the second, and the two closest points: (3, m) each."""
    sides, found = stage.sides[items].T, np.empty((3, 3, len(items)))
    thin = stage.round[items]
    for here in (np.flatnonzero(thin), np.flatnonzero(~thin)):
        if not here.size:
            continue
        hulls = [stage.posed(k[..., here], pieces[here])
                 for k, pieces in zip(axes, sides, strict=True)]
        if thin[here[0]]:
            found[..., here] = tube_gap(*(hull.parts[0][1] for hull in hulls))[1:]
        else:
            near = approach(*hulls, start[:, here])
            found[..., here] = near.direction, near.foot, near.foot + near.between
    return found
