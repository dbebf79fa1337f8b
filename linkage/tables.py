"""Every table of a system as CSV text, lengths in the file's own unit and named so."""

from __future__ import annotations

import numpy as np

from . import gearing
from .motion import System
from .units import MM_PER

STEPS = 21


def all_tables(system: System) -> dict:
    """Tables of travels, gearing and motion.

    Parameters
    ----------
    system : System

    Returns
    -------
    dict
        ``{name: CSV text}``.
    """
    tables = {f"gearing {name}": _flat(system, gearing.gearing_table(
        system, name, np.linspace(*system.inputs[name].travel, 2 * STEPS - 1)))
        for name in gearing.box_of(system)}
    tables |= {"required travels": gearing.required_travels(system),
               "differential": gearing.differential(system),
               "cross-talk": gearing.cross_talk(system),
               "sticks": _sticks(system), "symmetry": gearing.symmetry(system),
               "over-centre margins": gearing.margins(system), "motion": motion_table(system)}
    return {name.replace(" ", "_"): data.to_csv(index=False, lineterminator="\n")
            for name, data in tables.items()}


def motion_table(system: System):
    """Every surface, body and named grip over a grid of the whole wanted travel.

    Parameters
    ----------
    system : System

    Returns
    -------
    DataFrame
        One row per stick position.
    """
    import pandas as pd

    box = gearing.box_of(system)
    sides = np.meshgrid(*(np.linspace(*travel, STEPS) for travel in box.values()), indexing="ij")
    motion = system.sweep(**dict(zip(box, sides, strict=True)))
    columns = {f"{name} {system.inputs[name].unit}": side for name, side in
               zip(box, sides, strict=True)}
    columns |= {f"{surface} °": motion.deflection(surface) for surface in system.model.surfaces}
    columns |= {f"{body} {'mm' if part.slides else '°'} from neutral": motion.angle(body)
                for body, part in system.model.bodies.items()}
    unit = system.model.length
    for body, part in system.model.bodies.items():
        if "grip" in part.points:
            spot = motion.point(f"{body}/grip") / MM_PER[unit]
            columns |= {f"{body}/grip {axis} {unit}": spot[..., i]
                        for i, axis in enumerate(("FS", "BL", "WL"))}
    columns["reachable"] = motion.reachable
    return pd.DataFrame({name: np.ravel(value) for name, value in columns.items()})


def _flat(system, data):
    """A gearing table with plain column names, its position first."""
    unit = system.model.length
    flat = data.copy()
    names = []
    for part, what in data.columns:
        if what in ("movement", "edge"):
            flat[part, what] = data[part, what] / MM_PER[unit]
        said = {"movement": f"movement {unit}", "edge": f"edge movement {unit}",
                "deflection": "deflection °", "gearing": "gearing °/°", "per mm": "gearing °/mm",
                "per in": "gearing °/in", "level": "level reads °"}[what]
        names.append(f"{part} {said}")
    flat.columns = names
    flat.insert(0, f"{data.index.name} {system.inputs[data.index.name].unit}", data.index)
    return flat


def _sticks(system):
    data = gearing.stick_difference(system)
    unit = system.model.length
    data["movement"] = data["movement"] / MM_PER[unit]
    return data.rename(columns={"movement": f"movement {unit}", "angle": "angle °"})
