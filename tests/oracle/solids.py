"""Solids as sets of convex hulls that hold no material the true solid hasn't.

Arcs are cut short by less than `CUT`, so that a gap measured here is never below the true one and
at most a little more: what undercuts a bound here undercuts it in truth.
"""

import math
from dataclasses import dataclass

import numpy as np
import shapely

CUT = 0.005  # mm between an arc and the polygon inside it


@dataclass
class Piece:
    """Hull of points (m, 3) at neutral, grown by a radius; `body` carries it, or a rod's ends."""

    points: np.ndarray
    radius: float


def pieces(shape):
    """Convex pieces of a solid as `reading` has it."""
    made = PLAIN[shape["kind"]](shape)
    if "turned" in shape:
        start, axis, angle = shape["turned"]
        made = [Piece(rotated(p.points, start, axis, angle), p.radius) for p in made]
    return made


def rotated(points, start, axis, angle):
    arm = points - start
    along = arm @ axis
    return start + np.cos(angle) * arm + np.sin(angle) * np.cross(axis, arm) + \
        (1 - np.cos(angle)) * along[:, None] * axis


def ball(shape):
    return [Piece(shape["at"][None], shape["diameter"] / 2)]


def chain(shape):
    return [Piece(np.array([a, b]), shape["diameter"] / 2)
            for a, b in zip(shape["along"][:-1], shape["along"][1:], strict=True)]


def box(shape):
    low, high = np.minimum(shape["corner"], shape["opposite"]), np.maximum(shape["corner"],
                                                                           shape["opposite"])
    corners = np.array(np.meshgrid(*zip(low, high, strict=True), indexing="ij")).reshape(3, -1).T
    return [Piece(corners, 0.0)]


def steps_of(radius, angle=2 * math.pi):
    return max(3, math.ceil(angle / (2 * math.acos(max(0.0, 1 - CUT / radius)))))


def circle(radius, about):
    """A polygon in a circle, or about it."""
    count = steps_of(radius)
    turn = 2 * math.pi * np.arange(count) / count
    size = radius / math.cos(math.pi / count) if about else radius
    return size * np.stack([np.cos(turn), np.sin(turn)], axis=1)


def washer(shape):
    normal = shape["normal"]
    u = np.cross(normal, np.roll(np.eye(3)[np.argmax(np.abs(normal))], 1))
    u /= np.linalg.norm(u)
    frame = shape["at"], u, np.cross(normal, u), normal, shape["thickness"]
    outer = circle(shape["outside"] / 2, about=False)
    if shape.get("inside", 0.0) == 0:
        return [slab(outer, frame)]
    count = max(steps_of(shape["outside"] / 2), steps_of(shape["inside"] / 2))
    turn = 2 * math.pi * np.arange(count + 1) / count
    spokes = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    rim = shape["outside"] / 2 * spokes
    edge = shape["inside"] / 2 / math.cos(math.pi / count) * spokes
    return [slab(np.array([edge[k], rim[k], rim[k + 1], edge[k + 1]]), frame)
            for k in range(count)]


def plate(shape):
    normal, u = shape["normal"], shape["u"]
    frame = shape["at"], u, np.cross(normal, u), normal, shape["thickness"]
    area = shapely.Polygon(rounded(shape["outline"]))
    for hole in shape["holes"]:
        area = area.difference(cut_out(hole))
    if not shape["holes"] and abs(shapely.convex_hull(area).area - area.area) < 1e-9:
        return [slab(np.array(area.exterior.coords[:-1]), frame)]
    triangles = shapely.constrained_delaunay_triangles(area).geoms
    assert abs(sum(t.area for t in triangles) - area.area) < 1e-6 * area.area
    return [slab(np.array(t.exterior.coords[:-1]), frame) for t in triangles]


def cut_out(hole):
    """A hole, never smaller than it is."""
    if "outline" in hole:
        return shapely.Polygon(rounded(hole["outline"], hole=True))
    rim = circle(hole["diameter"] / 2, about=True)
    return shapely.convex_hull(shapely.MultiPoint(np.concatenate([e + rim for e in hole["ends"]])))


def slab(polygon, frame):
    at, u, v, normal, thickness = frame
    flat = at + polygon[:, :1] * u + polygon[:, 1:] * v
    return Piece(np.concatenate([flat - normal * thickness / 2, flat + normal * thickness / 2]),
                 0.0)


def rounded(outline, hole=False):
    """Corners of an outline, a third number rounding a corner: arcs from within the material."""
    made, count = [], len(outline)
    corners = np.array([c[:2] for c in outline], dtype=float)
    left = sum(a[0] * b[1] - a[1] * b[0]
               for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)) > 0
    left = left != hole
    for k, corner in enumerate(outline):
        if len(corner) < 3 or corner[2] <= 0:
            made.append(corners[k])
            continue
        made += fillet(corners[k - 1], corners[k], corners[(k + 1) % count], corner[2], left)
    return np.array(made)


def fillet(before, corner, after, radius, left):
    one, other = before - corner, after - corner
    one, other = one / np.linalg.norm(one), other / np.linalg.norm(other)
    half = math.acos(np.clip(one @ other, -1, 1)) / 2
    middle = corner + (one + other) / np.linalg.norm(one + other) * radius / math.sin(half)
    start, end = (corner + way * radius / math.tan(half) - middle for way in (one, other))
    first = math.atan2(start[1], start[0])
    turn = math.atan2(start[0] * end[1] - start[1] * end[0], start @ end)
    outer = (turn > 0) == left
    count = max(2, math.ceil(abs(turn) / (2 * math.acos(max(0.0, 1 - CUT / radius)))))
    if outer:  # a corner that stands out: chords lie inside
        angles, size = first + turn * np.arange(count + 1) / count, radius
    else:  # a corner that goes in: tangents lie inside
        angles = first + turn * (np.arange(count) + 0.5) / count
        size = radius / math.cos(turn / count / 2)
    arc = middle + size * np.stack([np.cos(angles), np.sin(angles)], axis=1)
    return list(arc) if outer else [middle + start, *arc, middle + end]


PLAIN = {"sphere": ball, "tube": chain, "pipe": chain, "box": box, "plate": plate,
         "washer": washer}
