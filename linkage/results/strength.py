"""What is missed, judged and left out of strength: margins of rods, tubes and joints."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from .. import gearing, loads
from ..model import STATIONS
from ..motion import body_of
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
    least = {}
    rows = [row for row in _every_margin(results) if math.isfinite(row[2]) and row[3] is not None]
    for part, check, margin, at in sorted(rows, key=lambda row: row[2]):
        if part not in least:
            places = {name: at[name] for name in results.system.travel_box()}
            least[part] = {"part": part, "check": check, "margin": margin, "case": at["case"],
                           **places}
    return list(least.values())[:most]


def _every_margin(results) -> Iterator[tuple]:
    """Part, check, margin and the row of the load it is at, None where there is none."""
    worst = {(row["part"], row["what"]): row for row in results.worst_loads.to_dict("records")}
    for row in results.rod_margins.to_dict("records"):
        pull, push = (worst.get((row["rod"], what)) for what in ("tension", "compression"))
        greater = max((k for k in (pull, push) if k), key=lambda k: k["force"], default=None)
        for column, words in MARGINS.items():
            yield row["rod"], words, row[column], push if column == "column_margin" else greater
    for row in results.tube_margins.to_dict("records"):
        yield row["body"], section_word(results, row["body"]), row["margin"], row
    for row in results.joint_margins.to_dict("records"):
        yield (row["at"], f"{row['check']} (joint {row['joint']})", row["margin"],
               _borne(results, worst, row["at"]))


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
    yield from _gusts_left(system)
    yield from _unloaded(results)


def _gusts_left(system):
    gusts = [name for name, surface in system.model.surfaces.items()
             if None in (surface.area, surface.mean_chord)]
    yield from _of(gusts, "ground gust on {}: no area with mean_chord in the file")
    yield from _of([name for name in system.model.surfaces if name not in gusts
                    and gearing.kind_of(system, name) not in loads.GUST],
                   "ground gust on {}: 14 CFR 23.415(b) gives no factor for its kind")


def _of(names, words):
    """A sentence about some names, where there are any."""
    if names:
        yield words.format(listed(names))


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
        yield from _of([row[part] for row in table.to_dict("records") if math.isnan(row[margin])],
                       f"strength of {words} of {{}}: the file gives none")
    rods = results.rod_margins.to_dict("records")
    for margin, beside, words in (
            ("column_margin", "tube_margin", "strength as a column of {}: diameter over wall is "
             "beyond every rule known here"),
            ("thread_margin", "shank_margin", "threads engaged of {}: no material of theirs has "
             "an ultimate stress")):
        yield from _of([row["rod"] for row in rods
                        if math.isnan(row[margin]) and not math.isnan(row[beside])], words)
    yield from _joints_left(results)
    yield from _bodies_left(results)
    yield from _of([row["body"] for row in results.tube_margins.to_dict("records")
                    if math.isnan(row["bending"])],
                   "bending of the tube of {}: the file places no two bearings, so only torsion is "
                   "in its margin")


def _bodies_left(results):
    """Bodies that carry load from point to point and whose own section no margin covers."""
    model, worst = results.system.model, results.worst_loads
    loaded = set(worst["part"][worst["what"].isin(["pivot", "across", "about"])])
    cut = {at for cuts in loads.plate_cuts(results.system).values() for at in cuts.addresses}
    ends = {end for rod in model.rods.values() for end in rod.ends}
    on_cut, on_bare = ({body_of(at) for at in places} for places in (cut, ends - cut))
    yield from _of([name for name in model.bodies if name in on_cut],
                   "how the plates of {} hold on to hub or tube, whether they buckle, and what "
                   "else than rods loads them, such as a stop: not worked out; straight cuts at "
                   "ten places and five slants between each rod's hole and the pivot are")
    yield from _of([name for name in model.bodies if name in loaded and name in on_bare],
                   "strength of the plates, arms and horns of {}: no plate with a material that "
                   "takes a rod's end and holds the axis")
    shafts = {body_of(name) for name in results.tube_margins["body"] if "/" in name}
    yield from _of([name for name, body in model.bodies.items()
                    if "grip" in body.points and name not in shafts],
                   "strength of the shafts of {}: the file gives no wall of a tube or pipe with a "
                   "material of the body")


def _joints_left(results):
    """Joints that no figure is given for, and what even a described one leaves out."""
    model = results.system.model
    silent = loads.silent_joints(results.system, results.worst_loads)
    yield from _of([at for at in silent if not at.endswith("/pivot")],
                   "strength of bolts and plates at ends of rods of {}: the file gives none")
    yield from _of([at.removesuffix("/pivot") for at in silent if at.endswith("/pivot")],
                   "strength of pivots and hinges of {}: the file gives none")
    yield from _figures_left(results)
    joints = list(dict.fromkeys(results.joint_margins["at"]))
    bent = {f"{body}/pivot" for body, part in model.bodies.items() if part.bearings is None}
    yield from _of([at for at in joints if at in bent],
                   "moment across the axis at {}: only the force at the pivot is in its margins")
    hinged = {f"{surface.body}/pivot" for surface in model.surfaces.values()}
    yield from _of([at for at in joints if at in hinged],
                   "air load on the hinges at {}: only what the load cases bring there is in their "
                   "margins")
    yield from _of([name for name in model.rods if not loads.missing(model, name)
                    and None in loads.shanks(model, name)],
                   "shanks of {}: the file gives no thread, shank or engagement, so the column is "
                   "taken as tube from ball to ball, which is too strong")


def _figures_left(results):
    """Figures that a described section or joint lacks."""
    for row in results.tube_margins.to_dict("records"):
        if row["missing"].startswith("hole"):
            yield f"net section of {row['body']} at its holes: the file gives no {row['missing']}"
    for row in results.joint_margins.to_dict("records"):
        if row["missing"]:
            yield f"{row['check']} of joint {row['joint']}: the file gives no {row['missing']}"
