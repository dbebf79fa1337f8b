"""Pieces carried to where a posture puts them, many pairs of pieces and stick positions at once.

Pieces that ride on one body share its seat: an origin and three vectors, carried once per cell.  A
point of a piece is the origin plus its coordinates along them; of a rod it is a mean of the rod's
two ends.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..geometry import Ragged, approach, hull_piece, piece_gap, tube_gap
from ..geometry.triangles import Triangles
from ..intervals import unknown
from ..motion import Posture, body_of
from ..motion.builds_rows import share_rows
from .carrying import Frames, Seat
from .growing import Growing, along_rods, clusters, middle_of, spines_of
from .scene import TOUCHING, Scene
from .trees import Trees

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from ..model.parts import Tolerance
    from ..motion import EnclosedPosture
    from .scene import Pair

CORNER_GROUPS = (3, 9, 21, 41, 101)  # like corner counts are worked together: tubes, blocks, plates
SETTLED = 1e-10  # mm between found and proven distance of two hulls, above which it is worked out
FEW_STEPS = 8  # towards the closest points where a direction that is about right will do
MOST = 1 << 15  # gaps measured at once, so that their corners stay in the cache


@dataclass(frozen=True)
class Cluster:
    """Neighbouring pieces of a solid, and one piece that holds them all.

    Attributes
    ----------
    piece : int
        The holding piece, or the only one.
    parts : tuple of int
    mesh : Triangles, optional
        That the holding piece is the root of.
    """

    piece: int
    parts: tuple[int, ...]
    mesh: Triangles | None = None


class Stage(Growing):
    """Every piece pair of some pairs, ready to be measured at any stick positions.

    Parameters
    ----------
    scene : Scene
    pairs : sequence of Pair
    solid : callable, optional
        What stands for a solid by its name; its true pieces, less what lies at the joints that the
        pair shares, unless given.
    rough : bool
        Whether what stands for a solid only holds it, so that no gap of it is met.
    """

    def __init__(self, scene: Scene, pairs: Sequence[Pair], solid: Callable | None = None, *,
                 rough: bool = False):
        self.scene, self.names = scene, []
        self._solid = (lambda pair, name: solid(name)) if solid else scene.solid_of
        self.system, self.pairs = scene.system, tuple(pairs)
        self.seats, self.pieces, self.seat_of = [], [], []
        roots, held = {}, {}
        table = self._items(roots, held)
        self.pair_index, self.sides = table[:, 0], table[:, 1:]
        self.rough = np.full(len(table), rough)
        self.rough[np.unique(self._part_of)] = True
        self.seat_of = np.array(self.seat_of, dtype=int)
        self.corners = np.array([len(p.points) for p in self.pieces], dtype=int)
        self.radius = np.array([p.radius for p in self.pieces])
        self.round = (self.corners <= 2)[self.sides].all(axis=1)
        self.radii = self.radius[self.sides].sum(axis=1)
        self.frames = Frames(self.system, self.seats)
        self.rod_ends = tuple(dict.fromkeys(end for seat in self.seats for end in seat.ends))
        self.of_rod = np.array([bool(seat.ends) for seat in self.seats], dtype=bool)
        self._lay_out()
        self.listed = len(table)  # items that there are before any mesh is gone down
        self.trees = Trees(self, roots, held) if roots else None

    def _items(self, roots, held) -> np.ndarray:
        """Pair, and the piece on either side, of every item: (items, 3).

        And which pieces stand for a whole mesh, and of clusters beside one where their parts are.
        """
        known, seats, whole, parts, of = {}, {}, [], [], []
        for k, pair in enumerate(self.pairs):
            sides = [self._placed(known, seats, self._solid(pair, name), pair.frame)
                     for name in (pair.first, pair.second)]
            meshes = {side[0].piece: side[0].mesh for side in sides if side[0].mesh is not None}
            if meshes:
                roots.update(meshes)
                held.update(_parts_held(itertools.chain(*sides)))
            for a, b in itertools.product(*sides):
                if not meshes and len(a.parts) * len(b.parts) > 1:
                    parts += itertools.product([k], a.parts, b.parts)
                    of += [len(whole)] * (len(a.parts) * len(b.parts))
                whole.append((k, a.piece, b.piece))
        self.first, self._part_of = len(whole), np.array(of, dtype=int)
        return np.array(whole + parts, dtype=int).reshape(-1, 3)

    def _placed(self, known, seats, solid, frame):
        if (solid, frame) not in known:
            rod = solid.ends is not None
            key = ((solid.name, *solid.carriers) if rod else solid.carriers, frame)
            if key not in seats:
                seats[key] = len(self.seats)
                origin = solid.ends if rod else middle_of(solid.pieces)[None]
                ends = self.scene.model.rods[body_of(solid.name)].ends if rod else ()
                self.seats.append(Seat(solid.carriers, frame, origin, ends))
            first = len(self.pieces)
            known[solid, frame] = self._root(solid, seats[key]) \
                if isinstance(solid.pieces, Triangles) else [
                    self._cluster(part, seats[key]) for part in self.scene.kept(solid, clusters)]
            self.names += [solid.name] * (len(self.pieces) - first)
        return known[solid, frame]

    def _root(self, solid, seat):
        tree = solid.pieces.tree
        self.pieces.append(hull_piece(tree.corners[0], tree.radius[0]))
        self.seat_of.append(seat)
        return [Cluster(len(self.pieces) - 1, (len(self.pieces) - 1,), solid.pieces)]

    def _cluster(self, pieces, seat):
        first = len(self.pieces)
        self.pieces += pieces
        if len(pieces) > 1:
            corners = np.unique(np.concatenate([p.points for p in pieces]), axis=0)
            self.pieces.append(hull_piece(corners, max(p.radius for p in pieces)))
        self.seat_of += [seat] * (len(self.pieces) - first)
        return Cluster(len(self.pieces) - 1, tuple(range(first, first + len(pieces))))

    def parts_of(self, items: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """The finer items of rough ones: ``(which of `items`, finer items)``."""
        if self.trees is not None:
            return self._parts_with_meshes(items)
        return self._listed_parts(items)

    def _listed_parts(self, items):
        start, stop = (np.searchsorted(self._part_of, items, side) for side in ("left", "right"))
        back = np.repeat(np.arange(len(items)), stop - start)
        offset = np.arange(len(back)) - np.repeat(np.cumsum(stop - start) - (stop - start),
                                                  stop - start)
        return back, self.first + start[back] + offset

    def _lay_out(self):
        """Corners of every piece from the origin of its seat, filled up with the last one."""
        self.group = np.digitize(self.corners, CORNER_GROUPS)
        self.spine, self.reach = np.empty((len(self.pieces), 2, 3)), np.empty(len(self.pieces))
        self.local, self.row = {}, np.zeros(len(self.pieces), dtype=int)
        self.middle = np.empty((len(self.pieces), 3))
        for g in np.unique(self.group):
            chosen = np.flatnonzero(self.group == g)
            most = self.corners[chosen].max()
            self.row[chosen] = np.arange(len(chosen))
            local = np.empty((len(chosen), most, 3))
            for made, i in zip(local, chosen, strict=True):
                made[:self.corners[i]] = self.seat_coordinates(i, self.pieces[i].points)
                made[self.corners[i]:] = made[self.corners[i] - 1]
            self.spine[chosen], self.reach[chosen] = spines_of(local.transpose(0, 2, 1))
            rods = chosen[self.of_rod[self.seat_of[chosen]]]
            self.spine[rods], self.reach[rods] = along_rods(local[self.row[rods], :, 1]), 0.0
            self.middle[chosen] = local.mean(axis=1)
            self.local[g] = np.ascontiguousarray(local.transpose(2, 1, 0))
        self.far = 0.0 if not self.local else max(
            float(np.abs(k).sum(axis=0).max()) for k in self.local.values())

    def axes(self, posture: Posture, items: np.ndarray, cells: np.ndarray,
             at: Sequence[float] | None = None) -> list[np.ndarray]:
        """Origin and vectors that carry both sides of items at some positions.

        Parameters
        ----------
        posture : Posture
            Settled at n positions along one axis, or enclosed over n cells.
        items, cells : ndarray of int, shape (m,)
            Piece pairs, and the position or cell each is asked at.
        at : tuple of float, optional
            Where in its cell an enclosed posture is asked for, as shares of the half-widths, its
            middle unless given; what its polynomial gives there is no more than near a posture.

        Returns
        -------
        list of two ndarray (3, 4, m)
        """
        frames = self.frames.of(posture)
        if posture.rows is not None:
            frames = frames[0] if at is None else self._about(posture, at)
        return self._picked(frames, self.sides[items], cells)

    def _about(self, posture, at):
        """What the polynomials of the seats give at a place in each cell: (3, 4, seats, n)."""
        share, (i, j) = np.array(at), np.triu_indices(len(at))
        weights = np.concatenate([[1.0], share, share[i] * share[j]])
        return np.tensordot(weights, self.frames.of(posture)[:len(weights)], 1)

    def enclosed_axes(self, posture: EnclosedPosture, items: np.ndarray, cells: np.ndarray,
                      kept: np.ndarray | slice = slice(None)) -> list[np.ndarray]:
        """As `axes`, over whole cells: list of two ndarray (rows, 3, 4, m), the rows kept."""
        return self._picked(self.frames.of(posture)[kept], self.sides[items], cells)

    def _picked(self, frames, sides, cells):
        count = frames.shape[-1]
        flat = frames.reshape(*frames.shape[:-2], -1)
        return [flat.take(self.seat_of[pieces] * count + (cells if count > 1 else 0), axis=-1)
                for pieces in sides.T]

    def carried(self, posture: Posture, seat: int, cells: np.ndarray) -> np.ndarray:
        """Origin and vectors of a seat at some cells.

        Returns
        -------
        ndarray
            (3, 4, m) of numbers, or (rows, 3, 4, m) of enclosures.
        """
        frames = self.frames.of(posture)
        return frames[..., seat, cells if frames.shape[-1] > 1 else np.zeros_like(cells)]

    def posed(self, axes: np.ndarray, pieces: np.ndarray) -> Ragged:
        """Corners of pieces that some axes (3, 4, m) carry."""
        group, parts = self.group[pieces], []
        for g in np.flatnonzero(np.bincount(group)):
            here = np.flatnonzero(group == g)
            local, some = self.local[g].take(self.row[pieces[here]], axis=2), axes[..., here]
            hull = some[:, 1, None] * local[0]
            for i in (1, 2):
                hull += some[:, 1 + i, None] * local[i]
            hull += some[:, :1]
            parts.append((here, hull))
        return Ragged(parts)

    def seated(self, pieces: np.ndarray) -> Iterator[tuple[int, np.ndarray]]:
        """Seats of some pieces, and which of them each carries."""
        seats = self.seat_of[pieces]
        for seat in np.flatnonzero(np.bincount(seats)):
            yield seat, np.flatnonzero(seats == seat)

    def places_among(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Where each item stands among its pair's; the items pair by pair, and each one's begin."""
        order = np.argsort(self.pair_index, kind="stable")
        first = np.searchsorted(self.pair_index[order], np.arange(len(self.pairs)))
        rank = np.empty(len(order), int)
        rank[order] = np.arange(len(order)) - first[self.pair_index[order]]
        return rank, order, first

    def rows_of(self, posture: EnclosedPosture, items: np.ndarray) -> np.ndarray:
        """Rows that count in the enclosures of some items: all but the shares that all lack.

        A share is kept with all its products with the inputs, so that the rows stand as before.
        """
        kept = posture.remembered((self, "shares"), lambda: (
            self.frames.of(posture) != 0).any(axis=(1, 2, 4)))
        kept = kept[:, np.unique(self.seat_of[self.sides[items]])].any(axis=1)
        here = share_rows(kept, posture.inputs)
        count = here.stop - here.start
        shares = kept[here.start:-1].reshape(1 + posture.inputs, count).any(axis=0)
        kept[here.start:-1] = np.tile(shares, 1 + posture.inputs)
        kept[:here.start] = kept[-1] = True
        return np.flatnonzero(kept)

    def looseness(self, tolerances: Tolerance | None) -> np.ndarray:
        """How far a build may have each point of a piece off in each coordinate of its part, mm.

        Parameters
        ----------
        tolerances : Tolerance or None

        Returns
        -------
        ndarray (pieces,)
        """
        by = {name: 0.0 if tolerances is None else self.scene.looseness(name, tolerances)
              for name in set(self.names)}
        return np.array([by[name] for name in self.names])

    def scale(self, posture: EnclosedPosture) -> float:
        """Greatest coordinate in play over all cells of an enclosed posture, mm, and more."""
        return posture.remembered((self, "scale"), lambda: self._scale(posture))

    def _scale(self, posture):
        whole = self.frames.of(posture)
        size = np.abs(whole[0])
        for row in whole[1:-1]:
            size += np.abs(row)
        size = np.fmax.reduce(size.sum(axis=0), axis=-1, initial=0.0)
        return 1.0 + float(np.max(np.where(self.of_rod, 4 * np.maximum(size[1], size[2]),
                                           size[0] + 4 * self.far)))

    def spine_gap(self, axes: list[np.ndarray], items: np.ndarray) -> tuple:
        """Distance of the middle lines of piece pairs (m,), mm, and its direction (3, m)."""
        return tube_gap(*(k[:, :1] + np.einsum("cqm,meq->cem", k[:, 1:], self.spine[pieces])
                          for k, pieces in zip(axes, self.sides[items].T, strict=True)))[:2]

    def between_middles(self, axes: list[np.ndarray], items: np.ndarray) -> np.ndarray:
        """From the middle of the first piece to that of the second: (3, m) mm."""
        one, other = (k[:, 0] + (k[:, 1:] * self.middle[pieces].T).sum(axis=1)
                      for k, pieces in zip(axes, self.sides[items].T, strict=True))
        return other - one

    def gap(self, axes: list[np.ndarray], items: np.ndarray, start: np.ndarray | None = None, *,
            near: bool = False) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Value, direction and closest points of piece pairs.

        Parameters
        ----------
        axes : list of two ndarray (3, 4, m)
            As `axes` gives them, all finite.
        items : ndarray of int, shape (m,)
        start : ndarray (3, m), optional
            Roughly from the first to the second.
        near : bool
            Whether a direction that is about right will do; of rough items it always does.

        Returns
        -------
        (ndarray (m,), ndarray (3, m), ndarray (3, m), ndarray (3, m))
            Signed gap in mm, unit direction from the first to the second, and the points on the
            two surfaces.
        """
        sides = self.sides[items].T
        value, found = np.empty(len(items)), np.empty((3, 3, len(items)))
        start = self.between_middles(axes, items) if start is None else start
        thin, near = self.round[items], near | self.rough[items]
        for here in (np.flatnonzero(k) for k in (thin, ~thin & near, ~thin & ~near)):
            if here.size:
                hulls = [self.posed(k[..., here], pieces[here])
                         for k, pieces in zip(axes, sides, strict=True)]
                value[here], *ways = tube_gap(*(hull.parts[0][1] for hull in hulls)) \
                    if thin[here[0]] else self._of_hulls(hulls, items[here], start[:, here],
                                                         near=near[here[0]])
                for kept, way in zip(found, ways, strict=True):
                    kept[:, here] = way
        radius = self.radius[sides]
        return (value - self.radii[items], found[0], found[1] + radius[0] * found[0],
                found[2] - radius[1] * found[0])

    def _of_hulls(self, hulls, items, start, *, near):
        """Distance of hulls, its direction and the closest points; depths one by one."""
        found = approach(*hulls, start, *((FEW_STEPS,) if near else ()))
        value, direction = np.sqrt((found.between**2).sum(axis=0)), found.direction
        if self.trees is not None:
            value = self._doubted(value, found.proven, items)
        one, other = found.foot, found.foot + found.between
        unsure = np.flatnonzero(~(value - found.proven <= (value / 2 if near else SETTLED))
                                & ~self.rough[items])  # what is rough need only be bounded
        for item in np.unique(items[unsure]):
            here = unsure[items[unsure] == item]
            pieces = [self.pieces[i] for i in self.sides[item]]
            posed = [hull.at(here)[:, :len(p.points)].transpose(2, 1, 0)
                     for hull, p in zip(hulls, pieces, strict=True)]
            deep = piece_gap(posed[0], pieces[0], posed[1], pieces[1])
            value[here] = deep.value + self.radii[item]
            direction[:, here] = deep.direction.T
            one[:, here] = (deep.point_a - pieces[0].radius * deep.direction).T
            other[:, here] = (deep.point_b + pieces[1].radius * deep.direction).T
        return value, direction, one, other

    def spines(self, posture: Posture, pieces: np.ndarray, cells: np.ndarray) -> np.ndarray:
        """Two ends of a line through each piece, which a round tube about it holds.

        Parameters
        ----------
        posture : Posture
        pieces, cells : ndarray of int, shape (n,) and (k,)
            Which, and at which positions or over which cells.

        Returns
        -------
        ndarray
            (3, 2, n, k) mm, or (rows, 3, 2, n, k) of enclosures.
        """
        plain = posture.rows is None
        found = np.empty((*(() if plain else (posture.rows,)), 3, 2, len(pieces), len(cells)))
        for seat, here in self.seated(pieces):
            axes, x = self.carried(posture, seat, cells), self.spine[pieces[here]]
            found[..., here, :] = axes[..., None, :1, :] + np.einsum(
                "...cqN,peq->...cepN", axes[..., 1:, :], x)
            if not plain:
                found[-1][..., here, :] = unknown(axes[-1][:, None, :1] + np.einsum(
                    "cqN,peq->cepN", axes[-1][:, 1:], np.abs(x)), found[0][..., here, :])
        return found

    def around(self, pieces: np.ndarray) -> np.ndarray:
        """Radius about its spine that holds each piece, mm."""
        return self.reach[pieces] * (1 + 1e-12) + 1e-9 + self.radius[pieces]


def spine_gaps(ends: np.ndarray, one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Distance of the spines of pairs of pieces: (3, 2, n, count) to (pairs, count), mm."""
    count = ends.shape[-1]
    flat = [ends[:, :, side].reshape(3, 2, -1) for side in (one, other)]
    with np.errstate(invalid="ignore"):
        return tube_gap(*flat)[0].reshape(len(one), count)


def measure(stage: Stage, posture: Posture, which: np.ndarray, cells: np.ndarray,
            loose: np.ndarray | None = None, below: np.ndarray | None = None) -> np.ndarray:
    """Gap of piece pairs at positions of a posture, shape (m,), mm; NaN out of reach.

    Parameters
    ----------
    stage : Stage
    posture : Posture
        Settled at n positions along one axis.
    which, cells : ndarray of int, shape (m,)
        Piece pairs, and the position of each.
    loose : ndarray (pieces,), optional
        As `Stage.looseness` gives it: pieces are then moved and grown towards each other by it.
    below : ndarray (pairs,), optional
        mm: of each pair of the stage only the least below this is asked for, and what is seen to
        be no nearer is left out, as NaN.
    """
    value = np.full(len(which), np.nan)
    for start in range(0, len(which), MOST):
        part = slice(start, start + MOST)
        value[part] = _measured(stage, posture, (which[part], cells[part]), loose, below)
    return value


def _measured(stage, posture, items, loose, below):
    which, cells = items
    value, axes = np.full(len(which), np.nan), stage.axes(posture, which, cells)
    good = in_reach(axes)
    if below is not None:
        good &= _may_be_least(stage, axes, which, (loose, below))
    if good.any():
        axes, some = [k[..., good] for k in axes], which[good]
        value[good], way, *_ = stage.gap(axes, some)
        if loose is not None:
            value[good] = _loosened(stage, axes, some, (way, loose))
    return value


def _may_be_least(stage, axes, which, asked):
    """Which items may have the least gap of their pair, by the middle lines of their pieces."""
    (loose, below), sides, pairs = asked, stage.sides[which], stage.pair_index[which]
    apart = np.nan_to_num(stage.spine_gap(axes, which)[0], nan=np.inf)
    # a spine is nowhere farther outside its piece than the piece's corners are from the spine
    most = apart + stage.reach[sides].sum(axis=1) - stage.radii[which] + TOUCHING
    off = 0.0 if loose is None else 2 * np.sqrt(3.0) * loose[sides].sum(axis=1)
    nearest = below.copy()
    np.minimum.at(nearest, pairs, most)
    return apart - stage.around(sides).sum(axis=1) - off <= nearest[pairs]


def in_reach(axes: list[np.ndarray]) -> np.ndarray:
    """Which of some items have both sides in reach: bool (m,)."""
    return np.isfinite(axes[0]).all(axis=(0, 1)) & np.isfinite(axes[1]).all(axis=(0, 1))


def _loosened(stage, axes, which, towards):
    """Gap of pieces of which each is moved, or a rod's tube grown, towards the other."""
    way, loose = towards
    moved, grown = [], np.zeros(len(which))
    for pieces, held, sense in zip(stage.sides[which].T, axes, (1.0, -1.0), strict=True):
        rods, off = stage.of_rod[stage.seat_of[pieces]], loose[pieces]
        grown += np.where(rods, off, 0.0)
        turn = np.sign(np.einsum("cam,cm->am", held[:, 1:], sense * way))
        held = held.copy()
        held[:, 0] += np.where(rods, 0.0, off) * np.einsum("cam,am->cm", held[:, 1:], turn)
        moved.append(held)
    return stage.gap(moved, which)[0] - grown


def _parts_held(clusters) -> Iterator[tuple]:
    """Of clusters of several pieces: the one that holds these, where they begin and how many."""
    for cluster in clusters:
        if len(cluster.parts) > 1:
            yield cluster.piece, (cluster.parts[0], len(cluster.parts))
