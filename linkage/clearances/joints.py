"""The balls about the joints that two parts share: only in them the parts are meant to touch.

A joint's point is carried by both parts at once, so material within the ball about it stays there
at every position.  Of a slide the point leaves the one part as the other moves; each part then
keeps the ball where it was at neutral.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..model import AIRFRAME, Model, Pipe, Tolerance, Tube
from ..motion import body_of
from ..units import shown_length

BALL = 25.4  # mm; rod end or bearing with jam nut, bolt and lug; common practice, no source
ROUND = 12.7  # mm of metal round the thickest tube through a joint; common practice, no source


@dataclass(frozen=True)
class Ball:
    """A ball about a joint.

    Attributes
    ----------
    joint : str
        ``"part/point"``; bearings and a second point of a hinge are counted after the part.
    centre : tuple of float
        Where the joint is at neutral, mm.
    radius : float
        mm; less than drawn by what the build may be off, where a build is asked of.
    source : str
        Where the radius comes from.
    """

    joint: str
    centre: tuple[float, float, float]
    radius: float
    source: str


class Joints:
    """Which joints the parts of a model share, and how large the ball about each is.

    Parameters
    ----------
    model : Model
    placed : callable
        The shape of a solid by its name, its places in mm.
    holds : callable
        Whether a fixed solid, by its name, holds the joint of a ball.
    tolerances : Tolerance, optional
        Build tolerances: no material then leaves its ball in any build.
    """

    def __init__(self, model: Model, placed: Callable, holds: Callable,
                 tolerances: Tolerance | None = None):
        self.model, self.tolerances = model, tolerances
        self._placed, self._holds = placed, holds
        self._tubes, self._known = {}, {}

    def shared(self, first: str, second: str) -> tuple[Ball, ...]:
        """Balls about the joints that the parts of two solids share; none where they share none."""
        one, two = body_of(first), body_of(second)
        if one == AIRFRAME:
            return self._held(first, two)
        return self._held(second, one) if two == AIRFRAME else self.of_parts(one, two)

    def of_parts(self, *parts: str) -> tuple[Ball, ...]:
        """Balls about the joints of two parts, whichever of their solids hold them."""
        if parts not in self._known:
            self._known[parts] = self._between(*parts)
        return self._known[parts]

    def _held(self, fixed, part) -> tuple[Ball, ...]:
        """Balls about the joints of a part that a fixed solid holds."""
        if (fixed, part) not in self._known:
            self._known[fixed, part] = tuple(ball for ball in self.of_parts(part, AIRFRAME)
                                             if self._holds(fixed, ball))
        return self._known[fixed, part]

    def _between(self, one, two) -> tuple[Ball, ...]:
        rods, bodies = self.model.rods, self.model.bodies
        if one in rods and two in rods:
            return self._shared_ends(one, two)
        if two in rods or one == AIRFRAME:
            one, two = two, one
        if one in rods:
            return self._ends_at(one, two)
        if two != AIRFRAME and bodies[two].on == one:
            return self._pivot(two)
        return self._pivot(one) if bodies[one].on == two else ()

    def _ends_at(self, rod, part):
        return tuple(self._rod_end(rod, end) for end in self.model.rods[rod].ends
                     if body_of(end) == part)

    def _shared_ends(self, one, two):
        """The larger ball about each end that two rods share."""
        ends = self.model.rods[two].ends
        return tuple(max(self._rod_end(one, end), self._rod_end(two, end),
                         key=lambda ball: ball.radius)
                     for end in self.model.rods[one].ends if end in ends)

    def _rod_end(self, rod, end) -> Ball:
        part, unit = self.model.rods[rod], self.model.length
        fitted, rod_end, _ = self.model.fitting(rod, part.ends.index(end))
        if part.joint is not None:
            radius, source = part.joint, f'as "{rod}" says'
        elif rod_end is not None and rod_end.shank is not None:
            engaged = fitted.engaged or 0.0
            radius = max(rod_end.shank - engaged, (rod_end.sphere or 0.0) / 2)
            source = f'"{fitted.rod_end}": shank {shown_length(rod_end.shank, unit)}'
            source += f" less {shown_length(engaged, unit)} engaged" if engaged else ""
        else:
            radius, source = self._usual(end, rod, body_of(end))
        return self._ball(end, self.model.position(end), (radius, source),
                          self._off(end))

    def _pivot(self, name) -> tuple[Ball, ...]:
        body = self.model.bodies[name]
        points = {f"{name}/pivot": (body.centre, 1.0)}
        if body.through is not None:
            points[f"{name}, second point of its axis"] = body.through, 1.0
        for k, (place, at) in enumerate(zip(body.bearings, body.bearing_stations, strict=True)
                                        if body.bearings else ()):
            points[f"{name}, bearing {k + 1}"] = place, _lever(body, at)
        balls = []
        for joint, (place, lever) in points.items():
            size = (body.joint, f'as "{name}" says') if body.joint is not None else \
                self._usual(place, name, body.on)
            balls.append(self._ball(joint, place, size, lever * self._off(f"{name}/pivot")))
        return tuple(balls)

    def _usual(self, place, *parts):
        """Radius where the file gives none, and why."""
        at = self.model.position(place) if isinstance(place, str) else place
        thick = max((radius for part in parts for start, end, radius in self._tubes_of(part)
                     if _beside(at, start, end) <= radius), default=0.0)
        unit = self.model.length
        if thick + ROUND <= BALL:
            return BALL, "usual size"
        return thick + ROUND, (f"usual size: {shown_length(ROUND, unit)} round the tube of "
                               f"{shown_length(2 * thick, unit)}")

    def _tubes_of(self, part):
        if part not in self._tubes:
            shapes = [] if part == AIRFRAME else [
                self._placed(name) for name in self.model.solids if body_of(name) == part]
            self._tubes[part] = [(*ends, shape.diameter / 2) for shape in shapes
                                 if isinstance(shape, (Tube, Pipe))
                                 for ends in zip(shape.along[:-1], shape.along[1:], strict=True)]
        return self._tubes[part]

    def _off(self, point) -> float:
        """How far a joint may be from where it is drawn, mm; each coordinate is off on its own."""
        if self.tolerances is None:
            return 0.0
        return math.sqrt(3) * self.model.point_tolerance(point, self.tolerances)

    @cached_property
    def _grown(self) -> float:
        """How far any solid may have grown, mm."""
        return 0.0 if self.tolerances is None else max(
            self.model.point_tolerance(name, self.tolerances) for name in self.model.points)

    def _ball(self, joint, place, size, off) -> Ball:
        radius, source = size
        return Ball(joint, tuple(map(float, place)), max(radius - off - self._grown, 0.0), source)


def _lever(body, station) -> float:
    """How much farther a place on an axis may be off than the two points that give the axis."""
    if body.through is None:
        return 1.0
    share = station / math.dist(body.pivot, body.through)
    return abs(1 - share) + abs(share)


def _beside(point, start, end) -> float:
    """Distance of a point from a line between two ends, mm."""
    start, way, away = np.array(start), np.subtract(end, start), np.subtract(point, start)
    size = float(way @ way)
    share = min(max(float(away @ way) / size, 0.0), 1.0) if size > 0 else 0.0
    return float(np.linalg.norm(away - share * way))
