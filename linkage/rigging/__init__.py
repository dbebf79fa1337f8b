"""Rigging: tolerances, free play, wires and grips."""

from .builds import Builds, Chance, monte_carlo
from .grips import grip_table, hand_clearance
from .play import free_play, play_bands
from .study import Study, study
from .tolerances import error_bands, sensitivities, spots
from .wires import chafe, chord, wire_table

__all__ = ["Builds", "Chance", "Study", "chafe", "chord", "error_bands", "free_play",
           "grip_table", "hand_clearance", "monte_carlo", "play_bands", "sensitivities", "spots",
           "study", "wire_table"]
