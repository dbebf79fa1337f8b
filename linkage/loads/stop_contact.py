"""A stop in contact: where its faces meet, and the force they press each other apart with."""

from __future__ import annotations

import numpy as np

from ..errors import LinkageError
from ..model import AIRFRAME
from ..motion import System, body_of
from ..stops import meeting
from .statics import Push, Statics

SHORT = 1e-7  # degrees (mm) before contact, where the way between the faces is still well known


def at_stop(system: System, name: str) -> Statics:
    """Unit loads at the stick position where a stop is reached, the stop's own among them.

    Parameters
    ----------
    system : System
    name : str
        The stop.

    Returns
    -------
    Statics
        Of one position.

    Raises
    ------
    LinkageError
        When the stop never meets, or a rod is one of its faces.

    Notes
    -----
    The force acts square to the faces at one point of the contact; friction is left out.
    """
    faces = meeting(system, name)
    for solid in faces.stop.between:
        if body_of(solid) in system.model.rods:
            raise LinkageError(f'stop "{name}": "{solid}" is a rod, whose bending is not worked '
                               f"out; let the stop act on a body", stop=name)
    angle = faces.contact(faces.thickness)
    motion = system.sweep(**{faces.stop.input: [angle - np.sign(angle) * SHORT]})
    points, way = _touch(faces, motion)
    pushes = tuple(Push(body_of(solid), point[None], sense * way[None], np.zeros((1, 3)))
                   for solid, point, sense in zip((faces.pair.first, faces.pair.second), points,
                                                  (-1.0, 1.0), strict=True))
    return Statics(motion, {name: pushes})


def _touch(faces, motion):
    """Closest points of the two faces and the way from first to second, in the airframe's frame."""
    stage, posture = faces.stage(faces.thickness), motion.flat_posture()
    which = np.flatnonzero(~stage.rough)
    value, *ends = stage.gap(stage.axes(posture, which, np.zeros_like(which)), which)
    way, *points = (k[:, value.argmin()] for k in ends)
    frame = faces.pair.frame
    return ([_carried(posture, frame, p) for p in points],
            _carried(posture.of_vectors(), frame, way))


def _carried(posture, frame, p):
    p = tuple(p)
    for joint, outward in posture.plan.route(frame, AIRFRAME):
        p = posture.crossed(p, joint, outward)
    return np.array([float(np.ravel(k)[0]) for k in p])
