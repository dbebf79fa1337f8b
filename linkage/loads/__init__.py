"""Forces: stick force, what each part carries, margins, what gives way, friction."""

from .columns import (
    column_load,
    column_stress,
    slenderness,
    torsion_stress,
    tube_area,
    tube_inertia,
)
from .compliance import lost_motion, lost_motion_table, rod_give
from .load_cases import Case, balanced, cases, hand, hinge_moment, holding, shares
from .margins import margin, missing, rod_margins, tube_margins
from .pilot_forces import RULE, grip_rate, grips, pilot_force
from .statics import Push, Statics
from .stick import (
    friction_force,
    grip_force,
    hinge_of_grip_force,
    needed_force,
    stick_force,
    stick_force_table,
)
from .stop_contact import at_stop
from .worst import bearing_forces, carried, worst_loads

__all__ = ["RULE", "Case", "Push", "Statics", "at_stop", "balanced", "bearing_forces", "carried",
           "cases", "column_load", "column_stress", "friction_force", "grip_force", "grip_rate",
           "grips", "hand", "hinge_moment", "hinge_of_grip_force", "holding", "lost_motion",
           "lost_motion_table", "margin", "missing", "needed_force", "pilot_force", "rod_give",
           "rod_margins", "shares", "slenderness", "stick_force", "stick_force_table",
           "torsion_stress", "tube_area", "tube_inertia", "tube_margins", "worst_loads"]
