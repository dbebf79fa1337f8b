"""Reliefs against closed forms, proven and bracketed; templates measured on the page."""

import dataclasses
import io
import itertools
import math

import numpy as np
import pytest
import shapely

import linkage
from linkage.__main__ import main
from linkage.clearances.scene import Scene
from linkage.geometry import piece_gap, tube
from linkage.model.file import format_model, parse_model
from linkage.motion import System
from linkage.relief import Options, draw, flat_of, relief_templates, relieve, templates
from linkage.relief.cut import cut_shape, make_cut, narrowest, overcuts
from linkage.relief.flat import rounded
from linkage.relief.swept import Sweep, posed
from linkage.units import CAUTION

PLATE = """
plate = { kind = "plate", thickness = 4.0, outline = [
  [-150, -120], [150, -120], [150, 120], [-150, 120]
], at = [0, 0, 0], normal = [0, 0, 1], u = [1, 0, 0], holes = [{ at = [120, 90], diameter = 10 }] }
"""
HEAD = 'length = "mm"\n[clearance]\nstructure = 6.0\n'
SLIDING = HEAD + '[input.move]\ntravel = ["-30 mm", "40 mm"]\n[body.car]\npivot = [0, 0, 60]\n' \
    'slide = [0, 1, 0]\ninput = "move"\nsolid.it = {it}\n[airframe.solid]' + PLATE
TURNING = HEAD + "[input.turn]\ntravel = [-50, 70]\n[body.arm]\npivot = [-60, 0, 80]\n" \
    'axis = [0, 0, 1]\ninput = "turn"\nsolid.it = {it}\n[airframe.solid]' + PLATE
BALL = '{ kind = "sphere", at = [10, 0, 0], diameter = 24 }'


def swept(text, step=0.25):
    system = System(parse_model(text))
    scene, flat = Scene(system), flat_of(system.model, "airframe/plate")
    pair = next(iter(scene.pairs.values()))
    return Sweep(system, flat, scene.solid(pair.first), pair, step).region()


def directions(count=720):
    turns = np.linspace(0, 2 * np.pi, count, endpoint=False)
    return np.stack((np.cos(turns), np.sin(turns)), axis=1)


def check_bracket(shape, true):
    """Never beyond the true outline, and within 0.01 mm of all of it."""
    assert shape.difference(true.buffer(1e-4)).area < 1e-6
    assert true.buffer(-0.01).difference(shape).area < 1e-6


def test_ball_on_an_arc():
    region = swept(TURNING.replace("{it}", BALL))
    turns = np.radians(np.linspace(-50, 70, 20001))
    arc = shapely.LineString(np.stack((-60 + 70 * np.cos(turns), 70 * np.sin(turns)), axis=1))
    away = shapely.distance(shapely.points(shapely.get_coordinates(region)), arc)
    assert away.max() < 18 + 1e-5
    assert away.min() > 18 - 0.011  # at cusps between stick positions
    area = math.radians(120) * 70 * 36 + math.pi * 18**2
    assert region.area == pytest.approx(area, abs=0.01 * region.length)
    assert region.area < area


def test_coplanar_disc_on_an_arc():
    disc = '{ kind = "washer", at = [10, 0, 0], normal = [0, 0, 1], outside = 24, thickness = 2 }'
    region = swept(TURNING.replace("{it}", disc), step=1.0)
    area = math.radians(120) * 70 * 36 + math.pi * 18**2
    assert abs(region.area - area) < 0.02 * region.length  # the disc is a polygon within 0.01 mm


def test_tilted_tube_moved_along():
    tilt = math.radians(35)
    ends = [[x, 0, x / math.tan(tilt)] for x in (-100.0, 100.0)]
    region = swept(SLIDING.replace("{it}", f'{{ kind = "tube", along = {ends}, diameter = 20 }}'))
    d, big, half = directions(), 10 + 6, 2
    true = np.hypot(big * d[:, 0] / math.cos(tilt), big * d[:, 1]) \
        + half * math.tan(tilt) * abs(d[:, 0]) + np.maximum(-30 * d[:, 1], 40 * d[:, 1])
    found = (shapely.get_coordinates(region) @ d.T).max(axis=0)
    assert (found < true + 1e-9).all()
    assert (found > true - 0.01).all()


def test_box_moved_along():
    box = '{ kind = "box", corner = [-20, -10, -50], opposite = [15, 12, 70] }'
    true = shapely.box(-20, -40, 15, 52).buffer(6, quad_segs=2000)
    check_bracket(swept(SLIDING.replace("{it}", box)), true)


def test_ball_that_only_grazes_the_plate():
    ball = '{ kind = "sphere", at = [10, 0, 12], diameter = 24 }'  # 10 over the face; R is 18
    radius = math.sqrt(18**2 - 10**2)
    true = shapely.LineString([(10, -30), (10, 40)]).buffer(radius, quad_segs=2000)
    check_bracket(swept(SLIDING.replace("{it}", ball)), true)


@pytest.mark.parametrize("it", [BALL, '{ kind = "box", corner = [-20, -10, -50], '
                                      'opposite = [15, 12, 70] }'])
def test_cut_holds_the_need_and_at_most_a_tenth_more(it):
    system = System(parse_model(SLIDING.replace("{it}", it)))
    found = relieve(system, "airframe/plate", Options(cutter=0))
    true = shapely.LineString([(10, -30), (10, 40)]).buffer(18, quad_segs=2000) if it == BALL \
        else shapely.box(-20, -40, 15, 52).buffer(6, quad_segs=2000)
    left = shapely.Polygon(found.cut.left)
    assert left.intersection(true).area < 1e-6
    assert found.cut.removed.difference(true.buffer(0.1)).area < 1e-6
    assert all(row["after"] >= row["required"] for row in found.pairs)
    assert found.cut.overcut.area < 0.05
    assert len(found.shape.holes) == 2
    assert found.shape.holes[0].diameter == 10  # left alone


def test_cut_for_every_build_holds_the_need_of_builds_off_by_hand():
    """A ball on an arm, its pivot and its place each off by 0.4 mm along FS and BL, worked by hand:
    what each such build needs is gone, and the cut as drawn leaves some of it."""
    system = System(parse_model(TURNING.replace("{it}", BALL) + "[tolerance]\nhardpoint = 0.4\n"))
    drawn, built = (relieve(system, "airframe/plate", Options(cutter=0, built=b))
                    for b in (False, True))
    turns, short = np.radians(np.linspace(-50, 70, 401)), 0.0
    for dx, dy, ex, ey in itertools.product((-0.4, 0.4), repeat=4):
        arm = complex(70 + ex, ey) * np.exp(1j * turns) + complex(-60 + dx, dy)
        need = shapely.LineString(np.stack((arm.real, arm.imag), axis=1)).buffer(17.99)
        assert shapely.Polygon(built.cut.left).intersection(need).area < 1e-6
        short = max(short, shapely.Polygon(drawn.cut.left).intersection(need).area)
    assert short > 10
    words = relief_templates(built)[None].notes
    assert any(text.startswith("For every build within the file's tolerances") for text in words)
    assert linkage.clearance(System(built.model), built=True)["ok"].all()


def test_washer_and_moving_plate_and_edge_notch():
    text = HEAD.replace("6.0", "3.0") + """same = 2.0
[input.a]
travel = [-20, 20]
[input.b]
travel = [-15, 25]
[body.lever]
pivot = [0, 0, 0]
axis = [0, 0, 1]
input = "a"
[body.lever.solid.rim]
kind = "washer"
at = [0, 0, 0]
normal = [0, 0, 1]
outside = 160
inside = 20
thickness = 3
[body.other]
pivot = [120, 0, 0]
axis = [0, 0, 1]
input = "b"
solid.pin = { kind = "tube", along = [[80, 0, -30], [80, 0, 30]], diameter = 8 }
"""
    system = System(parse_model(text))
    found = relieve(system, "lever/rim")
    assert found.shape.kind == "plate"
    assert all(row["after"] >= row["required"] for row in found.pairs)
    assert found.cut.edges["edge"] == 0
    assert found.cut.edges["hole 1"] > 20
    again = parse_model(format_model(found.model))
    assert relieve(System(again), "lever/rim").needed is False


def random_text(rng):
    way = rng.normal(size=3)
    way /= np.linalg.norm(way)
    across = np.cross(way, rng.normal(size=3))
    across /= np.linalg.norm(across)
    pivot = rng.uniform(-40, 40, 3) - 90 * way
    axes = [np.cross(way, across), across]
    tip, wide = 200 * way + pivot + rng.uniform(-25, 25, 3), rng.uniform(4, 16)
    it = f'{{ kind = "tube", along = ["pivot", {tip.tolist()}], diameter = {wide} }}'
    extra = ""
    if rng.random() < 0.5:
        low = pivot + 90 * way + rng.uniform(-25, 0, 3)
        extra = f'solid.block = {{ kind = "box", corner = {low.tolist()}, opposite = ' \
                f"{(low + rng.uniform(8, 30, 3)).tolist()} }}\n"
    home = '[airframe.solid.plate]\n'
    if rng.random() < 0.5:
        home = f'[input.c]\ntravel = [-8, 6]\n[body.holder]\npivot = [200, 10, 20]\n' \
               f'axis = {across.tolist()}\ninput = "c"\n[body.holder.solid.plate]\n'
    return HEAD.replace("6.0", f"{rng.uniform(1, 9)}") + f"""different = 4.0
same = 3.0
[input.a]
travel = [{-rng.uniform(2, 12)}, {rng.uniform(2, 12)}]
[input.b]
travel = [{-rng.uniform(2, 12)}, {rng.uniform(2, 12)}]
[body.carrier]
pivot = {pivot.tolist()}
axis = {axes[0].tolist()}
input = "a"
[body.stick]
on = "carrier"
pivot = {pivot.tolist()}
axis = {axes[1].tolist()}
input = "b"
solid.it = {it}
{extra}{home}kind = "plate"
thickness = {rng.uniform(0.5, 8)}
at = [0, 0, 0]
normal = {way.tolist()}
u = {across.tolist()}
outline = [[-260, -260], [260, -260], [260, 260], [-260, 260]]
holes = [{{ at = [{rng.uniform(-20, 20)}, {rng.uniform(-20, 20)}], diameter = 22 }}]
"""


def test_random_systems(full):
    for seed in range(100 if full else 5):
        system = System(parse_model(random_text(np.random.default_rng(seed))))
        name = next(n for n in system.model.solids if n.endswith("/plate"))
        found = relieve(system, name, Options(cutter=0, ligament=0.1))
        scene = Scene(System(found.model))
        table = linkage.clearance(scene.system)
        theirs = table[table["pair"].str.contains(name)]
        assert len(theirs)
        assert theirs["ok"].all(), seed
        if found.needed:
            worst = farthest_from_need(system, found, scene)
            assert worst < 0.1, (seed, worst)


def farthest_from_need(system, found, scene):
    """How much farther than required the rim of a cut lies from what passes, mm.

    Measured with the distance of needles, which the relief itself does not use.
    """
    flat = found.flat
    rim = shapely.get_coordinates(shapely.union_all([found.cut.need, found.cut.growth]))
    rim = rim[shapely.distance(flat.material.boundary, shapely.points(rim)) > 0.2][::9]
    pairs = [(scene.solid(row["pair"].split(" | ")[row["pair"].startswith(found.name)]),
              row["required"]) for row in found.pairs]
    return max((nearest_pass(system, flat, pairs, place) for place in rim), default=0.0)


def nearest_pass(system, flat, pairs, place):
    """Least distance beyond the required one: looked for about the best places of a grid."""
    half = flat.thickness / 2
    needle = tube([*place, -half], [*place, half], 0.0)
    ends = np.array([control.travel for control in system.inputs.values()], dtype=float).T

    def beyond(tried):
        inputs = dict(zip(system.inputs, tried.T, strict=True))
        return np.min([piece_gap(needle.points, needle, hull, piece).value - required
                       for solid, required in pairs for piece, hull in
                       zip(solid.pieces, posed(system, inputs, solid, flat), strict=True)], axis=0)

    def grid(count):
        sides = np.meshgrid(*[np.linspace(-1, 1, count)] * ends.shape[1])
        return np.stack([side.ravel() for side in sides], axis=1)

    tried = ends.mean(axis=0) + grid(9) * np.ptp(ends, axis=0) / 2
    found = beyond(tried)
    best = np.inf
    for start in tried[np.argsort(found)[:12]]:
        reach = np.ptp(ends, axis=0) / 8
        for _ in range(8):
            near = np.clip(start + grid(5) * reach, *ends)
            value = beyond(near)
            best, start, reach = min(best, value.min()), near[value.argmin()], reach / 2.5
        if best < 0.08:
            break
    return best


def test_every_corner_is_cuttable():
    plate = shapely.box(-60, -40, 60, 40)
    for wanted in (shapely.box(-20, -10, 20, 10), shapely.Polygon([(-20, 0), (20, -9), (20, 9)]),
                   shapely.box(30, -1, 90, 1), shapely.box(-1.2, -20, 1.2, 20)):
        discs = overcuts(plate, wanted, 3.0)
        free = shapely.box(-100, -100, 100, 100).difference(
            plate.difference(shapely.union_all([wanted, discs])))
        made = free.buffer(-2.97, quad_segs=64).buffer(2.99, quad_segs=64)
        assert wanted.intersection(plate).difference(made).area < 1e-3
        assert discs.intersection(plate).difference(wanted.buffer(6.0)).area < 1e-6


def test_square_corner_overcut_is_a_quarter():
    discs = overcuts(shapely.box(-60, -40, 60, 40), shapely.box(-20, -10, 20, 10), 3.0)
    # four discs through a corner each: what lies outside the corner is half the disc less the
    # triangle of the right angle in it
    outside = discs.difference(shapely.box(-20, -10, 20, 10)).area
    assert outside == pytest.approx(4 * (math.pi * 9 - 9 * math.pi / 2 - 9), abs=0.15)


@pytest.mark.parametrize("width", [3.0, 8.0, 17.5])
def test_narrowest_ligament(width):
    plate = shapely.box(0, 0, 200, 100)
    cut = plate.difference(shapely.box(50, 20, 90, 100 - width))
    assert narrowest(plate, cut) == pytest.approx(width, abs=1e-3)
    neck = plate.difference(shapely.box(50, 20, 90, 100)).difference(
        shapely.Point(20, 50).buffer(15))
    assert narrowest(plate.difference(shapely.Point(20, 50).buffer(15)), neck) == pytest.approx(
        15.0, abs=5e-3)


def test_refusals():
    def text(bar, more=""):
        return SLIDING.replace("{it}", bar).replace('["-30 mm", "40 mm"]', '["-130 mm", "130 mm"]'
                                                    + more)

    system = System(parse_model(text(BALL)))
    with pytest.raises(linkage.LinkageError, match="cuts it in 2 pieces, of .* mm across; move"):
        relieve(system, "airframe/plate")
    wide = '{ kind = "box", corner = [-170, -10, -50], opposite = [170, 12, 70] }'
    with pytest.raises(linkage.LinkageError, match="nothing of it stays"):
        relieve(System(parse_model(text(wide))), "airframe/plate")
    near_edge = SLIDING.replace("{it}", BALL).replace("40 mm", "98 mm")
    with pytest.raises(linkage.LinkageError, match="leaves 3.9. mm of it at the narrowest, and 8"):
        relieve(System(parse_model(near_edge)), "airframe/plate")
    found = relieve(System(parse_model(near_edge)), "airframe/plate", Options(ligament=3.0))
    assert found.cut.ligament == pytest.approx(4.0, abs=0.1)
    for wrong in ({"cutter": -1.0}, {"grow": 0.5}, {"step": 0.0}):
        with pytest.raises(linkage.LinkageError):
            Options(**wrong)


def test_example_is_cured(side_by_side):
    name = "airframe/seat pan left"
    found = relieve(side_by_side, name)
    assert found.needed
    assert found.cut.overcut.area < found.cut.need.area
    for row in found.pairs:
        assert row["before"] < row["required"] <= row["after"]


def test_contour_area_counts_arcs():
    contour = rounded([[0, 0, 2], [30, 0, 3], [30, 20], [0, 20, 1]])
    fine = shapely.Polygon(contour.drawn()).area
    assert contour.area == pytest.approx(600 - (4 + 9 + 1) * (1 - math.pi / 4), abs=1e-9)
    assert fine == pytest.approx(contour.area, abs=0.05)
    assert contour.flipped().area == pytest.approx(contour.area, abs=1e-9)


def arc_area(rows):
    total = 0.0
    for (x1, y1, bulge), (x2, y2, _) in zip(rows, [*rows[1:], rows[0]], strict=True):
        total += (x1 * y2 - x2 * y1) / 2
        turn = 4 * math.atan(bulge)
        if bulge:
            radius = math.hypot(x2 - x1, y2 - y1) / 2 / math.sin(abs(turn) / 2)
            total += math.copysign(radius**2 / 2 * (abs(turn) - math.sin(abs(turn))), bulge)
    return abs(total)


@pytest.mark.parametrize("name", ["roll crank/plate", "airframe/seat pan right",
                                  "airframe/fairlead", "airframe/tail frame"])
def test_dxf_reads_back(side_by_side, name):
    ezdxf = pytest.importorskip("ezdxf")
    made = templates(side_by_side.model, name)
    page = ezdxf.read(io.StringIO(next(v for k, v in made.items() if k and k.endswith("dxf"))))
    audit = page.audit()
    assert not audit.errors
    assert not audit.fixes
    assert page.units == 1  # inches, the file's unit
    area = 0.0
    for entity in page.modelspace():
        sign = {"cut outside": 1, "cut inside": -1}.get(entity.dxf.layer)
        if sign is None:
            continue
        area += sign * (math.pi * entity.dxf.radius**2 if entity.dxftype() == "CIRCLE"
                        else arc_area(entity.get_points("xyb")))
    assert area * 25.4**2 == pytest.approx(made[None].area, rel=1e-9)
    flat = flat_of(side_by_side.model, name)
    assert made[None].area == pytest.approx(flat.material.area, rel=2e-3)
    assert any(CAUTION.split("\n")[0] in text.dxf.text for text in page.modelspace().query("TEXT"))


def test_mirrored_part_is_turned_over(side_by_side):
    flat = flat_of(side_by_side.model, "roll crank/plate")
    one, other = draw(side_by_side.model, flat), draw(side_by_side.model, flat, mirrored=True)
    assert one.area == pytest.approx(other.area, rel=1e-12)
    flipped = shapely.Polygon(other.contours[0][1].drawn() * (-1, 1))
    assert flipped.symmetric_difference(shapely.Polygon(one.contours[0][1].drawn())).area < 1e-6


def test_command(tmp_path, capsys):
    path = tmp_path / "one.toml"
    path.write_text(SLIDING.replace("{it}", BALL), encoding="utf-8")
    out = tmp_path / "shop"
    assert main(["relief", str(path), "airframe/plate", "--out", str(out)]) == 0
    said = capsys.readouterr().out
    assert "1 of 1 near pairs pass" in said
    assert CAUTION.split("\n")[0] in said
    assert {p.suffix for p in out.iterdir()} == {".dxf", ".svg", ".pdf", ".toml"}
    for path_out in out.iterdir():
        if path_out.suffix != ".pdf":
            assert "never replaces, physical checks" in path_out.read_text(encoding="utf-8")
    table = linkage.clearance(linkage.load(out / "one relieved.toml"))
    assert table["ok"].all()
    words = ["template", str(path), "airframe", "airframe/plate", "--out", str(out), "--mirrored"]
    assert main(words) == 2
    assert "is there already and stays as it is" in capsys.readouterr().err
    assert main([*words, "--replace"]) == 0
    assert (out / "airframe plate mirrored.svg").exists()
    assert "mm²" in capsys.readouterr().out


@pytest.mark.parametrize(("argv", "said"), [
    (["relief", "{}", "airframe/plat", "--out", "x"], 'no plate "airframe/plat"; did you mean'),
    (["relief", "{}", "car/it", "--out", "x"], '"car/it" is a sphere, and only a plate'),
    (["template", "{}", "car", "--out", "x"], 'part "car" has no plate or washer'),
    (["template", "{}", "airframe/plate", "--out", "{}"], "is the file that is read"),
    (["relief", "{}", "airframe/plate", "--out", "x", "--material", "tin"], 'no material "tin"'),
    (["relief", "{}", "airframe/plate", "--out", "x", "--cutter", "wide"], '"wide" is no length'),
    (["relief", "{}", "airframe/plate", "--out", "x", "--ligament", "200"], "at the narrowest"),
    (["template", "{}", "airframe/plate", "--out", "x", "--paper", "A9"], 'no paper "A9"'),
])
def test_bad_input_is_one_sentence(argv, said, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "one.toml"
    path.write_text(SLIDING.replace("{it}", BALL), encoding="utf-8")
    before = path.read_bytes()
    assert main([word.replace("{}", str(path)) for word in argv]) == 2
    told = capsys.readouterr()
    assert said in told.err
    assert told.err.count("\n") == 1
    assert [p.name for p in tmp_path.iterdir()] == ["one.toml"]
    assert path.read_bytes() == before


def test_outline_stays_as_written_unless_cut():
    system = System(parse_model(SLIDING.replace("{it}", BALL)))
    flat = flat_of(system.model, "airframe/plate")
    cut = make_cut(flat, shapely.box(20, -10, 60, 10), 0.07, 3.0, 6.0)
    assert cut_shape(flat, cut, "mm").outline == flat.shape.outline
    notch = make_cut(flat, shapely.box(140, -10, 160, 10), 0.07, 3.0, 6.0)
    shape = cut_shape(flat, notch, "mm")
    assert len(shape.outline) > 4
    assert dataclasses.replace(shape, outline=flat.shape.outline) == flat.shape
