"""Directions of surfaces as a certificate holds them: a sign, and the cells that show it."""

from __future__ import annotations

from itertools import product
from typing import TYPE_CHECKING

from ..checker.directions import Directions
from ..checker.leaves import halved

if TYPE_CHECKING:
    from ..checker.leaves import Book
    from ..checker.travel import Travel

MOST = 100  # leaves after which a direction is said not to be shown
NARROW = 0.05  # degrees (mm) of a cell that is cut no further
SMALL_BUILT = 0.2  # the same as built, as a share of the travel: then it is left open
PASSED = 2  # cuts of a cell not shown as built, after which its parts are next asked
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
    # complexity over 10: as drawn what fails at a place is given up, as built it is left open
    words, ahead, built = [], [(ways.travel.root(), 0)], ways.book.built
    inputs = [i for i, name in enumerate(ways.motion.names) if name in ways.motion.needs[body]]
    finest = _finest(built, ahead[0][0])
    while ahead:
        cell, passed = ahead.pop()
        i = max(inputs, key=lambda i: cell[i][1] - cell[i][0])
        small = cell[i][1] - cell[i][0] < finest[i]
        word = "" if passed and not small else _word(ways, (body, k, sign), cell)
        if not word:
            if not built and (small or len(words) > MOST or not words and not _at_places(
                    ways, (body, k, sign), cell)):
                return ""
            word = "n" if small else str(i)
            passed = passed - 1 if passed else PASSED * bool(built)
            ahead += [] if small else [(part, passed) for part in halved(cell, i)[::-1]]
        words.append(word)
    return "".join(words)


def _at_places(ways, asked, root):
    """Whether a sign is shown at ends and middles of the travel: if not, no cell shows it."""
    ends = [dict.fromkeys((low, (low + high) / 2, high)) for low, high in root]
    return all(_word(ways, asked, tuple((k, k) for k in place)) for place in product(*ends))


def _finest(built, root):
    """How wide a cell is by each input that is cut no further."""
    return [(high - low) * SMALL_BUILT if built else NARROW for low, high in root]


def _word(ways, asked, cell):
    """What a leaf says of a cell: out of the travel, or shown; nothing where it has to be cut."""
    body, k, sign = asked
    if ways.travel.outside(cell):
        return "x"
    return "s" if ways.goes(body, k, cell, sign) else ""
