"""Every table of a system, lengths in the file's own unit and every unit in its column's name."""

from __future__ import annotations

import numpy as np

from . import gearing, loads, rigging
from .clearances import clearance
from .model import STATIONS
from .motion import System
from .stops import find_stops
from .units import FORCE_PER, MM_PER, MOMENT_PER

STEPS = 21


def all_tables(system: System) -> dict:
    """Tables of travels, gearing and motion, and of clearance and stops where there are solids.

    Parameters
    ----------
    system : System

    Returns
    -------
    dict
        ``{name: DataFrame}``.
    """
    tables = {f"gearing {name}": flat_gearing(system, gearing.gearing_table(
        system, name, np.linspace(*system.inputs[name].travel, 2 * STEPS - 1)))
        for name in gearing.box_of(system)}
    tables |= {"required travels": gearing.required_travels(system),
               "differential": gearing.differential(system),
               "cross-talk": gearing.cross_talk(system),
               "sticks": sticks(system), "symmetry": gearing.symmetry(system),
               "over-centre margins": gearing.margins(system), "motion": motion_table(system)}
    if system.model.solids:
        tables |= {"clearance": clearance_table(system)}
    if system.model.stops:
        tables |= {"stops": stops_table(system)}
    return tables


def clearance_table(system: System, found=None):
    """Least and proven clearance of every listed pair, and where.

    Parameters
    ----------
    system : System
    found : DataFrame, optional
        What `clearance` gave; worked out unless given.

    Returns
    -------
    DataFrame
    """
    found = clearance(system) if found is None else found
    unit = system.model.length
    per = MM_PER[unit]
    data = found[["pair"]].assign(**{f"{word} {unit}": found[word] / per
                                     for word in ("least", "proven", "required")})
    data["class"], data["met"] = found["rule"], found["ok"].astype(bool)
    for name in gearing.box_of(system):
        data[f"at {name} {system.inputs[name].unit}"] = found[name]
    for word in ("first", "second"):
        for axis, station in enumerate(STATIONS):
            data[f"{word} {station} {unit}"] = [spot[axis] / per for spot in found[word]]
    return data


def stops_table(system: System, found=None):
    """Where each stop is reached, with which spacer, and what the surfaces do there.

    Parameters
    ----------
    system : System
    found : DataFrame, optional
        What `find_stops` gave; worked out unless given.

    Returns
    -------
    DataFrame
    """
    found = find_stops(system) if found is None else found
    unit, stops = system.model.length, system.model.stops
    data = found[["stop", "input"]].copy()
    data["side"] = [stops[name].side for name in found["stop"]]
    data[f"spacer {unit}"] = [stops[name].spacer.thickness / MM_PER[unit]
                              if stops[name].spacer else np.nan for name in found["stop"]]
    per_input = {system.inputs[name].unit for name in found["input"]}
    data[f"reached at {'/'.join(sorted(per_input))}"] = found["angle"]
    for surface in system.model.surfaces:
        data[f"{surface} °"] = found[surface]
    data["governs"], data["why"] = found["governs"].astype(bool), found["reason"]
    return data


def loads_tables(system: System) -> dict:
    """Tables of loads, margins, lost motion and stick force.

    Parameters
    ----------
    system : System

    Returns
    -------
    dict
        ``{name: DataFrame}``; forces and moments in the units that go with the file's lengths.
    """
    worst = loads.worst_loads(system)
    (force, newton), (moment, newton_mm) = (
        per[system.model.length] for per in (FORCE_PER, MOMENT_PER))
    turning = worst["what"].isin(["across", "about", "tube"])
    each = worst.assign(value=worst["value"] / np.where(turning, newton_mm, newton),
                        unit=np.where(turning, moment, force))
    rods, tubes = loads.rod_margins(system, worst), loads.tube_margins(system, worst)
    tables = {"worst loads": each, "torque tubes": _in(tubes, {"moment": (moment, newton_mm)}),
              "rod margins": _in(rods, {
                  name: (force, newton) for name in ("tension", "compression", "column",
                                                     "joint_needs")} | {
                  "length": (system.model.length, MM_PER[system.model.length])}),
              "lost motion": loads.lost_motion_table(system)}
    for name in gearing.box_of(system):
        if loads.grips(system, name):
            data = loads.stick_force_table(system, name).reset_index()
            tables[f"stick force {name}"] = _in(data, {
                column: (moment, newton_mm) if column.startswith("moment") else (force, newton)
                for column in data.columns[1:]})
    return tables


def _in(data, units: dict):
    """Columns in other units, and named so: ``{column: (unit, size of it)}``."""
    return data.assign(**{c: data[c] / per for c, (_, per) in units.items()}).rename(
        columns={c: f"{c} {unit}" for c, (unit, _) in units.items()})


def rig_tables(system: System, adjustment=None, fit=None) -> dict:
    """Tables of rods, rod ends, turns, misalignment and rig pins, and what was asked besides.

    Parameters
    ----------
    system : System
    adjustment : rigging.Adjustment, optional
    fit : (rigging.Readings, rigging.AsBuilt), optional

    Returns
    -------
    dict
        ``{name: DataFrame}``.
    """
    tables = {"rods": rigging.rod_sheet(system), "rod ends": rigging.end_sheet(system),
              "turns": rigging.turns(system), "misalignment": rigging.misalignment(system),
              "rig pins": rigging.rig_pins(system)}
    if adjustment is not None:
        tables["adjustment"] = adjustment.turns
    done = {name: _in_unit(system, data) for name, data in tables.items()}
    if fit is not None:
        done |= {"as built": _unknowns(system, fit[1].table), "readings": _explained(*fit)}
    return done


MEASURES = ("length", "tube", "longer", "shorter", "thread_pitch", "engaged", "needed", "most",
            "per_turn", "x", "y", "z", "apart", "within", "change", "left")


def _in_unit(system, data):
    """A table with its lengths in the file's unit, which their names say; angles say degrees."""
    unit, done = system.model.length, data.copy()
    for name in data.columns:
        if name in MEASURES:
            done[name] = data[name].astype(float) / MM_PER[unit]
    angles = ("turn", "half_turn", "neutral", "greatest", "allowed")
    stations = dict(zip("xyz", STATIONS, strict=True))
    return done.rename(columns={name: f"{stations.get(name, name)} {unit}" for name in MEASURES} |
                       {name: f"{name} °" for name in angles} |
                       {name: f"{name} {c.unit}" for name, c in system.inputs.items()})


def _unknowns(system, data):
    """What was fitted, rods in the file's length unit."""
    rods, done = data["kind"] == "rod", data.copy()
    for name in ("value", "error"):
        done[name] = data[name].where(~rods, data[name] / MM_PER[system.model.length])
    return done.assign(unit=np.where(rods, system.model.length, "°"))


def _explained(readings, fit):
    import pandas as pd

    return pd.DataFrame({"input": readings.input, "stick": readings.stick,
                         "surface": readings.surface, "read °": readings.angle,
                         "read less explained °": fit.residuals})


def tolerance_tables(study) -> dict:
    """Tolerances, free play, wires and what they come near, and grips.

    Parameters
    ----------
    study : rigging.Study

    Returns
    -------
    dict
        ``{name: DataFrame}``.
    """
    system, per = study.system, MM_PER[study.system.model.length]
    moves = [study.drilled.assign(rods="as made"), study.rigged.assign(rods="set to neutral")]
    tables = {"tolerance bands": study.bands(), "contributors": _joined(moves),
              "free play": study.play, "free play bands": study.play_bands(),
              "wires": study.wires, "grips": study.grips, "hands": study.hands,
              "chafing": _joined([found.assign(wire=wire)
                                  for wire, found in study.chafing.items()])}
    tables["contributors"]["per_mm"] *= per
    for word in ("least_at", "greatest_at"):
        tables["wires"] = tables["wires"].assign(**{word: [
            gearing.said_place(system, place) for place in study.wires[word]]})
    return {name: _measured(system, data) for name, data in tables.items() if len(data)}


def _joined(tables):
    import pandas as pd

    return pd.concat(tables, ignore_index=True) if tables else pd.DataFrame()


TURNS = ("drawn", "worst", "rss", "rigged_worst", "rigged_rss", "low", "high", "moves",
         "surface_moves", "clocking")
RUNS = ("tolerance", "play", "grip_moves", "grip_worst", "grip_rss", "least", "greatest",
        "never_more", "needed", "to_exit", "length", "spare", "bend", "bend_limit", "gap", "reach",
        "required", "proven", "bore", "shaft")


def _measured(system, data):
    """A table whose columns say their units, lengths in the file's."""
    unit = system.model.length
    done = data.assign(**{word: data[word].astype(float) / MM_PER[unit]
                          for word in RUNS if word in data})
    names = {word: f"{word} {unit}" for word in RUNS} | {word: f"{word} °" for word in TURNS}
    names |= {name: f"at {name} {control.unit}" for name, control in system.inputs.items()}
    return done.rename(columns={"per_mm": f"° per {unit}", **names}).rename(
        columns=lambda word: word.replace("_", " "))


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
                        for i, axis in enumerate(STATIONS)}
    columns["reachable"] = motion.reachable
    return pd.DataFrame({name: np.ravel(value) for name, value in columns.items()})


def flat_gearing(system, data):
    """A gearing table with plain column names, its position first.

    Parameters
    ----------
    system : System
    data : DataFrame
        As `gearing.gearing_table` gives it.

    Returns
    -------
    DataFrame
    """
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


def sticks(system: System):
    """How far the sticks differ, as `gearing.stick_difference`, in the file's own unit."""
    data = gearing.stick_difference(system)
    unit = system.model.length
    data["movement"] = data["movement"] / MM_PER[unit]
    return data.rename(columns={"movement": f"movement {unit}", "angle": "angle °"})
