"""A report as a PDF to print, sign and keep."""

from __future__ import annotations

import io
from collections.abc import Iterable
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING

from ..results import DataTable, Heading, Picture, Text
from .tables import SMALL, parted, table_flowables
from .vectors import Placed, with_figures

if TYPE_CHECKING:
    from ..results.blocks import Block

EDGE = 34.0  # points
LEADS = {"miss": "MISS  ", "undecided": "UNDECIDED  ", "note": "Note  "}
PAPERS = ("A4", "Letter")
PLAIN, LARGE = 8.0, 11.5
TOGETHER = 62.0  # points below a heading or caption without which it goes to the next page


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
        Tables go on over pages with their headings repeated; pictures are vectors.
    """
    from reportlab.lib import pagesizes
    from reportlab.platypus import KeepTogether, Paragraph, SimpleDocTemplate, Spacer

    blocks = [block for block in blocks if not isinstance(block, DataTable)]
    size = getattr(pagesizes, paper if paper == "A4" else "LETTER")
    data, style, placed = io.BytesIO(), _styles(), []
    page = SimpleDocTemplate(data, pagesize=size, leftMargin=EDGE, rightMargin=EDGE,
                             topMargin=EDGE, bottomMargin=EDGE + 6, title=title, invariant=1,
                             lang="en")
    room = size[0] - 2 * EDGE - 12, size[1] - 2 * EDGE - 18
    story = [Paragraph(escape(title), style["title"]), Spacer(1, 2)]
    while blocks:
        count = _kept_together(blocks)
        drawn = [each for block in blocks[:count] for each in _block(block, style, room, placed)]
        story += drawn if count == 1 else [KeepTogether(drawn)]
        blocks = blocks[count:]

    def number(canvas, _):
        canvas.setFont("report", SMALL)
        canvas.drawString(EDGE, EDGE - 8, foot)
        canvas.drawRightString(size[0] - EDGE, EDGE - 8, str(canvas.getPageNumber()))

    page.build(story, onFirstPage=number, onLaterPages=number)
    return with_figures(data.getvalue(), placed)


def _kept_together(blocks) -> int:
    """How many of the next blocks stay on one page: a heading, a sentence of it and its picture."""
    kinds = [type(block) for block in blocks[:3]]
    if kinds[:2] == [Heading, Picture]:
        return 2
    return 3 if kinds == [Heading, Text, Picture] else 1


def _styles() -> dict:
    import matplotlib
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    fonts = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    for name, file in (("report", "DejaVuSans.ttf"), ("report bold", "DejaVuSans-Bold.ttf")):
        pdfmetrics.registerFont(TTFont(name, fonts / file))
    plain = ParagraphStyle("plain", fontName="report", fontSize=PLAIN, leading=PLAIN * 1.25,
                           spaceAfter=2.5)
    cell = ParagraphStyle("cell", plain, fontSize=SMALL, leading=SMALL * 1.15, spaceAfter=0,
                          splitLongWords=1)
    bold = {"fontName": "report bold"}
    return {
        "plain": plain, "cell": cell,
        "title": ParagraphStyle("title", plain, fontSize=LARGE * 1.2, leading=LARGE * 1.45, **bold),
        "heading": ParagraphStyle("heading", plain, fontSize=LARGE, leading=LARGE * 1.25,
                                  spaceBefore=8, **bold),
        "caption": ParagraphStyle("caption", plain, spaceBefore=3, spaceAfter=1, **bold),
        "remark": ParagraphStyle("remark", cell, spaceAfter=2),
        "number": ParagraphStyle("number", cell, alignment=2),
        "head": ParagraphStyle("head", cell, **bold),
        "number head": ParagraphStyle("number head", cell, alignment=2, **bold),
        "bold": ParagraphStyle("bold", cell, **bold),
        "number bold": ParagraphStyle("number bold", cell, alignment=2, **bold),
        "caution": ParagraphStyle("caution", cell, borderWidth=1.2, borderPadding=4,
                                  borderColor="#16202a", spaceBefore=5, spaceAfter=8, **bold),
        "missing": ParagraphStyle("missing", plain, leftIndent=10, textColor="#3d474f",
                                  fontSize=SMALL + 0.6, leading=(SMALL + 0.6) * 1.2,
                                  spaceAfter=1.5),
        "note": plain,
        **{kind: ParagraphStyle(kind, plain, **bold) for kind in ("miss", "undecided", "met")},
    }


def _block(block, style, room, placed):
    from reportlab.platypus import CondPageBreak, PageBreak, Paragraph, Spacer

    if isinstance(block, Heading):
        broken = PageBreak() if block.new_page else CondPageBreak(2 * TOGETHER)
        return [broken, Paragraph(escape(block.text), style["heading"])]
    if isinstance(block, Text):
        lead = LEADS.get(block.kind, "")
        return [Paragraph(escape(lead + block.text), style[block.kind])]
    if isinstance(block, Picture):
        return [_room_for(block.figure, room, placed), Spacer(1, 4)]
    names, same = parted(block)
    note = " ".join(words for words in (block.note, same) if words)
    remark = [Paragraph(escape(note), style["remark"])] if note else []
    return [CondPageBreak(TOGETHER), Paragraph(escape(block.name), style["caption"]), *remark,
            *table_flowables(block, names, style, room[0])]


def _room_for(figure, room, placed):
    """Room on the page for a figure, which notes where it came to lie."""
    from reportlab.platypus import Flowable

    wide, tall = figure.get_size_inches() * 72
    scale = min(1.0, room[0] / wide, room[1] / tall)

    class Room(Flowable):
        def wrap(self, *_):
            self.width, self.height = wide * scale, tall * scale
            return self.width, self.height

        def draw(self):
            placed.append(Placed(figure, self.canv.getPageNumber(),
                                 self.canv.absolutePosition(0, 0), scale))

    return Room()
