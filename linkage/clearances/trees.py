"""Going down the trees of meshes: nodes and their children as further pieces of a stage.

An item of which one side is a node that can be opened is rough; opened, it becomes the items of
that node's children with the other side.  A stage grows by what is opened, and keeps it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..geometry.triangles import node_piece

if TYPE_CHECKING:
    from ..motion import Posture
    from .growing import Growing

LEADERS = 3  # items followed down to a triangle, of those that one begins with
STEPS_TO_NEAR = 1 << 13  # items asked at once on the way down at given positions


class Trees:
    """What a stage opens of the trees of its meshes.

    Parameters
    ----------
    stage : Growing
        Laid out, its meshes standing as their roots.
    roots : dict
        ``{piece: Triangles}``: the pieces that stand for a whole mesh.
    parts : dict
        ``{piece: (first, count)}``: of the pieces that hold others, where those stand.

    Attributes
    ----------
    of_pair : ndarray of bool (pairs,)
        Which pairs have a mesh.
    """

    def __init__(self, stage: Growing, roots: dict, parts: dict):
        self.stage = stage
        count = len(stage.pieces)
        self.first, self.count = np.zeros(count, int), np.zeros(count, int)
        self.tree, self.node = np.full(count, -1), np.zeros(count, int)
        self.size = np.zeros(count)
        self.meshes = list(dict.fromkeys(roots.values()))
        for piece, mesh in roots.items():
            self.tree[piece], self.size[piece] = self.meshes.index(mesh), mesh.tree.size[0]
            self.count[piece] = -1 if len(mesh) > 1 else 0
        for piece, (first, held) in parts.items():
            self.first[piece], self.count[piece] = first, held
            points = stage.pieces[piece].points
            self.size[piece] = np.linalg.norm(points - points.mean(axis=0), axis=1).max()
        self.of_pair = np.zeros(len(stage.pairs), bool)
        self.of_pair[stage.pair_index[(self.tree[stage.sides] >= 0).any(axis=1)]] = True
        mine = self.of_pair[stage.pair_index]
        stage.rough[mine] = (self.count[stage.sides[mine]] != 0).any(axis=1)
        self._opened = {}  # where the items stand that an item was opened into, and how many
        for mesh in self.meshes:
            stage.far = max(stage.far, 4 * float(np.abs(
                np.array(mesh.room) - mesh.tree.corners[0].mean(axis=0)).sum(axis=1).max()))

    def is_mesh(self, items: np.ndarray) -> np.ndarray:
        """Which items are of pairs that have a mesh: bool (m,)."""
        return self.of_pair[self.stage.pair_index[items]]

    def sizes(self, items: np.ndarray) -> np.ndarray:
        """How large the larger of both nodes of items is, mm: (m,)."""
        sides = self.stage.sides[items]
        return np.where(self.count[sides] != 0, self.size[sides], 0.0).max(axis=1)

    def roots_of(self, pairs: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """The items that pairs begin with: ``(which of `pairs`, items)``."""
        stage = self.stage
        known, back = np.unique(pairs, return_inverse=True)
        roots = [np.flatnonzero(stage.pair_index[:stage.first] == k) for k in known]
        each = [roots[k] for k in back]
        return (np.repeat(np.arange(len(pairs)), [len(k) for k in each]),
                np.concatenate([np.zeros(0, int), *each]))

    def parts_of(self, items: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """The finer items of rough ones of pairs with a mesh: ``(which of `items`, finer)``."""
        unknown = np.array([k for k in dict.fromkeys(items.tolist()) if k not in self._opened], int)
        if unknown.size:
            self._open_items(unknown)
        ends = np.array([self._opened[k] for k in items.tolist()], int).reshape(-1, 2)
        back = np.repeat(np.arange(len(items)), ends[:, 1])
        offset = np.arange(len(back)) - np.repeat(np.cumsum(ends[:, 1]) - ends[:, 1], ends[:, 1])
        return back, ends[back, 0] + offset

    def _open_items(self, items):
        stage = self.stage
        sides = stage.sides[items]
        wide = np.where(self.count[sides] != 0, 1.0 + self.size[sides], 0.0)
        which = wide.argmax(axis=1)
        place = np.arange(len(items))
        opened, other = sides[place, which], sides[place, 1 - which]
        self._open_pieces(np.unique(opened))
        count = self.count[opened]
        back = np.repeat(place, count)
        offset = np.arange(len(back)) - np.repeat(np.cumsum(count) - count, count)
        made = np.empty((len(back), 2), int)
        rows = np.arange(len(back))
        made[rows, which[back]] = self.first[opened][back] + offset
        made[rows, 1 - which[back]] = other[back]
        first = len(stage.pair_index) + np.cumsum(count) - count
        self._opened |= dict(zip(items.tolist(), zip(first.tolist(), count.tolist(), strict=True),
                                 strict=True))
        stage.add_items(stage.pair_index[items][back], made, (self.count[made] != 0).any(axis=1))

    def _open_pieces(self, pieces):
        """Let the children of some nodes be pieces of the stage."""
        for tree in np.unique(self.tree[pieces]):
            todo = pieces[(self.tree[pieces] == tree) & (self.count[pieces] < 0)]
            if tree < 0 or not todo.size:
                continue
            nodes, kept = self.node[todo], self.meshes[tree].tree
            kept.open(nodes)
            count = kept.count[nodes]
            self.first[todo] = len(self.count) + np.cumsum(count) - count
            self.count[todo] = count
            back = np.repeat(np.arange(len(todo)), count)
            made = kept.first[nodes][back] + np.arange(len(back)) - np.repeat(
                np.cumsum(count) - count, count)
            self._add(tree, made, todo[back])

    def _add(self, tree, nodes, parents):
        kept, stage = self.meshes[tree].tree, self.stage
        for name, more in (("first", np.zeros(len(nodes), int)),
                           ("count", np.where(kept.triangle[nodes] < 0, -1, 0)),
                           ("tree", np.full(len(nodes), tree)), ("node", nodes),
                           ("size", kept.size[nodes])):
            setattr(self, name, np.concatenate([getattr(self, name), more]))
        single = kept.triangle[nodes] >= 0
        pieces = [node_piece(*each) for each in zip(
            kept.corners[nodes], kept.radius[nodes].tolist(), single.tolist(), strict=True)]
        stage.add_pieces(pieces, kept.corners[nodes], np.where(single, 3, 4), parents)

    def leading(self, items: np.ndarray, posture: Posture,
                cells: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Single items likely to have the least gap of rough ones at a position each.

        Returns
        -------
        (ndarray of int (k,), ndarray of int (k,))
            Which of `items`, and the single items.
        """
        back, done = np.arange(len(items)), []
        while items.size:
            rough = self.stage.rough[items]
            done.append((back[~rough], items[~rough]))
            up, items = self.parts_of(items[rough])
            back = back[rough][up]
            if not items.size:
                break
            value = self._apart(posture, items, cells[back])
            order = np.lexsort((value, back))
            rank = np.arange(len(order)) - np.searchsorted(back[order], back[order])
            kept = order[rank < LEADERS]
            items, back = items[kept], back[kept]
        return tuple(np.concatenate(k) for k in zip(*done, strict=True)) if done else (back, items)

    def _apart(self, posture, items, cells):
        """About how far apart items are at a position each, by their middle lines: (m,) mm."""
        apart = self.stage.spine_gap(self.stage.axes(posture, items, cells), items)[0]
        return np.nan_to_num(apart, nan=np.inf)

    def near(self, pairs: np.ndarray, posture: Posture, cells: np.ndarray,
             below: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Single items of pairs that may be no farther apart than asked at a position each.

        Parameters
        ----------
        pairs, cells : ndarray of int (m,)
            Pairs that have a mesh, and a position of the posture each.
        posture : Posture
        below : ndarray (m,)
            mm.

        Returns
        -------
        (ndarray of int (k,), ndarray of int (k,))
            Which of `pairs`, and the single items; every item that is as near is one of them.
        """
        stage, done = self.stage, []
        back, items = self.roots_of(pairs)
        while items.size:
            keep = np.zeros(len(items), bool)
            for start in range(0, len(items), STEPS_TO_NEAR):
                part = slice(start, start + STEPS_TO_NEAR)
                keep[part] = ~(self._at_least(posture, items[part], cells[back[part]],
                                              below[back[part]]) > below[back[part]])
            items, back = items[keep], back[keep]
            rough = stage.rough[items]
            done.append((back[~rough], items[~rough]))
            up, items = self.parts_of(items[rough])
            back = back[rough][up]
        return tuple(np.concatenate(k) for k in zip(*done, strict=True)) if done else (
            np.zeros(0, int), np.zeros(0, int))

    def _at_least(self, posture, items, cells, below):
        """Lower bound of how far apart items are at a position each: (m,) mm; inf out of reach."""
        stage = self.stage
        axes = stage.axes(posture, items, cells)
        good = np.isfinite(axes[0]).all(axis=(0, 1)) & np.isfinite(axes[1]).all(axis=(0, 1))
        low = np.full(len(items), np.inf)
        some = np.flatnonzero(good)
        low[some] = stage.clear_along([k[..., some] for k in axes], items[some], below[some])
        return low
