"""Chapters on what is made and carried: reliefs, loads and margins, rods and rod ends."""

from __future__ import annotations

from functools import partial

import numpy as np

from .. import gearing, plots, relief
from ..errors import LinkageError
from ..model import Plate, Washer
from ..units import MM_PER, shown_length
from .blocks import Grid, Heading, Picture, Text, bare
from .results import Results


def reliefs(results: Results):
    """Reliefs of the plates whose clearance is missed, and the files of their templates.

    Parameters
    ----------
    results : Results

    Returns
    -------
    (list of Relief, list of str)
        Reliefs that cure a miss, and a sentence for each plate that can't be relieved.
    """
    if results.clearance is None:
        return [], []
    solids, done, refused = results.system.model.solids, [], []
    missed = results.clearance[~results.clearance["ok"].astype(bool)]
    names = dict.fromkeys(side for pair in missed["pair"] for side in reversed(pair.split(" | "))
                          if isinstance(solids[side], Plate | Washer))
    for name in names:
        try:
            found = relief.relieve(results.system, name, relief.Options())
        except LinkageError as error:
            refused.append(str(error))
            continue
        if found.needed:
            done.append(found)
    return done, refused


def relief_chapter(results: Results, done, refused):
    """Blocks on what to cut away, each relief alone in the system as it stands."""
    yield Heading("Reliefs")
    if results.clearance is None:
        yield Text("Missing: the file describes no solids.", "missing")
        return
    if not done and not refused:
        yield Text("No plate misses a clearance, so there is nothing to cut away.")
    unit = results.system.model.length
    for each in done:
        yield Grid(f"Relief of {each.name}", _cured(each, unit),
                   f"{relief.said_area(each.cut.removed.area, unit)} to take away; narrowest left "
                   f"by it {relief.said_width(each.cut.ligament, unit)}.  Full-size templates are "
                   f"in the folder templates.")
    for sentence in refused:
        yield Text(f"No relief: {sentence}")


def _cured(each, unit):
    import pandas as pd

    per = MM_PER[unit]
    return pd.DataFrame([{"pair": row["pair"], f"required {unit}": row["required"] / per,
                          f"least before {unit}": row["before"] / per,
                          f"proven with it {unit}": row["after"] / per} for row in each.pairs])


def relief_files(done, paper: str) -> dict:
    """Templates of the relieved plates: ``{path in the folder: str or bytes}``."""
    return {f"templates/{name}": data for each in done
            for name, data in relief.relief_templates(each, paper).items() if name}


def loads_chapter(results: Results):
    """Blocks on what parts carry, and with which margins."""
    system, (found, why) = results.system, results.loads_or_why
    yield Heading("Loads and margins")
    if not found:
        yield Text(f"Missing: {why}.", "missing")
        return
    yield Picture(plots.rods_at_worst(system).figure, "What each rod carries at its worst")
    for title, name, columns, note in LOADS:
        data = with_units(system, found[name])
        if not data.empty:
            data = data[[c for c in data if bare(c) in columns]] if columns else data
            yield Grid(title, data, note, said=in_words(system, data))
    yield from _lacking(found["rod margins"])


def _lacking(rods):
    for row in rods.to_dict("records"):
        if row["missing"]:
            yield Text(f"rod {row['rod']}: no strength, as the file leaves out its "
                       f"{row['missing']}", "missing")
    silent = rods["rod"][np.isnan(rods["joint_margin"])]
    if len(silent):
        yield Text(f"No joint margin, as the file gives no joint strength: {', '.join(silent)}.",
                   "missing")


LOADS = (  # title, table, its columns ("" for all), how to read it
    ("Worst loads", "worst loads", "",
     "Greatest of each over every case and the whole travel, and where."),
    ("Rods as columns and tubes", "rod margins",
     ("rod", "tension", "compression", "slenderness", "column", "column margin", "tube margin"),
     "Margin: strength over load and factor, less 1; below 0 is missed."),
    ("Rod end joints", "rod margins", ("rod", "joint factor", "joint needs", "joint margin"),
     "Needs: load times factor, the ultimate strength that a joint has to have."),
    ("Torque tubes", "torque tubes", ("body", "moment", "margin"),
     "Shear alone; bending is not in it."),
    ("Lost motion", "lost motion", "",
     "Degrees that the surface gives way with the stick held, at limit load."))


def rods_chapter(results: Results):
    """Blocks on rods to make, what a turn does, rod ends and rig pins."""
    system = results.system
    yield Heading("Rods, rod ends and rig pins")
    if not system.model.rods:
        yield Text("Missing: the file describes no rods.", "missing")
        return
    found = results.rods
    for title, name, columns, note in RODS:
        data = with_units(system, found[name])
        if not data.empty:
            data = data[[c for c in data if bare(c) in columns]] if columns else data
            yield Grid(title, data, note, said=in_words(system, data))
    for row in found["rods"].to_dict("records"):
        if row["missing"]:
            yield Text(f"rod {row['rod']}: no tube length, as the file leaves out its "
                       f"{row['missing']}", "missing")
    if found["rig pins"].empty:
        yield Text("The file describes no rig pins.", "missing")


RODS = (
    ("Rods to make", "rods",
     ("rod", "length", "tube", "longer", "shorter"),
     "Length centre to centre; tube: cut length; what is left to turn each way."),
    ("Hardware", "rods", ("rod", "hardware"), "First end; second end."),
    ("What a turn does", "turns", "", "Of a rod end at neutral, the stick pinned."),
    ("Rod-end misalignment", "misalignment", "",
     "Of each rod end over the whole travel against what it allows."),
    ("Rig pins", "rig pins", "", "Where the holes are at neutral, and how far they are apart."))


def tolerance_chapter(results: Results):
    """Blocks on build tolerances, free play, wires and grips."""
    yield Heading("Tolerances, free play, wires and grips")
    system = results.system
    if not system.model.rods:
        yield Text("Missing: tolerances need rods.", "missing")
        return
    found = results.built
    for title, name, note in BUILT:
        if name in found:
            data = with_units(system, found[name])
            yield Grid(title, data, note, said=in_words(system, data))
    for title, name, _ in BUILT:
        if name not in found:
            yield Text(f"Missing: {title.lower()}, as the file says nothing of them.", "missing")


BUILT = (
    ("Tolerance bands", "tolerance bands",
     "How far a surface may come out, plus or minus, as made and with the rods set (rigged): worst "
     "case, root sum square; 99.73 of 100 builds by chance come out between low and high."),
    ("Free play", "free play bands",
     "Total from side to side: the surface with the stick held, the grip with the surface held."),
    ("Wires", "wires", "Free length over the whole travel; the bend against 10 diameters."),
    ("Grips", "grips", ""),
    ("Hands", "hands", "Room of the hand over the whole travel, proven."))


def in_words(system, data, surface: str | None = None) -> dict:
    """How positions and deflections of a table are said: TEU and aft, never a bare sign.

    Parameters
    ----------
    system : System
    data : DataFrame
        With the names that a report shows.
    surface : str, optional
        That a column named deflection is of.

    Returns
    -------
    dict
        As `Grid.said` takes it.
    """
    found = {}
    for column in data.columns:
        name = bare(str(column)).removeprefix("at ")
        if name in system.inputs:
            found[column] = partial(_said_input, system, name)
        elif name in system.model.surfaces:
            found[column] = partial(_said_surface, system, name)
        elif name == "deflection" and surface:
            found[column] = partial(_said_surface, system, surface)
        elif name in ("found at", "reached at", "at") and "input" in data.columns:
            found[column] = partial(_said_input, system, None)
        elif name == "drawn" and "surface" in data.columns:
            found[column] = partial(_said_surface, system, None)
    return found


def _said_input(system, name, row, value):
    name = name or row["input"]
    return gearing.said_input(system, name, value) if name else f"{value:.1f}"


def _said_surface(system, name, row, value):
    return gearing.said_surface(system, name or row["surface"], value, 2)


def with_units(system, data):
    """A table whose columns have spaces for underscores and say the unit of each input."""
    inputs = {name: f"{name} {control.unit}" for name, control in system.inputs.items()}
    inputs |= {"ok": "met", "turns_longer": "longer turns", "turns_shorter": "shorter turns"}
    return data.rename(columns=lambda c: inputs.get(c, str(c).replace("_", " ")))


def tightest(results: Results) -> str:
    """The required clearance that has the least to spare, in a sentence; "" without one."""
    if results.clearance is None:
        return ""
    held = results.clearance[~results.clearance["rule"].isin(["stop", "waived"])]
    if held.empty:
        return ""
    spare = held["proven"] - held["required"]
    row, unit = held.loc[spare.idxmin()], results.system.model.length
    return (f"Least to spare: {row['pair']}, proven {shown_length(row['proven'], unit)} of "
            f"{shown_length(row['required'], unit)} required.")
