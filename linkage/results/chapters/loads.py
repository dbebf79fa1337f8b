"""Loads and margins: stick forces, what each part carries, and what gives way."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from ... import gearing, loads
from ...model import FITTING, SPECIAL
from ...units import LENGTHS
from ..blocks import DataTable, Heading, Picture, Table, Text, as_read
from ..columns import in_units, in_words, place_of
from ..strength import MARGINS, weakest

if TYPE_CHECKING:
    from ...motion.system import System
    from ..answers import Answers
    from ..blocks import Block

TABLES = ("Least margins", "Joints", "Joint checks", "Welds and bolts", "Worst rod loads",
          "Worst forces", "Worst moments", "Loads on stops", "Load cases", "Rod margins",
          "Torque tubes", "Stick force along ", "Lost motion", "Friction", "Rods that shake",
          "Servos")
SLENDER = 150  # L'/rho that Bruhn, chapter C4, does not go beyond "without authority"
LEFT_OUT = ("Rigid bodies, ball ends and joints without friction carry these loads; weight, "
            "acceleration, air load but for its hinge moment, and bending of all but torque tubes "
            "on bearings are left out.  A pilot's force is square to the arm; an input that "
            "is not pushed is held at the grip by whatever it takes.  A jam of the one surface "
            "that holds an input is the pilot's own case.")
FORMULAS = ("Formulas: stepped columns by Timoshenko and Gere, Johnson's parabola where a material "
            "gives no curve, its tangent modulus in a shank past half its yield stress; walls by "
            "AISC 360; tubes, shafts and plates by beam theory and distortion energy, plates in "
            "torsion by Roark; bolts, lugs and threads by simple texts, welds "
            "as lines by Shigley; ultimate in shear where none is given that in tension / √3, in "
            "bearing that in tension: all from memory.")
RULED = ("Those that are worst for a part, and the paragraph that asks for each, of 14 CFR part "
         "23, 1-1-14 edition.")
WHAT = {"pivot": "at its pivot", "bearing 1": "on its first bearing",
        "bearing 2": "on its second bearing", "across": "across its axis",
        "about": "from arm to arm about its axis", "tube": "in its torque tube"}


def blocks(results: Answers) -> Iterator[Block]:
    """Blocks on what parts carry, and with which margins."""
    yield Heading("Loads and margins")
    if results.worst_loads is None:
        yield Text(f"Missing: {results.why_not('worst_loads')}.", "missing")
        return
    yield from _first(results)
    yield Picture(lambda: _drawn(results), "What each rod carries at its worst")
    yield from _basis(results.system)
    yield from _strength(results)
    yield from _worst(results)
    yield from _stick_forces(results)
    yield from _gives(results)
    yield from _servos(results)
    yield from _remarks(results)


def _drawn(results):
    from ... import plots

    return plots.rods_at_worst(results.system, worst=results.worst_loads,
                               margins=results.rod_margins)


def _first(results):
    """Which parts have least to spare, by which case."""
    rows = weakest(results)
    if not rows:
        yield Text("No margin could be worked out: the file gives the strength of no part that a "
                   "load case loads.", "missing")
        return
    data = pd.DataFrame(rows).rename(columns={"case": "load_case"})
    data = data[["part", "check", "margin", "load_case", *place_of(results.system, dict.fromkeys(
        results.system.travel_box()))]]
    yield Table("Least margins", data, "Of each part only its least; what can't be judged is under "
                "Not looked at.", words=in_words(results.system, data))


def _basis(system):
    for name in system.travel_box():
        force, at = loads.pilot_force(system, name), ", ".join(loads.grips(system, name))
        if not at:
            yield Text(f"{name}: no point named grip, so no pilot force", "missing")
        elif force is None:
            yield Text(f"{name}: no limit pilot force in the file", "missing")
        else:
            least = f", least {force_words(system, force.least)}" if force.least else ""
            source = loads.rule_of_force(system, name)
            yield Text(f"{name}: limit pilot force {force_words(system, force.most)}{least} "
                       f"({source}) at {at}")
    for name, surface in system.model.surfaces.items():
        if surface.hinge:
            yield Text(f"{name}: hinge moment {moment_words(system, surface.hinge.neutral, 1)} and "
                       f"{moment_words(system, surface.hinge.slope, 2)} per degree, + is "
                       f"{gearing.deflection_words(system, name)[1]} ({surface.hinge.at})")
    factor = system.model.factor
    yield Text(f"Factors: limit to ultimate {factor.safety:g} (14 CFR 23.303), hinge "
               f"moments {factor.hinge:g} (A23.13(a)(1)), {_said_factors(factor)}; of hinges "
               f"{SPECIAL['hinge']:g} (23.657(a)), of cables {SPECIAL['cable']:g} (23.693); the "
               f"highest special factor, no product (23.619); all of the 1-1-14 "
               f"edition, where a rod or joint says no other.")
    yield Text(FORMULAS)
    for name in _materials(system.model):
        yield Text(f"material {name}: {_figures(system, system.model.material(name))}")
    yield Text(LEFT_OUT)


def _said_factors(factor) -> str:
    """Fitting and bearing factor, and which the file does not say."""
    words = [(f"fitting {value if value is not None else usual:g} ({rule}"
              + ("" if value is not None else "; the file gives none") + ")").replace(
                  "fitting", word, 1)
             for word, value, usual, rule in (
                 ("fitting", factor.fitting, FITTING, "23.625, from memory, as 25.625"),
                 ("bearing", factor.bearing, SPECIAL["push-pull"], "23.693"))]
    return ", ".join(words)


def _materials(model):
    """Names of the materials whose figures are in a margin."""
    parts = [*model.rods.values(), *(b.tube for b in model.bodies.values() if b.tube),
             *model.bodies.values(), *(s for b in model.bodies.values() for s in b.solids.values()),
             *model.rod_ends.values(), *model.joints.values(), *model.welds.values(),
             *model.boltings.values()]
    words = ("material", "bolt_material", "bears_material")
    return dict.fromkeys(name for part in parts for word in words
                         if (name := getattr(part, word, None)) is not None)


def _figures(system, material) -> str:
    """Allowables of a material, each with what stands in for it, and its source."""
    own = LENGTHS[system.model.length]

    def said(stress, usual=""):
        return usual if stress is None else f"{stress / own.megapascal:.4g} {own.stress}"

    figures = [f"E {said(material.modulus)}", f"yield {said(material.yield_stress)}",
               f"ultimate {said(material.ultimate, 'not given')}",
               f"in shear {said(material.breaks_in_shear, 'not given')}"
               + ("" if material.shear_ultimate else " (ultimate / √3)"),
               f"in bearing {said(material.breaks_in_bearing, 'not given')}"
               + ("" if material.bearing_ultimate else " (that in tension)")]
    return f"{', '.join(figures)} ({material.source})"


def force_words(system: System, newtons: float, digits: int | None = 0) -> str:
    """A force in the unit that goes with the file's lengths."""
    own = LENGTHS[system.model.length]
    return f"{newtons / own.newton:.{digits}f} {own.force}"


def moment_words(system: System, newton_mm: float, digits: int | None = 0) -> str:
    """A moment in the unit that goes with the file's lengths."""
    own = LENGTHS[system.model.length]
    return f"{newton_mm / own.newton_mm:.{digits}f} {own.moment}"


def _strength(results):
    system, rods = results.system, results.rod_margins
    if len(rods):
        margins = rods[list(MARGINS)]
        order = np.argsort(margins.min(axis=1).fillna(np.inf), kind="stable")
        data = in_units(system, rods.iloc[order].assign(
            remark=[_remark(system, row) for row in rods.iloc[order].to_dict("records")]),
            force="tension compression column joint_needs", length="length")
        yield Table("Rod margins", data.drop(columns="missing"),
                    "Margin: strength over load and factor, less 1; below 0 is missed.  Column: "
                    "tube and bare shanks as one stepped column with pinned ends, at limit x "
                    "safety; rule: what gave it.  Tube: yield at limit, ultimate at limit x "
                    "safety.  Shank: at the root of its thread, ultimate x fitting too; thread: "
                    "half a cylinder at its root in shear.  Joint factor: on the figure that "
                    "leaves least.")
    if len(results.joint_margins):
        data = in_units(system, results.joint_margins, force="load strength")
        least = results.joint_margins["margin"].fillna(np.inf).groupby(
            results.joint_margins["at"]).idxmin()
        yield Table("Joints", data.loc[least[list(dict.fromkeys(data["at"]))]],
                    "Of each place the check with the least margin; Joint checks has all.  Bearing "
                    "under the factor of its kind, all else 1.5 x fitting; a dash: the file leaves "
                    "out what stands under missing.")
        yield DataTable("Joint checks", lambda: data)
    if len(results.fixing_margins):
        data = in_units(system, results.fixing_margins, stress="stress strength")
        yield Table("Welds and bolts", data,
                    "What holds plates on hubs and tubes, each as if it held the plate alone, "
                    "under all that the plate's rods put on it.  A weld as a line, bolts in shear "
                    "and tension together; a tube at its hole by its net section.  A dash: the "
                    "file leaves out what stands under missing.",
                    words=in_words(system, data))
    if len(results.tube_margins):
        data = in_units(system, results.tube_margins, moment="torsion bending", stress="stress",
                        length="x y z")
        yield Table("Torque tubes", data, "Bending between its bearings, shear and torsion "
                    "together by distortion energy, at the worst place of its middle line; yield "
                    "at limit, ultimate at limit x safety.  A dash under bending: the file places "
                    "no bearings, and torsion alone is in it.",
                    words=in_words(system, data))


def _remark(system, row) -> str:
    if row["missing"]:
        return f"no strength and no stretch: the file gives no {row['missing']}"
    rod = system.model.rods[row["rod"]]
    words = [f"L'/rho above {SLENDER:g}"] if row["slenderness"] > SLENDER else []
    if np.isnan(row["column"]):
        words.append(f"diameter / wall {rod.diameter / rod.wall:.0f}: beyond every rule for walls "
                     "known here")
    return "; ".join(words)


def worst_tables(results: Answers) -> dict:
    """Worst loads apart by unit, and the load cases that their numbers stand for.

    Returns
    -------
    dict
        ``{name: DataFrame}``.
    """
    system, worst = results.system, results.worst_loads
    cases = list(dict.fromkeys(worst["case"]))
    data = worst.assign(case=[cases.index(case) + 1 for case in worst["case"]])
    places = list(place_of(system, dict.fromkeys(system.inputs)))
    data = data[data["stress"].isna()]  # the table of torque tubes has it
    rods, moments = data["what"].isin(["tension", "compression"]), data["force"].isna()
    stops = data["what"] == "load"
    plain = data.assign(what=[WHAT.get(what, what) for what in data["what"]])
    each = (("Worst rod loads", rods, "rod", "force"), ("Worst forces", ~rods & ~moments & ~stops,
            "body", "force"), ("Worst moments", moments, "body", "moment"),
            ("Loads on stops", stops, "stop", "force"))
    tables = {}
    for name, chosen, part, kind in each:
        rows = plain[chosen].rename(columns={"part": part})
        tables[name] = in_units(system, rows[[part, "what", kind, "case", *places]], **{kind: kind})
    rules = {case.name: case.rule for stop in (None, *system.model.stops)
             for case in loads.cases(system, stop)}
    tables["Load cases"] = pd.DataFrame({"case": range(1, len(cases) + 1), "load case": cases,
                                         "rule": [rules.get(case, "") for case in cases]})
    return tables


def _worst(results):
    for name, data in worst_tables(results).items():
        if len(data):
            note = RULED if name == "Load cases" else (
                "Limit load, the greatest over every case and the whole travel, and where.")
            yield Table(name, data, note, words=in_words(results.system, data))
    idle = [rod for rod in results.system.model.rods
            if rod not in set(results.worst_loads["part"])]
    if idle:
        yield Text(f"No load in any case: {', '.join(idle)}.", "missing")


def _stick_forces(results):
    system = results.system
    for name, forces in results.stick_forces.items():
        force = forces["force"] if _has_moment(system, name) else np.nan
        data = forces.assign(force=force).reset_index()
        if not data[["force", "friction"]].notna().to_numpy().any():
            continue
        moments = " ".join(c.replace(" ", "_") for c in data if str(c).startswith("moment "))
        data = data.rename(columns=lambda c: str(c).replace(" ", "_"))
        data = in_units(system, data.rename(columns={name.replace(" ", "_"): name}), at=False,
                        force="force friction", moment=moments)
        yield Table(f"Stick force along {name}", data, f"As the hand feels it, + is "
                    f"{gearing.sense_word(system, name, True)}; hinge moments as given, no factor "
                    "on them.",
                    words=in_words(system, data))
        yield from _needed(results, name)


def _has_moment(system, name) -> bool:
    neutral = system.sweep()
    return any(part.hinge and abs(float(neutral.gearing(s)[name])) > 1e-9
               for s, part in system.model.surfaces.items())


def _needed(results, name):
    needed, system = results.needed_forces.get(name), results.system
    if needed and np.isfinite(needed["hinge"]):
        yield Text(f"With the factor {system.model.factor.hinge:g} it is "
                   f"{force_words(system, needed['hinge'])} at most.  Held between the least and "
                   f"the most pilot force, the system has to be made for "
                   f"{force_words(system, needed['needed'])} (14 CFR 23.395, from memory, as "
                   f"25.395); the tables here take the most, "
                   f"{force_words(system, needed['most'])}.  "
                   + _searched(needed, force_words(system, needed["error"], 3)))


def _searched(looked, missing) -> str:
    """At which positions a worst was searched, and how much it may have missed."""
    return (f"The worst is searched, not proven: at {looked['positions']} positions along the "
            f"input, the others at neutral; by the curves' second differences up to {missing} may "
            f"be missing between them.")


def _gives(results):
    system, lost = results.system, results.lost_motion
    if lost is not None and len(lost):
        data = in_units(system, lost.rename(columns={"at": "worst_at", "rigid": "taken_as_rigid"}),
                        angle="neutral worst worst_at", share="share")
        yield Table("Lost motion", data, "Degrees that the surface gives with the grip held, at "
                    "one pilot's limit force, from stretch of rods and twist of torque tubes; at "
                    "least so much where parts are taken as rigid.  "
                    + _searched(lost.attrs, f"{lost.attrs['error']:.3f}°"),
                    words=in_words(system, data))
    if len(results.friction):
        yield Table("Friction", in_units(system, results.friction, force="neutral most"),
                    "Breakout friction of each joint, carried to the grip.  " + _searched(
                        results.friction.attrs, force_words(
                            system, results.friction.attrs["error"], 3)))


def _servos(results):
    """What each servo asks of the hand, and how near dead centre its arm comes."""
    data = results.servos
    if data is None or not len(data):
        return
    system = results.system
    shown = data.assign(**{at: [gearing.said_place(system, place) if place else ""
                                for place in data[at]] for at in ("over_at", "force_at")})
    shown = in_units(system, shown.drop(columns="positions"), moment="gives_way",
                     force="overpower force_error", angle="over_centre over_error")
    yield Table("Servos", shown, "Over-centre: least at its arm over the real travel, and how much "
                "less it may be between the positions looked at; overpower: greatest force at the "
                "grip that makes its clutch slip or its pin shear, of the servo alone, without "
                "friction and air; lost: travel of the input that it takes away at either end.",
                rounding=as_read("over centre °", toward=-1))


def _shaking(results):
    """First natural frequency of each rod, where the file gives the engine's speeds."""
    if not results.system.model.engine:
        yield Text("no engine speed, so how rods shake is not held against any", "missing")
        return
    data = loads.rod_vibration(results.system)
    data = data.assign(near=["near" if near else "" for near in data["near"]])
    yield Table("Rods that shake", in_units(results.system, data, speed="first engine"),
                "First natural frequency of the tube between its balls, unloaded; near: within a "
                "fifth of an engine speed (common practice, no source).  Shown, not judged.")


def _remarks(results):
    yield from _shaking(results)
    for name, words in loads.left_out(results.system).items():
        yield Text(f"load case {name}: {words} (the file)", "note")
    straight = [name for name, rod in results.system.model.rods.items() if not rod.bow]
    if straight:
        yield Text(f"taken as straight, as the file gives no bow: {', '.join(straight)}", "missing")
    yield from _paths(results.system)
    yield from _cases(results.system, results.worst_loads.attrs)


def _paths(system):
    for rod in system.plan.redundant:
        yield Text(f"rod {rod}: a second load path; what it carries depends on how it is rigged, "
                   f"and is taken as none", "missing")
    for rod in system.plan.open_rods:
        yield Text(f"rod {rod}: hangs between joints that nothing drives, so it carries nothing",
                   "missing")
    for name in system.model.couplings:
        yield Text(f"coupling {name}: its moment counts, the pull of its cables on pivots does not",
                   "missing")
    for name in system.travel_box():
        if why := _unpushed(system, name):
            yield Text(f"input {name}: {why}, so no case pushes it; what it alone loads is not "
                       f"worked out", "missing")
    for what, names in _kinds(system.model):
        yield Text(f"{what}: {', '.join(names)}", "missing")


def _cases(system, attrs):
    for case in attrs["unheld"]:
        yield Text(f"case not held anywhere (its surfaces don't move): {case}", "missing")
    for case, share in attrs["partly"].items():
        yield Text(f"case not held in {share:.0%} of the travel (out of reach, or near dead "
                   f"centre): {case}", "missing")
    for (case, name), force in attrs["beyond"].items():
        yield Text(f"case with up to {force_words(system, force)} of {name} at the grip, more than "
                   f"the limit pilot force: {case}", "note")
    for why in dict.fromkeys(attrs["stops"].values()):
        yield Text(f"left out: {why}", "missing")


def _unpushed(system, name) -> str:
    if not loads.grips(system, name):
        return "no point named grip"
    if loads.pilot_force(system, name) is None:
        return "no limit pilot force"
    return "" if loads.holding(system, name) else "no surface that it moves"


def _kinds(model):
    """What is missing of many parts alike."""
    turning = {name: body for name, body in model.bodies.items() if not body.slides}
    for what, parts, word in (("no hinge moment", model.surfaces, "hinge"),
                              ("no friction", model.bodies, "friction"),
                              ("no tube, so no twist", turning, "tube"),
                              ("no strength of its end joints", model.rods, "strength")):
        names = [name for name, part in parts.items() if getattr(part, word) is None]
        if names:
            yield what, names
