"""A stop in contact: where its faces meet, and the force they press each other apart with."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from ..errors import LinkageError
from ..model import AIRFRAME
from ..motion import System, body_of
from ..stops import meeting, real_travel
from .statics import Push, Statics

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from ..stops import Meeting

SHORT = 1e-7  # degrees (mm) before contact, where the way between the faces is still well known
DECIDED = 1e-5  # degrees (mm) between free up to and met at for a contact to be the first for sure


def at_stop(system: System, name: str, others: Mapping[str, ArrayLike] | None = None) -> Statics:
    """Unit loads at stick positions where a stop is reached, the stop's own among them.

    Parameters
    ----------
    system : System
    name : str
        The stop.
    others : dict, optional
        Positions of the other inputs, ``{input: (n,)}``, 0 unless given.  Those at which the
        faces do not meet, or meet only past the travel that the stops leave, are left out; a
        backup that the stops never let be reached keeps them.

    Returns
    -------
    Statics
        Of one position, or of as many as are left.

    Raises
    ------
    LinkageError
        When the stop never meets with the others at 0, or a rod is one of its faces.

    Notes
    -----
    The force acts square to the faces at one point of the contact; friction is left out.  The
    contact is proven to be the first from the others' place on, but where `grazing` says otherwise.
    """
    faces = meeting(system, name)
    for solid in faces.stop.between:
        if body_of(solid) in system.model.rods:
            raise LinkageError(f'stop "{name}": "{solid}" is a rod, whose bending is not worked '
                               f"out; let the stop act on a body", stop=name)
    angle = faces.contact(faces.thickness)
    places = {faces.stop.input: np.array([angle])}
    if others:
        places = system.kept(("stop places", name, tuple(
            (k, tuple(np.asarray(v, dtype=float))) for k, v in others.items())),
            lambda: _places(faces, angle, others))
    own = places[faces.stop.input]
    motion = system.sweep(**places | {faces.stop.input: own - np.sign(angle) * SHORT})
    points, way = _touch(faces, motion)
    still = np.zeros_like(way)
    pushes = tuple(Push(body_of(solid), point, sense * way, still)
                   for solid, point, sense in zip((faces.pair.first, faces.pair.second), points,
                                                  (-1.0, 1.0), strict=True))
    return Statics(motion, {name: pushes})


def _places(faces: Meeting, angle: float, others) -> dict:
    """Positions of every input at contact, the others as they stand."""
    others = {name: np.ravel(np.asarray(at, dtype=float)) for name, at in others.items()}
    met = _met(faces, angle, others)
    places = {name: others[name] if name in others else np.zeros(len(met))
              for name in faces.system.inputs}
    places[faces.stop.input] = met
    table = np.stack(list(places.values()), axis=-1)
    good = np.isfinite(met)
    good[good] = faces.system.sweep(**dict(zip(places, table[good].T, strict=True))).reachable
    good = _left_by_the_stops(faces, places, good)
    return {name: at[good] for name, at in places.items()}


def _left_by_the_stops(faces, places, good):
    """Which contacts the other stops let be reached; all, of a backup that they never do."""
    real = real_travel(faces.system)
    before = np.stack([places[name] for name in real.inputs], axis=-1)
    kept = good.copy()
    kept[good] = real.contains(before[good])
    return kept if kept.any() else good


def _met(faces, angle, others) -> np.ndarray:
    """Where the faces first meet along the stop's input, the others as they stand; NaN nowhere."""
    count = len(next(iter(others.values())))
    if not {*others} & {*faces.pair.inputs}:
        return np.full(count, angle)

    at_neutral = np.flatnonzero(np.all([x == 0 for x in others.values()], axis=0))
    met = _first_from(faces, others)[1]
    met = np.where(met == 0.0, np.nan, met)  # touching already where the way begins
    met[at_neutral] = angle
    return met


def _first_from(faces, others):
    places = tuple((name, tuple(np.ravel(x))) for name, x in others.items())
    return faces.system.kept(("stop first from", faces.name, places),
                             lambda: faces.first_from(others))


def grazing(system: System, name: str, others: Mapping[str, ArrayLike]) -> int:
    """At how many places of the other inputs a contact that is met is not proven the first one.

    There the faces may graze each other sooner.

    Parameters
    ----------
    system : System
    name : str
        The stop.
    others : dict
        As of `at_stop`, which has been asked.
    """
    faces = meeting(system, name)
    if not {*others} & {*faces.pair.inputs}:
        return 0
    free, met = _first_from(faces, others)
    return int((np.isfinite(met) & (np.abs(met - free) > DECIDED)).sum())


def _touch(faces, motion):
    """Closest points of the two faces and the way from first to second, in the airframe's frame."""
    stage, posture = faces.stage(faces.thickness), motion.flat_posture()
    which, count = np.flatnonzero(~stage.rough), int(np.prod(motion.shape))
    item, place = np.repeat(which, count), np.tile(np.arange(count), len(which))
    value, *ends = stage.gap(stage.axes(posture, item, place), item)
    nearest = value.reshape(len(which), count).argmin(axis=0)
    way, *points = (k.reshape(3, len(which), count)[:, nearest, np.arange(count)] for k in ends)
    frame = faces.pair.frame
    return ([_carried(posture, frame, p) for p in points],
            _carried(posture.of_vectors(), frame, way))


def _carried(posture, frame, p):
    count = p.shape[1]
    p = tuple(p)
    for joint, outward in posture.plan.route(frame, AIRFRAME):
        p = posture.crossed(p, joint, outward)
    return np.stack([np.broadcast_to(np.ravel(k), (count,)) for k in p], axis=-1)
