"""Gaps between solids, and the least of each over the whole travel, proven."""

from .part_gaps import undrawn
from .proof import Earlier, Proof, earlier, near_pairs, prove
from .stage import Stage
from .table import (
    NEAR,
    clearance,
    first_signs,
    gaps,
    near_of,
    pair_gap,
    proven_apart,
    scene_of,
    stage_of,
)
from .travel import Travel

__all__ = ["NEAR", "Earlier", "Proof", "Stage", "Travel", "clearance", "earlier", "first_signs",
           "gaps", "near_of", "near_pairs", "pair_gap", "prove", "proven_apart", "scene_of",
           "stage_of", "undrawn"]
