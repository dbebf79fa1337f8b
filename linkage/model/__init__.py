"""The frozen parts of a described control system; what can't be built is refused at birth.

Lengths are mm, angles degrees.  A model is a description only: it computes no motion.
"""

from .fittings import Fitted, RigPin, RodEnd
from .fixings import Bolting, Weld
from .parts import (
    AIRFRAME,
    BACK,
    KINDS,
    SENSES,
    UPRIGHT,
    Airframe,
    Body,
    Clearance,
    Coupling,
    Grip,
    Input,
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
from .shapes import Layer, Part, Point
from .sizes import STATIONS, Arm, Clocking, Place, RodLength, Size, Target, steps_within
from .solids import Box, Hole, Pipe, Plate, Sphere, Tube, Washer
from .springs import Feel, Friction, Spring
from .stock import HANDBOOK
from .strength import (
    FITTING,
    SPECIAL,
    BoltedJoint,
    ColumnCurve,
    Factors,
    HingeMoment,
    LoadCase,
    Material,
    PilotForce,
    TorqueTube,
)
from .surfaces import Match, Mesh, MeshTurn, Section, Skin, SurfaceShape
from .whole import Model, is_rudder

__all__ = [
    "AIRFRAME", "BACK", "FITTING", "HANDBOOK", "KINDS", "SENSES", "SPECIAL", "STATIONS",
    "UPRIGHT", "Airframe", "Arm", "Body", "BoltedJoint", "Bolting", "Box", "Clearance",
    "Clocking", "ColumnCurve", "Coupling", "Factors", "Feel", "Fitted", "Friction", "Grip",
    "HingeMoment", "Hole", "Input", "Layer", "LoadCase", "Match", "Material", "Mesh",
    "MeshTurn", "Model", "PairRule", "Part", "PilotForce", "Pipe", "Place", "Plate", "Play",
    "Point", "Require", "RigPin", "Rod", "RodEnd", "RodLength", "Section", "Size", "Skin",
    "Spacer", "Sphere", "Spring", "Stop", "Surface", "SurfaceShape", "Target", "Tolerance",
    "TorqueTube", "Tube", "Washer", "Weld", "Wire", "is_rudder", "steps_within",
]
