"""A report as a PDF to print, sign and keep."""

from __future__ import annotations

import io
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from ..results import DataTable
from .setting import NARROWED, Sheet, story_of
from .tables import SMALL
from .vectors import with_figures

if TYPE_CHECKING:
    from ..results.blocks import Block

EDGE = 34.0  # points
PAPERS = ("A4", "Letter")
PLAIN, LARGE = 7.3, 11.0


def sheet_of(paper: str) -> Sheet:
    """What blocks are set on, A4 or Letter."""
    wide, tall = _size(paper)
    return Sheet(_styles(), (wide - 2 * EDGE) / NARROWED - 12, tall - 2 * EDGE - 18)


def _size(paper) -> tuple[float, float]:
    from reportlab.lib import pagesizes

    return getattr(pagesizes, paper if paper == "A4" else "LETTER")


def as_pdf(title: str, blocks: Iterable[Block], paper: str, foot: str,
           sheet: Sheet | None = None) -> bytes:
    """PDF of a report.

    Parameters
    ----------
    title : str
    blocks : sequence of Heading, Text, Table, Picture
    paper : {"A4", "Letter"}
    foot : str
        What stands at the foot of every page, before its number.
    sheet : Sheet, optional
        Of that paper, on which some of the tables were set ahead.

    Returns
    -------
    bytes
        Tables go on over pages with their headings repeated; pictures are vectors.
    """
    from reportlab.platypus import SimpleDocTemplate, Spacer

    from .paragraphs import plain

    blocks = [block for block in blocks if not isinstance(block, DataTable)]
    size, data, sheet = _size(paper), io.BytesIO(), sheet or sheet_of(paper)
    edge, wide = EDGE / NARROWED, size[0] / NARROWED
    page = SimpleDocTemplate(data, pagesize=(wide, size[1]), leftMargin=edge, rightMargin=edge,
                             topMargin=EDGE, bottomMargin=EDGE + 6, title=title, invariant=1,
                             lang="en")
    story = [plain(title, sheet.style["title"]), Spacer(1, 2), *story_of(blocks, sheet)]

    def begin(canvas, _):
        canvas.setPageSize(size)
        canvas.scale(NARROWED, 1.0)
        canvas.setFont("report", SMALL)
        canvas.drawString(edge, EDGE - 8, foot)
        canvas.drawRightString(wide - edge, EDGE - 8, str(canvas.getPageNumber()))

    page.build(story, onFirstPage=begin, onLaterPages=begin)
    return with_figures(data.getvalue(), sheet.placed)


def _styles() -> dict:
    import matplotlib
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.pdfbase import pdfmetrics

    from .paragraphs import Font

    fonts = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    for name, file in (("report", "DejaVuSans.ttf"), ("report bold", "DejaVuSans-Bold.ttf")):
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(Font(name, fonts / file))
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
