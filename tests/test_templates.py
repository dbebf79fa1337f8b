"""Templates: full size on every page, words whole, new edges as arcs; measured on the page."""

import numpy as np
import pytest
import shapely

import linkage
from linkage.model.file import parse_model
from linkage.relief import draw, flat_of, page_count, relieve, templates
from linkage.relief.arcs import BAND, arc_places
from linkage.relief.cut import make_cut
from linkage.relief.tiles import as_pdf, pages_of, sheets

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


def edges_within(page, room):
    """Middles and unit normals of the straight, undashed edges of a tile, from 10 mm on."""
    for layer, line, closed in page.lines:
        if layer not in ("cut outside", "cut inside", "new edge"):
            continue
        ends = np.concatenate([line, line[:1]]) if closed else line
        for a, b in zip(ends, ends[1:], strict=False):
            # the stretch of it within the tile, clear of the crosses that pages are laid by
            inside = shapely.LineString([a, b]).intersection(
                shapely.box(*np.add(page.corner, 10), *np.add(page.corner, room) - 10))
            if inside.length < 10:
                continue
            along = (b - a) / np.linalg.norm(b - a)
            for share in (0.23, 0.5, 0.77):
                yield (np.array(inside.interpolate(share, normalized=True).coords[0]),
                       np.array([-along[1], along[0]]))


def test_every_tile_is_full_size_by_its_edges(side_by_side, full):
    """Each straight edge of each tile lies on the paper where it has to, within 0.2 mm.

    Measured in the rendered page across the edge, from the paper's own lower left corner.
    """
    if not full:
        pytest.skip("every tile at 20 dots per mm takes long; --full does it")
    pymupdf = pytest.importorskip("pymupdf")
    for name in ("airframe/seat pan right", "airframe/tail frame"):
        drawing = templates(side_by_side.model, name)[None]
        for paper in ("A4", "Letter"):
            size, *_ = sheets(drawing, paper)
            pages = pymupdf.open(stream=as_pdf(drawing, paper), filetype="pdf")
            tiles = [(number, page) for number, page in enumerate(pages_of(drawing, paper))
                     if page.tiled]
            assert len(tiles) > 1
            for number, page in tiles:
                picture = pages[number].get_pixmap(dpi=508, colorspace=pymupdf.csGRAY)
                dark = np.frombuffer(picture.samples, np.uint8).reshape(
                    picture.height, -1)[:, :picture.width] < 140
                spots = list(edges_within(page, (size[0] - 16, size[1] - 33)))
                assert len(spots) >= 3
                for spot, across in spots:
                    steps = np.arange(-1.0, 1.0, 0.02)
                    x, y = (spot - page.corner + (8, 25) + steps[:, None] * across).T * 20
                    hit = dark[np.round(picture.height - y).astype(int), np.round(x).astype(int)]
                    assert hit.any(), (name, paper, number, spot)
                    runs = np.split(steps[hit], np.flatnonzero(np.diff(steps[hit]) > 0.1) + 1)
                    off = min(abs(run.mean()) for run in runs)  # of whatever else crosses there
                    assert off <= 0.2, (name, paper, number, spot)
