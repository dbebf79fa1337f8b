"""One function per picture: it takes a system and `ax=None`, and returns the axes."""

from .contact import clearance_along, travel_map
from .curves import differential, gearing_curves
from .forces import rods_at_worst, stick_forces
from .rigging import as_built, half_turns
from .spacers import spacer_chart
from .tolerances import contributors
from .views import three_view

__all__ = ["as_built", "clearance_along", "contributors", "differential", "gearing_curves",
           "half_turns", "rods_at_worst", "spacer_chart", "stick_forces", "three_view",
           "travel_map"]
