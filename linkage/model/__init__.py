"""The frozen parts of a described control system; what can't be built is refused at birth.

Lengths are mm, angles degrees.  A model is a description only: it computes no motion.
"""

from .fittings import Fitted, RigPin, RodEnd
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
from .stock import HANDBOOK
from .strength import Factors, HingeMoment, PilotForce, TorqueTube
from .whole import Model, is_rudder

__all__ = [
    "AIRFRAME", "HANDBOOK", "Airframe", "Body", "Box", "Clearance", "Coupling", "Factors",
    "Fitted", "Grip", "HingeMoment", "Hole", "Input", "Layer", "Material", "Model", "PairRule",
    "Part", "PilotForce", "Pipe", "Plate", "Play", "Point", "Require", "RigPin", "Rod", "RodEnd",
    "Spacer", "Sphere", "Stop", "Surface", "Tolerance", "TorqueTube", "Tube", "Washer", "Wire",
    "is_rudder",
]
