"""Bellcranks, idlers and horns cut from plate, at the net section of straight cuts across them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..geometry.outlines import cut_across
from .arms import taking_plate

if TYPE_CHECKING:
    from ..model import Model
    from ..motion import System
    from .free_bodies import FreeBodies

SHARES = np.linspace(0.1, 1.0, 10)  # of the way from a hardpoint to the pivot
LEANS = np.radians([-50.0, -25.0, 0.0, 25.0, 50.0])  # of a cut from square to that way


@dataclass(frozen=True, eq=False)
class Cuts:
    """Straight cuts across a plate, each with the hardpoints beyond it.

    Attributes
    ----------
    addresses : tuple of str
        Hardpoints the plate takes loads at.
    spots : ndarray (m, 3)
        Where these are: u and v in the plate's plane, and how far off it, mm.
    middles : ndarray (k, 3)
        Middle of the net section of each cut.
    normals : ndarray (k, 2)
    held : ndarray (k, m) of bool
    sections : ndarray (k, 4)
        Area, mm²; second moment in the plane, mm⁴; farthest fibre, mm; width of material, mm.
    thickness : float
    """

    addresses: tuple[str, ...]
    spots: np.ndarray
    middles: np.ndarray
    normals: np.ndarray
    held: np.ndarray
    sections: np.ndarray
    thickness: float


def plate_cuts(system: System) -> dict[str, Cuts]:
    """Plates whose material the file gives, ``{"body/solid": Cuts}``.

    Only those square to the body's axis whose outline holds the axis and a rod's end.
    """
    return system.kept("plates as beams", lambda: _plates(system))


def _plates(system):
    model, found = system.model, {}
    ends = dict.fromkeys(end for rod in model.rods.values() for end in rod.ends)
    for body, part in model.bodies.items():
        if part.slides:
            continue
        mine = [end for end in ends if end.split("/")[0] == body]
        taken = {end: taking_plate(system, body, end) for end in mine}
        for solid in dict.fromkeys(name for name in taken.values() if name and getattr(
                part.solids[name], "material", None)):
            cuts = _cuts(model, body, solid, [end for end in mine if taken[end] == solid])
            if cuts is not None:
                found[f"{body}/{solid}"] = cuts
    return found


def bore_at(model: Model, address: str) -> float | None:
    """Diameter of the hole at a place by its joint, mm; None where the file gives none."""
    for joint in model.joints.values():
        if address in joint.places:
            return joint.hole or joint.bolt
    return None


def _cuts(model, body, name, addresses):
    solid, part = model.bodies[body].solids[name], model.bodies[body]
    u, v, normal = solid.axes
    middle = np.array(model.spot(body, solid.at))

    def flat(place):
        return np.stack([u, v, normal]) @ (np.array(place) - middle)

    spots, root = np.array([flat(model.position(a)) for a in addresses]), flat(part.centre)
    bores = [(*flat(model.position(a))[:2], size / 2) for a in (*addresses, f"{body}/pivot")
             if (size := bore_at(model, a))]
    rows = [_cut(solid, bores, line, spots, k) for k, spot in enumerate(spots)
            for line in _lines(spot[:2], root[:2])]
    rows = [row for row in rows if row is not None]
    if not rows:
        return None
    middles, normals, held, sections = (np.array(k) for k in zip(*rows, strict=True))
    return Cuts(tuple(addresses), spots, middles, normals, held, sections, solid.thickness)


def _lines(spot, root):
    way = spot - root
    size = np.linalg.norm(way)
    if size < 1e-6:
        return
    for share in SHARES:
        for lean in LEANS:
            c, s = np.cos(lean), np.sin(lean)
            yield spot - share * way, np.array([[c, -s], [s, c]]) @ way / size


def _cut(solid, bores, line, spots, first):
    order = [first, *(k for k in range(len(spots)) if k != first)]
    stretches, held = cut_across(solid.loops(0.05), bores, line, spots[order, :2])
    if not len(stretches) or not held[0]:
        return None
    back = np.empty(len(spots), bool)
    back[order] = held
    widths = np.diff(stretches, axis=1)[:, 0]
    centre = float((stretches.mean(axis=1) * widths).sum() / widths.sum())
    t = solid.thickness
    inertia = float((t * widths**3 / 12 + t * widths * (stretches.mean(axis=1) - centre)**2).sum())
    point, normal = line
    place = point + centre * np.array([-normal[1], normal[0]])
    reach = float(np.abs(stretches - centre).max())
    return (*place, 0.0), normal, back, (t * widths.sum(), inertia, reach, widths.sum())


def plate_loads(statics: FreeBodies, plate: str) -> np.ndarray:
    """Forces at a plate's hardpoints per unit load along its own u, v and normal.

    Returns
    -------
    ndarray (n, loads, m, 3)
        N.
    """
    body, name = plate.split("/")
    cuts = plate_cuts(statics.system)[plate]
    axes = [statics.way_of(body, way) for way in statics.model.bodies[body].solids[name].axes]
    forces = np.stack([statics.force_at(body, address) for address in cuts.addresses], axis=2)
    return np.stack([np.einsum("nemj,nj->nem", forces, way) for way in axes], axis=-1)


def plate_stress(statics: FreeBodies, share: np.ndarray, plate: str) -> np.ndarray:
    """Equivalent stress at every cut of a plate in a load case, (n, k) N/mm².

    Tension, bending in and out of the plane (M c / I, 6 M / (b t²)), shear (1.5 V / A) and torsion
    (3 T / (b t²)) are taken as if the greatest of each stood at one place, so that it is never less
    than the true one of the section (beam texts, such as Roark, from memory; holes do not raise it
    but by the material they take).
    """
    cuts = plate_cuts(statics.system)[plate]
    unit = statics.plates[plate]
    force = (share[:, None] @ unit.reshape(*unit.shape[:2], -1)).reshape(len(unit), -1, 3)
    held = cuts.held.astype(float)
    pull = held @ force  # (n, k, 3): u, v, across
    turn = held @ np.cross(cuts.spots, force) - np.cross(cuts.middles, pull)
    m = cuts.normals
    along = np.stack([-m[:, 1], m[:, 0]], axis=-1)
    area, inertia, reach, width = cuts.sections.T
    thin = width * cuts.thickness**2

    def on(vector, way):
        return np.abs(np.einsum("nki,ki->nk", vector[..., :2], way))

    straight = on(pull, m) / area + np.abs(turn[..., 2]) * reach / inertia + 6 * on(
        turn, along) / thin
    across = 1.5 * (on(pull, along) + np.abs(pull[..., 2])) / area + 3 * on(turn, m) / thin
    return np.sqrt(straight**2 + 3 * across**2)
