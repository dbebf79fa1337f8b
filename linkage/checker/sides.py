"""The pieces of one solid of a pair, by what carries them."""

from __future__ import annotations

from functools import cached_property
from itertools import product
from typing import TYPE_CHECKING

from flint import arb, arb_mat

from .lengths import Refused, part_of
from .vectors import minus, plus, spans

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from .motion import Motion
    from .pairs import Pairs


class Solid:
    """What carries a solid, and its corners from there."""

    def __init__(self, pairs: Pairs, motion: Motion, name: str):
        self.name, rod = name, pairs.machine.rods.get(part_of(name))
        self.ends = rod and [pairs.machine.points[end] for end in rod.ends]
        self.bodies = pairs.carriers(name)
        self.carriers = tuple(zip(self.bodies, rod.ends, strict=True)) if rod else self.bodies
        self.origin = None if rod else motion.origin(self.carriers[0])
        self.room = self.about(pairs.pieces[name])

    def about(self, pieces: Iterable) -> list[tuple]:
        """Corners of a box about it, as shares of what carries it; of a rod its ends."""
        if self.ends:
            return [(1.0, 0.0), (0.0, 1.0)]
        return [self.row(k) for k in box_about([c for p in pieces for c in p.corners])]

    def row(self, corner: Sequence) -> tuple[float, ...]:
        """A corner as shares of what carries it."""
        if self.ends:
            return 1 - corner[0], corner[0]
        return (1.0, *minus(corner, self.origin))

    def at_neutral(self, corner: Sequence) -> Sequence:
        """Where a corner is at neutral, mm."""
        return self.drawn(self.row(corner)) if self.ends else corner

    def drawn(self, row: Sequence) -> Sequence[float]:
        """Where a point given by shares of what carries it is at neutral, mm."""
        if self.ends:
            return [row[0] * p + row[1] * q for p, q in zip(*self.ends, strict=True)]
        return plus(row[1:], self.origin)


class Side:
    """The pieces of one solid of a pair in a leaf: corners by what carries them, and a radius."""

    def __init__(self, pieces: Iterable, solid: Solid, more: float = 0.0,
                 corners: Iterable | None = None):
        self.pieces, self.solid, self.more = tuple(pieces), solid, more  # mm that a spacer is off
        corners = corners or dict.fromkeys(c for p in self.pieces for c in p.corners)
        self.radius, self.corners = max(p.radius for p in self.pieces), list(corners)
        self.rows = [solid.row(corner) for corner in corners]
        self.matrix = arb_mat([[arb(k) for k in row] for row in self.rows])
        ends = spans(self.rows)
        self.most = [max(-low, high) for low, high in ends]
        self.spans = [high - low for low, high in ends]
        self._halves = None

    @cached_property
    def box(self) -> Side:
        """A box about it; itself where that has no fewer corners."""
        if len(self.corners) <= 8:
            return self
        return Side(self.pieces, self.solid, self.more, box_about(self.corners))

    def halves(self, joined: bool) -> list[Side]:
        """Two sides that hold all of it."""
        if self._halves is None:
            if len(self.pieces) > 1:
                parts = sorted_halves(self.pieces)
            elif joined:
                parts = [[p] for p in self.pieces[0].halves()]
            else:
                raise Refused("a tree halves a single piece")
            self._halves = [Side(part, self.solid) for part in parts]
        return self._halves


def sorted_halves(pieces: Sequence) -> list[list]:
    """The nearer and the farther half of some pieces, along the line in which they lie."""
    middles = [[sum(k) / len(k) for k in zip(*p.corners, strict=True)] for p in pieces]
    wide = [high - low for low, high in spans(middles)]
    along, half = wide.index(max(wide)), len(pieces) // 2
    order = sorted(range(len(pieces)), key=lambda i: middles[i][along])
    return [[pieces[i] for i in part] for part in (order[:half], order[half:])]


def box_about(corners: Iterable) -> list[tuple]:
    """Corners of a box about some corners."""
    return list(product(*spans(corners)))
