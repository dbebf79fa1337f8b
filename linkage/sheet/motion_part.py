"""The shop sheet: findings, travels and gearing, in the file's own length unit."""

from __future__ import annotations

import math

from .. import gearing
from ..model import is_rudder
from ..motion import System
from ..units import MM_PER, shown_length
from .text import number, section, table


def gearing_sheet(system: System) -> tuple[str, int]:
    """Findings, travels and gearing as text.

    Parameters
    ----------
    system : System

    Returns
    -------
    (str, int)
        The sheet, and how many requirements are missed.
    """
    margins = gearing.margins(system)
    judged = gearing.directions(system)
    found = gearing.find(system, margins, judged)
    travels = gearing.required_travels(system)
    parts = [_findings(found), _directions(judged), _travels(system, travels)]
    parts += [_one_input(system, name) for name in gearing.box_of(system)]
    parts += [_differential(system), _cross_talk(system), _sticks(system), _symmetry(system),
              _margins(system, margins)]
    missed = sum(f.miss for f in found) + int((~travels["ok"].astype(bool)).sum())
    return "\n\n".join(part for part in parts if part), missed


def _findings(found) -> str:
    if not found:
        return section("Findings", "none")
    return section("Findings", "\n".join(f"{'MISS' if f.miss else 'note'}  {f.text}"
                                         for f in found))


def _directions(judged) -> str:
    if not judged:
        return section("Directions", "no surface in the file")
    rows = [[each.end or "–", each.surface, each.goes, each.due or "–", each.outcome]
            for each in judged]
    return section("Directions, judged at neutral, at both ends and proven over the whole wanted "
                   "travel", table(["hand or foot", "surface", "goes", "has to go", ""], rows))


def _travels(system, travels) -> str:
    if travels.empty:
        return section("Required travels", "none asked for in the file")
    rows = []
    for row in travels.to_dict("records"):
        name = row["input"]
        rows.append([row["surface"], _way(system, row), f"{row['required']:g}±{row['within']:g}",
                     number(row["found"], 2), number(row["missed_by"], 2, "+"),
                     "pass" if row["ok"] else "MISS",
                     gearing.said_input(system, name, row["at"]) if name else "no input moves it",
                     _reached(system, name, row["reached_at"])])
    return section("Required travels", table(
        ["surface", "way", "required", "found", "off by", "", "found at", "required reached at"],
        rows))


def _way(system, row) -> str:
    return gearing.WAYS[row["way"]]


def _reached(system, name, value) -> str:
    if name is None or not math.isfinite(value):
        return f"nowhere within {gearing.BEYOND:g}° past the travel"
    low, high = system.inputs[name].travel
    past = "" if low <= value <= high else " (past the wanted travel)"
    return gearing.said_input(system, name, value) + past


def _one_input(system, name) -> str:
    low, high = system.inputs[name].travel
    data = gearing.gearing_table(system, name)
    unit = system.model.length
    headings = [name]
    columns = [[gearing.said_input(system, name, x) for x in data.index]]
    for part, what in data.columns:
        values = data[part, what].to_numpy()
        if what == "per mm" and unit == "in" or what == "per in" and unit == "mm":
            continue
        headings.append(_headline(system, part, what, unit))
        columns.append([_cell(system, part, what, value) for value in values])
    title = (f"{name.capitalize()} {gearing.said_input(system, name, low)} to "
             f"{gearing.said_input(system, name, high)}, other inputs at neutral")
    return section(title, _in_halves(headings, columns))


def _in_halves(headings, columns, width: int = 110) -> str:
    """A wide table set as several below each other, each led by the first column."""
    texts, first = [], 1
    while first < len(columns):
        last = first + 1
        while last < len(columns) and _width(headings, columns, first, last + 1) <= width:
            last += 1
        chosen = [0, *range(first, last)]
        texts.append(table([headings[i] for i in chosen],
                           list(zip(*(columns[i] for i in chosen), strict=True))))
        first = last
    return "\n\n".join(texts) if texts else table(headings, [[cell] for cell in columns[0]])


def _width(headings, columns, first, last) -> int:
    return sum(2 + max(len(headings[i]), *(len(c) for c in columns[i]))
               for i in [0, *range(first, last)])


def _headline(system, part, what, unit) -> str:
    return {"movement": f"grip {unit}", "deflection": part, "edge": f"edge {unit}",
            "gearing": "°/°", "per mm": "°/mm", "per in": "°/in",
            "level": f"{part} level reads"}[what]


def _cell(system, part, what, value) -> str:
    if what == "deflection":
        return gearing.said_surface(system, part, value, 2)
    if what in ("movement", "edge"):
        return number(value / MM_PER[system.model.length], 2 if system.model.length == "in" else 1)
    return number(value, 2 if what == "level" else 3)


def _differential(system) -> str:
    data = gearing.differential(system)
    if data.empty:
        return ""
    rows = [[row["pair"], gearing.said_input(system, row["input"], row["position"]),
             number(row["up"]), number(row["down"]), number(row["ratio"])]
            for row in data.to_dict("records")]
    rudder = any(is_rudder(system.model.bodies[system.model.surfaces[p.split(" | ")[0]].body])
                 for p in data["pair"])
    ways = ["TER", "TEL"] if rudder else ["TEU", "TED"]
    return section("Differential", table(["pair", "stick", *ways, "ratio"], rows))


def _where(system, row) -> str:
    return gearing.said_place(system, {n: row[n] for n in gearing.box_of(system)})


def _cross_talk(system) -> str:
    data = gearing.cross_talk(system)
    if data.empty:
        return ""
    rows = [[row["surface"], row["other"], number(row["greatest"], 3),
             _where(system, row) if row["greatest"] > 5e-4 else "–"]
            for row in data.to_dict("records")]
    return section("Cross-talk over the whole travel (degrees that another input moves it)",
                   table(["surface", "moved by", "most", "at"], rows))


def _sticks(system) -> str:
    data = gearing.stick_difference(system)
    if data.empty:
        return ""
    unit = system.model.length
    rows = [[row["first"], row["second"], f"{number(row['angle'], 3)}°",
             shown_length(row["movement"], unit),
             _where(system, row) if row["movement"] > 1e-6 else "–"]
            for row in data.to_dict("records")]
    return section("The two sticks over the whole travel",
                   table(["stick", "against", "angle", "grips apart", "at"], rows))


def _symmetry(system) -> str:
    data = gearing.symmetry(system)
    if data.empty:
        return ""
    rows = [[row["left"], row["right"], f"{number(row['greatest'], 3)}°",
             _where(system, row) if row["greatest"] > 5e-4 else "–"]
            for row in data.to_dict("records")]
    return section("Left stick and right stick compared, left surface against right",
                   table(["surface", "against", "most apart", "at"], rows))


def _margins(system, data) -> str:
    if data.empty:
        return ""
    rows = [[row["rod"], row["end"], number(row["margin"], 1), _where(system, row)]
            for row in data.to_dict("records")]
    return section("Over-centre margin over the whole travel (0 dead centre, 90 square)",
                   table(["rod", "at end", "least °", "at"], rows))
