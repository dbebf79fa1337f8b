"""Words and aligned tables of plain text."""

from __future__ import annotations

import math
import re

from .. import gearing
from ..motion import System
from ..units import CAUTION, UNIT_WORDS


def heading(system: System, source: str) -> str:
    """Top of a sheet: wrong directions, what was read, its unit, and the caution."""
    model = system.model
    judged = gearing.direction_findings(system, gearing.directions(system))
    wrong = "".join(f"MISS  {f.text}\n" for f in judged if f.miss and not f.slip)
    count = ", ".join(_counted(len(parts), *words) for parts, words in (
        (model.bodies, ("body", "bodies")), (model.rods, ("rod", "rods")),
        (model.couplings, ("coupling", "couplings")), (model.surfaces, ("surface", "surfaces"))))
    return (f"{wrong}{model.title}\n{source}: {count}; lengths in {UNIT_WORDS[model.length]}, "
            f"angles in degrees from neutral\n{CAUTION}")


def _counted(count: int, one: str, many: str) -> str:
    return f"{count} {one if count == 1 else many}"


def section(title: str, body: str) -> str:
    """A titled part of the sheet."""
    return f"{title}\n{'-' * len(title)}\n{body}"


def table(headings, rows) -> str:
    """Rows of cells under headings, words left and numbers right.

    Parameters
    ----------
    headings : sequence of str
    rows : sequence of sequences

    Returns
    -------
    str

    Examples
    --------
    >>> print(table(["rod", "mm"], [["tie", "12.50"], ["elevator", "7.00"]]))
    rod          mm
    tie       12.50
    elevator   7.00
    """
    rows = [[str(cell) for cell in row] for row in rows]
    widths = [max(len(row[i]) for row in [list(headings), *rows]) for i in range(len(headings))]
    right = [bool(rows) and all(_numeric(row[i]) for row in rows) for i in range(len(headings))]
    lines = []
    for row in [list(headings), *rows]:
        cells = [cell.rjust(w) if r else cell.ljust(w)
                 for cell, w, r in zip(row, widths, right, strict=True)]
        lines.append("  ".join(cells).rstrip())
    return "\n".join(lines)


def _numeric(cell: str) -> bool:
    return re.fullmatch(r"[+-]?[\d.]+(±[\d.]+)?°?|–|", cell) is not None


def number(value: float, digits: int = 2, sign: str = "") -> str:
    """A number for a cell; a dash where there is none.

    Examples
    --------
    >>> number(-0.0001), number(float("nan"))
    ('0.00', '–')
    """
    if not math.isfinite(value):
        return "–"
    text = f"{value:{sign}.{digits}f}"
    return f"{0:{sign}.{digits}f}" if float(text) == 0 else text
