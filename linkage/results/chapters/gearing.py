"""Travels and gearing: what each surface does for each stick position."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from ... import gearing
from ...model import STATIONS
from ...motion import BEYOND
from ...units import LENGTHS
from ..blocks import (
    DataTable,
    Heading,
    Picture,
    Table,
    Text,
    as_read,
    as_typed,
    units_in_headings,
)
from ..columns import in_units, in_words

if TYPE_CHECKING:
    from ...motion.system import System
    from ..answers import Answers
    from ..blocks import Block

IN_BUILDS = (" Build: in the worst corners of the tolerances, rods set so that every part stands "
             "at neutral; met is judged by that.")
TABLES = ("Required travels", "Gearing over ", "Motion", "Differential", "Cross-talk", "Sticks",
          "Left and right", "Over-centre margins")
SEARCHED = ("The worst is searched over {}, not proven: on a grid of "
            f"{gearing.SAMPLES} positions of each input, closer and closer about it.")
ROUNDING = as_read("found °") | as_typed("required °", "within °") | \
    as_read("off by °", "build most °", toward=1) | as_read("build least °", toward=-1)
WANTED = SEARCHED.format("the wanted travel")
SEEN = 0.05  # degrees of deflection over the travel, below which a surface stands still
STEPS = 21  # stick positions along each input in the tables that are only data
MOST = 50_000  # rows of the table of every position
HEADS = {"movement": "movement {unit}", "edge": "edge movement {unit}",
         "deflection": "deflection °", "gearing": "gearing °/{position}", "level": "level reads °",
         **{f"per {name}": f"gearing °/{name}" for name in LENGTHS}}


def blocks(results: Answers) -> Iterator[Block]:
    """Blocks on required travels, gearing, and what should be alike."""
    yield Heading("Travels and gearing")
    yield from _required(results)
    if not results.system.model.surfaces:
        yield Text("Missing: the file describes no surfaces.", "missing")
    for part in (_curve, _along):
        for name in results.system.travel_box():
            yield from part(results, name)
    yield from _alike(results)
    yield DataTable("Motion", lambda: motion_table(results.system))


def _required(results):
    if results.travels.empty:
        yield Text("The file requires no travels, so there is nothing to compare with.", "missing")
        return
    data = results.travels.assign(way=[gearing.WAYS[way] for way in results.travels["way"]])
    order = np.argsort(data["ok"].astype(bool), kind="stable")
    data = data.iloc[order].rename(columns={"missed_by": "off_by", "at": "found_at"})
    built = "build_least" in data
    data = data.drop(columns="decided", errors="ignore")
    data = in_units(results.system, data,
                    angle="required within found off_by found_at reached_at build_least build_most")
    words = in_words(results.system, data)
    reached = next(column for column in data if column.startswith("reached at "))
    words[reached] = partial(_reached, results.system)
    yield Table("Required travels", data, "As drawn, up to the stop that governs, else to the "
                "wanted travel, the other inputs at neutral; a dash: reached nowhere up to "
                f"{BEYOND:g}° past the wanted travel; off by is rounded away from 0."
                + (IN_BUILDS if built else ""), words=words, rounding=ROUNDING)


def _reached(system, row, value) -> str:
    value *= gearing.position_unit(system, system.inputs[row["input"]])[1]
    low, high = system.inputs[row["input"]].travel
    past = "" if low <= value <= high else " (past the wanted travel)"
    return gearing.said_input(system, row["input"], value) + past


def _curve(results, name):
    if results.gearing is None:
        return
    table = results.gearing[name]
    moved = [part for part, what in table.columns if what == "deflection"
             and np.ptp(table[part, what].dropna()) > SEEN]
    if moved:
        yield Picture(lambda: _curves(results, name), f"Deflection of each surface over {name}")


def _along(results, name):
    system = results.system
    if results.gearing is None:
        return
    table = results.gearing[name]
    data = flat_gearing(system, table)
    yield Table(f"Gearing over {name}", data, "The other inputs at neutral.",
                words=in_words(system, data),
                rounding=as_read(*(head for head in data if head.endswith(" level reads °"))))
    yield DataTable(f"Gearing over {name}, fine steps", lambda: flat_gearing(
        system, gearing.gearing_table(
            system, name, np.linspace(*system.inputs[name].travel, 2 * STEPS - 1))))


def _curves(results, name):
    from ... import plots

    return plots.gearing_curves(results.system, plots.half_axes(), input=name,
                                travels=results.travels)


@units_in_headings
def flat_gearing(system: System, table: pd.DataFrame) -> pd.DataFrame:
    """A gearing table with plain headings in the file's own unit, its position first."""
    unit = system.model.length
    wanted = [(part, what) for part, what in table.columns
              if not what.startswith("per ") or what == f"per {unit}"]
    word, size = gearing.position_unit(system, system.inputs[table.index.name])
    columns = {f"{table.index.name} {word}": table.index / size}
    for part, what in wanted:
        per = LENGTHS[unit].mm if what in ("movement", "edge") else \
            1.0 / size if what == "gearing" else 1.0
        head = HEADS[what].format(unit=unit, position=word)
        columns[f"{part} {head}"] = table[part, what].to_numpy() / per
    return pd.DataFrame(columns)


def _alike(results):
    system = results.system
    ratio = results.differential.rename(columns={"position": "stick"})
    for name, data, angles, lengths, note in (
            ("Differential", ratio, "stick up down", "", "Degrees up (a rudder: right) and down "
             "(left), and the first over the second."),
            ("Cross-talk", results.cross_talk, "greatest", "",
             "Degrees that another input moves a surface.  " + WANTED),
            ("Sticks", results.sticks, "angle", "movement",
             "How far the two sticks differ.  " + WANTED),
            ("Left and right", results.symmetry, "greatest", "",
             "Left surface with the stick left against right with the stick right.  " + WANTED),
            ("Over-centre margins", results.margins, "margin", "",
             "Degrees, rounded down; 0 is dead centre, 90 square.  "
             + SEARCHED.format("what the stops leave"))):
        if not data.empty:
            shown = in_units(system, data, angle=angles, length=lengths)
            yield Table(name, shown.rename(columns={"margin °": "least °"}), note,
                        words=in_words(system, shown),
                        rounding=as_read("up °", "down °") | as_read("least °", toward=-1))


@units_in_headings
def motion_table(system: System) -> pd.DataFrame:
    """Every surface, body and named grip over a grid of the whole wanted travel.

    Parameters
    ----------
    system : System

    Returns
    -------
    DataFrame
        One row per stick position.
    """
    box = system.travel_box()
    steps = max(3, min(STEPS, math.floor(MOST ** (1 / max(1, len(box))))))
    sides = np.meshgrid(*(np.linspace(*travel, steps) for travel in box.values()), indexing="ij")
    motion = system.sweep(**dict(zip(box, sides, strict=True)))
    columns = {}
    for name, side in zip(box, sides, strict=True):
        word, size = gearing.position_unit(system, system.inputs[name])
        columns[f"{name} {word}"] = side / size
    columns |= {f"{surface} °": motion.deflection(surface) for surface in system.model.surfaces}
    for body, part in system.model.bodies.items():
        word, size = gearing.position_unit(system, part)
        columns[f"{body} from neutral {word}"] = motion.angle(body) / size
    unit = system.model.length
    for body, part in system.model.bodies.items():
        if "grip" in part.points:
            spot = motion.point(f"{body}/grip") / LENGTHS[unit].mm
            columns |= {f"{body}/grip {axis} {unit}": spot[..., i]
                        for i, axis in enumerate(STATIONS)}
    columns["reachable"] = motion.reachable
    return pd.DataFrame({name: np.ravel(value) for name, value in columns.items()})
