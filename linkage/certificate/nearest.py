"""Points of two solids as shares of the corners of a piece each: nearest ones, at a place."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..checker.leaves import OutOfReach
from ..checker.solids import Line

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ..checker.leaves import Book
    from ..checker.motion import Motion
    from ..checker.pairs import Pair

UNSURE = 1e-6  # mm of a place that the checker has no closer
WEIGHT = 1e4  # of the shares' sum against distances


def points(book: Book, pair: Pair, place: Sequence[float],
           motion: Motion | None = None) -> tuple[float, list] | None:
    """Gap of a pair, and the point of each solid, at a place; None where it is not known well.

    `motion` is that of one build; as drawn unless given.
    """
    place = tuple((k, k) for k in place)
    hulls = [posed(book, pair.frame, (name, side.pieces), place, motion)
             for name, side in zip(pair.names, book.sides(pair), strict=True)]
    if None in hulls:
        return None
    best, apart = (np.inf, None), _at_least(hulls)
    while apart.min() < best[0]:
        i, j = np.unravel_index(apart.argmin(), apart.shape)
        apart[i, j] = np.inf
        (one, a), (other, b) = hulls[0][i], hulls[1][j]
        gap, shares = nearest(a, b)
        gap -= sum(p.radius for p in (one, other) if isinstance(p, Line))
        if gap < best[0]:
            best = gap, [[int(i), shares[0].tolist()], [int(j), shares[1].tolist()]]
            way = b @ shares[1] - a @ shares[0]
            apart = np.maximum(apart, _along(hulls, way / max(np.linalg.norm(way), 1e-12)))
    return best


def _at_least(hulls):
    """Lower bounds of the gaps of the pieces of the one and the other, by boxes about them."""
    (one, a), (other, b) = ([np.array([f(k, axis=1) for _, k in hull]) for f in (np.min, np.max)]
                            for hull in hulls)
    apart = np.maximum(0.0, np.maximum(other - a[:, None], one[:, None] - b))
    return np.linalg.norm(apart, axis=-1) - _radii(hulls)


def _along(hulls, way):
    """Lower bounds of the same by planes square to a direction of length 1, or none."""
    ahead = np.array([(way @ k).max() for _, k in hulls[0]])
    return np.array([(way @ k).min() for _, k in hulls[1]]) - ahead[:, None] - _radii(hulls)


def _radii(hulls):
    return np.add.outer(*([p.radius for p, _ in hull] for hull in hulls))


def posed(book: Book, frame: str, solid: tuple, cell: Sequence[tuple],
          motion: Motion | None = None) -> list | None:
    """Pieces of a solid with their corners at a place, seen from a frame: (3, corners) each."""
    name, pieces = solid
    known = book.known[name]
    try:
        seat = (motion or book.motion).seat(known.carriers, frame, cell)
    except OutOfReach:
        return None
    if any(not k.rest < UNSURE for p in seat for k in p):
        return None
    held = np.array([[float(k.centre.mid()) for k in p] for p in seat])
    return [(p, held.T @ np.array([known.row(c) for c in p.corners]).T) for p in pieces]


def nearest(one: np.ndarray, other: np.ndarray) -> tuple[float, tuple]:
    """Distance of two hulls (3, corners), and shares of the corners of each that show it."""
    from scipy.optimize import nnls

    # least |one.a - other.b| with shares that sum to 1, held to that by a weight
    middle, count = one.mean(axis=1)[:, None], one.shape[1]
    one, other = one - middle, other - middle
    size = WEIGHT * max(1.0, float(np.abs(one).max()), float(np.abs(other).max()))
    rows = np.zeros((5, count + other.shape[1]))
    rows[:3, :count], rows[:3, count:] = one, -other
    rows[3, :count] = rows[4, count:] = size
    both = nnls(rows, np.array([0.0, 0.0, 0.0, size, size]))[0]
    shares = both[:count] / both[:count].sum(), both[count:] / both[count:].sum()
    return float(np.linalg.norm(one @ shares[0] - other @ shares[1])), shares
