"""What a report holds, chapter by chapter."""

from __future__ import annotations

import platform
from importlib import metadata

import numpy as np

from .. import gearing, plots, tables
from ..clearances import NEAR, scene_of
from ..units import CAUTION, MM_PER, UNIT_WORDS, rounded_down, shown_length
from . import described
from .blocks import Grid, Heading, Picture, Text
from .chapters import (
    in_words,
    loads_chapter,
    rods_chapter,
    tightest,
    tolerance_chapter,
    with_units,
)
from .results import Results
from .sequence import rigging_sequence

ASSUMED = (
    "Parts are rigid and ball ends have no play; what bends, stretches or wears is not in the "
    "kinematics.",
    "Neutral is the posture of the hardpoints in the file; every angle counts from it.",
    "A least clearance was met at the stick position beside it; a proven one holds for every "
    "position of the whole wanted travel, to the last rounding, for the solids as drawn.",
    "Arcs of outlines are polygons that never lose material, within 0.01 mm; rods may spin about "
    "their own line.",
    "Required clearances are the file's own; those of its classes that it leaves out are after "
    "MIL-F-9490D, from memory, to be verified, and are no regulation for a light aircraft.")
CROWDED = 16  # hardpoints above which the sticks are drawn by themselves too
SEEN = 0.05  # degrees of deflection over the travel, below which a surface stands still
PARTS = ("numpy", "scipy", "pandas", "matplotlib", "shapely", "reportlab")


def contents(results: Results, more=()) -> list:
    """Blocks of the report.

    Parameters
    ----------
    results : Results
    more : sequence of callable
        Further chapters, each from the results to its blocks; they stand after the stops.

    Returns
    -------
    list of Heading, Text, Grid, Picture
    """
    chapters = [_opening, _modelled, _travels, _gearing, _clearance, _map, _stops, *more,
                loads_chapter, rods_chapter, tolerance_chapter, _rigging, _assumptions]
    return [block for chapter in chapters for block in chapter(results)]


def _opening(results):
    system = results.system
    yield Text(CAUTION, "caution")
    yield Text(f"Model file {results.source}, digest {results.digest} (SHA-256 of the file, first "
               f"16 digits).  Lengths are in {UNIT_WORDS[system.model.length]}, angles in degrees "
               f"from neutral.")
    yield Heading("What is missed, and what to know")
    for row in results.travels.to_dict("records"):
        if not row["ok"]:
            way = gearing.WAYS[row["way"]]
            yield Text(f"{row['surface']}: {row['required']:g}° {way} required, "
                       f"{row['found']:.2f}° found", "miss")
    if results.clearance is not None:
        yield from _clearance_missed(results)
    for name, side in results.ends_missed:
        yield Text(f"no stop governs at {name} {side}", "miss")
    for sentence in results.further_missed:
        yield Text(sentence, "miss")
    for finding in results.findings:
        yield Text(finding.text, "miss" if finding.miss else "plain")
    if not results.asked:
        yield Text("The file requires nothing that could be missed.")
    elif not results.missed:
        yield Text("Everything that the file requires is met, as computed, with the margins below.")
    if spare := tightest(results):
        yield Text(spare)


def _clearance_missed(results):
    unit = results.system.model.length
    for row in results.clearance.to_dict("records"):
        if not row["ok"]:
            verb = "touch" if row["least"] <= 0 else "come near"
            yield Text(f"{row['pair']} {verb}: least {shown_length(row['least'], unit)}, required "
                       f"{shown_length(row['required'], unit)}, at {_place(results, row)}", "miss")


def _place(results, row) -> str:
    return gearing.said_place(results.system,
                              {n: row[n] for n in gearing.box_of(results.system)})


def _modelled(results):
    system = results.system
    yield Heading("What was modelled")
    if system.model.points:
        axes = plots.three_view(system)
        yield Picture(axes.flat[0].figure, "Side, top and front view of the system at neutral by "
                                           "stations, with ghosts of its travel")
    sticks = described.sticks(system)
    if sticks and len(system.model.points) > CROWDED:
        axes = plots.three_view(system, parts=sticks)
        yield Picture(axes.flat[0].figure, f"The same, close to {', '.join(sticks)}")
    yield Grid("Inputs", described.inputs(system), "Wanted travel from neutral.")
    yield Grid("Moving parts", described.bodies(system))
    yield Grid("Rods", described.rods(system), "Length centre to centre.")
    yield Grid("Hardpoints", described.hardpoints(system), "At neutral.")
    if not system.model.solids:
        yield Text("The file describes no solids, so clearance, travel map, stops and spacers are "
                   "missing from this report.", "missing")


def _travels(results):
    yield Heading("Required travels against found ones")
    if results.travels.empty:
        yield Text("The file requires no travels, so there is nothing to compare with.", "missing")
        return
    data = results.travels.rename(columns={
        "required": "required °", "within": "within °", "found": "found °",
        "missed_by": "off by °", "ok": "met", "at": "found at °"})
    data = data.drop(columns="reached_at")
    data["way"] = [gearing.WAYS[way] for way in data["way"]]
    data["met"] = data["met"].astype(bool)
    yield Grid("Required travels", data, "Over the wanted travel, the other inputs at neutral.",
               said=in_words(results.system, data))


def _gearing(results):
    system = results.system
    yield Heading("Gearing")
    if not system.model.surfaces:
        yield Text("The file describes no surfaces, so gearing is missing.", "missing")
        return
    for name in gearing.box_of(system):
        moved = [s for s in system.model.surfaces
                 if np.ptp(system.sweep(**{name: system.inputs[name].travel}).deflection(s)) > SEEN]
        if moved:
            yield Picture(plots.gearing_curves(system, input=name).figure,
                          f"Deflection of each surface over {name}")
            table = tables.flat_gearing(system, gearing.gearing_table(system, name))
            other = "°/mm" if system.model.length == "in" else "°/in"
            for surface in moved:
                columns = [c for c in table.columns if not str(c).endswith(other) and (
                    str(c).startswith((f"{surface} ", "grip ")) or c == table.columns[0])]
                data = table[columns].rename(
                    columns=lambda c, s=surface: str(c).removeprefix(f"{s} "))
                yield Grid(f"{surface} over {name}", data, said=in_words(system, data, surface))
    for name, data in (("Differential", gearing.differential(system)),
                       ("Cross-talk", gearing.cross_talk(system)),
                       ("Sticks", tables.sticks(system)),
                       ("Left and right", gearing.symmetry(system)),
                       ("Over-centre margins", results.margins)):
        if not data.empty:
            data = with_units(system, data)
            yield Grid(name, data, NOTES[name], said=in_words(system, data))


NOTES = {"Differential": "Degrees up and down, and up over down.",
         "Cross-talk": "Degrees that another input moves a surface, at most.",
         "Sticks": "How far the two sticks differ over the whole travel.",
         "Left and right": "Left surface with the stick left against right with the stick right, "
                           "degrees.",
         "Over-centre margins": "Degrees; 0 is dead centre, 90 square; least over the whole "
                                "travel."}


def _clearance(results):
    yield Heading("Clearance over the whole travel, with proof")
    found = results.clearance
    if found is None:
        yield Text("Missing: the file describes no solids.", "missing")
        return
    data = tables.clearance_table(results.system, found)
    unit = results.system.model.length
    data["at"] = [_place(results, row) for row in found.to_dict("records")]
    data = data[~found["rule"].isin(["stop", "waived"]).to_numpy()]
    told = data[["pair", f"least {unit}", f"proven {unit}", f"required {unit}", "class", "met",
                 "at"]].sort_values(f"proven {unit}")
    yield Grid("Clearance", told, "Least was met at the stick position beside it; proven is never "
                                  "undercut anywhere in the travel.")
    yield Text(f"{len(found.attrs['far'])} further pairs are proven to stay farther apart than "
               f"required and {rounded_down(NEAR / MM_PER[unit], 2):.2f} {unit} more.")
    for pair, place in found.attrs["open"].items():
        yield Text(f"not proven near {gearing.said_place(results.system, place)}: {pair}", "miss")
    for pair, why in scene_of(results.system).waived.items():
        row = found[found["pair"] == pair]
        least = f" (least {shown_length(row['least'].iloc[0], unit)})" if len(row) else ""
        yield Text(f"Waived: {pair}{least}, because {why}")


def _map(results):
    yield Heading("Travel map")
    if results.travel_map is None:
        yield Text("Missing: a travel map needs solids and two inputs.", "missing")
        return
    yield Picture(plots.travel_map(results.system, found=results.travel_map).figure,
                  "The rectangle of both inputs with what can be reached free of contact")
    yield Text(f"{results.travel_map.usable:.1%} of the wanted rectangle is free of contact from "
               f"neutral on.")
    for side, limit in results.travel_map.sides.items():
        if limit:
            yield Text(f"toward {side}: {limit}")


def _stops(results):
    yield Heading("Stops and spacers")
    if results.stops is None:
        yield Text("Missing: the file describes no stops.", "missing")
        return
    data = tables.stops_table(results.system, results.stops)
    yield Grid("Stops", data, "Where each is reached along its input, the others at neutral.",
               said=in_words(results.system, data))
    made = described.spacers(results.system)
    if not made.empty:
        yield Grid("Spacers to make", made)
    twins = [there for _, there in gearing.twins(results.system, made["stop"])]
    for name in made["stop"]:
        if name not in twins and results.system.model.stops[name].spacer.stock:
            yield Picture(plots.spacer_chart(results.system, stop=name).figure,
                          f"Spacer thickness at {name} against stick angle and deflection")


def _rigging(results):
    yield Heading("Rigging sequence")
    yield Text("In the order of the drive.  Write each reading down and sign it; write the angles "
               "of the surfaces into the file of readings too, and linkage rig --readings finds "
               "what was built.")
    yield Grid("Rigging", rigging_sequence(results.system, results.stops),
               blank=("reading", "signed"))


def _assumptions(results):
    yield Heading("Assumptions, versions, signature")
    for line in ASSUMED:
        yield Text(line)
    told = ", ".join(f"{name} {metadata.version(name)}" for name in PARTS)
    yield Text(f"Made by linkage {metadata.version('linkage')} with Python "
               f"{platform.python_version()}, {told}, from {results.source}, digest "
               f"{results.digest}.")
    yield Grid("Signatures", _signatures(), blank=("name", "date", "signature"))
    yield Text(CAUTION, "caution")


def _signatures():
    import pandas as pd

    return pd.DataFrame([{"who": who, "name": "", "date": "", "signature": ""}
                         for who in ("built by", "checked by", "second check")])
