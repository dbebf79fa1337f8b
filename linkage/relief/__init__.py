"""What to cut away: outlines that a plate has to keep clear, proven, and templates to cut them by."""

from .cure import Options, Relief, relieve

__all__ = ["Options", "Relief", "relieve"]
