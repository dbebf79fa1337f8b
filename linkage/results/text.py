"""Blocks as plain text: aligned tables, words left and numbers right."""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from .blocks import DataTable, Heading, Picture, Table, Text, is_missed

if TYPE_CHECKING:
    from .blocks import Block

WIDE = 150  # characters beyond which a table goes on below itself, led by its first column
LINE = 130  # characters of a line of words
LEADS = {"miss": "MISS  ", "undecided": "UNDECIDED  ", "note": "note  "}


def as_text(blocks: Iterable[Block]) -> str:
    """Text of a list of blocks; pictures and tables that are data alone are left out.

    Parameters
    ----------
    blocks : iterable of Heading, Text, Table, Picture

    Returns
    -------
    str
    """
    parts, after_text = [], False
    for block in blocks:
        if isinstance(block, Picture | DataTable):
            continue
        is_text = isinstance(block, Text)
        if parts:
            parts.append("\n" if is_text and after_text else "\n\n")
        parts.append(_block(block))
        after_text = is_text
    return "".join(parts)


def _block(block) -> str:
    if isinstance(block, Heading):
        return f"{block.text}\n{'=' * len(block.text)}"
    if isinstance(block, Text):
        if block.kind == "caution":
            return block.text
        return wrapped(LEADS.get(block.kind, "") + block.text)
    lines = [block.name, "-" * len(block.name)]
    return "\n".join([*lines, _rows(block), *([wrapped(block.note)] if block.note else [])])


def wrapped(text: str) -> str:
    """Words over lines of a readable length, the further ones set in."""
    return "\n".join(textwrap.fill(line, LINE, subsequent_indent="      ", break_long_words=False,
                                   break_on_hyphens=False) for line in text.split("\n"))


def _rows(block: Table) -> str:
    records = block.data.to_dict("records")
    headings = [str(name) for name in block.data.columns]
    columns = [["" if name in block.blank else block.cell(row, name) for row in records]
               for name in block.data.columns]
    if any(is_missed(row) for row in records) and "met" not in headings:
        headings, columns = [*headings, ""], [*columns, ["MISSED" if is_missed(row) else ""
                                                         for row in records]]
    return in_parts(headings, columns)


def in_parts(headings: Sequence[str], columns: Sequence[Sequence[str]], width: int = WIDE) -> str:
    """A wide table set as several below each other, each led by the first column."""
    texts, first = [], 1
    widths = [max(map(len, [*_folded(head, column), *column]))
              for head, column in zip(headings, columns, strict=True)]
    while first < len(columns):
        last = _last_fitting(widths, first, width)
        chosen = [0, *range(first, last)]
        texts.append(aligned([headings[i] for i in chosen],
                             list(zip(*(columns[i] for i in chosen), strict=True))))
        first = last
    return "\n\n".join(texts) if texts else aligned(headings, [[cell] for cell in columns[0]])


def _last_fitting(widths, first, room) -> int:
    """Column up to which those from `first` on, and one of them at least, fit beside column 0."""
    last, taken = first + 1, 2 + widths[0] + 2 + widths[first]
    while last < len(widths) and taken + 2 + widths[last] <= room:
        taken += 2 + widths[last]
        last += 1
    return last


def _folded(heading, column) -> list[str]:
    """A heading over as many lines as its column's width asks for."""
    wide = max([len(cell) for cell in column] + [len(word) for word in heading.split()], default=1)
    return textwrap.wrap(heading, max(wide, 1)) or [""]


def aligned(headings: Sequence[str], rows: Sequence) -> str:
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
    >>> print(aligned(["rod", "mm"], [["tie", "12.50"], ["elevator", "7.00"]]))
    rod          mm
    tie       12.50
    elevator   7.00
    """
    columns = [[str(row[i]) for row in rows] for i in range(len(headings))]
    heads = [_folded(head, column) for head, column in zip(headings, columns, strict=True)]
    tall = max(len(head) for head in heads)
    lines = zip(*(_set([""] * (tall - len(head)) + head, column)
                  for head, column in zip(heads, columns, strict=True)), strict=True)
    return "\n".join("  ".join(line).rstrip() for line in lines)


def _set(head, column) -> list[str]:
    """A column with its heading, all cells as wide as the widest; numbers stand right."""
    cells = head + column
    width = max(len(cell) for cell in cells)
    right = bool(column) and all(_numeric(cell) for cell in column)
    return [cell.rjust(width) if right else cell.ljust(width) for cell in cells]


def _numeric(cell: str) -> bool:
    return re.fullmatch(r"[+-]?[\d.]+(±[\d.]+)?°?|–|no load|", cell) is not None


def section(title: str, body: str) -> str:
    """A titled part of what is printed."""
    return f"{title}\n{'-' * len(title)}\n{body}"


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
