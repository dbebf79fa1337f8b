"""The questions that a system is asked: what answers each, its misses, and what it leaves open.

One entry of `QUESTIONS` is all that a question needs: the verdict, the exit code, the sheet and
the report follow from it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from .. import gearing
from ..clearances import scene_of, undrawn
from ..motion import System
from ..stops import judged_box
from ..units import LENGTHS, rounded_down, rounded_up, shown_length
from . import feels, gives, hands, servos, strength, strength_left
from .answers import Answers, NothingAsked
from .columns import about, counted, place_words
from .movements import (
    band_misses,
    directions_cover,
    directions_judged,
    directions_left,
    directions_told,
    ends_of,
    excused,
    feels_judged,
    in_builds,
    missed_findings,
    motion_misses,
    not_required,
    reach_covers,
    rods_judged,
    travel_covers,
    travel_judged,
    travel_words,
    travels_judged,
    undriven,
)
from .verdict import Miss, Standing, Verdict

BUILD = {False: "as drawn", True: "directions, clearance, reach, rod ends, hands and travels for "
         "the builds within the file's tolerances, all else as drawn"}
RESTS_ON = {"gearing": "stops"}  # travels are judged at the stops, which have to be right then
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
        From the answers to a sentence for each thing that it can't judge.
    set_aside : callable
        From the answers to a sentence for each thing that the file, or what is common to every
        file, leaves out on purpose.
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
    set_aside: Callable[[Answers], Iterator[str]] = lambda results: iter(())


def verdict_of(results: Answers) -> Verdict:
    """The verdict on a system, from all that was asked.

    Parameters
    ----------
    results : Answers

    Returns
    -------
    Verdict
    """
    missed, unknown, aside, met, covers = list(results.also_missed), [], [], [], []
    asked = asked_of(results)
    unknown += _without_tolerances(results)
    results.work_out([name for question in asked for name in question.answers])
    standings = [_standing(results, question) for question in asked]
    for question, standing in zip(asked, standings, strict=True):
        missed += standing.missed
        met += [standing.judged] if standing.judged and not standing.missed else []
        unknown += standing.left
        if _is_answered(results, question):
            aside += question.set_aside(results)
            covers += question.covers(results)
    aside = [*_not_asked_for(asked), *aside]
    return Verdict(tuple(missed), tuple(dict.fromkeys(unknown)), tuple(dict.fromkeys(aside)),
                   tuple(met), tuple(dict.fromkeys(covers)), BUILD[results.built],
                   tuple(standings))


def _standing(results, question) -> Standing:
    """How one question came out, its worst miss first."""
    judged, answered = "", _is_answered(results, question)
    missed, left = list(_undecided(results, question)), list(_not_asked(results, question))
    if answered:
        missed += question.misses(results)
        judged = question.judged(results)
        left += question.left_out(results)
    return Standing(question.kind, question.chapter, tuple(sorted(
        missed, key=lambda miss: (not miss.decided, -miss.short))), judged, tuple(left))


def _without_tolerances(results) -> Iterator[str]:
    if results.built and not results.system.model.has_tolerances:
        yield ("builds: the file gives no tolerances, so what is said of every build is said of "
               "the drawing alone; add [tolerance] hardpoint and rod")


def _is_answered(results, question) -> bool:
    """Whether all that a question needs was worked out; each is asked, to know why it is not."""
    answers = [getattr(results, name) for name in question.answers]
    return all(answer is not None for answer in answers)


def _not_asked_for(asked) -> Iterator[str]:
    words = dict.fromkeys(question.kind for question in QUESTIONS if question not in asked)
    if words:
        yield f"not asked for: {', '.join(words)}"


def asked_of(results: Answers) -> list[Question]:
    """Questions of the chapters that were asked for, and those that their answers rest on."""
    chapters = {*results.only, *(RESTS_ON[name] for name in results.only if name in RESTS_ON)}
    return [q for q in QUESTIONS if not chapters or q.chapter in chapters]


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
            near = _less_said(row["least"], row["required"], unit)
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


def _less_said(least, required, unit) -> str:
    """A gap that is less than required, in words that say so too however little it is."""
    own, near = LENGTHS[unit], shown_length(abs(least), unit)
    if near != shown_length(required, unit):
        return near
    return f"{float(near.split()[0]) - 0.1 ** own.digits:.{own.digits}f} {unit}"


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


def bare_parts(system: System) -> list[str]:
    """Bodies and rods of which the file gives no shape, so that nothing is proven about them."""
    model = system.model
    return [*(name for name, body in model.bodies.items() if not body.solids),
            *(name for name, rod in model.rods.items() if rod.diameter is None)]


def _no_clearance_of(results):
    bare = bare_parts(results.system)
    if bare:
        yield (f"clearance of {', '.join(bare)}: no shape in the file; nothing is proven about "
               f"them")
    yield from about((f"spring {name}" for name in results.system.model.springs),
                     "clearance of {}: a spring has no shape in the file; nothing is proven about "
                     "it")
    gaps = undrawn(scene_of(results.system))
    if gaps:
        yield (f"clearance of what is not drawn: no solid of the file is there for "
               f"{'; '.join(gaps)}; nothing is proven about it")


def _no_clearance_meant(results):
    waived = scene_of(results.system).waived
    if waived:
        yield f"clearance waived: {'; '.join(f'{pair} ({why})' for pair, why in waived.items())}"
    yield from about((pair.name for pair in scene_of(results.system).pairs.values()
                      if pair.required == 0 and pair.rule not in ("stop", "waived", "joined")),
                     "clearance required of 0, free of contact and no more: {}")
    joints = {item.ball.joint for item in scene_of(results.system).left_out}
    if joints:
        yield (f"clearance at {counted(len(joints), 'joint', 'joints')}, within the radius listed "
               f"under clearance: parts are meant to touch there")


def _clearance_covers(results):
    gaps = results.clearance
    build = ("for every build within the file's tolerances" if results.built else
             "as drawn, not for every build within the tolerances")
    yield travel_judged(results)
    yield (f"Clearance is proven {build}, for every position of that travel; what lies at a joint "
           f"that two parts share left out; {len(gaps)} near pairs, {len(gaps.attrs['far'])} "
           f"far.")


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


def _ends_judged(results):
    return counted(len(ends_of(results.system, stopped=True)), "end with a stop",
                    "ends with a stop")


def _ends_without(results):
    ends = ends_of(results.system, stopped=False)
    if ends:
        yield f"no stop at {', '.join(ends)}: the wanted travel is taken to end there"


# --- loads, rods, wires -------------------------------------------------------------------------

def _build_misses(results):
    builds = results.few_builds
    if builds.unbuildable:
        yield Miss("tolerance", "", f"{builds.lost:,} of {builds.count:,} builds within the "
                   f"tolerances can't be put together somewhere in the travel")


def _tilt_misses(results):
    for row in results.misalignment.to_dict("records"):
        if row["ok"] is False:
            sure = row["greatest"] > row["allowed"]
            words = "" if sure else ", and more is not proven impossible"
            most, least = (rounded_up, rounded_down) if sure else (round, round)
            yield Miss("rod end", row["end"], f"tilts {most(row['greatest'], 1)}°{words}, "
                       f"{least(row['allowed'], 1)}° allowed",
                       place_words(results.system, row),
                       decided=sure, short=row["greatest"] - row["allowed"])


def _tilts_judged(results):
    return counted(sum(ok is not None for ok in results.misalignment["ok"]), "rod end", "rod ends")


def _tilt_covers(results):
    yield travel_judged(results)
    yield (f"Tilts of rod ends are proven {in_builds(results)} to stay within what is allowed, all "
           f"over that travel; the bolts' directions as the file gives them.")


def _tilts_left(results):
    yield from about((row["end"] for row in results.misalignment.to_dict("records")
                      if row["ok"] is None),
                     "tilt of rod ends at {}: the file gives no bolt or no limit")


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
            sure = row["gap"] < row["required"]
            open_ = "" if sure else (f", {shown_length(row['may_be'], unit)} perhaps between the "
                                     f"stick positions looked at")
            yield Miss("wire", f"{row['wire']} near {row['solid']}",
                       f"{shown_length(row['gap'], unit)} apart{open_}, "
                       f"{shown_length(row['required'], unit)} required",
                       place_words(results.system, row), sure, row["required"] - row["may_be"])


def clamps_apart(row: dict, unit: str) -> str:
    """What to do where only a wide loop keeps the bend, "" elsewhere.

    The radius of an arc is half its chord or more, so clamps that stay twice the bend limit apart
    never bend a wire too close, however long it is.
    """
    if row["least"] >= 2 * row["bend_limit"] or row["needed"] <= WIDE * row["greatest"]:
        return ""
    return (f"move the clamps apart: they come within {shown_length(row['least'], unit)}, and "
            f"{shown_length(2 * row['bend_limit'], unit)} or more never bends it too close")


def _wire_covers(results):
    box = travel_words(results.system, judged_box(results.system))
    steps = results.chafing.attrs["steps"]
    yield (f"Lengths of wires are proven as drawn within {box}; what their loops come near is "
           f"looked at as drawn in a grid of {steps} positions of each input: searched, not "
           f"proven; a gap that by the second differences may be less than required between them "
           f"counts as not decided; one that narrows within less than a step would not be seen.")


def _wires_judged(results):
    return counted(len(results.wires), "wire", "wires")


def _covering(sentence: str):
    """What a question's answer holds for; {builds} is for which of them."""
    return lambda results: iter((sentence.format(builds=in_builds(results)),))


QUESTIONS = (  # in the order of the verdict
    Question("direction", "findings", ("directions", "findings"), missed_findings("direction"),
             directions_judged, directions_left, directions_cover, directions_told("exception")),
    Question("feel", "findings", ("findings",), missed_findings("feel"), feels_judged,
             set_aside=excused("feel")),
    Question("size", "findings", ("findings",), missed_findings("size"), lambda results: "",
             set_aside=excused("size")),
    Question("motion", "findings", ("margins", "findings", "reach"), motion_misses,
             rods_judged, undriven, reach_covers),
    Question("travel", "gearing", ("travels", "bands"), band_misses, travels_judged, not_required,
             travel_covers),
    Question("clearance", "clearance", ("clearance",), _clearance_misses, _pairs_judged,
             _no_clearance_of, _clearance_covers, _no_clearance_meant),
    Question("stop", "stops", ("stops", "real_travel"), _stop_misses, _ends_judged, _ends_without,
             _covering("Stops are judged along their own input, the others at neutral, as drawn;"
                       " whether the stick gets past them, {builds}, over all that they hang on.")),
    Question("load", "loads", ("worst_loads", "rod_margins", "tube_margins", "joint_margins",
                                "fixing_margins"),
             strength.load_misses,
             strength.margins_judged, strength_left.no_strength,
             strength.load_covers, strength.cases_switched),
    Question("lost motion", "loads", ("lost_motion",), gives.give_misses, gives.gives_judged,
             gives.gives_left, gives.gives_cover),
    Question("servo", "loads", ("servos",), servos.servo_misses, servos.servos_judged,
             servos.servos_left, servos.servos_cover),
    Question("hands off", "feel", ("feel",), feels.feel_misses, feels.feels_judged,
             feels.feels_left, feels.feels_cover),
    Question("tolerance", "tolerances", ("few_builds",), _build_misses, lambda results: ""),
    Question("rod end", "rods", ("misalignment",), _tilt_misses, _tilts_judged, _tilts_left,
             _tilt_covers),
    Question("rig pin", "rods", ("rig_pins",), _pin_misses, _pins_judged,
             covers=_covering("Rig pins are judged as drawn.")),
    Question("wire", "wires", ("wires", "chafing"), _wire_misses, _wires_judged,
             covers=_wire_covers),
    Question("grip", "wires", ("grips",), hands.grip_misses, hands.grips_judged, hands.grips_left),
    Question("hand", "wires", ("hands",), hands.hand_misses, hands.hands_judged, hands.hands_left,
             covers=hands.hands_cover),
)
