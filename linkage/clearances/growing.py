"""What lets a stage grow while it goes down the trees of its meshes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..geometry import approach
from ..geometry.triangles import Triangles

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ..geometry import Piece
    from ..motion import Posture
    from .scene import Pair, Solid

GROUP = 6  # of the groups of like corner counts: nodes and triangles, four corners each
CLUSTER = 8  # pieces held by one while they are far
WORTH = 1.0  # sizes of a node by which its bound may lie off before its cell is halved
FEW_STEPS = 12  # towards the closest points of nodes


class Growing:
    """The part of a `Stage` that pieces and items are added to."""

    def solid_in(self, pair: Pair, side: int) -> Solid:
        """The first or second solid of a pair as it stands here."""
        return self._solid(pair, (pair.first, pair.second)[side])

    def seat_coordinates(self, piece: int, points: np.ndarray) -> np.ndarray:
        """Coordinates of points along the vectors of the seat of a piece: (n, 3)."""
        ends = self.seats[self.seat_of[piece]].origin
        if len(ends) == 1:
            return points - ends[0]
        way = ends[1] - ends[0]
        share = np.clip((points - ends[0]) @ way / (way @ way), 0.0, 1.0)
        return np.stack([1 - share, share, np.zeros_like(share)], axis=1)

    def add_items(self, pairs: np.ndarray, sides: np.ndarray, rough: np.ndarray) -> None:
        """Add piece pairs."""
        self.pair_index = np.concatenate([self.pair_index, pairs])
        self.sides = np.concatenate([self.sides, sides])
        self.rough = np.concatenate([self.rough, rough])
        self.round = np.concatenate([self.round, np.zeros(len(pairs), bool)])
        self.radii = np.concatenate([self.radii, self.radius[sides].sum(axis=1)])

    def add_pieces(self, pieces: list[Piece], corners: np.ndarray, counts: np.ndarray,
                   like: np.ndarray) -> None:
        """Add nodes and triangles.

        Parameters
        ----------
        pieces : list of Piece
        corners : ndarray (n, 4, 3)
            mm; of triangles the last one twice.
        counts : ndarray of int (n,)
            Corners of each.
        like : ndarray of int (n,)
            A piece each that rides on the same seat.
        """
        seats = self.seat_of[like]
        origins = np.array([seat.origin[0] for seat in self.seats])
        local = corners - origins[seats][:, None]
        spine, reach = spines_of(local.transpose(0, 2, 1))
        known = self.local.get(GROUP, np.empty((3, 4, 0)))
        row = known.shape[2] + np.arange(len(pieces))
        self.local[GROUP] = np.concatenate([known, local.transpose(2, 1, 0)], axis=2)
        self.pieces += pieces
        self.names += [self.names[k] for k in like]
        for name, more in (("seat_of", seats), ("corners", counts),
                           ("radius", np.array([p.radius for p in pieces])), ("spine", spine),
                           ("reach", reach), ("row", row), ("group", np.full(len(row), GROUP)),
                           ("middle", local.mean(axis=1))):
            setattr(self, name, np.concatenate([getattr(self, name), more]))

    def _parts_with_meshes(self, items):
        """As `parts_of`, of pairs with a mesh as far as they are opened yet."""
        mesh = self.trees.is_mesh(items)
        found = []
        for here, parts_of in ((np.flatnonzero(~mesh), self._listed_parts),
                               (np.flatnonzero(mesh), self.trees.parts_of)):
            if here.size:
                back, parts = parts_of(items[here])
                found.append((here[back], parts))
        if not found:
            return np.zeros(0, int), np.zeros(0, int)
        back, parts = (np.concatenate(k) for k in zip(*found, strict=True))
        order = np.argsort(back, kind="stable")
        return back[order], parts[order]

    def are_nodes(self, items: np.ndarray) -> np.ndarray:
        """Which items are of nodes about many triangles: bool (m,)."""
        if self.trees is None:
            return np.zeros(len(items), bool)
        return self.rough[items] & self.trees.is_mesh(items)

    def to_open(self, items: np.ndarray, bounds: tuple, small: np.ndarray) -> np.ndarray:
        """Which rough items gain more by finer pieces than by smaller cells: bool (m,).

        Parameters
        ----------
        items : ndarray of int (m,)
        bounds : (ndarray (m,), ndarray (m,))
            Gap at the middle of each one's cell and lower bound over it, mm.
        small : ndarray of bool (m,)
            Whose cells are halved no further.
        """
        nodes, deep = self.are_nodes(items), np.ones(len(items), bool)
        if nodes.any():
            value, low = (k[nodes] for k in bounds)
            size = self.trees.sizes(items[nodes])
            deep[nodes] = (value <= 0) | (value - low <= WORTH * size) | small[nodes]
        return deep

    def nearest_parts(self, items: np.ndarray,
                      posture: Posture) -> tuple[np.ndarray, np.ndarray]:
        """Finer items of rough ones, each at its own position of a posture.

        All of them, or of pairs with a mesh those that are likely nearest there.
        """
        mesh = self.trees.is_mesh(items)
        here, there = np.flatnonzero(~mesh), np.flatnonzero(mesh)
        back, parts = self._listed_parts(items[here])
        near, single = self.trees.leading(items[there], posture, there)
        return (np.concatenate([here[back], there[near]]),
                np.concatenate([parts, single]))

    def _doubted(self, value, proven, items):
        """Distances of rough items, those not settled taken for what is proven of them."""
        doubted = self.rough[items] & self.trees.is_mesh(items) & ~(value - proven <= value / 2)
        return np.where(doubted, np.where(np.isnan(proven), -1.0, np.minimum(proven, 0.0)), value)

    def clear_along(self, axes: list[np.ndarray], items: np.ndarray,
                    below: np.ndarray) -> np.ndarray:
        """Lower bound of the gap of items that axes (3, 4, m) carry, all in reach: (m,) mm.

        That of their middle lines where it is more than is asked for.
        """
        sides = self.sides[items].T
        low = self.spine_gap(axes, items)[0] - self.around(sides[0]) - self.around(sides[1])
        here = np.flatnonzero(~self.round[items] & ~(low > below))
        if here.size:
            hulls = [self.posed(k[..., here], pieces[here])
                     for k, pieces in zip(axes, sides, strict=True)]
            some = [k[..., here] for k in axes]
            found = approach(*hulls, self.between_middles(some, items[here]), FEW_STEPS)
            better = found.proven - self.radii[items[here]]
            low[here] = np.fmax(low[here], better)
        return low


def spines_of(local: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
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


def along_rods(shares: np.ndarray) -> np.ndarray:
    """Ends of what holds corners on rods, given as shares (n, corners): (n, 2, 3)."""
    ends = np.stack([shares.min(axis=1), shares.max(axis=1)], axis=1)
    return np.stack([1 - ends, ends, np.zeros_like(ends)], axis=2)


def middle_of(pieces: Sequence[Piece]) -> np.ndarray:
    """Where the seat of a solid has its origin."""
    return pieces.tree.corners[0].mean(axis=0) if isinstance(pieces, Triangles) else \
        pieces[0].points.mean(axis=0)


def clusters(solid: Solid) -> list[list[Piece]]:
    """Pieces of a solid in groups of near neighbours, halved along the longer side until small."""
    middles = np.array([p.points.mean(axis=0) for p in solid.pieces])

    def halved(which):
        if len(which) <= CLUSTER:
            return [[solid.pieces[i] for i in which]]
        order = which[np.argsort(middles[which][:, np.ptp(middles[which], axis=0).argmax()],
                                 kind="stable")]
        half = len(order) // 2
        return [*halved(order[:half]), *halved(order[half:])]

    return halved(np.arange(len(middles)))
