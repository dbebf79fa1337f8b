"""Stops: where their faces meet, which one governs, and how thick the spacer has to be."""

from .contact_rates import dimension_tolerances, seeds_of, stop_rates
from .covering import MissedStop
from .faces import Meeting, meeting, with_stops
from .find import drawn_ends, ends_without_stop, find_stops
from .first import FirstContact, first_contact
from .judged import clearance
from .mapping import TravelMap, may_touch, travel_map
from .reach import first_loss, out_of_reach
from .real import RealTravel, judged_box, judged_travel, real_travel
from .spacers import angle_band, side_play, size_spacer, stock_about, thickness_for
from .ways import Ways

__all__ = ["FirstContact", "Meeting", "MissedStop", "RealTravel", "TravelMap", "Ways",
           "angle_band", "clearance", "dimension_tolerances", "drawn_ends", "ends_without_stop",
           "find_stops", "first_contact", "first_loss", "judged_box", "judged_travel", "may_touch",
           "meeting", "out_of_reach", "real_travel", "seeds_of", "side_play", "size_spacer",
           "stock_about", "stop_rates", "thickness_for", "travel_map",
           "with_stops"]
