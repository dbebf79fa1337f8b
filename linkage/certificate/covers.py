"""The cover of the real travel as a certificate holds it: cuts, and a witness where a stop touches.

What the library keeps is the guide; a cell beyond it is cut until the checker's own test shows it
past a stop, so that what hangs together with neutral is what the library kept.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, field
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from ..checker.reading import Refused
from ..checker.solids import Line, Prism
from ..checker.travel import Stop, cut, joined, search_box, walls
from ..errors import LinkageError
from ..stops.faces import meeting
from .nearest import nearest, points, posed

if TYPE_CHECKING:
    from ..checker.leaves import Book
    from ..motion import System
    from ..stops.real import RealTravel

THICK = 0.0125  # degrees (mm) of the cell beyond an end that is to be shown past a stop
ACROSS, NARROW = 2.0, 0.1  # degrees (mm) across it at first and at last
THIN = 1e-3  # degrees (mm) of such a cell at last
MOST = 4000  # leaves of one cover
BACK = (0.01, 0.03, 0.1, 0.3, 1.0)  # degrees (mm) before contact, to see which face meets
SAME = 1e-4  # mm between a face as the library has it and as the checker does
WITHIN = 1e-9  # degrees (mm) of ends that are the same


@dataclass(eq=False)
class Leaf:
    """A cell of a cover, and what became of it."""

    cell: tuple
    kept: bool = False
    word: object = "k"
    witness: list | None = None
    parts: list = field(default_factory=list)


def covers(system: System, book: Book, real: RealTravel) -> dict:
    """What a certificate holds of the real travel: covers, and where spacers' faces are told.

    Parameters
    ----------
    system : System
    book : Book
        The checker's reading of the same file.
    real : RealTravel

    Returns
    -------
    dict

    Raises
    ------
    LinkageError
        Where the checker is not shown what the library kept.
    """
    told = {name: _face(system, book, name) for name in book.machine.stops}
    told = {name: face for name, face in told.items() if face is not None}
    stops = {name: Stop(book, stop, told.get(name)) for name, stop in book.machine.stops.items()}
    return {"stops": told, "covers": [_Grower(book, stops, names, real).text()
                                      for names in _groups(book, stops)]}


def _groups(book, stops):
    """Inputs that stops tie together."""
    groups = [{name} for name in book.motion.names]
    for name, stop in stops.items():
        needed = {book.machine.stops[name]["input"]} | (
            book.pairs.inputs_of(stop.pair) if stop.pair else set())
        tied = [group for group in groups if group & needed]
        groups = [group for group in groups if not group & needed] + [set().union(*tied)]
    return [[name for name in book.motion.names if name in group] for group in groups]


def _face(system, book, name):
    """Where the solids of a stop with a spacer come near, so that its face can be told."""
    stop = book.machine.stops[name]
    if "spacer" not in stop:
        return None
    made = meeting(system, name)
    met = made.first(0.0)[1]
    if made.face is None or not np.isfinite(met):
        return None
    k, pair = book.motion.names.index(stop["input"]), book.pairs.pair(*stop["between"])
    book.sides(pair)
    for back in BACK:
        place = [0.0] * len(book.motion.names)
        place[k] = float(met - np.sign(met) * back)
        shown = points(book, pair, place)
        if shown is not None:
            told = {"at": place[k], "met": shown[1]}
            with suppress(Refused):
                if _same_face(Stop(book, stop, told), made, stop["spacer"]["on"]):
                    return told
    return None


def _same_face(stop, made, on):
    """Whether the checker puts a spacer on the face that the library does."""
    pad = stop.pieces[stop.pair.names.index(on)][-1]
    corners = np.array(pad.corners)
    away = np.linalg.norm(corners[:, None] - np.concatenate(
        [made.face, made.face + made.thickness * made.normal])[None], axis=-1)
    return (away.min(axis=1) < SAME).all() and (away.min(axis=0) < SAME).all()


class _Grower:
    """Grows the cover of some inputs."""

    def __init__(self, book, stops, names, real):
        self.book, self.names = book, names
        self.at = [book.motion.names.index(name) for name in names]
        self.stops = {name: stop for name, stop in stops.items()
                      if book.machine.stops[name]["input"] in names and stop.pair}
        box = search_box(book.machine)
        self.root = Leaf(box)
        self.kept = np.array([[box[k] for k in self.at]])
        if self.stops:
            columns = [real.inputs.index(name) if name in real.inputs else None for name in names]
            ends = np.stack([real.travel.low, real.travel.high], axis=-1)
            self.kept = np.unique(np.stack([
                np.broadcast_to(box[k], (len(ends), 2)) if c is None else ends[:, c]
                for c, k in zip(columns, self.at, strict=True)], axis=1), axis=0)

    def text(self):
        """The cover in the words of the checker."""
        self._sort_out()
        self._show_ends()
        tree, past, ahead = [], [], [self.root]
        while ahead:
            leaf = ahead.pop()
            tree.append(leaf.word)
            if leaf.witness:
                past.append(leaf.witness)
            ahead += leaf.parts[::-1]
        return {"inputs": self.names, "tree": tree, "past": past}

    def _cut(self, leaf, k, place):
        leaf.word = [k, float(place)]
        leaf.parts = [Leaf(cell) for cell in cut(leaf.cell, k, float(place), self.at)]
        return leaf.parts

    def _sort_out(self):
        """Cut the box at the ends of kept cells until each part is in one or beyond all."""
        ahead = [self.root]
        while ahead:
            leaf = ahead.pop()
            cell = np.array([leaf.cell[k] for k in self.at])
            some = ((self.kept[..., 0] < cell[:, 1] - WITHIN) & (
                self.kept[..., 1] > cell[:, 0] + WITHIN) | (cell[:, 0] == cell[:, 1])).all(axis=1)
            found = next(((k, end) for kept in self.kept[some] for k, ends, (low, high) in zip(
                self.at, kept, cell, strict=True) for end in ends
                if low + WITHIN < end < high - WITHIN), None)
            if found is None:
                leaf.kept = bool(some.any())
            else:
                ahead += self._cut(leaf, *found)

    def _leaves(self):
        ahead, found = [self.root], []
        while ahead:
            leaf = ahead.pop()
            ahead += leaf.parts
            if not leaf.parts:
                found.append(leaf)
        return found

    def _show_ends(self):
        """Show what hangs together with neutral and is not kept to be past a stop."""
        tried = set()
        while True:
            leaves = [leaf for leaf in self._leaves() if leaf.word == "k"]
            cells = {tuple(leaf.cell[k] for k in self.at): leaf for leaf in leaves}
            open_ = [cells[cell] for cell in map(tuple, joined([list(c) for c in cells]))
                     if not cells[cell].kept]
            if not open_:
                return
            for leaf in open_:
                if id(leaf) not in tried and self._shown(leaf):
                    continue
                tried.add(id(leaf))
                if len(leaves) > MOST or not self._cut_finer(leaf):
                    raise LinkageError(f"no certificate can be written: it is not shown where "
                                       f"stops end {' and '.join(self.names)}")

    def _shown(self, leaf):
        own = self._own(leaf)
        if any(high - low > 2 * THICK for k, (low, high) in enumerate(leaf.cell) if k == own):
            return False
        for name, stop in self.stops.items():
            told = witness(self.book, stop, leaf.cell)
            if told is not None:
                leaf.word, leaf.witness = "p", [name, *told]
                return True
        if any(self.book.nowhere(s.pair, s.sides, leaf.cell) for s in self.stops.values()):
            leaf.word = "o"
        return leaf.word == "o"

    def _own(self, leaf):
        """Input along which a cell lies beyond what is kept, or its widest."""
        low, high = self.kept[..., 0].min(axis=0), self.kept[..., 1].max(axis=0)
        for k, a, b in zip(self.at, low, high, strict=True):
            if leaf.cell[k][0] >= b - WITHIN or leaf.cell[k][1] <= a + WITHIN:
                return k
        return max(self.at, key=lambda k: leaf.cell[k][1] - leaf.cell[k][0])

    def _cut_finer(self, leaf):
        own = self._own(leaf)
        wide = {k: leaf.cell[k][1] - leaf.cell[k][0] for k in self.at}
        across = max((k for k in self.at if k != own), key=wide.get, default=own)
        low, high = leaf.cell[own]
        if wide[own] > 2 * THICK:
            place = low + THICK if low >= 0 else high - THICK if high <= 0 else (low + high) / 2
            return self._cut(leaf, own, place)
        if across != own and wide[across] > (ACROSS if wide[own] > THIN else NARROW):
            return self._cut(leaf, across, sum(leaf.cell[across]) / 2)
        return wide[own] > THIN and self._cut(leaf, own, (low + high) / 2)


def witness(book: Book, stop: Stop, cell: tuple) -> list | None:
    """Points that show a stop's solids to touch all over a cell, as the checker has them."""
    middle = tuple(((a + b) / 2,) * 2 for a, b in cell)
    names, frame = stop.pair.names, stop.pair.frame
    hulls = [posed(book, frame, (name, pieces), middle)
             for name, pieces in zip(names, stop.pieces, strict=True)]
    if None in hulls:
        return None
    for (i, (one, a)), (j, (other, b)) in product(*map(enumerate, hulls)):
        radius = sum(p.radius for p in (one, other) if isinstance(p, Line))
        if (a.min(axis=1) - radius > b.max(axis=1)).any() or (
                b.min(axis=1) - radius > a.max(axis=1)).any():
            continue
        for told in _tried(book, stop, (i, a, one), (j, b, other), middle):
            if stop.touch(cell, told):
                return told
    return None


def _tried(book, stop, one, other, middle):
    """Witnesses of two pieces to be tried."""
    (i, a, first), (j, b, second) = one, other
    if isinstance(first, Line) or isinstance(second, Line):
        shares = nearest(a, b)[1]
        yield [0, [i, shares[0].tolist()], [j, shares[1].tolist()]]
        return
    for side, (mine, piece, theirs, wall) in enumerate(((i, first, j, second),
                                                        (j, second, i, first))):
        if isinstance(wall, Prism):
            home = book.known[stop.pair.names[1 - side]].carriers[0]
            seen = posed(book, home, (stop.pair.names[side], [piece]), middle)
            shares = None if seen is None else _deepest(seen[0][1], list(walls(wall)))
            if shares is not None:
                yield [side, [mine, shares.tolist(), theirs]]


def _deepest(corners, beyond):
    """Shares of corners whose point lies deepest behind walls; None where it lies before one."""
    from scipy.optimize import linprog

    normals, most = np.array([n for n, _ in beyond]), np.array([m for _, m in beyond])
    count = corners.shape[1]
    found = linprog([*[0.0] * count, -1.0],
                    A_ub=np.column_stack([normals @ corners, np.ones(len(most))]), b_ub=most,
                    A_eq=[[*[1.0] * count, 0.0]], b_eq=[1.0],
                    bounds=[(0, None)] * count + [(None, None)])
    if not found.success or found.x[-1] <= 0:
        return None
    return np.maximum(found.x[:-1], 0.0)
