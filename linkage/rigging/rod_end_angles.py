"""How far each rod stands off the middle plane of its rod ends' balls over the travel."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from .. import gearing
from ..gearing import projected, prove_sign
from ..intervals import Enclosure
from ..model import AIRFRAME
from ..model.keys import unit_vector
from ..motion import Slide, System, body_of, enclose, kernels
from ..stops import judged_box, judged_travel
from ..units import in_house_units

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import ArrayLike

    from ..model.parts import Tolerance
    from ..motion.moved import Motion


@in_house_units(angle="neutral greatest allowed")
def misalignment(system: System, tolerances: Tolerance | None = None) -> pd.DataFrame:
    """Greatest misalignment of every rod end over the travel that the stops leave.

    The angle between the rod's line and the plane square to the ball's bolt; the bolt turns with
    the part it goes through, and the rod may spin about its own line without changing it.

    Parameters
    ----------
    system : System
    tolerances : Tolerance, optional
        Build tolerances: ok is then True only where no build tilts an end more.

    Returns
    -------
    DataFrame
        A row per rod end: rod, end, neutral and greatest (degrees), allowed (degrees, NaN where
        the file does not say), source ("given", "ball and race" or ""), ok (None where allowed is
        not known; True only where it is proven to tilt no more at any position), bolt (where its
        direction comes from; greatest is NaN without one), and one column per input: where it is
        greatest.  Neutral and greatest are as drawn.
    """
    import pandas as pd

    rows, box = [], system.travel_box()
    for rod, part in system.model.rods.items():
        for i, end in enumerate(part.ends):
            bolt, axis = _bolt(system.model, rod, i)
            allowed, source = _allowed(system.model, rod, i)
            row = {"rod": rod, "end": end, "neutral": np.nan, "greatest": np.nan,
                   "allowed": allowed, "source": source, "ok": None, "bolt": axis,
                   **dict.fromkeys(box, np.nan)}
            if bolt is not None:
                row |= _greatest(system, rod, i, bolt)
            if np.isfinite(row["greatest"] + allowed):
                row["ok"] = bool(row["greatest"] <= allowed
                                 and _proven(system, (rod, i), bolt, allowed, tolerances))
            rows.append(row)
    return pd.DataFrame(rows, columns=["rod", "end", "neutral", "greatest", "allowed", "source",
                                       "ok", "bolt", *box])


def end_misalignment(motion: Motion, rod: str, end: int, bolt: Sequence) -> np.ndarray:
    """Angle of a rod off the middle plane of one of its balls.

    Parameters
    ----------
    motion : Motion
    rod : str
    end : {0, 1}
    bolt : sequence of 3 floats
        Unit vector of the ball's bolt at neutral.

    Returns
    -------
    ndarray, shape (...)
        Degrees, 0 with the rod square to the bolt.
    """
    ends = motion.system.model.rods[rod].ends
    here, there = motion.point(ends[end]), motion.point(ends[1 - end])
    along = there - here
    axis = carried_direction(motion, body_of(ends[end]), bolt)
    sine = np.sum(along * axis, axis=-1) / np.linalg.norm(along, axis=-1)
    return np.degrees(np.arcsin(np.clip(np.abs(sine), 0, 1)))


def _proven(system, which, bolt, allowed, tolerances) -> bool:
    """Whether an end is proven to tilt no more than allowed all over the travel.

    With d along the rod and u the bolt's direction, that is (sin(allowed) |d|)² - (u·d)² >= 0.
    """
    rod, i = which
    ends = system.model.rods[rod].ends
    bodies = [body_of(end) for end in ends if body_of(end) != AIRFRAME]
    small, most = system.only(bodies), np.sin(np.radians(allowed)) ** 2 * (1 + 1e-12)

    def room(centres, halves):
        posture = enclose(small, centres, halves, tolerances)
        here, there = (posture.place(end) for end in (ends[i], ends[1 - i]))
        along = [b - a for a, b in zip(here, there, strict=True)]
        axis = _turned(posture, body_of(ends[i]), bolt)
        lean = sum(a * d for a, d in zip(axis, along, strict=True))
        left = sum(d * d for d in along) * most - lean * lean
        shape = np.shape(next(iter(centres.values())))
        low, high = left.bounds() if isinstance(left, Enclosure) else (left, left)
        return tuple(np.nan_to_num(np.array(np.broadcast_to(k, shape)), nan=end)
                     for k, end in ((low, -np.inf), (high, np.inf)))

    among = gearing.inputs_of(system, *bodies)
    if not among and tolerances is None:
        return True  # it stands still, and has been measured
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        travel = judged_travel(system, tolerances)
        return prove_sign(room, *projected(travel.spread, among)).holds


def carried_direction(motion: Motion, body: str, direction: ArrayLike) -> np.ndarray:
    """A direction fixed in a body, as it lies over a motion: shape (..., 3)."""
    return np.stack([np.broadcast_to(k, motion.shape)
                     for k in _turned(motion.posture, body, direction)], axis=-1)


def _turned(posture, body, direction):
    """The same on any posture, three numbers, arrays or enclosures."""
    turned = tuple(direction)
    for joint, _ in posture.plan.route(body, AIRFRAME):
        state = posture.states.get(joint)
        if state is not None and not isinstance(state, Slide):
            turned = kernels.turn_point(turned, (0.0, 0.0, 0.0), posture.dimensions.axes[joint],
                                        state.cos, state.sin)
    return turned


def _greatest(system, rod, i, bolt) -> dict:
    among = gearing.inputs_of(system, *(body for end in system.model.rods[rod].ends
                                if (body := body_of(end)) != AIRFRAME))
    most, place = gearing.greatest_over_box(
        system, lambda motion: end_misalignment(motion, rod, i, bolt), among, judged_box(system))
    return {"neutral": float(end_misalignment(system.sweep(), rod, i, bolt)), "greatest": most,
            **place}


def _bolt(model, rod, i):
    """Direction of an end's bolt at neutral, and where it is said."""
    fitted, end = model.fitting(rod, i)[0], model.rods[rod].ends[i]
    if fitted is not None and fitted.bolt is not None:
        return unit_vector(fitted.bolt), "the rod end"
    part, point = end.split("/")
    home = model.airframe if part == AIRFRAME else model.bodies[part]
    drilled = home.points.get(point)
    if drilled is not None and drilled.bolt is not None:
        return unit_vector(drilled.bolt), "its point"
    if part != AIRFRAME and not home.slides:
        return home.direction, "the axis of its part"
    return None, ""


def _allowed(model, rod, i):
    rod_end = model.fitting(rod, i)[1]
    if rod_end is None or rod_end.allowed is None:
        return np.nan, ""
    return rod_end.allowed, "given" if rod_end.sphere is None else "ball and race"
