"""Rigging: rods to make and turn, the aircraft as built, tolerances, free play, wires, grips."""

from .adjustment import WITHIN, Adjustment, adjust
from .as_built import ERROR, AsBuilt, as_built_model, fit_as_built, write_as_built
from .builds import Builds, Chance, monte_carlo, trial_builds
from .corners import built_travels, worst_corners
from .grips import grip_table, hand_clearance
from .lengths import model_with_lengths
from .pins import rig_pins
from .play import free_play, play_bands
from .readings import Readings, read_readings, readings_of, signed_angle
from .rod_end_angles import end_misalignment, misalignment
from .rods import end_sheet, rod_sheet, turns
from .tolerances import error_bands, sensitivities, spots
from .wires import chafe, chord, wire_table

__all__ = ["ERROR", "WITHIN", "Adjustment", "AsBuilt", "Builds", "Chance", "Readings", "adjust",
           "as_built_model", "built_travels", "chafe", "chord", "end_misalignment", "end_sheet",
           "error_bands", "fit_as_built", "free_play", "grip_table", "hand_clearance",
           "misalignment", "model_with_lengths", "monte_carlo", "play_bands", "read_readings",
           "readings_of", "rig_pins", "rod_sheet", "sensitivities", "signed_angle", "spots",
           "trial_builds", "turns", "wire_table", "worst_corners", "write_as_built"]
