"""A plate as a flat figure in its own plane: its material, its exact outlines, its place."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from ..errors import LinkageError, nearest
from ..geometry.outlines import hole_polygon, outline_polygon, ring
from ..model import Box, Model, Plate, Washer
from ..model.surfaces import Mesh, Skin
from ..motion import body_of

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

CRUMB = 2e-3  # mm, below which a straight side is the rounding between two arcs
FINE = 0.005  # mm between an arc and the straight lines it is drawn with


@dataclass(frozen=True)
class Contour:
    """A closed line of straight pieces and arcs, counter-clockwise.

    Attributes
    ----------
    points : tuple of (float, float, float)
        Corner u, v in mm, and the bulge to the next: the tangent of a quarter of the arc's turn,
        positive when it turns left, 0 when straight.
    centres : tuple of (float, float)
        Middle of a round hole, or of the two ends of a slot; none for anything else.
    diameter : float
        Of a round hole or the ends of a slot, mm; 0 for anything else.
    """

    points: tuple
    centres: tuple = ()
    diameter: float = 0.0

    @property
    def area(self) -> float:
        """Area inside, mm², arcs counted as arcs."""
        total = 0.0
        for (x1, y1, bulge), (x2, y2, _) in _sides(self.points):
            total += (x1 * y2 - x2 * y1) / 2
            if bulge:
                turn = 4 * math.atan(bulge)
                radius = math.hypot(x2 - x1, y2 - y1) * (1 + bulge**2) / (4 * abs(bulge))
                total += radius**2 * (turn - math.sin(turn)) / 2
        return total

    def flipped(self) -> Contour:
        """The same seen from the other side: u counts the other way."""
        turned = [(-x2, y2, bulge) for (_, _, bulge), (x2, y2, _) in _sides(self.points)][::-1]
        return Contour(tuple(turned), tuple((-u, v) for u, v in self.centres), self.diameter)

    def drawn(self) -> np.ndarray:
        """Corners of the straight lines it is drawn with, ``(n, 2)`` mm."""
        points = []
        for (x1, y1, bulge), (x2, y2, _) in _sides(self.points):
            points.append((x1, y1))
            if bulge:
                points += _arc_between((x1, y1), (x2, y2), bulge)
        return np.array(points)


@dataclass(frozen=True, eq=False)
class Flat:
    """A plate or washer in its own plane.

    Attributes
    ----------
    name, body : str
        ``"part/solid"`` and the body it rides on.
    shape : Plate or Washer
    origin : ndarray (3,)
        Where [0, 0] lies at neutral, mm.
    axes : ndarray (3, 3)
        Unit vectors u, v and normal, one a row.
    material : shapely geometry
        Where material is, in mm: the polygon whose prisms clearance is proven with.
    """

    name: str
    body: str
    shape: object
    origin: np.ndarray
    axes: np.ndarray
    material: object

    @property
    def thickness(self) -> float:
        """Thickness, mm."""
        return self.shape.thickness

    @property
    def outside(self) -> Contour:
        """The outline with its arcs."""
        if isinstance(self.shape, Washer):
            return round_hole((0.0, 0.0), self.shape.outside)
        return rounded(self.shape.outline)

    @property
    def inside(self) -> tuple[Contour, ...]:
        """Every hole with its arcs."""
        if isinstance(self.shape, Washer):
            return (round_hole((0.0, 0.0), self.shape.inside),) if self.shape.inside else ()
        return tuple(_hole(hole) for hole in self.shape.holes)


def flat_of(model: Model, name: str) -> Flat:
    """The plate or washer of a name; a box is a plate in its thinnest direction.

    Parameters
    ----------
    model : Model
    name : str
        ``"part/solid"``.

    Returns
    -------
    Flat

    Raises
    ------
    LinkageError
        When there is no such plate.
    """
    shape = _plate_named(model, name)
    shape = _plate_of_box(shape) if isinstance(shape, Box) else shape
    at = shape.at
    if isinstance(at, str):
        at = model.position(at if "/" in at else f"{body_of(name)}/{at}")
    return Flat(name, body_of(name), shape, np.array(at, dtype=float),
                np.array(shape.axes), material_of(shape))


def _plate_of_box(box: Box) -> Plate:
    """A block as a plate in its thinnest direction."""
    ends = np.sort(np.array([box.corner, box.opposite], dtype=float), axis=0)
    size, middle = ends[1] - ends[0], ends.mean(axis=0)
    thin = 2 - int(size[::-1].argmin())  # of like ones the upright
    normal = np.eye(3)[thin]
    u = np.eye(3)[1 if thin == 0 else 0]
    x, y = (float(np.abs(way) @ size) / 2 for way in (u, np.cross(normal, u)))
    return Plate(at=tuple(middle.tolist()), normal=tuple(normal.tolist()), u=tuple(u.tolist()),
                 thickness=float(size[thin]), clearance=box.clearance,
                 outline=((-x, -y), (x, -y), (x, y), (-x, y)))


def plates_named(model: Model, name: str, skins: bool = False) -> tuple[str, ...]:
    """Addresses that a name stands for: a plate's own, or every plate of a part.

    Parameters
    ----------
    model : Model
    name : str
        ``"part/solid"``, or ``"part"``.
    skins : bool
        Whether a mesh or a skin may be named, too.

    Returns
    -------
    tuple of str
    """
    if "/" not in name:
        plates = [address for address, shape in model.solids.items()
                  if body_of(address) == name and isinstance(shape, (Plate, Washer))]
        if plates:
            return tuple(plates)
        if any(body_of(address) == name for address in model.solids):
            raise LinkageError(f'part "{name}" has no plate or washer; '
                               f"{nearest(name, _plates(model))}", name=name)
    if not (skins and isinstance(model.solids.get(name), (Mesh, Skin))):
        _plate_named(model, name)
    return (name,)


def material_of(shape: Plate | Washer) -> BaseGeometry:
    """Where a plate's or washer's material is, a shapely geometry in mm."""
    if isinstance(shape, Washer):
        return shapely.union_all([shapely.Polygon(part)
                                  for part in ring(shape.outside, shape.inside)])
    return shapely.Polygon(outline_polygon(shape.outline),
                           [hole_polygon(hole.shape) for hole in shape.holes])


def rounded(corners: Iterable[Sequence[float]]) -> Contour:
    """Contour of corners ``[u, v]`` or ``[u, v, radius]``, mm, either way round.

    Examples
    --------
    >>> square = rounded([[0, 0, 1], [0, 4, 1], [4, 4, 1], [4, 0, 1]])
    >>> abs(square.area - (16 - 4 + math.pi)) < 1e-12
    True
    """
    rows = [(c[0], c[1], c[2] if len(c) == 3 else 0.0) for c in corners]
    if sum(x1 * y2 - x2 * y1 for (x1, y1, _), (x2, y2, _) in _sides(rows)) < 0:
        rows.reverse()
    points = []
    for k, (x, y, radius) in enumerate(rows):
        before, after = np.array(rows[k - 1][:2]), np.array(rows[(k + 1) % len(rows)][:2])
        one, two = np.array([x, y]) - before, after - (x, y)
        turn = math.atan2(one[0] * two[1] - one[1] * two[0], one @ two)
        cut = radius * math.tan(abs(turn) / 2)
        if cut < 1e-9:
            points.append((float(x), float(y), 0.0))
            continue
        start, end = (x, y) - cut * one / math.hypot(*one), (x, y) + cut * two / math.hypot(*two)
        points += [(*start.tolist(), math.tan(turn / 4)), (*end.tolist(), 0.0)]
    kept = [(x, y, bulge) for (x, y, bulge), (x2, y2, _) in _sides(points)
            if bulge or math.hypot(x2 - x, y2 - y) > CRUMB]
    return Contour(tuple(kept))


def round_hole(at: tuple[float, float], diameter: float) -> Contour:
    """A circle.

    Examples
    --------
    >>> abs(round_hole((3.0, 4.0), 2.0).area - math.pi) < 1e-12
    True
    """
    (u, v), r = at, diameter / 2
    return Contour(((u + r, v, 1.0), (u - r, v, 1.0)), ((u, v),), diameter)


def _hole(hole) -> Contour:
    if hole.outline is not None:
        return rounded(hole.outline)
    if hole.slot is None:
        return round_hole(hole.at, hole.diameter)
    a, b = (np.array(end, dtype=float) for end in hole.slot)
    if np.allclose(a, b, atol=1e-9):
        return round_hole(hole.slot[0], hole.diameter)
    side = hole.diameter / 2 * np.array([a[1] - b[1], b[0] - a[0]]) / math.dist(a, b)
    points = tuple((*place.tolist(), bulge) for place, bulge in
                   ((a - side, 0.0), (b - side, 1.0), (b + side, 0.0), (a + side, 1.0)))
    return Contour(points, tuple(hole.slot), hole.diameter)


def _plates(model):
    return [name for name, shape in model.solids.items() if isinstance(shape, (Plate, Washer))]


def _plate_named(model, name):
    shape = model.solids.get(name)
    if shape is None:
        parts = {body_of(address) for address in _plates(model)}
        raise LinkageError(f'no plate "{name}"; {nearest(name, {*_plates(model), *parts})}',
                           name=name)
    if not isinstance(shape, (Plate, Washer, Box)):
        raise LinkageError(f'"{name}" is a {shape.kind}, and only a plate, washer or box has a '
                           f"flat outline; {nearest(name, _plates(model))}", name=name)
    return shape


def _sides(points):
    return zip(points, (*points[1:], points[0]), strict=True)


def _arc_between(start, end, bulge):
    """Places on an arc between its ends."""
    (x1, y1), (x2, y2) = start, end
    turn = 4 * math.atan(bulge)
    lift = (1 - bulge**2) / (4 * bulge)  # of the middle over the chord, in chords
    cx, cy = (x1 + x2) / 2 - lift * (y2 - y1), (y1 + y2) / 2 + lift * (x2 - x1)
    radius = math.hypot(x1 - cx, y1 - cy)
    step = 2 * math.acos(max(1 - FINE / radius, 0.5)) if radius > FINE else 1.0
    count = max(1, math.ceil(abs(turn) / step))
    first = math.atan2(y1 - cy, x1 - cx)
    return [(cx + radius * math.cos(first + turn * k / count),
             cy + radius * math.sin(first + turn * k / count)) for k in range(1, count)]
