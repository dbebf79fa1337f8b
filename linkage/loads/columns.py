"""Round tubes as columns, in tension and in torsion; pure functions on arrays."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from ..model.parts import Material


def tube_area(diameter: ArrayLike, wall: ArrayLike) -> np.ndarray:
    """Area of a round tube, mm²; a wall of half the diameter is a solid rod.

    Parameters
    ----------
    diameter, wall : array_like
        mm.

    Returns
    -------
    ndarray
    """
    inside = np.subtract(diameter, np.multiply(2, wall))
    return np.pi / 4 * (np.square(diameter) - np.square(inside))


def tube_inertia(diameter: ArrayLike, wall: ArrayLike) -> np.ndarray:
    """Second moment of area of a round tube across a diameter, mm⁴; twice this in torsion.

    Examples
    --------
    >>> round(float(tube_inertia(40.0, 2.0)))  # Gere, Mechanics of Materials 7th ed., 11.4-2
    43216
    """
    inside = np.subtract(diameter, np.multiply(2, wall))
    return np.pi / 64 * (np.power(diameter, 4.0) - np.power(inside, 4.0))


def slenderness(length: ArrayLike, diameter: ArrayLike, wall: ArrayLike,
                fixity: ArrayLike = 1.0) -> np.ndarray:
    """L'/rho of a round tube: length over √c, over the radius of gyration."""
    radius = np.sqrt(tube_inertia(diameter, wall) / tube_area(diameter, wall))
    return np.divide(length, np.sqrt(fixity)) / radius


def column_stress(slender: ArrayLike, modulus: ArrayLike, yield_stress: ArrayLike) -> np.ndarray:
    """Stress at which a column fails: Euler where slender, Johnson's parabola where not.

    Parameters
    ----------
    slender : array_like
        L'/rho, end fixity included.
    modulus, yield_stress : array_like
        N/mm².

    Returns
    -------
    ndarray
        N/mm².  Euler: pi² E / (L'/rho)².  Johnson: Fy (1 - Fy (L'/rho)² / (4 pi² E)), used below
        L'/rho = √(2 pi² E / Fy), where both give Fy / 2 (machine-design texts, such as Faires).
    """
    slender = np.asarray(slender, dtype=float)
    euler_like = np.pi**2 * np.asarray(modulus) / slender**2
    johnson = np.multiply(yield_stress, 1 - np.divide(yield_stress, 4 * euler_like))
    return np.where(euler_like < np.divide(yield_stress, 2), euler_like, johnson)


def column_load(length: ArrayLike, diameter: ArrayLike, wall: ArrayLike, material: Material,
                fixity: ArrayLike = 1.0) -> np.ndarray:
    """Compression at which a round tube fails as a column.

    Parameters
    ----------
    length, diameter, wall : array_like
        mm.
    material : Material
    fixity : array_like
        1 pinned, 2.046 pinned and clamped, 4 clamped, 0.25 clamped and free.

    Returns
    -------
    ndarray
        N.
    """
    stress = column_stress(slenderness(length, diameter, wall, fixity), material.modulus,
                           material.yield_stress)
    return stress * tube_area(diameter, wall)


def torsion_stress(moment: ArrayLike, diameter: ArrayLike, wall: ArrayLike) -> np.ndarray:
    """Greatest shear stress of a round tube, N/mm², under a moment about its axis, N mm."""
    return np.abs(moment) * np.divide(diameter, 4) / tube_inertia(diameter, wall)
