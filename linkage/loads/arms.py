"""Which plate of a body takes what acts at a hardpoint, and hands it on to the body's tube."""

from __future__ import annotations

import numpy as np

from ..model import Plate, Washer
from ..motion import System

SQUARE = 0.95  # cosine between a plate's normal and the axis from which it counts as an arm
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
        if abs(normal @ part.direction) > SQUARE and off < NEAR and inside(
                outline, (place - middle) @ across) and _comes_near(
                outline, (np.array(part.centre) - middle) @ across, reached):
            plates[name] = off
    return min(plates, key=plates.get, default=None)


def inside(outline: np.ndarray, spot: np.ndarray) -> bool:
    """Whether a place [u, v] lies within an outline (n, 2), by the crossings of a line to it.

    Examples
    --------
    >>> square = np.array([[0, 0], [2, 0], [2, 2], [0, 2.0]])
    >>> inside(square, np.array([1, 1])), inside(square, np.array([3, 1]))
    (True, False)
    """
    after = np.roll(outline, -1, axis=0)
    spans = (outline[:, 1] > spot[1]) != (after[:, 1] > spot[1])
    one, other = outline[spans], after[spans]
    crossing = one[:, 0] + (spot[1] - one[:, 1]) / (other[:, 1] - one[:, 1]) * (
        other[:, 0] - one[:, 0])
    return bool((crossing > spot[0]).sum() % 2)


def _comes_near(outline, spot, reach):
    if inside(outline, spot):
        return True
    side = np.roll(outline, -1, axis=0) - outline
    share = np.einsum("ij,ij->i", spot - outline, side) / np.maximum(
        np.einsum("ij,ij->i", side, side), 1e-12)
    nearest = outline + np.clip(share, 0, 1)[:, None] * side
    return bool(np.linalg.norm(nearest - spot, axis=1).min() <= reach + 0.1)


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
