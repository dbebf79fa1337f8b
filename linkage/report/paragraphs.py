"""Plain words as ReportLab sets them, without work that was done before."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import Paragraph

if TYPE_CHECKING:
    from reportlab.lib.styles import ParagraphStyle

REMEMBERED = 1 << 15  # words whose widths are kept


class Font(TTFont):
    """A font that remembers how wide words are: each is asked for many times."""

    def __init__(self, name: str, file: Path):
        super().__init__(name, file)
        self.stringWidth = lru_cache(REMEMBERED)(self.stringWidth)


def plain(text: str, style: ParagraphStyle) -> Paragraph:
    """A paragraph of words without markup, which nobody has to look for then."""
    return _Plain(text, style, frags=[_letter(style).clone(text=text)] if text else [])


class _Plain(Paragraph):
    """A paragraph that is broken into lines once for a width."""

    broken_at = None

    def wrap(self, wide, tall):
        if wide != self.broken_at or not hasattr(self, "blPara"):
            super().wrap(wide, tall)
            self.broken_at = wide
        return self.width, self.height


@lru_cache(64)
def _letter(style):
    """What ReportLab's parser makes of a letter in a style."""
    return Paragraph("x", style).frags[0]
