"""Exact distances between convex pieces, for any array of postures at once.

Coordinates are mm, ``(..., n, 3)``. Inside the room the components come first and the postures
last, ``(3, n, m)``, and work goes in blocks that fit the cache.
"""

from .closest import Ragged, approach
from .gaps import Gap, least_gap, piece_gap, support
from .halving import kept_spans, outside_balls
from .overlap import widest_space
from .pieces import Piece, hull_piece, polygon, prism, prisms, sphere, tube
from .tubes import tube_gap

__all__ = ["Gap", "Piece", "Ragged", "approach", "hull_piece", "kept_spans", "least_gap",
           "outside_balls", "piece_gap", "polygon", "prism", "prisms", "sphere", "support", "tube",
           "tube_gap", "widest_space"]
