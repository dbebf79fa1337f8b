"""Which stop ends each travel, and whether it does so before anything else."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..clearance import Stage, gaps, near_of, prove, scene_of
from ..motion import System
from ..search import crossings
from .contact import meeting

ALIKE = 0.05  # degrees (mm) within which stops of both sticks count as reached together
CLEAR = 1e-3  # mm of proven gap that counts as no contact
STEPS = 241


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
    told = []
    troubles = {key: _first_trouble(system, *key, first) for key, first in ends.items()}
    for m, angle in zip(meetings, angles, strict=True):
        key = m.stop.input, m.stop.side
        late = abs(angle) - ends[key]
        if late > ALIKE:
            first = next(o for o, a in zip(meetings, angles, strict=True)
                         if (o.stop.input, o.stop.side) == key and abs(a) == ends[key])
            told.append((False, f'"{first.name}" is reached {late:.2f} before it'))
        elif troubles[key]:
            told.append((False, troubles[key]))
        else:
            told.append((True, "reached first"))
    return told


def _first_trouble(system: System, name: str, side: str, first: float) -> str:
    """What happens before a stop at `first`: a sentence, or nothing when the way is clear."""
    sign = 1.0 if side == "greatest" else -1.0
    x = sign * np.linspace(0, first, STEPS)
    good = system.sweep(**{name: x}).reachable
    if not good.all():
        return f"a rod comes to the end of its reach at {x[np.argmin(good)]:+.2f} before it"
    box = {name: (min(0.0, sign * first), max(0.0, sign * first))}
    scene = scene_of(system)
    # contact is the question here, so a pair is in it until it is proven to stay open
    near = [replace(pair, required=0.0) for pair in near_of(system)
            if name in pair.inputs and pair.rule not in ("stop", "waived")]
    if not near:
        return ""
    proof = prove(Stage(scene, near), box, 1.0, limit=CLEAR)
    touched = [pair.name for pair, low in zip(near, proof.least, strict=True) if low <= 0]
    if not touched:
        return ""
    where = {pair: _first_contact(system, pair, name, x) for pair in touched}
    pair = min(where, key=lambda p: abs(where[p]))
    return f"{pair} touch at {where[pair]:+.2f} before it"


def _first_contact(system, pair, name, x):
    def gap(at):
        return gaps(system.sweep(**{name: at}), [pair])[pair]

    found = crossings(gap, np.sort(x))
    return float(found[np.argmin(np.abs(found))]) if found.size else 0.0


