"""What the file describes, in its own length unit."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from ...model import AIRFRAME, STATIONS, Plate
from ...model.shapes import SIDES
from ...motion import System
from ...units import LENGTHS, rounded_text
from ..blocks import Heading, Picture, Table, Text, units_in_headings

if TYPE_CHECKING:
    from ..answers import Answers
    from ..blocks import Block

TABLES = ("Inputs", "Moving parts", "Rods", "Hardpoints", "Plates")
CROWDED = 16  # hardpoints above which the sticks are drawn by themselves too


def blocks(results: Answers) -> Iterator[Block]:
    """Blocks on what was modelled."""
    system = results.system
    yield Heading("What the file describes")
    yield Table("Inputs", inputs(system), "Wanted travel from neutral.")
    yield Table("Moving parts", bodies(system))
    yield Table("Rods", rods(system), "Length centre to centre.")
    yield Table("Hardpoints", hardpoints(system), "At neutral.")
    if any(isinstance(solid, Plate) for solid in system.model.solids.values()):
        yield Table("Plates", plates(system), "Which way the corners [u, v] of each outline are "
                                              "counted, at neutral: v is normal x u.")
    if system.model.points:
        yield Picture(_view(system), "Side, top and front view of the system at neutral by "
                                     "stations, with ghosts of its travel")
    held = held_parts(system)
    if held and len(system.model.points) > CROWDED:
        yield Picture(_view(system, parts=held), f"The same, close to {', '.join(held)}")
    if not system.model.solids:
        yield Text("The file describes no solids, so clearance, travel map, stops and spacers are "
                   "missing.", "missing")


def _view(system, **options):
    def draw():
        from ... import plots

        return plots.three_view(system, **options)

    return draw


@units_in_headings
def plates(system: System) -> pd.DataFrame:
    """Which way u and v of every plate's outline go: DataFrame of plate, normal, u, v."""
    rows = []
    for name, solid in system.model.solids.items():
        if isinstance(solid, Plate):
            u, v, normal = (_way(each) for each in solid.axes)
            rows.append({"plate": name, "normal": normal, "u": u, "v": v})
    return pd.DataFrame(rows, columns=["plate", "normal", "u", "v"])


def _way(vector) -> str:
    """A direction in a word where it is along a station, else its parts along FS, BL, WL."""
    for word, along in SIDES.items():
        if np.allclose(vector, along, atol=1e-6):
            return word
    return "[" + ", ".join(rounded_text(float(part), 3) for part in vector) + "]"


@units_in_headings
def hardpoints(system: System) -> pd.DataFrame:
    """Every hardpoint at neutral: DataFrame of part, point and stations."""
    unit = system.model.length
    rows = []
    for name in system.model.points:
        part, point = name.split("/", 1)
        place = (k / LENGTHS[unit].mm for k in system.model.position(name))
        rows.append({"part": part, "point": point,
                     **{f"{axis} {unit}": k for axis, k in zip(STATIONS, place, strict=True)}})
    return pd.DataFrame(rows, columns=["part", "point", *(f"{s} {unit}" for s in STATIONS)])


def held_parts(system: System) -> list[str]:
    """Parts that a hand holds, what carries them, and the rods on them."""
    bodies = system.model.bodies
    held = [name for name, part in bodies.items() if "grip" in part.points]
    near = dict.fromkeys([*held, *(bodies[name].on for name in held if bodies[name].on in bodies)])
    rods = [name for name, rod in system.model.rods.items()
            if {end.split("/")[0] for end in rod.ends} & set(near)]
    return [*near, *rods] if held else []


@units_in_headings
def inputs(system: System) -> pd.DataFrame:
    """Every input with its wanted travel and what it drives."""
    length = system.model.length
    rows = [{"input": name, "drives": control.body or "nothing", "grip": control.grip or "–",
             "from": control.travel[0] / per, "to": control.travel[1] / per, "counted in": unit}
            for name, control in system.inputs.items()
            for unit, per in [(length, LENGTHS[length].mm) if control.slides else ("°", 1.0)]]
    return pd.DataFrame(rows, columns=["input", "drives", "grip", "from", "to", "counted in"])


@units_in_headings
def bodies(system: System) -> pd.DataFrame:
    """Every moving body: what carries it, and how it moves."""
    rows = [{"part": name, "carried by": "" if part.on == AIRFRAME else part.on,
             "moves": "slides" if part.slides else "turns",
             **{f"axis {axis}": k for axis, k in zip("xyz", part.direction, strict=True)},
             "solids": ", ".join(part.solids) or "none"}
            for name, part in system.model.bodies.items()]
    for row in rows:
        row["carried by"] = row["carried by"] or AIRFRAME
    return pd.DataFrame(rows, columns=["part", "carried by", "moves", "axis x", "axis y", "axis z",
                                       "solids"])


@units_in_headings
def rods(system: System) -> pd.DataFrame:
    """Every rod with its ends and its length centre to centre."""
    unit = system.model.length
    rows = [{"rod": name, "from": rod.ends[0], "to": rod.ends[1],
             f"length {unit}": system.model.rod_length(name) / LENGTHS[unit].mm,
             "length is": "given" if rod.length is not None else "from its points"}
            for name, rod in system.model.rods.items()]
    return pd.DataFrame(rows, columns=["rod", "from", "to", f"length {unit}", "length is"])
