"""The frozen parts of a described control system; what can't be built is refused at birth.

Lengths are mm, angles degrees.  A model is a description only: it computes no motion.
"""

from .parts import (
    AIRFRAME,
    Airframe,
    Body,
    Clearance,
    Coupling,
    Grip,
    Input,
    Material,
    PairRule,
    Play,
    Require,
    Rod,
    Spacer,
    Stop,
    Surface,
    Tolerance,
    Wire,
)
from .shapes import Box, Hole, Layer, Part, Pipe, Plate, Point, Sphere, Tube, Washer
from .whole import Model, is_rudder

__all__ = [
    "AIRFRAME", "Airframe", "Body", "Box", "Clearance", "Coupling", "Grip", "Hole", "Input",
    "Layer", "Material", "Model", "PairRule", "Part", "Pipe", "Plate", "Play", "Point", "Require",
    "Rod", "Spacer", "Sphere", "Stop", "Surface", "Tolerance", "Tube", "Washer", "Wire",
    "is_rudder",
]
