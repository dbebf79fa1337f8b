"""Stops: where their faces meet, which one governs, and how thick the spacer has to be."""

from .contact_rates import dimension_tolerances, seeds_of, stop_rates
from .faces import Meeting, meeting
from .find import ends_without_stop, find_stops
from .mapping import TravelMap, may_touch, travel_map
from .spacers import angle_band, side_play, size_spacer, stock_about, thickness_for

__all__ = ["Meeting", "TravelMap", "angle_band", "dimension_tolerances", "ends_without_stop",
           "find_stops", "may_touch", "meeting", "seeds_of", "side_play", "size_spacer",
           "stock_about", "stop_rates", "thickness_for", "travel_map"]
