"""The shop sheet: clearance, what is usable of the travel, stops and spacers."""

from __future__ import annotations

from .. import gearing
from ..clearances import NEAR, clearance, scene_of
from ..motion import System
from ..stops import ends_without_stop, find_stops, may_touch, travel_map
from ..units import MM_PER, rounded_down, shown_length
from .text import number, section, table


def clearance_sheet(system: System, tell=lambda phase: None) -> tuple[str, int]:
    """Clearance and the travel map as text.

    Parameters
    ----------
    system : System
    tell : callable, optional
        Told the name of each phase as it begins.

    Returns
    -------
    (str, int)
        The sheet, and how many requirements are missed.
    """
    if not system.model.solids:
        return section("Clearance", "the file describes no solids, so nothing is said of "
                                    "clearance, stops and spacers"), 0
    tell("clearance")
    found = clearance(system)
    parts = [_clearance(system, found), _waived(system, found)]
    tell("travel map")
    parts.append(_map(system, found))
    missed = int((~found["ok"].astype(bool)).sum())
    return "\n\n".join(part for part in parts if part), missed


def _place(system, row) -> str:
    return gearing.said_place(system, {n: row[n] for n in gearing.box_of(system)})


def _clearance(system, found) -> str:
    unit = system.model.length
    per, digits = MM_PER[unit], 3 if unit == "in" else 2
    rows = []
    for row in found.sort_values("proven").to_dict("records"):
        if row["rule"] == "stop":
            continue
        verdict = "waived" if row["rule"] == "waived" else "pass" if row["ok"] else "MISS"
        if row["least"] <= 0 and verdict == "MISS":
            verdict = "TOUCH"
        rows.append([row["pair"], number(row["least"] / per, digits),
                     number(rounded_down(row["proven"] / per, digits), digits),
                     number(row["required"] / per, digits),
                     verdict, row["rule"], _place(system, row)])
    rows.sort(key=lambda r: ("TOUCH", "MISS", "pass", "waived").index(r[4]))
    body = table(["pair", f"least {unit}", "proven", "required", "", "class", "at"], rows)
    far = (f"{len(found.attrs['far'])} further pairs are proven to stay farther apart than "
           f"required and {rounded_down(NEAR / per, 2):.2f} {unit} more.")
    title = ("Clearance over the whole travel (least: met there; proven: never less anywhere)")
    open_ = [f"not proven near {gearing.said_place(system, place)}: {pair}"
             for pair, place in found.attrs["open"].items()]
    return section(title, "\n".join([body, far, *open_]))


def _waived(system, found) -> str:
    waived = scene_of(system).waived
    if not waived:
        return ""
    return section("Waived, and why", "\n".join(f"{pair}: {why}" for pair, why in waived.items()))


def _map(system, found) -> str:
    if len(gearing.box_of(system)) < 2:
        return ""
    mapped = travel_map(system, 0.0, may_touch(system, found))
    lines = [f"{mapped.usable:.1%} of the wanted {mapped.inputs[1]} and {mapped.inputs[0]} "
             f"rectangle is free of contact from neutral on."]
    for side, limit in mapped.sides.items():
        if limit:
            lines.append(f"toward {side}: {limit}")
    if not any(mapped.sides.values()):
        lines.append("Nothing touches on the way to any side or corner of it.")
    return section("Travel map", "\n".join(lines))


def stops_sheet(system: System) -> tuple[str, int]:
    """Stops and spacers as text; nothing where the file describes no solids.

    Parameters
    ----------
    system : System

    Returns
    -------
    (str, int)
        The sheet, and how many ends of travels have stops of which none governs.
    """
    if not system.model.solids:
        return "", 0
    if not system.model.stops:
        return section("Stops", "none in the file"), 0
    found, unit = find_stops(system), system.model.length
    rows = []
    for row in found.to_dict("records"):
        spacer = system.model.stops[row["stop"]].spacer
        rows.append([row["stop"], gearing.said_input(system, row["input"], row["angle"], 2),
                     shown_length(spacer.thickness, unit) if spacer else "–",
                     *(gearing.said_surface(system, s, row[s]) for s in system.model.surfaces),
                     "governs" if row["governs"] else "no", row["reason"]])
    body = table(["stop", "reached at", "spacer", *system.model.surfaces, "", "why"], rows)
    lacking = ends_without_stop(system, found)
    lines = [body, *(f"MISS  no stop governs at {name} {side}" for name, side in lacking)]
    lines += [line for line in [_pairs_alike(system, found)] if line]
    return section("Stops", "\n".join(lines)), len(lacking)


def _pairs_alike(system, found) -> str:
    """How far apart the twin stops of both sticks are reached."""
    twins = gearing.twins(system, found["stop"])
    angle = dict(zip(found["stop"], found["angle"], strict=True))
    side = {name: system.model.stops[name].side for name in found["stop"]}
    both = [(a, b, abs(angle[a] - angle[b])) for a, b in twins if side[a] == side[b]]
    return "\n".join(f"both sticks: {a} and {b} are reached {apart:.3f}° apart"
                     for a, b, apart in both)
