"""How blocks are set on a page: what is narrow beside each other, a picture with its heading."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from ..results import Heading, Picture, Table
from .tables import BARE, laid_out, parted
from .vectors import Placed

if TYPE_CHECKING:
    from reportlab.platypus import Flowable

    from ..results.blocks import Block

NARROWED = 0.9  # of their width that letters have, as condensed faces do
LEADS = {"miss": "MISS  ", "undecided": "UNDECIDED  ", "note": "Note  "}
TOGETHER = 62.0  # points below a heading or caption without which it goes to the next page
APART = 14.0  # points between what stands beside each other
TALLEST = 0.36  # of a page, of what stands beside something: a row is never parted
HIGHEST = 0.465  # of a page, of a picture: two of them fit one below the other
NOTED = 3  # lines over which a note under a narrow table may go


@dataclass(frozen=True)
class Sheet:
    """Styles, and the points of a page that are free for blocks; where figures came to lie.

    Tables that were set ahead are kept in `pieces`.
    """

    style: dict
    wide: float
    tall: float
    placed: list = field(default_factory=list)
    pieces: dict = field(default_factory=dict)


@dataclass(frozen=True)
class _Piece:
    """A table or picture as it is set, and how wide and tall it is."""

    flowables: list
    wide: float
    tall: float
    block: Table | Picture


def story_of(blocks: Iterable[Block], sheet: Sheet) -> list[Flowable]:
    """Blocks as they follow each other on paper.

    Parameters
    ----------
    blocks : iterable of Heading, Text, Table, Picture
    sheet : Sheet

    Returns
    -------
    list of Flowable
    """
    story, opening, row = [], [], []
    for block in blocks:
        if isinstance(block, Table | Picture):
            piece = sheet.pieces.get(block) or _piece(block, sheet)
            if row and not _fits(row, piece, sheet):
                story += _opened(opening, row, sheet)
                opening, row = [], []
            row.append(piece)
            continue
        if row:
            story += _opened(opening, row, sheet)
            opening, row = [], []
        if isinstance(block, Heading):
            story += [*opening, _break_before(block)]
            opening = [_words(block, sheet)]
        elif opening:
            opening.append(_words(block, sheet))
        else:
            story.append(_words(block, sheet))
    return story + _opened(opening, row, sheet)


def set_ahead(blocks: Iterable[Block], sheet: Sheet) -> None:
    """Set the tables among some blocks before all that is about them is known."""
    sheet.pieces.update({block: _piece(block, sheet) for block in blocks
                         if isinstance(block, Table) and block not in sheet.pieces})


def _break_before(heading):
    from reportlab.platypus import CondPageBreak, PageBreak

    return PageBreak() if heading.new_page else CondPageBreak(2 * TOGETHER)


def _words(block, sheet):
    from .paragraphs import plain

    if isinstance(block, Heading):
        return plain(block.text, sheet.style["heading"])
    return plain(LEADS.get(block.kind, "") + block.text, sheet.style[block.kind])


def _piece(block, sheet) -> _Piece:
    from reportlab.platypus import Spacer

    from .paragraphs import plain

    if isinstance(block, Picture):
        room = _room_for(block, sheet)
        return _Piece([room, Spacer(1, 4)], *room.wrap(), block)
    shown, names, same = parted(block)
    note = " ".join(words for words in (block.note, same) if words)
    head = [plain(block.name, sheet.style["caption"])]
    head += [plain(note, sheet.style["remark"])] if note else []
    laid, wide = laid_out(shown, names, sheet.style, sheet.wide)
    wide = min(sheet.wide, max(wide, _width(block.name, sheet.style["caption"]),
                               _width(note, sheet.style["remark"]) / NOTED))
    flowables = [*head, *laid]
    return _Piece(flowables, wide, _height(flowables, wide), block)


def _width(text, style) -> float:
    from reportlab.pdfbase.pdfmetrics import stringWidth

    return stringWidth(text, style.fontName, style.fontSize) + 2.0


def _height(flowables, wide) -> float:
    return sum(each.getSpaceBefore() + each.wrap(wide, 1e5)[1] + each.getSpaceAfter()
               for each in flowables)


def _fits(row, piece, sheet) -> bool:
    """Whether a piece may stand beside those of a row."""
    together = [*row, piece]
    return max(each.tall for each in together) <= TALLEST * sheet.tall and \
        sum(each.wide + APART for each in together) - APART <= sheet.wide


def _opened(opening, row, sheet) -> list:
    """A row of pieces, kept together with the heading and sentences before it if it is pictures."""
    from reportlab.platypus import CondPageBreak, KeepTogether

    if not row:
        return opening
    set_ = row[0].flowables if len(row) == 1 else [_abreast(row)]
    if isinstance(row[0].block, Picture):
        return [KeepTogether([*opening, *set_])] if opening else set_
    return [*opening, CondPageBreak(TOGETHER), *set_]


def _abreast(row):
    from reportlab.platypus import Table as Laid

    widths = [each.wide + APART for each in row]
    return Laid([[each.flowables for each in row]], widths, hAlign="LEFT",
                style=[*BARE, ("RIGHTPADDING", (0, 0), (-1, -1), APART)])


def _room_for(picture, sheet):
    """Room on the page for a figure, which notes where it came to lie."""
    from reportlab.platypus import Flowable

    drawn = picture.drawn
    wide, tall = (72 * inches for inches in drawn.inches)
    most = (sheet.wide - APART) / 2 if drawn.narrow else sheet.wide
    scale = min(1.0, most * NARROWED / wide, HIGHEST * sheet.tall / tall)

    class Room(Flowable):
        def wrap(self, *_):
            self.width, self.height = wide * scale / NARROWED, tall * scale
            return self.width, self.height

        def draw(self):
            sheet.placed.append(Placed(drawn, self.canv.getPageNumber(),
                                       self.canv.absolutePosition(0, 0), scale))

    return Room()
