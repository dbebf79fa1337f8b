"""Contact proven over whole cells of travel, by a witness.

A plane between two convex pieces proves that they are apart; it can't prove that they touch.  That
takes a witness: of pieces with flat faces, a point fixed in the one that stays strictly inside the
other; where one is round, a point fixed on the middle line of each, which stay nearer to each other
than the radii.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from ..clearances import Stage
from ..clearances.carrying import combined
from ..intervals import GROW, Enclosure, U, extent
from ..motion import enclose
from .depths import depths

if TYPE_CHECKING:
    from ..model.parts import Tolerance

SLACK = 1024 * U  # of the greatest coordinate in play, for the roundings
MEMBER = 1e-7  # mm that a witness is kept inside its own piece
TARGETS = (0.9, 0.6, 0.3, 0.1)  # shares of the depth of an overlap that a witness is sought at
PUSHES = 40


class Touching(NamedTuple):
    """What is known of items over their cells.

    Attributes
    ----------
    sure : ndarray of bool (m,)
        Proven to touch all over the cell; False where it is not, or out of reach.
    gap : ndarray (m,)
        As drawn at the middle, mm; NaN where that is out of reach.
    way : ndarray (3, m)
        Direction from the first piece to the second there; NaN where that is out of reach.
    """

    sure: np.ndarray
    gap: np.ndarray
    way: np.ndarray


def touching(stage: Stage, items: tuple, cells: tuple,
             tolerances: Tolerance | None = None) -> Touching:
    """Whether piece pairs are proven to touch at every position of cells, in every build.

    Parameters
    ----------
    stage : Stage
    items : (ndarray of int (m,), ndarray of int (m,))
        Piece pairs, none rough, and the cell each is asked over.
    cells : (sequence of str, ndarray (n, inputs), ndarray (n, inputs))
        Names of the inputs, middles and half-widths, degrees (mm).
    tolerances : Tolerance, optional

    Returns
    -------
    Touching
    """
    (which, cell), (names, centres, halves) = items, cells
    named = {n: centres[:, i] for i, n in enumerate(names)}
    posture = stage.system.sweep(**named).flat_posture()
    sure, known = np.zeros(len(which), bool), depths(stage, posture, which, cell, feet=True)
    here = np.flatnonzero(known.gap < 0)
    if not here.size:
        return Touching(sure, known.gap, known.way)
    enclosed = enclose(stage.system, named, {n: halves[:, i] for i, n in enumerate(names)},
                       tolerances, stage.rod_ends)
    asked = _Asked(stage, posture, enclosed, which, cell)
    asked.loose = stage.looseness(tolerances)[stage.sides]
    slack = SLACK * stage.scale(enclosed)
    round_ = stage.radii[which[here]] > 0
    feet = [foot[:, here] for foot in known.feet]
    some = here[round_]
    sure[some] = asked.near(some, [f[:, round_] for f in feet], slack)
    for item in np.unique(which[here[~round_]]):
        mine = np.flatnonzero(~round_ & (which[here] == item))
        middle = (feet[0][:, mine] + feet[1][:, mine]) / 2
        for sides in (0, 1), (1, 0):  # a thin plate holds a point that stays inside a thick block
            left = ~sure[here[mine]]
            todo = here[mine[left]]
            if todo.size:
                sure[todo] = asked.inside(todo, sides, (middle[:, left], -known.gap[todo]), slack)
    return Touching(sure, known.gap, known.way)


class _Asked:
    """Piece pairs at the middles of cells and over them."""

    def __init__(self, stage, posture, enclosed, which, cell):
        self.stage, self.posture, self.enclosed = stage, posture, enclosed
        self.which, self.cell = which, cell

    def near(self, here, feet, slack):
        """Whether two points, each fixed on its piece, stay nearer than the radii."""
        made = [np.empty((self.enclosed.rows, 3, len(here))) for _ in feet]
        for side, foot in enumerate(feet):
            pieces = self.stage.sides[self.which[here], side]
            for piece in np.unique(pieces):
                at = np.flatnonzero(pieces == piece)
                made[side][..., at] = self._fixed(piece, here[at], foot[:, at])
        apart = made[1] - made[0]
        apart[-1] = made[1][-1] + made[0][-1]
        inputs = self.enclosed.inputs
        square = sum(Enclosure(apart[:, c], inputs) * Enclosure(apart[:, c], inputs)
                     for c in range(3))
        slack = slack + np.sqrt(3.0) * self.loose[self.which[here]].sum(axis=1)
        with np.errstate(invalid="ignore"):
            most = np.sqrt(np.maximum(square.bounds()[1], 0.0)) * (1 + 8 * U)
            return most + slack + MEMBER < self.stage.radii[self.which[here]]

    def _fixed(self, piece, here, foot):
        """A point of a piece at the middles as it is carried over the cells: (rows, 3, m)."""
        seat = self.stage.seat_of[piece]
        axes = self._axes(self.posture, seat, here)
        held = self._axes(self.enclosed, seat, here)
        if self.stage.of_rod[seat]:  # a share of the way between its ends
            run = axes[:, 2] - axes[:, 1]
            share = ((foot - axes[:, 1]) * run).sum(axis=0) / (run * run).sum(axis=0)
            weights = 1 - np.clip(share, 0, 1), np.clip(share, 0, 1)
            return sum(w * held[:, :, 1 + k] for k, w in enumerate(weights))
        local = ((foot - axes[:, 0])[:, None] * axes[:, 1:]).sum(axis=0)
        return self._carried(held, local)

    def _axes(self, posture, seat, here):
        return self.stage.carried(posture, seat, self.cell[here])

    def _carried(self, held, local):
        """Coordinates (3, m) along the axes of a seat over cells: (rows, 3, m)."""
        return np.stack([combined(held[:, c], local[:, None])[:, 0] for c in range(3)], axis=1)

    def inside(self, here, sides, guess, slack):
        """Whether a point fixed in one piece of an item stays inside its other one.

        `guess` holds a point where they overlap, and by how much.
        """
        one, other = self.stage.sides[self.which[here[0]]][list(sides)]
        axes = [self._axes(self.posture, self.stage.seat_of[k], here) for k in (one, other)]
        if self.stage.of_rod[self.stage.seat_of[[one, other]]].any():
            return np.zeros(len(here), bool)
        walls = [self._walls(k) for k in (one, other)]
        local = _deepest(walls, axes, *guess)
        held = [self._axes(self.enclosed, self.stage.seat_of[k], here) for k in (one, other)]
        between = self._carried(held[0], local) - held[1][:, :, 0]
        between[-1] += 2 * held[1][-1, :, 0]
        inputs, (normals, most) = self.enclosed.inputs, walls[1]
        seen = _along(between, held[1], inputs)
        off = self.loose[self.which[here[0]]][list(sides)]
        turned = [_along(held[0][:, :, 1 + i], held[1], inputs) for i in range(3)] if off[0] else ()
        ok = (local.T @ walls[0][0].T - walls[0][1] <= -MEMBER / 2).all(axis=1)
        for normal, wall in zip(normals, most, strict=True):
            spare = slack + off[1] * np.abs(normal).sum()
            for axis in turned:  # the point may be off along each axis of its own part
                spare = spare + off[0] * np.abs(_ends(normal, axis, inputs)).max(axis=0)
            ok &= _ends(normal, seen, inputs)[1] < wall - spare
        return ok

    def _walls(self, piece):
        """Outward normals and offsets of a piece's faces in the coordinates of its seat."""
        solid = self.stage.pieces[piece]
        points = solid.points - self.stage.seats[self.stage.seat_of[piece]].origin[0]
        normals = []
        for face in solid.faces:
            corners = points[list(face)]
            normals.append(np.cross(corners[1:-1] - corners[0], corners[2:] - corners[0]).sum(0))
        normals = np.array(normals) / np.linalg.norm(normals, axis=1)[:, None]
        return normals, (points @ normals.T).max(axis=0)


def _along(vector, held, inputs):
    """A vector (rows, 3, m) along the three axes of a seat over cells: three of (rows, m)."""
    return [sum(Enclosure(vector[:, c], inputs) * Enclosure(held[:, c, 1 + i], inputs)
                for c in range(3)).rows for i in range(3)]


def _ends(weights, parts, inputs):
    """Least and greatest of weights times enclosures (rows, m), summed: (2, m)."""
    rows = sum(k * row for k, row in zip(weights, parts, strict=True))
    rest = sum(abs(k) * row[-1] for k, row in zip(weights, parts, strict=True)) * GROW
    low, high = extent(rows, inputs)
    return np.stack([low - rest, high + rest])


def _deepest(walls, axes, start, depth):
    """A point of the first piece deep in the second, in the first's coordinates (3, m).

    Pushed back in turn from the wall that it is farthest beyond; a guess to be tried, so that its
    being deep is no one's premise.
    """
    normals = np.concatenate([np.einsum("cim,fi->fcm", a[:, 1:], n)
                              for a, (n, _) in zip(axes, walls, strict=True)])
    offsets = np.concatenate([most[:, None] + np.einsum("fcm,cm->fm", normals[part], a[:, 0])
                              for a, (_, most), part in zip(axes, walls, (
                                  slice(0, len(walls[0][1])), slice(len(walls[0][1]), None)),
                                  strict=True)])
    count = len(walls[0][1])
    best, found = np.full(len(depth), -np.inf), start.copy()
    for target in TARGETS:
        bound = offsets.copy()
        bound[:count] -= 2 * MEMBER
        bound[count:] -= target * depth
        p = start.copy()
        for _ in range(PUSHES):
            over = np.einsum("fcm,cm->fm", normals, p) - bound
            worst = over.argmax(axis=0)
            push = over[worst, np.arange(len(worst))]
            p = p - np.where(push > 0, push, 0.0) * normals[worst, :, np.arange(len(worst))].T
        over = np.einsum("fcm,cm->fm", normals, p) - offsets
        held = (over[:count] <= -MEMBER).all(axis=0)
        deep = np.where(held, -over[count:].max(axis=0), -np.inf)
        better = deep > best
        best, found = np.where(better, deep, best), np.where(better, p, found)
    return ((found - axes[0][:, 0])[:, None] * axes[0][:, 1:]).sum(axis=0)
