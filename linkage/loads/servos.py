"""A servo that follows the controls: how near dead centre, how hard to overpower, what it stops."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from ..motion import Motion, System, body_of
from ..search import may_rise
from ..stops import judged_box
from ..units import in_house_units
from .load_cases import servo_input
from .pilot_forces import grip_speed, grips

if TYPE_CHECKING:
    import pandas as pd

STEPS = {1: 241, 2: 61, 3: 15}  # positions of each input looked at
STILL = 1e-9  # mm per radian (mm): a grip that an input moves less than this is none of it


@in_house_units(angle="over_centre over_error", moment="gives_way", force="overpower force_error")
def servo_table(system: System) -> pd.DataFrame:
    """Every servo over the travel that the stops leave, its clutch and pin whole.

    Parameters
    ----------
    system : System

    Returns
    -------
    DataFrame
        One row per servo: servo, input (the one that turns its arm most), over_centre (least
        degrees of its links at its arm from dead centre), over_error (how much less it may be
        between the positions looked at, as `linkage.search.may_rise` estimates; all of it where a
        position is out of reach), over_at (a dict
        of the inputs there), gives_way (N mm, NaN without a clutch or a pin), overpower (N, the
        greatest force at a grip that makes it give way), force_error, grip, force_at, lost_least
        and lost_greatest (how much of the input's travel at its two ends the servo's links do not
        reach or its arm's own travel does not, wherever the others are; to a step of the grid), and
        positions (looked at).
    """
    import pandas as pd

    box = judged_box(system)
    count = STEPS.get(len(box), 7)
    sides = [np.unique([0.0, *np.linspace(*box[name], count)]) for name in box]
    grid = np.meshgrid(*sides, indexing="ij")
    motion = system.sweep(**dict(zip(box, grid, strict=True)))
    rows = [_row(motion, name, (list(box), sides)) for name in system.model.servos]
    return pd.DataFrame(rows, columns=[
        "servo", "input", "over_centre", "over_error", "over_at", "gives_way", "overpower",
        "force_error", "grip", "force_at", "lost_least", "lost_greatest", "positions"])


def _row(motion, name, where):
    servo, driver = motion.system.model.servos[name], servo_input(motion.system, name)
    gives_way = math.nan if servo.gives_way is None else servo.gives_way
    margin = _arm_margin(motion, servo.body)
    least, over_error, over_at = _worst(-margin, where)
    if np.isnan(margin).any() and least < 0:  # lost where an arm is at dead centre
        over_error = max(over_error, -least)
    lost = _lost(motion, servo, driver, where) if driver is not None else (math.nan, math.nan)
    return {"servo": name, "input": driver or "", "over_centre": -least, "over_error": over_error,
            "over_at": over_at, "gives_way": gives_way,
            **_overpowering(motion, driver, servo, where), "lost_least": lost[0],
            "lost_greatest": lost[1], "positions": int(np.prod(motion.shape))}


def _overpowering(motion, driver, servo, where):
    """The greatest force at a grip that makes a servo give way, at which grip and where."""
    most, grip, force_error, force_at = -math.inf, "", 0.0, {}
    forces = _forces(motion, servo) if None not in (driver, servo.gives_way) else ()
    for each, force in forces:
        size, error, at = _worst(force, where)
        force_error = max(force_error, error)
        if size > most:
            most, grip, force_at = size, each, at
    return {"overpower": most if math.isfinite(most) else math.nan, "force_error": force_error,
            "grip": grip, "force_at": force_at}


def _worst(values, where):
    """Greatest value, how much more it may be between the positions, and where it is."""
    names, sides = where
    if not np.isfinite(values).any():
        return math.nan, 0.0, {}
    k = np.unravel_index(np.nanargmax(values), values.shape)
    rise = float(np.nanmax(values + may_rise(values, sides))) - float(values[k])
    return float(values[k]), rise, {name: float(side[i]) for name, side, i in zip(
        names, sides, k, strict=True)}


def _arm_margin(motion: Motion, body: str) -> np.ndarray:
    """Least over-centre margin of what is linked to an arm, at the arm; NaN without a link."""
    margins = [np.broadcast_to(margin, motion.shape) for rod in motion.system.model.rods
               if rod not in motion.system.plan.open_rods
               for end, margin in motion.margins(rod).items() if body_of(end) == body]
    return np.min(margins, axis=0) if margins else np.full(motion.shape, np.nan)


def _forces(motion, servo):
    """Force at each grip of each input that makes a servo give way: torque x turn per movement."""
    rates = motion.input_rates.joints[servo.body]
    for k, name in enumerate(motion.system.inputs):
        rate = np.broadcast_to(np.abs(rates[k] if np.ndim(rates) else rates), motion.shape)
        for grip in grips(motion.system, name) if name in motion.system.travel_box() else ():
            speed = grip_speed(motion, grip, name)
            with np.errstate(invalid="ignore", divide="ignore"):
                yield grip, np.where(speed > STILL, servo.gives_way * rate / speed, np.nan)


def _lost(motion, servo, driver, where):
    """How much of a driver's travel below and above neutral a servo takes away."""
    names, sides = where
    turned = np.broadcast_to(motion.angle(servo.body), motion.shape)
    low, high = servo.travel if servo.travel is not None else (-math.inf, math.inf)
    good = np.isfinite(turned) & (turned >= low) & (turned <= high)
    axis = names.index(driver)
    good = good.all(axis=tuple(k for k in range(good.ndim) if k != axis))
    side, neutral = sides[axis], int(np.flatnonzero(sides[axis] == 0.0)[0])
    ends = [np.flatnonzero(~good[:neutral + 1]), neutral + np.flatnonzero(~good[neutral:])]
    return (float(side[ends[0].max()] - side[0]) if len(ends[0]) else 0.0,
            float(side[-1] - side[ends[1].min()]) if len(ends[1]) else 0.0)
