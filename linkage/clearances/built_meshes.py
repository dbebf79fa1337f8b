"""Pairs that have a mesh in every build: what is proven as drawn, less what any build moves.

The bound is of first order in the tolerances, so that what lies within them of its requirement
stays not decided; of pairs without a mesh nothing changes.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..motion import Builds
from .built_runs import moved_by_builds, prove_built
from .mesh_gaps import find_enclosed, measure_least
from .search import Leaves, Proof, Search
from .stage import Stage

if TYPE_CHECKING:
    from .travel import Travel


def prove_built_meshes(stage: Stage, travel: Travel, terms: tuple) -> Proof:
    """Bracket the least gap of every pair in every build; as `prove_built`, with meshes.

    Of a pair with a mesh the least gap is that as drawn, which is one of the builds.
    """
    if stage.trees is None:
        return prove_built(stage, travel, terms)
    meshes = np.flatnonzero(stage.trees.of_pair)
    plain = np.flatnonzero(~stage.trees.of_pair)
    builds, count = Builds.of(stage.system, terms[1]), len(stage.pairs)
    whole = Proof(np.full(count, np.inf), np.zeros((count, len(travel.names))),
                  np.full(count, -np.inf), {}, np.zeros(count, int), np.full(count, -1),
                  Leaves.joined([], len(travel.names)), builds,
                  np.zeros((count, len(builds.sizes))))
    if plain.size:
        _put(whole, plain, prove_built(Stage(stage.scene, [stage.pairs[k] for k in plain]), travel,
                                       terms))
    pairs = [stage.pairs[k] for k in meshes]
    part = Stage(stage.scene, pairs)
    search = Search(part, travel, terms[0], terms[2])
    drawn = search.proved()
    measure_least(part, drawn, search.names)
    find_enclosed(part, travel, drawn)
    moved = moved_by_builds(stage.scene, pairs, travel, terms[1])
    off = np.array([moved[pair.first] + moved[pair.second] for pair in pairs]) * (1 + 1e-12)
    drawn.proven = drawn.proven - off
    drawn.shares = np.zeros((len(pairs), len(builds.sizes)))
    _put(whole, meshes, drawn)
    required = np.array([pair.required for pair in pairs])
    for n in np.flatnonzero((drawn.proven < required) & ~(drawn.least < required)):
        whole.open_at.setdefault(int(meshes[n]), drawn.place[n])
    return whole


def _put(whole, pairs, proof):
    """Put what is proven of some pairs in its place, in place."""
    for name in ("least", "place", "proven", "visited", "shares"):
        getattr(whole, name)[pairs] = getattr(proof, name)
    whole.open_at.update({int(pairs[k]): place for k, place in proof.open_at.items()})
