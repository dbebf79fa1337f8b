"""A report as a PDF to print, sign and keep."""

from __future__ import annotations

import io
from collections.abc import Iterable
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING

from ..results import DataTable, Heading, Picture, Text, is_missed, is_number

if TYPE_CHECKING:
    from ..results.blocks import Block

EDGE = 42.0  # points
LEADS = {"miss": "MISS  ", "undecided": "UNDECIDED  ", "note": "Note  "}
PAPERS = ("A4", "Letter")
SMALL, PLAIN, LARGE = 7.5, 9.5, 14.0
FORM = 70.0  # points of width for what is filled in by hand
TOGETHER = 90.0  # points below a heading or caption without which it goes to the next page
DOTS = 200  # an inch, of pictures
RULED = [("VALIGN", (0, 0), (-1, -1), "TOP"), ("LINEBELOW", (0, 0), (-1, 0), 1, "#16202a"),
         ("LINEBELOW", (0, 1), (-1, -1), 0.3, "#8a949c"),
         ("LEFTPADDING", (0, 0), (-1, -1), 3), ("RIGHTPADDING", (0, 0), (-1, -1), 3),
         ("TOPPADDING", (0, 0), (-1, -1), 1.5), ("BOTTOMPADDING", (0, 0), (-1, -1), 2)]


def as_pdf(title: str, blocks: Iterable[Block], paper: str, foot: str) -> bytes:
    """PDF of a report.

    Parameters
    ----------
    title : str
    blocks : sequence of Heading, Text, Table, Picture
    paper : {"A4", "Letter"}
    foot : str
        What stands at the foot of every page, before its number.

    Returns
    -------
    bytes
        Tables go on over pages with their headings repeated.
    """
    from reportlab.lib import pagesizes
    from reportlab.platypus import KeepTogether, Paragraph, SimpleDocTemplate, Spacer

    blocks = [block for block in blocks if not isinstance(block, DataTable)]
    size = getattr(pagesizes, paper if paper == "A4" else "LETTER")
    data, style = io.BytesIO(), _styles()
    page = SimpleDocTemplate(data, pagesize=size, leftMargin=EDGE, rightMargin=EDGE,
                             topMargin=EDGE, bottomMargin=EDGE + 12, title=title, invariant=1,
                             lang="en")
    room = size[0] - 2 * EDGE - 12, size[1] - 2 * EDGE - 24
    story = [Paragraph(escape(title), style["title"]), Spacer(1, 6)]
    made_of = [_block(block, style, room) for block in blocks]
    for block, before, after in zip(blocks, [None, *blocks], [*blocks[1:], None], strict=False):
        drawn = made_of.pop(0)
        if isinstance(block, Heading) and isinstance(after, Picture):
            story.append(KeepTogether([*drawn, *made_of[0]]))
        elif not (isinstance(block, Picture) and isinstance(before, Heading)):
            story += drawn

    def number(canvas, _):
        canvas.setFont("report", SMALL)
        canvas.drawString(EDGE, EDGE - 4, foot)
        canvas.drawRightString(size[0] - EDGE, EDGE - 4, str(canvas.getPageNumber()))

    page.build(story, onFirstPage=number, onLaterPages=number)
    return data.getvalue()


def _styles() -> dict:
    import matplotlib
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    fonts = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    for name, file in (("report", "DejaVuSans.ttf"), ("report bold", "DejaVuSans-Bold.ttf")):
        pdfmetrics.registerFont(TTFont(name, fonts / file))
    plain = ParagraphStyle("plain", fontName="report", fontSize=PLAIN, leading=PLAIN * 1.35,
                           spaceAfter=5)
    cell = ParagraphStyle("cell", plain, fontSize=SMALL, leading=SMALL * 1.2, spaceAfter=0,
                          splitLongWords=1)
    return {
        "plain": plain, "cell": cell,
        "title": ParagraphStyle("title", plain, fontName="report bold", fontSize=LARGE * 1.3,
                                leading=LARGE * 1.6),
        "heading": ParagraphStyle("heading", plain, fontName="report bold", fontSize=LARGE,
                                  leading=LARGE * 1.3, spaceBefore=12),
        "caption": ParagraphStyle("caption", plain, fontName="report bold", spaceBefore=6,
                                  spaceAfter=2),
        "remark": ParagraphStyle("remark", cell, spaceAfter=3),
        "number": ParagraphStyle("number", cell, alignment=2),
        "head": ParagraphStyle("head", cell, fontName="report bold"),
        "number head": ParagraphStyle("number head", cell, fontName="report bold", alignment=2),
        "bold": ParagraphStyle("bold", cell, fontName="report bold"),
        "caution": ParagraphStyle("caution", plain, fontName="report bold", borderWidth=1.5,
                                  borderPadding=6, borderColor="#16202a", spaceBefore=8,
                                  spaceAfter=12),
        "missing": ParagraphStyle("missing", plain, leftIndent=12, textColor="#3d474f"),
        "note": plain,
        **{kind: ParagraphStyle(kind, plain, fontName="report bold")
           for kind in ("miss", "undecided", "met")},
    }


def _block(block, style, room):
    from reportlab.platypus import CondPageBreak, Image, Paragraph, Spacer

    if isinstance(block, Heading):
        return [CondPageBreak(2 * TOGETHER), Paragraph(escape(block.text), style["heading"])]
    if isinstance(block, Text):
        lead = LEADS.get(block.kind, "")
        return [Paragraph(escape(lead + block.text), style[block.kind])]
    if isinstance(block, Picture):
        wide, tall = block.figure.get_size_inches() * 72
        scale = min(1.0, room[0] / wide, room[1] / tall)
        drawn = io.BytesIO()
        block.figure.savefig(drawn, format="png", dpi=DOTS)
        drawn.seek(0)
        return [Image(drawn, wide * scale, tall * scale), Spacer(1, 8)]
    note = [Paragraph(escape(block.note), style["remark"])] if block.note else []
    return [CondPageBreak(TOGETHER), Paragraph(escape(block.name), style["caption"]), *note,
            *_parts(block, style, room[0])]


def _parts(block, style, room):
    """A table, set as several below each other where it is too wide, led by its first column."""
    from reportlab.platypus import Spacer

    names, (least, most) = [str(name) for name in block.data.columns], _widths(block)
    first = 1
    while first == 1 or first < len(names):
        last = first + 1
        while last < len(names) and least[0] + sum(least[first:last + 1]) <= room:
            last += 1
        chosen = [0, *range(first, last)] if len(names) > 1 else [0]
        yield _table(block, style, [names[i] for i in chosen],
                     _shared([least[i] for i in chosen], [most[i] for i in chosen], room))
        yield Spacer(1, 8)
        first = last


def _table(block, style, names, widths):
    from reportlab.platypus import Paragraph, Table, TableStyle

    records = block.data.to_dict("records")
    right = _number_columns(block, names)
    rows = [[Paragraph(escape(name), style["number head" if name in right else "head"])
             for name in names]]
    rows += [[Paragraph(escape(block.cell(row, name)), style[_cell_style(row, name in right)])
              for name in names] for row in records]
    boxed = [("GRID", (k, 1), (k, len(records)), 0.6, "#16202a")
             for k, name in enumerate(names) if name in block.blank and records]
    return Table(rows, widths, repeatRows=1, style=TableStyle([*RULED, *boxed]),
                 hAlign="LEFT")


def _number_columns(block, names) -> set:
    return {name for name in names if name not in block.words
            and any(is_number(value) for value in block.data[name])}


def _cell_style(row, right: bool) -> str:
    return "bold" if is_missed(row) else "number" if right else "cell"


def _widths(block):
    """The least and the most width that each column has a use for."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    names = list(block.data.columns)

    def wide(text, font="report"):
        return stringWidth(text, font, SMALL) + 8

    records = block.data.to_dict("records")
    cells = {name: [block.cell(row, name) for row in records] for name in names}
    least, most = [], []
    for name in names:
        words = [wide(word, "report bold") for text in cells[name]
                 for word in ([text] if name in block.words else text.split())]
        heads = [wide(word, "report bold") for word in str(name).split()]
        empty = FORM if name in block.blank else 0.0
        least.append(max([*words, *heads, empty]))
        most.append(max([least[-1], *(wide(text) for text in cells[name]),
                         0.6 * wide(str(name), "report bold")]))
    return least, most


def _shared(least, most, room):
    """Widths within the page, each column given what its words need before it is given more."""
    if sum(most) <= room:
        return most
    if sum(least) >= room:
        return [w * room / sum(least) for w in least]
    spare = (room - sum(least)) / (sum(most) - sum(least))
    return [low + (high - low) * spare for low, high in zip(least, most, strict=True)]
