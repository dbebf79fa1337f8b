"""Bounds of n.(b - a) over cells, n a direction, for the corners of two pieces that can matter."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from ..intervals import U
from .carrying import combined, held_product, product

if TYPE_CHECKING:
    from collections.abc import Iterator

    from ..motion import EnclosedPosture
    from .stage import Stage

TOP = 8  # corners of a piece that are bounded each by itself; of more, those that are foremost
THIN = 2  # corners of a tube or ball


def along(stage: Stage, posture: EnclosedPosture, items: tuple,
          direction: np.ndarray, loose: np.ndarray | None = None,
          kept: np.ndarray | slice = slice(None)) -> Iterator[tuple]:
    """Bounds of n.p over cells for the corners p of both sides of items.

    Of many corners the `TOP` foremost at the middle are taken; the rest are only bounded against
    the first of their own piece, with which they turn.

    Parameters
    ----------
    stage : Stage
    posture : EnclosedPosture
    items : (ndarray of int (m,), ndarray of int (m,))
        Piece pairs, and the cell each is asked over.
    direction : ndarray (3, m) or (rows, 3, m)
        n held over the cell, or as an enclosure that turns.
    loose : ndarray (pieces,), optional
        As `Stage.looseness` gives it.
    kept : ndarray of int, optional
        Rows that are asked for.

    Yields
    ------
    (ndarray of int (k,), list of two ndarray (rows, corners, k), ndarray (k,))
        Some of the items, bounds of n.p, and by how much the other corners can come nearer than
        these (<= 0), mm.
    """
    for here, one, other in sides_along(stage, posture, items, direction, (loose, kept)):
        yield here, [one.rows, other.rows], one.lag + other.lag


def sides_along(stage: Stage, posture: EnclosedPosture, items: tuple, direction: np.ndarray,
                how: tuple) -> Iterator[tuple]:
    """As `along`, with all that is known of each side of some items; `how` is its last two."""
    (which, cells), (loose, kept) = items, how
    if direction.ndim == 3:
        direction = direction[kept]
    sides = []
    for pieces, axes, sense in zip(stage.sides[which].T,
                                   stage.enclosed_axes(posture, which, cells, kept),
                                   (1.0, -1.0), strict=True):
        seen = held_product(direction, axes) if direction.ndim == 2 else \
            product(direction, axes, posture.inputs, posture.kind)
        off = np.zeros(len(pieces)) if loose is None else _looseness(
            stage, pieces, (direction, seen), loose)
        sides.append(_side(stage, pieces, seen, (sense, off)))
    for one, other in itertools.product((0, 1), repeat=2):
        here = np.flatnonzero(sides[0].which[one] & sides[1].which[other])
        if here.size:
            yield here, sides[0].of(here, one), sides[1].of(here, other)


class Corners(NamedTuple):
    """The corners of one side of items that are bounded each by itself.

    Attributes
    ----------
    spots : ndarray (3, corners, k)
        Coordinates along the vectors of their seat, the last one's again where there are fewer.
    rows : ndarray (rows, corners, k)
        Bounds of n.p.
    lag : ndarray (k,)
        By how much any other can come nearer than these (<= 0), mm.
    off : ndarray (k,)
        What a build may have them off by along n, mm; the bounds count it.
    """

    spots: np.ndarray
    rows: np.ndarray
    lag: np.ndarray
    off: np.ndarray


class _Side(NamedTuple):
    """One side of items: those whose piece is thin, and the others.

    Attributes
    ----------
    which : tuple of two ndarray of bool (m,)
    corners : list of two Corners
    """

    which: tuple
    corners: list

    def of(self, here, k):
        """Corners of some items of one of the two."""
        at = np.cumsum(self.which[k])[here] - 1
        return Corners(*(part.take(at, axis=-1) for part in self.corners[k]))


def _side(stage, pieces, seen, how) -> _Side:
    """Bounds of the corners of pieces along directions in which their seats are seen."""
    thin, (sense, off) = stage.corners[pieces] <= THIN, how
    found = _Side((thin, ~thin), [])
    for chosen, size in zip(found.which, (THIN, TOP), strict=True):
        here = np.flatnonzero(chosen)
        spots, lag = _corners(stage, pieces[here], (seen[..., here], sense), size)
        rows = combined(seen[..., here], spots)
        rows[-1] += off[here]
        found.corners.append(Corners(spots, rows, lag, off[here]))
    return found


def _corners(stage, pieces, towards, size):
    """Coordinates (3, size, m) of the corners that are bounded each by itself, and the lag."""
    (seen, sense), group = towards, stage.group[pieces]
    found, lag = np.empty((3, size, len(pieces))), np.zeros(len(pieces))
    for g in np.flatnonzero(np.bincount(group)):
        here = np.flatnonzero(group == g)
        local = stage.local[g].take(stage.row[pieces[here]], axis=2)
        count = local.shape[1]
        if count > size:
            local, lag[here] = _foremost(local, seen[..., here], sense)
        found[:, :local.shape[1], here] = local
        found[:, local.shape[1]:, here] = local[:, -1:]
    return found, lag


def _foremost(local, seen, sense):
    """The foremost of many corners, and by how much another can pass the first of them (<= 0)."""
    ahead = sum(local[i] * (sense * seen[0, 1 + i]) for i in range(3))
    place = np.arange(local.shape[2])
    order = np.argpartition(-ahead, TOP, axis=0)[:TOP]
    first = order[np.take_along_axis(ahead, order, 0).argmax(axis=0), place]
    flat = local.reshape(3, -1)
    lead = flat.take(first * len(place) + place, axis=1)
    # what the seat's vectors turn by along the direction over the cell, rest included
    turn = np.abs(seen[1:, 1:]).sum(axis=0)
    spare = ahead[first, place] - ahead
    for i in range(3):
        spare -= np.abs(local[i] - lead[i]) * turn[i]
    np.put_along_axis(spare, order, np.inf, 0)
    return (flat.take(order * len(place) + place, axis=1),
            np.minimum(np.where(np.isnan(spare), -np.inf, spare).min(axis=0), 0.0))


def _looseness(stage, pieces, seen, loose):
    """What a build may have the corners of each piece off along the direction, mm: (m,)."""
    direction, axes = seen
    # a rod's tube is grown all round, any other solid coordinate by coordinate
    way = np.abs(direction) if direction.ndim == 2 else np.abs(direction).sum(axis=0)
    all_round = np.sqrt((way * way).sum(axis=0))
    each = np.abs(axes[:, 1:]).sum(axis=(0, 1))
    size = np.where(stage.of_rod[stage.seat_of[pieces]], all_round, each)
    return loose[pieces] * size * (1 + 16 * U)


def corner_pairs(sides: list) -> np.ndarray:
    """Bounds of n.(b - a) for all pairs of corners: (rows, pairs, m).

    Parameters
    ----------
    sides : list of two ndarray (rows, corners, m)
        Bounds of n.p.
    """
    a, b = sides
    apart = b[:, None] - a[:, :, None]
    apart[-1] = b[-1] + a[-1][:, None]
    return apart.reshape(len(apart), -1, apart.shape[-1])
