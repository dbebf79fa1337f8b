"""Tables on paper: as wide as their content, narrow ones beside themselves, one unit a column."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape
from typing import TYPE_CHECKING, Any

from ..results import Table, is_missed, is_number

if TYPE_CHECKING:
    from reportlab.platypus import Flowable

SMALL = 6.6  # points
FORM = 46.0  # points of width for what is filled in by hand
GAP = 14.0  # points between a table and its going on beside itself
LEAST_ROWS = 8  # below which a table does not go on beside itself
MOST_ROWS = 46  # of one stretch of a table beside itself, so that it fits a page
SHARED = 4  # rows from which a column with one value is said once
RULED = [("VALIGN", (0, 0), (-1, -1), "TOP"), ("LINEBELOW", (0, 0), (-1, 0), 0.8, "#16202a"),
         ("LINEBELOW", (0, 1), (-1, -1), 0.25, "#8a949c"),
         ("LEFTPADDING", (0, 0), (-1, -1), 2), ("RIGHTPADDING", (0, 0), (-1, -1), 3),
         ("TOPPADDING", (0, 0), (-1, -1), 0.6), ("BOTTOMPADDING", (0, 0), (-1, -1), 1.1)]


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
    same = {}
    for name in names[1:]:
        cells = {block.cell(row, name) for row in records}
        if len(cells) == 1 and name not in block.blank:
            same[name] = cells.pop()
    words = "; ".join(f"{name}: {text or '–'}" for name, text in same.items())
    return [name for name in names if name not in same], f"In every row: {words}." if same else ""


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
    least, most = _widths(block, names, records)
    first = 1
    while first == 1 or first < len(names):
        last = first + 1
        while last < len(names) and least[0] + sum(least[first:last + 1]) <= room:
            last += 1
        chosen = [0, *range(first, last)] if len(names) > 1 else [0]
        yield from _beside(block, [names[i] for i in chosen], records, style,
                           (_shared([least[i] for i in chosen], [most[i] for i in chosen], room),
                            room))
        yield Spacer(1, 5)
        first = last


def _beside(block, names, records, style, widths_room):
    """One table, or stretches of it beside each other where that many fit the page."""
    from reportlab.platypus import Table as Laid

    widths, room = widths_room
    across = int((room + GAP) // (sum(widths) + GAP))
    if across < 2 or len(records) < LEAST_ROWS:
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


def _table(block, names, records, style, widths):
    from reportlab.platypus import Paragraph, TableStyle
    from reportlab.platypus import Table as Laid

    right = {name for name in names if name not in block.words
             and any(is_number(value) for value in block.data[name])}
    rows = [[Paragraph(escape(name), style["number head" if name in right else "head"])
             for name in names]]
    rows += [[Paragraph(escape(block.cell(row, name)), style[_cell_style(row, name in right)])
              for name in names] for row in records]
    boxed = [("GRID", (k, 1), (k, len(records)), 0.6, "#16202a")
             for k, name in enumerate(names) if name in block.blank and records]
    tall = [("BOTTOMPADDING", (0, 1), (-1, -1), 3)] if boxed else []
    return Laid(rows, widths, repeatRows=1, style=TableStyle([*RULED, *boxed, *tall]),
                hAlign="LEFT")


def _cell_style(row: dict, right: bool) -> str:
    missed = is_missed(row)
    return ("number bold" if right else "bold") if missed else "number" if right else "cell"


def _widths(block: Any, names, records):
    """The least and the most width that each column has a use for."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    def wide(text, font="report"):
        return stringWidth(text, font, SMALL) + 6

    least, most = [], []
    for name in names:
        cells = [block.cell(row, name) for row in records]
        words = [wide(word, "report bold") for text in cells
                 for word in ([text] if name in block.words else text.split())]
        heads = [wide(word, "report bold") for word in str(name).split()]
        empty = FORM if name in block.blank else 0.0
        least.append(max([*words, *heads, empty]))
        font = "report bold" if any(map(is_missed, records)) else "report"
        most.append(max([least[-1], *(wide(text, font) for text in cells),
                         0.5 * wide(str(name), "report bold")]))
    return least, most


def _shared(least, most, room):
    """Widths within the page, each column given what its words need before it is given more."""
    if sum(most) <= room:
        return most
    if sum(least) >= room:
        return [w * room / sum(least) for w in least]
    spare = (room - sum(least)) / (sum(most) - sum(least))
    return [low + (high - low) * spare for low, high in zip(least, most, strict=True)]
