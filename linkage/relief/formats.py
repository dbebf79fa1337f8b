"""Templates as files of one drawing: DXF for a cutter, SVG at full size."""

from __future__ import annotations

import io
import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ..model.drawings import read_dxf, unit_size
from ..model.svg_drawings import read_svg
from ..units import CAUTION, LENGTHS
from .drawing import LAYERS, Drawing, box_of, foot

if TYPE_CHECKING:
    from .flat import Contour

PENS = {"cut outside": ("#000000", 0.35), "cut inside": ("#000000", 0.35),
        "new edge": ("#000000", 0.8), "old edge": ("#000000", 0.25),
        "hole centres": ("#202020", 0.18), "pivots": ("#202020", 0.18),
        "stations": ("#505050", 0.13), "words": ("#000000", 0.18), "scale": ("#000000", 0.25),
        "keep clear": ("#303030", 0.2)}
DASHES = {"old edge": (3.0, 1.2), "keep clear": (0.5, 1.0), "stations": (6.0, 1.0, 1.0, 1.0)}  # mm
COLOURS = {layer: pen[0] for layer, pen in PENS.items()}
NARROW = 150.0  # mm that lines of words below a narrow part are long
PAPER_ONLY = ("new edge",)  # its contour is in the file for a cutter already


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
    lines, words = below(drawing, legend=False)
    for layer, line in (*drawing.lines, *lines):
        if layer not in PAPER_ONLY:
            space.add_lwpolyline([(u / per, v / per) for u, v in line.tolist()],
                                 dxfattribs={"layer": layer})
    for word in (*drawing.words, *words):
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


def with_cut_svg(path: Path | str, contours: Sequence[Contour]) -> str:
    """SVG text of a plate's own drawing with its new edges in a group of their own, its last.

    Parameters
    ----------
    path : path
    contours : sequence of Contour
        In the plane of the drawing, mm.

    Returns
    -------
    str
        All that was in it stays.
    """
    page, text = read_svg(path), Path(path).read_text("utf-8")
    paths = []
    for contour in contours:
        rows = [(page.corner[0] + u / page.size, page.corner[1] - v / page.size, bulge)
                for u, v, bulge in contour.points]
        words = [f"M{rows[0][0]:.6f} {rows[0][1]:.6f}"]
        for (x, y, bulge), (u, v, _) in zip(rows, [*rows[1:], rows[0]], strict=True):
            radius = math.hypot(u - x, v - y) * (1 + bulge**2) / (4 * abs(bulge)) if bulge else 0.0
            words.append(f"A{radius:.6f} {radius:.6f} 0 {int(abs(bulge) > 1)} {int(bulge < 0)} "
                         f"{u:.6f} {v:.6f}" if bulge else f"L{u:.6f} {v:.6f}")
        paths.append(f'<path d="{" ".join(words)} Z" fill="none" stroke="#000000" '
                     f'stroke-width="{0.35 / page.size:.6f}"/>')
    name = next(name for k in itertools.count(1) if f'"{(name := f"RELIEF {k}")}"' not in text)
    end = text.rindex("</")
    return f'{text[:end]}<g id="{name}">{"".join(paths)}</g>\n{text[end:]}'


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
    lines, words = below(drawing, legend=True)
    left, _, right, high = drawing.bounds
    right = max([right, *(box_of(word)[1][0] for word in words)])
    wide, tall = right - left, high - min(box_of(word)[0][1] for word in words)
    parts = [f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:.3f}mm" '
             f'height="{tall:.3f}mm" viewBox="0 0 {wide:.3f} {tall:.3f}">',
             f"<title>{escape(drawing.name)}</title><desc>{escape(CAUTION)}</desc>",
             '<rect width="100%" height="100%" fill="white"/>']
    for layer, line, closed in all_lines(drawing, lines):
        colour, pen = PENS[layer]
        dash = " ".join(f"{k:g}" for k in DASHES.get(layer, ()))
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        places = " ".join(f"{u - left:.4f},{high - v:.4f}" for u, v in line.tolist())
        parts.append(f'<{"polygon" if closed else "polyline"} class="{layer.replace(" ", "-")}" '
                     f'points="{places}" fill="none" stroke="{colour}" stroke-width="{pen}"'
                     f'{dashed}/>')
    for word in (*drawing.words, *words):
        u, v = word.at
        parts.append(f'<text x="{u - left:.3f}" y="{high - v:.3f}" font-size="{word.height:.2f}" '
                     f'font-family="sans-serif" fill="{COLOURS[word.layer]}">'
                     f"{escape(word.text)}</text>")
    return "\n".join([*parts, "</svg>", ""])


def below(drawing: Drawing, *, legend: bool) -> tuple[list, list]:
    """Lines and words below a drawing in one piece, where they stand."""
    left, low, right, _ = drawing.bounds
    lines, words, _ = foot(drawing, max(right - left, NARROW), legend=legend)
    return ([(layer, line + (left, low)) for layer, line in lines],
            [replace(word, at=(word.at[0] + left, word.at[1] + low)) for word in words])


def all_lines(drawing: Drawing, more: Sequence = ()) -> Iterator[tuple]:
    """Every line of a drawing: its layer, its places, and whether it is closed."""
    for layer, contour in drawing.contours:
        yield layer, contour.drawn(), True
    for layer, line in (*drawing.lines, *more):
        yield layer, np.asarray(line), False
