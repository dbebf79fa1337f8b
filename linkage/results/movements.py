"""What is judged of directions, reach and travels, over which travel, and what is not."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from .. import gearing
from ..model import SENSES
from ..units import shown_length
from .columns import counted
from .verdict import Miss

if TYPE_CHECKING:
    from ..motion.system import System
    from .answers import Answers


def missed_findings(*kinds: str) -> Callable[[Answers], Iterator[Miss]]:
    """Misses among the findings of some kinds."""
    def misses(results):
        for finding in results.findings:
            if finding.miss and finding.kind in kinds:
                yield Miss(finding.kind, "", finding.text)

    return misses


def directions_judged(results: Answers) -> str:
    """Directions that are right."""
    right = [each for each in results.directions if each.outcome == "right"]
    return counted(len(right), "direction", "directions")


def directions_cover(results: Answers) -> Iterator[str]:
    """What directions hold for."""
    if directions_judged(results):
        yield travel_judged(results)
        stays = "; that a spoiler stays down on the other side as drawn" if results.built and any(
            gearing.kind_of(results.system, each.surface) == "spoiler"
            for each in results.directions) else ""
        yield (f"Directions are judged as drawn at neutral and at both ends, and by the sign of "
               f"the gearing proven {in_builds(results)} all over that travel{stays}; an input "
               f"that moves a surface by less than a tenth of what the strongest does is not "
               f"judged.")


def directions_left(results: Answers) -> Iterator[str]:
    """Directions that nothing says, and inputs of which no point says where the hand is."""
    yield from directions_told("not judged")(results)
    system = results.system
    judged = {each.input for each in results.directions if each.outcome == "right"}
    blind = [name for name, control in system.inputs.items()
             if name in judged & set(SENSES) and control.grip is None
             and not system.model.bodies[control.body].slides]
    if blind:
        yield (f"hand on {', '.join(blind)}: no grip in the file, so the hand is taken to be above "
               f"its pivot; name a point grip")


def excused(kind: str) -> Callable[[Answers], Iterator[str]]:
    """Oddities that the file says are meant, each with its reason."""
    return lambda results: (
        f"{kind} as meant: {finding.text}" for finding in results.findings
        if finding.kind == kind and not finding.miss and finding.part in results.system.model.meant
        and finding.text.endswith(f"meant: {results.system.model.meant[finding.part]}"))


def feels_judged(results: Answers) -> str:
    """Surfaces whose feel is known and brings the stick back."""
    centring = [s for s in results.system.model.surfaces.values()
                if s.hinge is not None and s.hinge.slope <= 0]
    return counted(len(centring), "hinge moment's slope", "hinge moments' slopes")


def directions_told(outcome: str) -> Callable[[Answers], Iterator[str]]:
    """What was found of directions that came out so."""
    return lambda results: (each.text for each in results.directions if each.outcome == outcome)


def undriven(results: Answers) -> Iterator[str]:
    """Bodies that stand still because nothing drives them."""
    still = results.system.plan.undriven
    if still:
        yield f"motion of {', '.join(still)}: nothing drives them"


def motion_misses(results: Answers) -> Iterator[Miss]:
    """Where a rod does not reach, or is not proven to."""
    yield from missed_findings("motion")(results)
    for which, words in (("wrong", "a rod can't reach"), ("open", "not proven that rods reach")):
        if len(getattr(results.reach, which)):
            yield Miss("motion", "", f"{words} within the travel that the stops leave",
                       gearing.said_place(results.system, results.reach.nearest(which)),
                       decided=which == "wrong")


def reach_covers(results: Answers) -> Iterator[str]:
    """What the reach of rods holds for."""
    yield travel_judged(results)
    yield f"That every rod reaches is proven {in_builds(results)}, all over that travel."


def rods_judged(results: Answers) -> str:
    """Rods whose reach is proven."""
    rods = len(results.system.model.rods) - len(results.system.plan.open_rods)
    return counted(rods, "rod's reach", "rods' reach")


def travel_misses(results: Answers) -> Iterator[Miss]:
    """Required travels that are not found."""
    for row in results.travels.to_dict("records"):
        if not row["ok"]:
            what = f"{row['surface']} {gearing.WAYS[row['way']]}"
            wanted = f"{row['required']:g}±{row['within']:g}° required"
            if not math.isfinite(row["found"]):
                yield Miss("travel", what, f"no input moves it, {wanted}", short=math.inf)
                continue
            built = "" if "build_least" not in row else (
                f" as drawn, {row['build_least']:.2f}° to {row['build_most']:.2f}° in builds")
            found = round(row["found"], 2) + 0.0
            yield Miss("travel", what, f"{found:.2f}° found{built}, {wanted}",
                       gearing.said_input(results.system, row["input"], row["at"]),
                       row.get("decided", True), abs(row["missed_by"]) - row["within"])


def band_misses(results: Answers) -> Iterator[Miss]:
    """Required travels, and those that hold only with the other inputs at neutral."""
    yield from travel_misses(results)
    for row in results.bands.to_dict("records"):
        short = abs(row["found"] - row["required"]) - row["within"]
        yield Miss("travel", f"{row['surface']} {gearing.WAYS[row['way']]}",
                   f"{row['found']:.2f}° where the stops leave it with the other inputs moved, "
                   f"{row['required']:g}±{row['within']:g}° required",
                   gearing.said_place(results.system, row["place"]), row["decided"], short)


def travel_covers(results: Answers) -> Iterator[str]:
    """What required travels hold for."""
    build = ("in the worst corners of the file's tolerances with the rods set so that every part "
             "stands at neutral and every stop as drawn, none spaced anew, searched and not proven"
             if results.built else "as drawn")
    yield (f"Travels are judged {build}, along their input with the others at neutral: up to the "
           f"stop that governs, where an end has none up to the wanted travel.  Of those met no "
           f"other input, but one that commands the surface too, takes one past its band, proven "
           f"as drawn; nor does one end it sooner, looked up as drawn at "
           f"{results.bands.attrs['places']} positions of each.")


def travels_judged(results: Answers) -> str:
    """Required travels."""
    return counted(len(results.travels), "travel", "travels")


def not_required(results: Answers) -> Iterator[str]:
    """Surfaces of which no travel is required."""
    surfaces = results.system.model.surfaces
    free = [name for name, part in surfaces.items() if not part.require]
    if free:
        yield f"travel of {', '.join(free)}: none required in the file; add require"
    half = [f"{name} {gearing.WAYS[way]}" for name, part in surfaces.items() if part.require
            for way in gearing.ways_moved(results.system, name)
            if all(getattr(each, way) is None for each in part.require)]
    if half:
        yield f"travel of {', '.join(half)}: none required in the file that way"


def travel_judged(results: Answers) -> str:
    """The travel that most is judged over, in a sentence."""
    real = results.real_travel
    if not results.system.travel_box():
        return "No input drives a part yet, so no travel is judged."
    if real is None:
        return f"The travel judged is the wanted one, {travel_words(results.system)}."
    more = _edge_words(results.system, max(real.fine.values(), default=0.0))
    missed = [_end_words(results.system, end.input, end.side) for end in real.missed_stops]
    stopped = [end for end in ends_of(results.system, stopped=True) if end not in missed]
    ended = [f"{', '.join(ends)} ended by {what}" for what, ends in
             (("stops", stopped), ("how far a stop is looked for, as none is met there", missed),
              ("the wanted travel", ends_of(results.system, stopped=False))) if ends]
    build = " in any build" if results.built else ""
    return (f"The travel judged is what the stops leave{build}{more}; it lies within "
            f"{travel_words(results.system, real.box)} ({'; '.join(ended)}).")


def _edge_words(system, wide) -> str:
    """How coarse the cells that cover the travel are, "" where there are none."""
    edge = f"{wide:.2f}°" if all(part.unit == "°" for part in system.inputs.values()) else \
        f"{wide:.2f}° or {shown_length(wide, system.model.length)}"
    return f" (covered by cells, {edge} at its edge, never too small)" if wide else ""


def travel_words(system: System, box: dict | None = None) -> str:
    """The wanted travel, or another, in words, such as "pitch 13.0° forward to 17.0° aft"."""
    return ", ".join(f"{name} {gearing.said_place(system, {name: low})} to "
                     f"{gearing.said_place(system, {name: high})}"
                     for name, (low, high) in (box or system.travel_box()).items())


def in_builds(results: Answers) -> str:
    """For which build what is proven so holds."""
    return "for every build within the file's tolerances" if results.built else "as drawn"


def ends_of(system: System, *, stopped: bool) -> list[str]:
    """Ends of travels that have a stop in the file, or that have none, in words."""
    there = {(stop.input, stop.side) for stop in system.model.stops.values()}
    return [_end_words(system, name, side)
            for name in system.travel_box() for side in ("least", "greatest")
            if ((name, side) in there) is stopped]


def _end_words(system, name, side) -> str:
    word = gearing.sense_word(system, name, side == "greatest")
    return word if word.startswith(f"{name} ") else f"{name} {word}"
