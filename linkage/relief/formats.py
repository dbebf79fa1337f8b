"""Templates as files: DXF for a cutter, SVG and PDF at full size for paper."""

from __future__ import annotations

import io
import itertools
import math
from collections.abc import Sequence
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ..errors import LinkageError, nearest
from ..model.drawings import read_dxf, unit_size
from ..units import CAUTION, LENGTHS
from .drawing import LAYERS, Drawing

if TYPE_CHECKING:
    from .flat import Contour

PAPER = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
EDGE = 8.0  # mm of a page that a printer may not reach
FOOT = 12.0  # mm at the foot of a page for its words
OVERLAP = 10.0  # mm that neighbouring pages share
PER_POINT = 25.4 / 72  # mm per point of a page
PENS = {"cut outside": ("#000000", 0.35), "cut inside": ("#000000", 0.35),
        "hole centres": ("#1f5fa8", 0.18), "pivots": ("#8a2f7d", 0.18),
        "stations": ("#6b6b6b", 0.13), "words": ("#000000", 0.18), "scale": ("#000000", 0.25),
        "keep clear": ("#b06a00", 0.13), "taken away": ("#b03030", 0.18)}
COLOURS = {layer: pen[0] for layer, pen in PENS.items()}


def as_dxf(drawing: Drawing) -> str:
    """DXF text of a drawing, in the file's own length unit.

    Arcs are arcs and round holes circles.

    Parameters
    ----------
    drawing : Drawing

    Returns
    -------
    str
    """
    import ezdxf

    page = ezdxf.new("R2010", units=LENGTHS[drawing.unit].dxf)
    page.header["$MEASUREMENT"] = int(LENGTHS[drawing.unit].metric)
    for layer, colour in LAYERS.items():
        page.layers.add(layer, color=colour)
    space, per = page.modelspace(), LENGTHS[drawing.unit].mm
    for layer, contour in drawing.contours:
        _add_contour(space, contour, per, layer)
    for layer, line in drawing.lines:
        space.add_lwpolyline([(u / per, v / per) for u, v in line.tolist()],
                             dxfattribs={"layer": layer})
    for word in drawing.words:
        space.add_text(word.text, height=word.height / per, dxfattribs={"layer": word.layer}
                       ).set_placement((word.at[0] / per, word.at[1] / per))
    return _dxf_text(page)


def with_cut(path: Path | str, unit: str | None, contours: Sequence[Contour]) -> str:
    """DXF text of a plate's own drawing with its new edges on a layer of their own.

    Parameters
    ----------
    path : path
    unit : str or None
        Of a drawing that says none.
    contours : sequence of Contour
        In the plane of the drawing, mm.

    Returns
    -------
    str
        All that was in it stays.
    """
    document = read_dxf(path)
    layer = next(name for k in itertools.count(1) if (name := f"RELIEF {k}" if k > 1 else "RELIEF")
                 not in document.layers)
    document.layers.add(layer, color=LAYERS["cut outside"])
    for contour in contours:
        _add_contour(document.modelspace(), contour, unit_size(document, unit), layer)
    return _dxf_text(document)


def _add_contour(space, contour, per, layer) -> None:
    on = {"layer": layer}
    if contour.diameter and len(contour.centres) == 1:
        u, v = contour.centres[0]
        space.add_circle((u / per, v / per), contour.diameter / 2 / per, dxfattribs=on)
    else:
        space.add_lwpolyline([(u / per, v / per, bulge) for u, v, bulge in contour.points],
                             format="xyb", close=True, dxfattribs=on)


def _dxf_text(document) -> str:
    text = io.StringIO()
    document.write(text)
    return text.getvalue()


def as_svg(drawing: Drawing) -> str:
    """SVG text of a drawing: one unit is one mm, and the page is as large as the drawing.

    Parameters
    ----------
    drawing : Drawing

    Returns
    -------
    str
    """
    left, low, right, high = drawing.bounds
    wide, tall = right - left, high - low
    parts = [f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:.3f}mm" '
             f'height="{tall:.3f}mm" viewBox="0 0 {wide:.3f} {tall:.3f}">',
             f"<title>{escape(drawing.name)}</title><desc>{escape(CAUTION)}</desc>",
             '<rect width="100%" height="100%" fill="white"/>']
    for layer, line, closed in _all_lines(drawing):
        colour, pen = PENS[layer]
        places = " ".join(f"{u - left:.4f},{high - v:.4f}" for u, v in line.tolist())
        parts.append(f'<{"polygon" if closed else "polyline"} class="{layer.replace(" ", "-")}" '
                     f'points="{places}" fill="none" stroke="{colour}" stroke-width="{pen}"/>')
    for word in drawing.words:
        u, v = word.at
        parts.append(f'<text x="{u - left:.3f}" y="{high - v:.3f}" font-size="{word.height:.2f}" '
                     f'font-family="sans-serif" fill="{COLOURS[word.layer]}">'
                     f"{escape(word.text)}</text>")
    return "\n".join([*parts, "</svg>", ""])


def _all_lines(drawing):
    for layer, contour in drawing.contours:
        yield layer, contour.drawn(), True
    for layer, line in drawing.lines:
        yield layer, np.asarray(line), False


def as_pdf(drawing: Drawing, paper: str | None = None) -> bytes:
    """PDF of a drawing at full size, over as many pages as it takes.

    Parameters
    ----------
    drawing : Drawing
    paper : {"A4", "Letter"}, optional
        By the length unit unless given.

    Returns
    -------
    bytes
        Neighbouring pages share a strip of 10 mm with crosses to lay them together by.
    """
    from matplotlib.backends.backend_pdf import PdfPages

    size, columns, rows = sheets(drawing, paper)
    inner, tall = size[0] - 2 * EDGE, size[1] - 2 * EDGE - FOOT
    left, low, right, high = drawing.bounds
    data = io.BytesIO()
    with PdfPages(data, metadata={"CreationDate": None, "Title": drawing.name}) as pages:
        for row in range(rows):
            for column in range(columns):
                corner = (left + column * (inner - OVERLAP),
                          high - tall - row * (tall - OVERLAP))
                caption = f"{drawing.name}: page {row * columns + column + 1} of {rows * columns}"
                if rows * columns > 1:
                    caption += f" (row {row + 1} of {rows}, column {column + 1} of {columns})"
                _page(pages, drawing, size, corner, caption, rows * columns > 1)
    return data.getvalue()


def sheets(drawing: Drawing, paper: str | None = None) -> tuple[tuple[float, float], int, int]:
    """Page size in mm, and the columns and rows of pages that a drawing takes.

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
        inner, tall = size[0] - 2 * EDGE, size[1] - 2 * EDGE - FOOT
        columns = max(1, math.ceil((right - left - OVERLAP) / (inner - OVERLAP) - 1e-9))
        rows = max(1, math.ceil((high - low - OVERLAP) / (tall - OVERLAP) - 1e-9))
        choices.append((size, columns, rows))
    return min(choices, key=lambda sheet: sheet[1] * sheet[2])


def _page(pages, drawing, size, corner, caption, tiled):
    from matplotlib.collections import LineCollection
    from matplotlib.figure import Figure

    figure = Figure(figsize=(size[0] / 25.4, size[1] / 25.4))
    inner, tall = size[0] - 2 * EDGE, size[1] - 2 * EDGE - FOOT
    axes = figure.add_axes((EDGE / size[0], (EDGE + FOOT) / size[1], inner / size[0],
                            tall / size[1]))
    axes.set(xlim=(corner[0], corner[0] + inner), ylim=(corner[1], corner[1] + tall))
    axes.set_axis_off()
    for layer, (colour, pen) in PENS.items():
        lines = [np.concatenate([line, line[:1]]) if closed else line
                 for on, line, closed in _all_lines(drawing) if on == layer]
        axes.add_collection(LineCollection(lines, colors=colour, linewidths=pen / PER_POINT,
                                           capstyle="butt", joinstyle="miter"))
    for word in drawing.words:
        axes.text(*word.at, word.text, fontsize=word.height / PER_POINT, clip_on=True,
                  color=COLOURS[word.layer], parse_math=False)
    if tiled:
        _overlap_marks(axes, corner, (inner, tall))
    for n, line in enumerate([caption, " ".join(CAUTION.split())]):
        figure.text(EDGE / size[0], (EDGE + FOOT - 4 - 4 * n) / size[1], line,
                    fontsize=2.3 / PER_POINT, parse_math=False)
    pages.savefig(figure)


def _overlap_marks(axes, corner, size):
    """Crosses in the strips that neighbouring pages share, and the edges to lay against them."""
    (u, v), (wide, tall), half = corner, size, OVERLAP / 2
    for x in (u + half, u + wide - half):
        for y in (v + half, v + tall - half):
            axes.plot([x - 4, x + 4], [y, y], color="#b03030", linewidth=0.4)
            axes.plot([x, x], [y - 4, y + 4], color="#b03030", linewidth=0.4)
    for x in (u, u + wide):
        axes.plot([x, x], [v, v + tall], color="#b03030", linewidth=0.4, linestyle=":")
    for y in (v, v + tall):
        axes.plot([u, u + wide], [y, y], color="#b03030", linewidth=0.4, linestyle=":")
