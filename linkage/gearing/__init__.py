"""Surface against stick: travels, gearing, differential, cross-talk, the two sticks, findings."""

from .algebra import gearing_algebra, rod_algebra
from .cross_checks import (
    box_of,
    cross_talk,
    differential,
    greatest_over_box,
    inputs_of,
    stick_difference,
    symmetry,
    twins,
)
from .findings import Finding, find, margins
from .travels import (
    BEYOND,
    driving_input,
    edge_movement,
    gearing_table,
    grip_movement,
    level_reading,
    required_travels,
    round_positions,
    sense_word,
)
from .words import WAYS, deflection_words, said_input, said_place, said_surface

__all__ = ["BEYOND", "WAYS", "Finding", "box_of", "cross_talk", "deflection_words", "differential",
           "driving_input", "edge_movement", "find", "gearing_algebra", "gearing_table",
           "greatest_over_box", "grip_movement", "inputs_of", "level_reading", "margins",
           "required_travels", "rod_algebra", "round_positions", "said_input", "said_place",
           "said_surface",
           "sense_word", "stick_difference", "symmetry", "twins"]
