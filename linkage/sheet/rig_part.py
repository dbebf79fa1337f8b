"""The shop sheet: rods to make, what a turn does, rod ends, rig pins, adjustment, as built."""

from __future__ import annotations

import math
import textwrap

from .. import gearing, rigging
from ..motion import System
from ..units import MM_PER, shown_length
from .text import number, section, table

STEADY = 0.05  # degrees of misalignment over the travel below which no worst place is told


def rig_sheet(system: System, adjustment=None, fit=None) -> tuple[str, int]:
    """Everything for the rigger as text.

    Parameters
    ----------
    system : System
    adjustment : rigging.Adjustment, optional
    fit : (rigging.Readings, rigging.AsBuilt), optional

    Returns
    -------
    (str, int)
        The sheet, and how many requirements are missed.
    """
    tilts, pins = rigging.misalignment(system), rigging.rig_pins(system)
    parts = [_rods(system), _hardware(system), _turns(system), _tilts(system, tilts),
             _pins(system, pins)]
    missed = sum(ok is False for ok in tilts["ok"])
    missed += len({row["pin"] for row in pins.to_dict("records") if row["ok"] is False})
    if fit is not None:
        parts.append(_as_built(system, *fit))
    if adjustment is not None:
        parts.append(_adjustment(system, adjustment, fit))
        missed += not adjustment.ok
    return "\n\n".join(part for part in parts if part), missed


def _shown(system, mm, digits=None) -> str:
    unit = system.model.length
    return number(mm / MM_PER[unit], (3 if unit == "in" else 2) if digits is None else digits)


def _rods(system) -> str:
    found, unit = rigging.rod_sheet(system), system.model.length
    if found.empty:
        return section("Rods to make", "none in the file")
    rows = [[row["rod"], _shown(system, row["length"]), _shown(system, row["tube"]),
             _left(system, row, "longer"), _left(system, row, "shorter")]
            for row in found.to_dict("records")]
    lines = [table(["rod", f"centre to centre {unit}", "cut tube", "can grow", "can shrink"], rows)]
    for words, rods in _alike(found, "missing"):
        lines.append(_wrapped(f"not in the file: {words}: {', '.join(rods)}"))
    return section("Rods to make (tube: between the ends that the rod ends screw into; "
                   "what is left in whole half turns)", "\n".join(lines))


def _left(system, row, way) -> str:
    turns = row[f"turns_{way}"]
    return f"{_shown(system, row[way])} ({turns:g} turns)" if math.isfinite(turns) else "–"


def _alike(found, column):
    """Rods that share the words of a column, the words first."""
    together = {}
    for row in found.to_dict("records"):
        if row[column]:
            together.setdefault(row[column], []).append(row["rod"])
    return together.items()


def _hardware(system) -> str:
    lines = []
    for words, rods in _alike(rigging.rod_sheet(system), "hardware"):
        first, second = words.split("; ")
        each = f"each end {first}" if first == second else f"first end {first}; second end {second}"
        lines.append(_wrapped(f"{', '.join(rods)}: {each}"))
    return section("Hardware", "\n".join(lines)) if lines else ""


def _turns(system) -> str:
    found = rigging.turns(system)
    if found.empty:
        return section("What a turn does", "no rod of the file has a thread")
    surfaces = [s for s in system.model.surfaces if s in set(found["surface"])]
    rows, dead = [], []
    for (rod, turned), same in found.groupby(["rod", "turned"], sort=False):
        per_turn = same["per_turn"].iloc[0]
        if per_turn == 0.0:
            dead.append(rod)
            continue
        half = dict(zip(same["surface"], same["half_turn"], strict=True))
        said = "the tube" if turned == "tube" else f"the {turned} end out"
        rows.append([rod, said, _shown(system, per_turn, 4), _shown(system, per_turn / 2, 4),
                     *(gearing.said_surface(system, s, half[s], 2) if s in half else "–"
                       for s in surfaces)])
    unit = system.model.length
    lines = [table(["rod", "turned", f"a turn {unit}", "half a turn", *surfaces], _merged(rows))]
    if dead:
        lines.append(_wrapped("Turning the tube alone changes nothing, since both threads are of "
                              f"one hand and pitch: {', '.join(dead)}."))
    return section("What half a turn does to each surface at neutral", "\n".join(lines))


def _merged(rows):
    """One row for both ends of a rod where they do the same."""
    kept = []
    for row in rows:
        if kept and kept[-1][0] == row[0] and kept[-1][2:] == row[2:]:
            kept[-1][1] = "either end out"
        else:
            kept.append(row)
    return kept


def _tilts(system, found) -> str:
    if found.empty:
        return ""
    rows = []
    for row in found.to_dict("records"):
        verdict = {True: "pass", False: "MISS", None: ""}[row["ok"]]
        place = {name: row[name] for name in gearing.box_of(system)}
        steady = not row["greatest"] - row["neutral"] > STEADY
        rows.append([row["rod"], row["end"], number(row["neutral"], 1), number(row["greatest"], 1),
                     number(row["allowed"], 1), verdict,
                     "–" if steady else gearing.said_place(system, place)])
    lines = [table(["rod", "at end", "neutral °", "most °", "allowed °", "", "at"], rows)]
    blind = [row["end"] for row in found.to_dict("records") if not row["bolt"]]
    if blind:
        lines.append(_wrapped(f"no bolt direction in the file: {', '.join(blind)}"))
    if found["allowed"].isna().any():
        lines.append("allowed: give misalignment, or ball, race and sphere, of the rod end")
    return section("Rod-end misalignment over the whole travel (rod against the ball's middle "
                   "plane; a fork's cheeks are checked as solids)", "\n".join(lines))


def _pins(system, found) -> str:
    if found.empty:
        return section("Rig pins", "none in the file; give rig_pin with holes")
    unit, rows = system.model.length, []
    for row in found.to_dict("records"):
        verdict = {True: "pass", False: "MISS", None: ""}[row["ok"]]
        rows.append([row["pin"], row["hole"], *(_shown(system, row[k]) for k in "xyz"),
                     gearing.said_place(system, {n: row[n] for n in system.inputs}),
                     _shown(system, row["apart"]), number(row["turn"], 2), verdict])
    return section("Rig pins", table(["pin", "hole", f"FS {unit}", "BL", "WL", "goes in at",
                                      "holes apart", "turn left °", ""], rows))


def _adjustment(system, found, fit) -> str:
    lines = []
    if fit is not None and fit[1].together:
        lines.append(_wrapped("MIND: the readings don't settle what was built (see above), so "
                              "these turns hold only if the least change that explains them is "
                              "it."))
    if found.turns.empty:
        lines.append("Nothing to turn.")
    for row in found.turns.to_dict("records"):
        count = abs(row["half_turns"])
        lines.append(f"{row['rod']}: turn the end at {row['end']} {count} half "
                     f"turn{'s' if count > 1 else ''} {'out' if row['change'] > 0 else 'in'} "
                     f"({_shown(system, abs(row['change']))} {system.model.length} "
                     f"{'longer' if row['change'] > 0 else 'shorter'}; "
                     f"{shown_length(row['left'], system.model.length)} of thread above the least "
                     f"stays)")
    rows = [[surface, gearing.said_surface(system, surface, found.before[surface], 2),
             gearing.said_surface(system, surface, found.after[surface], 2)]
            for surface in system.model.surfaces]
    lines.append(table(["surface", "stands at neutral", "afterwards"], rows))
    if not found.ok:
        lines.append("MISS  the rod ends that may be turned do not bring every surface within "
                     "what was asked")
    if not found.least:
        lines.append("Perhaps fewer turns would do: the search was cut short.")
    for why in dict.fromkeys(found.not_turned.values()):
        ends = [end for end, said in found.not_turned.items() if said == why]
        lines.append(_wrapped(f"not turned, {why}: {'; '.join(ends)}"))
    return section("Adjustment to neutral (fewest rod ends, then fewest half turns; solved again "
                   "exactly)", "\n".join(lines))


def _as_built(system, readings, fit) -> str:
    unit, rows = system.model.length, []
    for row in fit.table.to_dict("records"):
        long = row["kind"] == "rod" or _slides(system, row)
        per, digits, word = (MM_PER[unit], 4 if unit == "in" else 3, f" {unit}") if long else \
            (1.0, 3, "°")
        rows.append([row["unknown"], row["kind"],
                     f"{row['value'] / per:+.{digits}f}{word}",
                     f"± {row['error'] / per:.{digits}f}{word}" if row["determined"] else "–",
                     "" if row["determined"] else "not determined alone"])
    lines = [table(["what", "kind", "found", "standard error", ""], rows)]
    for names in fit.together:
        lines.append(_wrapped("Only together determined, a change of one hides in the others: "
                              f"{', '.join(names)}."))
    if fit.together:
        lines.append("Zero the instruments on a rig pin or template and name them with --zeroed, "
                     "or name the rods in doubt with --doubt.")
    if fit.unseen:
        lines.append(_wrapped(f"No reading depends on: {', '.join(fit.unseen)}."))
    worst = max(range(len(fit.residuals)), key=lambda i: abs(fit.residuals[i]))
    lines.append(f"{len(fit.residuals)} readings; off by {_rms(fit.residuals):.3f}° (root mean "
                 f"square), most {fit.residuals[worst]:+.3f}° ({readings.names[worst]}).")
    return section("As built: what best explains the readings (stick zero: to add to what its "
                   "instrument reads; surface zero: read too much; rod: longer than in the file)",
                   "\n".join(lines))


def _slides(system, row) -> bool:
    return row["kind"] == "stick zero" and \
        system.inputs[row["unknown"].removesuffix(" zero")].unit == "mm"


def _wrapped(text) -> str:
    return textwrap.fill(text, 110, subsequent_indent="  ")


def _rms(values) -> float:
    return math.sqrt(sum(float(v) ** 2 for v in values) / len(values))
