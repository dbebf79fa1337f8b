"""Solids whose surface is triangles: meshes from files, and skins through sections."""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..errors import LinkageError, mm
from ..geometry import Piece, hull_piece
from ..geometry.lofts import loft
from ..geometry.triangles import Triangles, coarser
from .keys import (
    Choice,
    Direction,
    Flag,
    Label,
    Length,
    ListOf,
    Number,
    OneOfRecords,
    Record,
    TableOf,
    Text,
    got,
    key,
    unit_vector,
)
from .mended import Surface, mended
from .mesh_files import KINDS, SAG, UNITS, MeshFile, MeshTerms, read_mesh
from .shapes import PLACE, SIZE, THICKNESS, Part
from .solids import Box, Pipe, Plate, Shape, Sphere, Tube, Washer
from .turn import Turn

DRAWN = 3000  # triangles that a surface is drawn with at most
OFF = 0.02  # share of the longest side by which named points may miss their hardpoints
ASKEW = 1e-3  # share of their longest side that named points have to lie off one line


class SurfaceShape(Shape):
    """A solid bounded by triangles, or a skin of them."""

    def surface(self) -> Surface:
        """Its triangles in their own place, mm."""
        raise NotImplementedError

    def pieces(self) -> Triangles:
        """Its triangles at neutral."""
        return _placed(self)

    def hull(self) -> Piece:
        """A block about it, along its main axes."""
        tree = _placed(self).tree
        corners = tree.corners[0]
        normal = np.cross(corners[1] - corners[0], corners[3] - corners[0])
        size = np.linalg.norm(normal)
        rise = normal / size * (tree.radius[0] - _placed(self).radius) if size > 0 else 0.0
        return hull_piece(np.concatenate([corners - rise, corners + rise]), _placed(self).radius)

    def faces(self, within: float, least: float) -> list[list[np.ndarray]]:
        """Its triangles as it is drawn: fewer than it has, as `drawn` says."""
        return [[corners] for corners in self.drawn()[0]]

    def drawn(self) -> tuple[np.ndarray, float]:
        """Triangles to draw it by, (n, 3, 3) mm, and how far they may lie off its own, mm."""
        return _coarser(self)

    @property
    def told(self) -> tuple[str, ...]:
        """What was mended of it, and what else there is to tell."""
        return self.surface().told


@lru_cache(maxsize=64)
def _placed(shape) -> Triangles:
    return shape._triangles()


@lru_cache(maxsize=64)
def _coarser(shape):
    return coarser(_placed(shape).corners, DRAWN)


@dataclass(frozen=True, kw_only=True)
class MeshTurn(Part):
    """A turn of a mesh about its own [0, 0, 0]."""

    axis: str | tuple = key(Direction(), "axis of the right-hand turn")
    angle: float = key(Number(what="angle", unit="degrees"), "degrees")


@dataclass(frozen=True, kw_only=True)
class Match(Part):
    """A place in a mesh's file, and the hardpoint that it is."""

    point: str | tuple = key(PLACE, "the hardpoint, or [FS, BL, WL]")
    place: tuple = key(ListOf(Number(), 3, 3, "place [x, y, z]"),
                       "where it is in the file, in the file's own unit")


@dataclass(frozen=True, kw_only=True)
class Mesh(SurfaceShape):
    """A part as its file has it: STL, OBJ, PLY, 3MF, GLB or STEP."""

    kind = "mesh"
    file: str = key(Label(), "its file, beside the model file")
    unit: str | None = key(Choice(tuple(UNITS)), "unit of the file's numbers, where it says none",
                           default=None)
    at: str | tuple = key(PLACE, "where the file's [0, 0, 0] lies", default=(0.0, 0.0, 0.0))
    turn: tuple = key(ListOf(Record(MeshTurn)), "turns about the file's [0, 0, 0], one after the "
                      "other", default=())
    match: tuple = key(ListOf(Record(Match), 3, None, "list of places and their hardpoints"),
                       "three or more places that lie at hardpoints, instead of at and turn",
                       default=None)
    mirrored: bool = key(Flag(), "whether it is the mirror image across BL 0 of what the file "
                         "holds", default=False)
    thickness: float | None = key(SIZE, "of a skin, half to either side of the mesh; a solid has "
                                  "none", default=None)
    within: float = key(THICKNESS, "how far the mesh may lie off the true surface; of a STEP file "
                        "how finely it is meshed too", default=0.0)
    clearance: str | None = key(Text(), "clearance class to hold it to", default=None)

    def _check(self):
        if self.match is not None and (self.turn or self.at != (0.0, 0.0, 0.0)):
            raise LinkageError("is placed by match, and by at or turn too; leave one out")
        if not isinstance(self.file, MeshFile):
            object.__setattr__(self, "file", MeshFile.at(self.file, self.file))
        self.surface()

    @property
    def _is_step(self) -> bool:
        return KINDS[self.file.path.suffix.lower()] == "step"

    def surface(self) -> Surface:
        """Its triangles as the file has them, mm."""
        sag = (self.within or SAG) if self._is_step else None
        return read_mesh(self.file, MeshTerms(self.unit, self.thickness is None, sag))

    @property
    def radius(self) -> float:
        """Growth of its triangles all round, mm."""
        sag = (self.within or SAG) if self._is_step else self.within
        return sag + (self.thickness or 0.0) / 2

    def placement(self) -> tuple[np.ndarray, np.ndarray, float]:
        """Turn (3, 3) and shift (3,) from the file's own place, mirrored if so; and the misfit, mm.

        Its points have to be positions already.
        """
        if self.match is not None:
            return _fitted(np.array([each.place for each in self.match]) * self.surface().unit
                           * ([1, -1, 1] if self.mirrored else 1),
                           np.array([each.point for each in self.match], dtype=float))
        turned = np.eye(3)
        for each in self.turn:
            turned = _turning(each) @ turned
        return turned, np.array(self.at, dtype=float), 0.0

    def lever(self) -> float:
        """Times a hardpoint's tolerance that a mesh placed by `match` may be off, first order."""
        points = np.array([each.point for each in self.match], dtype=float)
        middle = points.mean(axis=0)
        spread = np.linalg.svd(points - middle)[1][1]
        reach = np.linalg.norm(_placed(self).corners - middle, axis=2).max()
        return 1.0 + math.sqrt(3 * len(points)) * float(reach / spread)

    def _triangles(self) -> Triangles:
        turned, shift, _ = self.placement()
        corners = self.surface().corners
        if self.mirrored:
            corners = corners[:, ::-1] * [1.0, -1.0, 1.0]
        return Triangles(np.ascontiguousarray(corners @ turned.T + shift), self.radius,
                         self.thickness is None)

    def turned(self, turn: Turn) -> Mesh:
        """The same mesh turned about a line."""
        if self.match is not None:
            raise LinkageError("is placed by match, and so can't be clocked; place it by at and "
                               "turn")
        start, end = turn.line
        axis = tuple(b - a for a, b in zip(start, end, strict=True))
        return dataclasses.replace(self, at=turn.place(self.at), turn=(
            *self.turn, MeshTurn(axis=axis, angle=turn.degrees)))


def _turning(turn) -> np.ndarray:
    from scipy.spatial.transform import Rotation

    return Rotation.from_rotvec(math.radians(turn.angle) * np.array(unit_vector(
        turn.axis))).as_matrix()


def _fitted(places, points):
    """The rigid fit of places to points (W. Kabsch, 1976, from memory), and the greatest misfit."""
    one, other = places - places.mean(axis=0), points - points.mean(axis=0)
    long = float(np.linalg.norm(other[:, None] - other[None], axis=2).max())
    for off, what in ((one, "places in the file"), (other, "hardpoints")):
        if np.linalg.svd(off)[1][1] <= ASKEW * max(np.abs(off).max(), 1e-9):
            raise LinkageError(f"match: its {what} lie on one line or in one place; name places "
                               f"that span a triangle")
    scale = float(np.sqrt((other**2).sum() / (one**2).sum()))
    u, _, v = np.linalg.svd(other.T @ one)
    sense = np.sign(np.linalg.det(u @ v))
    turned = u @ np.diag([1.0, 1.0, sense]) @ v
    miss = float(np.linalg.norm(one @ turned.T - other, axis=1).max())
    if miss > OFF * long:
        mirrored = float(np.linalg.norm(one @ (u @ v).T - other, axis=1).max())
        why = f"they fit at {scale:.4g} times the size, so check unit" \
            if abs(scale - 1) > OFF else "as its mirror image it would fit, so say mirrored" \
            if mirrored < miss / 4 else "check them"
        raise LinkageError(f"match: its places miss their hardpoints by up to {mm(miss)}; {why}",
                           miss=miss)
    return turned, points.mean(axis=0) - turned @ places.mean(axis=0), miss


@dataclass(frozen=True, kw_only=True)
class Section(Part):
    """A cross-section of a skin, square to the stations."""

    station: float = key(Length(), "its FS")
    points: tuple | None = key(ListOf(ListOf(Length(), 2, 2, "place [BL, WL]"), 2, None,
                                      "list of places"), "places [BL, WL] along it", default=None)
    half_breadths: tuple | None = key(ListOf(THICKNESS, 2, None, "list of lengths"),
                                      "half its breadth at each of the skin's waterlines",
                                      default=None)

    def _check(self):
        if (self.points is None) == (self.half_breadths is None):
            raise LinkageError("needs either points or half_breadths, one of them")

    @property
    def count(self) -> int:
        """How many places, or half-breadths, it is given by."""
        return len(self.points or self.half_breadths)


@dataclass(frozen=True, kw_only=True)
class Skin(SurfaceShape):
    """A shell through cross-sections at stations."""

    kind = "skin"
    sections: tuple = key(ListOf(Record(Section), 2, None, "list of sections"),
                          "its cross-sections, in the order of their stations")
    waterlines: tuple | None = key(ListOf(Length(), 2, None, "list of lengths"),
                                   "WL of each half-breadth, from the top down", default=None)
    between: str = key(Choice(("straight", "curved")), "how it runs between its places",
                       default="straight")
    closed: bool = key(Flag(), "whether each section runs back to its first place", default=False)
    thickness: float = key(SIZE, "thickness, half to either side of the sections")
    within: float = key(SIZE, "how far its triangles may lie off it, which is added to them",
                        default=0.5)
    clearance: str | None = key(Text(), "clearance class to hold it to", default=None)

    def _check(self):
        stations = [section.station for section in self.sections]
        if not _ascending(stations):
            raise LinkageError("has sections that are not in the order of their stations; sort "
                               "them")
        kinds = {section.points is None for section in self.sections}
        if len(kinds) > 1:
            raise LinkageError("has sections by points and sections by half_breadths; use one of "
                               "them")
        if (self.waterlines is not None) != (kinds == {True}):
            raise LinkageError("needs waterlines for its half_breadths" if kinds == {True} else
                               "has waterlines without half_breadths; take them out")
        counts = {section.count for section in self.sections}
        if len(counts) > 1:
            raise LinkageError(f"has sections of {min(counts)} and of {max(counts)} places; give "
                               f"each as many")
        if self.waterlines is not None:
            self._check_waterlines(counts.pop())
        self.surface()

    def _check_waterlines(self, count):
        """Refuse waterlines that are not as many as half-breadths, or not from the top down."""
        if len(self.waterlines) != count:
            raise LinkageError(f"has {len(self.waterlines)} waterlines and {count} "
                               f"half_breadths in a section; give as many")
        if not _ascending(self.waterlines[::-1]):
            raise LinkageError(f"needs its waterlines from the top down, {got(self.waterlines)}")

    def surface(self) -> Surface:
        """Triangles through its sections, within `within` of it."""
        return _lofted(self)

    @property
    def radius(self) -> float:
        """Growth of its triangles all round, mm."""
        return self.thickness / 2 + self.within

    def _triangles(self) -> Triangles:
        return Triangles(self.surface().corners, self.radius, False)

    def places(self) -> np.ndarray:
        """Its places, (sections, places, 3) mm: of half-breadths the right side, then the left."""
        rows = []
        for section in self.sections:
            flat = section.points
            if flat is None:
                right = list(zip(section.half_breadths, self.waterlines, strict=True))
                left = [(-b, w) for b, w in reversed(right)]
                flat = [*right, *left]
            if self.closed:
                flat = [*flat, flat[0]]
            rows.append([(section.station, b, w) for b, w in flat])
        return np.array(rows, dtype=float)

    def turned(self, turn: Turn) -> Skin:
        """No hand is a skin."""
        raise LinkageError("is a skin, which can't be clocked; use a plain solid")


def _ascending(sizes) -> bool:
    """Whether each is more than the one before it."""
    return not any(b <= a for a, b in itertools.pairwise(sizes))


@lru_cache(maxsize=16)
def _lofted(skin) -> Surface:
    corners = loft(skin.places(), skin.within, curved=skin.between == "curved")
    return mended(corners, False)


def cut_mesh(solid: Mesh | Skin, corners: np.ndarray, name: str) -> Mesh:
    """A skin with other triangles: a mesh of a file that is still to be written.

    Parameters
    ----------
    solid : Mesh or Skin
        A skin; its points as positions.
    corners : ndarray (n, 3, 3)
        Its triangles as it stands at neutral, mm.
    name : str
        Of that file.

    Raises
    ------
    LinkageError
        When its file has its numbers in a unit that no file of triangles can be said to have.
    """
    if isinstance(solid, Skin):
        return Mesh(file=MeshFile.unwritten(name, corners), unit="mm", within=solid.within,
                    thickness=solid.thickness, clearance=solid.clearance)
    turned, shift, _ = solid.placement()
    size = solid.surface().unit
    unit = next((word for word, own in UNITS.items() if own == size), None)
    if unit is None:
        raise LinkageError(f"has its numbers in units of {size:g} mm; save it in mm")
    own = (corners - shift) @ turned
    if solid.mirrored:
        own = own[:, ::-1] * [1.0, -1.0, 1.0]
    return dataclasses.replace(solid, file=MeshFile.unwritten(name, own / size), unit=unit,
                               within=solid.radius - solid.thickness / 2)


def match_points(solid: Shape) -> Sequence:
    """The hardpoints that a mesh is placed by."""
    return [each.point for each in getattr(solid, "match", None) or ()]


def matched(solid: Shape, spot: Callable) -> Shape:
    """A mesh that is placed by hardpoints with the positions of those that are named.

    Parameters
    ----------
    solid : Shape
    spot : callable
        From a point's name or a place to its position, mm.
    """
    return dataclasses.replace(solid, match=tuple(
        dataclasses.replace(each, point=spot(each.point)) for each in solid.match))


SOLID = OneOfRecords((Sphere, Tube, Pipe, Box, Plate, Washer, Mesh, Skin))
SOLIDS = TableOf(SOLID, "solid")
