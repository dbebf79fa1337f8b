"""The least gap of many pairs over a whole set of stick positions, bracketed from both sides."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from ..motion import Builds
from .built_meshes import prove_built_meshes
from .built_runs import moved_by_builds
from .cell_bounds import bounds
from .mesh_gaps import find_enclosed, measure_least
from .search import Proof, Search
from .stage import Stage
from .travel import Travel
from .warm import Earlier, resume, signatures

if TYPE_CHECKING:
    from ..model import Tolerance
    from .scene import Pair, Scene

__all__ = ["Earlier", "Proof", "earlier", "near_pairs", "prove"]


def prove(stage: Stage, travel: Travel | dict, tolerance: float,  # noqa: PLR0913
          tolerances: Tolerance | None = None, limit: float = np.inf, *,
          within: float | None = None, after: Earlier | None = None) -> Proof:
    """Bracket the least gap of every pair of a stage.

    Parameters
    ----------
    stage : Stage
    travel : Travel or dict
        A set of stick positions, or the whole of ``{input: (least, greatest)}``.
    tolerance : float
        Wanted width of the bracket, mm.
    tolerances : Tolerance, optional
        Build tolerances: the bound then holds for every build, and the least gap is that of the
        worst build met; a pair is bracketed no closer than its requirement asks.  As drawn unless
        given.
    limit : float
        A pair proven to stay farther apart than its required clearance and this much more, mm,
        is not bracketed any closer.
    within : float, optional
        Closer bracket to go on to, mm, as long as a pair takes no more than `EFFORT` cells and a
        few per piece; a level valley would take many and gain nothing.
    after : Earlier, optional
        A proof as drawn of the same or a like system, whose cells and planes are tried first.

    Returns
    -------
    Proof
    """
    if stage.pairs and _differ(stage, tolerances):
        return prove_built_meshes(stage, Travel.of(travel), (tolerance, tolerances, limit))
    search = Search(stage, travel, tolerance, limit)
    search.within = tolerance if within is None else min(within, tolerance)
    if not stage.pairs:
        return search.proof
    proof = search.proved(*(() if after is None else resume(search, after)))
    if stage.trees is not None:
        measure_least(stage, proof, search.names)
        find_enclosed(stage, search.travel, proof)
    return proof


def earlier(stage: Stage, travel: Travel | dict, proof: Proof, terms: tuple) -> Earlier:
    """A proof with what it was of, for `prove` to take up.

    Parameters
    ----------
    stage : Stage
    travel : Travel or dict
    proof : Proof
    terms : tuple
        The tolerance, build tolerances and limit that it was asked with.
    """
    names = {name for pair in stage.pairs for name in (pair.first, pair.second)}
    return Earlier(stage, Travel.of(travel), terms, proof, signatures(stage.scene, names))


def near_pairs(scene: Scene, pairs: Sequence[Pair], travel: Travel | dict,
               limit: float | np.ndarray,
               tolerances: Tolerance | None = None) -> tuple[list[Pair], dict]:
    """Pairs that may come within a limit of their required clearance; the rest with proof.

    Parameters
    ----------
    scene : Scene
    pairs : sequence of Pair
    travel : Travel or dict
        A set of stick positions, or the whole of ``{input: (least, greatest)}``.
    limit : float or ndarray (pairs,)
        mm more than the required clearance.
    tolerances : Tolerance, optional

    Returns
    -------
    (list of Pair, dict)
        Near pairs, and ``{name: lower bound of the gap}`` of the others.
    """
    if not pairs:
        return [], {}
    if tolerances is not None:
        return _near_built(scene, pairs, Travel.of(travel), (limit, tolerances))
    stage = Stage(scene, pairs, scene.envelope, rough=True)
    search = Search(stage, travel, np.inf, limit)
    items = search.first_items()[:3]
    for start in range(0, len(items[0]), search.most):
        which, centres, halves = (part[start:start + search.most] for part in items)
        cells, cell = search.cells(centres, halves)
        low = bounds(stage, (which, cell), (search.names, *cells), None,
                     search.limit[stage.pair_index[which]]).low
        low = np.where(np.isnan(low), np.inf, low)
        np.minimum.at(search.proof.proven, stage.pair_index[which], low)
    far = search.proof.proven >= search.limit
    return ([pair for pair, away in zip(stage.pairs, far, strict=True) if not away],
            {pair.name: float(search.proof.proven[k]) for k, pair in enumerate(stage.pairs)
             if far[k]})


def _near_built(scene, pairs, travel, how):
    """As `near_pairs` in every build: a gap is less by no more than what both solids move by."""
    limit, tolerances = how
    moved = moved_by_builds(scene, pairs, travel, tolerances)
    off = np.array([moved[pair.first] + moved[pair.second] for pair in pairs])
    far = near_pairs(scene, pairs, travel, limit + off * (1 + 1e-12))[1]
    low = {pair.name: far[pair.name] - less for pair, less in zip(pairs, off, strict=True)
           if pair.name in far and np.isfinite(less)}
    return [pair for pair in pairs if pair.name not in low], low


def _differ(stage, tolerances) -> bool:
    """Whether any build differs from what is drawn."""
    return tolerances is not None and bool(
        stage.looseness(tolerances).any() or len(Builds.of(stage.system, tolerances).sizes))
