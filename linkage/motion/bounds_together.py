"""Bounds of rods solved together, over whole cells of travel.

With the polynomial of degree 2 tried for the joints and the inverse of the Jacobian at the centre,
a box about it that Krawczyk's operator maps into itself holds one root for every position of the
cell: the one followed from neutral, which the box holds at the centre (Moore, Kearfott & Cloud,
Introduction to Interval Analysis, 2009, ch. 8, from memory).  Where that fails, near a dead centre
or an edge of reach, all turns of the joints are parted into boxes, and those are left out in which
some rod can't have its length, or the Jacobian can't have the sign it keeps from neutral on.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from ..intervals import GROW, TINY, Enclosure, U, bend_rows, row_count
from .plan import Together
from .posture import Posture, Slide, Turn
from .rates import jacobian, pull

if TYPE_CHECKING:
    from .system import System

LEVELS = 14  # times that the boxes of the joints are halved
FINEST = 2e-3  # radians (share of the longest rod) of a box that is small enough
MOST = 120  # boxes kept per cell above which they are halved no further
AT_ONCE = 20_000  # boxes looked at in one go: keeps memory at tens of MB, whatever the cells


def close_together(posture: Posture, step: Together, system: System, centres: dict) -> None:
    """Settle rods solved together over whole cells.

    Parameters
    ----------
    posture : EnclosedPosture
        Settled up to the group.
    step : Together
    system : System
    centres : dict
        ``{input: ndarray (n,)}``.
    """
    motion = system.sweep(**centres)
    count = int(np.prod(motion.shape))
    middle = np.array([np.broadcast_to(motion.posture.states[joint].value, motion.shape).ravel()
                       for joint in step.joints])
    rows, sure = _about(posture, step, middle)
    unsure = np.flatnonzero(~sure)
    if unsure.size:
        rows[..., unsure] = _Boxes(posture, step, system, unsure, count).rows()
    for joint, each in zip(step.joints, rows, strict=True):
        posture.states[joint] = _joint(posture, joint, Enclosure(each, posture.inputs))
        posture.any_turn[joint] = ~sure


def _about(posture, step, middle):
    """Rows (joints, rows, n) about the root at the centres, and where they are sure."""
    rows = np.zeros((len(step.joints), posture.rows, middle.shape[1]))
    rows[:, 0] = np.nan_to_num(middle)
    matrix = np.array([[_spread(rate, rows)[0] for rate in line] for line in
                       _pulls(_held(posture, step, rows), step)]).transpose(2, 0, 1)
    lost = ~(np.abs(np.linalg.det(matrix)) > 0) | np.isnan(middle).any(axis=0)
    inverse = np.linalg.inv(np.where(lost[:, None, None], np.eye(len(step.joints)), matrix))
    bends = bend_rows(posture.inputs)
    for part in (slice(1, None), bends):  # first the slopes, then what bends they leave
        missed = np.array([_spread(misfit, rows)
                           for misfit in _misfits(_held(posture, step, rows), step)])
        rows[:, part] -= np.einsum("nij,jrn->irn", inverse, missed[:, part])
        rows[:, -1] = 0.0
        if part != bends:
            rows[:, bends] = 0.0
    lost |= ~np.isfinite(rows).all(axis=(0, 1))
    rows[..., lost] = 0.0
    off = _misses(posture, step, rows, inverse)
    trial = 2 * off + TINY
    rows[:, -1] = trial
    pulls = _pulls(_held(posture, step, rows), step)
    image = off + sum(_sizes([_combined(inverse[:, i], [line[k] for line in pulls], rows)
                              - float(i == k) for i in range(len(rows))]) * trial[k]
                      for k in range(len(rows)))
    sure = (image <= trial).all(axis=0) & ~lost
    rows[:, -1] = image * GROW + TINY
    return rows, sure


def _misses(posture, step, rows, inverse):
    missed = _misfits(_held(posture, step, rows), step)
    return _sizes([_combined(inverse[:, i], missed, rows) for i in range(len(rows))])


def _combined(weights, values, rows):
    """Weights (n, values) times enclosures, summed; a rod no joint moves has a number."""
    inputs = next(value.inputs for value in values if isinstance(value, Enclosure))
    return sum(weights[:, j] * Enclosure(_spread(value, rows), inputs)
               for j, value in enumerate(values))


def _spread(value, rows):
    """Rows of an enclosure or a number, one for each cell."""
    if not isinstance(value, Enclosure):
        found = np.zeros(rows.shape[1:])
        found[0] = value
        return found
    return np.broadcast_to(value.rows.reshape(len(value.rows), -1), rows.shape[1:])


def _held(posture, step, rows) -> Posture:
    """The posture with the joints of a group held on given rows."""
    states = dict(posture.states)
    for joint, each in zip(step.joints, rows, strict=True):
        states[joint] = _joint(posture, joint, Enclosure(each.copy(), posture.inputs))
    return replace(posture, states=states, _seen={})


def _joint(posture, joint, value):
    if posture.plan.model.bodies[joint].slides:
        return Slide(value)
    return Turn(np.cos(value), np.sin(value), value)


def _pulls(posture, step) -> list[list]:
    """Rates of the rods' misfits per turn of each joint: rods, joints."""
    return [[pull(posture, rod, joint) * (1.0 / posture.plan.model.rod_length(rod))
             for joint in step.joints] for rod in step.rods]


def _misfits(posture, step) -> list:
    """Misfits of the rods of a group."""
    return [_misfit(posture, rod) for rod in step.rods]


def _misfit(posture, rod):
    """Half the excess of a rod's squared length over its length: its stretch, to first order."""
    p, q = (posture.place(end) for end in posture.plan.model.rods[rod].ends)
    length = posture.dimensions.lengths[rod]
    square = sum((a - b) * (a - b) for a, b in zip(p, q, strict=True))
    return (square - length * length) * (0.5 / posture.plan.model.rod_length(rod))


def _sizes(values):
    """Largest size of enclosures over their cells, (values, n)."""
    return np.stack([(v.sizes[2] + v.rest) * GROW for v in values])


@dataclass
class _BoxedPosture(Posture):
    """A posture whose enclosures follow more inputs; all else in it is shares of the plainest kind.

    Attributes
    ----------
    rows, inputs : int
        Rows of each enclosure, and inputs that they follow.
    """

    rows: int = 2
    inputs: int = 0


class _Boxes:
    """All turns of the joints of a group in some cells, parted into boxes.

    In a box each joint counts as one more input, so that what is left out is of second order.
    """

    def __init__(self, posture, step, system, cells, count):
        self.step, self.cells = step, cells
        self.posture = _more_inputs(posture, len(step.joints), cells, count)
        self.sense = np.sign(np.linalg.det(jacobian(system.neutral, step)))
        self.longest = max(system.model.rod_length(rod) for rod in step.rods)
        self.slides = np.array([system.model.bodies[j].slides for j in step.joints])
        self.widest = np.where(self.slides, _far(system, posture), np.pi)
        self.model = system.model

    def rows(self):
        """Rows (joints, rows, cells) of the hull of what is left; NaN where nothing is."""
        size = len(self.step.joints)
        cell = np.arange(len(self.cells))
        middle, half = np.zeros((len(cell), size)), np.tile(self.widest, (len(cell), 1))
        for _ in range(LEVELS):
            kept, middle, half, worth = self._narrowed(cell, middle, half)
            cell, middle, half, worth = cell[kept], middle[kept], half[kept], worth[kept]
            todo = self._worth(cell, half) & worth
            if not todo.any():
                break
            ways = np.array(list(itertools.product((-0.5, 0.5), repeat=size)))
            parts = middle[todo, None] + ways * half[todo, None]
            cell = np.concatenate([cell[~todo], np.repeat(cell[todo], len(ways))])
            middle = np.concatenate([middle[~todo], parts.reshape(-1, size)])
            half = np.concatenate([half[~todo],
                                   np.repeat(half[todo] / 2 * GROW, len(ways), axis=0)])
        return self._hull(cell, middle, half)

    def _worth(self, cell, half):
        per = np.bincount(cell, minlength=len(self.cells))
        fine = np.where(self.slides, self.longest, 1.0) * FINEST
        return (per[cell] <= MOST) & (half > fine).any(axis=1)

    def _narrowed(self, *boxes):
        """What of boxes may hold a root on the branch that starts at neutral.

        Returns
        -------
        possible : bool (boxes,)
        middle, half : (boxes, joints)
            The boxes, cut back to where a root can be.
        worth : bool (boxes,)
            Whether halving could cut more: they are not yet as narrow as their cell lets them be.
        """
        starts = range(0, max(len(boxes[0]), 1), AT_ONCE)
        parts = [self._few_narrowed(*(k[start:start + AT_ONCE] for k in boxes))
                 for start in starts]
        return tuple(np.concatenate(k) for k in zip(*parts, strict=True))

    def _few_narrowed(self, cell, middle, half):
        posture = self._posed(cell, middle, half)
        possible = np.ones(len(cell), bool)
        missed = _misfits(posture, self.step)
        for each in missed:
            low, high = each.bounds()
            possible &= ~((low > 0) | (high < 0) | np.isnan(low))
        if len(self.step.joints) == 2 and possible.any():
            (a, b), (c, d) = _pulls(posture, self.step)
            low, high = (a * d - b * c).bounds()
            possible &= ~((high if self.sense > 0 else -low) < 0)
        low, high, spread = _roots(missed, posture, self.step.joints[0])
        worth = (high - low > 3 * spread).any(axis=1) | ~np.isfinite(spread).all(axis=1)
        low, high = np.maximum(low, -1.0), np.minimum(high, 1.0)
        possible &= (low <= high).all(axis=1)
        return (possible, middle + half * (low + high) / 2,
                half * (high - low) / 2 * GROW + 4 * U * np.abs(middle) + TINY, worth)

    def _posed(self, cell, middle, half):
        inputs, rows = self.posture.inputs, self.posture.rows
        states = {joint: _picked(state, cell) for joint, state in self.posture.states.items()}
        first = inputs - len(self.step.joints)
        for k, joint in enumerate(self.step.joints):
            value = np.zeros((rows, len(cell)))
            value[0], value[1 + first + k] = middle[:, k], half[:, k]
            states[joint] = _joint(self.posture, joint, Enclosure(value, inputs))
        return replace(self.posture, states=states, _seen={})

    def _hull(self, cell, middle, half):
        size, inputs = len(self.step.joints), self.posture.inputs - len(self.step.joints)
        more = self.posture.rows - row_count(self.posture.inputs)
        rows = np.full((size, row_count(inputs) + more, len(self.cells)), np.nan)
        low, high = (np.full((len(self.cells), size), k) for k in (np.inf, -np.inf))
        np.minimum.at(low, cell, middle - half)
        np.maximum.at(high, cell, middle + half)
        some = np.isin(np.arange(len(self.cells)), cell)
        rows[:, :, some] = 0.0
        rows[:, 0, some] = ((low + high) / 2)[some].T
        rows[:, -1, some] = ((high - low) / 2)[some].T * GROW + TINY
        return rows


def _roots(missed, held, joint):
    """Where in their boxes the joints can be, as shares of the half-widths.

    Newton's step for all positions of a cell at once: with Y about the inverse of the slopes of
    the misfits M per joint, ``e = e - Y M(e)`` holds for a root, and the right side is worked
    out over the box (Krawczyk's operator, as in the book named above).

    Returns
    -------
    low, high : ndarray (boxes, joints)
    spread : ndarray (boxes, joints)
        Half-width that the travel inputs alone leave, to first order.
    """
    rows = np.array([_spread(each, held.states[joint].value.rows[None])
                     for each in missed])  # (rods, rows, boxes)
    inputs, joints = held.inputs, len(missed)
    first = inputs - joints
    slopes = rows[:, 1 + first:1 + inputs].transpose(2, 0, 1)  # (boxes, rods, joints)
    sound = np.isfinite(slopes).all(axis=(1, 2)) & (np.abs(np.linalg.det(slopes)) > 0)
    inverse = np.linalg.inv(np.where(sound[:, None, None], slopes, np.eye(joints)))
    size = np.abs(inverse)
    step = np.einsum("nij,jn->ni", inverse, rows[:, 0])
    travel = np.einsum("nij,jkn->nik", inverse, rows[:, 1:1 + first])
    off = np.abs(np.einsum("nij,njk->nik", inverse, slopes) - np.eye(joints)).sum(axis=2)
    left = np.einsum("nij,jn->ni", size, np.abs(rows[:, 1 + inputs:]).sum(axis=1))
    rounded = np.einsum("nij,jn->ni", size, np.abs(rows[:, :1 + inputs]).sum(axis=1))
    spread = np.abs(travel).sum(axis=2)
    half = (spread + off + left + 64 * U * (rounded + 1)) * GROW + TINY
    sound &= np.isfinite(half).all(axis=1) & np.isfinite(step).all(axis=1)
    low, high = (np.where(sound[:, None], -step + k * half, k) for k in (-1.0, 1.0))
    return low, high, np.where(sound[:, None], spread, np.inf)


def _far(system, posture) -> float:
    """Mm that no slide can be from neutral while rods hold it."""
    model = system.model
    reach = 2 * sum(max(abs(k) for k in model.position(name)) for name in model.points)
    reach += 2 * sum(model.rod_length(name) for name in model.rods)
    for state in posture.states.values():
        if isinstance(state, Slide):
            ends = np.abs(state.value.bounds() if isinstance(state.value, Enclosure) else
                          state.value)
            reach += float(np.nanmax(ends, initial=0.0))
    return 2 * reach


def _more_inputs(posture, more, cells, count) -> _BoxedPosture:
    """The posture at some cells, its enclosures made to follow more inputs."""
    inputs = posture.inputs
    wide = inputs + more
    to = np.array([*_rows_among(inputs, wide), *range(row_count(wide) - 1, row_count(wide)
                                                      + posture.rows - row_count(inputs))])

    def grown(value):
        if not isinstance(value, Enclosure):
            return value[cells] if np.size(value) == count > 1 else value
        rows = np.zeros((row_count(wide) + len(value.rows) - row_count(inputs),
                         *value.rows.shape[1:]))
        rows[to] = value.rows
        if rows.ndim > 1 and rows.shape[-1] > 1:
            rows = rows[..., cells]
        return Enclosure(rows, wide)

    states = {joint: Slide(grown(s.value)) if isinstance(s, Slide) else
              Turn(grown(s.cos), grown(s.sin), grown(s.value))
              for joint, s in posture.states.items()}
    sizes = posture.dimensions
    sizes = replace(sizes, places={n: tuple(grown(k) for k in p) for n, p in sizes.places.items()},
                    axes={n: tuple(grown(k) for k in u) for n, u in sizes.axes.items()},
                    lengths={n: grown(k) for n, k in sizes.lengths.items()})
    return _BoxedPosture(posture.plan, sizes, states, inputs=wide,
                         rows=row_count(wide) + posture.rows - row_count(inputs))


def _rows_among(inputs, wide) -> list[int]:
    """Where an enclosure's constant, slopes and bends stand in one that follows more inputs."""
    bends = list(itertools.combinations_with_replacement(range(wide), 2))
    return [*range(1 + inputs), *(1 + wide + bends.index(pair) for pair in
                                  itertools.combinations_with_replacement(range(inputs), 2))]


def _picked(state, cell):
    def pick(value):
        if isinstance(value, Enclosure):
            rows = value.rows
            return value if rows.ndim < 2 or rows.shape[-1] == 1 else \
                Enclosure(rows[..., cell], value.inputs)
        return value[cell] if np.size(value) > 1 else value

    if isinstance(state, Slide):
        return Slide(pick(state.value))
    return Turn(pick(state.cos), pick(state.sin), pick(state.value))
