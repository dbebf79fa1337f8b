"""Plates from DXF drawings.

The drawings are written here group code by group code (DXF reference, from memory); areas come
from closed forms, and what is material is asked of the formula of each curve.
"""

import math
import shutil

import numpy as np
import pytest
import shapely

import linkage
from linkage.__main__ import main
from linkage.errors import LinkageError
from linkage.geometry.loops import Curve
from linkage.model.drawings import read_drawing
from linkage.model.file import model_digest, side_files
from linkage.relief import flat_of

MODEL = """# a stick through a web, invented
length = "mm"
[input.pitch]
travel = [-10, 10]
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = { grip = [0, 0, 300] }
[body.stick.solid.tube]
kind = "tube"
along = ["pivot", "grip"]
diameter = 12
[airframe.solid.web]
kind = "plate"
drawing = "web.dxf"     # cut by the router
at = [10, -35, 100]
normal = "vertical"
u = "lateral"
thickness = 2
"""


MARKS = {"LWPOLYLINE": "AcDbPolyline", "SPLINE": "AcDbSpline", "ELLIPSE": "AcDbEllipse",
         "LINE": "AcDbLine", "CIRCLE": "AcDbCircle", "SOLID": "AcDbTrace",
         "INSERT": "AcDbBlockReference"}


def entity(kind, *codes, layer="CUT"):
    marks = [(100, "AcDbEntity"), (8, layer), (100, MARKS[kind])] if kind in MARKS else [(8, layer)]
    pairs = [(0, kind), *marks, *codes]
    return "".join(f"{code}\n{value}\n" for code, value in pairs)


def dxf(*entities, unit=4, blocks=""):
    head = f"0\nSECTION\n2\nHEADER\n9\n$ACADVER\n1\nAC1015\n9\n$INSUNITS\n70\n{unit}\n0\nENDSEC\n"
    return (head + (f"0\nSECTION\n2\nBLOCKS\n{blocks}0\nENDSEC\n" if blocks else "")
            + "0\nSECTION\n2\nENTITIES\n" + "".join(entities) + "0\nENDSEC\n0\nEOF\n")


def line(a, b, layer="CUT"):
    return entity("LINE", (10, a[0]), (20, a[1]), (11, b[0]), (21, b[1]), layer=layer)


def arc(middle, radius, first, last):
    return entity("ARC", (10, middle[0]), (20, middle[1]), (40, radius), (50, first), (51, last))


def circle(middle, radius, *more, layer="CUT"):
    return entity("CIRCLE", (10, middle[0]), (20, middle[1]), (40, radius), *more, layer=layer)


def polyline(*corners, layer="CUT", closed=1):
    rows = [pair for u, v, *bulge in corners for pair in (
        (10, u), (20, v), *((42, b) for b in bulge))]
    return entity("LWPOLYLINE", (90, len(corners)), (70, closed), *rows, layer=layer)


def ellipse(middle, major, ratio, first=0.0, last=2 * math.pi):
    return entity("ELLIPSE", (10, middle[0]), (20, middle[1]), (11, major[0]), (21, major[1]),
                  (40, ratio), (41, first), (42, last))


def spline(degree, knots, control, weights=()):
    return entity("SPLINE", (70, 0), (71, degree), (72, len(knots)), (73, len(control)),
                  *((40, k) for k in knots), *((41, w) for w in weights),
                  *(pair for u, v in control for pair in ((10, u), (20, v), (30, 0))))


SQUARE = polyline((0, 0), (100, 0), (100, 60), (0, 60))


def written(tmp_path, text):
    path = tmp_path / "web.dxf"
    path.write_text(text, encoding="utf-8")
    return path


def material(tmp_path, text, **options):
    plate = read_drawing(written(tmp_path, text), **options)
    solid = linkage.model.Plate(at=(0, 0, 0), normal="vertical", u=(1.0, 0.0, 0.0), thickness=1.0,
                                outline=tuple(map(tuple, plate.outline)),
                                holes=tuple(linkage.model.solids.Hole(**{
                                    "outline": tuple(map(tuple, hole["outline"]))}
                                    if "outline" in hole else hole) for hole in plate.holes))
    return shapely.union_all([shapely.Polygon(part) for part in solid.parts()])


def quarter(*, reverse=False):
    """A quarter of a circle of radius 20 as a rational curve (Piegl and Tiller, from memory)."""
    control = [(20, 0), (20, 20), (0, 20)]
    return spline(2, [0, 0, 0, 1, 1, 1], control[::-1] if reverse else control,
                  [1, math.sqrt(0.5), 1])


CORNER = math.tan(math.pi / 8)
HALF = 10 * math.pi / 2
SHAPES = {  # entities, area
    "lines": ([line((0, 0), (30, 0)), line((30, 20), (30, 0)), line((0, 20), (30, 20)),
               line((0, 0), (0, 20))], 600),
    "lines that end 0.009 mm apart": ([line((0, 0), (30, 0)), line((30, 0.009), (30, 20)),
                                       line((30, 20), (0, 20)), line((0, 20), (0, 0))], 600),
    "rounded corner": ([polyline((0, 0), (20, 0, CORNER), (30, 10), (30, 20), (0, 20))],
                       600 - 100 * (1 - math.pi / 4)),
    "hollow corner": ([polyline((0, 0), (20, 0, -CORNER), (30, 10), (30, 20), (0, 20))],
                      600 - 100 * math.pi / 4),
    "clockwise": ([polyline((0, 20), (30, 20), (30, 10, -CORNER), (20, 0), (0, 0))],
                  600 - 100 * (1 - math.pi / 4)),
    "half circle on a line": ([arc((0, 0), 10, 0, 180), line((-10, 0), (10, 0))], 50 * math.pi),
    "three quarters": ([arc((0, 0), 10, 0, 270), line((0, -10), (0, 0)), line((0, 0), (10, 0))],
                       75 * math.pi),
    "disc": ([circle((5, 5), 10)], 100 * math.pi),
    "disc seen from below": ([circle((5, 5), 10, (230, -1))], 100 * math.pi),
    "hole": ([SQUARE, circle((50, 30), 10)], 6000 - 100 * math.pi),
    "ellipse": ([ellipse((0, 0), (20, 10), 0.5)], math.pi * 500 * 0.5),
    "elliptic hole": ([SQUARE, ellipse((50, 30), (0, 12), 0.25)], 6000 - math.pi * 144 * 0.25),
    "half an ellipse": ([ellipse((0, 0), (20, 0), 0.5, 0, math.pi), line((-20, 0), (20, 0))],
                        math.pi * 100),
    "slot": ([SQUARE, line((20, 20), (40, 20)), line((20, 30), (40, 30)),
              arc((20, 25), 5, 90, 270), arc((40, 25), 5, 270, 90)],
             6000 - 200 - 25 * math.pi),
    "quarter by a rational spline": ([quarter(), line((0, 20), (0, 0)), line((0, 0), (20, 0))],
                                     100 * math.pi),
    "hollow by a rational spline": ([quarter(reverse=True), line((20, 0), (20, 20)),
                                     line((20, 20), (0, 20))], 400 - 100 * math.pi),
    # of a parabola over its chord: two thirds of the width times the height (Archimedes)
    "parabola": ([spline(2, [0, 0, 0, 1, 1, 1], [(0, 0), (20, 20), (40, 0)]),
                  line((0, 0), (40, 0))], 2 / 3 * 40 * 10),
    "parabolic hole": ([SQUARE, spline(2, [0, 0, 0, 1, 1, 1], [(30, 20), (50, 40), (70, 20)]),
                        line((30, 20), (70, 20))], 6000 - 2 / 3 * 40 * 10),
}


@pytest.mark.parametrize("name", SHAPES)
def test_area_is_that_of_the_closed_form_and_never_less(name, tmp_path):
    entities, area = SHAPES[name]
    made = material(tmp_path, dxf(*entities))
    assert made.area >= area - 1e-9
    assert made.area <= area + 0.011 * (made.length + 1)  # 0.01 mm along every edge


def test_no_place_of_the_curve_lies_outside_the_material(tmp_path):
    """A cubic and its mirror image, as an outline: places by the Bernstein formula."""
    control = np.array([(0, 0), (-15, 30), (60, 25), (40, 0)], dtype=float)
    made = material(tmp_path, dxf(spline(3, [0] * 4 + [1] * 4, control.tolist()),
                                  spline(3, [0] * 4 + [1] * 4, (control * [1, -1]).tolist())))
    t = np.linspace(0, 1, 2001)[:, None]
    places = sum(math.comb(3, k) * t**k * (1 - t)**(3 - k) * control[k] for k in range(4))
    away = shapely.distance(made, shapely.points(np.concatenate([places, places * [1, -1]])))
    assert away.max() < 1e-9
    edge = shapely.distance(made.boundary, shapely.points(places))
    assert 1e-6 < edge.max() < 0.011


def test_curve_is_inside_the_sides_right_of_it():
    rng = np.random.default_rng(5)
    for _ in range(20):
        control = np.column_stack([rng.uniform(-20, 20, (5, 2)), np.ones(5)])
        curve = Curve(control)
        sides = np.array([*curve.corners(0.01), curve.end])
        line_ = shapely.LineString(sides)
        t = np.linspace(0, 1, 501)[:, None]
        places = sum(math.comb(4, k) * t**k * (1 - t)**(4 - k) * control[k, :2] for k in range(5))
        assert shapely.distance(line_, shapely.points(places)).max() < 0.0101


@pytest.mark.parametrize(("unit", "size"), [(1, 25.4), (4, 1.0), (5, 10.0), (6, 1000.0)])
def test_unit_of_the_drawing(unit, size, tmp_path):
    plate = read_drawing(written(tmp_path, dxf(polyline((0, 0), (3, 0), (3, 2), (0, 2)),
                                               unit=unit)))
    assert np.ptp(plate.outline, axis=0) == pytest.approx([3 * size, 2 * size])


def test_block_is_taken_apart_and_turned(tmp_path):
    block = ("0\nBLOCK\n8\n0\n2\nWEB\n10\n0\n20\n0\n"
             + polyline((0, 0), (30, 0), (30, 20), (0, 20), layer="0") + "0\nENDBLK\n8\n0\n")
    insert = entity("INSERT", (2, "WEB"), (10, 5), (20, 7), (50, 90))
    plate = read_drawing(written(tmp_path, dxf(insert, blocks=block)), "cut")
    assert sorted(map(tuple, np.round(plate.outline, 9).tolist())) == [
        (-15, 7), (-15, 37), (5, 7), (5, 37)]


BAD = {  # text of the drawing, options, words of the complaint
    "open": (dxf(line((0, 0), (30, 0)), line((30, 0), (30, 20)), line((30, 20), (0, 0.5))), {},
             "is open at [0, 0] mm: the next end is 0.5 mm away"),
    "drawn twice": (dxf(SQUARE, line((0, 0), (30, 0)), line((0, 0), (30, 0))), {},
                    "drawn twice"),
    "branches": (dxf(line((0, 0), (30, 0)), line((30, 0), (30, 20)), line((30, 20), (0, 0)),
                     line((30, 0), (50, 0))), {}, "more than two edges"),
    "two outlines": (dxf(SQUARE, polyline((200, 0), (230, 0), (230, 20))), {}, "two outlines"),
    "island": (dxf(SQUARE, circle((50, 30), 20), circle((50, 30), 5)), {}, "within a hole"),
    "no unit": (dxf(SQUARE, unit=0), {}, "says no unit"),
    "other unit": (dxf(SQUARE), {"unit": "in"}, "and not in in"),
    "unknown unit": (dxf(SQUARE, unit=99), {}, "not known"),
    "no such layer": (dxf(SQUARE), {"layer": "CUTS"}, 'did you mean "CUT"'),
    "two layers": (dxf(SQUARE, circle((50, 30), 5, layer="HOLES")), {}, "on 2 layers (CUT, HOLES)"),
    "nothing": (dxf(), {}, "edges on 0 layers"),
    "in space": (dxf(entity("LINE", (10, 0), (20, 0), (30, 0), (11, 9), (21, 0), (31, 5))), {},
                 "is not flat"),
    "tilted": (dxf(circle((0, 0), 9, (210, 1), (220, 0), (230, 0))), {}, "tilted"),
    "solid fill": (dxf(entity("SOLID", (10, 0), (20, 0), (11, 1), (21, 0), (12, 0), (22, 1))), {},
                   "no edge that is known"),
    "fit points only": (dxf(entity("SPLINE", (70, 0), (71, 3), (74, 2), (11, 0), (21, 0), (11, 9),
                                   (21, 9))), {}, "without control points"),
    "truncated": (dxf(SQUARE)[:40], {}, "is no DXF drawing"),
    "text": ("a picture, not a drawing\n", {}, "is no DXF drawing"),
    "empty": ("", {}, "is no DXF drawing"),
    "no radius": (dxf(circle((0, 0), 0)), {}, "radius"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_drawing_is_refused_in_a_sentence(name, tmp_path):
    text, options, words = BAD[name]
    with pytest.raises(LinkageError) as caught:
        read_drawing(written(tmp_path, text), **options)
    assert words in caught.value.sentence
    assert "web.dxf" in caught.value.sentence
    assert len(caught.value.sentence) < 300 + len(str(tmp_path))


def test_many_entities_are_refused_soon(tmp_path):
    many = "".join(line((k, 0), (k + 1, 1)) for k in range(20_001))
    with pytest.raises(LinkageError, match="more than 20,000 edges"):
        read_drawing(written(tmp_path, dxf(many)))


@pytest.fixture
def web(tmp_path):
    """A model whose plate is drawn."""
    (tmp_path / "web.dxf").write_text(dxf(SQUARE, circle((20, 20), 5)), encoding="utf-8")
    path = tmp_path / "stick.toml"
    path.write_text(MODEL, encoding="utf-8")
    return path


@pytest.mark.parametrize(("old", "new", "words"), [
    ('drawing = "web.dxf"', 'drawing = "no.dxf"', "can't be read"),
    ('drawing = "web.dxf"', 'drawing = ""', "needs a text"),
    ('drawing = "web.dxf"', 'drawing = "web.dxf"\nholes = []', "so does holes"),
    ('kind = "plate"', 'kind = "box"', 'goes with kind = "plate"'),
    ('drawing = "web.dxf"', 'drawing = "web.dxf"\nunit = "yd"', "needs one of"),
    ('drawing = "web.dxf"', 'drawing = "."', "drawing"),
])
def test_what_the_file_says_of_a_drawing_is_checked(old, new, words, web, capsys):
    web.write_text(MODEL.replace(old, new), encoding="utf-8")
    assert main([str(web), "--only", "description"]) == 2
    said = capsys.readouterr().err
    assert words in said
    assert said.count("\n") == 1


def test_digest_covers_the_drawing_and_a_form_made_before_is_refused(web):
    before = model_digest(web)
    assert side_files(web) == [web.parent / "web.dxf"]
    (web.parent / "web.dxf").write_text(dxf(SQUARE), encoding="utf-8")
    assert model_digest(web) != before


def test_drawing_is_never_written_over(web, capsys):
    drawing = web.parent / "web.dxf"
    before = drawing.read_bytes()
    assert main(["view", str(web), "--out", str(drawing), "--replace"]) == 2
    assert "is the file that is read" in capsys.readouterr().err
    assert drawing.read_bytes() == before


def test_a_saved_change_leaves_the_drawing_in_place(web, tmp_path):
    from dataclasses import replace

    from linkage.model.save import save_model

    model = linkage.load(web).model
    control = replace(model.inputs["pitch"], travel=(-10.0, 8.0))
    away = tmp_path / "other"
    away.mkdir()
    for path, name in ((tmp_path / "new.toml", '"web.dxf"     #'),
                       (away / "new.toml", '"../web.dxf"  #')):
        save_model(web, replace(model, inputs={"pitch": control}), path)
        assert path.read_text(encoding="utf-8") == MODEL.replace("[-10, 10]", "[-10, 8]").replace(
            '"web.dxf"     #', name)
        assert linkage.load(path).model.solids["airframe/web"] == model.solids["airframe/web"]


def test_relief_goes_into_a_copy_of_the_drawing_on_a_layer_of_its_own(web, tmp_path, capsys):
    out = tmp_path / "shop"
    assert main(["relief", str(web), "airframe/web", "--out", str(out)]) == 0
    capsys.readouterr()
    cut = out / "airframe web cut.dxf"
    old, new = (read_drawing(cut, layer) for layer in ("CUT", "RELIEF"))
    assert old == read_drawing(web.parent / "web.dxf")
    relieved = linkage.load(out / "stick relieved.toml").model
    shape = flat_of(relieved, "airframe/web").material
    shutil.copy(cut, out / "web.dxf")
    web.write_text(MODEL.replace('"web.dxf"', '"shop/web.dxf"\nlayer = "RELIEF"'),
                   encoding="utf-8")
    again = flat_of(linkage.load(web).model, "airframe/web").material
    assert new.outline != old.outline
    assert again.symmetric_difference(shape).area < 0.02 * shape.length
    assert "drawing" not in (out / "stick relieved.toml").read_text(encoding="utf-8")


def test_the_checker_refuses_a_drawing_by_name(web, tmp_path, capsys):
    assert main([str(web), "--only", "clearance", "--proof", str(tmp_path / "p.json.gz")]) == 2
    assert "drawing" in capsys.readouterr().err
