"""A torque tube as a beam on its bearings: bending, shear and torsion along it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .columns import tube_area, tube_inertia

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from .free_bodies import FreeBodies


@dataclass(frozen=True, eq=False)
class Beam:
    """What a tube carries just before and just after each place where something acts on it.

    Between two of them bending is linear and the rest constant, so that none is greater there.

    Attributes
    ----------
    stations : ndarray (n, k)
        mm from the pivot along the axis.
    axial, shear : ndarray (n, k)
        N.
    bending, torsion : ndarray (n, k)
        N mm.
    stress : ndarray (n, k)
        N/mm², as `combined_stress` gives it.
    """

    stations: np.ndarray
    axial: np.ndarray
    shear: np.ndarray
    bending: np.ndarray
    torsion: np.ndarray
    stress: np.ndarray


def beam_of(statics: FreeBodies, share: np.ndarray, body: str) -> Beam:
    """A body's tube in a load case.

    Parameters
    ----------
    statics : FreeBodies
    share : ndarray (n, loads)
    body : str
        One of its `beams`.

    Returns
    -------
    Beam
    """
    stations, forces, moments = statics.beams[body]
    forces, moments = (np.einsum("ne,nemj->nmj", share, k) for k in (forces, moments))
    order = np.argsort(stations, axis=1)
    stations = np.take_along_axis(stations, order, axis=1)
    forces, moments = (np.take_along_axis(k, order[..., None], axis=1) for k in (forces, moments))
    u = statics.axes[body][:, None]
    pull, turn, lever = (np.cumsum(k, axis=1) for k in
                         (forces, moments, stations[..., None] * forces))
    turn = turn + np.cross(u, lever)  # about the pivot, of all that acts up to there
    before = [np.concatenate([np.zeros_like(k[:, :1]), k[:, :-1]], axis=1) for k in (pull, turn)]
    pull, turn = (np.concatenate(k, axis=1) for k in zip(before, (pull, turn), strict=True))
    stations = np.concatenate([stations, stations], axis=1)
    turn = turn - np.cross(u, stations[..., None] * pull)
    parts = [*_parts(pull, u), *_parts(turn, u)]
    tube = statics.model.bodies[body].tube
    return Beam(stations, *parts[:2], parts[3], parts[2],
                combined_stress(*parts[:2], parts[3], parts[2], (tube.diameter, tube.wall)))


def _parts(vector, u):
    """Sizes of what is along an axis and square to it."""
    along = np.einsum("nkj,nkj->nk", vector, np.broadcast_to(u, vector.shape))
    return np.abs(along), np.linalg.norm(vector - along[..., None] * u, axis=-1)


def combined_stress(axial: ArrayLike, shear: ArrayLike, bending: ArrayLike, torsion: ArrayLike,
                    size: tuple[float, float]) -> np.ndarray:
    """Equivalent stress of a round tube by distortion energy, N/mm².

    The greatest of each kind is taken as if all stood at one place of the section, so it is never
    less than the true one.

    Parameters
    ----------
    axial, shear : array_like
        N.
    bending, torsion : array_like
        N mm.
    size : (float, float)
        Diameter and wall, mm.

    Returns
    -------
    ndarray
        √(σ² + 3τ²) with σ = N/A + M r/I and τ = T r/J + V Q/(I b) (beam texts, such as Gere,
        Mechanics of Materials, ch. 5, from memory).
    """
    diameter, wall = size
    area, inertia = tube_area(diameter, wall), tube_inertia(diameter, wall)
    outer, inner = diameter / 2, diameter / 2 - wall
    straight = np.abs(axial) / area + np.multiply(bending, outer) / inertia
    across = np.multiply(torsion, outer) / (2 * inertia) + np.multiply(
        shear, 2 / 3 * (outer**3 - inner**3)) / (inertia * 2 * wall)
    return np.sqrt(np.square(straight) + 3 * np.square(across))
