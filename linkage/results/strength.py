"""What is missed, judged and left out of strength: margins of rods, tubes and joints."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from .. import gearing, loads
from ..model import STATIONS
from ..stops import judged_box
from ..units import LENGTHS, shown_length
from .blocks import DIGITS
from .columns import counted, listed
from .movements import travel_words
from .verdict import Miss

if TYPE_CHECKING:
    from .answers import Answers

MARGINS = {"column_margin": "as a column", "tube_margin": "as a tube", "joint_margin": "end joint",
           "shank_margin": "of the shanks of its ends",
           "thread_margin": "of the threads engaged"}
BORNE = ("tension", "compression", "pivot", "bearing 1", "bearing 2")


def load_misses(results: Answers) -> Iterator[Miss]:
    """Margins below 0, and those that the grid of stick positions does not decide."""
    error = results.worst_loads.attrs["error"]
    for row in results.rod_margins.to_dict("records"):
        wide = max(error.get((row["rod"], what), 0.0) for what in ("tension", "compression"))
        for column, words in MARGINS.items():
            yield from _margin_miss(row["rod"], f"margin {words}", row[column], wide)
    for row in results.tube_margins.to_dict("records"):
        wide = max(error.get((row["body"], what), 0.0) for what in ("tube", "stress"))
        word = section_word(results, row["body"]).removeprefix("torque ")
        yield from _margin_miss(row["body"], f"margin of its {word}{_tube_words(results, row)}",
                                row["margin"], wide)
    yield from _joint_misses(results, error)


def weakest(results: Answers, most: int = 5) -> list[dict]:
    """The parts that have least to spare.

    Returns
    -------
    list of dict
        ``part``, ``check``, ``margin``, ``case`` and one entry per input, the least margin first;
        of a part only its least.
    """
    worst = {(row["part"], row["what"]): row for row in results.worst_loads.to_dict("records")}
    rows = []
    for row in results.rod_margins.to_dict("records"):
        pull, push = (worst.get((row["rod"], what)) for what in ("tension", "compression"))
        greater = max((k for k in (pull, push) if k), key=lambda k: k["force"], default=None)
        rows += [(row["rod"], words, row[column], push if column == "column_margin" else greater)
                 for column, words in MARGINS.items()]
    rows += [(row["body"], section_word(results, row["body"]), row["margin"], row)
             for row in results.tube_margins.to_dict("records")]
    rows += [(row["at"], f"{row['check']} (joint {row['joint']})", row["margin"],
              _borne(results, worst, row["at"]))
             for row in results.joint_margins.to_dict("records")]
    found = {}
    rows = [row for row in rows if math.isfinite(row[2]) and row[3] is not None]
    for part, check, margin, at in sorted(rows, key=lambda row: row[2]):
        if part not in found:
            places = {name: at[name] for name in results.system.travel_box()}
            found[part] = {"part": part, "check": check, "margin": margin, "case": at["case"],
                           **places}
    return list(found.values())[:most]


def section_word(results: Answers, name: str) -> str:
    """What a row of the tube margins is of: torque tube, shaft or plate."""
    if "/" not in name:
        return "torque tube"
    return "plate" if name in loads.plate_cuts(results.system) else "shaft"


def _borne(results, worst, place):
    """The greatest load of what a joint holds."""
    held = {name for name, rod in results.system.model.rods.items() if place in rod.ends}
    if place.endswith("/pivot"):
        held = {place.removesuffix("/pivot")}
    rows = [row for (part, what), row in worst.items() if part in held and what in BORNE]
    return max(rows, key=lambda row: row["force"], default=None)


def _joint_misses(results, error):
    """Each bolt, bearing and plate, the load of what it holds as wide as that may be."""
    rods = results.system.model.rods
    for row in results.joint_margins.to_dict("records"):
        held = {name for name, rod in rods.items() if row["at"] in rod.ends}
        held.add(row["at"].split("/")[0])
        wide = max((share for (part, what), share in error.items() if part in held and
                    what in BORNE), default=0.0)
        yield from _margin_miss(row["at"], f"margin of {row['check']}, joint {row['joint']}, "
                                f"x {row['factor']:.4g} ({row['reason']}),", row["margin"], wide)


def _tube_words(results, row) -> str:
    """Where a tube is worst, at which stress, and under which load."""
    own = LENGTHS[results.system.model.length]
    at = "" if math.isnan(row["x"]) else " at " + ", ".join(
        f"{word} {row[k] / own.mm:.{own.digits}f}" for word, k in zip(STATIONS, "xyz", strict=True))
    return (f"{at}, {row['stress'] / own.megapascal:.{DIGITS[own.stress]}f} {own.stress} under "
            f"{row['case']},")


def _margin_miss(part, words, margin, wide):
    """A margin below 0, or one that the grid of stick positions does not decide.

    With a load that may be greater by the share `wide` it is (1 + margin) / (1 + wide) - 1.
    """
    if margin < 0:
        yield Miss("load", part, f"{words} {margin:+.2f}, 0 required", short=-margin)
    elif (1 + margin) / (1 + wide) - 1 < 0:
        yield Miss("load", part, f"{words} {margin:+.5f}, 0 required, and the load may be "
                   f"{wide:.3%} greater between the stick positions looked at", decided=False,
                   short=-margin)


def load_covers(results: Answers) -> Iterator[str]:
    """How the worst loads were searched, and what the search may have missed."""
    attrs, box = results.worst_loads.attrs, travel_words(results.system, judged_box(results.system))
    most = max(attrs["error"].values(), default=0.0)
    step = f"{attrs['step']:.2g}°"
    if any(control.slides for control in results.system.inputs.values()):
        step += f" or {shown_length(attrs['step'], results.system.model.length)}"
    yield (f"Loads are the greatest found as drawn for the load cases listed, on a grid of "
           f"{attrs['grid']} stick positions within {box} and, wherever one may be greater between "
           f"them, down to steps of {step}: searched, not proven; by the "
           f"curves' second differences up to {most:.3%} may be missing, and a margin within that "
           f"of 0 counts as not decided; a peak narrower than the grid's steps would not be seen.")
    if results.system.model.stops:
        others = len(results.system.travel_box()) - 1
        yield (f"With a stop in contact they are the greatest at "
               f"{loads.AT_STOPS.get(others, 3) if others else 1} positions of each other input; "
               f"with those off neutral the contact is the first of a row of looks, not proven.")


def margins_judged(results: Answers) -> str:
    """How many margins there are."""
    margins = [*results.rod_margins[list(MARGINS)].to_numpy(dtype=float).ravel(),
               *results.tube_margins["margin"], *results.joint_margins["margin"]]
    return counted(sum(map(math.isfinite, margins)), "margin", "margins")


def cases_switched(results: Answers) -> Iterator[str]:
    """Load cases that the file leaves out or changes, each with its reason."""
    for name, words in loads.left_out(results.system).items():
        yield f"load case {name}: {words}"


def _unloaded(results):
    """Rods and tubes that no load case loads: their margin says nothing."""
    names = [row["rod"] for row in results.rod_margins.to_dict("records")
             if not max(row["tension"], row["compression"]) > 0]
    names += [f"tube of {row['body']}" for row in results.tube_margins.to_dict("records")
              if not row["stress"] > 0]
    if names:
        yield f"strength of {listed(names)}: no load in any case"


def no_strength(results: Answers) -> Iterator[str]:
    """What of strength and loads can't be judged, a sentence each."""
    yield from _without_margin(results)
    system = results.system
    pushed = [name for name in system.travel_box()
              if not loads.grips(system, name) or loads.pilot_force(system, name) is None]
    if pushed:
        yield f"loads from {', '.join(pushed)}: no grip or no limit pilot force"
    silent = [name for name, surface in system.model.surfaces.items() if surface.hinge is None]
    if silent:
        yield f"hinge moment of {', '.join(silent)}: none in the file"
    yield from _cases_left(results.worst_loads.attrs)
    gusts = [name for name, surface in system.model.surfaces.items()
             if None in (surface.area, surface.mean_chord)]
    if gusts:
        yield f"ground gust on {listed(gusts)}: no area with mean_chord in the file"
    unruled = [name for name in system.model.surfaces if name not in gusts
               and gearing.kind_of(system, name) not in loads.GUST]
    if unruled:
        yield f"ground gust on {listed(unruled)}: 14 CFR 23.415(b) gives no factor for its kind"
    yield from _unloaded(results)


def _cases_left(attrs):
    """Load cases that are held nowhere, or not everywhere, and stops without any."""
    for case in attrs["unheld"]:
        yield f"load case held nowhere: {case}"
    for case, share in attrs["partly"].items():
        yield f"load case not held in {share:.0%} of the travel: {case}"
    for name, why in attrs["stops"].items():
        yield f"loads with stop {name} in contact: {why}"


def _without_margin(results):
    for words, table, margin, part in (
            ("column and tube", results.rod_margins, "tube_margin", "rod"),
            ("end joints", results.rod_margins, "joint_margin", "rod"),
            ("tube", results.tube_margins, "margin", "body")):
        names = [row[part] for row in table.to_dict("records") if math.isnan(row[margin])]
        if names:
            yield f"strength of {words} of {listed(names)}: the file gives none"
    rods = results.rod_margins.to_dict("records")
    for margin, beside, words in (
            ("column_margin", "tube_margin", "strength as a column of {}: diameter over wall is "
             "beyond every rule known here"),
            ("thread_margin", "shank_margin", "threads engaged of {}: no material of theirs has "
             "an ultimate stress")):
        names = [row["rod"] for row in rods
                 if math.isnan(row[margin]) and not math.isnan(row[beside])]
        if names:
            yield words.format(listed(names))
    yield from _joints_left(results)
    yield from _bodies_left(results)
    unbent = [row["body"] for row in results.tube_margins.to_dict("records")
              if math.isnan(row["bending"])]
    if unbent:
        yield (f"bending of the tube of {listed(unbent)}: the file places no two bearings, so only "
               f"torsion is in its margin")


def _bodies_left(results):
    """Bodies that carry load from point to point and whose own section no margin covers."""
    model, worst = results.system.model, results.worst_loads
    loaded = set(worst["part"][worst["what"].isin(["pivot", "across", "about"])])
    shafts = {name.split("/")[0] for name in results.tube_margins["body"] if "/" in name}
    told = {at for cuts in loads.plate_cuts(results.system).values() for at in cuts.addresses}
    ends = {end for rod in model.rods.values() for end in rod.ends}
    bare = [name for name in model.bodies if name in loaded and any(
        end.split("/")[0] == name for end in ends - told)]
    held = [name for name in model.bodies if any(at.split("/")[0] == name for at in told)]
    if held:
        yield (f"how the plates of {listed(held)} hold on to hub or tube, whether they buckle, and "
               f"what else than rods loads them, such as a stop: not worked out; straight cuts at "
               f"ten places and five slants between each rod's hole and the pivot are")
    for word, names in (("plates, arms and horns", bare),
                        ("shafts", [name for name, body in model.bodies.items()
                                    if "grip" in body.points and name not in shafts])):
        if names:
            yield (f"strength of the {word} of {listed(names)}: "
                   + ("no plate with a material that takes a rod's end and holds the axis"
                      if word[0] == "p" else "the file gives no wall of a tube or pipe with a "
                      "material of the body"))


def _joints_left(results):
    """Joints that no figure is given for, and what even a described one leaves out."""
    worst = results.worst_loads
    silent = loads.silent_joints(results.system, worst)
    for word, places in (("bolts and plates at ends of rods", [at for at in silent
                                                               if not at.endswith("/pivot")]),
                         ("pivots and hinges", [at for at in silent if at.endswith("/pivot")])):
        names = [at.removesuffix("/pivot") for at in places]
        if names:
            yield f"strength of {word} of {listed(names)}: the file gives none"
    for row in results.tube_margins.to_dict("records"):
        if row["missing"].startswith("hole"):
            yield f"net section of {row['body']} at its holes: the file gives no {row['missing']}"
    for row in results.joint_margins.to_dict("records"):
        if row["missing"]:
            yield f"{row['check']} of joint {row['joint']}: the file gives no {row['missing']}"
    bent = [f"{body}/pivot" for body, part in results.system.model.bodies.items()
            if part.bearings is None]
    told = [at for at in dict.fromkeys(results.joint_margins["at"]) if at in bent]
    if told:
        yield (f"moment across the axis at {listed(told)}: only the force at the pivot is in its "
               f"margins")
    hinged = {f"{surface.body}/pivot" for surface in results.system.model.surfaces.values()}
    blown = [at for at in dict.fromkeys(results.joint_margins["at"]) if at in hinged]
    if blown:
        yield (f"air load on the hinges at {listed(blown)}: only what the load cases bring there "
               f"is in their margins")
    bare = [name for name, rod in results.system.model.rods.items()
            if not loads.missing(results.system.model, name)
            and None in loads.shanks(results.system.model, name)]
    if bare:
        yield (f"shanks of {listed(bare)}: the file gives no thread, shank or engagement, so the "
               f"column is taken as tube from ball to ball, which is too strong")
