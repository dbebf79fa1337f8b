"""Directions of surfaces as a certificate holds them: a sign, and the cells that show it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..checker.directions import Directions
from ..checker.leaves import halved

if TYPE_CHECKING:
    from ..checker.leaves import Book
    from ..checker.travel import Travel

MOST = 100  # leaves after which a direction is said not to be shown
NARROW = 0.05  # degrees (mm) of a cell that is cut no further
SMALL_BUILT = 0.2  # the same as built, as a share of the travel: then it is left open
LEAST = 0.5  # share in which a direction is shown at least, for it to be told


def directions(book: Book, travel: Travel) -> list[dict]:
    """Which way every surface goes with every input that moves it; a sign of None is not shown.

    Parameters
    ----------
    book : Book
    travel : Travel

    Returns
    -------
    list of dict
    """
    ways = Directions(book, travel)
    return [{"surface": surface, "input": name} | _shown(ways, surface, name)
            for surface, name in ways.asked()]


def _shown(ways, surface, name):
    body, k = ways.book.machine.surfaces[surface], ways.motion.names.index(name)
    here = tuple((0.0, 0.0) for _ in ways.motion.names)
    for sign in (0, 1, -1):
        tree = _tree(ways, body, k, sign) if ways.goes(body, k, here, sign) else ""
        claim = {"sign": sign, "tree": tree}
        if tree and ("n" not in tree or ways.left_open(surface, name, claim) < LEAST):
            return claim
    return {"sign": None, "tree": ""}


def _tree(ways, body, k, sign):
    # complexity over 10: as built a small cell is left open, as drawn it ends the search
    words, root, built = [], ways.travel.root(), ways.book.built
    inputs = [i for i, name in enumerate(ways.motion.names) if name in ways.motion.needs[body]]
    wide = [b - a for a, b in root]
    ahead = [root]
    while ahead:
        cell = ahead.pop()
        if ways.travel.outside(cell):
            words.append("x")
        elif ways.goes(body, k, cell, sign):
            words.append("s")
        else:
            i = max(inputs, key=lambda i: cell[i][1] - cell[i][0])
            narrow = cell[i][1] - cell[i][0] < (wide[i] * SMALL_BUILT if built else NARROW)
            if not built and (narrow or len(words) > MOST):
                return ""
            words.append("n" if narrow else str(i))
            ahead += [] if narrow else halved(cell, i)[::-1]
    return "".join(words)
