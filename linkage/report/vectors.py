"""Pictures of a PDF as vectors: each drawn by Matplotlib and put where the page leaves room."""

from __future__ import annotations

import io
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ..results.blocks import Drawn


@dataclass(frozen=True, eq=False)
class Placed:
    """A figure and where its lower left corner lies: page from 1, points, and its scale."""

    drawn: Drawn
    page: int
    at: tuple[float, float]
    scale: float


def with_figures(pages: bytes, placed: Iterable[Placed]) -> bytes:
    """A PDF with figures put on its pages as vectors, their words as text.

    Parameters
    ----------
    pages : bytes
    placed : iterable of Placed

    Returns
    -------
    bytes
    """
    from pypdf import PdfReader, PdfWriter

    writer = PdfWriter(clone_from=PdfReader(io.BytesIO(pages)))
    for number, each in enumerate(placed):
        _put(writer, each, f"/Figure{number}")
    data = io.BytesIO()
    writer.write(data)
    return data.getvalue()


def _put(writer, each, name) -> None:
    """One figure as a form of its page."""
    from pypdf import PdfReader
    from pypdf.generic import (
        ArrayObject,
        DictionaryObject,
        FloatObject,
        NameObject,
        StreamObject,
    )

    drawn = PdfReader(io.BytesIO(each.drawn.pdf)).pages[0]
    form = StreamObject()
    form.set_data(drawn.get_contents().get_data())
    form.update({NameObject("/Type"): NameObject("/XObject"),
                 NameObject("/Subtype"): NameObject("/Form"),
                 NameObject("/BBox"): ArrayObject(FloatObject(k) for k in drawn.mediabox),
                 NameObject("/Resources"): drawn["/Resources"].clone(writer)})
    held = writer._add_object(form.flate_encode())
    page = writer.pages[each.page - 1]
    if "/XObject" not in page["/Resources"]:
        page["/Resources"][NameObject("/XObject")] = DictionaryObject()
    page["/Resources"]["/XObject"][NameObject(name)] = held
    call, kept = StreamObject(), StreamObject()
    kept.set_data(b"q\n")  # what the page set up, its own scale too, is none of the figure's
    (x, y), s = each.at, each.scale
    call.set_data(f"Q q {s:.6f} 0 0 {s:.6f} {x:.4f} {y:.4f} cm {name} Do Q\n".encode())
    contents = page["/Contents"].get_object()
    before = list(contents) if isinstance(contents, ArrayObject) else [page.raw_get("/Contents")]
    page[NameObject("/Contents")] = ArrayObject([writer._add_object(kept), *before,
                                                  writer._add_object(call)])
