"""Sizing: arms, clockings, places and rod lengths chosen within limits to meet targets."""

from .named import Layout, Named, named_dimensions
from .result import Sizing, refuse_taken, said, size, write_sized

__all__ = ["Layout", "Named", "Sizing", "named_dimensions", "refuse_taken", "said", "size",
           "write_sized"]
