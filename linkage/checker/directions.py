"""Which way surfaces go: the sign of how fast they turn with an input, all over a cell."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from .lengths import Refused
from .loops import OutOfReach, halved
from .motion import DIGITS, leaves_of
from .rates import OutOfShow, Rates

if TYPE_CHECKING:
    from collections.abc import Iterator

    from .leaves import Book
    from .travel import Travel

MOST = 40_000  # words of a tree
HARDLY = 0.01  # degrees per degree (mm) of an input that moves a surface by less, either way


class Directions:
    """The directions that a certificate claims, surface by surface and input by input."""

    def __init__(self, book: Book, travel: Travel):
        self.book, self.motion, self.travel = book, book.motion, travel
        self.rates = book.built.rates if book.built else Rates(book.motion)

    def asked(self) -> Iterator:
        """Every surface with every input that its body depends on."""
        for surface, body in self.book.machine.surfaces.items():
            for name in self.motion.names:
                if name in self.motion.needs[body]:
                    yield surface, name

    def hold(self, claims: list) -> dict:
        """Which way each surface goes for the positive end of each input, and where not shown.

        A sign (None: not shown), and the share of the box of the travel in which it is left open.
        """
        told = {(c["surface"], c["input"]): c for c in claims}
        found = {}
        for surface, name in self.asked():
            claim = told.pop((surface, name), None)
            if claim is None:
                raise Refused(f'nothing is claimed of the direction of "{surface}" with {name}')
            left = 1.0 if claim["sign"] is None else self.left_open(surface, name, claim)
            if left is None:
                raise Refused(f'"{surface}" is not shown to go one way with {name}')
            found[surface, name] = None if left >= 1 else claim["sign"], left
        if told or len(claims) > len(found):
            raise Refused("a direction is claimed that is none")
        return found

    def left_open(self, surface: str, name: str, claim: dict) -> float | None:
        """Share of the box of the travel of which a claim says nothing; None where it is wrong."""
        sign, tree, names = claim["sign"], claim["tree"], self.motion.names
        if not isinstance(tree, str) or len(tree) > MOST or sign not in (-1, 0, 1):
            return None
        body, k, root = self.book.machine.surfaces[surface], names.index(name), self.travel.root()
        left = 0.0
        for word, cell in leaves_of(tree, root, lambda word, cell: halved(cell, int(word))
                                    if word in DIGITS[:len(names)] else None):
            if word == "n":
                left += share_of(cell, root)
            elif not (self.goes(body, k, cell, sign) if word == "s" else
                      word == "x" and self.travel.outside(cell)):
                return None
        return left

    def goes(self, body: str, k: int, cell: tuple, sign: int) -> bool:
        """Whether a surface's deflection grows (-1: falls, 0: hardly moves) with an input."""
        try:
            rate = self.rates.by_input(body, k, cell)
        except OutOfReach:
            return not self.book.built  # some builds may reach what is out of reach as drawn
        except OutOfShow:
            return False
        if sign == 0:
            per = math.pi / 180 if self.motion.machine.inputs[self.motion.names[k]][2] else 1.0
            return abs(rate) < HARDLY * per
        return rate * (sign * self.hinge(body)) > 0

    def hinge(self, body: str) -> int:
        """+1 where a positive turn about a hinge is trailing edge down (upright: left)."""
        _, y, z = self.motion.machine.joints[body].axis
        return (1 if z < 0 else -1) if abs(z) > abs(y) else (1 if y > 0 else -1)

    def words(self, found: dict) -> Iterator:
        """What goes which way, an input a line."""
        for name, (_, _, in_mm) in self.motion.machine.inputs.items():
            ways = [f"{surface} {self.word(surface, sign, in_mm)}" + (
                f" (not shown in {math.ceil(100 * left)} % of the box of the travel)"
                if 0 < left < 1 else "") for (surface, n), (sign, left) in found.items()
                if n == name]
            if ways:
                yield f"{name} to its positive end: {', '.join(ways)}"

    def word(self, surface: str, sign: int | None, in_mm: bool) -> str:
        """Which way a surface's edge goes."""
        if not sign:
            return "not shown to go one way all over" if sign is None else \
                f"less than {HARDLY:g}° per {'mm' if in_mm else 'degree'}"
        _, y, z = self.motion.machine.joints[self.book.machine.surfaces[surface]].axis
        return f"trailing edge {(('down', 'up'), ('left', 'right'))[abs(z) > abs(y)][sign < 0]}"


def share_of(cell: tuple, root: tuple) -> float:
    """What share of a box a cell is."""
    return math.prod((b - a) / (high - low) for (a, b), (low, high)
                     in zip(cell, root, strict=True) if high > low)
