"""Stops: where their faces meet, which one governs, and how thick the spacer has to be."""

from .contact import Meeting, meeting
from .find import ends_without_stop, find_stops
from .spacers import angle_band, side_play, size_spacer, stock_about, thickness_for
from .travel_map import TravelMap, may_touch, travel_map

__all__ = ["Meeting", "TravelMap", "angle_band", "ends_without_stop", "find_stops", "may_touch",
           "meeting", "side_play", "size_spacer", "stock_about", "thickness_for", "travel_map"]
