"""Round tubes as columns, in tension and in torsion; pure functions on arrays."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from ..model import Material

if TYPE_CHECKING:
    from numpy.typing import ArrayLike


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


def short_column(slender: float, material: Material) -> tuple[float, str]:
    """Stress at which a column of a material fails, and by which curve.

    Parameters
    ----------
    slender : float
        L'/rho, end fixity included.
    material : Material

    Returns
    -------
    (float, str)
        N/mm²; "Euler", "its material's curve", or "Johnson" where the material has none.  A curve
        is never taken above the yield stress.
    """
    curve = material.column
    euler_like = math.pi**2 * material.modulus / slender**2
    if curve is None:
        stress = float(column_stress(slender, material.modulus, material.yield_stress))
        return stress, "Euler" if stress == euler_like else "Johnson"
    if slender >= curve.up_to:
        return min(euler_like, material.yield_stress), "Euler"
    stress = curve.top - curve.drop * slender**curve.power
    return min(stress, euler_like, material.yield_stress), "its material's curve"


def wall_stress(diameter: float, wall: float, material: Material) -> float:
    """Stress at which the wall of a round tube in compression buckles or yields, N/mm².

    Parameters
    ----------
    diameter, wall : float
        mm.
    material : Material

    Returns
    -------
    float
        The yield stress up to D/t = 0.11 E/Fy, Fy (0.038 E / (Fy D/t) + 2/3) from there to 0.45
        E/Fy (AISC 360, table B4.1 and sec. E7, from memory), NaN beyond, where no rule is known
        here.

    Examples
    --------
    >>> steel = Material(modulus=200e3, yield_stress=500.0, source="test")
    >>> [round(wall_stress(d, 1.0, steel), 1) for d in (40.0, 100.0, 200.0)]
    [500.0, 409.3, nan]
    """
    ratio, limit = diameter / wall, material.modulus / material.yield_stress
    if ratio <= 0.11 * limit:
        return material.yield_stress
    if ratio > 0.45 * limit:
        return math.nan
    return material.yield_stress * min(1.0, 0.038 * limit / ratio + 2 / 3)


def torque_wall_stress(diameter: float, wall: float, material: Material) -> float:
    """The same of a tube that is bent and twisted, as equivalent stress, N/mm².

    The lesser of `wall_stress` and √3 times 0.6 E / (D/t)^1.5, at which torsion buckles a long tube
    (AISC 360, sec. H3, from memory).

    Examples
    --------
    >>> steel = Material(modulus=200e3, yield_stress=500.0, source="test")
    >>> [round(torque_wall_stress(d, 1.0, steel), 1) for d in (40.0, 100.0)]
    [500.0, 207.8]
    """
    twisted = math.sqrt(3.0) * 0.6 * material.modulus / (diameter / wall) ** 1.5
    return min(wall_stress(diameter, wall, material), twisted)


def column_load(length: ArrayLike, diameter: ArrayLike, wall: ArrayLike, material: Material,
                fixity: ArrayLike = 1.0) -> np.ndarray:
    """Compression at which a straight round tube of one section fails by Euler or Johnson.

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
