"""Directions of surfaces as a certificate holds them: a sign, and the cells that show it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..checker.directions import Directions
from ..checker.leaves import halved

if TYPE_CHECKING:
    from ..checker.leaves import Book
    from ..checker.travel import Travel

MOST = 100  # leaves after which a direction is said not to be shown
NARROW, NARROW_BUILT = 0.05, 1.0  # degrees (mm) of a cell that is cut no further


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
        if tree:
            return {"sign": sign, "tree": tree}
    return {"sign": None, "tree": ""}


def _tree(ways, body, k, sign):
    words, ahead, narrow = [], [ways.travel.root()], NARROW_BUILT if ways.book.built else NARROW
    inputs = [i for i, name in enumerate(ways.motion.names) if name in ways.motion.needs[body]]
    while ahead:
        cell = ahead.pop()
        if ways.travel.outside(cell):
            words.append("x")
        elif ways.goes(body, k, cell, sign):
            words.append("s")
        else:
            i = max(inputs, key=lambda i: cell[i][1] - cell[i][0])
            if cell[i][1] - cell[i][0] < narrow or len(words) > MOST:
                return ""
            words.append(str(i))
            ahead += halved(cell, i)[::-1]
    return "".join(words)
