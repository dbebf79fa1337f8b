"""Motion: order the rods, solve any array of stick positions, and differentiate it exactly."""

from .backward import can_be_written, written
from .bounds import EnclosedPosture, TracedPosture, leaf_of
from .builds import Builds
from .builds_bounds import BuiltPosture, enclose, enclose_builds
from .builds_runs import cut_joint, cut_system, range_of
from .moved import Motion, hinge_sign, wrapped
from .plan import Close, Couple, Drive, Plan, Together, body_of, input_sign, make_plan
from .posture import Dimensions, Posture, Slide, Turn, mixed
from .rates import Rates, Seeds, pull
from .system import BEYOND, Control, System
from .tape import varied

__all__ = ["BEYOND", "Builds", "BuiltPosture", "Close", "Control", "Couple", "Dimensions", "Drive",
           "EnclosedPosture", "Motion", "Plan", "Posture", "Rates", "Seeds", "Slide", "System",
           "Together", "TracedPosture", "Turn", "body_of", "can_be_written", "cut_joint",
           "cut_system", "enclose", "enclose_builds", "hinge_sign", "input_sign", "leaf_of",
           "make_plan", "mixed", "pull", "range_of", "varied", "wrapped", "written"]
