"""Bellcranks, idlers and horns cut from plate, at the net section of straight cuts across them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..geometry.outlines import bored, cuts_across, off_outline
from ..motion import System, body_of
from .arms import taking_plate

if TYPE_CHECKING:
    from ..model import Model
    from .free_bodies import FreeBodies

SHARES = np.array([0.01, *np.linspace(0.05, 1.0, 20)])  # of the way from a hardpoint to the pivot
AT_ONCE = 256  # positions whose cuts fit a processor's cache together
NOTHING = 1e-6  # mm of material to either side where a hole leaves none
LEANS = np.radians([-50.0, -25.0, -12.0, 0.0, 12.0, 25.0, 50.0])  # of a cut from square to that way


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
    sections : ndarray (k, 6)
        Area, mm²; second moment in the plane, mm⁴; farthest fibre, mm; width of material, mm;
        torque over the shear stress it makes, mm³; torsion constant, mm⁴.
    thickness : float
    """

    addresses: tuple[str, ...]
    spots: np.ndarray
    middles: np.ndarray
    normals: np.ndarray
    held: np.ndarray
    sections: np.ndarray
    thickness: float

    @property
    def cut(self) -> tuple[str, ...]:
        """Hardpoints that some cut holds."""
        return tuple(np.array(self.addresses)[self.held.any(axis=0)].tolist())


def plate_cuts(system: System) -> dict[str, Cuts]:
    """Plates whose material the file gives, ``{"body/solid": Cuts}``.

    Only those square to the body's axis whose outline holds the axis and a rod's end.
    """
    return system.kept("plates as beams", lambda: _plates(system))


def _plates(system):
    cuts = {f"{body}/{solid}": _cuts(system.model, body, solid, ends)
            for body, part in system.model.bodies.items() if not part.slides
            for solid, ends in _ends_taken(system, body).items()
            if getattr(part.solids[solid], "material", None)}
    return {plate: each for plate, each in cuts.items() if each is not None}


def _ends_taken(system, body):
    """Ends of rods at the plate of a body that takes each, ``{solid: [address]}``."""
    taken = {}
    for end in dict.fromkeys(end for rod in system.model.rods.values() for end in rod.ends):
        solid = taking_plate(system, body, end) if body_of(end) == body else None
        if solid:
            taken.setdefault(solid, []).append(end)
    return taken


def unbored(model: Model, plate: str, addresses: tuple[str, ...]) -> list[str]:
    """Places on a plate at which neither a joint gives a hole nor one is drawn."""
    body, name = plate.split("/")
    solid = model.bodies[body].solids[name]
    u, v, _ = solid.axes
    holes = solid.loops(0.05)[1:]

    def drawn(address):
        place = np.subtract(model.position(address), model.spot(body, solid.at))
        return any(not off_outline(hole, np.array([place @ u, place @ v])) for hole in holes)

    return [at for at in addresses if bore_at(model, at) is None and not drawn(at)]


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
    flat_part = bored(solid.loops(0.05), bores)
    rows = [row for k in range(len(spots)) for row in _rows(
        flat_part, solid.thickness, np.roll(spots[:, :2], -k, axis=0), root, k)]
    if not rows:
        return None
    middles, normals, held, sections = (np.array(k) for k in zip(*rows, strict=True))
    return Cuts(tuple(addresses), spots, middles, normals, held, sections, solid.thickness)


def _lines(spot, root):
    """Cuts at every share of the way from a hardpoint to the root, at every lean: points, normals.

    None where the two are one place.
    """
    way = spot - root
    size = np.linalg.norm(way)
    if size < 1e-6:
        return np.zeros((0, 2)), np.zeros((0, 2))
    c, s = np.cos(LEANS), np.sin(LEANS)
    turns = np.stack([c, -s, s, c], axis=-1).reshape(-1, 2, 2) @ way / size
    return np.repeat(spot - SHARES[:, None] * way, len(LEANS), axis=0), np.tile(
        turns, (len(SHARES), 1))


def _rows(flat_part, t, spots, root, first):
    """Each cut of the arm of one hardpoint, the first of the spots, that holds it."""
    points, normals = _lines(spots[0], root[:2])
    if not len(points):
        return
    for k, (stretches, held) in enumerate(zip(*cuts_across(flat_part, (points, normals), spots),
                                              strict=True)):
        if held[0]:
            yield _row(stretches, (points[k], normals[k]), np.roll(held, first), t)


def _row(stretches, line, held, t):
    if not len(stretches):  # a hole as wide as the plate: next to nothing holds
        stretches = np.array([[-NOTHING, NOTHING]])
    widths, middles = np.diff(stretches, axis=1)[:, 0], stretches.mean(axis=1)
    centre = float((middles * widths).sum() / widths.sum())
    inertia = float((t * widths**3 / 12 + t * widths * (middles - centre)**2).sum())
    point, normal = line
    place = point + centre * np.array([-normal[1], normal[0]])
    return (*place, 0.0), normal, held, (
        t * widths.sum(), inertia, float(np.abs(stretches - centre).max()), widths.sum(),
        torsion_modulus(widths, t), float(torsion_constants(widths, t).sum()))


def torsion_modulus(widths: np.ndarray, thickness: float) -> float:
    """Torque over the greatest shear stress of strips beside each other that turn alike, mm³.

    Parameters
    ----------
    widths : ndarray (k,)
    thickness : float
        mm.

    Returns
    -------
    float
        Of each strip with sides 2a and 2b, r = b/a: T = 8 a b² s / (3 (1 + 0.6095 r + 0.8865 r² -
        1.8023 r³ + 0.91 r⁴)) (Roark, torsion of solid rectangles, from memory); they share the
        torque by `torsion_constants`.

    Examples
    --------
    >>> round(1 / torsion_modulus(np.array([1.0]), 1.0), 2)  # 4.81: Timoshenko, from memory
    4.81
    """
    a, b = np.maximum(widths, thickness) / 2, np.minimum(widths, thickness) / 2
    r = b / a
    stiff = torsion_constants(widths, thickness)
    alone = 8 * a * b**2 / (3 * (1 + 0.6095 * r + 0.8865 * r**2 - 1.8023 * r**3 + 0.91 * r**4))
    return float((alone * stiff.sum() / stiff).min())


def torsion_constants(widths: np.ndarray, thickness: float) -> np.ndarray:
    """Torsion constant of each of some strips, mm⁴: a b³ (16/3 - 3.36 r (1 - r⁴/12)) (Roark)."""
    a, b = np.maximum(widths, thickness) / 2, np.minimum(widths, thickness) / 2
    r = b / a
    return a * b**3 * (16 / 3 - 3.36 * r * (1 - r**4 / 12))


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
    (`torsion_modulus`) are taken as if the greatest of each stood at one place, so that it is no
    less than that of beam theory (beam texts, such as Roark, from memory; holes do not raise it but
    by the material they take).
    """
    return _stress_of(statics.system, _forces(statics, share, plate), plate)


def _stress_of(system, force, plate):
    parts = system.kept(("stress of cuts", plate), lambda: _per_force(plate_cuts(system)[plate]))
    pulled, in_plane, out_of_plane, sheared, pushed, twisted = (np.abs(force @ k) for k in parts)
    straight, across = pulled + in_plane + out_of_plane, sheared + pushed + twisted
    return np.sqrt(straight**2 + 3 * across**2)


def worst_plate_stress(statics: FreeBodies, share: np.ndarray, plate: str) -> np.ndarray:
    """The greatest of `plate_stress` at each position, (n,) N/mm²."""
    force = _forces(statics, share, plate)
    return np.concatenate([_stress_of(statics.system, force[k:k + AT_ONCE], plate).max(axis=-1)
                           for k in range(0, max(len(force), 1), AT_ONCE)])


def _forces(statics, share, plate):
    """Forces at a plate's hardpoints in a load case, (n, 3 m) N."""
    unit = statics.plates[plate]
    return (share[:, None] @ unit.reshape(*unit.shape[:2], -1))[:, 0]


def _per_force(cuts: Cuts) -> np.ndarray:
    """Each kind of stress at every cut per newton at each hardpoint along u, v and across.

    Returns
    -------
    ndarray (6, 3 m, k)
        1/mm²: tension, bending in the plane and out of it; shear in the plane and across, torsion.
    """
    count = len(cuts.addresses)
    force, held = np.eye(3 * count).reshape(-1, count, 3), cuts.held.astype(float)
    pull = held @ force  # (3 m, k, 3): u, v, across
    turn = held @ np.cross(cuts.spots, force) - np.cross(cuts.middles, pull)
    m = cuts.normals
    along = np.stack([-m[:, 1], m[:, 0]], axis=-1)
    area, inertia, reach, width, twisted, _ = cuts.sections.T

    def on(vector, way):
        return np.einsum("nki,ki->nk", vector[..., :2], way)

    return np.stack([on(pull, m) / area, turn[..., 2] * reach / inertia,
                     6 * on(turn, along) / (width * cuts.thickness**2),
                     1.5 * on(pull, along) / area, 1.5 * pull[..., 2] / area,
                     on(turn, m) / twisted])
