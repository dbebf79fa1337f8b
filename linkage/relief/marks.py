"""Where on a part a place lies, as a person with a rule finds it: from edges, holes, ends."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import shapely

from ..geometry.outlines import spanned
from ..model import AIRFRAME, Box, Plate, Sphere, SurfaceShape, Washer
from ..model.shapes import SIDES
from ..motion import Motion, body_of
from ..units import shown_length
from .flat import Flat, flat_of

ON = 0.05  # mm from an edge within which a place lies on it
LEAN = 0.5  # sine of the least angle between two edges that a place is measured from
NEARLY = 0.996  # cosine within which a direction is called by a station's word


@dataclass(frozen=True, eq=False)
class Mark:
    """A place on a part.

    Attributes
    ----------
    solid : str
    stations : ndarray (3,)
        Of the place with the system at neutral, mm.
    side : str
        Which side of the part, or how it is seen.
    seen : str
        What the figure below is: the part's own plane.
    distances : tuple of (str, float)
        From what, and mm.
    rings : tuple of ndarray (n, 2)
        The part in its own plane, mm.
    at : tuple of float
        The place there, mm.
    feet : tuple of (float, float)
        Where each distance is measured from, there.
    """

    solid: str
    stations: np.ndarray
    side: str
    seen: str
    distances: tuple
    rings: tuple
    at: tuple
    feet: tuple = field(default=())

    def said(self, unit: str) -> str:
        """The distances in words."""
        return "; ".join(f"{shown_length(mm, unit)} from {what}" for what, mm in self.distances)


def mark_on(motion: Motion, name: str, spot: np.ndarray) -> Mark:
    """Where a place lies on a solid, from two of its edges, holes or ends.

    Parameters
    ----------
    motion : Motion
        At one stick position.
    name : str
        ``"part/solid"``, or a rod's tube.
    spot : ndarray (3,)
        Stations of the place at that position, mm.

    Returns
    -------
    Mark
    """
    model, part = motion.system.model, body_of(name)
    if part in model.rods:
        return _on_rod(motion, name, np.asarray(spot, dtype=float))
    place = at_neutral(motion, part, spot)
    shape = model.solids[name]
    if isinstance(shape, Plate | Washer):
        return _on_flat(flat_of(model, name), place)
    if isinstance(shape, Box):
        return _on_box(name, shape, place)
    if isinstance(shape, Sphere):
        middle = _where(model, part, shape.at)
        return Mark(name, place, way_words(place - middle), "a ball: no edge to measure from", (),
                    (middle[:2] + _circle(shape.diameter / 2),), tuple(place[:2]))
    if isinstance(shape, SurfaceShape):
        return _on_surface(name, shape, place)
    return _on_tubing(name, shape, [_where(model, part, end) for end in shape.along], place)


def at_neutral(motion: Motion, body: str, spot: np.ndarray) -> np.ndarray:
    """A place of a body at one stick position, where it is at neutral; stations, mm."""
    p = tuple(np.asarray(spot, dtype=float))
    if body != AIRFRAME:
        for joint, outward in motion.system.plan.route(AIRFRAME, body):
            p = motion.posture.crossed(p, joint, outward)
    return np.array([float(np.ravel(k)[0]) for k in p])


def way_words(way: np.ndarray) -> str:
    """A direction in words: "aft", or "aft and up" where it lies between.

    Examples
    --------
    >>> way_words(np.array([2.0, 0.0, 0.0])), way_words(np.array([1.0, -1.0, 0.0]))
    ('aft', 'left and aft')
    """
    size = np.linalg.norm(way)
    if size < 1e-9:
        return ""
    shares = {word: float(np.dot(way, side)) / size for word, side in SIDES.items()}
    best = max(shares, key=shares.get)
    if shares[best] > NEARLY:
        return best
    return " and ".join(word for word, share in shares.items() if share > 0.26)


def _side_words(way) -> str:
    """The same of an edge or face that looks that way: "upper" for up."""
    return way_words(way).replace("up", "upper").replace("down", "lower")


def _where(model, part, at):
    if isinstance(at, str):
        at = model.position(at if "/" in at else f"{part}/{at}")
    return np.asarray(at, dtype=float)


def _circle(radius):
    turns = np.linspace(0, 2 * np.pi, 49)
    return radius * np.stack([np.cos(turns), np.sin(turns)], axis=1)


def _on_rod(motion, name, spot):
    model = motion.system.model
    rod = model.rods[body_of(name)]
    ends = [motion.point(end) for end in rod.ends]
    (start, along), radius = _line(*ends, spot), (rod.diameter or 0.0) / 2
    length = float(np.linalg.norm(ends[1] - ends[0]))
    neutral = [np.asarray(model.position(end)) for end in rod.ends]
    place = neutral[0] + along / length * (neutral[1] - neutral[0])
    return Mark(name, place, way_words(spot - start), "along the rod; it may turn about its line",
                ((f"the ball's middle at {rod.ends[0]}, along the rod", along),
                 (f"the ball's middle at {rod.ends[1]}", length - along)),
                _bar(length, radius), (along, radius), ((0.0, 0.0), (length, 0.0)))


def _line(first, second, spot):
    way = (second - first) / np.linalg.norm(second - first)
    along = float(np.dot(spot - first, way))
    return first + along * way, along


def _bar(length, radius):
    return (np.array([(0, -radius), (length, -radius), (length, radius), (0, radius),
                      (0, -radius)]),)


def _on_tubing(name, shape, points, place):
    """From both ends of the straight length that it lies on."""
    lengths = list(zip(points[:-1], points[1:], strict=True))

    def away(ends):
        start, along = _line(*ends, place)
        over = max(-along, along - np.linalg.norm(ends[1] - ends[0]), 0.0)
        return np.hypot(np.linalg.norm(place - start), over)

    number = int(np.argmin([away(ends) for ends in lengths]))
    first, second = lengths[number]
    foot, along = _line(first, second, place)
    length = float(np.linalg.norm(second - first))
    last = number == len(lengths) - 1
    words = ("its first end" if number == 0 else f"bend {number}",
             "its last end" if last else f"bend {number + 1}")
    return Mark(name, place, way_words(place - foot), "along its straight length",
                ((f"{words[0]}, along its line", along), (words[1], length - along)),
                _bar(length, shape.diameter / 2), (along, shape.diameter / 2),
                ((0.0, 0.0), (length, 0.0)))


def _on_box(name, shape, place):
    ends = np.sort(np.array([shape.corner, shape.opposite], dtype=float), axis=0)
    away = np.abs(place - ends)
    faced = int(np.argmin(away.min(axis=0)))
    across = [k for k in range(3) if k != faced]
    words = (("forward", "aft"), ("left", "right"), ("lower", "upper"))
    nearer = {k: int(np.argmin(away[:, k])) for k in across}
    low, high = ends[:, across]
    rings = (np.array([low, (high[0], low[1]), high, (low[0], high[1]), low]),)
    at = place[across]
    feet = ((ends[nearer[across[0]], across[0]], at[1]), (at[0], ends[nearer[across[1]],
                                                                   across[1]]))
    side = f"its {words[faced][int(np.argmin(away[:, faced]))]} face"
    return Mark(name, place, side, f"{side}, by stations",
                tuple((f"its {words[k][nearer[k]]} face", float(away[nearer[k], k]))
                      for k in across), rings, tuple(at), feet)


def _on_surface(name, shape, place):
    """By stations alone, drawn by its triangles as seen along the station that shows most."""
    corners = shape.drawn()[0]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    along = int(np.abs(normals).sum(axis=0).argmax())
    across = [k for k in range(3) if k != along]
    faces = shapely.polygons(corners[:, :, across])
    shadow = shapely.union_all(faces[shapely.area(faces) > 1e-3], grid_size=1e-3)
    rings = tuple(shapely.get_coordinates(ring) for part in shapely.get_parts(shadow)
                  for ring in (part.exterior, *part.interiors))
    seen = ("ahead", "the left", "above")[along]
    return Mark(name, place, "its surface", f"seen from {seen}: no edge to measure from", (), rings,
                tuple(place[across].tolist()))


def _on_flat(flat: Flat, place) -> Mark:
    u, v, w = flat.axes @ (place - flat.origin)
    at = np.array([u, v])
    rings = tuple(np.concatenate([c.drawn(), c.drawn()[:1]]) for c in (flat.outside, *flat.inside))
    chosen = _two_beside(flat, at)
    side = "its edge" if abs(w) < 0.4 * flat.thickness else \
        f"its {_side_words(flat.axes[2] * np.sign(w))} face"
    facing = _side_words(flat.axes[2])
    return Mark(flat.name, place, side, f"seen with its {facing} face toward you",
                tuple((words, float(mm)) for words, mm, *_ in chosen), rings, tuple(at.tolist()),
                tuple(tuple(np.asarray(foot).tolist()) for _, _, foot, *_ in chosen))


def _two_beside(flat, at) -> list[tuple]:
    """The two nearest edges that lean to each other, and the nearest holes where these lack."""
    chosen = []
    for edge in sorted(_edges(flat, at), key=lambda edge: edge[1]):
        if len(chosen) < 2 and edge[1] > ON and all(
                abs(spanned(edge[3], other[3])) > LEAN for other in chosen):
            chosen.append(edge)
    return chosen + sorted(_holes(flat, at), key=lambda hole: hole[1])[:2 - len(chosen)]


def _edges(flat, at):
    """Straight outer edges beside a place: words, distance, foot, direction."""
    points = flat.outside.points
    for (x1, y1, bulge), (x2, y2, _) in zip(points, (*points[1:], points[0]), strict=True):
        start, run = np.array([x1, y1]), np.array([x2 - x1, y2 - y1])
        length = math.hypot(*run)
        if bulge or length < 2.0:
            continue
        way = run / length
        along = float(np.clip((at - start) @ way, 0.0, length))
        off = float(spanned(way, at - start))
        foot = start + ((at - start) @ way) * way
        outward = np.array([way[1], -way[0]])
        beyond = abs((at - start) @ way - along)
        if beyond < 0.25 * length + 5.0:
            yield (f"its {_side_words(outward @ flat.axes[:2])} edge", abs(off), foot, way)


def _holes(flat, at):
    for hole in flat.inside:
        for middle in hole.centres[:1]:
            place = flat.origin + np.array(middle) @ flat.axes[:2]
            words = ", ".join(f"{word} {k:.1f} mm" for word, k in zip(("FS", "BL", "WL"), place,
                                                                     strict=True))
            yield (f"the middle of the hole at {words}", math.dist(middle, at), middle,
                   np.subtract(at, middle))


def outline_after(flat: Flat, left: shapely.Geometry) -> tuple[np.ndarray, ...]:
    """New edges of a relieved plate alone, in its own plane: ``[(n, 2)]``, mm."""
    lines = left.boundary.difference(flat.material.boundary.buffer(0.02))
    lines = shapely.line_merge(lines) if lines.geom_type == "MultiLineString" else lines
    return tuple(shapely.get_coordinates(line) for line in shapely.get_parts(lines)
                 if line.length > 0.1)
