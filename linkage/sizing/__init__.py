"""Sizing: arms, clockings, places and rod lengths chosen within limits to meet targets."""

from .dimensions import Layout, Named, named_dimensions
from .result import Sizing, said, size, write_sized
from .targets import SCALE

LEASTS = frozenset(SCALE)  # kinds of target of which more is as good

__all__ = ["LEASTS", "Layout", "Named", "Sizing", "named_dimensions", "said", "size",
           "write_sized"]
