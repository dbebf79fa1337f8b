"""One function per picture: it takes a system and `ax=None`, and returns the axes."""

from .contact import clearance_along, travel_map
from .curves import differential, gearing_curves
from .spacers import spacer_chart
from .tolerances import contributors
from .views import three_view

__all__ = ["clearance_along", "contributors", "differential", "gearing_curves", "spacer_chart",
           "three_view", "travel_map"]
