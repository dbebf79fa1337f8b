"""What of strength and loads is not judged, a sentence each: never counted as met."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from .. import gearing, loads
from .columns import listed

if TYPE_CHECKING:
    from .answers import Answers


def _unloaded(results):
    """Rods and tubes that no load case loads: their margin says nothing."""
    names = [row["rod"] for row in results.rod_margins.to_dict("records")
             if not max(row["tension"], row["compression"]) > 0]
    names += [f"tube of {row['body']}" for row in results.tube_margins.to_dict("records")
              if not row["stress"] > 0]
    names += [f"joint {name} at {at}" for (name, at), rows in results.joint_margins.groupby(
        ["joint", "at"], sort=False) if not rows["load"].max() > 0]
    if names:
        yield (f"strength of {listed(names)}: no load in any case; what moves or holds it may not "
               f"be in the file, such as a [servo.NAME]")


def no_strength(results: Answers) -> Iterator[str]:
    """What of strength and loads can't be judged, a sentence each."""
    yield from _without_margin(results)
    system = results.system
    pushed = [name for name in system.travel_box()
              if not loads.grips(system, name) or loads.pilot_force(system, name) is None]
    if pushed:
        yield f"loads from {', '.join(pushed)}: no grip or no limit pilot force"
    yield from _not_held(system)
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
    yield from _silent_ends(results)
    yield from _only_yield(results)
    yield from _bodies_left(results)
    unbent = [row["body"] for row in results.tube_margins.to_dict("records")
              if math.isnan(row["bending"])]
    if unbent:
        yield (f"bending of the tube of {listed(unbent)}: the file places no bearings, so only "
               f"torsion is in its margin")


def _silent_ends(results):
    """Ends without a figure where the other end has one, and balls without friction."""
    model, silent, smooth = results.system.model, [], []
    for row in results.rod_margins.to_dict("records"):
        rod = model.rods[row["rod"]]
        fitted = [model.fitting(row["rod"], end)[1] for end in (0, 1)]
        if rod.strength is None and not math.isnan(row["joint_margin"]):
            silent += [rod.ends[k] for k, end in enumerate(fitted)
                       if end is None or (end.ultimate is None and end.rating is None)]
        if not math.isnan(row["shank_margin"]) and rod.friction is None and not all(
                model.ball_arm(row["rod"], end) for end in (0, 1)):
            smooth.append(row["rod"])
    if silent:
        yield f"strength of the end joint at {listed(silent)}: the file gives it at the other end"
    if smooth:
        yield (f"bending of the shanks of {listed(smooth)} by friction of their balls: the file "
               f"gives none, so it is taken as none")


def _only_yield(results):
    """Materials without an ultimate stress, by which sections are judged all the same."""
    model = results.system.model
    names = [model.rods[row["rod"]].material for row in results.rod_margins.to_dict("records")
             if not math.isnan(row["tube_margin"])]
    for name in results.tube_margins["body"]:
        body, _, solid = name.partition("/")
        part = model.bodies[body]
        names.append(part.tube.material if not solid else getattr(
            part.solids[solid], "material", None) or part.material)
    names = [name for name in dict.fromkeys(names)
             if name and model.material(name).ultimate is None]
    if names:
        yield (f"ultimate strength of what is made of {listed(names)}: the file gives no ultimate "
               f"stress, so only yield is in its margins")


def _not_held(system):
    """What of the system no case loads, or loads only in part."""
    stopped = {stop.input for stop in system.model.stops.values()}
    free = [name for name in system.travel_box() if name not in stopped and loads.grips(
        system, name) and not loads.holding(system, name)]
    if free:
        yield f"loads from {listed(free)}: neither a surface that it moves nor a stop holds it"
    if system.plan.redundant:
        yield (f"loads with {listed(system.plan.redundant)} as a second load path: what each "
               f"carries depends on how they are rigged; it is taken to carry none")
    if system.model.couplings:
        yield (f"strength of what couples {listed(system.model.couplings)}, such as cables, "
               f"quadrants and gears, and its pull on pivots: only its moment is in the loads")


def _bodies_left(results):
    """Bodies that carry load from point to point and whose own section no margin covers."""
    model, worst = results.system.model, results.worst_loads
    loaded = set(worst["part"][worst["what"].isin(["pivot", "across", "about"])])
    judged = {name.split("/")[0] for name in results.tube_margins["body"]}
    shafts = {name.split("/")[0] for name in results.tube_margins["body"] if "/" in name}
    told = {at for cuts in loads.plate_cuts(results.system).values() for at in cuts.cut}
    ends = {end for rod in model.rods.values() for end in rod.ends}
    bare = [name for name in model.bodies if name in loaded and (
        name not in judged or any(end.split("/")[0] == name for end in ends - told))]
    held = [name for name in model.bodies if any(at.split("/")[0] == name for at in told)]
    if held:
        yield (f"how the plates of {listed(held)} hold on to hub or tube, whether they buckle, how "
               f"holes and corners raise their stress, and "
               f"what else than rods loads them, such as a stop: not worked out; straight cuts at "
               f"21 places and seven slants from each rod's hole to the pivot are")
    for word, names in (("plates, arms and horns", bare),
                        ("shafts", [name for name, body in model.bodies.items()
                                    if "grip" in body.points and name not in shafts])):
        if names:
            yield (f"strength of the {word} of {listed(names)}: "
                   + ("no plate with a material that takes a rod's end and holds the axis"
                      if word[0] == "p" else "the file gives no wall of a tube or pipe with a "
                      "material of the body"))
    round_ = [name for name in results.tube_margins["body"]
              if name not in loads.plate_cuts(results.system)]
    if round_:
        yield (f"welds, and holes through the wall, of {listed(round_)}: the tube is taken as "
               f"whole, with the material's full strength")
    unplaced = loads.unplaced(model)
    if unplaced:
        yield (f"bending of {listed(unplaced)}: along an axis whose bearings the file does not "
               f"place")
    if model.stops:
        yield (f"strength of the faces and fixings of stops {listed(model.stops)}: Loads on stops "
               f"says what each carries")


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
    yield from _bolts_and_shanks(results)


def _bolts_and_shanks(results):
    bolted = [at for at in dict.fromkeys(results.joint_margins["at"]) if not at.endswith("/pivot")]
    if bolted:
        yield (f"bending of the bolts at {listed(bolted)}: they are judged in shear, as if what "
               f"they join lay face to face")
    bare = [name for name, rod in results.system.model.rods.items()
            if not loads.missing(results.system.model, name)
            and None in loads.shanks(results.system.model, name)]
    if bare:
        yield (f"shanks of {listed(bare)}: the file gives no thread, shank or engagement, so the "
               f"column is taken as tube from ball to ball, which is too strong")
