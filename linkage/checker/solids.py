"""Solids as convex pieces, and pieces cut smaller.

A piece is the hull of its corners and a radius all round it.  A plate is cut into slabs at every
corner of its outline, and slabs that make a convex piece together are joined.  Arcs become
polygons that lose no material.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from .lengths import EYE, Refused
from .vectors import cross, dot, edges, minus, plus, spans

WITHIN = 0.01  # mm between an arc and the polygon that stands for it
GRID = 2.0**28  # corners of outlines are put on a grid of this many to the mm
LOOSE = 4e-9  # mm that a piece of a prism is grown by, for what was rounded at its corners


@dataclass(frozen=True)
class Line:
    """A tube with round ends, or a ball; of a rod by shares of the way between its ends."""

    ends: tuple
    radius: float

    @property
    def corners(self) -> tuple:
        """Its corners."""
        return self.ends if self.ends[0] != self.ends[1] else self.ends[:1]

    def halves(self) -> tuple:
        """Its two halves."""
        a, b = self.ends
        m = tuple((p + q) / 2 for p, q in zip(a, b, strict=True))
        return Line((a, m), self.radius + LOOSE), Line((m, b), self.radius + LOOSE)

    @property
    def long(self) -> float:
        """Its longest side, mm."""
        return math.dist(*self.ends)


@dataclass(frozen=True)
class Prism:
    """A flat convex outline of some thickness: corners at + x u + y v + z w."""

    outline: tuple
    room: tuple  # least and greatest z
    at: tuple
    axes: tuple
    radius: float = LOOSE

    @cached_property
    def corners(self) -> tuple:
        """Its corners."""
        return tuple(tuple(c + x * u + y * v + z * w for c, u, v, w in
                           zip(self.at, *self.axes, strict=True))
                     for z in self.room for x, y in self.outline)

    def spans(self) -> list:
        """Least and greatest of its coordinates."""
        return [*spans(self.outline), self.room]

    @property
    def long(self) -> float:
        """Its longest side, mm."""
        return max(b - a for a, b in self.spans())

    def halves(self) -> tuple:
        """The two halves across its longest side."""
        spans = self.spans()
        k = max(range(3), key=lambda i: spans[i][1] - spans[i][0])
        middle = sum(spans[k]) / 2
        if k == 2:
            return tuple(replace(self, room=r) for r in ((self.room[0], middle),
                                                         (middle, self.room[1])))
        return tuple(replace(self, outline=clipped(self.outline, k, middle, sense))
                     for sense in (-1, 1))

    def local(self, point: Sequence) -> list[float]:
        """A point in its coordinates."""
        return [dot(minus(point, self.at), axis) for axis in self.axes]


def clipped(outline: Sequence, k: int, middle: float, sense: int) -> tuple:
    """What of a convex outline lies to one side of a line across it."""
    found = []
    for p, q in edges(outline):
        if sense * (p[k] - middle) >= 0:
            found.append(p)
        if (p[k] - middle) * (q[k] - middle) < 0:
            t = (middle - p[k]) / (q[k] - p[k])
            found.append(tuple(middle if i == k else p[i] + t * (q[i] - p[i]) for i in (0, 1)))
    return tuple(found)


def pieces_of(shape: dict, filled: Collection = ()) -> list:
    """Convex pieces of a solid; `filled` are holes taken as full."""
    kind = shape["kind"]
    if kind == "rod":  # 0 and 1 are its ends
        return [Line(((0.0,), (1.0,)), shape["diameter"] / 2)]
    if kind == "sphere":
        return turned(shape, [Line((shape["at"],) * 2, shape["diameter"] / 2)])
    if kind in ("tube", "pipe"):
        return turned(shape, [Line(ends, shape["diameter"] / 2) for ends in
                              zip(shape["along"][:-1], shape["along"][1:], strict=True)])
    return turned(shape, [box_of(shape)] if kind == "box" else flat_pieces(shape, filled))


def box_of(shape: dict) -> Prism:
    """A box between two corners."""
    (a, b), (c, d), room = spans((shape["corner"], shape["opposite"]))
    return Prism(((a, c), (b, c), (b, d), (a, d)), room, (0.0, 0.0, 0.0), EYE)


def flat_pieces(shape: dict, filled: Collection) -> list[Prism]:
    """Convex pieces of a washer or plate."""
    axes, half = plate_axes(shape), shape["thickness"] / 2
    parts = ring(shape, filled) if shape["kind"] == "washer" else flat_parts(
        rounded(shape["outline"], True), [hole_polygon(hole) for i, hole in enumerate(
            holes_of(shape)) if i not in filled])
    return [Prism(tuple(p), (-half, half), shape["at"], axes) for p in parts]


def holes_of(shape: dict) -> list[dict]:
    """Holes of a plate, or the bore of a washer."""
    if shape.get("inside", 0.0) > 0:
        return [{"at": (0.0, 0.0), "diameter": shape["inside"]}]
    return shape.get("holes", [])


def middle_line(hole: dict) -> list:
    """Both ends of the middle line of a hole or slot."""
    return hole["slot"] if "slot" in hole else [hole["at"]] * 2


def plate_axes(shape: dict) -> tuple:
    """Directions u, v and square to a plate."""
    w = shape["normal"]
    if shape["kind"] == "plate":
        u = shape["u"]
    else:
        k = min(range(3), key=lambda i: abs(w[i]))
        u = cross(w, EYE[k])
        size = math.hypot(*u)
        u = tuple(c / size for c in u)
    return u, cross(w, u), w


def turned(shape: dict, pieces: list) -> list:
    """The pieces of a hand's room, turned about its grip by what the grip is clocked."""
    if not shape.get("turned") or not shape["turned"][2]:
        return pieces
    start, axis, degrees = shape["turned"]
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))

    def way(x):
        tilted = plus([k * c for k in x], cross(axis, x), s)
        return plus(tilted, axis, dot(x, axis) * (1 - c))

    def spot(p):
        return plus(start, way(minus(p, start)))

    return [replace(p, ends=tuple(spot(e) for e in p.ends)) if isinstance(p, Line) else
            replace(p, at=spot(p.at), axes=tuple(way(a) for a in p.axes)) for p in pieces]


def steps(turn: float, radius: float, outer: bool) -> int:
    """How many straight pieces stand for an arc."""
    if radius <= WITHIN:
        return max(1, math.ceil(turn / (math.pi / 3)))
    share = radius / (radius + WITHIN) if outer else 1 - WITHIN / radius
    return max(1, math.ceil(turn / (2 * math.acos(share)) - 1e-9))


def arc(middle: Sequence, radius: float, sweep: tuple, outer: bool) -> list:
    """The polygon about an arc, or the one in it, which has its ends."""
    start, turn = sweep
    count = steps(abs(turn), radius, outer)
    if outer:
        radius /= math.cos(turn / count / 2)
    shares = [(k + 0.5) / count for k in range(count)] if outer else \
        [k / count for k in range(count + 1)]
    return [(middle[0] + radius * math.cos(start + turn * k),
             middle[1] + radius * math.sin(start + turn * k)) for k in shares]


def rounded(corners: Sequence, material_inside: bool) -> list:
    """Polygon of an outline, counter-clockwise, that loses no material at its round corners."""
    if sum(p[0] * q[1] - p[1] * q[0] for p, q in edges(corners)) < 0:
        corners = corners[::-1]
    polygon = []
    for k, (x, y, *more) in enumerate(corners):
        before, after = corners[k - 1], corners[(k + 1) % len(corners)]
        a, b = (x - before[0], y - before[1]), (after[0] - x, after[1] - y)
        turn = math.atan2(a[0] * b[1] - a[1] * b[0], a[0] * b[0] + a[1] * b[1])
        radius = more[0] if more else 0.0
        cut = radius * math.tan(abs(turn) / 2)
        if cut < 1e-6:
            polygon.append((x, y))
            continue
        long, sense = math.hypot(*a), math.copysign(1.0, turn)
        way = a[0] / long, a[1] / long
        square = -sense * way[1], sense * way[0]
        middle = x - cut * way[0] + radius * square[0], y - cut * way[1] + radius * square[1]
        polygon += arc(middle, radius, (math.atan2(-square[1], -square[0]), turn),
                       (turn > 0) == material_inside)
    return distinct(polygon)


def distinct(polygon: Sequence) -> list:
    """A polygon without corners that are one with the last."""
    return [p for k, p in enumerate(polygon) if math.dist(p, polygon[k - 1]) > 1e-6]


def hole_polygon(hole: dict) -> list:
    """A hole as a polygon nowhere larger."""
    if "outline" in hole:
        return rounded(hole["outline"], False)
    (a, b), radius = middle_line(hole), hole["diameter"] / 2
    way = math.atan2(b[1] - a[1], b[0] - a[0])
    return distinct([p for m, t in ((b, -math.pi / 2), (a, math.pi / 2))
                     for p in arc(m, radius, (way + t, math.pi), False)])


def ring(shape: dict, filled: Collection) -> list:
    """A washer in convex parts."""
    inside = 0.0 if filled else shape.get("inside", 0.0)
    count = max(steps(2 * math.pi, shape["outside"] / 2, True), 3,
                steps(2 * math.pi, inside / 2, False))
    spokes = [(math.cos(2 * math.pi * k / count), math.sin(2 * math.pi * k / count))
              for k in range(count)]
    reach = shape["outside"] / 2 / math.cos(math.pi / count)
    rim, edge = ([(r * x, r * y) for x, y in spokes] for r in (reach, inside / 2))
    if inside == 0:
        return [rim]
    return [[edge[k - 1], rim[k - 1], rim[k], edge[k]] for k in range(count)]


def flat_parts(outer: Sequence, holes: Sequence) -> list:
    """An outline without its holes, as slabs between its corners, joined while they stay convex."""
    if not holes and convex(outer):
        return [outer]
    loops = [on_grid(loop) for loop in (outer, *holes)]
    sides = [side for loop in loops for side in edges(loop)]
    at = sorted({x for loop in loops for x, _ in loop})
    done, ahead = [], []
    for room in zip(at[:-1], at[1:], strict=True):
        ahead, done = joined(ahead, slabs_of(sides, room), done)
    return [distinct([*below, *above[::-1]]) for below, above in done + ahead]


def on_grid(loop: Sequence) -> list:
    """Corners rounded so that equal ones are the very same."""
    return [(round(x * GRID) / GRID, round(y * GRID) / GRID) for x, y in loop]


def convex(outline: Sequence) -> bool:
    """Whether an outline never turns back."""
    return all(turns(outline[k - 2], outline[k - 1], outline[k]) >= 0 for k in range(len(outline)))


def slabs_of(sides: Sequence, room: tuple) -> list[tuple]:
    """What lies between two corners of an outline next to each other: (below, above) each."""
    low, high = room
    across = sorted(((height(s, low) + height(s, high)) / 2, height(s, low), height(s, high))
                    for s in sides if min(s[0][0], s[1][0]) <= low < high <= max(
                        s[0][0], s[1][0]))
    if len(across) % 2:
        raise Refused("an outline crosses itself")
    return [([(low, a[1]), (high, a[2])], [(low, b[1]), (high, b[2])])
            for a, b in zip(across[::2], across[1::2], strict=True)]


def height(side: tuple, x: float) -> float:
    """Where a side is at x; at its ends just what they are."""
    (a, b), (c, d) = side
    return b if x == a else d if x == c else b + (d - b) * ((x - a) / (c - a))


def joined(ahead: list, slabs: list, done: list) -> tuple[list, list]:
    """Parts that end where slabs begin, made longer by them while they stay convex."""
    found = []
    for below, above in slabs:
        part = next((p for p in ahead if p[0][-1] == below[0] and p[1][-1] == above[0]
                     and turns(*p[0][-2:], below[1]) >= 0 >= turns(*p[1][-2:], above[1])), None)
        if part is None:
            found.append((below, above))
        else:
            ahead.remove(part)
            found.append(([*part[0], below[1]], [*part[1], above[1]]))
    return found, done + ahead


def turns(a: Sequence, b: Sequence, c: Sequence) -> float:
    """Above 0 where the way from a over b to c turns left."""
    return (b[0] - a[0]) * (c[1] - b[1]) - (b[1] - a[1]) * (c[0] - b[0])
