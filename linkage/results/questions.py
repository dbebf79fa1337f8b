"""The questions that a system is asked: what answers each, its misses, and what it leaves open.

One entry of `QUESTIONS` is all that a question needs: the verdict, the exit code, the sheet and
the report follow from it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from .. import gearing, loads
from ..clearances import scene_of
from ..stops import judged_box
from ..units import LENGTHS, rounded_down, shown_length
from . import hands
from .answers import Answers, NothingAsked
from .columns import counted, listed, place_words
from .verdict import Miss, Verdict

if TYPE_CHECKING:
    from ..motion.system import System

MARGINS = {"column_margin": "as a column", "tube_margin": "as a tube", "joint_margin": "end joint"}
WIDE = math.pi / 2  # of its chord: an arc longer than that is more than half a circle


@dataclass(frozen=True)
class Question:
    """One question.

    Attributes
    ----------
    kind : str
        Its word in the verdict.
    chapter : str
        The chapter that shows it.
    answers : tuple of str
        Of `Answers`, what it needs.
    misses : callable
        From the answers to each `Miss`.
    judged : callable
        From the answers to what was judged, such as ``"6 travels"``; "" where nothing was.
    left_out : callable
        From the answers to a sentence for each thing that it does not look at.
    covers : callable
        From the answers to a sentence for each travel and build that it holds for.
    """

    kind: str
    chapter: str
    answers: tuple[str, ...]
    misses: Callable[[Answers], Iterator[Miss]]
    judged: Callable[[Answers], str]
    left_out: Callable[[Answers], Iterator[str]] = lambda results: iter(())
    covers: Callable[[Answers], Iterator[str]] = lambda results: iter(())


def verdict_of(results: Answers) -> Verdict:
    """The verdict on a system, from all that was asked.

    Parameters
    ----------
    results : Answers

    Returns
    -------
    Verdict
    """
    missed, left_out, met, covers = list(results.also_missed), [], [], []
    asked = asked_of(results)
    results.work_out([name for question in asked for name in question.answers])
    for question in asked:  # complexity over 10: all that one question can add, in its order
        known = [getattr(results, name) is not None for name in question.answers]
        mine = list(_undecided(results, question))
        left_out += _not_asked(results, question)
        if all(known):
            mine += question.misses(results)
            judged = question.judged(results)
            met += [judged] if judged and not mine else []
            left_out += question.left_out(results)
            covers += question.covers(results)
        missed += sorted(mine, key=lambda miss: (not miss.decided, -miss.short))
    words = list(dict.fromkeys(q.kind for q in QUESTIONS if q not in asked))
    if words:
        left_out.insert(0, f"not asked for: {', '.join(words)}")
    return Verdict(tuple(missed), tuple(dict.fromkeys(left_out)), tuple(met), tuple(covers))


def asked_of(results: Answers) -> list[Question]:
    """Questions of the chapters that were asked for."""
    return [q for q in QUESTIONS if not results.only or q.chapter in results.only]


def _undecided(results, question):
    """A miss for what the file asks and could not be worked out."""
    why = dict.fromkeys(results.why_not(name) for name in question.answers
                        if name in results.lacking
                        and not isinstance(results.lacking[name], NothingAsked))
    for sentence in why:
        yield Miss(question.kind, "", f"could not be worked out: {sentence}", decided=False)


def _not_asked(results, question):
    for name in question.answers:
        if isinstance(results.lacking.get(name), NothingAsked):
            yield f"{question.kind}: {results.why_not(name)}"
            return


# --- findings, travels --------------------------------------------------------------------------

def _missed_findings(*kinds: str):
    """Misses among the findings of some kinds."""
    def misses(results):
        for finding in results.findings:
            if finding.miss and finding.kind in kinds:
                yield Miss(finding.kind, "", finding.text)

    return misses


def _directions_judged(results):
    right = [each for each in results.directions if each.outcome == "right"]
    return counted(len(right), "direction", "directions")


def _directions_cover(results):
    if _directions_judged(results):
        yield ("Directions are judged at neutral and at both ends of the wanted travel, and by the "
               "proven sign of the gearing over all of it, as drawn; an input that moves a surface "
               "by less than a tenth of what the strongest does is not judged.")


def _feels_judged(results):
    hinged = [s for s in results.system.model.surfaces.values() if s.hinge is not None]
    return counted(len(hinged), "hinge moment's slope", "hinge moments' slopes")


def _directions_left(results):
    for each in results.directions:
        if each.outcome in ("not judged", "exception"):
            yield each.text


def _undriven(results):
    still = results.system.plan.undriven
    if still:
        yield f"motion of {', '.join(still)}: nothing drives them"


def _travel_misses(results):
    for row in results.travels.to_dict("records"):
        if not row["ok"]:
            what = f"{row['surface']} {gearing.WAYS[row['way']]}"
            wanted = f"{row['required']:g}±{row['within']:g}° required"
            if not math.isfinite(row["found"]):
                yield Miss("travel", what, f"no input moves it, {wanted}", short=math.inf)
                continue
            yield Miss("travel", what, f"{row['found']:.2f}° found, {wanted}",
                       gearing.said_input(results.system, row["input"], row["at"]),
                       short=abs(row["missed_by"]) - row["within"])


def _travels_judged(results):
    return counted(len(results.travels), "travel", "travels")


def _not_required(results):
    free = [name for name, surface in results.system.model.surfaces.items() if not surface.require]
    if free:
        yield f"travel of {', '.join(free)}: none required in the file; add require"


# --- clearance, stops ---------------------------------------------------------------------------

def _clearance_misses(results):
    unit = results.system.model.length
    for row in results.clearance.to_dict("records"):
        if row["ok"]:
            continue
        required = f"{shown_length(row['required'], unit)} required"
        row = _judged(results, row)
        at = place_words(results.system, row)
        if row["least"] < row["required"]:
            near = shown_length(abs(row["least"]), unit)
            if row["least"] <= 0:
                deep = f", {near} deep" if _depth_known(results.system, row["pair"]) else ""
                words = f"touch{deep} ({required})"
            else:
                words = f"{near}, {required}"
            words += ", in a build within the tolerances" if results.built else ""
            yield Miss("clearance", row["pair"], words, at, short=row["required"] - row["least"])
        else:
            own = LENGTHS[unit]
            proven = rounded_down(row["proven"] / own.mm, own.digits)
            words = f"only {proven} {unit}" if math.isfinite(proven) else "nothing"
            yield Miss("clearance", row["pair"], f"{words} proven, {required}", at,
                       decided=False, short=row["required"] - row["proven"])


def _depth_known(system, name: str) -> bool:
    """Whether both solids are convex: out of one piece of several the way may lead into another."""
    scene = scene_of(system)
    pair = scene.pairs[name]
    return all(len(scene.solid_of(pair, solid).pieces) == 1
               for solid in (pair.first, pair.second))


def _judged(results, row):
    """A row with what was met and proven over the real travel, where that was worked out."""
    if "real_least" not in row:
        return row
    return row | {name: row[f"real_{name}"] for name in ("least", "proven",
                                                         *results.system.travel_box())}


def _pairs_judged(results):
    free = results.clearance["rule"].isin(["stop", "waived"])
    build = " of every build" if results.built else ""
    return counted(int((~free).sum()) + len(results.clearance.attrs["far"]), f"clearance{build}",
                   f"clearances{build}")


def _no_clearance_of(results):
    model = results.system.model
    bare = [name for name, body in model.bodies.items() if not body.solids]
    bare += [name for name, rod in model.rods.items() if rod.diameter is None]
    if bare:
        yield (f"clearance of {', '.join(bare)}: no shape in the file; nothing is proven about "
               f"them")
    waived = scene_of(results.system).waived
    if waived:
        yield f"clearance waived: {'; '.join(f'{pair} ({why})' for pair, why in waived.items())}"
    joints = {item.ball.joint for item in scene_of(results.system).left_out}
    if joints:
        yield (f"clearance at {counted(len(joints), 'joint', 'joints')}, within the radius listed "
               f"under clearance: parts are meant to touch there")


def _clearance_covers(results):
    gaps = results.clearance
    build = ("for every build within the file's tolerances" if results.built else
             "as drawn, not for every build within the tolerances")
    yield (f"Clearance is {build}, for every position "
           f"of {_travel_judged(results)}; what lies at a joint that two parts share left out; "
           f"{len(gaps)} near pairs, {len(gaps.attrs['far'])} far.")


def _travel_judged(results) -> str:
    """The travel that clearance is judged over, in words."""
    real = results.real_travel
    if real is None:
        return f"the wanted travel, {travel_words(results.system)}"
    wide = max(real.fine.values(), default=0.0)
    more = f" (covered by cells, {wide:.2f}° or mm at its edge, never too small)" if wide else ""
    ended = [f"{', '.join(ends)} ended by {what}" for what, stopped in
             (("stops", True), ("the wanted travel", False))
             if (ends := ends_of(results.system, stopped=stopped))]
    return (f"the travel that the stops leave{more}, which lies within "
            f"{travel_words(results.system, real.box)} ({'; '.join(ended)})")


def travel_words(system: System, box: dict | None = None) -> str:
    """The wanted travel, or another, in words, such as "pitch 13.0° forward to 17.0° aft"."""
    return ", ".join(f"{name} {gearing.said_place(system, {name: low})} to "
                     f"{gearing.said_place(system, {name: high})}"
                     for name, (low, high) in (box or system.travel_box()).items())


def _stop_misses(results):
    for name, side in results.ends_missed:
        yield Miss("stop", f"{name} {gearing.sense_word(results.system, name, side == 'greatest')}",
                   "no stop governs there: " + _why_none(results, name, side))
    yield from _missed_stops(results)


def _missed_stops(results):
    """A miss for each end at which the stick gets past its stops somewhere."""
    for end in results.real_travel.missed_stops if results.real_travel is not None else ():
        way = gearing.sense_word(results.system, end.input, end.side == "greatest")
        verb = "miss their faces" if end.gap > 0 else "are not proven to stop it"
        yield Miss("stop", f"{end.input} {way}", f"{', '.join(end.stops)} {verb}",
                   gearing.said_place(results.system, end.place), decided=end.gap > 0)


def _why_none(results, name, side):
    mine = results.stops[(results.stops["input"] == name)]
    return "; ".join(f"{row['stop']}: {row['reason']}" for row in mine.to_dict("records")
                     if results.system.model.stops[row["stop"]].side == side)


def ends_of(system: System, *, stopped: bool) -> list[str]:
    """Ends of travels that have a stop in the file, or that have none, in words."""
    there = {(stop.input, stop.side) for stop in system.model.stops.values()}
    return [f"{name} {gearing.sense_word(system, name, side == 'greatest')}"
            for name in system.travel_box() for side in ("least", "greatest")
            if ((name, side) in there) is stopped]


def _ends_judged(results):
    return counted(len(ends_of(results.system, stopped=True)), "end with a stop",
                    "ends with a stop")


def _ends_without(results):
    ends = ends_of(results.system, stopped=False)
    if ends:
        yield f"no stop at {', '.join(ends)}: the wanted travel is taken to end there"


# --- loads, rods, wires -------------------------------------------------------------------------

def _load_misses(results):
    for row in results.rod_margins.to_dict("records"):
        for column, words in MARGINS.items():
            if row[column] < 0:
                yield Miss("load", row["rod"], f"margin {words} {row[column]:+.2f}, 0 required",
                           short=-row[column])
    for row in results.tube_margins.to_dict("records"):
        if row["margin"] < 0:
            yield Miss("load", row["body"], f"margin of its tube {row['margin']:+.2f}, 0 required",
                       short=-row["margin"])


def _margins_judged(results):
    margins = [*results.rod_margins[list(MARGINS)].to_numpy(dtype=float).ravel(),
               *results.tube_margins["margin"]]
    return counted(sum(map(math.isfinite, margins)), "margin", "margins")


def _unloaded(results):
    """Rods and tubes that no load case loads: their margin says nothing."""
    names = [row["rod"] for row in results.rod_margins.to_dict("records")
             if not max(row["tension"], row["compression"]) > 0]
    names += [f"tube of {row['body']}" for row in results.tube_margins.to_dict("records")
              if not row["moment"] > 0]
    if names:
        yield f"strength of {listed(names)}: no load in any case"


def _no_strength(results):
    yield from _without_margin(results)
    system = results.system
    pushed = [name for name in system.travel_box()
              if not loads.grips(system, name) or loads.pilot_force(system, name) is None]
    if pushed:
        yield f"loads from {', '.join(pushed)}: no grip or no limit pilot force"
    silent = [name for name, surface in system.model.surfaces.items() if surface.hinge is None]
    if silent:
        yield f"hinge moment of {', '.join(silent)}: none in the file"
    for case in results.worst_loads.attrs["unheld"]:
        yield f"load case held nowhere: {case}"
    yield from _unloaded(results)


def _without_margin(results):
    for words, table, margin, part in (
            ("column and tube", results.rod_margins, "tube_margin", "rod"),
            ("end joints", results.rod_margins, "joint_margin", "rod"),
            ("tube", results.tube_margins, "margin", "body")):
        names = [row[part] for row in table.to_dict("records") if math.isnan(row[margin])]
        if names:
            yield f"strength of {words} of {listed(names)}: the file gives none"


def _build_misses(results):
    builds = results.few_builds
    if builds.unbuildable:
        yield Miss("tolerance", "", f"{builds.lost:,} of {builds.count:,} builds within the "
                   f"tolerances can't be put together somewhere in the travel")


def _tilt_misses(results):
    for row in results.misalignment.to_dict("records"):
        if row["ok"] is False:
            yield Miss("rod end", row["end"], f"tilts {row['greatest']:.1f}°, "
                       f"{row['allowed']:.1f}° allowed", place_words(results.system, row),
                       short=row["greatest"] - row["allowed"])


def _tilts_judged(results):
    return counted(sum(ok is not None for ok in results.misalignment["ok"]), "rod end", "rod ends")


def _tilts_left(results):
    open_ = [row["end"] for row in results.misalignment.to_dict("records") if row["ok"] is None]
    if open_:
        yield f"tilt of rod ends at {listed(open_)}: the file gives no bolt or no limit"


def _pin_misses(results):
    unit, pins = results.system.model.length, set()
    for row in results.rig_pins.to_dict("records"):
        if row["ok"] is False and row["pin"] not in pins:
            pins.add(row["pin"])
            yield Miss("rig pin", row["pin"], f"holes {shown_length(row['apart'], unit)} apart, "
                       f"{shown_length(row['within'], unit)} allowed",
                       short=row["apart"] - row["within"])


def _pins_judged(results):
    rows = results.rig_pins.to_dict("records")
    return counted(len({row["pin"] for row in rows if row["ok"] is not None}), "rig pin",
                    "rig pins")


def _wire_misses(results):
    unit = results.system.model.length
    for row in results.wires.to_dict("records"):
        if not row["ok"]:
            yield Miss("wire", row["wire"], f"{shown_length(row['length'], unit)} long, "
                       f"{shown_length(row['needed'], unit)} needed; bend "
                       f"{shown_length(row['bend'], unit)}, "
                       f"{shown_length(row['bend_limit'], unit)} allowed"
                       + (f"; {apart}" if (apart := clamps_apart(row, unit)) else ""),
                       gearing.said_place(results.system, row["greatest_at"]))
    for row in results.chafing.to_dict("records"):
        if not row["ok"]:
            yield Miss("wire", f"{row['wire']} near {row['solid']}",
                       f"{shown_length(row['gap'], unit)} apart, "
                       f"{shown_length(row['required'], unit)} required",
                       place_words(results.system, row), short=row["required"] - row["gap"])


def clamps_apart(row: dict, unit: str) -> str:
    """What to do where only a wide loop keeps the bend, "" elsewhere.

    The radius of an arc is half its chord or more, so clamps that stay twice the bend limit apart
    never bend a wire too close, however long it is.
    """
    if row["least"] >= 2 * row["bend_limit"] or row["needed"] <= WIDE * row["greatest"]:
        return ""
    return (f"move the clamps apart: they come within {shown_length(row['least'], unit)}, and "
            f"{shown_length(2 * row['bend_limit'], unit)} or more never bends it too close")


def _wires_judged(results):
    return counted(len(results.wires), "wire", "wires")


def _covering(sentence: str):
    """What a question's answer holds for; {box} is what was searched, as it was."""
    return lambda results: iter((sentence.format(
        box=travel_words(results.system, judged_box(results.system))),))


QUESTIONS = (  # in the order of the verdict
    Question("direction", "findings", ("directions", "findings"), _missed_findings("direction"),
             _directions_judged, _directions_left,
             _directions_cover),
    Question("feel", "findings", ("findings",), _missed_findings("feel"), _feels_judged),
    Question("size", "findings", ("findings",), _missed_findings("size"), lambda results: ""),
    Question("motion", "findings", ("margins", "findings"), _missed_findings("motion"),
             lambda results: "", _undriven),
    Question("travel", "gearing", ("travels",), _travel_misses, _travels_judged, _not_required,
             _covering("Travels are judged as drawn, along their input with the others at neutral: "
                       "up to the stop that governs, where an end has none up to the wanted "
                       "travel.")),
    Question("clearance", "clearance", ("clearance",), _clearance_misses, _pairs_judged,
             _no_clearance_of, _clearance_covers),
    Question("stop", "stops", ("stops", "real_travel"), _stop_misses, _ends_judged, _ends_without,
             _covering("Stops are judged along their own input, the others at neutral, as drawn;"
                       " whether the stick gets past them, over all inputs they depend on.")),
    Question("load", "loads", ("worst_loads", "rod_margins", "tube_margins"), _load_misses,
             _margins_judged, _no_strength,
             _covering("Loads are the greatest found on a grid of stick positions within {box}, "
                       "and closer about each worst one: searched, not proven between; for the "
                       "load cases listed.")),
    Question("tolerance", "tolerances", ("few_builds",), _build_misses, lambda results: ""),
    Question("rod end", "rods", ("misalignment",), _tilt_misses, _tilts_judged, _tilts_left,
             _covering("Tilts of rod ends are searched within {box}, not proven.")),
    Question("rig pin", "rods", ("rig_pins",), _pin_misses, _pins_judged),
    Question("wire", "wires", ("wires", "chafing"), _wire_misses, _wires_judged,
             covers=_covering("Lengths of wires are proven within {box}; what their loops come "
                              "near is looked at in a grid of stick positions.")),
    Question("grip", "wires", ("grips",), hands.grip_misses, hands.grips_judged, hands.grips_left),
    Question("hand", "wires", ("hands",), hands.hand_misses, hands.hands_judged, hands.hands_left,
             covers=_covering("Room of hands is proven as drawn, over the travel that the stops "
                              "leave.")),
)
