"""Which stop ends each travel, and whether it does so before anything else."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..clearances import Stage, gaps, near_of, prove, scene_of
from ..motion import System
from ..search import crossings
from .faces import meeting

ALIKE = 0.05  # degrees (mm) within which stops of both sticks count as reached together
CLEAR = 1e-3  # mm of proven gap that counts as no contact
STEPS = 121


def find_stops(system: System):
    """Where each stop makes contact, and whether it governs.

    A stop is sought along its input with the others at 0.  It governs when its faces meet before
    those of the other stops of that end of the travel, before any two solids that are not meant
    to touch, and before any rod comes to the end of its reach.

    Parameters
    ----------
    system : System

    Returns
    -------
    DataFrame
        One row per stop: stop, input, angle (degrees, mm for a slide), one column per surface
        (deflection there, degrees), governs, reason.

    Raises
    ------
    LinkageError
        When a stop touches at neutral, never meets, or has a spacer thicker than its gap.
    """
    import pandas as pd

    meetings = [meeting(system, name) for name in system.model.stops]
    angles = [m.contact(m.thickness) for m in meetings]
    told = _governing(system, meetings, angles)
    rows = []
    for m, angle, (governs, reason) in zip(meetings, angles, told, strict=True):
        motion = system.sweep(**{m.stop.input: angle})
        rows.append({"stop": m.name, "input": m.stop.input, "angle": angle,
                     **{s: float(motion.deflection(s)) for s in system.model.surfaces},
                     "governs": governs, "reason": reason})
    return pd.DataFrame(rows, columns=["stop", "input", "angle", *system.model.surfaces,
                                       "governs", "reason"])


def ends_without_stop(system: System, stops) -> list[tuple[str, str]]:
    """Ends of travels that have stops of which none governs: ``[(input, side)]``.

    Parameters
    ----------
    system : System
    stops : DataFrame
        As `find_stops` gives it.
    """
    sides = {}
    for row in stops.to_dict("records"):
        key = row["input"], system.model.stops[row["stop"]].side
        sides[key] = sides.get(key, False) or bool(row["governs"])
    return [key for key, governed in sides.items() if not governed]


def _governing(system, meetings, angles):
    ends = {}
    for m, angle in zip(meetings, angles, strict=True):
        key = m.stop.input, m.stop.side
        ends[key] = min(ends.get(key, np.inf), abs(angle))
    troubles = {}
    for name in dict.fromkeys(name for name, _ in ends):
        troubles |= _troubles(system, name, {side: first for (n, side), first in ends.items()
                                             if n == name})
    return [_told(m, angle, zip(meetings, angles, strict=True), ends, troubles)
            for m, angle in zip(meetings, angles, strict=True)]


def _told(m, angle, others, ends, troubles):
    key = m.stop.input, m.stop.side
    late = abs(angle) - ends[key]
    if late > ALIKE:
        first = next(o for o, a in others
                     if (o.stop.input, o.stop.side) == key and abs(a) == ends[key])
        return False, f'"{first.name}" is reached {late:.2f} before it'
    return (False, troubles[key]) if troubles[key] else (True, "reached first")


def _troubles(system: System, name: str, first: dict) -> dict:
    """What happens before the stops of an input: ``{(input, side): sentence}``, "" when nothing.

    Parameters
    ----------
    system : System
    name : str
        The input.
    first : dict
        ``{side: size of the angle at which its first stop is reached}``.
    """
    box = (-first.get("least", 0.0), first.get("greatest", 0.0))
    near = [replace(pair, required=0.0) for pair in near_of(system)
            if name in pair.inputs and pair.rule not in ("stop", "waived")]
    touched = []
    if near:
        # contact is the question here, so a pair is in it until it is proven to stay open
        proof = prove(Stage(scene_of(system), near), {name: box}, 1.0, limit=CLEAR)
        touched = [pair.name for pair, low in zip(near, proof.proven, strict=True) if low < CLEAR]
    return {(name, side): _first_trouble(system, name, angle if side == "greatest" else -angle,
                                         touched) for side, angle in first.items()}


def _first_trouble(system, name, end, touched) -> str:
    x = np.linspace(0, end, STEPS)
    motion = system.sweep(**{name: x})
    if not motion.reachable.all():
        return (f"a rod comes to the end of its reach at {x[np.argmin(motion.reachable)]:+.2f} "
                f"before it")
    where = {}
    for pair in touched:
        found = crossings(lambda at, p=pair: gaps(system.sweep(**{name: at}), [p])[p], np.sort(x))
        if found.size:
            where[pair] = float(found[np.argmin(np.abs(found))])
    if not where:
        return ""
    pair = min(where, key=lambda p: abs(where[p]))
    return f"{pair} touch at {where[pair]:+.2f} before it"
