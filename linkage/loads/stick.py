"""Stick force by virtual work: power in at the grip = power out at the surfaces and in friction."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..errors import LinkageError
from ..motion import Motion, System
from ..search import may_rise
from ..stops import judged_box
from ..units import in_house_units
from .feel import felt
from .load_cases import hinge_moment
from .pilot_forces import grip_speed, grips, pilot_force
from .rubbing import ball_turns
from .springs import spring_power

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import ArrayLike

STEPS = 41  # stick positions along an input at which friction is looked at
POSITIONS = 241  # of an input, at which its greatest stick force is looked for


def grip_force(motion: Motion, moments: dict, name: str, grip: str | None = None) -> np.ndarray:
    """Force at a grip that holds given hinge moments, the other inputs held as well.

    Parameters
    ----------
    motion : Motion
    moments : dict
        ``{surface: N mm}``, signed like the deflection; any shape that broadcasts.
    name : str
        The input.
    grip : str, optional
        ``"part/point"``; the input's first one unless given.

    Returns
    -------
    ndarray, shape (...)
        N along the grip's movement, positive in the input's own sense (aft, right): what the hand
        has to give.  NaN out of reach.

    Raises
    ------
    LinkageError
        When no grip of the input is known.

    Notes
    -----
    F |dP/du| + sum of M d(deflection)/du = 0, both rates exact: F = G H with the local slope
    (formula references, "Elevator stick force"; primary source Nelson, Flight Stability and
    Automatic Control, from memory).
    """
    speed = grip_speed(motion, _grip(motion.system, name, grip), name)
    power = sum(np.asarray(m) * _per_rate(motion, surface, name) for surface, m in moments.items())
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(speed > 0, -power / speed, np.nan)


def hinge_of_grip_force(motion: Motion, force: ArrayLike, name: str, surface: str,
                        grip: str | None = None) -> np.ndarray:
    """Hinge moment of one surface alone that a force at a grip holds, N mm; NaN where none does.

    Parameters
    ----------
    motion : Motion
    force : array_like
        N in the input's own sense.
    name, surface : str
    grip : str, optional

    Returns
    -------
    ndarray, shape (...)
    """
    rate = _per_rate(motion, surface, name)
    speed = grip_speed(motion, _grip(motion.system, name, grip), name)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(np.abs(rate) > 1e-6, -np.asarray(force) * speed / rate, np.nan)


def _grip(system, name, grip):
    point = grip or next(iter(grips(system, name)), None)
    if point is None:
        raise LinkageError(f'input "{name}": no grip is known, so no force at it; name a point '
                           f'"grip" on what it drives', input=name)
    return point


def _per_rate(motion, surface, name):
    """Gearing in radians per radian (mm): moment times this is generalised force."""
    rate = motion.gearing(surface)[name]
    return np.radians(rate) if motion.system.inputs[name].slides else rate


def stick_force(motion: Motion, name: str, grip: str | None = None) -> np.ndarray:
    """Stick force against the hinge moments and springs that the file gives, N; see `grip_force`.

    No factor is on it: it is what the hand feels at the stated condition, without friction.
    """
    moments = {s: hinge_moment(motion, s) for s in motion.system.model.surfaces}
    return grip_force(motion, moments, name, grip) + spring_force(motion, name, grip)


def spring_force(motion: Motion, name: str, grip: str | None = None) -> np.ndarray:
    """The springs' share of `stick_force`, N: minus their power over the grip's speed."""
    speed = grip_speed(motion, _grip(motion.system, name, grip), name)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(speed > 0, -spring_power(motion, name) / speed, np.nan)


def friction_force(motion: Motion, name: str, grip: str | None = None) -> dict:
    """Force at a grip that each joint's breakout friction asks for, as the input alone moves.

    Parameters
    ----------
    motion : Motion
    name : str
        The input.
    grip : str, optional

    Returns
    -------
    dict
        ``{body or rod: ndarray (...)}`` N, of those whose friction the file gives.

    Notes
    -----
    Friction moment x turn of the joint per movement of the grip; of a rod, at each end, x the turn
    of the rod against the part it is on (its spin about its own line not counted).
    """
    speed = grip_speed(motion, _grip(motion.system, name, grip), name)
    index, forces = list(motion.system.inputs).index(name), {}
    with np.errstate(invalid="ignore", divide="ignore"):
        for body, part in motion.system.model.bodies.items():
            if part.friction is not None:
                rate = motion.input_rates.joints.get(body, 0.0)
                rate = rate[index] if np.ndim(rate) else rate
                forces[body] = np.broadcast_to(part.friction * np.abs(rate) / speed, motion.shape)
        for rod, part in motion.system.model.rods.items():
            if part.friction is not None:
                turns = sum(np.linalg.norm(k, axis=-1) for k in ball_turns(motion, rod, name))
                forces[rod] = part.friction * turns / speed
    return forces


@in_house_units(force="force friction", moment="moment*")
def stick_force_table(system: System, name: str,
                      positions: ArrayLike | None = None) -> pd.DataFrame:
    """Stick force and friction along one input, the others at 0.

    Parameters
    ----------
    system : System
    name : str
        The input.
    positions : array_like, shape (n,), optional
        Degrees (mm for a slide); nine or so round steps unless given.

    Returns
    -------
    DataFrame
        Indexed by position: ``force`` (N, hand's, from the hinge moments and springs given),
        ``friction`` (N, half the band between moving one way and the other, NaN without any), and
        ``moment <surface>`` (N mm).
    """
    import pandas as pd

    from ..gearing import round_positions

    x = round_positions(*judged_box(system)[name]) if positions is None else \
        np.asarray(positions, dtype=float)
    motion = system.sweep(**{name: x})
    columns = {"force": stick_force(motion, name)}
    friction = felt(system, name, x).friction
    columns["friction"] = friction if np.nanmax(friction, initial=0.0) > 0 else \
        np.full(x.shape, np.nan)
    columns |= {f"moment {s}": hinge_moment(motion, s) for s, part in
                system.model.surfaces.items() if part.hinge}
    return pd.DataFrame(columns, index=pd.Index(x, name=name))


@in_house_units(force="neutral most")
def friction_table(system: System) -> pd.DataFrame:
    """Breakout friction of each joint carried to the grip.

    Parameters
    ----------
    system : System

    Returns
    -------
    DataFrame
        joint_of, input, neutral, most (N).  The most is searched at ``attrs["positions"]`` of each
        input, the others at 0; up to ``attrs["error"]`` may be missing between them.
    """
    import pandas as pd

    rows, error = [], 0.0
    for name, ends in judged_box(system).items():
        if not grips(system, name):
            continue
        x = np.unique([0, *np.linspace(*ends, STEPS)])
        for part, force in friction_force(system.sweep(**{name: x}), name).items():
            if np.isfinite(force).any() and np.nanmax(force) > 1e-9:
                most = float(np.nanmax(force))
                error = max(error, float(np.nanmax(force + may_rise(force, [x]))) - most)
                rows.append({"joint_of": part, "input": name,
                             "neutral": float(force[x == 0][0]), "most": most})
    table = pd.DataFrame(rows, columns=["joint_of", "input", "neutral", "most"])
    table.attrs |= {"positions": STEPS, "error": error}
    return table


def needed_force(system: System, name: str) -> dict:
    """Pilot force the system has to be made for by 14 CFR 23.395 (from memory) and 23.397.

    Parameters
    ----------
    system : System
    name : str

    Returns
    -------
    dict
        ``hinge``: greatest stick force (N) over what the stops leave from the hinge moments given x
        the hinge factor, with the springs or without them, NaN without any; ``most``, ``least``:
        the limit pilot forces; ``needed``: the first, no less than the least and no more than the
        most; ``positions``: of the input, the others at 0, at which the first is searched;
        ``error``: how much greater it may be
        between them, as `linkage.search.may_rise` estimates, N.
    """
    limit, x = pilot_force(system, name), np.linspace(*judged_box(system)[name], POSITIONS)
    motion = system.sweep(**{name: x})
    moves = {s for s, part in system.model.surfaces.items() if part.hinge
             and np.nanmax(np.abs(motion.gearing(s)[name]), initial=0.0) > 1e-9}
    springs = spring_force(motion, name)
    air = (stick_force(motion, name) - springs) * system.model.factor.hinge
    force = np.maximum(np.abs(air), np.abs(air + springs)) if moves or system.model.springs else \
        np.full(len(x), np.nan)
    hinge = np.nan if np.isnan(force).all() else float(np.nanmax(force))
    error = 0.0 if np.isnan(hinge) else np.nanmax(force + may_rise(force, [x])) - hinge
    least = limit.least or 0.0
    needed = limit.most if np.isnan(hinge) else min(max(hinge, least), limit.most)
    return {"hinge": hinge, "most": limit.most, "least": least, "needed": needed,
            "positions": POSITIONS, "error": float(error)}
