"""Rigging: tolerances, free play and wires."""

from .builds import Builds, Chance, monte_carlo
from .play import free_play
from .tolerances import error_bands, sensitivities, spots

__all__ = ["Builds", "Chance", "error_bands", "free_play", "monte_carlo", "sensitivities", "spots"]
