"""Trees of leaves that a certificate holds, grown where the search's own bounds close them.

A node is the pieces of two solids over a cell of travel, as the checker cuts them; it is a leaf
where the bound over it is past what is claimed, and else it is cut further.
"""

from __future__ import annotations

import itertools
import math
from collections import Counter
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from ..checker.leaves import DEEPEST, Book, OutOfReach, halved
from ..checker.rates import OutOfShow
from ..checker.taylor import UP
from ..clearances.cell_bounds import bounds
from ..clearances.scene import Scene, Solid
from ..clearances.stage import Stage
from ..geometry import hull_piece

if TYPE_CHECKING:
    from collections.abc import Iterable

    from ..checker.pairs import Pair
    from ..checker.reading import Machine
    from ..clearances.scene import Pair as ScenePair

AIM = 1e-3  # mm that a bound has to be above what is claimed, so that the checker finds it too
CLOSE = 0.03  # mm above what is claimed, within which a gap is better shown by fewer pieces
SMALLEST = 1e-3  # degrees (mm) of a cell that is cut no further
FINEST = 0.1  # mm of a piece at a joint that is cut no further
COARSE = 4  # cuts of a cell after which sets of pieces are halved
MOST = 2_000  # nodes bounded at once, so that memory stays bounded
MOST_NODES = 12_000  # of a tree
MOST_BUILT, SMALL_BUILT = 400, 0.2  # nodes of a tree, and degrees (mm) of a cell, as built
PROBED = 4  # cuts of a cell not shown in builds, whose middle is then asked
OF_ALL = 8  # nodes that one over all travel counts for: of many pairs the moves are soon worth it
WORTH = 64  # nodes of a solid not shown in builds, that take as long as its moves over all travel


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
    sides: tuple
    root: Node | None = None
    nodes: int = 0
    known: bool = False  # whether how far builds move its solids is bounded over all travel
    place: tuple | None = None  # where it is least in some build: not shown there, it is nowhere


class Thrifty(Book):
    """A checker's book that bounds how far builds move a solid only where that is worth its while.

    It shows nothing that the checker does not; that bound takes as long as many nodes, and is
    then known of all of the solid's pairs.
    """

    def __init__(self, machine: Machine, built: bool = False):
        super().__init__(machine, built)
        self.missed = Counter()

    def moved_at_most(self, pair: Pair, rough: bool) -> float:
        """As the checker has it, or without end."""
        return super().moved_at_most(pair, rough) if rough or self.worth(pair) else math.inf

    def moved_at(self, pair: Pair, cell: tuple) -> float:
        """How much nearer builds bring two solids at most in a cell."""
        return self.nearer_by(pair, lambda solid, frame: self.built.moved(solid, frame, cell)[0])

    def miss(self, pair: Pair, count: int = 1) -> None:
        """Count a node that is not shown in builds."""
        for name in pair.names:
            self.missed[name] += count

    def worth(self, pair: Pair) -> bool:
        """Whether both solids of a pair are bounded over all travel."""
        return max(self.missed[name] for name in pair.names) >= WORTH


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
            if self._hopeful(tree):
                tree.root = Node(tree, tree.sides, root)
                ahead.append(tree.root)
        while ahead:
            ahead = [node for node in ahead if not self._left_out(node)]
            grown = []
            for start in range(0, len(ahead), MOST):
                grown += self._round(ahead[start:start + MOST])
            ahead = self._with_more_known(grown, root) if self.book.built else grown

    def _with_more_known(self, nodes, root):
        """Nodes, but of trees begun anew whose solids are now bounded over all travel."""
        anew = {node.tree: None for node in nodes if not node.tree.known and
                self.book.worth(node.tree.pair)}
        for tree in anew:
            tree.root, tree.nodes, tree.known = Node(tree, tree.sides, root), 0, True
        return [node for node in nodes if node.tree not in anew] + [tree.root for tree in anew]

    def _hopeful(self, tree):
        """Whether what is claimed is shown at the one place where it is least likely to be."""
        if tree.place is None or tree.pair.balls:
            return True
        about = tuple((k - SMALLEST, k + SMALLEST) for k in tree.place)
        ahead = [Node(tree, tree.sides, about, cuts=1, close=True)]
        while ahead:
            node = ahead.pop()
            found = self._bounded([node])
            if found.low[0] >= tree.claim and self._in_builds(node, found.planes[0]):
                continue
            side = self._to_halve(node, True)
            if side is None:
                return False
            ahead += self._halves(node, side)
        return True

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
        for i, (node, bound, plane) in enumerate(zip(nodes, search.low, search.planes,
                                                     strict=True)):
            node.tree.nodes += 1
            if self._closed(node, bound, plane):
                continue
            if node.looked_at != node.sides:
                node.close = True
                closer.append(node)
            else:
                to_cut.append(i)
        blamed = self._blamed(search.model[:, to_cut])
        parts = [part for i, blame in zip(to_cut, blamed, strict=True)
                 for part in self._within_most(nodes[i], search.value[i], blame)]
        return [node for node in closer + parts if node.tree.root is not None]

    def _closed(self, node, bound, plane):
        """Whether a bound makes a node a leaf: out of reach, or free by its plane."""
        if np.isnan(bound):
            node.word = "o"
        elif bound >= node.tree.claim + AIM and self._in_builds(node, plane):
            node.word, node.plane = "f", plane
        return node.word != ""

    def _blamed(self, model):
        """How much each input has a bound fall over half its cell: lists, and of all their rest.

        Cells are cut where the gap falls most, and where a bound gives most away.
        """
        count = len(self.names)
        blame = np.zeros((model.shape[1], len(self.book.motion.names)))
        blame[:, self.place] = np.abs(model[1:1 + count]).T
        for (i, j), bend in zip(itertools.combinations_with_replacement(self.place, 2),
                                model[1 + count:-1], strict=True):
            for k in (i, j):
                blame[:, k] += np.abs(bend) if i != j else np.maximum(-bend, 0.0)
        return zip(blame.tolist(), model[-1].tolist(), strict=True)

    def _within_most(self, node, gap, blame):
        """Parts of a node, unless its tree has become too large, which is then given up."""
        if node.tree.nodes <= (MOST_BUILT if self.book.built else MOST_NODES):
            return self._cut(node, gap, blame)
        node.tree.root = None
        return []

    def _in_builds(self, node, plane):
        """Whether the checker finds a plane good in every build too, where that is asked of."""
        if not self.book.built:
            return True
        plane = np.asarray(plane, dtype="<f4").astype(float).tolist()
        shown = self.book.free(node.tree.pair, node.sides, node.cell, plane, node.tree.claim,
                               DEEPEST - 1)
        if not shown:
            self.book.miss(node.tree.pair, 1 if node.cuts else OF_ALL)
            if node.cuts == PROBED and self._hopeless(node, plane[:1]):
                node.tree.root = None
        return shown

    def _hopeless(self, node, plane):
        """Whether at the middle of a cell no more is known of builds than is too little."""
        pair, middle = node.tree.pair, tuple(((a + b) / 2,) * 2 for a, b in node.cell)
        try:
            self.book.bound(pair, node.sides, middle, plane, enough=node.tree.claim)
        except OutOfShow:
            gap = self.book.bound(pair, node.sides, middle, plane, drawn=True)
            return gap - self.book.moved_at(pair, middle) < node.tree.claim
        except OutOfReach:  # as drawn: of builds that says nothing
            return False
        return False

    def _cut(self, node, gap, blame):
        """Its parts: of its pieces where these come too near at its middle, else of its cell."""
        tree, wide = node.tree, [b - a for a, b in node.cell]
        finest = SMALL_BUILT if self.book.built else SMALLEST
        inputs = [k for k in tree.inputs if wide[k] > finest]
        over = not (gap >= tree.claim + CLOSE or np.isnan(gap)) or not inputs
        side = self._to_halve(node, over)
        if side is not None:
            return self._halves(node, side)
        if not inputs:
            tree.root = None
            return []
        return self._in_cells(node, _most_to_blame(inputs, wide, blame))

    def _in_cells(self, node, k):
        node.word = str(k)
        node.parts = [Node(node.tree, node.sides, cell, node.cuts + 1, close=True)
                      for cell in halved(node.cell, k)]
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
        stage = Stage(self.scene, pairs, self.solids.__getitem__, rough=True)
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


def _most_to_blame(inputs, wide, blame):
    """The input by which a bound falls most; what it gives away is shared out by their widths."""
    (own, rest), total = blame, sum(wide)
    return max(inputs, key=lambda k: (own[k] + 2 * rest * wide[k] / total, wide[k]))
