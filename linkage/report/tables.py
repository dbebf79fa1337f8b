"""Tables on paper: as wide as their content, narrow ones beside themselves, one unit a column."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

import numpy as np

from ..results import Table, is_missed, is_number

if TYPE_CHECKING:
    from reportlab.platypus import Flowable

SMALL = 6.6  # points
FORM = 46.0  # points of width for what is filled in by hand
GAP = 14.0  # points between a table and its going on beside itself
PADDING = 6.0  # points of a cell that are no words
MOST_ACROSS = 4  # stretches of a table beside each other
MOST_LINES = 2  # of a row of one that stands beside itself
BETTER = 0.85  # of the height, below which another stretch beside is worth it
RAGGED = 1.06  # of the words' width that lines take, broken at words
STEPS = 30  # in which what is to spare is shared out
LEAST_ROWS = 8  # below which a table does not go on beside itself
MOST_ROWS = 46  # of one stretch of a table beside itself, so that it fits a page
SHARED = 4  # rows from which a column with one value is said once
RULED = [("VALIGN", (0, 0), (-1, -1), "TOP"), ("LINEBELOW", (0, 0), (-1, 0), 0.8, "#16202a"),
         ("LINEBELOW", (0, 1), (-1, -1), 0.25, "#8a949c"),
         ("LEFTPADDING", (0, 0), (-1, -1), 2), ("RIGHTPADDING", (0, 0), (-1, -1), 3),
         ("TOPPADDING", (0, 0), (-1, -1), 0.4), ("BOTTOMPADDING", (0, 0), (-1, -1), 0.8)]


def parted(block: Table) -> tuple[list[str], str]:
    """Columns that differ from row to row, and a sentence for those that hold one value.

    Parameters
    ----------
    block : Table

    Returns
    -------
    (list of str, str)
    """
    names, records = list(block.data.columns), block.data.to_dict("records")
    if len(records) < SHARED:
        return names, ""
    same = {name: block.cell(records[0], name) for name in names[1:]
            if name not in block.blank and _is_one_text(block, name, records)}
    words = "; ".join(f"{name}: {text or '–'}" for name, text in same.items())
    return [name for name in names if name not in same], f"In every row: {words}." if same else ""


def _is_one_text(block, name, records) -> bool:
    return len({block.cell(row, name) for row in records}) == 1


def table_flowables(block: Table, names: list[str], style: dict, room: float
                    ) -> Iterator[Flowable]:
    """A table as it is set: parts below each other where it is too wide, beside where narrow.

    Parameters
    ----------
    block : Table
    names : list of str
        Columns to show.
    style : dict
    room : float
        Points of the page's width.
    """
    from reportlab.platypus import Spacer

    records = block.data.to_dict("records")
    columns = [_column(block, name, records) for name in names]
    first = 1
    while first == 1 or first < len(names):
        last = first + 1
        while last < len(names) and columns[0].least + sum(
                column.least for column in columns[first:last + 1]) <= room:
            last += 1
        chosen = [0, *range(first, last)] if len(names) > 1 else [0]
        yield from _beside(block, [columns[k] for k in chosen], records, style, room)
        yield Spacer(1, 3)
        first = last


@dataclass(frozen=True, eq=False)
class _Column:
    """A column: its name, the width its words need, and the width of each of its cells."""

    name: str
    least: float
    most: float
    cells: np.ndarray


def _column(block, name, records) -> _Column:
    from reportlab.pdfbase.pdfmetrics import stringWidth

    bold = any(map(is_missed, records))

    def wide(text, font="report bold"):
        return stringWidth(text, font, SMALL) + PADDING

    texts = [block.cell(row, name) for row in records]
    words = [wide(word) for text in texts
             for word in ([text] if name in block.words else text.split())]
    heads = [wide(word) for word in str(name).split()]
    least = max([*words, *heads, FORM if name in block.blank else 0.0])
    cells = np.array([wide(text, "report bold" if bold else "report") for text in texts])
    return _Column(name, least, max([least, *cells, 0.5 * wide(str(name))]), cells)


def _beside(block, columns, records, style, room):
    """One table, or stretches of it beside each other where that takes less of the page."""
    from reportlab.platypus import Table as Laid

    across, widths = _best_across(columns, len(records), room)
    names = [column.name for column in columns]
    if across == 1:
        yield _table(block, names, records, style, widths)
        return
    tall = min(-(-len(records) // across), MOST_ROWS)
    for start in range(0, len(records), tall * across):
        pieces = [records[k:k + tall] for k in range(start, min(start + tall * across,
                                                                len(records)), tall)]
        yield Laid([[_table(block, names, piece, style, widths) for piece in pieces]],
                   [sum(widths) + GAP] * len(pieces), hAlign="LEFT",
                   style=[("VALIGN", (0, 0), (-1, -1), "TOP"),
                          *((f"{side}PADDING", (0, 0), (-1, -1), 0)
                            for side in ("LEFT", "TOP", "BOTTOM")),
                          ("RIGHTPADDING", (0, 0), (-1, -1), GAP)])


def _best_across(columns, count, room) -> tuple[int, list[float]]:
    """How many stretches of a table stand beside each other, and the widths of its columns."""
    best = None
    for across in range(1, MOST_ACROSS + 1 if count >= LEAST_ROWS else 2):
        share = (room + GAP) / across - GAP
        if across > 1 and sum(column.least for column in columns) > share:
            break
        widths = _shared(columns, share)
        lines = _lines(columns, widths)
        if across > 1 and (lines > MOST_LINES).any():
            break
        tall = lines.sum() / across
        if best is None or tall < BETTER * best[0]:
            best = tall, across, widths
    return best[1:]


def _lines(columns, widths) -> np.ndarray:
    """Lines that each row takes."""
    return np.max([_wrapped(column, wide) for column, wide in zip(columns, widths, strict=True)],
                  axis=0, initial=1)


def _wrapped(column, wide) -> np.ndarray:
    """Lines that each cell of a column takes at a width."""
    if wide >= column.most:
        return np.ones(len(column.cells))
    return np.ceil((column.cells - PADDING) * RAGGED / max(wide - PADDING, 1.0))


def _shared(columns, room) -> list[float]:
    """Widths within the page: what words need, and then step by step where it saves most lines."""
    least, most = [c.least for c in columns], [c.most for c in columns]
    if sum(most) <= room:
        return most
    if sum(least) >= room:
        return [wide * room / sum(least) for wide in least]
    widths, step = list(least), max((room - sum(least)) / STEPS, 1.0)
    lines = np.array([_wrapped(*each) for each in zip(columns, widths, strict=True)])
    while sum(widths) + step <= room:
        k, lines[k] = _widened(columns, widths, lines, step)
        widths[k] = min(widths[k] + step, most[k])
    return widths


def _widened(columns, widths, lines, step) -> tuple[int, np.ndarray]:
    """Which column leaves the fewest lines when it is a step wider, and its lines then."""
    tried = []
    for k, column in enumerate(columns):
        if widths[k] < column.most:
            wraps = _wrapped(column, widths[k] + step)
            others = np.max(np.delete(lines, k, axis=0), axis=0, initial=1)
            tried.append((np.maximum(wraps, others).sum(), widths[k] - column.most, k, wraps))
    _, _, k, wraps = min(tried, key=lambda one: one[:2])
    return k, wraps


def _table(block, names, records, style, widths):
    from reportlab.platypus import Paragraph, TableStyle
    from reportlab.platypus import Table as Laid

    right = {name for name in names if _holds_numbers(block, name)}
    rows = [[Paragraph(escape(name), style["number head" if name in right else "head"])
             for name in names]]
    rows += [[Paragraph(escape(block.cell(row, name)), style[_cell_style(row, name in right)])
              for name in names] for row in records]
    style_of = TableStyle([*RULED, *_boxes(block, names, len(records))])
    return Laid(rows, widths, repeatRows=1, style=style_of, hAlign="LEFT")


def _holds_numbers(block, name) -> bool:
    return name not in block.words and any(map(is_number, block.data[name]))


def _boxes(block, names, count) -> list[tuple]:
    """Frames about what is filled in by hand, and taller rows to write in."""
    boxed = [("GRID", (k, 1), (k, count), 0.6, "#16202a")
             for k, name in enumerate(names) if name in block.blank and count]
    return [*boxed, ("BOTTOMPADDING", (0, 1), (-1, -1), 3)] if boxed else []


def _cell_style(row: dict, right: bool) -> str:
    missed = is_missed(row)
    return ("number bold" if right else "bold") if missed else "number" if right else "cell"
