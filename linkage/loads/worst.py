"""Which stick position and which load case is worst for each part."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..errors import LinkageError
from ..motion import System
from ..search import SAFETY, may_rise
from ..stops import judged_box
from ..units import Shared, in_house_units
from .beams import Beam, beam_of
from .buckling import buckling_share, plate_yield
from .finer import Finer, distinct
from .fixings import fixing_stress
from .load_cases import cases, shares
from .pilot_forces import pilot_force
from .plates import worst_plate_stress
from .shafts import shaft_stress
from .statics import Statics
from .stop_contact import at_stop, grazing

if TYPE_CHECKING:
    import pandas as pd

STEPS = 13  # stick positions along each input of the first look
ZOOMS = 5  # each halves the step about the worst position found
MOST = 20_000  # stick positions of the first look, with however many inputs
NOISE = 1e-6  # N, N mm: what is less is rounding
TOLD = 1 + 2e-5  # a load that may be greater by less is not looked for: no digit shown would move
MOMENTS = ("across", "about", "tube")  # what of a part is a moment; all else is a force
STRESSES = ("stress", "buckling")
FIXED = ("weld ", "bolting ")  # how what a fixing carries begins: a stress each
SURELY = 1 + 1e-9  # what is greater by less stays where it was first found
AT_STOPS = {1: 49, 2: 17, 3: 7}  # positions of each other input with a stop in contact


def carried(statics: Statics, share: np.ndarray) -> dict:
    """What each part carries in a load case.

    Parameters
    ----------
    statics : Statics
    share : ndarray (n, loads)
        As `shares` gives it.

    Returns
    -------
    dict
        ``{(what, part): ndarray (n,)}``: "axial" of a rod (N, tension positive); of a body its
        "pivot" (N, force at its pivot), "across" (N mm, moment at its pivot across its axis),
        "bearing 1", "bearing 2" and on (N) where the file places them,
        "about" (N mm, moment handed from arm to arm about its axis) and, of one with a tube,
        "tube" (N mm, the greatest moment in the tube) and, where it turns in bearings,
        "stress" (N/mm², the greatest along it of bending, shear and torsion together); of a stop
        in contact its "load" (N); of "body/solid", a shaft or a plate, its "stress" and what
        `fixing_stress` gives of its weld or bolts; of a plate "buckling" (N/mm², the share of its
        buckling load x yield stress).
    """
    loads = {("load", key[1]): np.abs(share[:, k]) for k, key in enumerate(statics.loads)
             if key[0] == "stop"}
    statics, share = statics.under(share), np.ones((statics.count, 1))
    loads |= {("axial", rod): statics.inner_forces[:, 0, i] for i, rod in enumerate(statics.rods)}
    for body in statics.reactions:
        loads |= {(what, body): values for what, values in _on_body(statics, share, body)}
    return loads | dict(_in_sections(statics, share))


def _in_sections(statics, share):
    """Stresses of tubes, shafts and plates, what plates come to in buckling, what holds them."""
    beams = {body: beam_of(statics, share, body) for body in statics.beams}
    yield from ((("stress", body), beam.stress.max(axis=-1)) for body, beam in beams.items())
    for shaft in statics.shafts:
        yield ("stress", shaft), shaft_stress(statics, share, shaft).max(axis=-1)
    for plate in statics.plates:
        yield ("stress", plate), worst_plate_stress(statics, share, plate)
        yield ("buckling", plate), plate_yield(statics.model, plate) * buckling_share(
            statics, share, plate)
    yield from fixing_stress(statics, share, beams)


def _on_body(statics, share, body):
    """What a body carries at its pivot, its bearings, from arm to arm and in its tube."""
    force, moment = (np.einsum("ne,nej->nj", share, k) for k in statics.reactions[body])
    u, part = statics.axes[body], statics.model.bodies[body]
    yield "pivot", np.linalg.norm(force, axis=-1)
    along = np.einsum("nj,nj->n", moment, u)[:, None] * u
    yield "across", np.linalg.norm(moment - (0 if part.slides else along), axis=-1)
    if body in statics.bearings:
        for k, held in enumerate(bearing_forces(statics, share, body), 1):
            yield f"bearing {k}", np.linalg.norm(held, axis=-1)
    if body in statics.arms:
        yield "about", np.abs(arm_moments(statics, share, body)).sum(axis=-1) / 2
        if part.tube is not None:
            yield "tube", np.abs(tube_moments(statics, share, body)[1]).max(axis=-1)


def bearing_forces(statics: Statics, share: np.ndarray, body: str) -> list[np.ndarray]:
    """What each of a body's bearings does to it, (n, 3) N: together its pivot's load."""
    return list(np.einsum("ne,nebj->bnj", share, statics.bearings[body]))


def arm_moments(statics: Statics, share: np.ndarray, body: str) -> np.ndarray:
    """Moment of each load on a turning body about its axis, (n, m) N mm; they sum to 0."""
    return np.einsum("ne,nem->nm", share, statics.arms[body][1])


def tube_moments(statics: Statics, share: np.ndarray,
                 body: str) -> tuple[np.ndarray, np.ndarray]:
    """Moment in a body between its arms, cut by cut along its axis.

    Returns
    -------
    (ndarray (k,), ndarray (n, k))
        Length of each stretch, mm, and the moment in it, N mm.
    """
    stations = statics.arms[body][0]
    order = np.argsort(stations, kind="stable")
    moments = np.cumsum(arm_moments(statics, share, body)[:, order], axis=-1)
    lengths = np.diff(stations[order])
    real = lengths > 1e-9  # arms at one station hand over without a tube between
    if not real.any():
        return np.zeros(1), np.zeros((statics.count, 1))
    return lengths[real], moments[:, :-1][:, real]


@in_house_units(force="force", moment="moment", stress="stress")
def worst_loads(system: System) -> pd.DataFrame:
    """Greatest loads of every part over the travel that the stops leave and every load case.

    Parameters
    ----------
    system : System

    Returns
    -------
    DataFrame
        One row per part and kind of load: part, what (tension, compression, pivot, bearing 1
        and on, across, about, tube, stress; of a stop its load), force (N, compression
        positive), moment (N mm) or stress (N/mm²), the others NaN, case, and one column per input
        (degrees, mm for a slide). Found on a grid of the
        whole travel and then closer by halves wherever, by the second differences, a load of any
        case may be greater. ``attrs["error"]`` is ``{(part, what): share}`` of the load that may
        so still be missing, an estimate; ``attrs["step"]`` the last step, ``attrs["grid"]`` the
        positions of the first look. ``attrs["unheld"]`` names
        cases that no position holds, ``attrs["partly"]`` those that some don't (with the share),
        ``attrs["stops"]`` says of stops why they are left out, ``attrs["grazing"]`` at how many
        places of the others their contact is not proven the first, ``attrs["beyond"]`` is ``{(case,
        input): N}`` where the hand holds an input with more than its limit pilot force.

    Raises
    ------
    LinkageError
        When no load case is known: no grip, no surface that an input moves, no hinge moment.
    """
    return system.kept("worst loads", lambda: _worst(system)).copy()


def _worst(system):
    listed, box = cases(system), judged_box(system)
    names = list(box)
    if not listed:
        raise _nothing_loads(system)
    sides = [np.unique([0.0, *np.linspace(*box[n], _steps(len(names)))]) for n in names]
    steps = np.array([np.diff(side).max() for side in sides])
    worst, partly, beyond, finer = _looked_over(system, listed, box, sides)
    for _ in range(ZOOMS):
        steps = steps / 2
        finer.halve(lambda some, places: _loads_at(system, names, some, places), steps)
    missing = finer.finish()
    stops = {name: _at_stop(system, worst, name, names) for name in system.model.stops}
    _add_rises(missing, worst, stops)
    table = _table(worst, names)
    told = {**_unheld(partly), **_of_stops(stops), "beyond": beyond,
            "grid": int(np.prod([len(side) for side in sides])),
            "step": float(steps.max()), "error": _errors(worst, missing)}
    table.attrs = {name: Shared(value) if isinstance(value, dict) else value
                   for name, value in told.items()}
    return table


def _nothing_loads(system) -> LinkageError:
    if system.model.load_cases:
        return LinkageError("every load case is left out by the file, so nothing is loaded; give "
                            "load_case fewer")
    return LinkageError('no load is known: name a point "grip" on what an input drives and a '
                        "surface that it moves, or give a surface its hinge moment")


def _add_rises(missing, worst, stops):
    """Count what loads may rise to with a stop in contact into what may be missing of them."""
    for _, rises, _ in stops.values():
        for key, most in rises.items():
            missing[key] = max(missing.get(key, 0.0), most - worst.get(key, (most,))[0])


def _unheld(partly) -> dict:
    return {"unheld": [n for n, share in partly.items() if share == 1.0],
            "partly": {n: share for n, share in partly.items() if 0 < share < 1}}


def _of_stops(stops) -> dict:
    return {"stops": {n: why for n, (why, *_) in stops.items() if why},
            "grazing": {n: k for n, (_, _, k) in stops.items() if k}}


def _errors(worst, missing) -> dict:
    """Share of each load that may be missing between the positions looked at."""
    return {(part, what): TOLD - 1 + missing.get((what, part), 0.0) / value
            for (what, part), (value, *_) in worst.items()}


def _looked_over(system, listed, box, sides):
    """What is worst at the grid's positions, their share that no case holds, hands too strong.

    And where to look closer.
    """
    grid = np.stack([np.ravel(side) for side in np.meshgrid(*sides, indexing="ij")], axis=-1)
    statics = Statics(system.sweep(**dict(zip(box, grid.T, strict=True))))
    worst, partly, beyond = {}, {}, {}
    finer = Finer(lambda key: worst[key][0] * TOLD if key in worst else NOISE,
                  lambda case, loads, places: _note(worst, case, loads, places),
                  np.array(list(box.values())))
    held = [shares(statics, case) for case in listed]
    every = statics.at(np.tile(np.arange(len(grid)), len(listed)))
    for case, share, loads in zip(listed, held, _beside_each_other(every, held), strict=True):
        beyond |= _beyond_the_hand(statics, case, share)
        partly[case.name] = float(np.mean(~np.isfinite(share).all(axis=-1)))
        _note(worst, case, loads, grid)
        for key, values in loads.items():
            if np.isfinite(values).any():
                rise = may_rise(values.reshape([len(side) for side in sides]), sides)
                finer.add(case, key, grid, np.nan_to_num(values, nan=-np.inf) + rise.ravel())
    return worst, partly, beyond, finer


def _table(worst, names):
    import pandas as pd

    rows = [{"part": part, "what": what, kind_of(what): value,
             "case": case.name, **dict(zip(names, (float(x) for x in at), strict=True))}
            for (what, part), (value, case, at) in worst.items()]
    return pd.DataFrame(rows, columns=["part", "what", "force", "moment", "stress", "case",
                                       *names])


def kind_of(what: str) -> str:
    """Whether what a part carries is a force, a moment or a stress."""
    if what in MOMENTS:
        return "moment"
    return "stress" if what in STRESSES or what.startswith(FIXED) else "force"


def beam_at(system: System, body: str, row: dict) -> Beam:
    """A tube at one row of `worst_loads`: its case and stick position."""
    return beam_of(*case_at(system, row), body)


def case_at(system: System, row: dict) -> tuple[Statics, np.ndarray]:
    """The load case and stick position of one row of `worst_loads`: unit loads and their shares."""
    names = list(system.travel_box())
    stop, case = next((stop, case) for stop in (None, *system.model.stops)
                      for case in cases(system, stop) if case.name == row["case"])
    at = {n: [row[n]] for n in names}
    statics = Statics(system.sweep(**at)) if stop is None else at_stop(
        system, stop, {n: x for n, x in at.items() if n != system.model.stops[stop].input})
    return statics, shares(statics, case)


def _steps(inputs):
    return max(3, min(STEPS, int(MOST ** (1 / inputs))))


def _beyond_the_hand(statics, case, share):
    """Inputs a case has the hand hold with more than the limit pilot force: ``{(case, input): N}``.

    Such a case loads more than the pilot can, and is told as it is.
    """
    forces = {}
    for name in statics.drives:
        limit = pilot_force(statics.system, name)
        held = [k for k, key in enumerate(statics.loads) if key[0] == "grip" and key[2] == name]
        most = float(np.nanmax(np.abs(share[:, held]), initial=0.0))
        if name != case.input and limit is not None and most > limit.most:
            forces[case.name, name] = most
    return forces


def _sensed(loads):
    """Axial loads told apart as tension and compression, both positive."""
    for (what, part), values in loads.items():
        if what == "axial":
            yield ("tension", part), values
            yield ("compression", part), -values
        else:
            yield (what, part), values


def _note(worst, case, loads, places):
    for key, values in loads.items():
        if not np.isfinite(values).any():
            continue
        k = _peak(values, places)
        if values[k] > worst.get(key, (NOISE,))[0] * SURELY:
            worst[key] = float(values[k]), case, places[k]


def _peak(values, places) -> int:
    """Where values are greatest; of places that tie, the one nearest to neutral."""
    top = np.nanmax(values)
    ties = np.flatnonzero(values >= top - (SURELY - 1) * abs(top))
    return int(ties[np.abs(places[ties]).sum(axis=-1).argmin()])


def _loads_at(system, names, some, places):
    """Every load of some cases, each at its own places, tension and compression apart."""
    every, _, where = distinct(np.concatenate(places))
    statics = Statics(system.sweep(**dict(zip(names, every.T, strict=True))))
    ends = np.cumsum([len(own) for own in places])[:-1]
    held = [shares(statics, case)[rows]
            for case, rows in zip(some, np.split(where, ends), strict=True)]
    yield from _beside_each_other(statics.at(where), held)


def _beside_each_other(statics, held):
    """What parts carry in some load cases whose shares follow each other along the positions."""
    loads = dict(_sensed(carried(statics, np.concatenate(held))))
    ends = np.cumsum([len(share) for share in held])[:-1]
    apart = {key: np.split(values, ends) for key, values in loads.items()}
    for k in range(len(held)):
        yield {key: values[k] for key, values in apart.items()}


def _at_stop(system, worst, name, names):
    """Note the loads with a stop in contact, the other inputs anywhere.

    Returns
    -------
    (str, dict, int)
        Why they can't be worked out, "" where they can; ``{(what, part): load that may rise to}``
        between the positions looked at; at how many the contact is not proven the first.
    """
    others = [n for n in names if n != system.model.stops[name].input]
    grid = _grid_at_a_stop(system, others)
    try:
        statics = at_stop(system, name, grid)
    except LinkageError as error:
        return error.sentence, {}, 0
    grazed = grazing(system, name, grid) if others else 0
    places = np.stack([np.broadcast_to(statics.motion.inputs[n], (statics.count,))
                       for n in names], axis=-1)
    rises = {}
    for case in cases(system, name):
        loads = dict(_sensed(carried(statics, shares(statics, case))))
        _note(worst, case, loads, places)
        for key, values in loads.items():
            top = _top_between(values, places, [names.index(n) for n in others])
            rises[key] = max(top, rises.get(key, 0.0))
    return "" if rises else "its input has no grip or no limit pilot force", rises, grazed


def _grid_at_a_stop(system, others) -> dict:
    """Positions of the inputs that a stop does not end: every one of each with every other."""
    box = judged_box(system)
    sides = [np.unique([0.0, *np.linspace(*box[n], AT_STOPS.get(len(others), 3))])
             for n in others]
    return dict(zip(others, map(np.ravel, np.meshgrid(*sides, indexing="ij")), strict=True))


def _top_between(values, places, others) -> float:
    """What a load may come to between positions, by its second differences along each input."""
    most, rise = float(np.nanmax(values, initial=0.0)), 0.0
    for k in others:
        order = np.lexsort([*places[:, [j for j in others if j != k]].T, places[:, k]][::-1])
        rest = places[order][:, [j for j in others if j != k]]
        same = (rest[2:] == rest[:-2]).all(axis=1) if rest.shape[1] else np.ones(
            max(len(order) - 2, 0), bool)
        bend = np.abs(np.diff(values[order], 2))[same]
        rise += SAFETY * float(np.nanmax(bend, initial=0.0)) / 8
    return most + rise
