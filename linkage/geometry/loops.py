"""Edges of a drawing joined into loops, and loops as corners of an outline.

Lines and arcs stay what they are.  A free curve becomes straight sides that lie on the side of it
where no material is, so that an outline never loses material and a hole is never larger.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..errors import LinkageError, mm
from .outlines import SAME, WITHIN

JOINED = 0.01  # mm within which the ends of two edges meet
TURN = math.pi / 6  # radians of one corner of an arc: it stands out by 4 % of the radius
DEEPEST = 40  # halvings of a curve
OUTSIDE = 1e-9  # share of a chord by which a curve may reach past its ends


@dataclass(frozen=True)
class Arc:
    """A line, or an arc where `bulge` is not 0.

    Attributes
    ----------
    start, end : tuple of float
        mm.
    bulge : float
        Tangent of a quarter of its turn, to the left above 0 (DXF reference, group code 42, from
        memory).
    """

    start: tuple[float, float]
    end: tuple[float, float]
    bulge: float = 0.0

    def reversed(self) -> Arc:
        """The same from its end."""
        return Arc(self.end, self.start, -self.bulge)

    def samples(self) -> list:
        """Places on it, its end left out."""
        return [part.start for part in self._parts(math.pi / 12)]

    def corners(self, within: float) -> list:
        """Corners ``[u, v]`` or ``[u, v, radius]`` from its start, its end left out."""
        found = []
        for part in self._parts(TURN):
            found.append([*part.start])
            if part.bulge:
                (u, v), (x, y) = part.start, part.end
                half = math.tan(2 * math.atan(part.bulge)) / 2  # of half its turn
                found.append([(u + x) / 2 + (y - v) * half, (v + y) / 2 - (x - u) * half,
                              part.radius])
        return found

    @property
    def radius(self) -> float:
        """Of an arc, mm."""
        return math.dist(self.start, self.end) * (1 + self.bulge**2) / (4 * abs(self.bulge))

    def _parts(self, most):
        """Arcs that turn by no more than an angle, one after the other."""
        count = math.ceil(4 * math.atan(abs(self.bulge)) / most - 1e-9)
        if count < 2:
            return [self]
        (u, v), (x, y) = self.start, self.end
        off = (1 - self.bulge**2) / (4 * self.bulge)
        middle = np.array([(u + x) / 2 - (y - v) * off, (v + y) / 2 + (x - u) * off])
        turn, arm = 4 * math.atan(self.bulge), np.array(self.start) - middle
        places = [self.start]
        for k in range(1, count):
            cos, sin = math.cos(turn * k / count), math.sin(turn * k / count)
            places.append(tuple((middle + [cos * arm[0] - sin * arm[1],
                                           sin * arm[0] + cos * arm[1]]).tolist()))
        bulge = math.tan(turn / count / 4)
        return [Arc(a, b, bulge) for a, b in zip(places, [*places[1:], self.end], strict=True)]


@dataclass(frozen=True, eq=False)
class Curve:
    """A rational Bezier curve with positive weights: it stays in the hull of its control points.

    Attributes
    ----------
    control : ndarray (n, 3)
        Places times weight, and weights: mm and 1.
    """

    control: np.ndarray

    @property
    def start(self) -> tuple[float, float]:
        """Place in mm."""
        return tuple((self.control[0, :2] / self.control[0, 2]).tolist())

    @property
    def end(self) -> tuple[float, float]:
        """Place in mm."""
        return tuple((self.control[-1, :2] / self.control[-1, 2]).tolist())

    def reversed(self) -> Curve:
        """The same from its end."""
        return Curve(self.control[::-1])

    def samples(self) -> list:
        """Places on it, its end left out."""
        first, last = self.halves()
        return [part.start for half in (first, last) for part in half.halves()]

    def corners(self, within: float) -> list:
        """Corners from its start to the right of it, its end left out."""
        found, ahead = [], [(self, 0)]
        while ahead:
            part, depth = ahead.pop()
            chain = part.chain(within)
            if chain is not None:
                found += chain
            elif depth == DEEPEST:
                raise LinkageError(f"has a curve at {mm(*part.start)} that can't be followed; "
                                   f"draw it anew with fewer points")
            else:
                first, last = part.halves()
                ahead += [(last, depth + 1), (first, depth + 1)]
        return found

    def chain(self, within: float) -> list | None:
        """Sides right of it where its control points are within `within` of its chord."""
        places = self.control[:, :2] / self.control[:, 2:]
        way = places[-1] - places[0]
        size = np.hypot(*way)
        if not size > 0:
            return None if np.ptp(places, axis=0).max() > 0 else []
        along = (places - places[0]) @ way / size
        right = (places - places[0]) @ [way[1], -way[0]] / size
        outside = max(-along.min(), along.max() - size) > OUTSIDE * size
        if outside or np.abs(right).max() > within:
            return None
        chain = [0]
        for k in np.argsort(along, kind="stable")[1:]:
            while chain and not _turns_right(along, right, (*chain[-2:], k)):
                chain.pop()
            chain.append(int(k))
        last = len(places) - 1
        return [places[k].tolist() for k in chain if k != last]

    def halves(self) -> tuple[Curve, Curve]:
        """Both halves, by de Casteljau's scheme."""
        rows, first, last = self.control, [self.control[0]], [self.control[-1]]
        while len(rows) > 1:
            rows = (rows[1:] + rows[:-1]) / 2
            first.append(rows[0])
            last.append(rows[-1])
        return Curve(np.array(first)), Curve(np.array(last[::-1]))


def _turns_right(along, right, ends):
    """Whether the last of three places lies so that the middle one is needed to its right."""
    if len(ends) < 3:
        return True
    (a, b, c) = ends
    return ((right[b] - right[a]) * (along[c] - along[a])
            > (right[c] - right[a]) * (along[b] - along[a]))


@dataclass(frozen=True, eq=False)
class Sweep:
    """Part of an ellipse.

    Attributes
    ----------
    centre, major, minor : ndarray (2,)
        mm; `minor` lies to the left of `major`.
    first, last : float
        Parameters of its ends, radians; clockwise where `last` is less.
    """

    centre: np.ndarray
    major: np.ndarray
    minor: np.ndarray
    first: float
    last: float

    @property
    def start(self) -> tuple[float, float]:
        """Place in mm."""
        return tuple(self._at(self.first))

    @property
    def end(self) -> tuple[float, float]:
        """Place in mm."""
        return tuple(self._at(self.last))

    def reversed(self) -> Sweep:
        """The same from its end."""
        return dataclasses.replace(self, first=self.last, last=self.first)

    def samples(self) -> list:
        """Places on it, its end left out."""
        return [self._at(t) for t in np.linspace(self.first, self.last, 25)[:-1]]

    def corners(self, within: float) -> list:
        """Corners from its start to the right of it, its end left out.

        A circle's sides that touch it, or its chords, brought to the ellipse as it is itself.
        """
        size = max(math.hypot(*self.major), math.hypot(*self.minor))
        most = 2 * math.acos(size / (size + within))
        count = max(1, math.ceil(abs(self.last - self.first) / most))
        ends = np.linspace(self.first, self.last, count + 1)
        if self.last < self.first:
            return [self._at(t) for t in ends[:-1]]
        out = 1 / math.cos((ends[1] - ends[0]) / 2)
        return [self._at(self.first), *(self._at(t, out) for t in (ends[1:] + ends[:-1]) / 2)]

    def _at(self, t, out=1.0) -> list:
        return (self.centre + out * (math.cos(t) * self.major + math.sin(t) * self.minor)).tolist()


@dataclass(frozen=True, eq=False)
class Circle(Sweep):
    """A whole circle, which stays one where it is a hole."""


def loops_of(edges: Sequence, joined: float = JOINED) -> list[list]:
    """Edges joined end to end, each loop in order.

    Parameters
    ----------
    edges : sequence of Arc, Curve or Sweep
    joined : float
        mm within which two ends meet.

    Returns
    -------
    list of list

    Raises
    ------
    LinkageError
        When an end meets no other, or more than one.
    """
    closed = [math.dist(edge.start, edge.end) <= joined for edge in edges]
    loops = [[edge] for edge, whole in zip(edges, closed, strict=True) if whole]
    rest = [edge for edge, whole in zip(edges, closed, strict=True) if not whole]
    partner = _partners(np.array([end for edge in rest for end in (edge.start, edge.end)]), joined)
    return [_snapped(loop) for loop in (*loops, *_walks(rest, partner))]


def _walks(edges, partner):
    """Edges in the order of a walk from end to end, until it is back; then the next walk."""
    todo = set(range(len(edges)))
    while todo:
        end, loop = 2 * min(todo), []
        while end // 2 in todo:
            todo.discard(end // 2)
            edge = edges[end // 2]
            loop.append(edge.reversed() if end % 2 else edge)
            end = partner[end ^ 1]
        yield loop


def _partners(ends, joined):
    """For each end the other that it meets."""
    from scipy.spatial import cKDTree

    partner = np.full(len(ends), -1)
    if not len(ends):
        return partner
    for one, other in cKDTree(ends).query_pairs(joined):
        for a, b in ((one, other), (other, one)):
            if partner[a] >= 0:
                raise LinkageError(f"has more than two edges that meet at {mm(*ends[a])}; leave "
                                   f"one loop there, and nothing drawn twice")
            partner[a] = b
    if (partner < 0).any():
        loose = ends[np.flatnonzero(partner < 0)[0]]
        near = np.sort(np.hypot(*(ends - loose).T))[1]
        raise LinkageError(f"is open at {mm(*loose)}: the next end is {mm(near)} away, and edges "
                           f"are joined within {mm(joined)}; close it")
    return partner


def _snapped(loop):
    """The loop with ends of lines and arcs on their neighbours' where they are as good as one."""
    loop = list(loop)
    for k, edge in enumerate(loop):
        before = loop[k - 1]
        if math.dist(before.end, edge.start) <= SAME and len(loop) > 1:
            if isinstance(edge, Arc):
                loop[k] = dataclasses.replace(edge, start=before.end)
            elif isinstance(before, Arc):
                loop[k - 1] = dataclasses.replace(before, end=edge.start)
    return loop


def corners_of(loop: Sequence, *, hole: bool, within: float = WITHIN) -> list:
    """A loop as corners of an outline, or of a hole.

    Parameters
    ----------
    loop : sequence of Arc, Curve or Sweep
        In order, either way round.
    hole : bool
        Whether the material lies outside it.
    within : float
        mm that a straight side may lie off a free curve.

    Returns
    -------
    list of list
        ``[u, v]`` or ``[u, v, radius]``, mm.
    """
    if (signed_area(loop) < 0) != hole:
        loop = _snapped([edge.reversed() for edge in reversed(loop)])
    found = []
    for k, edge in enumerate(loop):
        found += edge.corners(within)
        if math.dist(edge.end, loop[(k + 1) % len(loop)].start) > SAME:
            found.append([*edge.end])
    return [corner for k, corner in enumerate(found)
            if math.dist(corner[:2], found[k - 1][:2]) > SAME]


def samples_of(loop: Sequence) -> np.ndarray:
    """Places on a loop (n, 2), near enough to tell what lies in what."""
    return np.array([place for edge in loop for place in edge.samples()])


def signed_area(loop: Sequence) -> float:
    """About the area of a loop, mm², below 0 where it runs clockwise."""
    u, v = samples_of(loop).T
    return float((u * np.roll(v, -1) - v * np.roll(u, -1)).sum() / 2)
