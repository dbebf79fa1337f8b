"""What of a convex piece lies outside some balls: tubes are cut, prisms halved."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from .outlines import spanned
from .pieces import FLAT_WITHIN, Piece, _prism_sides, prism, tube

SIDES = 16  # of the prism that holds a tube's cut end: 2 % wider than the tube
ROUNDING = 1e-9  # mm by which a part has to lie inside a ball to count as inside


def outside_balls(piece: Piece, balls: Sequence, smallest: float) -> tuple[Piece, ...]:
    """Pieces that hold all of a piece that lies outside some balls.

    Parameters
    ----------
    piece : Piece
        A ball, a tube, or a right prism as `prism` and `prisms` make it.
    balls : sequence of (array_like (3,), float)
        Centre and radius of each, mm.
    smallest : float
        A part of a prism whose sides are all this short or shorter is halved no further, mm.

    Returns
    -------
    tuple of Piece
        The piece itself where no part of it lies wholly in one ball.  A tube is cut flat where its
        slices begin to lie in a ball; a prism of `SIDES` sides holds it there, as a tube has round
        ends.  A prism is halved across its longest side, and halves wholly in one ball are left
        out.

    Examples
    --------
    >>> bar = tube([0, 0, 0], [100, 0, 0], 3.0)
    >>> rest, end = outside_balls(bar, [((0, 0, 0), 5.0)], 1.0)
    >>> rest.points[:, 0].round(6).tolist(), np.unique(end.points[:, 0].round(6)).tolist()
    ([7.0, 100.0], [4.0, 7.0])
    """
    if len(piece.points) == 1:
        inside = any(math.dist(piece.points[0], centre) + piece.radius <= radius - ROUNDING
                     for centre, radius in balls)
        return () if inside else (piece,)
    if len(piece.points) == 2:
        return _outside_tube(piece, balls)
    return _outside_prism(piece, balls, smallest)


def kept_spans(length: float, radius: float, balls: Sequence) -> list[tuple[float, float]]:
    """Lengths of a tube's axis whose slices do not lie wholly in one ball.

    Parameters
    ----------
    length, radius : float
        Of the tube, mm; its ends are half-balls.
    balls : sequence of (float, float, float)
        Of each: how far its centre is along the axis and beside it, and its radius, mm.

    Returns
    -------
    list of (float, float)
        Start and stop, mm along the axis; a half-ball left alone is a span of no length.

    Examples
    --------
    >>> [[round(k, 6) for k in span] for span in kept_spans(100.0, 3.0, [(50.0, 0.0, 5.0)])]
    [[0.0, 46.0], [54.0, 100.0]]
    """
    spans = [(0.0, length)]
    for along, aside, reach in balls:
        square = (reach - ROUNDING)**2 - (aside + radius)**2
        if reach > ROUNDING and square >= 0:
            spans = _without(spans, along - math.sqrt(square), along + math.sqrt(square))
    ends = [end for end, sense in ((0.0, 1.0), (length, -1.0))
            if not any(_end_inside(sense * (along - end), aside, radius, reach - ROUNDING)
                       for along, aside, reach in balls)]
    return spans + [(end, end) for end in ends if not any(end in span for span in spans)]


def _without(spans, low, high) -> list:
    """Spans less what lies between two places."""
    return [part for start, stop in spans
            for part in ((start, min(stop, low)), (max(start, high), stop))
            if part[1] > part[0]]


def _end_inside(inward, aside, radius, reach) -> bool:
    """Whether a tube's half-ball end is in a ball whose centre is so far inward and beside."""
    if inward >= 0:
        return math.hypot(inward, aside) + radius <= reach
    return reach > 0 and inward**2 + (aside + radius)**2 <= reach**2


def _outside_tube(piece, balls):
    start, end = piece.points
    length = float(math.dist(start, end))
    way = (end - start) / length if length > 0 else np.zeros(3)
    placed = []
    for centre, radius in balls:
        away = np.asarray(centre, dtype=float) - start
        along = float(away @ way)
        placed.append((along, float(np.linalg.norm(away - along * way)), radius))
    spans = kept_spans(length, piece.radius, placed)
    if spans == [(0.0, length)]:
        return (piece,)
    return tuple(part for span in spans
                 for part in _stretch(start, way, piece.radius, length, span))


def _stretch(start, way, radius, length, span) -> list:
    """What is left of a tube between two places along it, its cut ends flat."""
    a, b = span
    # a round end reaches farther by the radius, so that the tube ends that much earlier
    low = a if a == 0 else min(a + radius, b)
    high = b if b == length else max(b - radius, a)
    whole = low <= high
    ends = [(a, low), (high, b)] if whole else [(a, b)]
    return ([tube(start + low * way, start + high * way, radius)] if whole else []) + [
        _slab(start + x * way, (y - x) * way, radius) for x, y in ends if y - x > FLAT_WITHIN]


def _slab(start, along, radius):
    """A prism that holds a slice of a tube."""
    way = along / np.linalg.norm(along)
    u = np.cross(way, np.eye(3)[np.abs(way).round(9).argmin()])
    u *= radius / math.cos(math.pi / SIDES) / np.linalg.norm(u)
    turn = 2 * math.pi * np.arange(SIDES) / SIDES
    return prism(start + np.outer(np.cos(turn), u) + np.outer(np.sin(turn), np.cross(way, u)),
                 along)


def _outside_prism(piece, balls, smallest):
    corners = len(piece.points) // 2
    base, rise = piece.points[:corners], piece.points[corners] - piece.points[0]
    height = float(np.linalg.norm(rise))
    normal = rise / height
    u = base[1] - base[0]
    u = u / np.linalg.norm(u)
    frame = np.stack([u, np.cross(normal, u)], axis=1)
    ways = np.eye(3) - np.outer(normal, normal)  # the stations' directions, laid into the plane
    long = np.linalg.norm(ways, axis=1)
    ways = (ways[long > 0.5] / long[long > 0.5, None]) @ frame
    local = [((np.asarray(centre) - base[0]) @ frame,
              float((np.asarray(centre) - base[0]) @ normal), radius - ROUNDING)
             for centre, radius in balls]
    whole = ((base - base[0]) @ frame, 0.0, height)
    parts = _kept_parts(whole, local, ways, smallest)
    if len(parts) == 1 and parts[0] is whole:
        return (piece,)
    return tuple(Piece(_raised(base[0] + outline @ frame.T, low * normal, high * normal), 0.0,
                       *_prism_sides(len(outline))) for outline, low, high in parts)


def _raised(outline, low, high):
    return np.concatenate([outline + low, outline + high])


def _kept_parts(part, balls, ways, smallest) -> list:
    """Parts (outline, low, high) that are left; the part itself where nothing is left out."""
    if any(_wholly_inside(part, ball) for ball in balls):
        return []
    reaching = [ball for ball in balls if _reaches(ball, part)]
    if not reaching:
        return [part]
    halves = _halved(part, ways, smallest)
    if halves is None:
        return [part]
    one, other = (_kept_parts(half, reaching, ways, smallest) for half in halves)
    whole = _untouched(one, halves[0]) and _untouched(other, halves[1])
    return [part] if whole else one + other


def _untouched(kept, half) -> bool:
    """Whether nothing of a half is left out."""
    return len(kept) == 1 and kept[0] is half


def _wholly_inside(part, ball) -> bool:
    (outline, low, high), (middle, level, radius) = part, ball
    far = ((outline - middle)**2).sum(axis=1).max()
    return far + max(abs(low - level), abs(high - level))**2 <= max(radius, 0.0)**2


def _reaches(ball, part) -> bool:
    """Whether a ball has a part's outline, or some of its side, within it."""
    (outline, low, high), (middle, level, radius) = part, ball
    square, above = max(radius, 0.0)**2, max(low - level, level - high, 0.0)**2
    return above < square and (((outline - middle)**2).sum(axis=1).min() + above < square
                               or _beside(outline, middle)**2 + above < square)


def _halved(part, ways, smallest):
    """Both halves of a part across its longest way; None of one that is small enough."""
    outline, low, high = part
    along = outline @ ways.T
    least, greatest = along.min(axis=0), along.max(axis=0)
    sizes = [*(greatest - least).round(6).tolist(), round(high - low, 6)]
    if max(sizes) <= smallest:
        return None
    longest = sizes.index(max(sizes))
    if longest == len(ways):
        middle = (low + high) / 2
        return [(outline, low, middle), (outline, middle, high)]
    sides = along[:, longest] - (least[longest] + greatest[longest]) / 2
    return [(_clipped(outline, sense * sides), low, high) for sense in (1.0, -1.0)]


def _beside(outline, point) -> float:
    """Distance of a point from a convex outline that turns left, 0 inside, mm."""
    start = outline
    side = np.roll(outline, -1, axis=0) - start
    away = point - start
    turn = spanned(side, away)
    if (turn >= 0).all():
        return 0.0
    share = np.clip((side * away).sum(axis=1) / (side**2).sum(axis=1), 0.0, 1.0)
    return float(np.sqrt(((away - share[:, None] * side)**2).sum(axis=1)).min())


def _clipped(outline, sides):
    """The part of a convex outline on the side where `sides`, one per corner, is 0 or less."""
    spots = outline.tolist()  # plain floats are quicker for so few
    sides = [0.0 if abs(k) < ROUNDING else k for k in sides.tolist()]  # 0: a corner of both halves
    corners = []
    for i, (side, (x, y)) in enumerate(zip(sides, spots, strict=True)):
        after, (x_after, y_after) = sides[i - len(spots) + 1], spots[i - len(spots) + 1]
        if side <= 0:
            corners.append((x, y))
        if side * after < 0:
            share = side / (side - after)
            corners.append((x + share * (x_after - x), y + share * (y_after - y)))
    return np.array(corners)
