"""Pieces carried to where a posture puts them, many pairs of pieces and stick positions at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..geometry import Piece, approach, piece_gap, tube_gap
from ..intervals import Enclosure
from ..motion import Posture, Slide, Turn
from ..scene import Pair, Scene


SETTLED = 1e-10  # mm between found and proven distance of two hulls, above which it is worked out


@dataclass(frozen=True, eq=False)
class PiecePair:
    """One piece of each solid of a pair.

    Attributes
    ----------
    pair : int
        Which pair it belongs to.
    pieces : (int, int)
        Which placed pieces.
    """

    pair: int
    pieces: tuple[int, int]


@dataclass(frozen=True, eq=False)
class PlacedPiece:
    """A piece as seen from a frame: the bodies under its points, one for all or one each."""

    piece: Piece
    carriers: tuple[str, ...]
    frame: str


class Stage:
    """Every piece pair of some pairs, ready to be measured at any stick positions.

    Parameters
    ----------
    scene : Scene
    pairs : sequence of Pair
    """

    def __init__(self, scene: Scene, pairs):
        self.scene, self.system = scene, scene.system
        self.pairs: tuple[Pair, ...] = tuple(pairs)
        self.placed: list[PlacedPiece] = []
        known, both = {}, []
        for k, pair in enumerate(self.pairs):
            sides = [[self._place(known, name, n, pair.frame)
                      for n in range(len(scene.solids[name].pieces))]
                     for name in (pair.first, pair.second)]
            both += [PiecePair(k, (one, other)) for one in sides[0] for other in sides[1]]
        self.pair_index = np.array([p.pair for p in both], dtype=int)
        self.sides = np.array([p.pieces for p in both], dtype=int).reshape(-1, 2)
        faced = np.array([bool(p.piece.faces) for p in self.placed], dtype=bool)
        self.round = ~faced[self.sides].any(axis=1)
        self.radii = np.array([sum(self.placed[i].piece.radius for i in p.pieces) for p in both])

    def _place(self, known, name, number, frame) -> int:
        if (name, number, frame) not in known:
            solid = self.scene.solids[name]
            known[name, number, frame] = len(self.placed)
            self.placed.append(PlacedPiece(solid.pieces[number], solid.carriers, frame))
        return known[name, number, frame]

    def hulls(self, posture: Posture, items, cells) -> list:
        """Points of both sides of items, as rows that a posture's numbers have.

        Parameters
        ----------
        posture : Posture
            Settled at n cells or positions.
        items : ndarray of int, shape (m,)
            Which piece pairs.
        cells : ndarray of int, shape (m,)
            Which cell of the posture each is asked at.

        Returns
        -------
        list of two ndarray
            Floats: (3, corners, m).  Enclosures: (2 + inputs, 3, corners, m).  Shorter hulls are
            filled up with their last corner.
        """
        found = []
        for side in (0, 1):
            which = self.sides[items, side]
            used, first = np.unique(which, return_inverse=True)
            most = max(len(self.placed[i].piece.points) for i in used)
            order = np.argsort(first, kind="stable")
            edges = np.searchsorted(first[order], np.arange(len(used) + 1))
            whole = None
            for n, i in enumerate(used):
                here = order[edges[n]:edges[n + 1]]
                own, back = np.unique(cells[here], return_inverse=True)
                points = self._points(posture, self.placed[i], own)[..., back]
                if whole is None:
                    whole = np.empty((*points.shape[:-2], most, len(items)))
                count = points.shape[-2]
                whole[..., :count, here] = points
                whole[..., count:, here] = points[..., -1:, :]
            found.append(whole)
        return found

    def _points(self, posture, placed: PlacedPiece, cells):
        points = placed.piece.points
        if len(placed.carriers) == 1:
            return carried(posture, placed.carriers[0], points, placed.frame, cells)
        return np.concatenate([carried(posture, body, points[i:i + 1], placed.frame, cells)
                               for i, body in enumerate(placed.carriers)], axis=-2)

    def gap(self, hulls, items):
        """Value, direction and closest points of piece pairs at posed hulls (3, corners, m).

        Returns
        -------
        (ndarray (m,), ndarray (3, m), ndarray (3, m), ndarray (3, m))
            Signed gap in mm, unit direction from the first to the second, and the points.
        """
        value, direction, one, other, sure = _measured(*hulls, self.round[items])
        unsure = np.flatnonzero(~sure)
        for item in np.unique(items[unsure]):
            here = unsure[items[unsure] == item]
            pieces = [self.placed[i].piece for i in self.sides[item]]
            posed = [hull[:, :len(p.points), here].transpose(2, 1, 0)
                     for hull, p in zip(hulls, pieces, strict=True)]
            found = piece_gap(posed[0], pieces[0], posed[1], pieces[1])
            value[here] = found.value + self.radii[item]
            direction[:, here] = found.direction.T
            one[:, here] = (found.point_a - pieces[0].radius * found.direction).T
            other[:, here] = (found.point_b + pieces[1].radius * found.direction).T
        return value - self.radii[items], direction, one, other

    def balls(self, posture: Posture, cells: int):
        """A ball about each placed piece over the cells of an enclosed posture.

        Returns
        -------
        (ndarray (2 + inputs, 3, placed, cells), ndarray (placed,))
            Enclosures of the middles, and radii that hold every point, mm.
        """
        every = np.arange(cells)
        middles, radii = [], []
        for placed in self.placed:
            points = placed.piece.points
            if len(placed.carriers) == 1:
                middle = points.mean(axis=0)[None]
                rows = carried(posture, placed.carriers[0], middle, placed.frame, every)
            else:
                rows = self._points(posture, placed, every).mean(axis=-2, keepdims=True)
                middle = points.mean(axis=0)[None]
            middles.append(rows[..., 0, :])
            radii.append(np.linalg.norm(points - middle, axis=1).max() * (1 + 1e-12)
                         + 2 * posture.blur + self._slack(placed))
        return np.stack(middles, axis=2), np.array(radii)

    def _slack(self, placed) -> float:
        """How much a rod's ends may be farther apart than drawn."""
        if len(placed.carriers) == 1:
            return 0.0
        return 1e-6 + 0.01 * float(np.ptp(placed.piece.points, axis=0).max())

    def surface_points(self, items, direction, one, other):
        """Closest points moved out to the surfaces, (3, m) each."""
        radii = np.array([[self.placed[i].piece.radius for i in self.sides[k]] for k in items]).T
        return one + radii[0] * direction, other - radii[1] * direction


def _measured(hull_a, hull_b, round_ones):
    """Distance of the hulls alone, its direction and feet, and whether it is settled."""
    count = hull_a.shape[-1]
    value, sure = np.empty(count), np.ones(count, bool)
    direction, one, other = (np.empty((3, count)) for _ in range(3))
    for chosen in (round_ones, ~round_ones):
        here = np.flatnonzero(chosen)
        if not here.size:
            continue
        a, b = hull_a[..., here], hull_b[..., here]
        if chosen is round_ones:
            value[here], direction[:, here], one[:, here], other[:, here] = tube_gap(a, b)
            continue
        found = approach(a, b, b.mean(axis=1) - a.mean(axis=1))
        value[here] = np.sqrt((found.between**2).sum(axis=0))
        direction[:, here], one[:, here] = found.direction, found.foot
        other[:, here] = found.foot + found.between
        sure[here] = value[here] - found.proven <= SETTLED
    return value, direction, one, other, sure


def carried(posture: Posture, body: str, points, frame: str, cells):
    """Points of a body as a frame sees them at some cells of a posture.

    Parameters
    ----------
    posture : Posture
        States of shape (n,), or free of the cells altogether.
    body : str
    points : ndarray, shape (corners, 3)
        mm at neutral.
    frame : str
    cells : ndarray of int, shape (m,)

    Returns
    -------
    ndarray
        (3, corners, m) of floats, or (2 + inputs, 3, corners, m) of enclosures.
    """
    route = posture.plan.route(body, frame)
    states = {joint: _at(posture.states[joint], cells) for joint, _ in route
              if joint in posture.states}
    here = type(posture)(posture.plan, posture.dimensions, states)
    p = tuple(points[:, axis].reshape(-1, 1) for axis in range(3))
    for joint, outward in route:
        p = here.crossed(p, joint, outward)
    shape = (len(points), len(cells))
    rows = posture.rows
    if rows is None:
        return np.stack([np.broadcast_to(k, shape) for k in p])
    made = np.zeros((rows, 3, *shape))
    for axis, k in enumerate(p):
        if isinstance(k, Enclosure):
            made[:, axis] = k.rows
        else:
            made[0, axis] = k
    made[-1] += posture.blur
    return made


def _at(state, cells):
    def pick(k):
        if isinstance(k, Enclosure):
            return Enclosure(k.rows[:, cells]) if k.rows.ndim > 1 and k.rows.shape[1] > 1 else k
        return k[cells] if np.ndim(k) and np.shape(k)[-1] > 1 else k

    if isinstance(state, Slide):
        return Slide(pick(state.value))
    return Turn(pick(state.cos), pick(state.sin), state.known if state.known is None else 0.0)
