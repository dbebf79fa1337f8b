"""Trees of leaves that a certificate holds, grown where the search's own bounds close them.

A node is the pieces of two solids over a cell of travel, as the checker cuts them; it is a leaf
where the bound over it is past what is claimed, and else it is cut further.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from ..checker.leaves import DEEPEST, halved
from ..checker.taylor import UP
from ..clearances.cell_bounds import bounds
from ..clearances.scene import Scene, Solid
from ..clearances.stage import Stage
from ..geometry import hull_piece

if TYPE_CHECKING:
    from collections.abc import Iterable

    from ..checker.leaves import Book
    from ..checker.pairs import Pair
    from ..clearances.scene import Pair as ScenePair

AIM = 1e-3  # mm that a bound has to be above what is claimed, so that the checker finds it too
SMALLEST = 1e-3  # degrees (mm) of a cell that is cut no further
FINEST = 0.1  # mm of a piece at a joint that is cut no further
COARSE = 4  # cuts of a cell after which sets of pieces are halved
MOST = 2_000  # nodes bounded at once, so that memory stays bounded
MOST_NODES = 12_000  # of a tree
MOST_BUILT, SMALL_BUILT = 400, 0.2  # nodes of a tree, and degrees (mm) of a cell, as built


@dataclass(eq=False)
class Node:
    """Pieces of two solids over a cell, and what became of it."""

    tree: Tree
    sides: tuple
    cell: tuple
    cuts: int = 0
    word: str = ""
    plane: np.ndarray | None = None
    parts: list = field(default_factory=list)
    close: bool = False  # whether boxes about its sides do not do

    @property
    def looked_at(self) -> tuple:
        """Its sides, or boxes about them."""
        return self.sides if self.close else tuple(side.box for side in self.sides)

    def text(self) -> tuple[str, list]:
        """The tree below it in the words of the checker, and the planes of its free leaves."""
        words, planes, ahead = [], [], [self]
        while ahead:
            node = ahead.pop()
            words.append(node.word)
            if node.plane is not None:
                planes.append(node.plane)
            ahead += node.parts[::-1]
        return "".join(words), planes


@dataclass(eq=False)
class Tree:
    """What is claimed of a pair, and how it is shown; `root` is None where it could not be."""

    pair: object
    claim: float
    inputs: tuple
    root: Node | None = None
    nodes: int = 0
    place: tuple | None = None  # where it is least in some build: not shown there, it is nowhere


class Grower:
    """Grows the trees of many pairs of a scene together."""

    def __init__(self, scene: Scene, book: Book, travel: tuple):
        names, self.travel = travel
        self.scene, self.book, self.names = scene, book, list(names)
        self.place = [book.motion.names.index(name) for name in self.names]
        self.solids, self.sides = {}, {}

    def grow(self, trees: Iterable[Tree], root: tuple) -> None:
        """Grow trees over a cell."""
        ahead = []
        for tree in trees:
            sides = tuple(self.book.sides(tree.pair))
            if self._hopeful(tree, sides):
                tree.root = Node(tree, sides, root)
                ahead.append(tree.root)
        while ahead:
            ahead = [node for node in ahead if not self._left_out(node)]
            grown = []
            for start in range(0, len(ahead), MOST):
                grown += self._round(ahead[start:start + MOST])
            ahead = grown

    def _hopeful(self, tree, sides):
        """Whether what is claimed is shown at the one place where it is least likely to be."""
        if tree.place is None or tree.pair.balls:
            return True
        node = Node(tree, sides, tuple((k - SMALLEST, k + SMALLEST) for k in tree.place),
                    close=True)
        found = self._bounded([node])
        return found.low[0] >= tree.claim and self._in_builds(node, found.planes[0])

    def _left_out(self, node):
        if node.tree.pair.balls and self.book.at_joint(node.tree.pair, node.sides):
            node.word = "j"
        elif self.travel.outside(node.cell):
            node.word = "x"
        return node.word != ""

    def _round(self, nodes):
        """What comes next of nodes: those that are no leaves looked at closer, then cut."""
        search = self._bounded(nodes)
        closer, to_cut = [], []
        for node, bound, plane, gap in zip(nodes, search.low, search.planes, search.value,
                                           strict=True):
            node.tree.nodes += 1
            if self._closed(node, bound, plane):
                continue
            if node.looked_at != node.sides:
                node.close = True
                closer.append(node)
            else:
                to_cut.append((node, gap))
        parts = [part for node, gap in to_cut for part in self._within_most(node, gap)]
        return [node for node in closer + parts if node.tree.root is not None]

    def _closed(self, node, bound, plane):
        """Whether a bound makes a node a leaf: out of reach, or free by its plane."""
        if np.isnan(bound):
            node.word = "o"
        elif bound >= node.tree.claim + AIM and self._in_builds(node, plane):
            node.word, node.plane = "f", plane
        return node.word != ""

    def _within_most(self, node, gap):
        """Parts of a node, unless its tree has become too large, which is then given up."""
        if node.tree.nodes <= (MOST_BUILT if self.book.built else MOST_NODES):
            return self._cut(node, gap)
        node.tree.root = None
        return []

    def _in_builds(self, node, plane):
        """Whether the checker finds a plane good in every build too, where that is asked of."""
        if not self.book.built:
            return True
        plane = np.asarray(plane, dtype="<f4").astype(float).tolist()
        return self.book.free(node.tree.pair, node.sides, node.cell, plane, node.tree.claim,
                              DEEPEST - 1)

    def _cut(self, node, gap):
        """Its parts: of its pieces where these come too near at its middle, else of its cell."""
        tree, wide = node.tree, [b - a for a, b in node.cell]
        inputs = [k for k in tree.inputs if wide[k] > (SMALL_BUILT if self.book.built
                                                       else SMALLEST)]
        over = not (gap >= tree.claim + 2 * AIM or np.isnan(gap)) or not inputs
        side = self._to_halve(node, over)
        if side is not None:
            return self._halves(node, side)
        if not inputs:
            tree.root = None
            return []
        k = max(inputs, key=lambda k: wide[k])
        node.word = str(k)
        node.parts = [Node(tree, node.sides, cell, node.cuts + 1, close=True) for cell in
                      halved(node.cell, k)]
        return node.parts

    def _to_halve(self, node, over):
        """Which of its sides is to be halved; None where its cell is to be cut."""
        long = [len(side.pieces) for side in node.sides]
        if max(long) > 1 and (over or node.cuts >= COARSE):
            return long.index(max(long))
        if node.tree.pair.balls and over:
            long = [self._long_at_joint(node.tree.pair, side) for side in node.sides]
            if max(long) > FINEST:
                return long.index(max(long))
        return None

    def _long_at_joint(self, pair, side):
        """Longest side of a piece that reaches into a ball about a joint of the pair, mm."""
        name, ends = side.solid.name, side.solid.ends
        share = max((p.long for p in side.pieces for centre, reach in pair.balls
                     if self.book.pairs.away(name, p, centre) < reach), default=0.0)
        return share * (math.dist(*ends) if ends else 1.0)  # of a rod its pieces know their share

    def _halves(self, node, k):
        node.word = "AB"[k]
        node.parts = [Node(node.tree, (part, node.sides[1]) if k == 0 else (node.sides[0], part),
                           node.cell, node.cuts, close=True)
                      for part in node.sides[k].halves(bool(node.tree.pair.balls))]
        return node.parts

    def _bounded(self, nodes):
        """What the search's own bounds have of nodes."""
        known, pairs, which = {}, [], []
        for node in nodes:
            key = (node.tree.pair.frame, *node.looked_at)
            if key not in known:
                known[key] = len(pairs)
                pairs.append(self.scene_pair(node.tree.pair, node.looked_at))
            which.append(known[key])
        stage = Stage(self.scene, pairs, self.solids.__getitem__)
        cells = np.array([node.cell for node in nodes])[:, self.place]
        unique, cell = np.unique(cells.reshape(len(nodes), -1), axis=0, return_inverse=True)
        ends = unique.reshape(len(unique), -1, 2)
        middle = (ends[..., 0] + ends[..., 1]) / 2
        half = np.maximum(ends[..., 1] - middle, middle - ends[..., 0]) * UP
        enough = np.array([node.tree.claim + AIM for node in nodes])
        return bounds(stage, (np.array(which), cell.reshape(-1)), (self.names, middle, half),
                      None, enough)

    def scene_pair(self, pair: Pair, sides: tuple) -> ScenePair:
        """A pair of the scene that stands for two sets of pieces."""
        names = [self._solid_of(side) for side in sides]
        first = next(iter(self.scene.pairs.values()))
        return replace(first, first=names[0], second=names[1], required=0.0, frame=pair.frame,
                       inputs=tuple(self.names))

    def _solid_of(self, side):
        if side not in self.sides:
            name = side.solid.name
            self.sides[side] = key = f"{name}/{len(self.sides)}"
            rod = side.solid.ends is not None
            corners = [side.solid.at_neutral(c) for c in side.corners]
            self.solids[key] = Solid(name, (hull_piece(corners, side.radius),),
                                     self.scene.carriers(name),
                                     np.array(side.solid.ends) if rod else None)
        return self.sides[side]
