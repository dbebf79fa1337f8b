"""Surface against stick: travels, gearing, differential, cross-talk, the two sticks, findings."""

from .algebra import gearing_algebra, rod_algebra
from .cross_checks import (
    SAMPLES,
    cross_talk,
    differential,
    greatest_over_box,
    inputs_of,
    stick_difference,
    symmetry,
    twins,
)
from .findings import find, margins
from .gearing_sign import enclosed_gearing, projected, prove_sign
from .kept_bands import bands
from .kinds import expected, kind_of
from .plausible import implausible
from .senses import input_ways
from .surface_ways import (
    commands,
    direction_findings,
    directions,
    expected_steps,
    flipped,
    moved_by,
)
from .travels import (
    driving_input,
    edge_movement,
    gearing_table,
    grip_movement,
    level_reading,
    required_travels,
    round_positions,
    ways_moved,
)
from .words import (
    WAYS,
    Direction,
    Finding,
    deflection_words,
    position_unit,
    said_end,
    said_input,
    said_place,
    said_surface,
    sense_word,
)

__all__ = ["SAMPLES", "WAYS", "Direction", "Finding", "bands", "commands", "cross_talk",
           "deflection_words", "differential", "direction_findings", "directions",
           "driving_input", "edge_movement", "enclosed_gearing", "expected", "expected_steps",
           "find", "flipped", "gearing_algebra", "gearing_table", "greatest_over_box",
           "grip_movement", "implausible", "input_ways", "inputs_of", "kind_of", "level_reading",
           "margins", "moved_by", "position_unit", "projected", "prove_sign", "required_travels",
           "rod_algebra", "round_positions", "said_end", "said_input", "said_place",
           "said_surface", "sense_word", "stick_difference", "symmetry", "twins", "ways_moved"]
