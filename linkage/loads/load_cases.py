"""Load cases: what is given, and what holds against it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from ..errors import LinkageError, nearest
from ..gearing import driving_input, kind_of
from ..motion import Motion, System
from .pilot_forces import SHARE, grips, pilot_force
from .statics import Statics

GEARED = 0.1  # least share of the most moved surface's gearing at which a surface holds an input
IDLE = 1e-6  # gearing (radian per radian, mm) below which a surface can't hold a stick

SPRUNG = ", with springs"  # what the name of a case in which they act ends with

RULES = {  # all 14 CFR part 23, 1-1-14 edition, but for those that say otherwise
    "hinge moments": "A23.13(a)(1); 23.395(a)(1), from memory, as 25.395(a)",
    "one pilot": "23.397(b); 23.395, from memory, as 25.395(b)",
    "two pilots together": "23.399(b), from memory, as 25.399(b)",
    "two pilots opposed": "A23.13(b); 23.399(a), from memory, as 25.399(a)",
    "jam": "A23.13(a)(1)(ii): rugged for jamming",
    "springs alone": "23.301, from memory: loads expected in service",
    "two pilots at a jam": "A23.13(a)(1)(ii) with the forces of 23.399(b), from memory; common "
                           "practice, no source for both together",
    "against a stop": "23.675(c)",
    "servo": "23.395(a)(2), from memory: as much as automatic devices can produce",
    "servo jammed": "23.1329, from memory, as 29.1329(a)(1): the pilot overpowers it",
    "ground gust": "23.415(a)(2) and (b)"}
GUST = {"aileron": 0.75, "flaperon": 0.75, "elevon": 0.75, "elevator": 0.75, "stabilator": 0.75,
        "rudder": 0.75}  # K of 23.415(b); ailerons with the stick locked in the middle
FULL_THROW = 0.5  # K of 23.415(b) of ailerons at full throw, up on one side and down on the other
OPPOSED = ("aileron", "flaperon", "elevon")
GUST_PRESSURE = 0.5 * 1.225 * (88 * 0.3048)**2 * 1e-6  # N/mm² at 88 ft/s, more need not be taken


@dataclass(frozen=True)
class Case:
    """A load case.

    Attributes
    ----------
    name : str
        As a person says it.
    input : str or None
        The input that is pushed; None where the air pushes.
    forces : tuple of (str, float)
        Grip and force of each pilot, N, in the input's own sense.
    against : tuple of (str, ...)
        Unit loads that hold together: ``("hinge", surface)`` of equal moment, or one ``("stop",
        name)``.
    kind : str
        One of `RULES`.
    moments : tuple of (str, float)
        Surface and moment on it, N mm, where the air gives others than the file's.
    torques : tuple of (str, float)
        Servo and torque about its arm's axis, N mm.
    at : tuple of str
        Grip at which inputs that are not pushed are held; their first unless given.
    springs : bool
        Whether the file's springs act in it, no factor on them.
    """

    name: str
    input: str | None
    forces: tuple = ()
    against: tuple = ()
    kind: str = "hinge moments"
    moments: tuple = ()
    torques: tuple = ()
    at: tuple = ()
    springs: bool = False

    @property
    def rule(self) -> str:
        """The paragraph that asks for it."""
        return RULES[self.kind]


def cases(system: System, stop: str | None = None) -> list[Case]:
    """Every load case of a system: limit pilot forces both ways, hinge moments, jams.

    Each of two pilots gives 0.75 of the single pilot's force, and no less than the least (14 CFR
    23.399, from memory).  Where one surface alone holds an input, its jam is the pilot's own case.
    Where the file has springs each case is there without them and with them, and one more is of
    them alone, held at the grips.

    Parameters
    ----------
    system : System
    stop : str, optional
        Give the cases of this stop in contact instead.

    Returns
    -------
    list of Case
    """
    left_out(system)
    return [*system.kept(("load cases", stop), lambda: [case for case in map(
        partial(_as_the_file_has_it, system.model), _every(system, stop)) if case is not None])]


def left_out(system: System) -> dict[str, str]:
    """Cases that the file switches off or changes, by name or kind: its reason.

    Raises
    ------
    LinkageError
        For a name that is no case and no kind.
    """
    return system.kept("load cases left out", lambda: _left_out(system))


def _left_out(system):
    if not system.model.load_cases:
        return {}
    every = [case for stop in (None, *system.model.stops) for case in _every(system, stop)]
    for name, edit in system.model.load_cases.items():
        _check_edit(name, edit, every)
    return {name: f"{'left out' if edit.off else f'{edit.force:g} N a pilot'}: {edit.reason}"
            for name, edit in system.model.load_cases.items()}


def _check_edit(name, edit, every):
    """Refuse a change to a case that there is not, or of a force that there is not."""
    names = [case.name for case in every]
    if name not in names and name not in RULES:
        raise LinkageError(f'load_case "{name}": {nearest(name, [*RULES, *names])}')
    if edit.force is not None and not any(
            case.forces for case in every if name in (case.name, case.kind)):
        raise LinkageError(f'load_case "{name}": no pilot pushes in it, so its force changes '
                           f"nothing; use off = true or leave it out")


def _as_the_file_has_it(model, case):
    """A case as the file changes it; None where it leaves it out."""
    edit = next((model.load_cases[name] for name in (case.name, case.name.removesuffix(SPRUNG),
                                                     case.kind) if name in model.load_cases), None)
    if edit is None or edit.force is None:
        return None if edit is not None and edit.off else case
    return replace(case, forces=tuple((grip, np.copysign(edit.force, force))
                                      for grip, force in case.forces))


def _every(system, stop):
    """Every case as the rules have it, each with springs too where the file has some."""
    listed = _without_springs(system, stop)
    if not system.model.springs:
        return listed
    alone = [] if stop is not None else [Case("springs alone", None, kind="springs alone",
                                              springs=True)]
    return [*listed, *(replace(case, name=case.name + SPRUNG, springs=True)
                       for case in listed), *alone]


def _without_springs(system, stop):
    if stop is not None:
        return _against(system, stop)
    listed = []
    if any(surface.hinge for surface in system.model.surfaces.values()):
        listed.append(Case(f"hinge moments given, x {system.model.factor.hinge:g}", None))
    listed += [*_gusts(system), *_gusts_opposed(system)]
    for name in system.model.servos:
        listed += [*_driven(system, name), *_overpowered(system, name)]
    for name in system.travel_box():
        held = tuple(("hinge", s) for s in holding(system, name))
        single = _single(system, name)
        if held and single:
            listed += _piloted(name, single, _of_two(pilot_force(system, name)), held)
            listed += _jammed(name, single, _of_two(pilot_force(system, name)), held)
    return listed


def _gusts(system):
    """A gust on the ground on each surface alone, both ways: H = K c S q."""
    for name, surface in system.model.surfaces.items():
        share = GUST.get(kind_of(system, name))
        if None in (share, surface.area, surface.mean_chord):
            continue
        moment = share * surface.mean_chord * surface.area * GUST_PRESSURE
        for sense, way in ((1.0, "down"), (-1.0, "up")):
            yield Case(f"ground gust {way} on {name}", None, kind="ground gust",
                       moments=((name, sense * moment),))


def _gusts_opposed(system):
    """A gust on the ground on all ailerons of an input, as it adds up in their run, both ways."""
    for run in _opposed_runs(system).values():
        names = " and ".join(name for name, _ in run)
        for sense, word in ((1.0, ""), (-1.0, " the other way")) if len(run) > 1 else ():
            yield Case(f"ground gust on {names} opposed{word}", None, kind="ground gust",
                       moments=tuple((name, sense * moment) for name, moment in run))


def _opposed_runs(system):
    """``{input: [(aileron, moment that pushes the input up)]}``, as H = K c S q at full throw."""
    runs, neutral = {}, system.sweep()
    for name, surface in system.model.surfaces.items():
        driver = driving_input(system, name)
        if driver and kind_of(system, name) in OPPOSED and None not in (
                surface.area, surface.mean_chord):
            moment = FULL_THROW * surface.mean_chord * surface.area * GUST_PRESSURE
            rate = float(neutral.gearing(name)["roll" if "roll" in system.inputs else driver])
            runs.setdefault(driver, []).append((name, np.sign(rate) * moment))
    return runs


def _against(system, stop):
    """One pilot against a stop, then two."""
    part = system.model.stops[stop]
    sense, single = 1.0 if part.side == "greatest" else -1.0, _single(system, part.input)
    against = (("stop", stop),)
    listed = [Case(f"{part.input}, one pilot at {_said(grip)} against stop {stop}", part.input,
                   ((grip, sense * force),), against, "against a stop")
              for grip, force in single]
    if len(single) > 1:
        each = _of_two(pilot_force(system, part.input))
        listed.append(Case(f"{part.input}, two pilots together against stop {stop}", part.input,
                           tuple((grip, sense * each) for grip, _ in single[:2]), against,
                           "against a stop"))
    return listed


def _of_two(limit) -> float:
    """Force of each of two pilots, N."""
    return max(SHARE * limit.most, limit.least or 0.0)


def _jammed(name, single, each, held):
    """One pilot, then two, against each of several surfaces alone: `each` is either's force, N."""
    # where one surface alone holds the input its jam is the pilots' own case
    return [Case(f"{name} {way}, {who}, {surface[1]} jammed", name,
                 tuple((grip, sense * force) for grip, force in pushing), (surface,), kind)
            for surface in held if len(held) > 1
            for who, pushing, kind in _at_a_jam(single, each) for sense, way in _ways(name)]


def _at_a_jam(single, each):
    for grip, force in single:
        yield f"one pilot at {_said(grip)}", ((grip, force),), "jam"
    if len(single) > 1:
        yield ("two pilots together", tuple((grip, each) for grip, _ in single[:2]),
               "two pilots at a jam")


def _piloted(name, single, each, held):
    """One pilot at each grip, then two: `each` is the force of either, N."""
    for sense, way in _ways(name):
        for grip, force in single:
            yield Case(f"{name} {way}, one pilot at {_said(grip)}", name, ((grip, sense * force),),
                       held, "one pilot")
        if len(single) > 1:
            one, other = (grip for grip, _ in single[:2])
            yield Case(f"{name} {way}, two pilots together", name,
                       ((one, sense * each), (other, sense * each)), held,
                       "two pilots together")
            yield Case(f"{name} {way} at {_said(one)}, two pilots opposed", name,
                       ((one, sense * each), (other, -sense * each)), held,
                       "two pilots opposed")


def servo_input(system: System, name: str) -> str | None:
    """The input that turns a servo's arm most at neutral; None where none does."""
    joints = system.sweep().input_rates.joints.get(system.model.servos[name].body)
    if joints is None:
        return None
    rates = {each: abs(float(np.ravel(joints)[k] if np.ndim(joints) else joints))
             for k, each in enumerate(system.inputs)}
    best = max((each for each in rates if each in system.travel_box()), key=rates.get, default=None)
    return best if best is not None and rates[best] > IDLE else None


def _driven(system, name):
    """A servo at its torque, as far as it lets go no sooner, against the surfaces."""
    servo, driver = system.model.servos[name], servo_input(system, name)
    held = tuple(("hinge", s) for s in holding(system, driver)) if driver else ()
    most = servo.torque if servo.gives_way is None else min(servo.torque, servo.gives_way)
    for sense, way in ((1.0, "+"), (-1.0, "-")) if held else ():
        yield Case(f"servo {name} {way} at its torque, against the surfaces", driver, (), held,
                   "servo", torques=((name, sense * most),))


def _overpowered(system, name):
    """A pilot against a jammed servo: until it lets go, or with all the pilot's force."""
    servo, driver = system.model.servos[name], servo_input(system, name)
    for grip, force in _single(system, driver) if driver else ():
        for sense, way in _ways(driver):
            if servo.gives_way is None:
                yield Case(f"{driver} {way}, one pilot at {_said(grip)}, servo {name} jammed",
                           driver, ((grip, sense * force),), (("servo", name),), "servo jammed")
            else:
                yield Case(f"servo {name} {'+' if sense > 0 else '-'} as it lets go, overpowered "
                           f"at {_said(grip)}", None, kind="servo jammed", at=(grip,),
                           torques=((name, sense * servo.gives_way),))


def _ways(name):
    words = {"pitch": ("aft", "forward"), "roll": ("right", "left")}.get(name, ("+", "-"))
    return zip((1.0, -1.0), words, strict=True)


def _said(grip: str) -> str:
    return grip.removesuffix("/grip")


def _single(system, name):
    force = pilot_force(system, name)
    return [(grip, force.most) for grip in grips(system, name)] if force else []


def holding(system: System, name: str) -> tuple[str, ...]:
    """Surfaces that hold against a force on an input: those that it moves at neutral.

    Parameters
    ----------
    system : System
    name : str

    Returns
    -------
    tuple of str
        All within a tenth of the most moved one, so cross-talk doesn't count.
    """
    neutral = system.sweep()
    moved = {s: abs(float(neutral.gearing(s)[name])) for s in system.model.surfaces}
    most = max(moved.values(), default=0.0)
    return tuple(s for s, rate in moved.items() if rate >= GEARED * most and rate > IDLE)


def shares(statics: Statics, case: Case) -> np.ndarray:
    """How much of each unit load a case holds, in equilibrium at every position.

    Parameters
    ----------
    statics : Statics
    case : Case

    Returns
    -------
    ndarray, shape (n, loads)
        NaN where the case can't be held (its surface does not move there).

    Notes
    -----
    The pilot's force is given and the surfaces (or the stop) take what balances it, with the same
    hinge moment on each; inputs that are not pushed are held at a grip.  Where the air pushes,
    every input is held at its first grip.
    """
    sizes = np.zeros((statics.count, len(statics.loads)))
    place = {key: k for k, key in enumerate(statics.loads)}
    if case.kind == "hinge moments":
        sizes += _hinge_moments(statics, place)
    for name, force in statics.springs.items() if case.springs else ():
        sizes[:, place["spring", name]] += force
    for surface, moment in case.moments:
        sizes[:, place["hinge", surface]] += moment
    for servo, torque in case.torques:
        sizes[:, place["servo", servo]] += torque
    for grip, force in case.forces:
        sizes[:, place["grip", grip, case.input]] += force
    return balanced(statics, sizes, [_holder(statics, case, name, place)
                                     for name in statics.drives])


def balanced(statics: Statics, sizes: np.ndarray, holders: list[np.ndarray]) -> np.ndarray:
    """Given unit loads, and as much of a holder of each input as balances them.

    Parameters
    ----------
    statics : Statics
    sizes : ndarray (n, loads)
    holders : list of ndarray (n, loads)
        In the order of the inputs.

    Returns
    -------
    ndarray, shape (n, loads)
        NaN where a holder has no hold on its input.
    """
    inputs, against = list(statics.drives), np.stack(holders, axis=1)
    work = np.stack([statics.hold[name] for name in inputs], axis=-1)
    matrix = np.einsum("nae,nei->nia", against, work)
    pushed = np.einsum("ne,nei->ni", sizes, work)
    weak = np.abs(np.einsum("naa->na", matrix)) < IDLE
    bad = ~np.isfinite(matrix).all(axis=(1, 2)) | ~np.isfinite(pushed).all(axis=1) \
        | weak.any(axis=1)
    matrix[bad], pushed[bad] = np.eye(len(inputs)), 0.0
    size = np.linalg.solve(matrix, -pushed[..., None])[..., 0]
    size[bad] = np.nan
    return sizes + np.einsum("na,nae->ne", size, against)


def _hinge_moments(statics, place):
    moments = np.zeros((statics.count, len(statics.loads)))
    factor = statics.model.factor.hinge
    for name, surface in statics.model.surfaces.items():
        if surface.hinge and ("hinge", name) in place:
            moments[:, place["hinge", name]] = factor * hinge_moment(statics.motion, name).ravel()
    return moments


def _holder(statics, case, name, place):
    """Unit loads that hold an input, (n, loads)."""
    if name != case.input:
        return hand(statics, name, [*case.at, *(grip for grip, _ in case.forces)])
    holder = np.zeros((statics.count, len(statics.loads)))
    for key in case.against:
        work = statics.hold[name][:, place[key]]
        holder[:, place[key]] = 1.0 if key[0] == "stop" else np.sign(work)
    return holder


def hand(statics: Statics, name: str, at: Mapping[str, float] | tuple = ()) -> np.ndarray:
    """Unit load that holds an input at a grip, the first of `at` that can; (n, loads)."""
    known = [key for key in statics.loads if key[0] == "grip" and key[2] == name]
    keys = [("grip", grip, name) for grip in at]
    key = next((key for key in (*keys, *known) if key in known), ("hold", name))
    holder = np.zeros((statics.count, len(statics.loads)))
    holder[:, list(statics.loads).index(key)] = 1.0
    return holder


def hinge_moment(motion: Motion, surface: str) -> np.ndarray:
    """Air's moment on a surface by the file's model: neutral + slope x degrees of deflection.

    Parameters
    ----------
    motion : Motion
    surface : str

    Returns
    -------
    ndarray, shape (...)
        N mm, signed like the deflection, that of its tabs in it; 0 where the file gives none.
    """
    model = motion.system.model.surfaces[surface].hinge
    if model is None:
        return np.zeros(motion.shape)
    return model.neutral + model.slope * motion.deflection(surface) + sum(
        slope * motion.deflection(tab) for tab, slope in model.tabs.items())
