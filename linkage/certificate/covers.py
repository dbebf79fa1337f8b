"""The cover of the real travel as a certificate holds it: cuts, and a witness where a stop touches.

What the library keeps and leaves out is the guide; a cell beyond is cut until the checker's own
test shows it past a stop, so that what hangs together with neutral is what the library kept.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, field
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from ..checker.lengths import Refused
from ..checker.solids import Line, Prism
from ..checker.travel import Stop, cut, faces, search_box
from ..errors import LinkageError
from ..stops.faces import bare_contacts, meeting
from .nearest import nearest, points, posed

if TYPE_CHECKING:
    from ..checker.leaves import Book
    from ..motion import System
    from ..stops.real import RealTravel

THIN = 1e-3  # degrees (mm) of a cell that is halved no further
SMALL = 1.0  # degrees (mm) of a cell that as built is halved no further without hope
BAND = 0.1  # degrees (mm) of a cell that as built is rather kept than halved
MOST = 4000  # leaves of one cover
BACK = (0.01, 0.03, 0.1, 0.3, 1.0)  # degrees (mm) before contact, to see which face meets
SAME = 1e-4  # mm between a face as the library has it and as the checker does
WITHIN = 1e-9  # degrees (mm) of ends that are the same
FULL = 0.9  # of the box about it, what is kept fills: as built then the box is kept, a little wider
WIDER = (0.02, 0.05, 0.1, 0.2, 0.4, 0.8)  # degrees (mm) that are tried
RIM = 0.05  # degrees (mm) that are shown to be past a stop about that box


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
    told = {name: _face(system, book, name) or {} for name in book.machine.stops}
    stops = {name: Stop(book, stop, told[name]) for name, stop in book.machine.stops.items()}
    for name, stop in stops.items():
        told[name] |= _at_neutral(book, stop) if stop.pair else {}
    return {"stops": told, "covers": [_Grower(book, stops, names, real).text()
                                      for names in _groups(book, stops)]}


def _groups(book, stops):
    """Inputs that stops tie together."""
    groups = [{name} for name in book.motion.names]
    for name, stop in stops.items():
        needed = {book.machine.stops[name]["input"], *stop.inputs()}
        tied = [group for group in groups if group & needed]
        groups = [group for group in groups if group not in tied] + [set().union(*tied)]
    return [[name for name in book.motion.names if name in group] for group in groups]


def _face(system, book, name):
    """Where the solids of a stop with a spacer come near, so that its face can be told."""
    stop = book.machine.stops[name]
    if "spacer" not in stop:
        return None
    made = meeting(system, name)
    met = bare_contacts(system).get(name, np.nan)
    if made.face is None or not np.isfinite(met):
        return None
    k, pair = book.motion.names.index(stop["input"]), book.pairs.pair(*stop["between"])
    book.sides(pair)
    for back in BACK:
        place = [0.0] * len(book.motion.names)
        place[k] = float(met - np.sign(met) * back)
        shown = points(book, pair, place)
        if shown is not None:
            told = {"at": place[k], "met": shown[1], "soon": _soon(book, stop, (k, met))}
            with suppress(Refused):
                if _same_face(Stop(book, stop, told), made, stop["spacer"]["on"]):
                    return told
    return None


def _soon(book, stop, met):
    """Where the bare solids of a stop are shown to touch soon after they meet, and a witness."""
    bare = Stop(book, {key: value for key, value in stop.items() if key != "spacer"}, None)
    bare.built, (k, at) = None, met
    for further in BACK:
        place = float(at + np.sign(at) * further)
        cell = tuple((place if i == k else 0.0,) * 2 for i in range(len(book.motion.names)))
        told = witness(book, bare, cell)
        if told is not None:
            return [place, *told]
    return [float(at)]


def _at_neutral(book, stop):
    """The direction from the one solid of a stop to the other at neutral."""
    neutral = tuple((0.0, 0.0) for _ in book.motion.names)
    hulls = [posed(book, stop.pair.frame, (name, pieces), neutral)
             for name, pieces in zip(stop.pair.names, stop.pieces, strict=True)]
    ways = []
    for (one, a), (other, b) in product(*hulls):
        apart, shares = nearest(a, b)
        ways.append((apart - one.radius - other.radius, (b @ shares[1] - a @ shares[0]).tolist()))
    return {"way": min(ways)[1]}


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
        # complexity over 10: which of the stops, and of what is past them, these inputs have
        self.book, self.names = book, names
        self.at = [book.motion.names.index(name) for name in names]
        self.stops = {name: stop for name, stop in stops.items()
                      if book.machine.stops[name]["input"] in names and stop.pair}
        box = search_box(book.machine)
        self.root = Leaf(box)
        whole = np.array([[box[k] for k in self.at]])
        self.kept, self.past = (self._of(real.inputs, real.travel.low, real.travel.high),
                                [self._of(*past) for past in real.past if past[0]
                                 and set(past[0]) <= set(names)]) if self.stops else (whole, [])
        self.past = np.concatenate([whole[:0], *self.past])
        if book.built and self.stops and _filled(self.kept) >= FULL:
            self._keep_a_box()

    def _of(self, inputs, low, high):
        """Cells of some inputs as cells of these: (n, inputs, 2), without repeats."""
        ends, box = np.stack([low, high], axis=-1), self.root.cell
        return np.unique(np.stack([ends[:, inputs.index(name)] if name in inputs else
                                   np.broadcast_to(box[k], (len(ends), 2))
                                   for name, k in zip(self.names, self.at, strict=True)], axis=1),
                         axis=0)

    def _keep_a_box(self):
        """As built keep the box about what is kept, so much wider that its rim is past stops.

        A build's edge slants and is shown less sharply than it is found: cell by cell it would
        take thousands of cells.
        """
        # complexity over 10: each end is widened by itself until all rims at once are shown
        box = np.stack([self.kept[..., 0].min(axis=0), self.kept[..., 1].max(axis=0)], axis=-1)
        wider = {(i, side): 0 for i in range(len(box)) for side in (0, 1)
                 if abs(box[i, side] - self.root.cell[self.at[i]][side]) > WITHIN}
        if not wider:  # no stop ends any of it
            return
        open_ = list(wider)
        while open_:
            if max(wider.values()) == len(WIDER):
                return
            wide = box.copy()
            for (i, side), k in wider.items():
                wide[i, side] += WIDER[k] * (1 if side else -1)
            rims = {end: _rim(wide, *end) for end in wider}
            open_ = [end for end, rim in rims.items() if not self._all_past(rim)]
            for end in open_:
                wider[end] += 1
        self.kept, self.past = wide[None], np.array(list(rims.values()))

    def _all_past(self, rim):
        """Whether all of a rim is shown to be past a stop, in parts."""
        ahead = [rim]
        while ahead:
            part = ahead.pop()
            if self._met(part):
                continue
            i = int(np.argmax(part[:, 1] - part[:, 0]))
            middle = part.mean(axis=1)
            if part[i, 1] - part[i, 0] <= BAND or not self._met(np.stack([middle] * 2, axis=1)):
                return False
            for side in (0, 1):
                half = part.copy()
                half[i, side] = middle[i]
                ahead.append(half)
        return True

    def _met(self, ends):
        """Whether a stop is shown to be met all over a cell of these inputs."""
        cell = list(self.root.cell)
        for k, (low, high) in zip(self.at, ends, strict=True):
            cell[k] = float(low), float(high)
        leaf = Leaf(tuple(cell))
        return any(witness(self.book, self.stops[name], leaf.cell) for name in self._likely(leaf))

    def text(self):
        """The cover in the words of the checker."""
        ahead = [self.root]
        while ahead:  # until each part is in a kept cell, or beyond all
            leaf = ahead.pop()
            inside, cut_at = self._among(leaf, self.kept)
            leaf.kept = inside
            ahead += self._cut(leaf, *cut_at) if cut_at else []
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

    def _among(self, leaf, cells):
        """Whether a leaf lies in one of some cells, and where it is to be cut at an end of one."""
        own = np.array([leaf.cell[k] for k in self.at])
        some = ((cells[..., 0] < own[:, 1] - WITHIN) & (cells[..., 1] > own[:, 0] + WITHIN)
                | (own[:, 0] == own[:, 1])).all(axis=1)
        inner = (cells[some] > own[:, :1] + WITHIN) & (cells[some] < own[:, 1:] - WITHIN)
        if some.any() and not inner.any(axis=(1, 2)).all():
            return True, None
        if not some.any():
            return False, None
        return False, min((self._cost(cells[some], own, i, end), self.at[i], end)
                          for i in range(len(own))
                          for end in np.unique(cells[some][:, i][inner[:, i]]))[1:]

    def _cost(self, cells, own, i, end):
        """How many cells are cut with a leaf, and how far from its middle."""
        through = (cells[:, i, 0] < end - WITHIN) & (cells[:, i, 1] > end + WITHIN)
        return through.sum(), abs(end - own[i].mean()) / (own[i, 1] - own[i, 0])

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
        # complexity over 10: which leaves are settled next is the search itself
        while True:
            leaves = [leaf for leaf in self._leaves() if leaf.word == "k"]
            open_ = [leaf for leaf in self._joined(leaves) if not leaf.kept]
            if not open_:
                return
            # behind what is shown first, the rest may not hang together with neutral
            for leaf in [k for k in open_ if any(self._among(k, self.past))] or open_:
                self._settle(leaf)
            if len(leaves) > MOST:
                self._give_up()

    def _settle(self, leaf):
        """Cut a leaf at the ends of what the library left out, show it to be so, or halve it."""
        inside, cut_at = self._among(leaf, self.past)
        if cut_at:
            self._cut(leaf, *cut_at)
        elif not (inside and self._shown(leaf)) and (
                self._hopeless(leaf) or not self._halved(leaf)):
            if not self.book.built:
                self._give_up()
            leaf.kept = True

    def _give_up(self):
        raise LinkageError(f"no certificate can be written: it is not shown where stops end "
                           f"{' and '.join(self.names)}")

    def _joined(self, leaves):
        """Those that hang together with neutral, over faces, edges and corners."""
        cells = np.array([[leaf.cell[k] for k in self.at] for leaf in leaves])
        found = ((cells[..., 0] <= 0) & (cells[..., 1] >= 0)).all(axis=1)
        ahead = list(np.flatnonzero(found))
        while ahead:
            cell = cells[ahead.pop()]
            more = ~found & ((cells[..., 0] <= cell[:, 1]) & (cells[..., 1] >= cell[:, 0])).all(
                axis=1)
            found |= more
            ahead += list(np.flatnonzero(more))
        return [leaves[k] for k in np.flatnonzero(found)]

    def _shown(self, leaf):
        for name in self._likely(leaf):
            told = witness(self.book, self.stops[name], leaf.cell)
            if told is not None:
                leaf.word, leaf.witness = "p", [name, *told]
                return True
        middle = tuple(((a + b) / 2,) * 2 for a, b in leaf.cell)
        if any(all(self.book.nowhere(s.pair, s.sides, cell) for cell in (middle, leaf.cell))
               for s in self.stops.values()):
            leaf.word = "o"
        return leaf.word == "o"

    def _hopeless(self, leaf):
        """As built, whether not even the middle of a small leaf is shown to be past a stop."""
        if not self.book.built or max(b - a for a, b in leaf.cell) > SMALL:
            return False
        middle = tuple(((a + b) / 2,) * 2 for a, b in leaf.cell)
        return not any(witness(self.book, self.stops[name], middle) for name in self._likely(leaf))

    def _likely(self, leaf):
        """Stops that a leaf is past, if any."""
        return [name for name in self.stops if self._beyond(leaf, name)] or self.stops

    def _beyond(self, leaf, name):
        """Whether a leaf lies beyond what is kept where a stop ends it."""
        stop = self.book.machine.stops[name]
        k = self.book.motion.names.index(stop["input"])
        kept = self.kept[:, self.at.index(k)]
        return leaf.cell[k][0] >= kept[:, 1].max() - WITHIN if stop["side"] == "greatest" else \
            leaf.cell[k][1] <= kept[:, 0].min() + WITHIN

    def _halved(self, leaf):
        k = max(self.at, key=lambda k: leaf.cell[k][1] - leaf.cell[k][0])
        low, high = leaf.cell[k]
        finest = BAND if self.book.built else THIN
        return high - low > finest and self._cut(leaf, k, (low + high) / 2)


def _filled(cells):
    """Share of the box about some cells that they fill; cells may overlap, which counts twice."""
    box = cells[..., 1].max(axis=0) - cells[..., 0].min(axis=0)
    return np.prod((cells[..., 1] - cells[..., 0])[:, box > 0] / box[box > 0], axis=1).sum()


def _rim(box, i, side):
    """The thin cell along one end of a box, and past its corners."""
    cell = box + [-RIM, RIM]
    cell[i] = sorted([box[i, side], box[i, side] + (RIM if side else -RIM)])
    return cell


def witness(book: Book, stop: Stop, cell: tuple) -> list | None:
    """Points that show a stop's solids to touch all over a cell, as the checker has them."""
    middle = tuple(((a + b) / 2,) * 2 for a, b in cell)
    names, frame = stop.pair.names, stop.pair.frame
    hulls = [posed(book, frame, (name, pieces), middle)
             for name, pieces in zip(names, stop.pieces, strict=True)]
    if None in hulls:
        return None
    for (i, (one, a)), (j, (other, b)) in product(*map(enumerate, hulls)):
        if _far_apart(a, b, sum(p.radius for p in (one, other) if isinstance(p, Line))):
            continue
        for told in _tried(book, stop, (i, a, one), (j, b, other), middle):
            if stop.touch(cell, told):
                return told
    return None


def _far_apart(a, b, radius):
    """Whether pieces are farther apart along an axis than their radii."""
    return (np.maximum(a.min(axis=1) - b.max(axis=1), b.min(axis=1) - a.max(axis=1))
            > radius).any()


def _tried(book, stop, one, other, middle):
    """Witnesses of two pieces to be tried."""
    (i, a, first), (j, b, second) = one, other
    apart, shares = nearest(a, b)
    if apart > sum(p.radius for p in (first, second) if isinstance(p, Line)) + SAME:
        return
    if isinstance(first, Line) or isinstance(second, Line):
        yield [0, [i, shares[0].tolist()], [j, shares[1].tolist()]]
        return
    for side, (mine, piece, theirs, wall) in enumerate(((i, first, j, second),
                                                        (j, second, i, first))):
        if isinstance(wall, Prism):
            home = book.known[stop.pair.names[1 - side]].carriers[0]
            seen = posed(book, home, (stop.pair.names[side], [piece]), middle)
            shares = None if seen is None else _deepest(seen[0][1], faces(wall))
            if shares is not None:
                yield [side, [mine, shares.tolist(), theirs]]


def _deepest(corners, beyond):
    """Shares of corners whose point lies deepest behind walls; None where it lies before one."""
    from scipy.optimize import linprog

    normals, most = np.array([n for n, *_ in beyond]), np.array([m for _, m, _ in beyond])
    count = corners.shape[1]
    found = linprog([*[0.0] * count, -1.0],
                    A_ub=np.column_stack([normals @ corners, np.ones(len(most))]), b_ub=most,
                    A_eq=[[*[1.0] * count, 0.0]], b_eq=[1.0],
                    bounds=[(0, None)] * count + [(None, None)])
    if not found.success or found.x[-1] <= 0:
        return None
    return np.maximum(found.x[:-1], 0.0)
