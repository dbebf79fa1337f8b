"""Plates from SVG drawings written here by hand; areas by closed forms, places by formula."""

import math

import numpy as np
import pytest
import shapely
from test_drawings import MODEL

import linkage
from linkage.__main__ import main
from linkage.errors import LinkageError
from linkage.geometry.outlines import hole_polygon, outline_polygon
from linkage.model.drawings import read_drawing

PAGE = '<svg xmlns="http://www.w3.org/2000/svg" width="{w}" height="{h}" viewBox="0 0 200 100">'
BOX = '<rect x="10" y="20" width="100" height="50"/>'


def svg(*parts, w="200mm", h="100mm"):
    return PAGE.format(w=w, h=h) + "".join(parts) + "</svg>"


def drawn(folder, *parts, layer=None, **sizes):
    path = folder / "web.svg"
    path.write_text(svg(*parts, **sizes), "utf-8")
    return read_drawing(path, layer)


def area(plate):
    holes = [shapely.Polygon(hole_polygon(each["outline"])).area if "outline" in each else
             math.pi * each["diameter"]**2 / 4 for each in plate.holes]
    return shapely.Polygon(outline_polygon(plate.outline)).area - sum(holes)


SHAPES = {  # parts of a drawing, and the area of what they bound, mm²
    "box": ((BOX,), 5000),
    "path": (('<path d="M10,20h100v50h-100z"/>',), 5000),
    "in turn": (('<path d="M10 20 110 20 110 70 10 70Z"/>',), 5000),
    "rounded": (('<rect x="10" y="20" width="100" height="50" rx="8"/>',),
                5000 - (4 - math.pi) * 64),
    "hole": ((BOX, '<circle cx="40" cy="45" r="10"/>'), 5000 - 100 * math.pi),
    "ring": ((BOX, '<ellipse cx="50" cy="45" rx="30" ry="15"/>'), 5000 - 450 * math.pi),
    "ellipse": (('<ellipse cx="60" cy="45" rx="40" ry="20"/>',), 800 * math.pi),
    "slot": (('<path d="M40 30H80A15 15 0 0 1 80 60H40a15 15 0 0 1 0-30z"/>',),
             40 * 30 + 225 * math.pi),
    "flags run on": (('<path d="M40 30H80A15 15 0 01 80 60H40a15 15 0 010-30z"/>',),
                     40 * 30 + 225 * math.pi),
    "large arc": (('<path d="M60 45 A20 20 0 1 1 60 44.9Z"/>',), None),
    "lines": (('<line x1="10" y1="20" x2="110" y2="20"/><polyline points="110,20 110,70 10,70"/>'
               '<line x1="10" y1="70" x2="10" y2="20"/>',), 5000),
    "polygon": (('<polygon points="10,20 110,20 110,70"/>',), 2500),
    # a parabola's segment is two thirds of its box: Archimedes
    "quadratic": (('<path d="M10 70 Q60 -30 110 70 Z"/>',), 2 / 3 * 100 * 50),
    "smooth": (('<path d="M10 40 Q35 15 60 40 T110 40 L110 80 H10Z"/>',), 4000),
    "turned": (('<g transform="translate(60 45) rotate(30)"><rect x="-40" y="-10" width="80" '
                'height="20"/></g>',), 1600),
    "mirrored": (('<g transform="matrix(-1 0 0 1 200 0)">' + BOX + "</g>",), 5000),
    "leaning": (('<g transform="skewX(20)">' + BOX + "</g>",), 5000),
    "stretched ring": (('<circle cx="30" cy="20" r="10" transform="scale(3 2)"/>',),
                       600 * math.pi),
}


@pytest.mark.parametrize("name", SHAPES)
def test_area_is_that_of_the_closed_form(tmp_path, name):
    parts, wanted = SHAPES[name]
    plate = drawn(tmp_path, *parts)
    wanted = 400 * math.pi if wanted is None else wanted  # all of the circle but a sliver
    # flattened curves never lose material, and lie within 0.01 mm of it
    assert -2e-2 <= area(plate) - wanted <= 0.011 * 400


def test_cubic_never_loses_material(tmp_path):
    control = np.array([[20, 70], [40, -20], [90, 140], [120, 30]], float)
    plate = drawn(tmp_path, '<path d="M20 70C40 -20 90 140 120 30V95H20Z"/>')
    polygon = shapely.Polygon(outline_polygon(plate.outline))
    t = np.linspace(0, 1, 400)[:, None]
    places = ((1 - t)**3 * control[0] + 3 * (1 - t)**2 * t * control[1]
              + 3 * (1 - t) * t**2 * control[2] + t**3 * control[3])
    off = shapely.distance(shapely.points(places * [1, -1] + [0, 100]), polygon)
    assert off.max() < 1e-9
    assert shapely.distance(polygon.exterior, shapely.points(
        places * [1, -1] + [0, 100])).max() <= 0.011


def test_page_s_lower_left_is_the_zero_and_its_width_the_unit(tmp_path):
    plate = drawn(tmp_path, BOX, w="20in", h="10in")  # 2.54 mm to the unit
    u, v = np.array(plate.outline).T
    assert (u.min(), u.max()) == pytest.approx((25.4, 279.4))
    assert (v.min(), v.max()) == pytest.approx((30 * 2.54, 80 * 2.54))


def test_group_is_chosen_by_its_name(tmp_path):
    parts = (f'<g id="g1" label="CUT">{BOX}</g>', '<g id="notes"><circle cx="9" cy="9" r="2"/></g>')
    assert area(drawn(tmp_path, *parts, layer="cut")) == pytest.approx(5000)
    assert area(drawn(tmp_path, *parts, layer="g1")) == pytest.approx(5000)
    with pytest.raises(LinkageError, match="edges in 2 groups"):
        drawn(tmp_path, *parts)
    with pytest.raises(LinkageError, match='no edges in a group "cuts"'):
        drawn(tmp_path, *parts, layer="cuts")


BAD = {
    "px": (svg(BOX, w="200", h="100"), "says? its unit|say its unit"),
    "askew": (svg(BOX, h="90mm"), "in proportion"),
    "no view": (svg(BOX).replace("viewBox", "box"), "viewBox"),
    "torn": (svg(BOX)[:-20], "no SVG drawing that can be read"),
    "html": ("<html></html>", "is no SVG"),
    "entity": ('<!DOCTYPE svg [<!ENTITY a "b">]>' + svg(BOX), "entities"),
    "open": (svg('<path d="M10 10H50V40"/>'), "open|not closed|ends"),
    "use": (svg('<use href="#a"/>'), '"use"'),
    "bad path": (svg('<path d="M10 10 L20"/>'), "lacks a number"),
    "no move": (svg('<path d="L10 10"/>'), "where a command"),
    "huge": (svg('<path d="M1e30 10H50V40Z"/>'), "coordinate"),
    "percent": (svg('<rect width="50%" height="9"/>'), "plain number"),
    "odd turn": (svg(f'<g transform="spin(3)">{BOX}</g>'), "transform"),
    "nothing": (svg("<text>web</text>"), "draw the plate's outline"),
    "nan": (svg('<rect x="nan" width="3" height="3"/>'), "plain number"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_drawing_is_refused_in_a_sentence(tmp_path, name, capsys):
    text, words = BAD[name]
    (tmp_path / "web.svg").write_text(text, "utf-8")
    with pytest.raises(LinkageError, match=words):
        read_drawing(tmp_path / "web.svg")
    (tmp_path / "m.toml").write_text(MODEL.replace("web.dxf", "web.svg"), "utf-8")
    assert main([str(tmp_path / "m.toml")]) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_relief_is_written_into_a_copy(tmp_path):
    (tmp_path / "web.svg").write_text(svg('<g id="CUT"><rect x="0" y="0" width="160" height="90"/>'
                                          "</g>"), "utf-8")
    (tmp_path / "m.toml").write_text(MODEL.replace("web.dxf", "web.svg").replace(
        "at = [10, -35, 100]", "at = [80, 45, 100]").replace('"vertical"\nu = "lateral"',
                                                                '"vertical"\nu = "fore-aft"')
        + "[clearance]\nstructure = 5\n", "utf-8")
    assert main(["relief", str(tmp_path / "m.toml"), "airframe/web", "--out",
                 str(tmp_path / "out")]) == 0
    copy = tmp_path / "out" / "airframe web cut.svg"
    assert 'id="CUT"' in copy.read_text("utf-8")
    cut = read_drawing(copy, "RELIEF 1")
    model = linkage.load(tmp_path / "out" / "m relieved.toml").model.solids["airframe/web"]
    hole = shapely.Polygon(hole_polygon(model.holes[0].shape))
    assert len(cut.holes) == 1
    apart = shapely.Polygon(hole_polygon(cut.holes[0]["outline"])).symmetric_difference(hole)
    assert apart.area < 0.005 * hole.length  # both flattened within 0.01 mm
