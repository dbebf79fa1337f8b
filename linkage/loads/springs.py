"""What springs pull and turn with, and what that asks of the hand."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..errors import LinkageError, mm
from ..stops import judged_box
from ..units import in_house_units
from .pilot_forces import grip_rate

if TYPE_CHECKING:
    import pandas as pd

    from ..model import Spring
    from ..motion import Motion, System

LOOKS = {1: 121, 2: 31, 3: 13}  # positions of each input, by how many there are
APART = 1e-6  # mm between the ends of a spring, below which it has no line to pull along


def spring_forces(motion: Motion) -> dict:
    """Pull of every spring between two points, and moment of every one at a pivot.

    Parameters
    ----------
    motion : Motion

    Returns
    -------
    dict
        ``{spring: ndarray (...)}`` N, a pull positive; at a pivot N mm on the body about its axis
        as written.  NaN out of reach.

    Raises
    ------
    LinkageError
        Where a spring's table ends before the travel does, or its two ends meet.

    Notes
    -----
    Rate x (length - free), no less than 0 of one that only pulls and no more of one that only
    pushes; at a pivot rate x (free angle - angle).  A preload is the pull between the points as
    drawn, or the moment at 0.
    """
    return {name: _force(motion, name, spring)
            for name, spring in motion.system.model.springs.items()}


def _force(motion, name, spring):
    over = spring_lengths(motion, name)
    if spring.ends is not None and np.nanmin(over, initial=np.inf) < APART:
        raise LinkageError(f'spring "{name}": its two ends meet within the travel, where it has no '
                           f"line to pull along; move one of them", spring=name)
    if spring.table is not None:
        return _from_table(name, spring, over)
    if spring.pivot is not None:
        free = spring.free_angle if spring.preload is None else spring.preload / spring.rate
        return spring.rate * (free - over)
    drawn = np.linalg.norm(np.subtract(*map(motion.system.model.position, spring.ends)))
    pull = spring.rate * (over - spring.free) if spring.preload is None else \
        spring.preload + spring.rate * (over - drawn)
    return _clipped(spring, pull)


def _clipped(spring: Spring, pull):
    return {"pull": np.maximum, "push": np.minimum}[spring.way](pull, 0.0) \
        if spring.way != "both" else pull


def _from_table(name, spring, over):
    places, forces = np.transpose(spring.table)
    low, high = np.nanmin(over, initial=np.inf), np.nanmax(over, initial=-np.inf)
    if low < places[0] or high > places[-1]:
        worst = low if low < places[0] else high
        shown = mm if spring.pivot is None else (lambda k: f"{k:.2f}°")
        raise LinkageError(f'spring "{name}": its table goes from {shown(places[0])} to '
                           f"{shown(places[-1])}, and within the travel it comes to "
                           f"{shown(worst)}; add a pair beyond that", spring=name)
    return _clipped(spring, np.where(np.isfinite(over), np.interp(over, places, forces), np.nan))


def spring_lengths(motion: Motion, name: str) -> np.ndarray:
    """Length of a spring, mm; of one at a pivot the angle of its body from neutral, degrees.

    Parameters
    ----------
    motion : Motion
    name : str

    Returns
    -------
    ndarray, shape (...)
    """
    spring = motion.system.model.springs[name]
    if spring.ends is not None:
        one, other = (motion.point(end) for end in spring.ends)
        return np.linalg.norm(other - one, axis=-1)
    state = motion.posture.states.get(spring.pivot)
    return np.array(np.broadcast_to(0.0 if state is None else np.degrees(state.value),
                                    motion.shape))


def spring_power(motion: Motion, name: str) -> np.ndarray:
    """What all springs give per radian (mm) of an input, N mm (N): minus their energy's rate.

    Parameters
    ----------
    motion : Motion
    name : str
        The input.

    Returns
    -------
    ndarray, shape (...)
    """
    index, total = list(motion.system.inputs).index(name), np.zeros(motion.shape)
    for spring, force in spring_forces(motion).items():
        part = motion.system.model.springs[spring]
        if part.ends is None:
            rate = motion.input_rates.joints.get(part.pivot, 0.0)
            total += force * (rate[index] if np.ndim(rate) else rate)
            continue
        one, other = (motion.point(end) for end in part.ends)
        along = (other - one) / np.linalg.norm(other - one, axis=-1, keepdims=True)
        away = grip_rate(motion, part.ends[1], name) - grip_rate(motion, part.ends[0], name)
        total -= force * np.sum(along * away, axis=-1)
    return total


@in_house_units(by_row="length load shortest longest least most")
def spring_table(system: System) -> pd.DataFrame:
    """Length and load of every spring at neutral and over the whole travel.

    Parameters
    ----------
    system : System

    Returns
    -------
    DataFrame
        One row per spring: spring, on (its ends, or its body), turns (whether it is at a pivot),
        length and load at neutral (mm and N, a pull positive; at a pivot degrees and N mm),
        shortest and longest, least and most: over ``attrs["grid"]`` positions of the travel that
        the stops leave.
    """
    import pandas as pd

    box = judged_box(system)
    sides = np.meshgrid(*(np.linspace(*ends, LOOKS.get(len(box), 7)) for ends in box.values()),
                        indexing="ij")
    whole, neutral = system.sweep(**dict(zip(box, sides, strict=True))), system.sweep()
    loads, still = spring_forces(whole), spring_forces(neutral)
    rows = []
    for name, spring in system.model.springs.items():
        over = spring_lengths(whole, name)
        rows.append({"spring": name, "on": spring.pivot or " to ".join(spring.ends),
                     "turns": spring.pivot is not None,
                     "length": float(spring_lengths(neutral, name)), "load": float(still[name]),
                     "shortest": np.nanmin(over), "longest": np.nanmax(over),
                     "least": np.nanmin(loads[name]), "most": np.nanmax(loads[name])})
    table = pd.DataFrame(rows, columns=["spring", "on", "turns", "length", "load", "shortest",
                                        "longest", "least", "most"])
    table.attrs["grid"] = int(np.prod(whole.shape)) if whole.shape else 1
    return table
