"""A report as a PDF to print, sign and keep."""

from __future__ import annotations

import io
from html import escape
from pathlib import Path

from .blocks import Heading, Picture, Text, is_missed, is_number

EDGE = 42.0  # points
PAPERS = ("A4", "Letter")
SMALL, PLAIN, LARGE = 7.5, 9.5, 14.0
FORM = 70.0  # points of width for what is filled in by hand
TOGETHER = 90.0  # points below a heading or caption without which it goes to the next page
DOTS = 200  # an inch, of pictures


def as_pdf(title: str, blocks, paper: str, foot: str) -> bytes:
    """PDF of a report.

    Parameters
    ----------
    title : str
    blocks : sequence of Heading, Text, Grid, Picture
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

    size = getattr(pagesizes, paper if paper == "A4" else "LETTER")
    made, style = io.BytesIO(), _styles()
    page = SimpleDocTemplate(made, pagesize=size, leftMargin=EDGE, rightMargin=EDGE,
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
    return made.getvalue()


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
        "note": ParagraphStyle("note", cell, spaceAfter=3),
        "number": ParagraphStyle("number", cell, alignment=2),
        "head": ParagraphStyle("head", cell, fontName="report bold"),
        "bold": ParagraphStyle("bold", cell, fontName="report bold"),
        "caution": ParagraphStyle("caution", plain, fontName="report bold", borderWidth=1.5,
                                  borderPadding=6, borderColor="#16202a", spaceBefore=8,
                                  spaceAfter=12),
        "missing": ParagraphStyle("missing", plain, leftIndent=12, textColor="#3d474f"),
        "miss": ParagraphStyle("miss", plain, fontName="report bold"),
    }


def _block(block, style, room):
    from reportlab.platypus import CondPageBreak, Image, Paragraph, Spacer

    if isinstance(block, Heading):
        return [CondPageBreak(2 * TOGETHER), Paragraph(escape(block.text), style["heading"])]
    if isinstance(block, Text):
        lead = "MISSED  " if block.kind == "miss" else ""
        return [Paragraph(escape(lead + block.text), style[block.kind])]
    if isinstance(block, Picture):
        wide, tall = block.figure.get_size_inches() * 72
        scale = min(1.0, room[0] / wide, room[1] / tall)
        drawn = io.BytesIO()
        block.figure.savefig(drawn, format="png", dpi=DOTS)
        drawn.seek(0)
        return [Image(drawn, wide * scale, tall * scale), Spacer(1, 8)]
    note = [Paragraph(escape(block.note), style["note"])] if block.note else []
    return [CondPageBreak(TOGETHER), Paragraph(escape(block.name), style["caption"]), *note,
            _table(block, style, room[0]), Spacer(1, 8)]


def _table(grid, style, room):
    from reportlab.platypus import Paragraph, Table, TableStyle

    names = [str(name) for name in grid.data.columns]
    rows = [[Paragraph(escape(name), style["head"]) for name in names]]
    blank = []
    for row in grid.data.to_dict("records"):
        missed = is_missed(row)
        blank += [(k, len(rows)) for k, name in enumerate(row) if name in grid.blank]
        rows.append([Paragraph(escape(grid.told(row, name)), style[
            "bold" if missed else "number" if is_number(value) else "cell"])
            for name, value in row.items()])
    ruled = [("VALIGN", (0, 0), (-1, -1), "TOP"), ("LINEBELOW", (0, 0), (-1, 0), 1, "#16202a"),
             ("LINEBELOW", (0, 1), (-1, -1), 0.3, "#8a949c"),
             ("LEFTPADDING", (0, 0), (-1, -1), 3), ("RIGHTPADDING", (0, 0), (-1, -1), 3),
             ("TOPPADDING", (0, 0), (-1, -1), 1.5), ("BOTTOMPADDING", (0, 0), (-1, -1), 2)]
    ruled += [("BOX", at, at, 0.6, "#16202a") for at in blank]
    return Table(rows, _widths(grid, names, room), repeatRows=1, style=TableStyle(ruled),
                 hAlign="LEFT")


def _widths(grid, names, room):
    """Widths that give each column what its words need, within the page."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    def wide(text, font="report"):
        return stringWidth(text, font, SMALL) + 8

    records = grid.data.to_dict("records")
    cells = {name: [grid.told(row, name) for row in records] for name in names}
    least, most = [], []
    for name in names:
        words = [wide(word, "report bold") for text in cells[name]
                 for word in ([text] if name in grid.said else text.split())]
        heads = [wide(word, "report bold") for word in str(name).split()]
        empty = FORM if name in grid.blank else 0.0
        least.append(max([*words, *heads, empty]))
        most.append(max([least[-1], *(wide(text) for text in cells[name]),
                         0.6 * wide(str(name), "report bold")]))
    if sum(most) <= room:
        return most
    if sum(least) >= room:
        return [w * room / sum(least) for w in least]
    spare = (room - sum(least)) / (sum(most) - sum(least))
    return [low + (high - low) * spare for low, high in zip(least, most, strict=True)]
