"""Forces: stick force, what each part carries, margins, what gives way, friction."""

from .columns import (
    column_load,
    column_stress,
    short_column,
    slenderness,
    torsion_stress,
    tube_area,
    tube_inertia,
    wall_stress,
)
from .compliance import lost_motion, lost_motion_table, rod_give
from .feel import (
    Felt,
    Release,
    feel_table,
    felt,
    is_felt,
    let_go,
    most_friction,
    rest_about,
    return_margin,
    whole_travel,
)
from .fixed import fixing_margins
from .fixings import fixed_plates
from .hands_off import falling, trim_table, trimmed_margin, trimmers
from .joints import joint_margins, loads_at, silent_joints
from .load_cases import GUST, Case, balanced, cases, hand, hinge_moment, holding, left_out, shares
from .margins import margin, missing, rod_margins, tube_margins
from .pilot_forces import RULE, grip_rate, grips, pilot_force, rule_of_force
from .plates import plate_cuts
from .rod_columns import RodColumn, Shank, rod_column, shanks
from .servos import servo_table
from .shafts import unplaced
from .springs import spring_forces, spring_lengths, spring_power, spring_table
from .statics import Push, Statics
from .stepped import Stretch, bowed_rises, buckling_load
from .stick import (
    friction_force,
    friction_table,
    grip_force,
    hinge_of_grip_force,
    needed_force,
    spring_force,
    stick_force,
    stick_force_table,
)
from .stop_contact import at_stop
from .test_cards import limit_load_card, operation_card
from .vibration import rod_frequency, rod_vibration
from .worst import AT_STOPS, bearing_forces, carried, worst_loads

__all__ = ["AT_STOPS", "GUST", "RULE", "Case", "Felt", "Push", "Release", "RodColumn", "Shank",
           "Statics", "Stretch", "at_stop", "balanced", "bearing_forces", "bowed_rises",
           "buckling_load", "carried", "cases", "column_load", "column_stress", "falling",
           "feel_table", "felt", "fixed_plates", "fixing_margins", "friction_force",
           "friction_table", "grip_force", "grip_rate",
           "grips", "hand", "hinge_moment", "hinge_of_grip_force", "holding", "is_felt",
           "joint_margins", "left_out", "let_go", "limit_load_card", "loads_at", "lost_motion",
           "lost_motion_table", "margin", "missing", "most_friction", "needed_force",
           "operation_card", "pilot_force", "plate_cuts", "rest_about", "return_margin",
           "rod_column", "rod_frequency", "rod_give", "rod_margins", "rod_vibration",
           "rule_of_force", "servo_table", "shanks", "shares", "short_column", "silent_joints",
           "slenderness", "spring_force", "spring_forces", "spring_lengths", "spring_power",
           "spring_table", "stick_force", "stick_force_table", "torsion_stress", "trim_table",
           "trimmed_margin", "trimmers", "tube_area", "tube_inertia", "tube_margins", "unplaced",
           "wall_stress", "whole_travel", "worst_loads"]
