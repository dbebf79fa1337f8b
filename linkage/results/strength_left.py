"""What of strength and loads is not judged, a sentence each: never counted as met."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from .. import gearing, loads
from ..motion import body_of
from .columns import about, listed

if TYPE_CHECKING:
    from .answers import Answers


HOLES = "hole at "  # how what a plate's margin is missing begins


def no_strength(results: Answers) -> Iterator[str]:
    """What of strength and loads can't be judged, a sentence each."""
    system = results.system
    surfaces = system.model.surfaces
    yield from _without_margin(results)
    yield from _not_pushed(system)
    yield from _not_held(system)
    silent = [name for name, surface in surfaces.items() if surface.hinge is None]
    if silent:
        yield f"hinge moment of {', '.join(silent)}: none in the file"
    yield from _cases_left(results.worst_loads.attrs)
    yield from _gusts_left(system)
    yield from about(_unloaded(results), "strength of {}: no load in any case; what moves or holds "
                                         "it may not be in the file, such as a [servo.NAME]")


def _unloaded(results):
    """Rods, tubes and joints that no load case loads: their margin says nothing."""
    for row in results.rod_margins.to_dict("records"):
        if not max(row["tension"], row["compression"]) > 0:
            yield row["rod"]
    for row in results.tube_margins.to_dict("records"):
        if not row["stress"] > 0:
            yield f"tube of {row['body']}"
    for (name, at), rows in results.joint_margins.groupby(["joint", "at"], sort=False):
        if not rows["load"].max() > 0:
            yield f"joint {name} at {at}"
    for row in results.fixing_margins.to_dict("records"):
        if row["stress"] == 0:
            yield f"{row['fixing']} at {row['plate']} ({row['check']})"


def _gusts_left(system):
    """Surfaces that a gust on the ground is not worked out for."""
    sizeless = [name for name, surface in system.model.surfaces.items()
                if None in (surface.area, surface.mean_chord)]
    yield from about(sizeless, "ground gust on {}: no area with mean_chord in the file")
    yield from about((name for name in system.model.surfaces if name not in sizeless
                      and gearing.kind_of(system, name) not in loads.GUST),
                     "ground gust on {}: 14 CFR 23.415(b) gives no factor for its kind")


def _cases_left(attrs):
    """Load cases that are held nowhere, or not everywhere, and stops without any."""
    for case in attrs["unheld"]:
        yield f"load case held nowhere: {case}"
    for case, share in attrs["partly"].items():
        yield f"load case not held in {share:.0%} of the travel: {case}"
    for name, why in attrs["stops"].items():
        yield f"loads with stop {name} in contact: {why}"


def _without_margin(results):
    rods, tubes = (table.to_dict("records") for table in (results.rod_margins,
                                                          results.tube_margins))
    for words, rows, margin, part in (("column and tube", rods, "tube_margin", "rod"),
                                      ("end joints", rods, "joint_margin", "rod"),
                                      ("tube", tubes, "margin", "body")):
        yield from about(_unknown(rows, part, margin),
                       f"strength of {words} of {{}}: the file gives none")
    for margin, beside, sentence in (
            ("column_margin", "tube_margin", "strength as a column of {}: diameter over wall is "
             "beyond every rule known here"),
            ("thread_margin", "shank_margin", "threads engaged of {}: no material of theirs has "
             "an ultimate stress")):
        yield from about(_unknown([row for row in rods if not math.isnan(row[beside])],
                                "rod", margin), sentence)
    yield from _joints_left(results)
    yield from _silent_ends(results)
    yield from _smooth_balls(results)
    yield from _only_yield(results)
    yield from _bodies_left(results)
    yield from about(_unknown(tubes, "body", "bending"),
                     "bending of the tube of {}: the file places no bearings, so only torsion is "
                     "in its margin")


def _unknown(rows, part, figure):
    """Parts of a table's rows of which it has no figure."""
    return [row[part] for row in rows if math.isnan(row[figure])]


def _silent_ends(results):
    """Ends without a figure where the other end has one."""
    model, silent = results.system.model, []
    for row in results.rod_margins.to_dict("records"):
        rod = model.rods[row["rod"]]
        if rod.strength is None and not math.isnan(row["joint_margin"]):
            rod_ends = [model.fitting(row["rod"], end)[1] for end in (0, 1)]
            silent += [at for at, rod_end in zip(rod.ends, rod_ends, strict=True)
                       if rod_end is None or (rod_end.ultimate is None and rod_end.rating is None)]
    yield from about(silent, "strength of the end joint at {}: the file gives it at the other end")


def _smooth_balls(results):
    """Rods whose shanks are judged with the balls taken as free of friction."""
    model = results.system.model
    yield from about((row["rod"] for row in results.rod_margins.to_dict("records")
                      if not math.isnan(row["shank_margin"])
                      and model.rods[row["rod"]].friction is None
                      and not all(model.ball_arm(row["rod"], end) for end in (0, 1))),
                     "bending of the shanks of {} by friction of their balls: the file gives none, "
                     "so it is taken as none")


def _only_yield(results):
    """Materials without an ultimate stress, by which sections are judged all the same."""
    model = results.system.model
    materials = [model.rods[row["rod"]].material for row in results.rod_margins.to_dict("records")
                 if not math.isnan(row["tube_margin"])]
    materials += [_material(model, name) for name in results.tube_margins["body"]]
    yield from about((name for name in dict.fromkeys(materials)
                      if name and model.material(name).ultimate is None),
                     "ultimate strength of what is made of {}: the file gives no ultimate stress, "
                     "so only yield is in its margins")


def _material(model, section):
    """What a row of tube margins is made of: a body's tube, or its shaft or plate."""
    body, _, solid = section.partition("/")
    part = model.bodies[body]
    if not solid:
        return part.tube.material
    return getattr(part.solids[solid], "material", None) or part.material


def _not_pushed(system):
    """Inputs that no pilot's force is known of."""
    names = [name for name in system.travel_box()
             if not loads.grips(system, name) or loads.pilot_force(system, name) is None]
    if names:
        yield f"loads from {', '.join(names)}: no grip or no limit pilot force"


def _not_held(system):
    """What of the system no case loads, or loads only in part."""
    stopped = {stop.input for stop in system.model.stops.values()}
    yield from about((name for name in system.travel_box() if name not in stopped
                      and loads.grips(system, name) and not loads.holding(system, name)),
                     "loads from {}: neither a surface that it moves nor a stop holds it")
    yield from about(system.plan.redundant,
                     "loads with {} as a second load path: what each carries depends on how they "
                     "are rigged; it is taken to carry none")
    yield from about(system.model.couplings,
                     "strength of what couples {}, such as cables, quadrants and gears, and its "
                     "pull on pivots: only its moment is in the loads")


def _bodies_left(results):
    """What of bodies that carry load from point to point no margin covers."""
    model, plates = results.system.model, loads.plate_cuts(results.system)
    sections = list(results.tube_margins["body"])
    cut_off = {at for cuts in plates.values() for at in cuts.cut}
    yield from about(_at_bodies(model, cut_off),
                     "how holes and corners raise the stress of the plates of {}, and what else "
                     "than rods loads them, such as a stop: not worked out; straight cuts at 21 "
                     "places and seven slants from each rod's hole to the pivot are, and buckling "
                     "as strips clamped at the pivot's axis")
    yield from _fixings_left(results)
    yield from about(_bare_arms(results, cut_off),
                     "strength of the plates, arms and horns of {}: no plate with a material that "
                     "takes a rod's end and holds the axis")
    yield from about(_bare_shafts(model, sections),
                     "strength of the shafts of {}: the file gives no wall of a tube or pipe with "
                     "a material of the body")
    yield from about((name for name in sections if name not in plates),
                     "welds, and holes through the wall, of {} but those under Welds and bolts: "
                     "the tube is taken as whole, with the material's full strength")
    worst = results.worst_loads
    yield from about(dict.fromkeys(worst["part"][worst["what"] == "pivot"]),
                     "what holds the pivots of {} on what carries them, such as brackets, lugs and "
                     "cheeks: Worst forces says what each takes")
    yield from about(loads.unplaced(model),
                     "bending of {}: along an axis whose bearings the file does not place")
    yield from about(model.stops,
                     "strength of the faces and fixings of stops {}: Loads on stops says what each "
                     "carries")


def _at_bodies(model, addresses):
    """Bodies, in the file's order, that some hardpoints are on."""
    bodies = {body_of(address) for address in addresses}
    return [name for name in model.bodies if name in bodies]


def _bare_arms(results, cut_off):
    """Loaded bodies without a section of their own, or with a rod at what no cut comes across."""
    model, worst = results.system.model, results.worst_loads
    loaded = set(worst["part"][worst["what"].isin(["pivot", "across", "about"])])
    judged = {body_of(name) for name in results.tube_margins["body"]}
    uncut = _at_bodies(model, {end for rod in model.rods.values() for end in rod.ends} - cut_off)
    return [name for name in model.bodies
            if name in loaded and (name not in judged or name in uncut)]


def _bare_shafts(model, sections):
    """Bodies with a grip and no shaft that is judged."""
    judged = {body_of(name) for name in sections if "/" in name}
    return [name for name, body in model.bodies.items()
            if "grip" in body.points and name not in judged]


def _fixings_left(results):
    """Plates that nothing in the file holds, and what is left out where something does."""
    model, plates = results.system.model, loads.plate_cuts(results.system)
    fixed = {plate for part in (*model.welds.values(), *model.boltings.values())
             for plate in part.plates}
    yield from about((plate for plate in plates if plate not in fixed),
                     "how the plates {} hold on to hub or tube: no weld or bolting of theirs in "
                     "the file")
    for row in results.fixing_margins.to_dict("records"):
        if row["missing"]:
            yield (f"{row['check']} of {row['fixing']} at {row['plate']}: the file gives no "
                   f"{row['missing']}")
    yield from about((name for name, part in model.boltings.items() if part.across),
                     "moment across and force to the side at the bolting {}: taken by the fit of "
                     "hub and tube; the edge of a hole raises the stress 3 to 4 times while it is "
                     "elastic, and the net section alone is judged")
    yield from about(model.welds, "whether the welds {} lie on their plates and tubes: taken as "
                                  "the file gives them")
    yield from about(model.boltings, "edges of the plates at the bolting {}, and how they pry: not "
                                     "worked out; holes are in the plate's section as drawn")


def _joints_left(results):
    """Joints that no figure is given for, and what even a described one leaves out."""
    silent = loads.silent_joints(results.system, results.worst_loads)
    yield from about((at for at in silent if not at.endswith("/pivot")),
                     "strength of bolts and plates at ends of rods of {}: the file gives none")
    yield from about((at.removesuffix("/pivot") for at in silent if at.endswith("/pivot")),
                     "strength of pivots and hinges of {}: the file gives none")
    unbored = {row["body"]: row["missing"].removeprefix(HOLES).split(", ")
               for row in results.tube_margins.to_dict("records")
               if row["missing"].startswith(HOLES)}
    yield from about(unbored, "net section of {} at its holes: the file gives no hole at "
                     + listed(list(dict.fromkeys(sum(unbored.values(), [])))))
    for row in results.joint_margins.to_dict("records"):
        if row["missing"]:
            yield f"{row['check']} of joint {row['joint']}: the file gives no {row['missing']}"
    yield from _pivots_left(results.system.model, dict.fromkeys(results.joint_margins["at"]))
    yield from _bolts_and_shanks(results)


def _pivots_left(model, places):
    """What of the load on pivots is not in the margins of their joints."""
    bent = [f"{name}/pivot" for name, body in model.bodies.items() if body.bearings is None]
    yield from about((at for at in places if at in bent),
                     "moment across the axis at {}: only the force at the pivot is in its margins")
    hinged = {f"{surface.body}/pivot" for surface in model.surfaces.values()}
    yield from about((at for at in places if at in hinged),
                     "air load on the hinges at {}: only what the load cases bring there is in "
                     "their margins")


def _bolts_and_shanks(results):
    model = results.system.model
    yield from about((at for at in dict.fromkeys(results.joint_margins["at"])
                      if not at.endswith("/pivot")),
                     "bending of the bolts at {}: they are judged in shear, as if what they join "
                     "lay face to face")
    yield from about((name for name in model.rods if not loads.missing(model, name)
                      and None in loads.shanks(model, name)),
                     "shanks of {}: the file gives no thread, shank or engagement, so the column "
                     "is taken as tube from ball to ball, which is too strong")
