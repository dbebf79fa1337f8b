"""The rigging sequence in the order of the drive, with room for readings and signatures."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from .. import gearing
from ..model import SENSES
from ..motion import Close, Couple, Drive, System, body_of
from ..units import LENGTHS, shown_length
from .blocks import units_in_headings

if TYPE_CHECKING:
    import pandas as pd

BLANK = ""  # a cell to write into
TURN = 0.5  # turn of a rod end, the step it is rigged by; common practice


@units_in_headings
def rigging_sequence(system: System, stops: pd.DataFrame | None = None) -> pd.DataFrame:
    """Numbered steps: which way all goes, then pin the stick, set each rod, try the stops.

    Parameters
    ----------
    system : System
    stops : DataFrame, optional
        What `linkage.find_stops` gave, when it is known.

    Returns
    -------
    DataFrame
        Columns step, do, part, length (of a rod, centre to centre), expected (the reading, in
        words), tolerance, reading and signed (both to be filled in by hand).
    """
    import pandas as pd

    unit = system.model.length
    steps = [*_ways(system), *_pins(system), *_rods(system), *_neutrals(system),
             *_ends(system, stops)]
    rows = [{"step": k, "do": do, "part": part, f"length {unit}": length, "expected": expected,
             "tolerance": tolerance, "reading": BLANK, "signed": BLANK}
            for k, (do, part, length, expected, tolerance) in enumerate(steps, start=1)]
    return pd.DataFrame(rows, columns=["step", "do", "part", f"length {unit}", "expected",
                                       "tolerance", "reading", "signed"])


def _ways(system):
    """Before any length is set: which way every surface goes for each hand or foot movement."""
    for sentence in gearing.expected_steps(system):
        yield ("join the run roughly and see which way every surface goes; if one goes the other "
               "way, set nothing and find out why", sentence.split(":")[0], None, sentence, "")


def _pins(system):
    for step in system.plan.steps:
        if isinstance(step, Drive):
            yield (f"hold {step.input} at neutral with a rig pin or clamp", step.joint, None,
                   _level(system, step.joint), "")


def _level(system, body) -> str:
    part = system.model.bodies[body]
    if part.level is None:
        return "neutral as drawn"
    reading = float(gearing.level_reading(system.sweep(), body))
    return f"a level along {part.level[0]}, {part.level[1]} reads {reading:.1f}°"


def _rods(system):
    per, unit = LENGTHS[system.model.length].mm, system.model.length
    for step in system.plan.steps:
        if isinstance(step, Couple):
            yield ("join and set to neutral", step.joint, None, _level(system, step.joint), "")
            continue
        if isinstance(step, Drive):
            continue
        for rod in (step.rod,) if isinstance(step, Close) else step.rods:
            far = [body_of(end) for end in system.model.rods[rod].ends]
            joints = (step.joint,) if isinstance(step, Close) else step.joints
            yield from _rig_pins(system, joints)
            held = ", ".join(joints)
            within = system.model.tolerance.rod
            yield (f"set rod {rod} between {far[0]} and {far[1]}", held,
                   system.model.rod_length(rod) / per, _level(system, far[1])
                   if far[1] in system.model.bodies else "neutral as drawn",
                   f"±{shown_length(within, unit)}" if within else "")


def _rig_pins(system, joints):
    """Pins that hold a part at neutral while its rod is set."""
    for name, pin in system.model.rig_pins.items():
        if set(joints) & {body_of(hole) for hole in pin.holes}:
            within = shown_length(pin.within, system.model.length) if pin.within else ""
            yield (f"put rig pin {name} through {' and '.join(pin.holes)}", ", ".join(joints),
                   None, "goes in freely", within and f"±{within}")


def _neutrals(system):
    motion = system.sweep()
    for name, surface in system.model.surfaces.items():
        deflection = gearing.said_surface(system, name, float(motion.deflection(name)))
        yield f"read {name} with the stick pinned", surface.body, None, deflection, _within(surface)


def _within(surface) -> str:
    wide = [require.within for require in surface.require]
    return f"±{min(wide):g}°" if wide else ""


def _ends(system, stops):
    """Both ends of each input: against the stop met first, else at the wanted travel."""
    asked = set()
    for name, control in system.inputs.items():
        if control.body is None:
            continue
        for side, wanted in zip(("least", "greatest"), control.travel, strict=True):
            position, how = _end(system, stops, name, side, wanted)
            place = gearing.said_input(system, name, position)
            if place == gearing.said_place(system, {}) or (name, place) in asked:
                continue  # read with the stick pinned, or at the end before
            asked.add((name, place))
            motion = system.sweep(**{name: position})
            hand = "stick " if name in SENSES else ""
            for surface, part in system.model.surfaces.items():
                if abs(float(motion.gearing(surface)[name])) > 1e-6:
                    yield (f"{hand}{place}, {how}; read {surface}", part.body, None,
                           gearing.said_surface(system, surface,
                                                float(motion.deflection(surface))), _within(part))


def _end(system, stops, name, side, wanted):
    """Position of an end and how it is known: no farther than the first contact of any stop."""
    rows = [] if stops is None else [
        row for row in stops.to_dict("records") if row["input"] == name
        and system.model.stops[row["stop"]].side == side and math.isfinite(row["angle"])]
    if not rows:
        return wanted, "to the wanted travel"
    first = min(rows, key=lambda row: (not row["governs"], abs(row["angle"])))
    if first["governs"] or abs(first["angle"]) <= abs(wanted):
        return first["angle"], f"against {first['stop']}"
    return wanted, f"to the wanted travel, short of {first['stop']}"


def _short_of(position, wanted) -> float:
    """The end to be read at: as wanted, or short of the stop to a tenth that a level shows."""
    return wanted if abs(position) >= abs(wanted) else math.trunc(position * 10) / 10


@units_in_headings
def readings_form(system: System, digest: str,
                  stops: pd.DataFrame | None = None) -> pd.DataFrame:
    """Table to fill in: one row per reading, with the model's digest in each.

    Parameters
    ----------
    system : System
    digest : str
    stops : DataFrame, optional
        What `linkage.find_stops` gave, when it is known: no reading is asked for past a stop.

    Returns
    -------
    DataFrame
        As `linkage rig --readings` takes it, once the surface angles are filled in.
    """
    import pandas as pd

    rows = []
    for name, control in system.inputs.items():
        if control.body is None:
            continue
        ends = [_short_of(_end(system, stops, name, side, wanted)[0], wanted) for side, wanted in
                zip(("least", "greatest"), control.travel, strict=True)]
        for position in sorted({*ends, 0.0}):
            motion = system.sweep(**{name: position})
            rows += [{"input": name, "stick angle": position, "surface": surface,
                      "surface angle": BLANK, "model": digest}
                     for surface in system.model.surfaces
                     if abs(float(motion.gearing(surface)[name])) > 1e-6]
    return pd.DataFrame(rows, columns=["input", "stick angle", "surface", "surface angle",
                                       "model"])
