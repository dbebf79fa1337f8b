"""Which stop ends each travel, and whether it does so before anything else, proven."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..clearances import Stage, near_of, proven_apart, scene_of
from ..motion import System
from ..units import in_house_units
from .faces import FINE, Meeting, meeting
from .first import WITHIN, first_contact
from .reach import first_loss
from .ways import Ways

if TYPE_CHECKING:
    import pandas as pd

ALIKE = 0.05  # degrees (mm) within which stops of both sticks count as reached together


@in_house_units(position="angle free_to met_at")
def find_stops(system: System, proven: pd.DataFrame | None = None) -> pd.DataFrame:
    """Where each stop makes contact, and whether it governs.

    A stop is sought along its input with the others at 0.  It governs when its faces meet before
    those of the other stops of that end of the travel, before any two solids that are not meant
    to touch, and before any rod comes to the end of its reach.  All three are proven from neutral
    outward, never sampled: between `free_to` and `met_at` nothing is known, and where they are
    more than 1e-6 apart it is not decided, so that `governs` is False.

    Parameters
    ----------
    system : System
    proven : DataFrame, optional
        What `linkage.clearance` gave for this system: pairs that it proves apart all along a way
        are not followed along it again.

    Returns
    -------
    DataFrame
        One row per stop: stop, input, angle (degrees, mm for a slide), one column per surface
        (deflection there, degrees), governs, reason, free_to (its faces are proven apart from
        neutral up to there) and met_at (where their contact was met, which is `angle`).

    Raises
    ------
    LinkageError
        When a stop touches at neutral, never meets, or has a spacer thicker than its gap.
    """
    return system.kept("stops", lambda: _found(system, proven)).copy()


def _found(system, proven):
    import pandas as pd

    met = _met(system)
    governing = _governing(system, met, proven)
    rows = []
    for m, (governs, reason) in zip(met, governing, strict=True):
        motion = system.sweep(**{m.made.stop.input: m.met_at})
        rows.append({"stop": m.made.name, "input": m.made.stop.input, "angle": m.met_at,
                     **{s: float(motion.deflection(s)) for s in system.model.surfaces},
                     "governs": governs, "reason": reason, "free_to": m.free_to,
                     "met_at": m.met_at})
    return pd.DataFrame(rows, columns=["stop", "input", "angle", *system.model.surfaces,
                                       "governs", "reason", "free_to", "met_at"])


def ends_without_stop(system: System, stops: pd.DataFrame) -> list[tuple[str, str]]:
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


def drawn_ends(system: System, stops: pd.DataFrame | None = None) -> dict:
    """Both ends of each input, the others at 0: the drawn stop that governs, else the wanted end.

    Parameters
    ----------
    system : System
    stops : DataFrame, optional
        What `find_stops` gave, when it is known already.

    Returns
    -------
    dict
        ``{input: (least, greatest)}``, degrees (mm for a slide).

    Raises
    ------
    LinkageError
        As `find_stops`.
    """
    stops = find_stops(system) if stops is None else stops
    ends = {name: list(control.travel) for name, control in system.inputs.items()
            if control.body is not None}
    for row in stops[stops["governs"]].to_dict("records"):
        k = int(system.model.stops[row["stop"]].side == "greatest")
        ends[row["input"]][k] = float(row["met_at"])
    return {name: tuple(both) for name, both in ends.items()}


@dataclass(frozen=True, eq=False)
class _Met:
    """A stop, and its first contact along its input, degrees (mm)."""

    made: Meeting
    free_to: float
    met_at: float

    @property
    def end(self) -> tuple[str, str]:
        return self.made.stop.input, self.made.stop.side

    @property
    def decided(self) -> bool:
        return abs(self.met_at - self.free_to) <= WITHIN


def _met(system) -> list[_Met]:
    """First contact of every stop along its input."""
    made = [meeting(system, name) for name in system.model.stops]
    each = [_Met(m, *m.first(m.thickness)) for m in made]
    for one in each:
        if not one.free_to:
            one.made.check_neutral(one.made.thickness)
    for one in each:
        one.made.check_met(one.free_to, one.met_at)
    return each


def _governing(system, met, proven) -> list[tuple[bool, str]]:
    """Whether each stop governs, and why or why not."""
    first = {}
    for m in met:
        if m.end not in first or abs(m.met_at) < abs(first[m.end].met_at):
            first[m.end] = m
    troubles = _troubles(system, list(first.values()), proven) if first else {}
    return [_governs(m, first[m.end], [o for o in met if o.end == m.end], troubles) for m in met]


def _governs(m, first, beside, troubles):
    if abs(m.met_at) - abs(first.met_at) > ALIKE:
        return False, f'"{first.made.name}" is reached before it, at {m.made.said(first.met_at, 2)}'
    for other in beside:
        early = m if not m.decided else other
        if not early.decided and abs(m.met_at) - abs(early.free_to) > (
                WITHIN if early is m else ALIKE):
            return False, (f'not decided: the faces of "{early.made.name}" are proven apart up to '
                           f"{m.made.said(early.free_to, FINE)} only, where they graze each "
                           f"other")
    return (False, troubles[m.end]) if troubles[m.end] else (True, "reached first")


def _troubles(system: System, first, proven) -> dict:
    """What happens before the first stop of each end: ``{(input, side): sentence or ""}``."""
    ways = Ways.of_inputs([(m.made.stop.input, m.met_at) for m in first])
    free, met = first_loss(system, ways)
    losses = [("", free, met), *_touches(system, ways, first, proven)]
    names, free, met = (list(part) for part in zip(*losses, strict=True))
    return {m.end: _first_trouble(names, np.array(free)[:, k], np.array(met)[:, k], m)
            for k, m in enumerate(first)}


def _touches(system, ways, first, proven):
    """Each pair that is no stop: its name, and how far free and where met along each way."""
    near = [pair for pair in near_of(system) if pair.rule not in ("stop", "waived")]
    apart_to = _apart_to(system, proven, near, ways)
    asked = np.flatnonzero((apart_to < 1.0).any(axis=1))
    if not asked.size:
        return
    pairs = [near[k] for k in asked]
    moved = np.array([[m.made.stop.input in pair.inputs for m in first] for pair in pairs])
    contact = first_contact(Stage(scene_of(system), pairs), ways, moved, apart_to=apart_to[asked])
    for k, pair in enumerate(pairs):
        yield pair.name, contact.free_to[k], contact.met_at[k]


def _apart_to(system, proven, pairs, ways) -> np.ndarray:
    """Share of each way up to which pairs are proven apart by a clearance table: (pairs, ways)."""
    share = np.zeros((len(pairs), len(ways.ends)))
    for travel, low in () if proven is None else proven_apart(system, proven):
        ends = np.zeros((len(ways.ends), len(travel.names)))
        ends[:, [travel.names.index(name) for name in ways.names]] = ways.ends
        clear = np.array([low.get(pair.name, -np.inf) > 0 for pair in pairs], dtype=bool)
        share[clear] = np.maximum(share[clear], travel.held_to(ends))
    return share


def _first_trouble(names, free, met, stop) -> str:
    """What comes before the end of a way, a stop's, or isn't proven not to; "" when nothing."""
    if (free >= 1.0).all():
        return ""
    in_words, end = stop.made.said, stop.met_at
    k = int(met.argmin())
    if (1.0 - met[k]) * abs(end) > WITHIN:
        what = f"{names[k]} touch" if k else "a rod comes to the end of its reach"
        return f"{what} before it, at {in_words(met[k] * end, 2)}"
    k = int(free.argmin())
    if (1.0 - free[k]) * abs(end) <= WITHIN:
        what = f"{names[k]} touch" if k else "a rod comes to the end of its reach"
        return f"not decided: {what} within a millionth of it"
    what = f"{names[k]} are proven apart" if k else "every rod is proven to reach"
    return f"not decided: {what} up to {in_words(free[k] * end, FINE)} only"
