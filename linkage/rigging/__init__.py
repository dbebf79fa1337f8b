"""Rigging: rods to make and turn, the aircraft as built, rod ends, rig pins."""

from .adjust import WITHIN, Adjustment, adjust
from .as_built import ERROR, AsBuilt, as_built_model, fit_as_built
from .misalignment import end_misalignment, misalignment
from .pins import rig_pins
from .readings import Readings, read_readings, readings_of, signed_angle
from .rods import end_sheet, rod_sheet, turns

__all__ = ["ERROR", "WITHIN", "Adjustment", "AsBuilt", "Readings", "adjust", "as_built_model",
           "end_misalignment", "end_sheet", "fit_as_built", "misalignment", "read_readings",
           "readings_of", "rig_pins", "rod_sheet", "signed_angle", "turns"]
