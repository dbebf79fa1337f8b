"""One function per picture: it takes a system and `ax=None`, and returns the axes."""

from .close_ups import Near, mark_here, places
from .curves import differential, gearing_curves
from .forces import hands_off, rods_at_worst, stick_forces
from .maps import clearance_along, travel_map
from .spacer_curves import spacer_chart
from .style import half_axes
from .tolerance_bars import contributors
from .turns import as_built, half_turns
from .views import three_view

__all__ = ["Near", "as_built", "clearance_along", "contributors", "differential", "gearing_curves",
           "half_axes", "half_turns", "hands_off", "mark_here", "places", "rods_at_worst",
           "spacer_chart", "stick_forces", "three_view", "travel_map"]
