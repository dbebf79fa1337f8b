"""Arms cut from plate as cantilever strips that buckle out of their plane."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .plates import plate_cuts

if TYPE_CHECKING:
    from ..model import Material, Model
    from ..motion import System
    from .free_bodies import FreeBodies
    from .plates import Cuts

SQUARE = 1e-6  # of a cut's normal to the way from ball to pivot, below which it is square to it


@dataclass(frozen=True, eq=False)
class Strip:
    """An arm from the pivot's axis to a ball: as wide and stiff as where it is least so.

    Attributes
    ----------
    ball : int
        Which of the plate's hardpoints.
    way : ndarray (2,)
        Unit vector to it in the plate's plane.
    pressed, bent : float
        Force along it and force across it that it buckles under, N.
    stiff : float
        Force to the side that moves the ball out of plane by 1 mm, N.
    rods : dict
        ``{rod: mm}``: what ends there, and its length.
    """

    ball: int
    way: np.ndarray
    pressed: float
    bent: float
    stiff: float
    rods: dict


def strip_loads(sizes: tuple[float, float, float, float], material: Material,
                offset: float) -> tuple[float, float, float]:
    """What a cantilever strip buckles under, and how stiff it is out of its plane.

    Parameters
    ----------
    sizes : (float, float, float, float)
        Length, width and thickness, mm, and torsion constant, mm⁴; of an arm wider than it is
        long no more of its width counts than that.
    material : Material
    offset : float
        From its middle line to where the load acts, mm, within its width.

    Returns
    -------
    (float, float, float)
        End load along it, N: π² E I / (4 L²); across it in its plane, N: 4.013 √(E I G J) / L² (1 -
        a / L √(E I / (G J))) (Timoshenko and Gere, Theory of Elastic Stability, 6.3, narrow
        cantilever, from memory); 3 E I / L³, N/mm.

    Examples
    --------
    >>> from linkage.model import HANDBOOK
    >>> steel = HANDBOOK["4130 normalized"]
    >>> [round(k) for k in strip_loads((200.0, 20.0, 2.0, 53.3), steel, 0.0)]
    [164, 329, 1]
    """
    long, width, thickness, torsion = sizes
    counts = min(long / width, 1.0)  # of its width
    bends = material.modulus * counts * width * thickness**3 / 12
    twists = material.shear_modulus * counts * torsion
    off = max(1 - offset / long * math.sqrt(bends / twists), 1e-9)
    return (math.pi**2 * bends / (4 * long**2), 4.013 * math.sqrt(bends * twists) / long**2 * off,
            3 * bends / long**3)


def strips(system: System, plate: str) -> list[Strip]:
    """Arms of a plate, one to each ball that some straight cut holds."""
    return system.kept(("strips", plate), lambda: list(_strips(
        system.model, plate, plate_cuts(system)[plate])))


def _strips(model: Model, plate: str, cuts: Cuts):
    body, name = plate.split("/")
    part = model.bodies[body].solids[name]
    root = np.subtract(model.bodies[body].centre, model.spot(body, part.at))
    root = np.array([root @ part.axes[0], root @ part.axes[1]])
    for ball, spot in enumerate(cuts.spots[:, :2]):
        away = spot - root
        size = float(np.linalg.norm(away))
        square = cuts.held[:, ball] & (np.abs(cuts.normals @ away - size) < SQUARE * size)
        if not square.any():
            continue
        across = np.array([-away[1], away[0]]) / size
        offset = float(np.abs((cuts.middles[square, :2] - spot) @ across).max())
        width, torsion = cuts.sections[square][:, [3, 5]].min(axis=0)
        rods = {rod: model.rod_length(rod) for rod in model.rods
                if cuts.addresses[ball] in model.rods[rod].ends}
        yield Strip(ball, away / size, *strip_loads(
            (size, width, cuts.thickness, torsion), model.material(part.material), offset), rods)


def plate_yield(model: Model, plate: str) -> float:
    """Yield stress of what a plate is made of, N/mm²."""
    return model.material(model.solids[plate].material).yield_stress


def buckling_share(statics: FreeBodies, share: np.ndarray, plate: str) -> np.ndarray:
    """How near a plate's arms come to buckling out of their plane in a load case, (n,).

    Load over critical load of each way of buckling, added up over all ways and balls: the true
    share is no greater (the greatest root of a sum of matrices is at most the sum of theirs; Weyl).
    A rod that pushes pushes the ball further to the side as it leans: S / length against the side
    stiffness, twice, as the arm at its other end may give too.
    """
    unit, total = statics.plates[plate], np.zeros(statics.count)
    axial = np.einsum("ne,nec->nc", share, statics.inner_forces)
    for arm in strips(statics.system, plate):
        force = np.einsum("ne,nej->nj", share, unit[:, :, arm.ball, :2])
        along = force @ arm.way
        across = np.abs(force @ np.array([-arm.way[1], arm.way[0]]))
        total = total + np.maximum(-along, 0) / arm.pressed + across / arm.bent
        for rod, length in arm.rods.items():
            if rod in statics.rods:
                pushed = np.maximum(-axial[:, statics.rods.index(rod)], 0)
                total = total + 2 * pushed / (length * arm.stiff)
    return total
