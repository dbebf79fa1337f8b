"""Flat outlines with rounded corners, holes and slots, made into convex polygons.

Arcs become polygons that never lose material: outside the arc where material ends at its outer
side, across it where material ends at its inner side, so that a hole is never larger than true.
Cutting into convex parts needs Shapely 2.1 (constrained Delaunay triangulation).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from ..errors import LinkageError, counted, mm

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

WITHIN = 0.01  # mm between an arc and the polygon that stands for it
LEAST = 1e-3  # mm, size of the least hole
SAME = 1e-6  # mm, below which two corners are one
POLYGON = 3  # shapely's number of that type
STRAIGHT = 1e-10  # mm that a corner may stand out of line and still be left out


def outline_polygon(corners: ArrayLike, tolerance: float = WITHIN) -> np.ndarray:
    """Outside of a flat part as a polygon that loses no material.

    Parameters
    ----------
    corners : sequence
        ``[u, v]`` or ``[u, v, radius]`` each, mm, in order, either way round, closed by itself.
    tolerance : float
        mm that the polygon may stand outside an arc.

    Returns
    -------
    numpy.ndarray
        ``(m, 2)`` mm, counter-clockwise.

    Raises
    ------
    LinkageError
        When the corners make no outline: too few, repeated, crossing, without area, or rounded
        more than their sides allow.

    Examples
    --------
    >>> outline_polygon([[0, 0], [0, 10], [20, 10], [20, 0]]).tolist()
    [[20.0, 0.0], [20.0, 10.0], [0.0, 10.0], [0.0, 0.0]]
    >>> len(outline_polygon([[0, 0, 5], [20, 0], [20, 10], [0, 10]]))
    16
    """
    return _rounded(corners, tolerance, "an outline", material_inside=True)


def hole_polygon(hole: Any, tolerance: float = WITHIN) -> np.ndarray:
    """A hole as a polygon that is nowhere larger than the hole.

    Parameters
    ----------
    hole : dict or sequence
        ``{"at": (u, v), "diameter": d}``, ``{"from": (u, v), "to": (u, v), "width": w}`` for a
        slot with round ends (`from` and `to` are the middles of the ends), or an outline as in
        `outline_polygon`; mm.
    tolerance : float
        mm that the polygon may stand inside an arc.

    Returns
    -------
    numpy.ndarray
        ``(m, 2)`` mm, counter-clockwise.

    Examples
    --------
    >>> polygon = hole_polygon({"at": (3, 4), "diameter": 2})
    >>> bool(np.hypot(*(polygon - [3, 4]).T).max() <= 1.0 + 1e-12)
    True
    """
    if not isinstance(hole, dict):
        return _rounded(hole, tolerance, "a hole's outline", material_inside=False)
    start = _finite(hole["at"] if "at" in hole else hole["from"], "a hole", "at its middle")
    end = start if "at" in hole else _finite(hole["to"], "a slot", "at its end")
    size = float(hole["diameter"] if "at" in hole else hole["width"])
    if not LEAST <= size < math.inf:
        name = "a hole has diameter" if "at" in hole else "a slot has width"
        raise LinkageError(f"{name} {mm(size)}; give more than 0, {mm(LEAST)} or more", size=size)
    return _slot(start, end, size / 2, tolerance)


def convex_parts(outer: ArrayLike, holes: Sequence = (),
                 tolerance: float = WITHIN) -> list[np.ndarray]:
    """A flat part with holes cut into convex polygons.

    Triangles of a constrained Delaunay triangulation, joined across their longest common sides
    first while they stay convex (S. Hertel and K. Mehlhorn, 1983, from memory: at most four
    times as many parts as needed, in practice far fewer).

    Parameters
    ----------
    outer : sequence
        The outline, as in `outline_polygon`.
    holes : sequence
        As in `hole_polygon`.
    tolerance : float
        mm between an arc and the polygon that stands for it.

    Returns
    -------
    list of numpy.ndarray
        ``(m, 2)`` mm each, counter-clockwise; together exactly the outline without the holes.

    Raises
    ------
    LinkageError
        When the outline or a hole is impossible, a hole is not inside the outline, or two holes
        meet.

    Examples
    --------
    >>> len(convex_parts([[0, 0], [30, 0], [30, 20], [0, 20]]))
    1
    >>> len(convex_parts([[0, 0], [30, 0], [30, 10], [10, 10], [10, 20], [0, 20]]))
    2
    """
    outer = outline_polygon(outer, tolerance)
    holes = [hole_polygon(hole, tolerance) for hole in holes]
    _check_holes(outer, holes)
    return _pieced(outer, holes)


def ring(outside: float, inside: float, tolerance: float = WITHIN) -> list[np.ndarray]:
    """A washer about the origin in convex parts: outside never smaller, hole never larger.

    Parameters
    ----------
    outside, inside : float
        Diameters, mm; `inside` 0 makes a plain disc, in one part.
    tolerance : float
        mm between the circles and the polygons that stand for them.

    Returns
    -------
    list of numpy.ndarray
        ``(m, 2)`` mm each, counter-clockwise.

    Examples
    --------
    >>> len(ring(12.0, 0.0)), ring(12.0, 6.4)[0].shape
    (1, (4, 2))
    """
    if not 0 <= inside < outside < math.inf:
        raise LinkageError(f"a washer is {mm(outside)} outside and {mm(inside)} inside; give an "
                           "outside larger than the inside", outside=outside, inside=inside)
    count = max(_pieces(2 * math.pi, outside / 2, tolerance, outer=True),
                _pieces(2 * math.pi, inside / 2, tolerance, outer=False), 3)
    turns = 2 * math.pi * np.arange(count) / count
    spokes = np.stack((np.cos(turns), np.sin(turns)), axis=1)
    rim = outside / 2 / math.cos(math.pi / count) * spokes
    if inside == 0:
        return [rim]
    edge = inside / 2 * spokes
    return list(np.stack((edge, rim, _after(rim), _after(edge)), axis=1))


def _rounded(corners, tolerance, name, material_inside):
    """Polygon of an outline with its corners rounded, counter-clockwise."""
    points, radii = _read(corners, name)
    _check_outline(points, name)
    if _area(points) < 0:
        points, radii = points[::-1], radii[::-1]
    before, after = points - np.roll(points, 1, axis=0), _after(points) - points
    turns = np.arctan2(spanned(before, after), (before * after).sum(axis=1))
    cuts = radii * np.tan(np.abs(turns) / 2)  # what the rounding takes of each side
    _check_radii(points, radii, cuts, name)
    polygon = []
    for point, radius, turn, cut, side in zip(points, radii, turns, cuts, before, strict=True):
        if cut < SAME:
            polygon.append(point[None])
            continue
        way = side / np.hypot(*side)
        square = math.copysign(1.0, turn) * np.array([-way[1], way[0]])
        middle = point - cut * way + radius * square
        start = math.atan2(-square[1], -square[0])
        outer = (turn > 0) == material_inside
        polygon.append(_arc(middle, radius, (start, turn), tolerance, outer))
    polygon = np.concatenate(polygon)
    polygon = polygon[np.hypot(*(polygon - np.roll(polygon, 1, axis=0)).T) > SAME]
    _check_crossing(polygon, f"{name} with its rounded corners")
    return polygon


def _arc(middle, radius, sweep, tolerance, outer):
    """Corners of an arc: of the polygon about it, or of the one in it, which has its ends."""
    start, turn = sweep
    count = _pieces(abs(turn), radius, tolerance, outer)
    if outer:
        angles = start + turn * (np.arange(count) + 0.5) / count
        radius = radius / math.cos(turn / count / 2)
    else:
        angles = start + turn * np.arange(count + 1) / count
    return middle + radius * np.stack((np.cos(angles), np.sin(angles)), axis=1)


def _pieces(turn, radius, tolerance, outer):
    """How many straight pieces stand for an arc within a tolerance."""
    if radius <= tolerance:
        return max(1, math.ceil(turn / (math.pi / 3)))
    share = radius / (radius + tolerance) if outer else 1 - tolerance / radius
    return max(1, math.ceil(turn / (2 * math.acos(share)) - 1e-9))


def _slot(start, end, radius, tolerance):
    """A slot with round ends, or a disc where start and end are one, from inside."""
    way = math.atan2(*(end - start)[::-1])
    ends = [_arc(middle, radius, (way + turn, math.pi), tolerance, outer=False)
            for middle, turn in ((end, -math.pi / 2), (start, math.pi / 2))]
    polygon = np.concatenate(ends)
    return polygon[np.hypot(*(polygon - np.roll(polygon, 1, axis=0)).T) > SAME]


def _read(corners, name):
    rows = [list(corner) for corner in corners]
    if len(rows) < 3:
        raise LinkageError(f"{name} has {counted(len(rows), 'corner')}; give 3 or more",
                           corners=len(rows))
    for row in rows:
        if len(row) not in (2, 3):
            raise LinkageError(f"{name} has a corner of {counted(len(row), 'number')}; give [u, v] "
                               "or [u, v, radius]", corner=row)
        _finite(row, name, "at a corner")
    points = np.array([row[:2] for row in rows], dtype=float)
    radii = np.array([row[2] if len(row) == 3 else 0.0 for row in rows], dtype=float)
    if radii.min() < 0:
        raise LinkageError(f"{name} has a corner radius of {mm(radii.min())}; give {mm(0)} or more",
                           radius=radii.min())
    return points, radii


def _finite(numbers, name, place):
    numbers = np.array(numbers, dtype=float)
    if not np.isfinite(numbers).all():
        raise LinkageError(f"{name} has something that is no number {place}; give a length",
                           numbers=numbers)
    return numbers


def _check_outline(points, name):
    sides = np.hypot(*(_after(points) - points).T)
    if sides.min() < SAME:
        u, v = points[sides.argmin()]
        raise LinkageError(f"{name} has two corners in a row at {mm(u, v)}; leave one out "
                           "(it closes by itself)", corner=(u, v))
    _, thin = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
    if thin < SAME:
        size = np.hypot(*np.ptp(points, axis=0))
        raise LinkageError(f"{name} {mm(size)} long has no area; give corners that are not all "
                           "in line", size=size)
    _check_crossing(points, name)


def _check_crossing(points, name):
    import shapely

    reason = shapely.is_valid_reason(shapely.Polygon(points))
    if reason != "Valid Geometry":
        place = reason[reason.index("[") + 1:-1].split()
        u, v = (float(number) for number in place)
        raise LinkageError(f"{name} crosses or touches itself at {mm(u, v)}; give its "
                           "corners in order round it", crossing=(u, v))


def _check_radii(points, radii, cuts, name):
    sides = np.hypot(*(_after(points) - points).T)
    over = cuts + _after(cuts) - sides
    worst = over.argmax()
    if over[worst] > SAME:
        end = (worst + 1) % len(points)
        corner = worst if cuts[worst] >= cuts[end] else end
        u, v = points[corner]
        raise LinkageError(
            f"{name} has a corner radius of {mm(radii[corner])} at {mm(u, v)} that needs "
            f"{mm(cuts[worst] + cuts[end])} of a side {mm(sides[worst])} long; give a "
            "smaller radius", radius=radii[corner], side=sides[worst])


def _check_holes(outer, holes):
    import shapely

    plate = shapely.Polygon(outer)
    areas = [shapely.Polygon(hole) for hole in holes]
    for place, area in enumerate(areas):
        u, v = _middle(area)
        if not plate.contains_properly(area):
            how = "cuts the edge of" if plate.intersects(area) else "is outside"
            raise LinkageError(f"a hole about {mm(u, v)} {how} its outline; move it in, or "
                               "draw the notch into the outline", middle=(u, v))
        for other in areas[:place]:
            if area.intersects(other):
                raise LinkageError(f"two holes, about {mm(*_middle(other))} and {mm(u, v)}, "
                                   "overlap; draw them as one", middle=(u, v))


def _middle(area):
    return tuple(round(number, 3) + 0.0 for number in (area.centroid.x, area.centroid.y))


def _area(points):
    return float(spanned(points, _after(points)).sum() / 2)


def _pieced(outer, holes):
    """Convex parts of a polygon without those within it."""
    import shapely

    x, y = outer.T.tolist()
    if not holes and all(_bulge(x, y, k - 1, k, (k + 1) % len(x)) > -STRAIGHT
                         for k in range(len(x))):
        return [outer[_trimmed(range(len(x)), x, y)]]
    cut = shapely.constrained_delaunay_triangles(shapely.Polygon(outer, holes))
    points = shapely.get_coordinates(cut).reshape(-1, 4, 2)[:, :3]  # each closed by its first
    clockwise = spanned(points[:, 1] - points[:, 0], points[:, 2] - points[:, 0]) < 0
    points[clockwise] = points[clockwise, ::-1]
    corners, triangles = np.unique(points.reshape(-1, 2), axis=0, return_inverse=True)
    x, y = corners.T.tolist()
    return [corners[_trimmed(loop, x, y)] for loop in _joined(triangles.reshape(-1), corners)]


def _joined(start, corners):
    """Loops of corners, joined across common sides, longest first, while they stay convex.

    Sides are numbered as they stand in `start`, the corners that they start from, three to a
    triangle. Joining changes the turn at the two ends of a side only.
    """
    common = _common_sides(start, corners)
    x, y = corners.T.tolist()
    place = np.arange(len(start))
    start, after = start.tolist(), (place + np.where(place % 3 == 2, -2, 1)).tolist()
    before = (place + np.where(place % 3 == 0, 2, -1)).tolist()
    for there, back in common:
        into, out = (before[there], before[back]), (after[back], after[there])
        if all(_bulge(x, y, start[i], start[o], start[after[o]]) > -STRAIGHT
               for i, o in zip(into, out, strict=True)):
            for i, o in zip(into, out, strict=True):
                after[i], before[o] = o, i
            after[there] = after[back] = -1
    loops = []
    for first in range(len(start)):
        loop, side = [], first
        while after[side] >= 0:
            loop.append(start[side])
            after[side], side = -1, after[side]
        if loop:
            loops.append(loop)
    return loops


def _common_sides(start, corners):
    """Pairs of sides that two triangles share, the longest first."""
    end = _after(start.reshape(-1, 3).T).T.reshape(-1)
    key, back = start * len(corners) + end, end * len(corners) + start
    order = np.argsort(key)
    partner = order[np.searchsorted(key[order], back).clip(max=len(key) - 1)]
    first = np.flatnonzero((key[partner] == back) & (partner[partner] == np.arange(len(key)))
                           & (start < end))
    longest = first[np.argsort(-np.hypot(*(corners[start] - corners[end])[first].T), kind="stable")]
    return zip(longest.tolist(), partner[longest].tolist(), strict=True)


def _after(rows):
    """Each row's next, the first after the last."""
    return np.concatenate((rows[1:], rows[:1]))


def spanned(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Area of the parallelogram that two plane vectors span, ``(..., 2)`` each; left positive."""
    return one[..., 0] * other[..., 1] - one[..., 1] * other[..., 0]


def _bulge(x, y, before, place, after):
    """How far a corner stands out of the line of two others, mm; inwards is negative."""
    run, rise = x[after] - x[before], y[after] - y[before]
    out = rise * (x[place] - x[before]) - run * (y[place] - y[before])
    return out / math.hypot(run, rise) if run or rise else -math.inf


def _trimmed(loop, x, y):
    """The loop without corners that are in line."""
    loop = list(loop)
    place = 0
    while place < len(loop) and len(loop) > 3:
        near = loop[place - 1], loop[place], loop[(place + 1) % len(loop)]
        if abs(_bulge(x, y, *near)) < STRAIGHT:
            loop.pop(place)
        else:
            place += 1
    return loop


def off_outline(outline: np.ndarray, spot: ArrayLike) -> float:
    """How far a place [u, v] is from what an outline (n, 2) encloses, mm; 0 within.

    Examples
    --------
    >>> square = np.array([[0, 0], [2, 0], [2, 2], [0, 2.0]])
    >>> off_outline(square, [1, 1]), off_outline(square, [3, 1])
    (0.0, 1.0)
    """
    import shapely

    return float(shapely.Polygon(outline).distance(shapely.Point(spot)))


def bored(loops: Sequence[np.ndarray], bores: Sequence) -> tuple:
    """A flat part for `cuts_across`: what its outline encloses, and what holes take of it.

    Parameters
    ----------
    loops : sequence of ndarray (n, 2)
        Its outline, then its holes.
    bores : sequence of (u, v, radius)
        Further round holes.
    """
    import shapely

    return shapely.Polygon(loops[0]), shapely.union_all(
        [shapely.Polygon(loop) for loop in loops[1:]] + [
            shapely.Point(u, v).buffer(radius, quad_segs=32) for u, v, radius in bores])


def cuts_across(part: tuple, lines: tuple[np.ndarray, np.ndarray], spots: np.ndarray
                ) -> tuple[list[np.ndarray], np.ndarray]:
    """What straight cuts through a flat part leave, each on the side of the first spot.

    Parameters
    ----------
    part : tuple
        As `bored` gives it.
    lines : (ndarray (n, 2), ndarray (n, 2))
        A point of each cut, and the unit normal of it towards the first spot.
    spots : ndarray (m, 2)

    Returns
    -------
    (list of n ndarray (k, 2), ndarray (n, m) of bool)
        Material on each cut as stretches along it, mm from its point to the left of the normal;
        which spots hang on that side of it by it alone.

    Examples
    --------
    >>> bar = np.array([[0, -5], [100, -5], [100, 5], [0, 5.0]])
    >>> cut = (np.array([[50.0, 0.0]]), np.array([[1.0, 0.0]]))
    >>> spots = np.array([[90.0, 0.0], [10.0, 0.0]])
    >>> cuts_across(bored([bar], [(50, 0, 2)]), cut, spots)[0][0].round(6)
    array([[-5., -2.],
           [ 2.,  5.]])
    """
    import shapely

    (whole, gone), (points, normals) = part, lines
    along = np.stack([-normals[:, 1], normals[:, 0]], axis=-1)
    corners = shapely.get_coordinates(whole)
    far = 10 * float(np.ptp(corners, axis=0).max()
                     + max(np.abs(corners - point).max() for point in points))
    ends = points - far * along, points + far * along
    halves = shapely.polygons(np.stack([*ends, ends[1] + far * normals, ends[0] + far * normals],
                                       axis=1))
    sides, of = shapely.get_parts(shapely.intersection(whole, halves), return_index=True)
    kept = shapely.get_type_id(sides) == POLYGON
    sides, of = sides[kept], of[kept]
    order = np.lexsort([shapely.distance(sides, shapely.Point(spots[0])), of])
    cut, first = np.unique(of[order], return_index=True)  # the nearest piece beyond each cut
    mine = sides[order][first]
    held = np.zeros((len(points), len(spots)), bool)
    held[cut] = shapely.distance(mine[:, None], shapely.points(spots)) < SAME
    bands = shapely.buffer(shapely.linestrings(np.stack(ends, axis=1)[cut]), STRAIGHT * far)
    edges = shapely.difference(shapely.intersection(shapely.boundary(mine), bands), gone)
    pieces, at = shapely.get_parts(edges, return_index=True)
    real = shapely.length(pieces) > SAME
    stretches = [[] for _ in points]
    for piece, k in zip(pieces[real], cut[at[real]], strict=True):
        reach = (shapely.get_coordinates(piece) - points[k]) @ along[k]
        if np.ptp(reach) > SAME:
            stretches[k].append((reach.min(), reach.max()))
    return [np.array(sorted(each)).reshape(-1, 2) for each in stretches], held
