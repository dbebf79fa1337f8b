"""What the hand feels, as a table over stick positions that a page reads between."""

from __future__ import annotations

import numpy as np

from .. import loads
from ..motion import BEYOND, System
from .grid import axes_over

FINE = 4  # digits


def force_tables(system: System) -> dict | None:
    """Hand's force against the air loads and springs that the file gives, ready for the page.

    Parameters
    ----------
    system : System

    Returns
    -------
    dict or None
        None where the file gives no air load and no spring.  unit; of (what it is held against,
        in words); inputs: ``{name: {"axes": [[input, start, step, count], ...], "values":
        [...]}}``, + in the input's own sense, without friction, the last axis varying quickest,
        None out of reach; the inputs that have no axis stand at neutral.
    """
    model = system.model
    hinged = {name: part.hinge for name, part in model.surfaces.items() if part.hinge}
    if not hinged and not model.springs:
        return None
    axes = axes_over(system.travel_box(BEYOND))
    tables = {axis.name: _table(system, axis, _paired(axes, axis)) for axis in axes
              if loads.grips(system, axis.name)}
    felt = {name: each for name, each in tables.items() if any(each["values"])}
    return {"unit": model.unit.force, "of": _held_against(hinged, model.springs),
            "inputs": felt} if felt else None


def _held_against(hinged, springs) -> list[str]:
    """What the hand holds, in words: surfaces by the condition that their air load is of."""
    conditions = {}
    for name, hinge in hinged.items():
        conditions.setdefault(hinge.at, []).append(name)
    return [*(f"{', '.join(names)} at {at}" for at, names in conditions.items()),
            *(f"spring {name}" for name in springs)]


def _paired(axes, axis) -> list:
    """The axis and the one it is drawn against on the map, in the file's order."""
    flat = [each for each in axes if each.name in ("pitch", "roll")]
    flat = flat if len(flat) == 2 else list(axes[:2])
    return flat if axis in flat else [axis]


def _table(system, axis, over) -> dict:
    lines = {each.name: each.positions.reshape([-1 if n == k else 1 for n in range(len(over))])
             for k, each in enumerate(over)}
    force = loads.stick_force(system.sweep(**lines), axis.name) / system.model.unit.newton
    shape = [each.count for each in over]
    return {"axes": [[each.name, each.start, each.step, each.count] for each in over],
            "values": [None if np.isnan(v) else round(float(v), FINE)
                       for v in np.broadcast_to(force, shape).ravel()]}
