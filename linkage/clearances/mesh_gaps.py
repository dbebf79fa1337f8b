"""Gaps of pairs that have a mesh at given stick positions, one solid within the other included."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

from ..geometry.triangles import Triangles
from .stage import Stage, measure

if TYPE_CHECKING:
    from ..motion import Posture
    from .search import Proof
    from .travel import Travel

SLACK = 1e-9  # mm by which an item may be nearer than the least gap met
MOST = 4096  # positions worked at once


def mesh_gaps(stage: Stage, pairs: np.ndarray, posture: Posture, cells: np.ndarray,
              slack: float = SLACK) -> tuple:
    """Least gap of pairs with a mesh at a position each.

    Parameters
    ----------
    stage : Stage
    pairs, cells : ndarray of int (m,)
        Pairs of the stage that have a mesh, and a position of the posture each.
    posture : Posture
    slack : float
        mm above the least gap within which single items are told.

    Returns
    -------
    (ndarray (m,), ndarray of int (k,), ndarray of int (k,))
        mm, 0 or less where they touch or one lies within the other, NaN out of reach; and which
        of `pairs` and the single items that are as near.
    """
    value, found = np.full(len(pairs), np.nan), [(np.zeros(0, int), np.zeros(0, int))]
    for start in range(0, len(pairs), MOST):
        part = slice(start, start + MOST)
        value[part], which, items = _gaps(stage, pairs[part], posture, (cells[part], slack))
        found.append((which + start, items))
    return value, *(np.concatenate(k) for k in zip(*found, strict=True))


def _gaps(stage, pairs, posture, how):
    cells, slack = how
    of, items = stage.trees.roots_of(pairs)
    back, items = stage.trees.leading(items, posture, cells[of])
    value = np.full(len(pairs), np.inf)
    np.fmin.at(value, of[back], measure(stage, posture, items, cells[of[back]]))
    # out of reach there is nothing to go down for
    which, items = stage.trees.near(pairs, posture, cells,
                                    np.where(np.isfinite(value), value + slack, -np.inf))
    gap = measure(stage, posture, items, cells[which])
    np.fmin.at(value, which, gap)
    near = gap <= value[which] + slack
    value = np.where(np.isinf(value), np.nan, value)
    apart = np.flatnonzero(value > 0)
    held = apart[inside(stage, pairs[apart], posture, cells[apart])]
    value[held] *= -1.0
    return value, which[near], items[near]


def nearest_items(stage: Stage, posture: Posture) -> np.ndarray:
    """Items of a stage's one pair among which the nearest is, at the first position of a posture.

    Of a pair without a mesh, all that are not rough.
    """
    if stage.trees is None:
        return np.flatnonzero(~stage.rough)
    return mesh_gaps(stage, np.array([0]), posture, np.array([0]))[2]


def inside(stage: Stage, pairs: np.ndarray, posture: Posture, cells: np.ndarray) -> np.ndarray:
    """Whether one solid of a pair has a corner within the other, a closed mesh, at a position each.

    Of every connected part one corner is asked, which tells it where the surfaces are apart.
    """
    found = np.zeros(len(pairs), bool)
    for k in np.unique(pairs):
        here = np.flatnonzero(pairs == k)
        both = [stage.solid_in(stage.pairs[k], side) for side in (0, 1)]
        for side in (0, 1):
            if isinstance(both[side].pieces, Triangles) and both[side].pieces.whole.solid:
                found[here] |= _within(stage, k, (both[side], both[1 - side], 1 - side),
                                       (posture, cells[here]))
    return found


def measure_least(stage: Stage, proof: Proof, names: Iterable[str],
                  pairs: np.ndarray | None = None) -> None:
    """Let the least gap met of pairs with a mesh be that of all its triangles there, in place.

    Only some triangles were asked on the way; of the others one may be nearer.
    """
    known = np.flatnonzero(stage.trees.of_pair) if pairs is None else pairs
    known = known[np.isfinite(proof.least[known]) & (proof.least[known] > 0)]
    if known.size:
        motion = proof.motion(stage.system, names, known)
        value = mesh_gaps(stage, known, motion.posture, np.arange(len(known)))[0]
        proof.least[known] = np.fmin(proof.least[known], value)


def find_enclosed(stage: Stage, travel: Travel, proof: Proof) -> None:
    """Find pairs of which one solid lies wholly within the other, in place.

    Where surfaces are proven apart over all of a travel, that is so at every stick position or at
    none; where rods can't reach part of it, it is asked in every place of a grid too.
    """
    pairs = np.flatnonzero(stage.trees.of_pair & (proof.proven > 0) & [
        any(isinstance(solid.pieces, Triangles) and solid.pieces.whole.solid for solid in
            (stage.solid_in(pair, side) for side in (0, 1))) for pair in stage.pairs])
    if not pairs.size:
        return
    low, high = np.array(list(travel.box.values()), dtype=float).reshape(-1, 2).T
    places = np.where(np.isfinite(proof.least[pairs])[:, None], proof.place[pairs],
                      np.clip(0.0, low, high))
    asked = pairs
    cut = np.unique(stage.pair_index[proof.leaves.which[np.isnan(proof.leaves.low)]])
    grid = np.array(list(itertools.product(*zip(low, (low + high) / 2, high, strict=True))))
    for k in np.intersect1d(cut, pairs):
        asked, places = np.append(asked, np.full(len(grid), k)), np.concatenate([places, grid])
    motion = stage.system.sweep(**{n: places[:, i] for i, n in enumerate(travel.names)})
    held = inside(stage, asked, motion.posture, np.arange(len(asked)))
    for n in np.flatnonzero(held)[::-1]:
        k = asked[n]
        value = mesh_gaps(stage, asked[[n]], motion.posture, np.array([n]))[0][0]
        proof.least[k], proof.place[k], proof.proven[k] = value, places[n], -np.inf
        proof.open_at.pop(int(k), None)


def _within(stage, pair, both, at):
    (outer, inner, side), (posture, cells) = both, at
    item = np.flatnonzero(stage.pair_index[:stage.first] == pair)[:1]
    axes = stage.axes(posture, np.repeat(item, len(cells)), cells)
    spots = inner.pieces.firsts if isinstance(inner.pieces, Triangles) else np.array(
        [piece.points[0] for piece in inner.pieces])
    piece, home = stage.sides[item[0], [side, 1 - side]]
    local = stage.seat_coordinates(piece, spots)
    there = axes[side][:, 0, :, None] + np.einsum("cqm,kq->cmk", axes[side][:, 1:], local)
    back = there - axes[1 - side][:, 0, :, None]
    own = np.einsum("cqm,cmk->mkq", axes[1 - side][:, 1:], back)
    points = own + stage.seats[stage.seat_of[home]].origin[0]
    good = np.isfinite(points).all(axis=(1, 2))
    found = np.zeros(len(cells), bool)
    found[good] = outer.pieces.encloses(points[good].reshape(-1, 3)).reshape(
        -1, len(spots)).any(axis=1)
    return found
