"""Which plate of a body takes what acts at a hardpoint, and hands it on to the body's tube."""

from __future__ import annotations

import numpy as np

from ..geometry.outlines import off_outline
from ..model import Plate, Washer
from ..motion import System

SQUARE = 0.95  # cosine between a plate's normal and the axis from which it counts as an arm
BESIDE = 0.1  # mm that the tube may stand off the plate that it carries
NEAR = 50.0  # mm along the axis from a hardpoint to a plate that may still take it


def taking_plate(system: System, body: str, address: str) -> str | None:
    """The plate of a body that takes what acts at one of its hardpoints.

    Parameters
    ----------
    system : System
    body : str
    address : str
        A hardpoint of the body, or the pivot of what rides on it.

    Returns
    -------
    str or None
        Name of the nearest plate square to the body's axis whose outline holds both the hardpoint
        and the axis, seen along the axis; None where none is drawn.
    """
    return system.kept(("taking plate", body, address),
                       lambda: _nearest(system.model, body, address))


def _nearest(model, body, address):
    part, place = model.bodies[body], np.array(model.position(address))
    reached = 0.0 if part.tube is None else part.tube.diameter / 2
    plates = {}
    for name, solid in part.solids.items():
        if not isinstance(solid, Plate | Washer):
            continue
        u, v, normal = solid.axes
        across = np.stack([u, v], axis=-1)
        middle = np.array(model.spot(body, solid.at))
        outline = solid.loops(0.1)[0]
        off = abs((place - middle) @ normal)
        if abs(normal @ part.direction) > SQUARE and off < NEAR and not off_outline(
                outline, (place - middle) @ across) and off_outline(
                outline, (np.array(part.centre) - middle) @ across) <= reached + BESIDE:
            plates[name] = off
    return min(plates, key=plates.get, default=None)


def plate_offset(system: System, body: str, address: str) -> float:
    """From a hardpoint to the middle of the plate that takes it, mm along the body's axis.

    0 where no plate is drawn that takes it, and for a body without a torque tube.
    """
    part = system.model.bodies[body]
    plate = None if part.tube is None else taking_plate(system, body, address)
    if plate is None:
        return 0.0
    middle = system.model.spot(body, part.solids[plate].at)
    return float(np.dot(np.subtract(middle, system.model.position(address)), part.direction))
