"""The shop sheet: build tolerances, what moves most, free play, wires, grips."""

from __future__ import annotations

import math

from .. import gearing
from ..rigging import Study
from ..units import MM_PER, shown_length
from .text import number, section, table

RANKED = 5  # contributors told per surface


def tolerance_sheet(study: Study) -> tuple[str, int]:
    """Tolerances, free play, wires and grips as text.

    Parameters
    ----------
    study : Study

    Returns
    -------
    (str, int)
        The sheet, and how many requirements are missed.
    """
    parts = [_bands(study), _ranked(study), _play(study), _wires(study), _chafing(study),
             _grips(study), _hands(study)]
    return "\n\n".join(part for part in parts if part), study.missed


def _lengths(study):
    unit = study.system.model.length
    return unit, MM_PER[unit], 3 if unit == "in" else 2


def _at(study, name) -> str:
    place = gearing.said_place(study.system, study.at[name])
    return name if name == "neutral" else f"{name}, {place}"


def _bands(study) -> str:
    title = "Build tolerances: how far off each surface may come out, degrees plus or minus"
    found = study.bands()
    if not found[["worst", "rigged_worst"]].to_numpy().any():
        return section(title, "none in the file; give [tolerance] hardpoint, rod and spacer")
    if study.unbuildable:
        return section(title, f"MISS  {study.builds.lost:,} of {study.builds.count:,} builds "
                              f"within the tolerances can't be put together at one position "
                              f"or more: no figure of the others is given; check the "
                              f"tolerances and how near dead centre the run comes")
    rows = [[row["surface"], _at(study, row["at"]),
             gearing.said_surface(study.system, row["surface"], row["drawn"], 2),
             *(number(row[k]) for k in ("worst", "rss", "rigged_worst", "rigged_rss")),
             f"{row['low']:+.2f} {row['high']:+.2f}"] for row in found.to_dict("records")
            if study.tells(row["surface"], row["at"])]
    builds = study.builds
    lines = [table(["surface", "at", "drawn", "worst", "rss", "rigged: worst", "rss",
                    "stick held: builds"], rows),
             "worst: every dimension off the bad way at once; rss: root sum square; both exact to "
             "first order,", "with the stick against the stop wherever the build puts it. Rigged: "
             "rods set so that every part", "stands at neutral. Builds: middle 99.73 % of "
             f"{builds.count:,} with {builds.chance.spread} errors"
             f"{', rigged' if builds.chance.rigged else ''}, the stick held",
             f"at the angle as drawn (seed {builds.chance.seed}); {builds.lost} can't be put "
             "together."]
    return section(title, "\n".join(lines))


def _ranked(study) -> str:
    """The largest contributors at each surface's worst spot, rigged."""
    unit, per, digits = _lengths(study)
    rows = []
    for surface, found in study.rigged.groupby("surface", sort=False):
        totals = found.groupby("at", sort=False)["moves"].sum()
        spot = totals.idxmax()
        if not totals[spot] > 0:
            continue
        for row in found[found["at"] == spot].head(RANKED).to_dict("records"):
            rows.append([surface, _at(study, spot), f"{row['part']} {row['what']}",
                         number(abs(row["per_mm"]) * per, 2),
                         number(row["tolerance"] / per, digits), number(row["moves"], 3)])
    if not rows:
        return ""
    return section("Which tolerance moves each surface most, rods set, where it is worst", table(
        ["surface", "at", "dimension", f"°/{unit}", f"± {unit}", "moves ± °"], rows))


def _play(study) -> str:
    title = "Free play, total from side to side"
    if study.play.empty:
        return section(title, "none in the file; give [play] pivot and rod_end")
    unit, per, _ = _lengths(study)
    rows = []
    for row in study.play_bands().sort_values("surface", kind="stable").to_dict("records"):
        if not study.tells(row["surface"], row["at"]):
            continue
        chord = study.system.model.surfaces[row["surface"]].chord
        edge = math.nan if chord is None else chord * math.radians(row["worst"]) / per
        rows.append([row["surface"], _at(study, row["at"]), number(row["worst"]),
                     number(row["rss"]), number(edge, 3 if unit == "in" else 1),
                     row["input"] or "–", *(number(row[k] / per, 3 if unit == "in" else 1)
                                            for k in ("grip_worst", "grip_rss"))])
    return section(title, table(["surface", "at", "grip held: worst °", "rss °", f"edge {unit}",
                                 "input", f"surface held: grip worst {unit}", "rss"], rows))


def _wires(study) -> str:
    if study.wires.empty:
        return ""
    unit, per, digits = _lengths(study)
    rows = []
    for row in study.wires.to_dict("records"):
        rows.append([row["wire"], *(number(row[k] / per, digits) for k in
                                    ("least", "greatest", "needed", "length", "spare", "bend",
                                     "bend_limit", "to_exit")), "pass" if row["ok"] else "MISS",
                     gearing.said_place(study.system, row["greatest_at"])])
    within = (study.wires["never_more"] - study.wires["greatest"]).max()
    note = ("needed: free length for the whole travel, its slack and its bend limit; bend: least "
            "radius of the loop\ntaken as an arc with its ends free to turn, where the clamps are "
            f"nearest; greatest {'' if math.isfinite(within) else 'not '}proven"
            f"{f' within {within:.3f} mm' if math.isfinite(within) else ''}")
    return section("Wires over the whole travel", "\n".join([table(
        ["wire", f"clamps least {unit}", "greatest", "needed", "length", "spare", "bend", "limit",
         "to its exit", "", "greatest at"], rows), note]))


def _chafing(study) -> str:
    unit, per, digits = _lengths(study)
    rows = []
    for wire, found in study.chafing.items():
        for row in found.to_dict("records"):
            rows.append([wire, row["solid"], number(row["gap"] / per, digits),
                         number(row["required"] / per, digits), "pass" if row["ok"] else "MISS",
                         gearing.said_place(study.system, {n: row[n] for n in
                                                           gearing.box_of(study.system)})])
    if not rows:
        return ""
    return section("What each wire can reach, and the gap of its loop as it lies (an arc, at "
                   "sampled stick positions)", table(
                       ["wire", "can reach", f"gap {unit}", "required", "", "at"], rows))


def _grips(study) -> str:
    if study.grips.empty:
        return ""
    unit, per, digits = _lengths(study)
    rows = [[row["body"], number(row["bore"] / per, digits), number(row["shaft"] / per, digits),
             f"{abs(row['clocking']):g}° {'right' if row['clocking'] > 0 else 'left'}"
             if row["clocking"] else "square", "pass" if row["ok"] else "MISS"]
            for row in study.grips.to_dict("records")]
    return section("Grips", table(["on", f"bore {unit}", "shaft", "clocked", ""], rows))


def _hands(study) -> str:
    unit, per, digits = _lengths(study)
    title = "Room of the hand over the whole travel"
    if study.hands.empty:
        far = study.hands.attrs["far"]
        if not far:
            return ""
        return section(title, f"every hand stays proven more than {shown_length(far, unit)} from "
                              f"everything else")
    rows = [[row["pair"], *(number(row[k] / per, digits) for k in ("least", "proven", "required")),
             "pass" if row["ok"] else "MISS",
             gearing.said_place(study.system, {n: row[n] for n in gearing.box_of(study.system)})]
            for row in study.hands.to_dict("records")]
    return section(title, table(["pair", f"least {unit}", "proven", "required", "", "at"], rows))
