"""Load cases: what is given, and what holds against it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ..motion import Motion, System
from .pilot_forces import SHARE, grips, pilot_force
from .statics import Statics

GEARED = 0.1  # least share of the most moved surface's gearing at which a surface holds an input
IDLE = 1e-6  # gearing (radian per radian, mm) below which a surface can't hold a stick


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
    """

    name: str
    input: str | None
    forces: tuple = ()
    against: tuple = ()


def cases(system: System, stop: str | None = None) -> list[Case]:
    """Every load case of a system: limit pilot forces both ways, hinge moments, jams.

    Each of two pilots gives 0.75 of the single pilot's force, and no less than the least (14 CFR
    23.399, from memory).  Where one surface alone holds an input, its jam is the pilot's own case.

    Parameters
    ----------
    system : System
    stop : str, optional
        Give the cases of this stop in contact instead.

    Returns
    -------
    list of Case
    """
    if stop is not None:
        return _against(system, stop)
    listed = []
    if any(surface.hinge for surface in system.model.surfaces.values()):
        listed.append(Case(f"hinge moments given, x {system.model.factor.hinge:g}", None))
    for name in system.travel_box():
        held = tuple(("hinge", s) for s in holding(system, name))
        single = _single(system, name)
        if held and single:
            listed += _piloted(name, single, _of_two(pilot_force(system, name)), held)
            listed += _jammed(name, single, held)
    return listed


def _against(system, stop):
    """One pilot against a stop, then two."""
    part = system.model.stops[stop]
    sense, single = 1.0 if part.side == "greatest" else -1.0, _single(system, part.input)
    against = (("stop", stop),)
    listed = [Case(f"{part.input}, one pilot at {_said(grip)} against stop {stop}", part.input,
                   ((grip, sense * force),), against) for grip, force in single]
    if len(single) > 1:
        each = _of_two(pilot_force(system, part.input))
        listed.append(Case(f"{part.input}, two pilots together against stop {stop}", part.input,
                           tuple((grip, sense * each) for grip, _ in single[:2]), against))
    return listed


def _of_two(limit) -> float:
    """Force of each of two pilots, N."""
    return max(SHARE * limit.most, limit.least or 0.0)


def _jammed(name, single, held):
    """One pilot against each of several surfaces alone."""
    return [Case(f"{name} {way}, one pilot at {_said(grip)}, {surface[1]} jammed", name,
                 ((grip, sense * force),), (surface,))
            for surface in held if len(held) > 1
            for grip, force in single for sense, way in _ways(name)]


def _piloted(name, single, each, held):
    """One pilot at each grip, then two: `each` is the force of either, N."""
    for sense, way in _ways(name):
        for grip, force in single:
            yield Case(f"{name} {way}, one pilot at {_said(grip)}", name, ((grip, sense * force),),
                       held)
        if len(single) > 1:
            one, other = (grip for grip, _ in single[:2])
            yield Case(f"{name} {way}, two pilots together", name,
                       ((one, sense * each), (other, sense * each)), held)
            yield Case(f"{name} {way} at {_said(one)}, two pilots opposed", name,
                       ((one, sense * each), (other, -sense * each)), held)


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
    if case.input is None:
        sizes += _hinge_moments(statics, place)
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
        return hand(statics, name, [grip for grip, _ in case.forces])
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
        N mm, signed like the deflection; 0 where the file gives none.
    """
    model = motion.system.model.surfaces[surface].hinge
    if model is None:
        return np.zeros(motion.shape)
    return model.neutral + model.slope * motion.deflection(surface)
