"""The shaft of a stick and the like: a tube or bent pipe as a beam, from its root up."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..model import AIRFRAME, Pipe, Tube
from .beams import combined_stress

if TYPE_CHECKING:
    from ..model import Model
    from .free_bodies import FreeBodies

ALONG = 0.95  # cosine to the axis from which a tube's bearings decide what bends it
BESIDE = 1e-6  # mm along the shaft that a cut lies before or after a load or a bend


def shafts(model: Model) -> dict[str, str]:
    """Tubes and pipes whose wall and material the file gives, ``{"body/solid": body}``.

    Without those along the axis of a body whose bearings the file does not place: where along them
    the pivot's load goes in is not known, and what bends them hangs on it.
    """
    return {f"{name}/{solid}": name for name, solid in _walled(model)
            if not _on_an_unknown_bearing(model, name, solid)}


def unplaced(model: Model) -> list[str]:
    """Tubes and pipes with wall and material that `shafts` leaves out."""
    return [f"{name}/{solid}" for name, solid in _walled(model)
            if _on_an_unknown_bearing(model, name, solid)]


def _walled(model):
    return [(name, solid) for name, body in model.bodies.items()
            for solid, shape in body.solids.items()
            if isinstance(shape, Tube | Pipe) and None not in (shape.wall, body.material)]


def _on_an_unknown_bearing(model, name, solid):
    body = model.bodies[name]
    if body.bearings is not None or body.slides:
        return False
    line = np.array([model.spot(name, place) for place in body.solids[solid].along])
    sides = np.diff(line, axis=0)
    lengths = np.linalg.norm(sides, axis=1)
    return bool((np.abs(sides @ body.direction) > ALONG * lengths).any())


def shaft_cuts(statics: FreeBodies, shaft: str) -> tuple[np.ndarray, ...]:
    """What a shaft carries just before and after every load and bend along it, per unit load.

    Parameters
    ----------
    statics : FreeBodies
    shaft : str
        ``"body/solid"``, one of `shafts`.

    Returns
    -------
    tuple of ndarray
        Stations (n, k) in mm along its line, its direction there (n, k, 3), forces in N and moments
        in N mm of all beyond on what is before, both (n, loads, k, 3).

    Notes
    -----
    A load acts at the place of the shaft that is nearest to it; whatever the body gets elsewhere,
    the force at its pivot too, is so at one of its ends.  A body that turns in bearings gets the
    force of each at its own place.  Between the cuts the moment is linear.
    """
    body, name = shaft.split("/")
    model = statics.model
    line = [model.spot(body, place) for place in model.bodies[body].solids[name].along]
    line = np.stack([_airframe(statics, body, np.array(place)) for place in line], axis=1)
    acting = [*statics.pushed(body, statics.reactions), *_held(statics, body)]
    points, forces, moments = (np.stack(k, axis=-2) for k in zip(*acting, strict=True))
    sides = np.diff(line, axis=1)
    lengths = np.linalg.norm(sides, axis=-1)
    starts = np.concatenate([np.zeros((statics.count, 1)), np.cumsum(lengths, axis=1)], axis=1)
    feet = _feet(points, line, sides, starts)
    places = np.concatenate([feet, starts], axis=1)
    stations = np.concatenate([places - BESIDE, places + BESIDE], axis=1)
    stations = np.clip(stations, BESIDE, starts[:, -1:] - BESIDE)
    which = np.minimum((stations[:, :, None] >= starts[:, None, 1:]).sum(axis=-1),
                       sides.shape[1] - 1)
    row = np.arange(statics.count)[:, None]
    way = sides[row, which] / lengths[row, which][..., None]
    at = line[row, which] + (stations - starts[row, which])[..., None] * way
    beyond = (feet[:, None] > stations[..., None]).astype(float)[:, None]  # (n, 1, k, m)
    pull, turn = beyond @ forces, beyond @ (moments + np.cross(points[:, None], forces))
    return stations, way, pull, turn - np.cross(at[:, None], pull)


def _held(statics, body):
    """What carries a body does to it: at its pivot, or at each of its bearings."""
    if body not in statics.bearings:
        return [(statics.pivots[body], *statics.reactions[body])]
    stations = statics.model.bodies[body].bearing_stations
    return [(statics.pivots[body] + station * statics.axes[body], held, np.zeros_like(held))
            for station, held in zip(stations, np.moveaxis(statics.bearings[body], 2, 0),
                                     strict=True)]


def shaft_stress(statics: FreeBodies, share: np.ndarray, shaft: str) -> np.ndarray:
    """Equivalent stress at every cut of a shaft in a load case, (n, k) N/mm²."""
    _, way, pull, turn = statics.shafts[shaft]
    pull, turn = ((share[:, None] @ k.reshape(*k.shape[:2], -1)).reshape(way.shape)
                  for k in (pull, turn))
    solid = statics.model.solids[shaft]
    parts = [size for vector in (pull, turn) for size in _parts(vector, way)]
    return combined_stress(parts[0], parts[1], parts[3], parts[2], (solid.diameter, solid.wall))


def _parts(vector, way):
    along = np.einsum("nkj,nkj->nk", vector, way)
    return np.abs(along), np.linalg.norm(vector - along[..., None] * way, axis=-1)


def _feet(points, line, sides, starts):
    """Station of the place of the line that is nearest to each load, (n, m) mm."""
    square = np.einsum("nij,nij->ni", sides, sides)[:, None]
    off = points[:, :, None] - line[:, None, :-1]
    share = np.clip(np.einsum("nmij,nij->nmi", off, sides) / square, 0, 1)
    gap = np.linalg.norm(off - share[..., None] * sides[:, None], axis=-1)
    nearest = np.nan_to_num(gap, nan=np.inf).argmin(axis=-1)[..., None]
    along = starts[:, None, :-1] + share * np.sqrt(square)
    return np.take_along_axis(along, nearest, axis=-1)[..., 0]


def _airframe(statics, body, place):
    """A place of a body [FS, BL, WL] at neutral, in the airframe's frame at every position."""
    p = tuple(np.full(statics.count, k) for k in place)
    for joint, outward in statics.posture.plan.route(body, AIRFRAME):
        p = statics.posture.crossed(p, joint, outward)
    return np.stack([np.broadcast_to(k, (statics.count,)) for k in p], axis=-1)
