"""Sizing: arms, clockings, places and rod lengths chosen within limits to meet targets."""

from .dimensions import Layout, Named, named_dimensions
from .result import Sizing, said, size, write_sized

__all__ = ["Layout", "Named", "Sizing", "named_dimensions", "said", "size",
           "write_sized"]
