"""The travel that the stops leave: all that hangs together with neutral and is not shown past one.

A cover of some inputs is a tree in the order of its leaves: [input, place] cuts, k is kept, o is
out of reach of a stop, p is past a stop, by a witness: a point fixed in each of its two solids
that stay nearer than their radii, or one that stays inside a flat piece of the other, all over the
cell.  What is joined to neutral through cells that are not shown past is the travel, never less
than the truth.
"""

from __future__ import annotations

import math
from functools import partial
from itertools import compress, product
from typing import TYPE_CHECKING

from flint import arb_mat

from .lengths import EYE, Refused
from .loops import OutOfReach
from .motion import carried, leaves_of
from .rates import OutOfShow
from .sides import Side
from .solids import Line, Prism
from .taylor import UP, column, constant, middles, sizes
from .vectors import dot, edges, minus

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .leaves import Book
    from .reading import Machine

BEYOND = 10.0  # degrees (mm) past the wanted travel in which a stop is looked for
INSIDE = 1e-6  # mm that a witness stays within a flat piece, for what was rounded at its corners
SOON = 2.0  # degrees (mm) after it is told in which its stop has to meet
NEAR = 1.0  # mm: from no farther away a spacer's face is told
SURE = 1e-6  # mm that a plane between two solids may fall short of their nearest points


class Travel:
    """The stick positions that are judged, as boxes for each group of inputs."""

    def __init__(self, book: Book, told: dict):
        self.book, self.names = book, book.motion.names
        self.box, self.stops, self.sound = search_box(book.machine), {}, {}
        for name, stop in book.machine.stops.items():
            self.stops[name] = Stop(book, stop, told["stops"].get(name))
        self.groups, covered = [], []
        for cover in told["covers"]:
            at = [self.names.index(name) for name in cover["inputs"]]
            covered += at
            self.groups.append((at, self.kept(at, cover)))
        if sorted(covered) != list(range(len(self.names))):
            raise Refused("the covers are not of every input once")
        book.travel = self.root()

    def kept(self, at: list[int], cover: dict) -> list:
        """Cells of a cover that hang together with neutral."""
        cells, past = [], iter(cover["past"])
        for word, cell in leaves_of(cover["tree"], self.box, lambda word, cell: cut(
                cell, *word, at) if isinstance(word, list) else None):
            if word == "k":
                cells.append([cell[k] for k in at])
            elif word == "p":
                self.past(cell, next(past, None))
            elif word == "o":
                self.out_of_reach(cell)
            else:
                raise Refused(f"a cover has a leaf of a kind not known, {word!r}")
        found = joined(cells)
        if not found:
            raise Refused("neutral is shown past a stop")
        return found

    def past(self, cell: tuple, told: Sequence | None) -> None:
        """Hold a witness that a stop's solids touch all over a cell."""
        name, *witness = told
        if name not in self.sound:
            self.sound[name] = self.stops[name].pair and self.stops[name].apart_at_neutral()
        if not self.sound[name]:
            raise Refused(f'the solids of stop "{name}" are not shown to be apart at neutral')
        if not self.stops[name].touch(cell, witness):
            raise Refused(f'it is not shown to be past stop "{name}" near {cell}')

    def out_of_reach(self, cell: tuple) -> None:
        """Hold that the solids of some stop are nowhere within reach all over a cell."""
        if not any(stop.pair and self.book.nowhere(stop.pair, stop.sides, cell)
                   for stop in self.stops.values()):
            raise Refused(f"it is not shown to be out of reach near {cell}")

    def root(self) -> tuple:
        """The box about it all."""
        ends = [None] * len(self.names)
        for at, cells in self.groups:
            for k, spans in zip(at, zip(*cells, strict=True), strict=True):
                ends[k] = min(low for low, _ in spans), max(high for _, high in spans)
        return tuple(ends)

    def outside(self, cell: tuple) -> bool:
        """Whether no position of it lies in a cell but on its edge."""
        return any(all(apart([cell[k] for k in at], other) for other in cells)
                   for at, cells in self.groups)

    def holds(self, place: Sequence[float]) -> bool:
        """Whether a position lies in it."""
        return len(place) == len(self.names) and all(
            any(all(low <= place[k] <= high for k, (low, high) in zip(at, cell, strict=True))
                for cell in cells) for at, cells in self.groups)

    def open_ends(self) -> tuple[list, list]:
        """Ends of driven inputs at which no stop is, and ends at which it gets past all there."""
        driven = {name for name, _ in self.book.machine.drives.values()}
        free, missed = [], []
        for k, (name, (low, high)) in enumerate(zip(self.names, self.root(), strict=True)):
            for side, end, limit in (("least", low, self.box[k][0]),
                                     ("greatest", high, self.box[k][1])):
                if name in driven and end == limit:
                    has = any((s["input"], s["side"]) == (name, side)
                              for s in self.book.machine.stops.values())
                    (missed if has else free).append(f"{name} {side}")
        return free, missed


class Stop:
    """Two solids that end the travel where they touch, the spacer on its face."""

    def __init__(self, book: Book, stop: dict, told: dict | None):
        self.book, self.pair, self.told = book, book.pairs.pair(*stop["between"]), told or {}
        self.built = None  # while its faces are told, as they are drawn
        if self.pair:
            self.sides = tuple(book.sides(self.pair))
            self.pieces = [list(book.pairs.pieces[name]) for name in self.pair.names]
            self.more = [0.0, 0.0]  # mm that a spacer may be off
            if stop.get("spacer"):
                self.put_spacer(stop)
        self.built = book.built

    def put_spacer(self, stop: dict) -> None:
        """Put a spacer on; one whose face is not told is left out, which gives more travel."""
        side, thick = self.pair.names.index(stop["spacer"]["on"]), stop["spacer"]["thickness"]
        if not any(isinstance(p, Prism) for p in self.pieces[side]):
            self.pieces[side] = [Line(p.ends, p.radius + thick) for p in self.pieces[side]]
        elif "at" in self.told:
            cell = self.where_it_meets(stop)
            self.pieces[side].append(self.pad(side, cell, self.told["met"], thick))
        else:
            return
        self.more[side] = stop["spacer"].get("tolerance", self.book.machine.general["spacer"])

    def where_it_meets(self, stop: dict) -> tuple:
        """The position at which the face of a spacer is told, where its stop soon meets."""
        at, names = self.told["at"], self.book.motion.names
        sign = 1 if stop["side"] == "greatest" else -1
        if at * sign < 0:
            raise Refused("the face of a spacer is told at the other end")
        cell, soon = (tuple((k if name == stop["input"] else 0.0,) * 2 for name in names)
                      for k in (at, self.told["soon"][0]))
        # else one might tell of a face that is only passed nearby
        if not (0 <= (self.told["soon"][0] - at) * sign <= SOON
                and self.touch(soon, self.told["soon"][1:])):
            raise Refused("the face of a spacer is not told where its stop meets")
        return cell

    def inputs(self) -> frozenset:
        """Inputs that move its solids against each other."""
        return self.book.pairs.inputs_of(self.pair) if self.pair else frozenset()

    def apart_at_neutral(self) -> bool:
        """Whether its solids are shown not to touch at neutral: else they end no travel."""
        neutral = tuple((0.0, 0.0) for _ in self.book.motion.names)
        try:
            return "way" in self.told and self.all_apart(neutral, self.told["way"], SURE)
        except OutOfShow:
            return False

    def pad(self, side: int, cell: tuple, met: Sequence, thick: float) -> Prism:
        """A spacer on the face that looks most nearly at the other solid where both are near."""
        spots = [middles(self.spot(k, told, cell)) for k, told in enumerate(met)]
        axes = [middles(p) for p in self.seat(side, cell)[1:]]
        way = minus(spots[1], spots[0])
        far = math.hypot(*way)
        way = [k / far for k in way]
        gap = far - self.radius(met)
        if not (SURE < gap < NEAR and self.all_apart(cell, way, gap - SURE, drawn=True)):
            raise Refused("the face of a spacer is not told")
        sign = -1 if side else 1
        local = [sign * dot(way, axis) for axis in axes]
        piece = self.pieces[side][met[side][0]]
        return max(faces(piece), key=lambda face: dot(face[0], local))[2](thick)

    def all_apart(self, cell: tuple, way: Sequence[float], gap: float, drawn: bool = False) -> bool:
        """Whether no two pieces are nearer than a gap at a place, by a direction or an axis."""
        ways = [way, *([sign * k for k in axis] for axis in EYE for sign in (1.0, -1.0))]
        planes = [[w, *[[0.0] * 3 for _ in cell]] for w in ways]
        for pieces in product(*self.pieces):
            sides = [Side([p], self.book.known[name], more) for p, name, more in
                     zip(pieces, self.pair.names, self.more, strict=True)]
            if not any(self.book.bound(self.pair, sides, cell, n, drawn=drawn) >= gap
                       for n in planes):
                return False
        return True

    def seat(self, k: int, cell: tuple) -> list:
        """What carries one of the solids."""
        return self.book.motion.seat(self.book.known[self.pair.names[k]].carriers, self.pair.frame,
                                     cell)

    def spot(self, k: int, told: Sequence, cell: tuple) -> list:
        """A point of one of the solids over a cell, seen from the pair's frame."""
        return carried(self.seat(k, cell), self.row(k, told))

    def row(self, k: int, told: Sequence) -> list:
        """The same by shares of what carries the solid."""
        return self.book.shared_row(self.pair.names[k], self.pieces[k], told)

    def radius(self, met: Sequence) -> float:
        """Both radii of two pieces, of flat ones 0."""
        pieces = [self.pieces[k][told[0]] for k, told in enumerate(met)]
        return sum(p.radius for p in pieces if isinstance(p, Line))

    def touch(self, cell: tuple, told: Sequence) -> bool:
        """Whether a witness shows that they touch all over a cell."""
        if len(told) not in (2, 3) or told[0] not in (0, 1):
            return False
        first, *met = told
        try:
            return self.near(cell, met) if len(met) == 2 else self.inside(cell, first, met[0])
        except (OutOfReach, OutOfShow):
            return False

    def near(self, cell: tuple, met: Sequence) -> bool:
        """Whether points of two pieces stay nearer than the radii of the pieces."""
        p, q = (self.spot(k, told, cell) for k, told in enumerate(met))
        apart = minus(p, q)
        far = math.sqrt(max(dot(apart, apart).high(), 0.0)) * UP
        if self.built:
            one, other = (self.rates(k, self.row(k, told), self.pair.frame, cell)[0]
                          for k, told in enumerate(met))
            far += math.hypot(*(sum(row) for row in table_of(other - one))) * UP
            far += math.sqrt(3.0) * (self.loose(0) + self.loose(1)) * UP
        return far < self.radius(met) - INSIDE

    def inside(self, cell: tuple, first: int, told: Sequence) -> bool:
        """Whether a point of the one solid stays inside a flat piece of the other."""
        one, shares, other = told
        piece, home = self.pieces[1 - first][other], self.pair.names[1 - first]
        solids = [self.book.known[self.pair.names[k]] for k in (first, 1 - first)]
        if not isinstance(piece, Prism) or any(s.ends for s in solids):
            return False
        row, body = self.row(first, [one, shares]), self.book.known[home].carriers[0]
        seat = self.book.motion.seat(solids[0].carriers, body, cell)
        spot, ways = carried(seat, row), [column(k).transpose() for k in seat[1:]]
        moves = self.rates(first, row, body, cell) if self.built else ()
        return all(self.below(spot, normal, most - INSIDE - self.off(
            (first, ways, moves), normal)) for normal, most, _ in faces(piece))

    def off(self, point: tuple, normal: Sequence) -> float:
        """How much nearer to a wall of the other solid a point of the one may be in a build."""
        if not self.built:
            return 0.0
        (k, ways, (moves, turns)), square = point, column(normal)
        cost = sum(sizes((square.transpose() * moves).entries()))
        cost += self.loose(1 - k) * sum(map(abs, normal))
        cost += self.loose(k) * sum(sum(sizes((way * square).entries())) + sum(
            sizes((square.transpose() * turn).entries())) for way, turn in
            zip(ways, turns, strict=True))
        return cost * UP

    def loose(self, k: int) -> float:
        """How far builds may have the points of a solid off in each coordinate of its part."""
        return self.more[k] + self.book.machine.loose[self.pair.names[k]] if self.built else 0.0

    def rates(self, k: int, row: Sequence, frame: str, cell: tuple) -> tuple:
        """How builds move a point of a solid, and its ways, in three directions."""
        built = self.built
        seat = built.seat_to(self.book.known[self.pair.names[k]].carriers, frame, cell)
        seat = [arb_mat([r[built.dimensions.first:] for r in m.tolist()]) for m in seat]
        return sum((m * w for m, w in zip(seat[1:], row[1:], strict=True)),
                   seat[0] * row[0]), seat[1:]

    def below(self, spot: Sequence, normal: Sequence, most: float) -> bool:
        """Whether a point stays behind a wall."""
        table = self.book.motion.table
        return dot(spot, [constant(table, k) for k in normal]).high() < most


def table_of(matrix: arb_mat) -> list[list]:
    """Upper bounds of the sizes of a matrix of balls, row by row."""
    return [sizes(row) for row in matrix.tolist()]


def faces(piece: Prism) -> list[tuple]:
    """Faces of a prism: outward normal, how far out it is, and what spacer lies on it."""
    u, v, w = piece.axes
    low, high = piece.room
    found = [(w, high, lambda t: Prism(piece.outline, (high, high + t), piece.at, piece.axes)),
             ([-k for k in w], -low, lambda t: Prism(piece.outline, (low - t, low), piece.at,
                                                     piece.axes))]
    for a, b in edges(piece.outline):
        x, y = b[1] - a[1], a[0] - b[0]
        x, y = x / math.hypot(x, y), y / math.hypot(x, y)
        normal = [x * p + y * q for p, q in zip(u, v, strict=True)]
        found.append((normal, x * a[0] + y * a[1], partial(on_edge, piece, (a, b), (x, y))))
    return [(n, far + dot(n, piece.at), pad) for n, far, pad in found]


def on_edge(piece: Prism, ends: tuple, way: tuple, thick: float) -> Prism:
    """A spacer on the face that a side of a prism's outline makes."""
    a, b = ends
    c, d = ((p[0] + thick * way[0], p[1] + thick * way[1]) for p in ends)
    return Prism((b, a, c, d), piece.room, piece.at, piece.axes)


def search_box(machine: Machine) -> tuple:
    """Ends of each input: the wanted travel with neutral, or where its stops are looked for."""
    driven, found = {name for name, _ in machine.drives.values()}, []
    for name, (low, high, _) in machine.inputs.items():
        ends = [min(low, 0.0), max(high, 0.0)] if name in driven else [0.0, 0.0]
        for stop in machine.stops.values():
            if stop["input"] == name and name in driven:
                last = stop["side"] == "greatest"
                limit = stop.get("search", abs(high if last else low) + BEYOND)
                ends[last] = max(ends[1], limit) if last else min(ends[0], -limit)
        found.append(tuple(ends))
    return tuple(found)


def cut(cell: tuple, k: int, place: float, at: list[int]) -> list[tuple]:
    """A cell cut at a place, into two that hold all of it."""
    if k not in at or not cell[k][0] < place < cell[k][1]:
        raise Refused("a cover is cut where it is not")
    return [(*cell[:k], ends, *cell[k + 1:]) for ends in ((cell[k][0], place), (place, cell[k][1]))]


def joined(cells: list) -> list:
    """Cells that hang together with neutral, over faces, edges and corners."""
    ahead = [c for c in cells if all(low <= 0 <= high for low, high in c)]
    rest = [c for c in cells if c not in ahead]
    found = []
    while ahead:
        cell = ahead.pop()
        found.append(cell)
        near = [meet(cell, c) for c in rest]
        ahead += compress(rest, near)
        rest = list(compress(rest, [not k for k in near]))
    return found


def meet(cell: Sequence, other: Sequence) -> bool:
    """Whether two cells share a face, an edge or a corner."""
    return all(a[0] <= b[1] and b[0] <= a[1] for a, b in zip(cell, other, strict=True))


def apart(cell: Sequence, other: Sequence) -> bool:
    """Whether two cells have no position in common but on their edges."""
    return any(a[1] <= b[0] or b[1] <= a[0] if a[0] < a[1] else a[1] < b[0] or b[1] < a[0]
               for a, b in zip(cell, other, strict=True))
