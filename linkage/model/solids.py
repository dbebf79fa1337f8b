"""Solids, a class a kind: its keys, its turn about a line, its convex pieces, how it is drawn.

A kind is its class here, or in `surfaces.py`, and its name in `SOLID` there; reading, writing,
checking and the schema follow from its keys, gaps and proofs from its `pieces`.  All is in mm at
neutral.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..errors import LinkageError, mm
from ..geometry import Piece, hull_piece, prism, prisms, sphere, tube
from ..geometry.outlines import convex_parts, hole_polygon, outline_polygon, ring
from .keys import (
    Direction,
    Length,
    ListOf,
    Position,
    Record,
    Text,
    key,
    unit_vector,
)
from .shapes import PLACE, SIZE, THICKNESS, Part
from .turn import Turn


class Shape(Part):
    """A convex solid, or one in convex pieces; its places are positions, not names, when asked."""

    def turned(self, turn: Turn) -> Shape:
        """The same solid turned about a line."""
        raise NotImplementedError

    def pieces(self) -> tuple[Piece, ...]:
        """Convex pieces that make it up, in mm."""
        raise NotImplementedError

    def hull(self) -> Piece:
        """One convex piece that holds it all: quick, and never smaller."""
        return self.pieces()[0]

    def without_holes(self, centre: Sequence[float], radius: float) -> Shape:
        """Itself without the holes that lie wholly within a ball."""
        return self

    def faces(self, within: float, least: float) -> list[list[np.ndarray]]:
        """Flat regions to draw a sharp-edged solid by: a list of loops (n, 3) each, mm.

        Parameters
        ----------
        within : float
            How near to its true edge a loop is, mm.
        least : float
            Sides no wider are left out, mm.
        """
        return []


@dataclass(frozen=True, kw_only=True)
class Sphere(Shape):
    """A ball, such as a knob."""

    kind = "sphere"
    at: str | tuple = key(PLACE, "its middle; a point of the part or [FS, BL, WL]")
    diameter: float = key(SIZE, "its diameter")
    clearance: str | None = key(Text(), "clearance class to hold it to", default=None)

    def turned(self, turn: Turn) -> Sphere:
        """The same ball with its middle elsewhere."""
        return dataclasses.replace(self, at=turn.place(self.at))

    def pieces(self) -> tuple[Piece, ...]:
        """One piece."""
        return (sphere(self.at, self.diameter / 2),)


class Tubing(Shape):
    """Straight round lengths, one after the other."""

    def _check(self):
        if self.wall is not None and not self.wall <= self.diameter / 2:
            raise LinkageError(f"has a wall of {mm(self.wall)} in a tube of {mm(self.diameter)}; "
                               f"make the wall thinner")

    def turned(self, turn: Turn) -> Tubing:
        """The same tubing along the turned places."""
        return dataclasses.replace(self, along=tuple(turn.place(place) for place in self.along))

    def pieces(self) -> tuple[Piece, ...]:
        """A piece per straight length."""
        return tuple(tube(a, b, self.diameter / 2)
                     for a, b in zip(self.along[:-1], self.along[1:], strict=True))


@dataclass(frozen=True, kw_only=True)
class Tube(Tubing):
    """A straight round tube or rod with round ends."""

    kind = "tube"
    along: tuple = key(ListOf(PLACE, 2, 2, "pair of points"), "its two ends")
    diameter: float = key(SIZE, "its outside diameter")
    wall: float | None = key(SIZE, "its wall, where it carries load as a shaft", default=None)
    clearance: str | None = key(Text(), "clearance class to hold it to", default=None)


class _Bends(ListOf):
    """The line of a bent pipe; a straight one is a tube."""

    def _refuse(self, value):
        if isinstance(value, (tuple, list)) and len(value) == 2:
            raise LinkageError('has two points and so no bend; use kind = "tube"')
        super()._refuse(value)


@dataclass(frozen=True, kw_only=True)
class Pipe(Tubing):
    """A bent round pipe: a chain of straight pieces."""

    kind = "pipe"
    along: tuple = key(_Bends(PLACE, 3, None, "list of points"), "its bends, ends included")
    diameter: float = key(SIZE, "its outside diameter")
    wall: float | None = key(SIZE, "its wall, where it carries load as a shaft", default=None)
    clearance: str | None = key(Text(), "clearance class to hold it to", default=None)

    def hull(self) -> Piece:
        """The hull of all its lengths."""
        return hull_piece(self.along, self.diameter / 2)


@dataclass(frozen=True, kw_only=True)
class Box(Shape):
    """A block with edges along the stations at neutral."""

    kind = "box"
    corner: tuple = key(Position(), "one corner")
    opposite: tuple = key(Position(), "the corner across the block")
    clearance: str | None = key(Text(), "clearance class to hold it to", default=None)

    def _check(self):
        same = " and ".join(f"{word} {mm(a)}" for word, a, b in zip(
            ("FS", "BL", "WL"), self.corner, self.opposite, strict=True) if a == b)
        if same:
            raise LinkageError(f"has no thickness in one direction: both corners are at "
                               f"{same}; move the opposite corner")

    def turned(self, turn: Turn) -> Plate:
        """A plate of its size, since its edges leave the stations."""
        x, y, z = (abs(b - a) / 2 for a, b in zip(self.corner, self.opposite, strict=True))
        middle = tuple((a + b) / 2 for a, b in zip(self.corner, self.opposite, strict=True))
        return Plate(at=middle, normal="vertical", u=(1.0, 0.0, 0.0), thickness=2 * z,
                     outline=((-x, -y), (x, -y), (x, y), (-x, y)),
                     clearance=self.clearance).turned(turn)

    def pieces(self) -> tuple[Piece, ...]:
        """One block."""
        low, high = self._ends()
        floor = [(low[0], low[1], low[2]), (high[0], low[1], low[2]), (high[0], high[1], low[2]),
                 (low[0], high[1], low[2])]
        return (prism(floor, (0.0, 0.0, high[2] - low[2])),)

    def faces(self, within: float, least: float) -> list[list[np.ndarray]]:
        """Its six sides."""
        low, high = self._ends()
        corner = [low + (high - low) * np.array(pick) for pick in np.ndindex(2, 2, 2)]
        return [[np.array([corner[i] for i in side])] for side in (
            (0, 1, 3, 2), (4, 5, 7, 6), (0, 1, 5, 4), (2, 3, 7, 6), (0, 2, 6, 4), (1, 3, 7, 5))]

    def _ends(self):
        return np.minimum(self.corner, self.opposite), np.maximum(self.corner, self.opposite)


OUTLINE = ListOf(ListOf(Length(), 2, 3, "corner [u, v] or [u, v, corner radius]"), 3, None,
                 "list of corners")


@dataclass(frozen=True, kw_only=True)
class Hole(Part):
    """A cut-out of a plate: round, a slot, or an outline."""

    at: tuple | None = key(ListOf(Length(), 2, 2, "place [u, v]"), "middle of a round hole",
                           default=None)
    diameter: float | None = key(SIZE, "diameter of a round hole, width of a slot", default=None)
    slot: tuple | None = key(ListOf(ListOf(Length(), 2, 2, "place [u, v]"), 2, 2, "pair of places"),
                             "the two centres of a slot's round ends", default=None)
    outline: tuple | None = key(OUTLINE, "corners of a cut-out", default=None)

    def _check(self):
        words = [word for word in ("at", "slot", "outline") if getattr(self, word) is not None]
        if len(words) != 1:
            raise LinkageError(f"needs one of at, slot or outline, got "
                               f"{' and '.join(words) or 'none'}")
        if (self.outline is None) != (self.diameter is not None):
            raise LinkageError(f"has {words[0]} {'and' if self.outline else 'without'} a "
                               f"diameter; it needs one with at or slot, and none with outline")

    @property
    def shape(self) -> tuple | dict:
        """The cut-out as `linkage.geometry.outlines` takes it."""
        if self.outline is not None:
            return self.outline
        if self.slot is not None:
            return {"from": self.slot[0], "to": self.slot[1], "width": self.diameter}
        return {"at": self.at, "diameter": self.diameter}


class FlatShape(Shape):
    """What is cut from sheet: an outline with holes in a plane of its own, and a thickness."""

    @property
    def axes(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Unit vectors u, v and normal of its own plane."""
        raise NotImplementedError

    def parts(self) -> list[np.ndarray]:
        """Convex parts of the outline less the holes, (n, 2) each, mm."""
        raise NotImplementedError

    def loops(self, within: float) -> list[np.ndarray]:
        """Its outline and every hole as polygons (n, 2), mm, never smaller than the material."""
        raise NotImplementedError

    def corners(self) -> Sequence[Sequence[float]]:
        """Corners [u, v] whose hull holds the outline, mm."""
        raise NotImplementedError

    def turned(self, turn: Turn) -> FlatShape:
        """The same solid in the turned plane."""
        ways = {word: turn.direction(unit_vector(getattr(self, word)))
                for word in ("normal", "u") if hasattr(self, word)}
        return dataclasses.replace(self, at=turn.place(self.at), **ways)

    def pieces(self) -> tuple[Piece, ...]:
        """A prism per convex part."""
        u, v, normal = self.axes
        base = np.array(self.at) - normal * self.thickness / 2
        return prisms(self.parts(), base, (u, v, normal), self.thickness)

    def hull(self) -> Piece:
        """The hull of both faces."""
        u, v, normal = self.axes
        return hull_piece([np.array(self.at) + x * u + y * v + side * self.thickness / 2 * normal
                           for x, y in self.corners() for side in (-1, 1)], 0.0)

    def faces(self, within: float, least: float) -> list[list[np.ndarray]]:
        """Both faces with their holes, and the sides about the outline."""
        u, v, normal = self.axes
        loops, faces = self.loops(within), []
        for side in (-0.5, 0.5):
            middle = np.array(self.at) + side * self.thickness * normal
            faces.append([middle + loop[:, :1] * u + loop[:, 1:] * v for loop in loops])
        if self.thickness < least:
            return faces
        low, high = faces[0][0], faces[1][0]
        after = np.roll(np.arange(len(low)), -1)
        return faces + [[np.array([low[i], low[j], high[j], high[i]])] for i, j in enumerate(after)
                        if np.linalg.norm(low[j] - low[i]) > least]

    def _is_within(self, hole, centre, radius) -> bool:
        """Whether a cut-out lies wholly within a ball."""
        u, v, normal = self.axes
        rim = np.array(self.at) - centre + hole_polygon(hole) @ np.stack([u, v])
        across = np.abs(rim @ normal) + self.thickness / 2
        return ((rim**2).sum(axis=1) - (rim @ normal)**2 + across**2 <= radius**2).all()


@dataclass(frozen=True, kw_only=True)
class Plate(FlatShape):
    """A flat plate of its true outline, drawn in its own plane [u, v] from `at`."""

    kind = "plate"
    at: str | tuple = key(PLACE, "where [0, 0] of the outline lies, in the plate's middle plane")
    normal: str | tuple = key(Direction(), "direction square to the plate")
    u: str | tuple = key(Direction(), "direction of the outline's first axis; the second, v, "
                                    "is normal x u")
    outline: tuple = key(OUTLINE, "corners [u, v] or [u, v, corner radius]")
    thickness: float = key(SIZE, "thickness")
    holes: tuple = key(ListOf(Record(Hole)), "cut-outs", default=())
    material: str | None = key(Text(), "its material, where it carries load as an arm",
                               default=None)
    clearance: str | None = key(Text(), "clearance class to hold it to", default=None)

    def _check(self):
        off = sum(a * b for a, b in zip(unit_vector(self.normal), unit_vector(self.u), strict=True))
        if abs(off) > 1e-6:
            between = math.degrees(math.acos(max(-1.0, min(off, 1.0))))
            raise LinkageError(f"has u at {between:.6g}° to its normal; turn one of them to 90°")

    @property
    def axes(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Unit vectors u, v and normal; v is normal x u."""
        normal, u = np.array(unit_vector(self.normal)), np.array(unit_vector(self.u))
        return u, np.cross(normal, u), normal

    def parts(self) -> list[np.ndarray]:
        """Convex parts of the outline less its cut-outs."""
        return convex_parts(self.outline, [hole.shape for hole in self.holes])

    def loops(self, within: float) -> list[np.ndarray]:
        """The outline, then every cut-out."""
        return [outline_polygon(self.outline, within),
                *(hole_polygon(hole.shape, within) for hole in self.holes)]

    def corners(self) -> Sequence[Sequence[float]]:
        """The corners of its outline, rounded ones as if they were sharp."""
        return [corner[:2] for corner in self.outline]

    def without_holes(self, centre: Sequence[float], radius: float) -> Plate:
        """Itself without the cut-outs that lie wholly within a ball."""
        return dataclasses.replace(self, holes=tuple(
            hole for hole in self.holes if not self._is_within(hole.shape, centre, radius)))


@dataclass(frozen=True, kw_only=True)
class Washer(FlatShape):
    """A washer or round plate with a hole."""

    kind = "washer"
    at: str | tuple = key(PLACE, "its middle")
    normal: str | tuple = key(Direction(), "direction square to it")
    outside: float = key(SIZE, "outside diameter")
    inside: float = key(THICKNESS, "diameter of its hole, 0 for none", default=0.0)
    thickness: float = key(SIZE, "thickness")
    clearance: str | None = key(Text(), "clearance class to hold it to", default=None)

    def _check(self):
        if not self.inside < self.outside:
            raise LinkageError(f"has a hole of {mm(self.inside)} in {mm(self.outside)} outside; "
                               f"make the hole smaller")

    @property
    def axes(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Unit vectors u, v and normal; u is any direction square to the normal."""
        normal = np.array(unit_vector(self.normal))
        u = np.cross(normal, np.eye(3)[np.argmin(np.abs(normal))])
        u /= np.linalg.norm(u)
        return u, np.cross(normal, u), normal

    def parts(self) -> list[np.ndarray]:
        """Convex parts of the ring."""
        return ring(self.outside, self.inside)

    def loops(self, within: float) -> list[np.ndarray]:
        """The rim, then the hole where there is one."""
        return [hole_polygon({"at": (0.0, 0.0), "diameter": diameter}, within)
                for diameter in (self.outside, self.inside) if diameter]

    def corners(self) -> Sequence[Sequence[float]]:
        """Corners of the square about it."""
        half = self.outside / 2
        return [(-half, -half), (half, -half), (half, half), (-half, half)]

    def without_holes(self, centre: Sequence[float], radius: float) -> Washer:
        """Itself without its hole where that lies wholly within a ball."""
        hole = {"at": (0.0, 0.0), "diameter": self.inside}
        bored = self.inside > 0 and self._is_within(hole, centre, radius)
        return dataclasses.replace(self, inside=0.0) if bored else self

