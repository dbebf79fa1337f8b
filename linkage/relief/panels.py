"""A skin of triangles seen square to a plane: a figure that can be drawn, and cut through."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from ..errors import LinkageError
from ..geometry.triangles import Triangles
from ..model import Hole, Plate
from ..model.surfaces import cut_mesh
from ..units import shown_length
from .flat import Flat, material_of

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from ..model.surfaces import Mesh, SurfaceShape

STATIONS = "FS", "BL", "WL"
SNAP = math.cos(math.radians(25.0))  # to a station's direction within this, it is seen along that
STEEP = 60.0  # degrees off the plane, beyond which a cut square to it would be no cut across a skin
ROOM = 150.0  # mm about what comes near that is drawn of a large skin, or one that folds
WHOLE, MOST_DRAWN = 800.0, 30_000  # mm and triangles, above which a skin is large
FOLDED = 1.0  # mm² by which a surface that folds back lies over itself
CRUMB = 1e-6  # mm: a triangle no higher is rounding
EVERY = 25.0  # mm of a new edge between places of which the stations are written


@dataclass(frozen=True, eq=False)
class Panel(Flat):
    """A skin of triangles as it is seen square to a plane.

    What it has of a `Flat` is what is seen: `shape` is a plate of that outline.

    Attributes
    ----------
    corners : ndarray (n, 3, 3)
        Its triangles that are seen, u, v and height over the plane, mm.
    rest : ndarray (k, 3, 3)
        Its other triangles, stations at neutral, mm.
    source : Mesh or Skin
        As the file has it, points as positions.
    radius : float
        What its triangles are grown by all round, mm.
    part : bool
        Whether that is a part of it, cut off straight where nothing comes near.
    marks : tuple of (float, float, float)
        Places of the new edge, and how high they lie, mm.
    """

    corners: np.ndarray
    rest: np.ndarray
    source: SurfaceShape
    radius: float
    part: bool = False
    marks: tuple = ()

    def cut_to(self, gone: BaseGeometry, file: str) -> Mesh:
        """The skin without what is seen within a region, mm: cut through square to the plane.

        It is of a file of that name, which is still to be written.
        """
        try:
            kept, _ = clipped(self.corners, gone)
            return cut_mesh(self.source, np.concatenate([self.stations(kept), self.rest]), file)
        except LinkageError as error:
            raise LinkageError(f'"{self.name}": {error.sentence}', **error.facts) from error

    def after(self, shape: Plate, gone: BaseGeometry) -> Panel:
        """Itself with a region cut out, drawn as a plate."""
        return replace(self, shape=shape, material=material_of(shape),
                       marks=_marks(self.corners, gone))

    def marked_off(self, gone: BaseGeometry) -> float:
        """How far, seen so, a place on a face may be from where the skin's middle is, mm.

        Its edge is cut square to it, and may be marked on either face.
        """
        steep = self.band(gone)[2]
        return self.thickness / 2 * math.sin(math.radians(steep))

    def station_words(self, place: tuple[float, float, float], unit: str) -> str:
        """Where a place lies: by the one station that the drawing does not show, or all three."""
        spot = self.stations(np.array(place)).tolist()
        facing = int(np.abs(self.axes[2]).argmax())
        shown = [facing] if abs(self.axes[2, facing]) > 1 - 1e-9 else range(3)
        return " ".join(f"{STATIONS[k]} {shown_length(spot[k], unit, 1).split()[0]}"
                        for k in shown)

    def stations(self, places: np.ndarray) -> np.ndarray:
        """Stations at neutral of places (..., 3) in its own coordinates, mm."""
        return self.origin + places @ self.axes

    def band(self, gone: BaseGeometry) -> tuple[float, float, float]:
        """Least and greatest height of what is cut away, mm, and how steep it stands, degrees."""
        _, lost = clipped(self.corners, gone)
        return (float(lost[..., 2].min()), float(lost[..., 2].max()),
                math.degrees(math.acos(np.abs(_normals(lost)[:, 2]).min()))) \
            if len(lost) else (0.0, 0.0, 0.0)


def panel_of(name: str, body: str, source: SurfaceShape, near: np.ndarray) -> Panel:
    """A skin seen square to the plane that fits what comes near it best.

    Parameters
    ----------
    name, body : str
        ``"part/solid"`` and the body it rides on.
    source : Mesh or Skin
        Points as positions.
    near : ndarray of bool (triangles,)
        Which of its triangles something comes near to.

    Raises
    ------
    LinkageError
        When it is no skin, or folds back over itself there.
    """
    pieces: Triangles = source.pieces()
    if pieces.solid:
        raise LinkageError(f'"{name}" is a solid that triangles close about, and only a skin of '
                           f"them is cut; give it a thickness if it is one, or say it as plates",
                           name=name)
    some = pieces.corners[near] if near.any() else pieces.corners
    axes = _axes(some)
    origin = np.round(some.reshape(-1, 3).mean(axis=0))
    local = (pieces.corners - origin) @ axes.T
    close = local[near] if near.any() else local
    seen, room = _seen(local, close)
    material = _material(local[seen], close, room)
    if near.any():
        _refuse_folds(name, local[seen], close)
    plate = Plate(at=tuple(origin.tolist()), normal=tuple(axes[2].tolist()),
                  u=tuple(axes[0].tolist()), thickness=source.thickness,
                  outline=_ring(material.exterior), clearance=source.clearance,
                  holes=tuple(Hole(outline=_ring(hole)) for hole in material.interiors))
    return Panel(name, body, plate, origin, axes, material, local[seen],
                 pieces.corners[~seen], source, pieces.radius, not seen.all())


def _normals(corners):
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return across / np.maximum(np.linalg.norm(across, axis=1, keepdims=True), 1e-300)


def _axes(corners):
    """Unit vectors u, v and normal of the plane: of stations where it nearly faces along one."""
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.maximum(np.linalg.norm(across, axis=1), 1e-300)
    normal = np.linalg.eigh(np.einsum("n,ni,nj->ij", 1 / size, across, across))[1][:, -1]
    facing = int(np.abs(normal).argmax())
    if abs(normal[facing]) >= SNAP:
        normal = np.eye(3)[facing]
    normal = normal * np.sign(normal[facing])
    u = np.eye(3)[1 if facing == 0 else 0]
    u = u - (u @ normal) * normal
    u /= np.linalg.norm(u)
    return np.stack([u, np.cross(normal, u), normal])


def _seen(local, near):
    """Which triangles are drawn, and within which box: all, or those about what comes near."""
    low, high = local.min(axis=(0, 1)), local.max(axis=(0, 1))
    if (high - low).max() > WHOLE or len(local) > MOST_DRAWN or _over(local) > FOLDED:
        spots = near.reshape(-1, 3)
        low, high = spots.min(axis=0) - ROOM, spots.max(axis=0) + ROOM
    inside = ((local.min(axis=1) <= high) & (local.max(axis=1) >= low)).all(axis=1)
    return inside, shapely.box(*low[:2], *high[:2])


def _over(corners) -> float:
    """How much of a surface lies over itself, seen square to the plane, mm²."""
    plan = shapely.make_valid(_plan(corners))
    return float(shapely.area(plan).sum() - shapely.union_all(plan).area)


def _plan(corners):
    return shapely.polygons(corners[..., :2])


def _material(corners, near, room):
    """Where a skin is seen to be: the one piece of it that what comes near lies on."""
    plan = _plan(corners)
    whole = shapely.union_all(plan[shapely.area(plan) > CRUMB]).intersection(room)
    parts = shapely.get_parts(whole)
    here = shapely.MultiPoint(near.mean(axis=1)[:, :2])
    counts = [len(shapely.get_parts(here.intersection(part))) for part in parts]
    return shapely.Polygon(parts[int(np.argmax(counts))])


def _ring(ring):
    """Corners of a ring without those that lie in line with their neighbours."""
    return tuple(map(tuple, shapely.get_coordinates(ring.simplify(1e-9))[:-1].tolist()))


def _refuse_folds(name, corners, near):
    """Refuse a surface that lies over itself where it comes near."""
    low, high = near.min(axis=(0, 1)), near.max(axis=(0, 1))
    if _over(corners[((corners.min(axis=1) <= high) & (corners.max(axis=1) >= low))[:, :2].all(
            axis=1)]) > FOLDED:
        raise LinkageError(f'"{name}": its skin lies over itself where it would be cut, seen '
                           f"square to it; give what folds back as a solid of its own", name=name)


def clipped(corners: np.ndarray, gone: BaseGeometry) -> tuple[np.ndarray, np.ndarray]:
    """Triangles (n, 3, 3) without what is seen of them within a region, and what is.

    Returns
    -------
    (ndarray (k, 3, 3), ndarray (m, 3, 3))
        mm, in the planes of the triangles.

    Raises
    ------
    LinkageError
        When a triangle stands too steep to be cut square to the plane.
    """
    plan = _plan(corners)
    shapely.prepare(gone)
    touched = shapely.intersects(gone, plan)
    cut, shapes = corners[touched], plan[touched]
    flat = np.abs(_normals(cut)[:, 2])
    steep = (flat < math.cos(math.radians(STEEP))) & ((
        shapely.area(shapely.intersection(shapely.make_valid(shapes), gone)) > 1e-3)
        | (flat < 1e-6))
    if steep.any():
        raise LinkageError(f"its skin stands up to {math.degrees(math.acos(flat[steep].min())):.0f}"
                           f"° to the plane that it would be cut square to, and at most "
                           f"{STEEP:.0f}° is cut; move what passes it, or split the skin")
    some = flat > 1e-6
    kept, lost = (_lifted(cut[some], way(shapes[some], gone)) for way in (
        shapely.difference, shapely.intersection))
    return np.concatenate([corners[~touched], cut[~some], kept]), lost


def _lifted(corners, parts):
    """Triangles of what is seen of each of some triangles, in its own plane."""
    pieces, which = shapely.get_parts(shapely.constrained_delaunay_triangles(parts),
                                      return_index=True)
    if not len(pieces):
        return np.zeros((0, 3, 3))
    spots = shapely.get_coordinates(pieces).reshape(-1, 4, 2)[:, :3]
    base = corners[which]
    sides = base[:, 1:] - base[:, :1]
    across = np.cross(sides[:, 0], sides[:, 1])
    rise = -across[:, None, :2] / across[:, None, 2:]
    height = base[:, :1, 2] + ((spots - base[:, :1, :2]) * rise).sum(axis=2)
    made = np.concatenate([spots, height[..., None]], axis=2)
    long = np.linalg.norm(np.roll(made, -1, axis=1) - made, axis=2).max(axis=1)
    area = np.linalg.norm(np.cross(made[:, 1] - made[:, 0], made[:, 2] - made[:, 0]), axis=1)
    return made[area > CRUMB * np.maximum(long, CRUMB)]


def _marks(corners, gone):
    """Places of the edge of a region that lie on triangles, evenly apart, and their heights."""
    plan = _plan(corners)
    tree, marks = shapely.STRtree(plan), []
    normals = _normals(corners)
    for ring in shapely.get_parts(shapely.line_merge(gone.boundary)):
        count = max(3, round(ring.length / EVERY))
        spots = shapely.line_interpolate_point(ring, np.arange(count) / count, normalized=True)
        for spot, k in tree.query(spots, "intersects").T:
            u, v = shapely.get_coordinates(spots[spot])[0]
            if abs(normals[k, 2]) > 1e-6:
                away = np.array([u, v]) - corners[k, 0, :2]
                height = corners[k, 0, 2] - away @ normals[k, :2] / normals[k, 2]
                marks.append((float(u), float(v), float(height)))
    return tuple({(round(u, 6), round(v, 6)): (u, v, w) for u, v, w in marks}.values())
