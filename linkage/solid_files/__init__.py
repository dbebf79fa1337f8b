"""The parts of a system as solid files: one GLB that moves, and an STL file a part."""

from .glb import glb
from .stl import part_names, stl
from .tessellated import WITHIN, tessellated

__all__ = ["WITHIN", "glb", "part_names", "stl", "tessellated"]
