"""From the place of a least gap that was met down to the bottom of its own valley."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

from ..geometry import tube_gap
from .mesh_gaps import mesh_gaps
from .search import Proof
from .stage import Stage, measure
from .travel import Travel

if TYPE_CHECKING:
    from ..model.parts import Tolerance

FIRST_STEP, LAST_STEP = 0.25, 1e-5  # degrees (mm) of steps down a valley
SHORTER = 4  # times, when nowhere all round is lower
STEPS = 60
VALLEYS = 20  # gone down one after the other, each of other pieces
LEAST_WITHIN = 1e-6  # mm of the least gap anywhere within which the one met is, level valleys aside
SLACK = 0.2  # mm above the least gap within which a piece is worth a look


def polish(stage: Stage, proof: Proof, travel: Travel, limit: np.ndarray) -> None:
    """Lower the least gap met, where the bracket is wide, to that of its own valley, in place.

    Places all round the best one are tried at a distance that shrinks when none is lower, so
    that a kink where other corners come nearest stops nothing.

    Parameters
    ----------
    stage : Stage
    proof : Proof
    travel : Travel
    limit : ndarray (pairs,)
        Pairs proven to stay farther apart are left as they are, mm.
    """
    known = np.flatnonzero(np.isfinite(proof.least) & (proof.proven < limit)
                           & (proof.least - proof.proven > 2 * LEAST_WITHIN))
    if stage.trees is not None:  # of a mesh that touches no depth is told
        known = known[~(stage.trees.of_pair[known] & (proof.least[known] <= 0))]
    for _ in range(VALLEYS):
        if not known.size:
            return
        _go_down(stage, proof, travel, known)
        known = known[take_least(stage, proof, travel.names, known)]


def _go_down(stage, proof, travel, known):
    """To the bottom of the valley of the pieces that are nearest where each pair was met."""
    names, sides = list(travel.names), np.array(list(travel.box.values())).reshape(-1, 2)
    moves = np.array([[name in stage.pairs[k].inputs for name in names] for k in known])
    ways = np.array([way for way in itertools.product((-1, 0, 1), repeat=len(names)) if any(way)])
    useful = ~(ways.astype(bool)[None] & ~moves[:, None]).any(axis=2)
    which, cell, _ = near_pieces(stage, proof, names, known)
    step = np.full(len(known), FIRST_STEP)
    for _ in range(STEPS):
        asked, way = np.nonzero(useful & (step >= LAST_STEP)[:, None])
        if not asked.size:
            break
        here = proof.place[known[asked]]
        places = np.clip(here + step[asked, None] * ways[way], *sides.T)
        fresh = (places != here).any(axis=1) & travel.holds_each(places, moves[asked])
        asked, places = asked[fresh], places[fresh]
        value = _least_at(stage, (which, cell), asked, (names, places))
        lower = np.zeros(len(known), bool)
        order = np.lexsort((value, asked))
        first = order[np.flatnonzero(np.diff(asked[order], prepend=-1))]
        better = first[value[first] < proof.least[known[asked[first]]]]
        lower[asked[better]] = True
        proof.least[known[asked[better]]] = value[better]
        proof.place[known[asked[better]]] = places[better]
        step = np.where(lower, step, step / SHORTER)


def take_least(stage: Stage, proof: Proof, names: Iterable[str], known: np.ndarray,
               tolerances: Tolerance | None = None) -> np.ndarray:
    """Take in, in place, the gap of whatever pieces are nearest where pairs were met.

    A valley is followed by the pieces that were nearest at its top; others may be at its bottom.

    Returns
    -------
    ndarray of bool (known,)
        Which pairs are less than was met of them.
    """
    _, cell, value = near_pieces(stage, proof, names, known, tolerances)
    least = np.full(len(known), np.inf)
    np.fmin.at(least, cell, value)
    lower = least < proof.least[known]
    proof.least[known[lower]] = least[lower]
    return lower


def _least_at(stage, pieces, asked, at):
    """Least gap of pairs, by their place among those known, each at a place of its own."""
    (which, cell), (names, places) = pieces, at
    order = np.argsort(cell, kind="stable")
    start, stop = (np.searchsorted(cell[order], asked, side) for side in ("left", "right"))
    place = np.repeat(np.arange(len(asked)), stop - start)
    offset = np.arange(len(place)) - np.repeat(np.cumsum(stop - start) - (stop - start),
                                               stop - start)
    item = order[start[place] + offset]
    value = np.full(len(asked), np.inf)
    if len(asked):
        motion = stage.system.sweep(**{n: places[:, i] for i, n in enumerate(names)})
        np.fmin.at(value, place, measure(stage, motion.posture, which[item], place))
    return value


def near_pieces(stage: Stage, proof: Proof, names: Iterable[str], known: np.ndarray,
                tolerances: Tolerance | None = None) -> tuple[np.ndarray, ...]:
    """Piece pairs within a little of each pair's least gap at its place, and their gaps there."""
    motion = proof.motion(stage.system, names, known)
    loose = stage.looseness(tolerances)
    listed = known
    if stage.trees is not None:
        listed = known[~stage.trees.of_pair[known]]
    which = np.flatnonzero(~stage.rough & np.isin(stage.pair_index, listed))
    cell = np.searchsorted(known, stage.pair_index[which])
    pieces, back = np.unique(stage.sides[which], return_inverse=True)
    a, b = back.reshape(-1, 2).T
    ends = stage.spines(motion.posture, pieces, np.arange(len(known)))
    about = stage.around(pieces) + 2 * loose[pieces]
    with np.errstate(invalid="ignore"):
        apart = tube_gap(ends[:, :, a, cell], ends[:, :, b, cell])[0]
    near = apart - about[a] - about[b] < proof.least[known][cell] + SLACK
    which, cell = which[near], cell[near]
    value = measure(stage, motion.posture, which, cell, loose if tolerances else None)
    near = value < proof.least[known][cell] + SLACK
    which, cell, value = which[near], cell[near], value[near]
    if len(listed) < len(known):
        meshes = np.flatnonzero(stage.trees.of_pair[known])
        of, items = mesh_gaps(stage, known[meshes], motion.posture, meshes, SLACK)[1:]
        gaps = measure(stage, motion.posture, items, meshes[of])
        which, cell = np.concatenate([which, items]), np.concatenate([cell, meshes[of]])
        value = np.concatenate([value, gaps])
    return which, cell, value
