"""The parts of a system as solid files: one GLB that moves, and an STL file a part."""

from .facets import WITHIN, tessellated
from .glb_file import glb
from .stl_file import part_names, stl

__all__ = ["WITHIN", "glb", "part_names", "stl", "tessellated"]
