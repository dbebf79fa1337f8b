"""Tables on paper: as wide as their content, narrow ones beside themselves, one unit a column."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from ..results import Table, is_missed, is_number
from ..results.blocks import bare, unit_of

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
LEAST_SPLIT = 3  # rows of a stretch that a page's foot takes
LETTERS = "abcdefgh"
MOST_LETTERS = 6  # texts of a column that letters stand for
LONG_TEXT = 17  # characters that they have on the whole, above which they do
SHARED = 4  # rows from which a column with one value is said once
RULED = [("VALIGN", (0, 0), (-1, -1), "TOP"), ("LINEBELOW", (0, 0), (-1, 0), 0.8, "#16202a"),
         ("LINEBELOW", (0, 1), (-1, -1), 0.25, "#8a949c"),
         ("LEFTPADDING", (0, 0), (-1, -1), 2), ("RIGHTPADDING", (0, 0), (-1, -1), 3),
         ("TOPPADDING", (0, 0), (-1, -1), 0.4), ("BOTTOMPADDING", (0, 0), (-1, -1), 0.8)]
BARE = [("VALIGN", (0, 0), (-1, -1), "TOP"), *((f"{side}PADDING", (0, 0), (-1, -1), 0)
                                               for side in ("LEFT", "RIGHT", "TOP", "BOTTOM"))]
CARDS_ACROSS = 3  # cards to fill in beside each other
CARD_EDGE = 4.0  # points within a card, and half of that between two
BOX = 17.0  # points of height to write into


def parted(block: Table) -> tuple[Table, list[str], str]:
    """What of a table is set in columns, and a sentence for what is said once.

    Parameters
    ----------
    block : Table

    Returns
    -------
    (Table, list of str, str)
        The table with a letter for each of the few long texts of a column; its columns that differ
        from row to row; a sentence for those that hold one value, and for the letters.
    """
    names, records = list(block.data.columns), block.data.to_dict("records")
    if len(records) < SHARED:
        return block, names, ""
    texts = {name: _texts(block, name, records) for name in names[1:]}
    same = {name: cells[0] for name, cells in texts.items()
            if len(cells) == 1 and name not in block.blank}
    differing = {name: cells for name, cells in texts.items() if name not in same}
    letters = {name: dict(zip(cells, LETTERS, strict=False)) for name, cells in differing.items()
               if _wants_letters(block, name, cells)}
    return (_lettered(block, records, letters), [names[0], *differing],
            " ".join([*_same_words(same), *_letter_words(letters)]))


def _texts(block, name, records) -> list[str]:
    """What a column says, each once."""
    return list(dict.fromkeys(block.cell(row, name) for row in records))


def _lettered(block, records, letters) -> Table:
    """The table with the letters that stand for the texts of some columns."""
    return replace(block, data=block.data.assign(**{
        name: [key[block.cell(row, name)] for row in records] for name, key in letters.items()}))


def _same_words(same):
    words = "; ".join(f"{name}: {text or '–'}" for name, text in same.items())
    if words:
        yield f"In every row: {words}."


def _letter_words(letters):
    for name, key in letters.items():
        said = ", ".join(f"{letter} {text or '–'}" for text, letter in key.items())
        yield f"{name}: {said}."


def _wants_letters(block, name, cells) -> bool:
    """Whether a column repeats few long texts, so that they are better said once under letters."""
    return (not block.cards and name not in block.blank and len(block.data) >= LEAST_ROWS
            and block.data[name].dtype.kind == "O" and name not in block.words
            and len(cells) <= min(MOST_LETTERS, len(block.data) // 4)
            and sum(map(len, cells)) > LONG_TEXT * len(cells))


def laid_out(block: Table, names: list[str], style: dict, room: float
             ) -> tuple[list[Flowable], float]:
    """A table as it is set, and how wide: parts below each other where it is too wide for a page.

    Parameters
    ----------
    block : Table
    names : list of str
        Columns to show.
    style : dict
    room : float
        Points of the page's width.

    Returns
    -------
    (list of Flowable, float)
        A narrow table goes on beside itself; as wide as the page where that fills it.
    """
    from reportlab.platypus import Spacer

    records = block.data.to_dict("records")
    if block.cards:
        return [_cards(block, names, records, style, room), Spacer(1, 3)], room
    columns = [_column(block, name, records) for name in names]
    flowables, widest = [], 0.0
    for chosen in _parts(columns, room, block.blank):
        stretches, wide = _beside(block, chosen, records, style, room)
        flowables += [stretches, Spacer(1, 3)]
        widest = max(widest, wide)
    return flowables, widest


def _parts(columns, room, blank) -> list[list]:
    """Columns of each part of a table too wide for a page, all led by the first column.

    One part more than the words ask for is taken where that saves lines and leaves no blank apart
    from what it is for.
    """
    if len(columns) < 3:
        return [columns]
    few = _parted_within(columns, room)
    if blank:
        return few
    more = _parted_within(columns, room * len(few) / (len(few) + 1))
    return min(few, more, key=lambda parts: sum(
        _best_across(part, len(part[0].cells), room)[2] for part in parts))


def _parted_within(columns, room) -> list[list]:
    parts, first = [], 1
    while first < len(columns):
        last = first + 1
        while last < len(columns) and columns[0].least + sum(
                column.least for column in columns[first:last + 1]) <= room:
            last += 1
        parts.append([columns[0], *columns[first:last]])
        first = last
    return parts


@dataclass(frozen=True, eq=False)
class _Column:
    """A column: its name, the width its words need, and the width of each of its cells."""

    name: str
    least: float
    most: float
    cells: np.ndarray


def _head_of(name: str) -> str:
    """A heading, its degrees never parted from the word before."""
    return str(name).replace(" °", "\N{NO-BREAK SPACE}°")


def _column(block, name, records) -> _Column:
    from reportlab.pdfbase.pdfmetrics import stringWidth

    bold = any(map(is_missed, records))

    def wide(text, font="report bold"):
        return stringWidth(text, font, SMALL) + PADDING

    texts = [block.cell(row, name) for row in records]
    words = [wide(word) for text in texts
             for word in ([text] if name in block.words else text.split())]
    heads = [wide(word) for word in _head_of(name).split(" ")]
    least = max([*words, *heads, FORM if name in block.blank else 0.0])
    cells = np.array([wide(text, "report bold" if bold else "report") for text in texts])
    return _Column(name, least, max([least, *cells, 0.5 * wide(str(name))]), cells)


def _beside(block, columns, records, style, room):
    """One table, or stretches of it beside each other where that takes less of the page."""
    across, widths, _ = _best_across(columns, len(records), room)
    names = [column.name for column in columns]
    rows = _rows(block, names, records, style)

    def made(first, last):
        return _table(block, names, [rows[0], *rows[1 + first:1 + last]], widths)

    if across == 1:
        return made(0, len(records)), sum(widths)
    return (_stretches(made, len(records), across, sum(widths)),
            across * (sum(widths) + GAP) - GAP)


def _stretches(made, count, across, wide):
    """Stretches of a table beside each other, of which each page takes as many rows as it has room.

    Read down and then across on every page.
    """
    from reportlab.platypus import Flowable
    from reportlab.platypus import Table as Laid

    whole = made(0, count)
    whole.wrap(wide, 1e6)
    head, *heights = whole._rowHeights  # reportlab tells them nowhere else

    def tall(first, rows):
        ends = [min(first + k * rows, count) for k in range(across + 1)]
        return head + max(sum(heights[a:b]) for a, b in itertools.pairwise(ends))

    class Stretches(Flowable):
        def __init__(self, first, last):
            super().__init__()
            self.first, self.last, self.hAlign = first, last, "LEFT"
            self.count = -(-(last - first) // across)

        def wrap(self, *_):
            pieces = [made(k, min(k + self.count, self.last))
                      for k in range(self.first, self.last, self.count)]
            self.laid = Laid([pieces], [wide + GAP] * len(pieces), style=[
                *BARE, ("RIGHTPADDING", (0, 0), (-1, -1), GAP)])
            self.width, self.height = self.laid.wrap(1e4, 1e6)
            return self.width, self.height

        def draw(self):
            self.laid.drawOn(self.canv, 0, 0)

        def split(self, _, room):
            fits = [k for k in range(LEAST_SPLIT, self.count) if tall(self.first, k) <= room]
            if not fits or self.last < count:
                return []
            middle = self.first + fits[-1] * across
            return [Stretches(self.first, middle), Stretches(middle, self.last)]

    return Stretches(0, count)


def _best_across(columns, count, room) -> tuple[int, list[float], float]:
    """How many stretches of a table stand beside each other, widths of its columns, and lines."""
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
    return *best[1:], best[0]


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


def _rows(block, names, records, style) -> list[list[Flowable]]:
    """The headings, and the cells of each row."""
    from .paragraphs import plain

    right = {name for name in names if _holds_numbers(block, name)}
    heads = [plain(_head_of(name), style["number head" if name in right else "head"])
             for name in names]
    return [heads, *([plain(block.cell(row, name), style[_cell_style(row, name in right)])
                      for name in names] for row in records)]


def _table(block, names, rows, widths):
    from reportlab.platypus import Table as Laid
    from reportlab.platypus import TableStyle

    style_of = TableStyle([*RULED, *_boxes(block, names, len(rows) - 1)])
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


def _cards(block, names, records, style, room) -> Flowable:
    """A card to fill in for each row, some beside each other; a column of one value is in none."""
    from reportlab.platypus import Spacer
    from reportlab.platypus import Table as Laid

    wide = room / CARDS_ACROSS
    cards = [_card(block, row, [name for name in names if name not in block.blank], style,
                   wide - CARD_EDGE) for row in records]
    cards += [Spacer(0, 0)] * (-len(cards) % CARDS_ACROSS)
    rows = [cards[k:k + CARDS_ACROSS] for k in range(0, len(cards), CARDS_ACROSS)]
    return Laid(rows, [wide] * CARDS_ACROSS, hAlign="LEFT",
                style=[*BARE, ("BOTTOMPADDING", (0, 0), (-1, -1), CARD_EDGE)])


def _card(block, row, names, style, wide):
    """One row in words, and a box under each heading that is filled in by hand."""
    from reportlab.platypus import Table as Laid

    from .paragraphs import plain

    words = [f"{bare(name)} {block.cell(row, name)} "
             f"{'' if name in block.words else unit_of(name)}".strip() for name in names[1:]
             if block.cell(row, name) not in ("", "–")]
    boxes = len(block.blank)
    head = [plain(block.cell(row, names[0]), style["bold"]), *[""] * (boxes - 1)]
    said = [plain(" · ".join(word.replace(" ", "\N{NO-BREAK SPACE}") if len(word) < 24
                             else word for word in words), style["cell"]),
            *[""] * (boxes - 1)]
    heads = [plain(name, style["cell"]) for name in block.blank]
    return Laid([head, said, heads, [""] * boxes], [wide / boxes] * boxes,
                [None, None, None, BOX], hAlign="LEFT", style=[
        ("SPAN", (0, 0), (-1, 0)), ("SPAN", (0, 1), (-1, 1)), ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("BOX", (0, 0), (-1, -1), 0.8, "#16202a"), ("INNERGRID", (0, 2), (-1, -1), 0.3, "#8a949c"),
        ("LINEABOVE", (0, 2), (-1, 2), 0.3, "#8a949c"),
        ("LEFTPADDING", (0, 0), (-1, -1), 2.5), ("RIGHTPADDING", (0, 0), (-1, -1), 2),
        ("TOPPADDING", (0, 0), (-1, -1), 0.6), ("BOTTOMPADDING", (0, 0), (-1, -1), 0.8)])
