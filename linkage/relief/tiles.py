"""A template on paper at full size: on one page, or on pages that are laid together."""

from __future__ import annotations

import io
import math
from dataclasses import dataclass, replace

import numpy as np
import shapely

from ..errors import LinkageError, nearest
from ..units import CAUTION, LENGTHS, shown_length
from .drawing import Drawing, Word, bar_lines, box_of, foot
from .formats import COLOURS, DASHES, PENS, all_lines

PAPER = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
EDGE = 8.0  # mm of a page that a printer may not reach
FOOT = 17.0  # mm at the foot of a page for its words and its bar
OVERLAP = 10.0  # mm that neighbouring pages share
PER_POINT = 25.4 / 72  # mm per point of a page
UNSEEN = ("stations",)  # layers that alone do not make a page worth printing
MARKS = "#404040"


@dataclass(frozen=True, eq=False)
class Page:
    """A page of a template.

    Attributes
    ----------
    corner : tuple of float
        Of the drawing at the lower left of the page's room, mm.
    lines : list of (str, ndarray, bool)
        Layer, places and whether closed, in the drawing's mm.
    words : list of Word
    caption : str
    tiled : bool
        Whether others are laid beside it.
    """

    corner: tuple[float, float]
    lines: list
    words: list
    caption: str
    tiled: bool = False


def as_pdf(drawing: Drawing, paper: str | None = None) -> bytes:
    """PDF of a drawing at full size, over as many pages as it takes and none that is blank.

    Parameters
    ----------
    drawing : Drawing
    paper : {"A4", "Letter"}, optional
        By the length unit unless given.

    Returns
    -------
    bytes
        Neighbouring pages share a strip of 10 mm with crosses to lay them together by; each has
        a scale bar.  Words stand whole on a page, and the sentences on the first.
    """
    from matplotlib.backends.backend_pdf import PdfPages

    size, _, _ = sheets(drawing, paper)
    data = io.BytesIO()
    with PdfPages(data, metadata={"CreationDate": None, "Title": drawing.name}) as pages:
        for page in pages_of(drawing, paper):
            _put(pages, page, size, drawing.unit)
    return data.getvalue()


def sheets(drawing: Drawing, paper: str | None = None) -> tuple[tuple[float, float], int, int]:
    """Page size in mm, and the columns and rows of pages that the part of a drawing takes.

    Parameters
    ----------
    drawing : Drawing
    paper : {"A4", "Letter"}, optional

    Returns
    -------
    ((float, float), int, int)
    """
    name = paper or LENGTHS[drawing.unit].paper
    if name not in PAPER:
        raise LinkageError(f'no paper "{name}"; {nearest(name, PAPER)}', paper=name)
    left, low, right, high = drawing.bounds
    choices = []
    for size in (PAPER[name], PAPER[name][::-1]):
        inner, tall = _room(size)
        below = foot(drawing, inner, legend=True)[2]
        if right - left <= inner and high - low + below <= tall:
            return size, 1, 1
        columns = max(1, math.ceil((right - left - OVERLAP) / (inner - OVERLAP) - 1e-9))
        rows = max(1, math.ceil((high - low - OVERLAP) / (tall - OVERLAP) - 1e-9))
        choices.append((size, columns, rows))
    return min(choices, key=lambda sheet: sheet[1] * sheet[2])


def _room(size) -> tuple[float, float]:
    return size[0] - 2 * EDGE, size[1] - 2 * EDGE - FOOT


def pages_of(drawing: Drawing, paper: str | None = None) -> list[Page]:
    """Pages of a drawing: one with everything, or a first one with words and those to lay together.

    Parameters
    ----------
    drawing : Drawing
    paper : {"A4", "Letter"}, optional

    Returns
    -------
    list of Page
    """
    size, columns, rows = sheets(drawing, paper)
    inner, tall = _room(size)
    lines, words, below = foot(drawing, inner, legend=True)
    left, low, right, high = drawing.bounds
    own = list(all_lines(drawing))
    if columns * rows == 1 and high - low + below <= tall:
        lines = [(layer, line + (left, low), False) for layer, line in lines]
        words = [replace(word, at=(word.at[0] + left, word.at[1] + low)) for word in words]
        return [Page((left, high - tall), own + lines, [*drawing.words, *words], drawing.name)]
    rests = _tiles((left, high), (columns, rows), (inner, tall))
    seen = shapely.union_all([shapely.LineString(line) for layer, line, _ in own
                              if layer not in UNSEEN])
    kept = {place: corner for place, corner in rests.items() if shapely.box(
        *corner, corner[0] + inner, corner[1] + tall).intersection(seen).length > 1.0}
    pages = [_first(drawing, (lines, words, below), kept, (inner, tall))]
    held = _held(drawing.words, kept, (inner, tall))
    for n, (place, corner) in enumerate(kept.items()):
        caption = (f"{drawing.name}: page {n + 2} of {len(kept) + 1} (row {place[0] + 1} of "
                   f"{rows}, column {place[1] + 1} of {columns})")
        pages.append(Page(corner, own, held[place], caption, tiled=len(kept) > 1))
    return pages


def _tiles(corner, count, room) -> dict:
    """Lower left corners of the tiles by row and column."""
    (left, high), (columns, rows), (inner, tall) = corner, count, room
    return {(row, column): (left + column * (inner - OVERLAP), high - tall - row * (tall - OVERLAP))
            for row in range(rows) for column in range(columns)}


def _first(drawing, below, kept, room) -> Page:
    """The first page of several: sentences, legend, bar, and how the others are laid together."""
    (lines, words, deep), (inner, tall) = below, room
    top = [(layer, line, False) for layer, line in lines]
    words = list(words)
    if len(kept) > 1:
        rows, columns = (max(place[k] for place in kept) + 1 for k in (0, 1))
        size = min(18.0, (inner - 4) / columns, (tall - deep - 12) / rows)
        words.append(Word("words", (0.0, -deep - 4), "How the pages are laid together:", 2.4))
        for n, (row, column) in enumerate(kept):
            x, y = column * size, -deep - 8 - (row + 1) * size
            box = np.array([(0, 0), (1, 0), (1, 1), (0, 1)]) * size + (x, y)
            top.append(("scale", box, True))
            words.append(Word("words", (x + size / 2 - 1, y + size / 2 - 1.5), str(n + 2), 3.0))
    return Page((0.0, -tall), top, words, f"{drawing.name}: page 1 of {len(kept) + 1}")


def _held(words, kept, room) -> dict:
    """Words of each tile: wherever one has it whole, else moved into the one with most of it."""
    held = {place: [] for place in kept}
    for word in words:
        low, high = np.array(box_of(word))
        spare = {place: np.concatenate([low - corner, np.add(corner, room) - high])
                 for place, corner in kept.items()}
        whole = [place for place, sides in spare.items() if (sides >= 0).all()]
        for place in whole:
            held[place].append(word)
        if not whole and spare:
            place = max(spare, key=lambda place: spare[place].min())
            sides = spare[place]
            moved = np.maximum(-sides[:2], 0) - np.maximum(-sides[2:], 0)
            if np.abs(moved).max() < max(room) / 2:
                held[place].append(replace(word, at=tuple((np.array(word.at) + moved).tolist())))
    return held


def _put(pages, page, size, unit) -> None:
    from matplotlib.collections import LineCollection
    from matplotlib.figure import Figure

    figure, (inner, tall) = Figure(figsize=(size[0] / 25.4, size[1] / 25.4)), _room(size)
    axes = figure.add_axes((EDGE / size[0], (EDGE + FOOT) / size[1], inner / size[0],
                            tall / size[1]))
    axes.set(xlim=(page.corner[0], page.corner[0] + inner),
             ylim=(page.corner[1], page.corner[1] + tall))
    axes.set_axis_off()
    for layer, (colour, pen) in PENS.items():
        lines = [np.concatenate([line, line[:1]]) if closed else line
                 for on, line, closed in page.lines if on == layer]
        dash = (0, tuple(k / pen for k in DASHES[layer])) if layer in DASHES else "solid"
        axes.add_collection(LineCollection(lines, colors=colour, linewidths=pen / PER_POINT,
                                           linestyles=[dash], capstyle="butt", joinstyle="miter"))
    for word in page.words:
        axes.text(*word.at, word.text, fontsize=word.height / PER_POINT, clip_on=True,
                  color=COLOURS[word.layer], parse_math=False)
    if page.tiled:
        _overlap_marks(axes, page.corner, (inner, tall))
    _page_foot(figure, size, page, unit)
    pages.savefig(figure)


def _page_foot(figure, size, page, unit) -> None:
    """The caption and the caution of a page, and on one of several a bar to measure."""
    for n, line in enumerate([page.caption, " ".join(CAUTION.split())]):
        figure.text(EDGE / size[0], (EDGE + FOOT - 4 - 3.4 * n) / size[1], line,
                    fontsize=2.3 / PER_POINT, parse_math=False)
    if not page.tiled:
        return
    axes = figure.add_axes((EDGE / size[0], EDGE / size[1], 1 - 2 * EDGE / size[0], 8 / size[1]))
    axes.set(xlim=(0, size[0] - 2 * EDGE), ylim=(0, 8))
    axes.set_axis_off()
    colour, pen = PENS["scale"]
    for _, line in bar_lines(unit, (0.5, 1.0)):
        axes.plot(*line.T, color=colour, linewidth=pen / PER_POINT, solid_capstyle="butt")
    axes.text(LENGTHS[unit].bar + 4, 1.0, f"This bar is {shown_length(LENGTHS[unit].bar, unit, 0)} "
              f"long.", fontsize=2.3 / PER_POINT, parse_math=False)


def _overlap_marks(axes, corner, size):
    """Crosses in the strips that neighbouring pages share, and the edges to lay against them."""
    (u, v), (wide, tall), half = corner, size, OVERLAP / 2
    for x in (u + half, u + wide - half):
        for y in (v + half, v + tall - half):
            axes.plot([x - 4, x + 4], [y, y], color=MARKS, linewidth=0.4)
            axes.plot([x, x], [y - 4, y + 4], color=MARKS, linewidth=0.4)
    for x in (u, u + wide):
        axes.plot([x, x], [v, v + tall], color=MARKS, linewidth=0.4, linestyle=":")
    for y in (v, v + tall):
        axes.plot([u, u + wide], [y, y], color=MARKS, linewidth=0.4, linestyle=":")
