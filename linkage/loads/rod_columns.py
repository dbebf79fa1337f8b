"""A rod as a column: its tube and the bare shanks of its ends, its bow, its wall."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from .columns import short_column, tube_area, tube_inertia, wall_stress
from .stepped import ROUNDS, Stretch, bowed_rises, buckling_load

if TYPE_CHECKING:
    from ..model import Material, Model


@dataclass(frozen=True)
class Shank:
    """The bare thread between a ball and the tube's end.

    Attributes
    ----------
    length : float
        Middle of the ball to the end of the tube, mm.
    diameter : float
        At the root of its thread, mm.
    material : Material
        Its rod end's; that of the tube where the file gives none.
    lever : float
        Friction of its ball x the ball's radius, mm: times the load what bends the shank.
    engaged : float
        Length of its thread in the tube, mm.
    """

    length: float
    diameter: float
    material: Material
    lever: float = 0.0
    engaged: float = 0.0

    @property
    def inertia(self) -> float:
        """Second moment of area, mm⁴."""
        return float(tube_inertia(self.diameter, self.diameter / 2))

    @property
    def area(self) -> float:
        """Area at the root, mm²."""
        return math.pi / 4 * self.diameter**2


@dataclass(frozen=True)
class RodColumn:
    """What a rod bears in compression.

    Attributes
    ----------
    load : float
        N at which it fails; NaN where its wall is thinner than any rule here covers.
    slenderness : float
        L'/rho of the tube alone from ball to ball that would buckle at the same elastic load.
    rule : str
        What gave the load.
    stepped : bool
        Whether the shanks of both ends are in it.
    """

    load: float
    slenderness: float
    rule: str
    stepped: bool


def shanks(model: Model, rod: str) -> tuple[Shank | None, Shank | None]:
    """The bare shank at each end of a rod; None where the file doesn't give its length or thread.

    Parameters
    ----------
    model : Model
    rod : str

    Returns
    -------
    tuple
    """
    return tuple(_shank(model, rod, end) for end in (0, 1))


def _shank(model, rod, end):
    fitted, rod_end, thread = model.fitting(rod, end)
    if None in (fitted, thread) or None in (rod_end.shank, fitted.engaged):
        return None
    material = rod_end.material or model.rods[rod].material
    lever = model.ball_arm(rod, end)
    return Shank(rod_end.shank - fitted.engaged, thread.root, model.material(material), lever,
                 fitted.engaged)


def rod_column(model: Model, rod: str) -> RodColumn:
    """What a rod bears in compression; its diameter, wall and material have to be known.

    Parameters
    ----------
    model : Model
    rod : str

    Returns
    -------
    RodColumn

    Notes
    -----
    Its elastic load is that of the stepped column with pinned ends, times its fixity.  The tube
    alone that buckles at the same load says which point of the column curve holds; the wall's own
    stress bounds that.  A shank stressed above half its yield stress has the tangent modulus that
    is behind Johnson's parabola (`softened`), and none at its yield stress.  A bow adds bending,
    and the rod fails where its tube reaches the wall's stress or a shank its yield stress.
    """
    part, material = model.rods[rod], model.material(model.rods[rod].material)
    size, length = (part.diameter, part.wall), model.rod_length(rod)
    ends, area = shanks(model, rod), float(tube_area(*size))
    stretches = _stretches(material.modulus * float(tube_inertia(*size)), length, ends)
    elastic = buckling_load(stretches) * part.fixity
    slender = math.pi * math.sqrt(material.modulus * area / elastic)
    stress, rule = short_column(slender, material)
    wall = wall_stress(*size, material)
    if math.isnan(wall) or wall < stress:
        stress, rule = wall, "its wall"
    load = stress * area
    soft = _softened_load(model, rod, ends, load)
    if soft < load:
        load, rule = soft, "its shanks past half their yield"
    if part.bow:
        bowed = _bowed_load(stretches, ends, (area, size[0], wall), (elastic, part))
        load, rule = (bowed, "its bow") if bowed < load else (load, rule)
    return RodColumn(load, slender, rule, None not in ends)


def softened(stress: float, yield_stress: float) -> float:
    """Share of Young's modulus left at a stress: all up to half the yield stress, then 4 s (1 - s).

    With s the stress over the yield stress; a column of one section with this tangent modulus
    buckles at Johnson's stress (Shanley's tangent modulus, column texts, from memory).

    Examples
    --------
    >>> softened(100.0, 400.0), softened(300.0, 400.0), softened(500.0, 400.0)
    (1.0, 0.75, 0.0)
    """
    share = stress / yield_stress
    return 1.0 if share <= 0.5 else max(4 * share * (1 - share), 0.0)


def _softened_load(model, rod, ends, most):
    """Compression up to `most` at which the rod fails when its shanks soften under it, N."""
    part, material = model.rods[rod], model.material(model.rods[rod].material)
    size, length = (part.diameter, part.wall), model.rod_length(rod)
    area, stiff = float(tube_area(*size)), material.modulus * float(tube_inertia(*size))

    def holds(load):
        left = [1.0 if end is None else softened(load / end.area, end.material.yield_stress)
                for end in ends]
        if not min(left) > 0:
            return False
        elastic = buckling_load(_stretches(stiff, length, ends, left)) * part.fixity
        return short_column(math.pi * math.sqrt(material.modulus * area / elastic),
                            material)[0] * area >= load

    if not most > 0 or all(end is None or most / end.area <= end.material.yield_stress / 2
                           for end in ends):
        return most
    low, high = 0.0, most
    for _ in range(ROUNDS):
        middle = (low + high) / 2
        low, high = (middle, high) if holds(middle) else (low, middle)
    return most if low > most * (1 - 1e-9) else low


def _stretches(stiffness, length, ends, left=(1.0, 1.0)):
    outer = [Stretch(end.length, share * end.material.modulus * end.inertia) if end else None
             for end, share in zip(ends, left, strict=True)]
    inner = Stretch(length - sum(end.length for end in outer if end), stiffness)
    return [part for part in (outer[0], inner, outer[1]) if part]


def _bowed_load(stretches, ends, tube, rest):
    """Compression at which a bowed rod first reaches a limit of stress, N."""
    area, diameter, wall = tube
    elastic, part = rest
    first, last = ([(end.area, end.inertia, end.diameter / 2, end.material.yield_stress)]
                   if end else [] for end in ends)
    inner = (area, float(tube_inertia(part.diameter, part.wall)), diameter / 2, wall)
    limits = [*first, inner, *last]

    def holds(load):
        rises = bowed_rises(stretches, load / part.fixity, part.bow)
        return all(load / a + load * rise * c / i <= limit
                   for rise, (a, i, c, limit) in zip(rises, limits, strict=True))

    low, high = 0.0, elastic * (1 - 1e-9)
    for _ in range(ROUNDS):
        middle = (low + high) / 2
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low
