"""The shop sheet: stick forces, what each part carries, margins, lost motion, friction."""

from __future__ import annotations

import math

import numpy as np

from .. import gearing, loads
from ..motion import System
from ..units import FORCE_PER, LBF, MOMENT_PER
from .text import number, section, table

SLENDER = 150  # L'/rho that Bruhn, chapter C4, does not go beyond "without authority"
THIN = 50  # diameter / wall from which the same chapter asks for a check of local buckling
LEFT_OUT = ("Rigid bodies, ball ends and joints without friction carry these loads; weight, "
            "acceleration,\nair load but for its hinge moment, and bending of bodies are left out. "
            "Every rod is taken as straight.\nA pilot's force is square to the arm; an input that "
            "is not pushed is held at the grip by whatever it takes.\nA jam of the one surface "
            "that holds an input is the pilot's own case.")


def loads_sheet(system: System) -> tuple[str, int]:
    """Loads and margins as text.

    Parameters
    ----------
    system : System

    Returns
    -------
    (str, int)
        The sheet, and how many margins are missed.
    """
    worst = loads.worst_loads(system)
    rods, tubes = loads.rod_margins(system, worst), loads.tube_margins(system, worst)
    order = list(dict.fromkeys(worst["case"]))
    parts = [_given(system), _numbered(order), *_stick_forces(system), _rods(system, worst, order),
             _strength(system, rods), _bodies(system, worst, order), _tubes(system, tubes),
             _lost_motion(system), _friction(system), _missing(system, worst, rods, tubes)]
    missed = sum(int((rods[m] < 0).sum()) for m in ("column_margin", "tube_margin",
                                                    "joint_margin"))
    return "\n\n".join(part for part in parts if part), missed + int((tubes["margin"] < 0).sum())


def _force(system, newtons, digits=0):
    unit, per = FORCE_PER[system.model.length]
    return f"{number(newtons / per, digits)} {unit}" if math.isfinite(newtons) else "–"


def _moment(system, newton_mm, digits=0):
    unit, per = MOMENT_PER[system.model.length]
    return f"{number(newton_mm / per, digits)} {unit}" if math.isfinite(newton_mm) else "–"


def _place(system, row):
    return gearing.said_place(system, {n: row[n] for n in gearing.box_of(system)})


def _given(system) -> str:
    lines = []
    for name in gearing.box_of(system):
        force, at = loads.pilot_force(system, name), ", ".join(loads.grips(system, name))
        if not at:
            lines.append(f"{name}: no point named grip, so no pilot force")
        elif force is None:
            lines.append(f"{name}: no limit pilot force in the file")
        else:
            least = f", least {_force(system, force.least)}" if force.least else ""
            source = "the file" if system.model.inputs[name].force else loads.RULE
            lines.append(f"{name}: limit pilot force {_force(system, force.most)}{least} ({source})"
                         f" at {at}")
    for name, surface in system.model.surfaces.items():
        if surface.hinge:
            lines.append(f"{name}: hinge moment {_moment(system, surface.hinge.neutral, 1)} and "
                         f"{_moment(system, surface.hinge.slope, 2)} per degree, + is "
                         f"{gearing.deflection_words(system, name)[1]} ({surface.hinge.at})")
    factor = system.model.factor
    lines.append(f"factors: limit to ultimate {factor.safety:g}, hinge moments {factor.hinge:g}, "
                 f"fitting {factor.fitting:g}, bearing {factor.bearing:g} where a rod says no "
                 f"other")
    return section("Loads: what is given", "\n".join([*lines, LEFT_OUT]))


def _numbered(order) -> str:
    rows = [[str(i), name] for i, name in enumerate(order, 1)]
    return section("Load cases that are worst for some part", table(["case", ""], rows))


def _stick_forces(system):
    for name in gearing.box_of(system):
        if not loads.grips(system, name):
            continue
        data = loads.stick_force_table(system, name)
        force = data["force"].to_numpy() if _has_moment(system, name) else \
            np.full(len(data), np.nan)
        rub = data["friction"].to_numpy()
        if not (np.isfinite(force).any() or np.isfinite(rub).any()):
            continue
        rows = [[gearing.said_input(system, name, x), number(f / LBF, 1), number(f, 1),
                 number(r / LBF, 2), number(r, 2)]
                for x, f, r in zip(data.index, force, rub, strict=True)]
        body = table([name, "hand lbf", "N", "friction lbf", "N"], rows)
        yield section(f"Stick force along {name}, as the hand feels it (+ is "
                      f"{gearing.sense_word(system, name, True)}; hinge moments given, no factor)",
                      "\n".join([body, *_needed(system, name)]))


def _has_moment(system, name) -> bool:
    neutral = system.sweep()
    return any(part.hinge and abs(float(neutral.gearing(s)[name])) > 1e-9
               for s, part in system.model.surfaces.items())


def _needed(system, name):
    if loads.pilot_force(system, name) is None:
        return
    said = loads.needed_force(system, name)
    if math.isfinite(said["hinge"]):
        yield (f"With the factor {system.model.factor.hinge:g} it is "
               f"{_force(system, said['hinge'])} at most.  Held between the least and the most "
               f"pilot force, the system\nhas to be made for {_force(system, said['needed'])} "
               f"(14 CFR 23.395, from memory); the tables below take the most, "
               f"{_force(system, said['most'])}.")


def _rods(system, worst, order) -> str:
    rows = []
    for rod in system.model.rods:
        mine = worst[worst["part"] == rod]
        for what in ("tension", "compression"):
            for row in mine[mine["what"] == what].to_dict("records"):
                rows.append([rod, what, _force(system, row["value"]),
                             str(order.index(row["case"]) + 1), _place(system, row)])
        if mine.empty:
            rows.append([rod, "no load in any case", "–", "–", ""])
    return section("What the rods carry at their worst (limit load)",
                   table(["rod", "", "load", "case", "at"], rows))


def _strength(system, rods) -> str:
    rows = []
    for row in rods.to_dict("records"):
        least = min((row[m] for m in ("column_margin", "tube_margin", "joint_margin")
                     if math.isfinite(row[m])), default=math.nan)
        verdict = "–" if math.isnan(least) else "MISS" if least < 0 else "holds"
        rows.append([row["rod"], number(row["slenderness"], 0), _force(system, row["column"]),
                     _margin(row["column_margin"]), _margin(row["tube_margin"]),
                     f"{row['joint_factor']:.2f}", _force(system, row["joint_needs"]),
                     _margin(row["joint_margin"]), verdict,
                     _remark(system, row)])
    note = ("Margin = strength / (limit load x factor) - 1.  Column: Euler, Johnson where stocky; "
            "pull: yield at\nlimit, ultimate at limit x safety.  Joint factor: the greater of "
            "safety x fitting and bearing.")
    return section("Rods against their loads", table(
        ["rod", "L'/rho", "column", "margin", "pull", "joint factor", "joint needs", "margin", "",
         "remark"], rows) + "\n" + note)


def _remark(system, row) -> str:
    if row["missing"]:
        return f"no {row['missing']}"
    rod = system.model.rods[row["rod"]]
    said = [f"L'/rho above {SLENDER:g}"] if row["slenderness"] > SLENDER else []
    if rod.diameter >= THIN * rod.wall:
        said.append(f"diameter / wall {THIN:g} or more: local buckling isn't checked")
    return "; ".join(said)


def _margin(value) -> str:
    return "no load" if value == math.inf else f"{value:+.2f}" if math.isfinite(value) else "–"


def _bodies(system, worst, order) -> str:
    words = {"pivot": ("force at its pivot", _force),
             "bearing 1": ("force on its first bearing", _force),
             "bearing 2": ("force on its second bearing", _force),
             "across": ("moment across its axis", _moment),
             "about": ("moment from arm to arm about its axis", _moment)}
    rows = []
    for body in system.model.bodies:
        mine = worst[worst["part"] == body]
        for what, (said, shown) in words.items():
            for row in mine[mine["what"] == what].to_dict("records"):
                rows.append([body, said, shown(system, row["value"]),
                             str(order.index(row["case"]) + 1), _place(system, row)])
    return section("What bodies and pivots carry at their worst (limit load)",
                   table(["body", "", "load", "case", "at"], rows))


def _tubes(system, tubes) -> str:
    if tubes.empty:
        return ""
    rows = [[row["body"], _moment(system, row["moment"]), f"{row['stress']:.0f} N/mm²",
             _margin(row["margin"]), f"no {row['missing']}" if row["missing"] else ""]
            for row in tubes.to_dict("records")]
    return section("Torque tubes (torsion alone)",
                   table(["body", "moment", "shear", "margin", "missing"], rows))


def _lost_motion(system) -> str:
    data = loads.lost_motion_table(system)
    if data.empty:
        return ""
    rows = [[row["surface"], row["input"], row["grip"], number(row["neutral"]),
             number(row["worst"]), gearing.said_input(system, row["input"], row["at"]),
             f"{row['most_from']} ({row['share']:.0%})" if row["most_from"] else "–",
             f"at least: nothing known of {row['rigid']}" if row["rigid"] else ""]
            for row in data.to_dict("records")]
    return section("Lost motion: how far the surface gives with the grip held, one pilot's limit "
                   "force (degrees)", table(
                       ["surface", "input", "held at", "neutral", "worst", "at", "most of it from",
                        ""], rows) + "\nFrom stretch of rods and twist of torque tubes; a body "
                                     "without a tube counts as rigid.")


def _friction(system) -> str:
    rows = []
    for name in gearing.box_of(system):
        if not loads.grips(system, name):
            continue
        motion = system.sweep(**{name: np.unique([0, *np.linspace(*system.inputs[name].travel,
                                                                  41)])})
        for part, force in loads.friction_force(motion, name).items():
            if np.isfinite(force).any() and np.nanmax(force) > 1e-9:
                neutral = float(force[motion.inputs[name] == 0][0])
                rows.append([part, name, *(number(f / per, 3) for f in (neutral, np.nanmax(force))
                                           for per in (LBF, 1.0))])
    if not rows:
        return ""
    return section("Breakout friction of each joint, carried to the grip", table(
        ["joint of", "input", "neutral lbf", "N", "most lbf", "N"], rows))


def _missing(system, worst, rods, tubes) -> str:
    model, plan = system.model, system.plan
    lines = [f"rod {row['rod']}: no {row['missing']}, so no strength and no stretch"
             for row in rods.to_dict("records") if row["missing"]]
    lines += [f"body {row['body']}: no material of its tube, so no strength and no twist"
              for row in tubes.to_dict("records") if row["missing"]]
    lines += [f"rod {rod}: a second load path; what it carries depends on how it is rigged, and "
              f"is taken as none" for rod in plan.redundant]
    lines += [f"rod {rod}: hangs between joints that nothing drives, so it carries nothing"
              for rod in plan.open_rods]
    lines += [f"coupling {name}: its moment counts, the pull of its cables on pivots does not"
              for name in model.couplings]
    lines += [f"input {name}: {why}, so no case pushes it; what it alone loads is not worked out"
              for name in gearing.box_of(system) for why in _unpushed(system, name)]
    lines += _kinds(model)
    lines += [f"case not held anywhere (its surfaces don't move): {c}"
              for c in worst.attrs["unheld"]]
    lines += [f"case not held in {share:.0%} of the travel (out of reach, or near dead centre): {c}"
              for c, share in worst.attrs["partly"].items()]
    lines += [f"case with up to {_force(system, force)} of {name} at the grip, more than the limit "
              f"pilot force: {case}" for (case, name), force in worst.attrs["beyond"].items()]
    lines += [f"left out: {why}" for why in worst.attrs["stops"].values()]
    return section("What is not said, and what to mind", "\n".join(lines)) if lines else ""


def _unpushed(system, name):
    if not loads.grips(system, name):
        yield "no point named grip"
    elif loads.pilot_force(system, name) is None:
        yield "no limit pilot force"
    elif not loads.holding(system, name):
        yield "no surface that it moves"


def _kinds(model):
    """What is missing of many parts alike, a line a kind."""
    groups = {
        "no hinge moment": [s for s, part in model.surfaces.items() if part.hinge is None],
        "no friction": [b for b, part in model.bodies.items() if part.friction is None],
        "no tube, so no twist": [b for b, p in model.bodies.items()
                                 if p.tube is None and not p.slides],
        "no strength of its end joints": [r for r, part in model.rods.items()
                                          if part.strength is None]}
    return [f"{what}: {', '.join(names)}" for what, names in groups.items() if names]
