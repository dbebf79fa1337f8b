"""Bounds of the gap of pieces over a cell by a plane that turns, and the trees of them.

A tree says by construction which stick positions and which pieces each of its leaves is for:
a digit cuts an input at its middle, A and B halve the pieces of the first and of the second solid,
f is free (by the next plane), o is out of reach, j is at a joint that both parts share, x is
beyond what the stops leave.
"""

from __future__ import annotations

import math
from contextlib import suppress
from typing import TYPE_CHECKING

from flint import arb, arb_mat

from .builds import NARROW, NONE, Built, Cost
from .dimensions import in_build
from .lengths import AIRFRAME, Refused
from .loops import OutOfReach, halved
from .motion import DIGITS, Motion, carried, leaves_of
from .pairs import Pairs
from .rates import OutOfShow
from .sides import Side, Solid
from .solids import LOOSE, Line
from .taylor import UP, Taylor, lowest
from .vectors import dot, minus, plus

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from .pairs import Pair
    from .reading import Machine
    from .taylor import Table

LEAVES = [*"fojx"]
DEEPEST = 10  # times that the checker cuts a leaf that does not hold as it is


class Book:
    """A machine with its pairs, their pieces and its motion."""

    def __init__(self, machine: Machine, built: bool = False):
        self.machine, self.motion = machine, Motion(machine)
        self.built = Built(self.motion) if built else None
        self.travel = None  # a box that holds all the travel, once it is known
        self.pairs = Pairs(machine, self.motion.needs, built)
        self.known, self.roots = {}, {}

    def sides(self, pair: Pair) -> list[Side | None]:
        """The two solids of a pair, whole but for what lies at its joints; None if none is left."""
        found = []
        for name, pieces in zip(pair.names, self.pairs.sides(pair), strict=True):
            if name not in self.known:
                self.known[name] = Solid(self.pairs, self.motion, name)
            key = name, tuple(pieces)
            if key not in self.roots:
                self.roots[key] = Side(pieces, self.known[name]) if pieces else None
            found.append(self.roots[key])
        return found

    # ---------------------------------------------------------------- bounds

    def along(self, side: Side, frame: str, cell: tuple,
              n: Sequence[Taylor]) -> tuple[list, list, float]:
        """n.p of every corner of a side over a cell: rows of floats, and the rests of a seat."""
        seat = self.motion.seat(side.solid.carriers, frame, cell)
        parts = [dot(n, p) for p in seat]
        count = len(self.motion.table.names)
        whole = side.matrix * arb_mat([[t.c.get(k, arb(0)) for k in range(count)] for t in parts])
        rows = []
        for i in range(len(side.rows)):
            rows.append([float(whole[i, k].mid()) for k in range(count)])
        # what a ball or a float of a corner's polynomial may be off
        lost = sum(t.size for t in parts) * sum(side.most) * 2.0**-46
        return rows, [t.rest for t in parts], lost

    def bound(self, pair: Pair, sides: Sequence[Side], cell: tuple, plane: Sequence, *,
              enough: float = math.inf, drawn: bool = False) -> float:
        """A lower bound of the gap of two sides over a cell, in every build that is asked of."""
        table, self.moved, self.finer = self.motion.table, ((), 0.0), None
        n = turning(table, plane)
        (a, rest_a, lost_a), (b, rest_b, lost_b) = (self.along(s, pair.frame, cell, n)
                                                    for s in sides)
        lost = (lost_a + lost_b) * UP
        foot = max(range(len(a)), key=lambda i: a[i][0])
        rows_a, rows_b = (s.rows for s in sides)

        def apart(i, j):
            return lowest(table, minus(b[j], a[i]),
                          lost + spread(rest_a, rows_a[i]) + spread(rest_b, rows_b[j]))

        far_b = spread(rest_b, sides[1].most)
        rest_behind = lost + spread(rest_a, sides[0].spans)
        rest_ahead = lost + spread(rest_a, rows_a[foot]) + far_b
        behind = [lowest(table, minus(a[foot], row), rest_behind) for row in a]
        ahead = [lowest(table, minus(row, a[foot]), rest_ahead) for row in b]
        low = min(ahead) + min(min(behind), 0.0)
        near = min(range(len(b)), key=ahead.__getitem__)
        rest = spread(rest_a, sides[0].most) + far_b
        self.moved = [*map(abs, minus(b[near], a[foot]))], rest
        corners = behind, ahead, apart
        if drawn or not self.built:
            self.finer = *corners, NONE
            return self.less(low, n, sides)
        return self.in_every_build(pair, sides, cell, (low, n, enough, corners))

    def in_every_build(self, pair: Pair, sides: Sequence[Side], cell: tuple, known: tuple) -> float:
        """The same in every build, as far as what builds do has to be known to show enough."""
        low, n, enough, corners = known
        gap = self.less(low, n, sides)
        small = all(high - low <= NARROW for low, high in cell)
        for rough in (True, False) if gap >= enough and not small else ():
            far = gap - self.moved_at_most(pair, rough)
            if far >= enough:
                return far
        cost = Cost(self.built, pair, sides, cell, n)
        self.finer = *corners, cost
        return self.less(low - cost.most, n, sides)

    def moved_at_most(self, pair: Pair, rough: bool) -> float:
        """How much nearer builds bring two solids at most, anywhere in the travel."""
        if not self.travel:
            return math.inf
        return self.nearer_by(pair, lambda solid, frame: self.built.most_moved(
            solid, frame, self.travel, rough=rough))

    def nearer_by(self, pair: Pair, moved: Callable) -> float:
        """The moves of both solids, as seen from what carries both, or from the airframe."""
        return min(sum(moved(self.known[name], frame) for name in pair.names)
                   for frame in {pair.frame, AIRFRAME}) * UP

    def blamed(self, pair: Pair, sides: Sequence[Side], cell: tuple) -> int | None:
        """The input at whose middle a cell is best cut; None where it is a place.

        By the monomials that the last bound had each in, and by its rest, which is that of joints.
        """
        sizes, rest = self.moved
        wide = {k: high - low for k, (low, high) in enumerate(cell) if high > low}
        of_joints = self.rests_of_joints(pair, sides, cell, wide if rest else {})
        most = max(of_joints.values(), default=0.0)
        if 0 < most < math.inf:
            of_joints = {k: rest * size / most for k, size in of_joints.items()}
        return max(wide, default=None, key=lambda k: (
            sum(size for size, name in zip(sizes, self.motion.table.names, strict=False)
                if k in name) + of_joints.get(k, 0.0), wide[k]))

    def rests_of_joints(self, pair: Pair, sides: Sequence[Side], cell: tuple,
                        wide: dict) -> dict[int, float]:
        """The rests of the joints that a pair is moved by, each by the inputs that it needs."""
        motion, by_input = self.motion, dict.fromkeys(wide, 0.0)
        crossed = {j for side in sides for body in side.solid.bodies
                   for j, _ in motion.route(body, pair.frame) if j in motion.steps}
        for joint in crossed if wide else ():
            with suppress(OutOfReach):
                rest = motion.state(joint, cell)[2].rest
                for k in wide:
                    if motion.names[k] in motion.needs[joint]:
                        by_input[k] += rest * wide[k]
        return by_input

    def less(self, low: float, n: Sequence[Taylor], sides: Sequence[Side]) -> float:
        """A gap along a direction of some size, less the radii."""
        size = dot(n, n)
        size = math.sqrt(max(size.high() if low > 0 else size.low(), 0.0))
        size = size * UP if low > 0 else size / UP
        if not size > 0:
            return float("-inf")
        return low / size - (sides[0].radius + sides[1].radius) - abs(low) * 2.0**-48

    def free(self, pair: Pair, sides: Sequence[Side], cell: tuple, plane: Sequence, claim: float,
             depth: int = 0) -> bool:
        """Whether a gap is nowhere less than a claim in a cell, by a plane or by some cut of it."""
        boxes = tuple(side.box for side in sides)
        if boxes != sides and self.holds(pair, boxes, cell, (plane, claim), quick=True):
            return True
        ahead = [(cell, plane, depth)]
        while ahead:
            cell, plane, depth = ahead.pop()
            if self.holds(pair, sides, cell, (plane, claim)):
                continue
            k = self.blamed(pair, sides, cell) if depth < DEEPEST else None
            if k is None:
                return False
            ahead += [(part, rows, depth + 1) for part, rows in
                      zip(halved(cell, k), halved_plane(plane, k), strict=True)]
        return True

    def holds(self, pair: Pair, sides: Sequence[Side], cell: tuple, leaf: tuple, *,
              quick: bool = False) -> bool:
        """Whether a plane shows a claim in a cell as it is."""
        plane, claim = leaf
        try:
            return self.bound(pair, sides, cell, plane, enough=claim) >= claim or (
                not quick and self.by_pairs(sides, plane, claim))
        except OutOfReach:  # as drawn; some builds may reach it all the same
            return not self.built
        except OutOfShow:
            return False

    def by_pairs(self, sides: Sequence[Side], plane: Sequence, claim: float) -> bool:
        """The same by every pair of corners that the quick bound leaves in doubt."""
        behind, ahead, apart, cost = self.finer
        table = self.motion.table
        n = turning(table, plane)
        size = math.sqrt(max(dot(n, n).high(), 0.0)) * UP
        wanted = (claim + sides[0].radius + sides[1].radius) * size
        wanted += abs(wanted) * 2.0**-46
        if not wanted > 0:  # a plane without a direction shows nothing
            return False
        doubt = [(i, j) for i, p in enumerate(behind) for j, q in enumerate(ahead)
                 if not p + q - cost.most >= wanted]
        return len(doubt) <= 400 and all(apart(i, j) - cost.of(i, j) >= wanted for i, j in doubt)

    def nowhere(self, pair: Pair, sides: Sequence[Side], cell: tuple, depth: int = 0) -> bool:
        """Whether no position of a cell can be reached, as it is or in some cut of it."""
        if self.built:
            return False  # some build may reach it
        try:
            for side in sides:
                self.motion.seat(side.solid.carriers, pair.frame, cell)
        except OutOfReach:
            return True
        wide = [high - low for low, high in cell]
        return depth < DEEPEST and max(wide) > 0 and all(
            self.nowhere(pair, sides, part, depth + 1)
            for part in halved(cell, wide.index(max(wide))))

    def at_joint(self, pair: Pair, sides: Sequence[Side]) -> bool:
        """Whether a side lies in a ball about a joint that both parts share."""
        return any(all(math.dist(side.solid.at_neutral(corner), centre) + piece.radius
                       <= reach - LOOSE for piece in side.pieces for corner in piece.corners)
                   for side in sides for centre, reach in pair.balls)

    def met(self, pair: Pair, place: Sequence[float], spots: Sequence,
            build: list | None = None) -> float:
        """An upper bound of the gap at a place, by a point of each solid as shares of corners."""
        cell = tuple((float(k), float(k)) for k in place)
        motion, points, seats, radius = self.in_build(build), [], [], 0.0
        for name, pieces, at in zip(pair.names, self.pairs.sides(pair), spots, strict=True):
            solid, row = self.known[name], self.shared_row(name, pieces, at)
            seats.append(motion.seat(solid.carriers, pair.frame, cell))
            points.append(carried(seats[-1], row))
            spot = solid.drawn([float(k.mid()) for k in row])
            if any(math.dist(spot, centre) < reach for centre, reach in pair.balls):
                raise Refused("what is met lies at a joint that both parts share")
            piece = pieces[at[0]]
            radius += piece.radius if isinstance(piece, Line) else 0.0
        d = minus(*points)
        if build is not None:
            d, more = self.nearer(pair, seats, d)
            radius += more
        return math.sqrt(max(dot(d, d).high(), 0.0)) * UP - radius

    def in_build(self, build: list | None) -> Motion:
        """The joints in one build; as drawn without."""
        if build is None:
            return self.motion
        if not self.built:
            raise Refused("a build is told of a proof as drawn")
        motion = Motion(in_build(self.machine, self.built.dimensions, build))
        motion.origins = self.motion.origins
        return motion

    def nearer(self, pair: Pair, seats: Sequence, d: Sequence[Taylor]) -> tuple[list, float]:
        """The way between two solids, each moved nearer in its part, and by how much rods grow."""
        radius = 0.0
        for name, seat in zip(pair.names, seats, strict=True):
            loose = self.machine.loose[name]
            if self.known[name].ends:
                radius += loose
                continue
            for axis in seat[1:]:
                toward = math.copysign(loose, float(dot(d, axis).centre.mid()))
                d = plus(d, axis, -toward)
        return d, radius

    def shared_row(self, name: str, pieces: Sequence, spot: Sequence) -> list[arb]:
        """A point in the hull of a piece's corners, as shares of what carries its solid."""
        index, shares = spot
        if index not in range(len(pieces)):
            raise Refused("a point met lies in no piece")
        piece, solid = pieces[index], self.known[name]
        if len(shares) != len(piece.corners) or not all(k >= 0 for k in shares):
            raise Refused("a point met lies in no piece")
        total = sum((arb(k) for k in shares), arb(0))
        rows = [solid.row(corner) for corner in piece.corners]
        return [sum((arb(k) / total * arb(row[i]) for k, row in zip(shares, rows, strict=True)),
                    arb(0)) for i in range(len(rows[0]))]


def turning(table: Table, plane: Sequence) -> list[Taylor]:
    """A plane's normal as it turns over a cell, by its rows."""
    return [Taylor(table, {k: arb(row[c]) for k, row in enumerate(plane) if row[c] or not k})
            for c in range(3)]


def spread(rests: Sequence, row: Sequence) -> float:
    """How far a corner may be off along a plane's normal."""
    return sum(abs(x) * r for x, r in zip(row, rests, strict=True)) * UP


def parts_of(word: str, node: tuple, joined: bool) -> list[tuple] | None:
    """What a word of a tree cuts some sides over a cell into; None where it is a leaf."""
    sides, cell = node
    if word in ("A", "B"):
        k = "AB".index(word)
        return [((*sides[:k], part, *sides[k + 1:]), cell) for part in sides[k].halves(joined)]
    if word in DIGITS[:len(cell)]:
        return [(sides, part) for part in halved(cell, int(word))]
    if word not in LEAVES:
        raise Refused(f'a tree has a leaf of a kind not known, "{word}"')
    return None


def halved_plane(plane: Sequence, k: int) -> Iterator[list]:
    """A plane as it turns over either half of a cell cut at the middle of an input."""
    for sense in (-0.5, 0.5):
        rows = [list(row) for row in plane]
        rows[0] = plus(rows[0], rows[1 + k], sense)
        rows[1 + k] = [y / 2 for y in rows[1 + k]]
        yield rows


def walked(book: Book, pair: Pair, root: tuple, tree: object, planes: Iterable) -> Iterator[tuple]:
    """The leaves of a tree, in order: (what it is, sides, cell, plane)."""
    if not isinstance(tree, str):
        raise Refused("a tree is a word")
    planes = iter(planes)
    for word, (sides, cell) in leaves_of(tree, (tuple(book.sides(pair)), root), lambda word, node:
                                         parts_of(word, node, bool(pair.balls))):
        yield word, sides, cell, next(planes, None) if word == "f" else None
    if next(planes, None) is not None:
        raise Refused("a tree has more planes than it needs")
