"""A cut of many short straight pieces as arcs and lines that a router follows, never short of it.

The fitted line lies between the cut and `BAND` beyond it into the material that stays, so that
never less is taken away than was proven; the clearance is proven again with it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely

from ..geometry.outlines import spanned

BAND = 0.024  # mm
KEEP = 5e-4  # mm of the band left free on either side, for the rounding of what is written
FEWEST = 3  # straight pieces that an arc takes the place of, at least
TURNS = tuple(math.radians(turn) for turn in (90.0, 40.0, 15.0))  # most of one arc, tried in turn
TRIALS = 25  # radii tried for an arc
SAMPLE = 0.3  # mm between places of an arc that are held against the cut
ON_EDGE = 1e-3  # mm from the old edge within which a side is one of it


def fitted(left: shapely.Polygon, whole: shapely.Geometry, ring: Sequence) -> list[tuple]:
    """Corners ``(u, v)`` or ``(u, v, radius)`` of a ring of what stays, its new edges as arcs.

    Parameters
    ----------
    left : shapely Polygon
        The material that stays, mm.
    whole : shapely geometry
        The material as it was: sides on its boundary stay as they are.
    ring : shapely LinearRing
        The outline of `left` or one of its holes.

    Returns
    -------
    list of tuple
        Counter-clockwise.  Within `BAND` of the ring, on the side of the material.
    """
    places = shapely.get_coordinates(shapely.Polygon(ring).normalize().exterior)[:-1]
    outer = bool(left.exterior.equals(ring))
    if shapely.Polygon(places).exterior.is_ccw != outer:
        places = places[::-1]  # the material stands at the left of every side
    is_new = _new_sides(places, whole)
    rows = [tuple(place) for place in places.tolist()]
    shapely.prepare(left)
    for most in TURNS if is_new.any() else ():
        tried = _rows(places, is_new, (left, most))
        if shapely.Polygon([row[:2] for row in tried]).is_valid:
            rows = tried  # the corners of its tangents cross nothing, as a file has to write it
            break
    return rows if outer else rows[::-1]


def _new_sides(places, whole):
    """Whether the side that begins at each place is a new edge."""
    middles = (places + np.roll(places, -1, axis=0)) / 2
    return shapely.distance(whole.boundary, shapely.points(middles)) > ON_EDGE


def _rows(places, is_new, room) -> list[tuple]:
    if is_new.all():
        start = _sharpest(places)
    else:
        start = int(np.flatnonzero(is_new & ~np.roll(is_new, 1))[0])
    places, is_new = np.roll(places, -start, axis=0), np.roll(is_new, -start)
    rows, k, count = [], 0, len(places)
    while k < count:
        if not is_new[k]:
            rows.append(tuple(places[k].tolist()))
            k += 1
            continue
        end = next((n for n in range(k, count) if not is_new[n]), count)
        chain = np.concatenate([places[k:end], places[end % count][None]])
        rows += _chain_rows(chain, room)
        k = end
    return rows


def _sharpest(places) -> int:
    before, after = places - np.roll(places, 1, axis=0), np.roll(places, -1, axis=0) - places
    turn = np.abs(np.arctan2(spanned(before, after), (before * after).sum(axis=1)))
    return int(turn.argmax())


def _chain_rows(chain, room) -> list[tuple]:
    """Rows of a chain of new sides, without its last place."""
    nodes = _shifted(chain)
    rows, k, last = [], 0, len(chain) - 1
    while k < last:
        end, bulge = _longest(chain, nodes, k, room)
        rows.append(tuple(nodes[k].tolist()))
        if bulge:
            rows.append(_corner(nodes[k], nodes[end], bulge))
        k = end
    return rows


def _shifted(chain):
    """The places of a chain moved half the band into the material, its ends left alone."""
    ways = np.diff(chain, axis=0)
    ways = ways / np.hypot(*ways.T)[:, None]
    normals = np.stack([-ways[:, 1], ways[:, 0]], axis=1)
    turned = normals[:-1] + normals[1:]
    size = np.maximum((turned**2).sum(axis=1), 0.5)[:, None]
    nodes = chain.copy()
    nodes[1:-1] += BAND / 2 * 2 * turned / size
    nodes[1:-1] = np.where(np.hypot(*(nodes - chain)[1:-1].T)[:, None] < 0.9 * BAND, nodes[1:-1],
                           chain[1:-1])
    return nodes


def _longest(chain, nodes, start, room) -> tuple[int, float]:
    """The farthest node that one arc or line reaches from a node, and its bulge."""
    last = len(chain) - 1
    best = (start + 1, 0.0)
    good, step = start + 1, FEWEST
    while good < last:
        end = min(last, start + step)
        bulge = _bulge_of(chain, nodes, (start, end), room)
        if bulge is None:
            break
        good, best, step = end, (end, bulge), step * 2
    low, high = good, min(last + 1, start + step)
    while high - low > 1:
        middle = (low + high) // 2
        bulge = _bulge_of(chain, nodes, (start, middle), room)
        if bulge is None:
            high = middle
        else:
            low, best = middle, (middle, bulge)
    return best


def _bulge_of(chain, nodes, ends, room) -> float | None:
    """Bulge of the arc between two nodes that stays within the band, None where there is none."""
    (start, end), (left, most) = ends, room
    if end - start < 2:
        return 0.0
    one, other = nodes[start], nodes[end]
    chord = other - one
    size = math.hypot(*chord)
    if size < 1e-6:
        return None
    way = chord / size
    inner = nodes[start + 1:end] - one
    tried = _bulges_about(inner, way, size)
    tried = tried[np.abs(4 * np.arctan(tried)) < most]
    if not tried.size:
        return None
    worst = [_off_arc(inner, one, (way, size), bulge) for bulge in tried]
    bulge = float(tried[int(np.argmin(worst))])
    if min(worst) > BAND / 2:
        return None
    bulge = 0.0 if abs(bulge) * size / 2 < 1e-4 else bulge
    return bulge if _within(chain[start:end + 1], (one, other), bulge, left) else None


def _bulges_about(inner, way, size) -> np.ndarray:
    """Bulges to try of an arc over a chord by the places between; none where one is beyond it."""
    along, off = inner @ way, way[0] * inner[:, 1] - way[1] * inner[:, 0]
    if (along <= 0).any() or (along >= size).any():
        return np.zeros(0)
    middle = np.abs(along - size / 2) < 0.35 * size
    if not middle.any():
        middle[np.argmin(np.abs(along - size / 2))] = True
    # the angle under which the chord is seen from a place of the arc gives its bulge
    seen = np.arctan2(size * off[middle], along[middle] * (along[middle] - size) + off[middle]**2)
    bulges = -np.tan((np.pi - np.abs(seen)) / 2) * np.sign(off[middle])
    return np.linspace(bulges.min(), bulges.max(), TRIALS)


def _off_arc(inner, one, chord, bulge) -> float:
    """How far the places between are from an arc, mm."""
    (way, size), normal = chord, np.array([-chord[0][1], chord[0][0]])
    if abs(bulge) < 1e-9:
        return float(np.abs(inner @ normal).max())
    radius = size * (1 + bulge**2) / (4 * abs(bulge))
    middle = way * size / 2 + normal * (1 - bulge**2) / (4 * bulge) * size
    return float(np.abs(np.hypot(*(inner - middle).T) - radius).max())


def arc_places(one: np.ndarray, other: np.ndarray, bulge: float, step: float = SAMPLE
               ) -> np.ndarray:
    """Places along an arc or line, its ends left out: ``(n, 2)``."""
    chord = other - one
    size = math.hypot(*chord)
    turn = 4 * math.atan(bulge)
    length = size if abs(turn) < 1e-9 else size / 2 / math.sin(abs(turn) / 2) * abs(turn)
    share = np.linspace(0, 1, max(8, int(length / step)) + 1)[1:-1]
    if abs(turn) < 1e-9:
        return one + share[:, None] * chord
    normal = np.array([-chord[1], chord[0]])
    middle = (one + other) / 2 + normal * (1 - bulge**2) / (4 * bulge)
    angle = math.atan2(*(one - middle)[::-1]) + share * turn
    return middle + math.hypot(*(one - middle)) * np.stack([np.cos(angle), np.sin(angle)], axis=1)


def _within(chain, ends, bulge, left) -> bool:
    """Whether an arc lies on the material's side of the cut all along, and no farther than that."""
    places = arc_places(*ends, bulge)
    points = shapely.points(places)
    line = shapely.LineString(chain)
    away = shapely.distance(line, points)
    if away.max() > BAND - KEEP:
        return False
    return bool(shapely.contains_xy(left, *places.T).all())


def _corner(one, other, bulge) -> tuple:
    """The corner that an arc rounds off: where its end tangents meet, and its radius."""
    chord = other - one
    turn = 4 * math.atan(bulge)
    normal = np.array([chord[1], -chord[0]])
    place = (one + other) / 2 + normal * math.tan(turn / 2) / 2
    return (*place.tolist(), math.hypot(*chord) / 2 / math.sin(abs(turn) / 2))


def roundings(corners: Sequence, polygon: np.ndarray) -> list[tuple]:
    """Rounded corners of an outline, each with the places of its polygon that stand for it."""
    held, points = [], shapely.points(polygon)
    spots = [np.array(corner[:2], dtype=float) for corner in corners]
    for k, corner in enumerate(corners):
        if len(corner) < 3 or not corner[2]:
            continue
        ways = [spots[k - 1] - spots[k], spots[(k + 1) % len(spots)] - spots[k]]
        ways = [way / np.hypot(*way) for way in ways]
        half = math.acos(float(np.clip(ways[0] @ ways[1], -1, 1))) / 2
        about = [spots[k] + corner[2] / math.tan(half) * way for way in ways]
        room = shapely.Polygon([about[0], spots[k], about[1]]).buffer(1e-6)
        held.append((tuple(corner), polygon[shapely.covers(room, points)]))
    return held


def kept_roundings(rows: list[tuple], known: Sequence[tuple]) -> list[tuple]:
    """Put rounded corners of the plate as it was back where all of their places are still there.

    Parameters
    ----------
    rows : list of tuple
        As `fitted` gives them.
    known : sequence of (tuple, ndarray)
        As `roundings` gives them of the old outlines.

    Returns
    -------
    list of tuple
    """
    rows = list(rows)
    for corner, places in known:
        held = _rows_at(rows, places)
        if held:
            first = next(k for k in held if (k - 1) % len(rows) not in held)
            rows = [tuple(corner) if k == first else row for k, row in enumerate(rows)
                    if k == first or k not in held]
    return rows


def _rows_at(rows, places) -> list[int]:
    """Which rows are the places of a rounding; none where one is gone or an arc took its place."""
    spots = np.array([row[:2] for row in rows])
    away = np.hypot(*(spots[None] - places[:, None]).transpose(2, 0, 1))
    nearest = away.argmin(axis=1).tolist()
    gone = len(places) < 2 or away.min(axis=1).max() > ON_EDGE
    return [] if gone or any(len(rows[k]) == 3 for k in nearest) else nearest


