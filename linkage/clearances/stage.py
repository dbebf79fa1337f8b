"""Pieces carried to where a posture puts them, many pairs of pieces and stick positions at once.

Pieces that ride on one body share its seat: an origin and three unit vectors, carried once per
cell.  A point of a piece is the origin plus its coordinates along them.  A rod's tube is carried
by its two ends, and a piece of it by shares of the way from the one to the other.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from ..geometry import approach, hull_piece, piece_gap, tube_gap
from ..intervals import U, row_count, unknown
from ..motion import Posture, body_of
from .carrying import carried_points, combined, held_product, product, stacked
from .scene import Scene

CORNER_GROUPS = (3, 33)  # like corner counts are worked together: tubes, blocks, round plates
SETTLED = 1e-10  # mm between found and proven distance of two hulls, above which it is worked out
CLUSTER = 8  # pieces held by one while they are far


@dataclass(frozen=True)
class Cluster:
    """Neighbouring pieces of a solid, and one piece that holds them all.

    Attributes
    ----------
    piece : int
        The holding piece, or the only one.
    parts : tuple of int
    """

    piece: int
    parts: tuple[int, ...]


@dataclass(frozen=True)
class Seat:
    """What carries a piece: one body, or one under each end of a rod; and the frame it is seen in.

    Attributes
    ----------
    carriers : tuple of str
    frame : str
    origin : ndarray (points, 3)
        Points carried, mm: one origin, or the two ends.
    ends : tuple of str
        Hardpoints that the two ends are.
    """

    carriers: tuple[str, ...]
    frame: str
    origin: np.ndarray
    ends: tuple[str, ...] = ()


class Stage:
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

    def __init__(self, scene: Scene, pairs, solid=None, *, rough=False):
        self.scene, self.names = scene, []
        self._solid = (lambda pair, name: solid(name)) if solid else scene.solid_of
        self.system, self.pairs = scene.system, tuple(pairs)
        self.seats, self.pieces, self.seat_of = [], [], []
        known, seats, whole, parts, of = {}, {}, [], [], []
        for k, pair in enumerate(self.pairs):
            one, other = (self._placed(known, seats, self._solid(pair, name), pair.frame)
                          for name in (pair.first, pair.second))
            for a, b in itertools.product(one, other):
                if len(a.parts) * len(b.parts) > 1:
                    parts += [(k, i, j) for i in a.parts for j in b.parts]
                    of += [len(whole)] * (len(a.parts) * len(b.parts))
                whole.append((k, a.piece, b.piece))
        table = np.array(whole + parts, dtype=int).reshape(-1, 3)
        self.pair_index, self.sides = table[:, 0], table[:, 1:]
        self.first = len(whole)
        self._part_of = np.array(of, dtype=int)
        self.rough = np.full(len(table), rough)
        self.rough[np.unique(self._part_of)] = True
        self.seat_of = np.array(self.seat_of, dtype=int)
        self.corners = np.array([len(p.points) for p in self.pieces], dtype=int)
        self.radius = np.array([p.radius for p in self.pieces])
        self.round = (self.corners <= 2)[self.sides].all(axis=1)
        self.radii = self.radius[self.sides].sum(axis=1)
        self.static = np.array([not any(self._moves(seat)) for seat in self.seats], dtype=bool)
        self._lay_out()

    def _placed(self, known, seats, solid, frame):
        if (solid, frame) not in known:
            rod = solid.ends is not None
            key = ((solid.name, *solid.carriers) if rod else solid.carriers, frame)
            if key not in seats:
                seats[key] = len(self.seats)
                origin = solid.ends if rod else solid.pieces[0].points.mean(axis=0)[None]
                ends = self.scene.model.rods[body_of(solid.name)].ends if rod else ()
                self.seats.append(Seat(solid.carriers, frame, origin, ends))
            first = len(self.pieces)
            known[solid, frame] = [self._cluster(part, seats[key])
                                   for part in _clusters(solid.pieces)]
            self.names += [solid.name] * (len(self.pieces) - first)
        return known[solid, frame]

    def _cluster(self, pieces, seat):
        first = len(self.pieces)
        self.pieces += pieces
        if len(pieces) > 1:
            corners = np.unique(np.concatenate([p.points for p in pieces]), axis=0)
            self.pieces.append(hull_piece(corners, max(p.radius for p in pieces)))
        self.seat_of += [seat] * (len(self.pieces) - first)
        return Cluster(len(self.pieces) - 1, tuple(range(first, first + len(pieces))))

    def parts_of(self, items):
        """The finer items of rough ones: ``(which of `items`, finer items)``."""
        start, stop = (np.searchsorted(self._part_of, items, side) for side in ("left", "right"))
        back = np.repeat(np.arange(len(items)), stop - start)
        offset = np.arange(len(back)) - np.repeat(np.cumsum(stop - start) - (stop - start),
                                                  stop - start)
        return back, self.first + start[back] + offset

    def _moves(self, seat):
        return [joint not in self.system.plan.undriven for body in seat.carriers
                for joint, _ in self.system.plan.route(body, seat.frame)]

    def _lay_out(self):
        """Corners of every piece from the origin of its seat, filled up with the last one."""
        self.group = np.digitize(self.corners, CORNER_GROUPS)
        self.spine, self.reach = np.empty((len(self.pieces), 2, 3)), np.empty(len(self.pieces))
        self.local, self.row = {}, np.zeros(len(self.pieces), dtype=int)
        origins = np.array([self.seats[s].origin[0] for s in self.seat_of]).reshape(-1, 3)
        for g in np.unique(self.group):
            chosen = np.flatnonzero(self.group == g)
            most = self.corners[chosen].max()
            self.row[chosen] = np.arange(len(chosen))
            self.local[g] = np.stack([np.concatenate(
                [p, np.repeat(p[-1:], most - len(p), axis=0)]).T - o[:, None]
                for p, o in ((self.pieces[i].points, origins[i]) for i in chosen)])
            self.spine[chosen], self.reach[chosen] = _spines(self.local[g])
        self.share = np.array([self._shares(i) for i in range(len(self.pieces))]).reshape(-1, 2)

    def _shares(self, piece):
        """Where the two points of a rod's piece lie between the rod's ends; 0 and 1 of a whole."""
        ends = self.seats[self.seat_of[piece]].origin
        if len(ends) == 1:
            return 0.0, 1.0
        way = ends[1] - ends[0]
        return np.clip((self.pieces[piece].points - ends[0]) @ way / (way @ way), 0.0, 1.0)

    def _between_ends(self, ends, pieces):
        """Points of rods' pieces from the ends of their rods: (..., 2, m)."""
        share = self.share[pieces].T
        return (1 - share) * ends[..., :1, :] + share * ends[..., 1:, :]

    def by_corners(self, items):
        """Positions of items in groups of like corner counts, with the two counts."""
        group = self.group[self.sides[items]]
        for row in np.unique(group, axis=0):
            here = np.flatnonzero((group == row).all(axis=1))
            yield here, tuple(self.corners[self.sides[items[here]]].max(axis=0))

    def hulls(self, posture: Posture, items, cells, at=()) -> list:
        """Corners of both sides of items of like corner counts at some positions.

        Parameters
        ----------
        posture : Posture
            Settled at n positions, or enclosed over n cells.
        items, cells : ndarray of int, shape (m,)
            Piece pairs, and the position or cell each is asked at.
        at : tuple of float
            Where in its cell an enclosed posture is asked for, as shares of the half-widths; what
            its polynomial gives there is no more than near a posture.

        Returns
        -------
        list of two ndarray (3, corners, m)
        """
        found = []
        for pieces in self.sides[items].T:
            local = self.local[self.group[pieces[0]]][self.row[pieces]].transpose(1, 2, 0)
            hull = np.empty(local.shape)
            for seat, here in self.seated(pieces):
                if self.static[seat]:
                    hull[..., here] = local[..., here] + self.seats[seat].origin[0][:, None, None]
                    continue
                axes = self.carried(posture, seat, cells[here]) if posture.rows is None else \
                    self._about(posture, seat, at)[..., cells[here]]
                hull[..., here] = self._between_ends(axes, pieces[here]) if axes.shape[1] == 2 \
                    else axes[:, :1] + sum(axes[:, 1 + i, None] * local[i, :, here].T
                                           for i in range(3))
            found.append(hull)
        return found

    def _about(self, posture, seat, at):
        """What the polynomials of a seat give at a place in each cell: (3, 4 or 2, cells)."""
        def work():
            whole = self.carried(posture, seat, np.arange(posture.count))
            share, (i, j) = np.array(at), np.triu_indices(len(at))
            weights = np.concatenate([[1.0], share, share[i] * share[j]])
            return np.tensordot(weights, whole[:len(weights)], 1)

        return posture.remembered((self, seat, at), work)

    def seated(self, pieces):
        """Seats of some pieces, and which of them each carries."""
        seats = self.seat_of[pieces]
        for seat in np.unique(seats):
            yield seat, np.flatnonzero(seats == seat)

    def rows_of(self, posture, items):
        """Rows that count in the enclosures of some items: all but the shares that all lack."""
        def work(seat):
            whole = self.carried(posture, seat, np.arange(posture.count))
            return np.array([k.any() for k in whole])

        first = row_count(posture.inputs) - 1
        kept = np.ones(posture.rows, bool)
        kept[first:-1] = False
        for seat in np.unique(self.seat_of[self.sides[items]]):
            if not self.static[seat]:
                kept |= posture.remembered((self, seat, "shares"), lambda seat=seat: work(seat))
        return np.flatnonzero(kept)

    def along(self, posture, items, cells, direction, loose=None, kept=slice(None)):
        """Bounds of n.p for every corner p of both sides of items, over cells.

        Parameters
        ----------
        posture : EnclosedPosture
        items, cells : ndarray of int, shape (m,)
            Items of like corner counts.
        direction : ndarray (3, m) or (rows, 3, m)
            n held over the cell, or as an enclosure that turns.
        loose : ndarray (pieces,), optional
            As `looseness` gives it.
        kept : ndarray of int, optional
            Rows that are asked for.

        Returns
        -------
        list of two ndarray (rows, corners, m)
        """
        found, count = [], len(np.arange(posture.rows)[kept])
        if direction.ndim == 3:
            direction = direction[kept]
        for pieces in self.sides[items].T:
            local = self.local[self.group[pieces[0]]][self.row[pieces]].transpose(1, 2, 0)
            rows = np.empty((count, local.shape[1], len(items)))
            for seat, here in self.seated(pieces):
                n = direction[..., here]
                if self.static[seat]:
                    axes = self._fixed_axes(seat, n, count)
                else:
                    carried = self.carried(posture, seat, cells[here], kept)
                    axes = held_product(n, carried) if n.ndim == 2 else \
                        product(n, carried, posture.inputs)
                rows[..., here] = self._between_ends(axes, pieces[here]) if axes.shape[1] == 2 \
                    else combined(axes, local[..., here])
                if loose is not None:
                    # a rod's tube is grown all round, any other solid coordinate by coordinate
                    way = np.abs(n if axes.shape[1] == 2 else axes[:, 1:])
                    way = way.reshape(-1, 3, way.shape[-1]).sum(axis=0)
                    size = np.sqrt((way * way).sum(axis=0)) if axes.shape[1] == 2 else \
                        way.sum(axis=0)
                    rows[-1][:, here] += loose[pieces[here]] * size * (1 + 16 * U)
            found.append(rows)
        return found

    def looseness(self, tolerances) -> np.ndarray:
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

    def scale(self, posture) -> float:
        """Greatest coordinate in play over all cells of an enclosed posture, mm, and more."""
        return posture.remembered((self, "scale"), lambda: self._scale(posture))

    def _scale(self, posture):
        most, reach = 1.0, max(float(np.abs(k).sum(axis=1).max()) for k in self.local.values())
        for seat, held in enumerate(self.seats):
            origin = np.abs(held.origin).sum(axis=1).max()
            if not self.static[seat]:
                whole = self.carried(posture, seat, np.arange(posture.count))
                size = np.abs(whole[:-1]).sum(axis=(0, 1))
                origin = max(origin, np.nanmax(size[0 if len(size) == 4 else slice(None)],
                                               initial=0.0))
            most = max(most, float(origin))
        return most + 4 * reach

    def _fixed_axes(self, seat, n, count):
        """Direction along the origin and unit vectors of a seat that stands still, (rows, 4, m)."""
        if n.ndim == 2:
            n = np.concatenate([n[None], np.zeros((count - 1, *n.shape))])
        axes = np.empty((len(n), 4, n.shape[-1]))
        axes[:, 0] = np.einsum("rcm,c->rm", n, self.seats[seat].origin[0])
        axes[:, 1:] = n
        axes[-1] = 0.0
        return axes

    def carried(self, posture: Posture, seat: int, cells, kept=slice(None)):
        """Origin and unit vectors of a seat, or the ends of a rod, at some cells.

        Returns
        -------
        ndarray
            (3, 4 or 2, m) of floats, or (rows, 3, 4 or 2, m) of enclosures.
        """
        whole = posture.remembered((self, seat), lambda: self._carry(posture, self.seats[seat]))
        whole = whole[kept]
        return whole[..., cells] if whole.shape[-1] > 1 else np.broadcast_to(
            whole, (*whole.shape[:-1], len(cells)))

    def _carry(self, posture, seat):
        if len(seat.carriers) == 2:
            ends = [stacked(posture, posture.place(end, seat.frame)) for end in seat.ends]
            cells = max(end.shape[-1] for end in ends)
            return np.concatenate([np.broadcast_to(end, (*end.shape[:-1], cells))
                                   for end in ends], axis=-2)
        start = carried_points(posture, seat.carriers[0], seat.origin.T, seat.frame)
        turned = carried_points(posture, seat.carriers[0], np.eye(3), seat.frame, vectors=True)
        shape = (*start.shape[:-2], 4, max(start.shape[-1], turned.shape[-1]))
        whole = np.empty(shape)
        whole[..., :1, :], whole[..., 1:, :] = start, turned
        return whole

    def gap(self, hulls, items):
        """Value, direction and closest points of piece pairs at posed hulls (3, corners, m).

        Returns
        -------
        (ndarray (m,), ndarray (3, m), ndarray (3, m), ndarray (3, m))
            Signed gap in mm, unit direction from the first to the second, and the points on the
            two surfaces.
        """
        value, direction, one, other, sure = _measured(*hulls)
        unsure = np.flatnonzero(~sure & ~self.rough[items])  # what is rough need only be bounded
        for item in np.unique(items[unsure]):
            here = unsure[items[unsure] == item]
            pieces = [self.pieces[i] for i in self.sides[item]]
            posed = [hull[:, :len(p.points), here].transpose(2, 1, 0)
                     for hull, p in zip(hulls, pieces, strict=True)]
            found = piece_gap(posed[0], pieces[0], posed[1], pieces[1])
            value[here] = found.value + self.radii[item]
            direction[:, here] = found.direction.T
            one[:, here] = (found.point_a - pieces[0].radius * found.direction).T
            other[:, here] = (found.point_b + pieces[1].radius * found.direction).T
        radius = self.radius[self.sides[items]].T
        return (value - self.radii[items], direction, one + radius[0] * direction,
                other - radius[1] * direction)

    def spines(self, posture, pieces, count):
        """Two ends of a line through each piece, which a round tube about it holds.

        Parameters
        ----------
        posture : Posture
            Settled at `count` positions or cells.
        pieces : ndarray of int, shape (n,)
        count : int

        Returns
        -------
        ndarray
            (3, 2, n, count) mm, or (rows, 3, 2, n, count) of enclosures.
        """
        plain = posture.rows is None
        found = np.zeros((*(() if plain else (posture.rows,)), 3, 2, len(pieces), count))
        for seat, here in self.seated(pieces):
            axes = self.carried(posture, seat, np.arange(count))
            if axes.shape[-2] == 2:
                share = self.share[pieces[here]].T[..., None]
                found[..., here, :] = ((1 - share) * axes[..., :1, None, :]
                                       + share * axes[..., 1:, None, :])
                continue
            x = self.spine[pieces[here]]
            found[..., here, :] = axes[..., None, :1, :] + np.einsum(
                "...cqN,peq->...cepN", axes[..., 1:, :], x)
            if not plain:
                found[-1][..., here, :] = unknown(axes[-1][:, None, :1] + np.einsum(
                    "cqN,peq->cepN", axes[-1][:, 1:], np.abs(x)), found[0][..., here, :])
        return found

    def around(self, pieces):
        """Radius about its spine that holds each piece, mm."""
        return self.reach[pieces] * (1 + 1e-12) + 1e-9 + self.radius[pieces]


def spine_gaps(ends, one, other):
    """Distance of the spines of pairs of pieces: (3, 2, n, count) to (pairs, count), mm."""
    count = ends.shape[-1]
    flat = [ends[:, :, side].reshape(3, 2, -1) for side in (one, other)]
    with np.errstate(invalid="ignore"):
        return tube_gap(*flat)[0].reshape(len(one), count)


def _spines(local):
    """Long middle line of pieces (n, 3, corners), and how far corners lie from it."""
    middle = local.mean(axis=2)
    x = local - middle[:, :, None]
    way = np.linalg.eigh(np.einsum("nic,njc->nij", x, x))[1][:, :, -1]
    along = np.einsum("nic,ni->nc", x, way)
    aside = np.sqrt(((x - along[:, None] * way[:, :, None]) ** 2).sum(axis=1)).max(axis=1)
    low, high = along.min(axis=1), along.max(axis=1)
    half = np.maximum(0.0, (high - low) / 2 - aside)
    ends = middle[:, None] + way[:, None] * np.stack(
        [(low + high) / 2 - half, (low + high) / 2 + half], axis=1)[:, :, None]
    beyond = np.maximum(0.0, np.abs(along - ((low + high) / 2)[:, None]) - half[:, None])
    off = np.sqrt(((x - along[:, None] * way[:, :, None]) ** 2).sum(axis=1) + beyond**2)
    return ends, off.max(axis=1)


def _clusters(pieces):
    """Pieces in groups of near neighbours, halved along the longer side until small."""
    if len(pieces) <= CLUSTER:
        return [list(pieces)]
    middles = np.array([p.points.mean(axis=0) for p in pieces])
    order = np.argsort(middles[:, np.ptp(middles, axis=0).argmax()], kind="stable")
    half = len(order) // 2
    return [*_clusters([pieces[i] for i in order[:half]]),
            *_clusters([pieces[i] for i in order[half:]])]


def measure(stage: Stage, posture: Posture, which, cells, loose=None):
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
    """
    value = np.full(len(which), np.nan)
    for here, _ in stage.by_corners(which):
        hulls = stage.hulls(posture, which[here], cells[here])
        good = np.isfinite(hulls[0]).all(axis=(0, 1)) & np.isfinite(hulls[1]).all(axis=(0, 1))
        if good.any():
            hulls, some = [h[..., good] for h in hulls], here[good]
            value[some], way, *_ = stage.gap(hulls, which[some])
            if loose is not None:
                value[some] = _loosened(stage, posture, (which[some], cells[some]), hulls,
                                        (way, loose))
    return value


def _loosened(stage, posture, items, hulls, towards):
    """Gap of pieces of which each is moved, or a rod's tube grown, towards the other."""
    which, cells = items
    way, loose = towards
    moved, grown = [], np.zeros(len(which))
    for pieces, hull, sense in zip(stage.sides[which].T, hulls, (1.0, -1.0), strict=True):
        hull = hull.copy()
        for seat, here in stage.seated(pieces):
            if stage.seats[seat].ends:
                grown[here] += loose[pieces[here]]
                continue
            axes = np.broadcast_to(np.eye(3)[..., None], (3, 3, len(here))) \
                if stage.static[seat] else stage.carried(posture, seat, cells[here])[:, 1:]
            turn = np.sign(np.einsum("cam,cm->am", axes, sense * way[:, here]))
            hull[..., here] += (loose[pieces[here]] * np.einsum("cam,am->cm", axes,
                                                                turn))[:, None]
        moved.append(hull)
    return stage.gap(moved, which)[0] - grown


def _measured(hull_a, hull_b):
    """Distance of the hulls alone, its direction and feet, and whether it is settled."""
    if hull_a.shape[1] <= 2 and hull_b.shape[1] <= 2:
        return (*tube_gap(hull_a, hull_b), np.ones(hull_a.shape[-1], bool))
    found = approach(hull_a, hull_b, hull_b.mean(axis=1) - hull_a.mean(axis=1))
    value = np.sqrt((found.between**2).sum(axis=0))
    return (value, found.direction, found.foot, found.foot + found.between,
            value - found.proven <= SETTLED)
