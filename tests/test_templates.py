"""Templates: full size on every page, words whole, new edges as arcs; measured on the page."""

import numpy as np
import pytest
import shapely

import linkage
from linkage.model.file import parse_model
from linkage.relief import draw, flat_of, page_count, relieve, templates
from linkage.relief.arcs import BAND, arc_places
from linkage.relief.cut import make_cut
from linkage.relief.tiles import as_pdf, sheets

MEASURED = """
length = "UNIT"
title = "a plate to measure"
[airframe.solid]
plate = { kind = "plate", thickness = "4 mm", outline = [["-40 mm", "-30 mm"], ["40 mm", "-30 mm"],
  ["40 mm", "30 mm"], ["-40 mm", "30 mm"]
], at = [0, 0, 0], normal = [0, 0, 1], u = [1, 0, 0] }
"""


@pytest.mark.parametrize(("unit", "bar"), [("mm", 100.0), ("in", 101.6)])
def test_pdf_is_full_size(unit, bar):
    pymupdf = pytest.importorskip("pymupdf")
    model = parse_model(MEASURED.replace("UNIT", unit))
    drawing = draw(model, flat_of(model, "airframe/plate"))
    page = pymupdf.open(stream=as_pdf(drawing), filetype="pdf")[0]
    wide = {"mm": 210.0, "in": 215.9}[unit]
    assert page.rect.width / 72 * 25.4 == pytest.approx(wide, abs=0.01)
    picture = page.get_pixmap(dpi=508, colorspace=pymupdf.csGRAY)  # 20 dots per mm
    dark = np.frombuffer(picture.samples, np.uint8).reshape(picture.height, -1) < 110
    dark = dark[:, :picture.width]
    runs = [longest_run(row) for row in dark]
    row = int(np.argmax([end - start for start, end in runs]))
    assert (runs[row][1] - runs[row][0]) / 20 == pytest.approx(bar + 0.25, abs=0.2)  # and its pen
    above = dark[row - 45]  # only the long ticks at its ends reach so high
    columns = np.flatnonzero(above)
    ends = columns[columns < columns.mean()].mean(), columns[columns > columns.mean()].mean()
    assert (ends[1] - ends[0]) / 20 == pytest.approx(bar, abs=0.2)
    edges = [k for k, (start, end) in enumerate(runs) if abs((end - start) / 20 - 80.35) < 0.2]
    assert (max(edges) - min(edges)) / 20 == pytest.approx(60.35, abs=0.2)
    assert "Computed from the file alone" in page.get_text()


def longest_run(row):
    steps = np.flatnonzero(np.diff(np.concatenate(([0], row.astype(np.int8), [0]))))
    if not steps.size:
        return 0, 0
    starts, ends = steps[::2], steps[1::2]
    k = (ends - starts).argmax()
    return starts[k], ends[k]


def test_pdf_is_tiled(side_by_side):
    """Each tile is full size by its bar, holds some of the part, and cuts no word in two."""
    pymupdf = pytest.importorskip("pymupdf")
    drawing = templates(side_by_side.model, "airframe/seat pan right")[None]
    size, columns, rows = sheets(drawing, "A4")
    assert columns * rows > 1
    pages = pymupdf.open(stream=as_pdf(drawing, "A4"), filetype="pdf")
    assert len(pages) == page_count(drawing, "A4") <= columns * rows + 1
    names = " ".join(word.text for word in drawing.words)
    for number, page in enumerate(pages):
        assert page.rect.width / 72 * 25.4 == pytest.approx(size[0], abs=0.01)
        assert "Computed from the file alone" in page.get_text()
        assert all(word in names for word in page.get_textbox(
            pymupdf.Rect(0, 0, page.rect.width, page.rect.height - 70)).split() if number)
        picture = page.get_pixmap(dpi=254, colorspace=pymupdf.csGRAY)  # 10 dots per mm
        dark = np.frombuffer(picture.samples, np.uint8).reshape(picture.height, -1) < 140
        below = dark[-250:] if number else dark[:300]
        runs = [longest_run(row[:picture.width]) for row in below]
        assert max(end - start for start, end in runs) / 10 == pytest.approx(101.6 + 0.25, abs=0.2)
        room = dark[150:-330, 150:-150]
        assert room.sum() > 500  # no page is blank
    with pytest.raises(linkage.LinkageError, match='no paper "A9"'):
        sheets(drawing, "A9")


def test_new_edges_are_arcs_within_their_band(side_by_side):
    """By brute force: places of the new edge against the cut of straight pieces it stands for."""
    flat = flat_of(side_by_side.model, "airframe/seat pan left")
    found = relieve(side_by_side, flat.name)
    before = make_cut(flat, found.swept, 0.07, 3.175, 6.0)
    new, = flat_of(found.model, flat.name).inside
    assert len(new.points) < 40  # 239 straight pieces before
    assert sum(bulge != 0 for *_, bulge in new.points) > 5
    after = (*new.points[1:], new.points[0])
    places = shapely.points(np.concatenate([
        arc_places(np.array(a[:2]), np.array(b[:2]), a[2], 0.05)
        for a, b in zip(new.points, after, strict=True)]))
    places = places[shapely.distance(flat.material.boundary, places) > 0.05]
    assert len(places) > 500
    assert shapely.distance(before.left, places).max() < 1e-3  # nowhere short of the cut
    assert shapely.distance(before.left.boundary, places).max() < BAND + 1e-3
    assert all(row["after"] >= row["required"] for row in found.pairs)
    kept = shapely.get_coordinates(flat.material.exterior)
    assert shapely.distance(shapely.Polygon(found.shape.outline).exterior,
                            shapely.points(kept)).max() < 1e-9
