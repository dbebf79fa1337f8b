"""Outlines, holes and the convex parts they are cut into: no material lost, none made up."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linkage.errors import LinkageError
from linkage.geometry import prism
from linkage.geometry.outlines import convex_parts, hole_polygon, outline_polygon, ring

shapely = pytest.importorskip("shapely", minversion="2.1")

WITHIN = 0.01  # mm
SQUARE = [[-20, -20], [20, -20], [20, 20], [-20, 20]]
BELLCRANK = [[0, 0, 10], [80, 0, 10], [80, 20, 8], [20, 20, 5], [20, 80, 9], [0, 80, 9]]
ANGLE = [[0, 0], [30, 0], [30, 10], [10, 10], [10, 20], [0, 20]]
BOLTS = [{"at": (10, 10), "diameter": 8}, {"at": (70, 10), "diameter": 6},
         {"from": (10, 50), "to": (10, 68), "width": 6}]


def circle(radius, count, start=0.0):
    angles = start + 2 * np.pi * np.arange(count) / count
    return radius * np.stack((np.cos(angles), np.sin(angles)), axis=1)


def area(polygon):
    return shapely.Polygon(polygon).area


def turns_left(polygon):
    side = np.roll(polygon, -1, axis=0) - polygon
    after = np.roll(side, -1, axis=0)
    return (side[:, 0] * after[:, 1] - side[:, 1] * after[:, 0]).min()


def fine(corners):
    """The true outline, its arcs as polygons a hundred times finer."""
    return shapely.Polygon(outline_polygon(corners, 1e-4))


@pytest.mark.parametrize("corners", [
    SQUARE, BELLCRANK, BELLCRANK[::-1], ANGLE, [[0, 0, 10], [20, 0, 10], [20, 20, 10], [0, 20, 10]],
    [[0, 0], [50, 0, 3], [50, 30], [25, 5, 20], [0, 30]], [[0, 0, 0.004], [9, 0], [0, 9]]])
def test_outline_never_loses_material(corners):
    polygon = outline_polygon(corners)
    rough, true = shapely.Polygon(polygon), fine(corners)
    assert shapely.is_valid(rough)
    assert shapely.is_ccw(shapely.LinearRing(polygon))
    assert true.difference(rough.buffer(2e-4)).area < 1e-9
    assert shapely.hausdorff_distance(rough, true, densify=0.02) < WITHIN + 2e-4


def test_rounded_square_by_hand():
    """Corners of radius 5 on a square of side 20: 400 - (4 - pi) 25 mm², a little more as cut."""
    corners = [[0, 0, 5], [20, 0, 5], [20, 20, 5], [0, 20, 5]]
    true = 400 - (4 - math.pi) * 25
    assert true < area(outline_polygon(corners)) < true + 2 * math.pi * 5 * WITHIN
    assert true > area(hole_polygon(corners)) > true - 2 * math.pi * 5 * WITHIN
    assert outline_polygon(corners).max() == 20  # sides stay where they are


def test_fillet_by_hand():
    """An inside corner keeps its fillet, 4 * (1 - pi/4) mm² for radius 2, a little more as cut."""
    corners = [*ANGLE[:3], [10, 10, 2], *ANGLE[4:]]
    true = 400 + 4 * (1 - math.pi / 4)
    assert true < area(outline_polygon(corners)) < true + math.pi * WITHIN


@pytest.mark.parametrize(("hole", "true"), [
    ({"at": (3, -4), "diameter": 10}, 25 * math.pi),
    ({"at": (0, 0), "diameter": 0.01}, 25e-6 * math.pi),
    ({"from": (-10, 0), "to": (20, 40), "width": 6}, 9 * math.pi + 50 * 6),
    ({"from": (7, 7), "to": (7, 7), "width": 6}, 9 * math.pi)])
def test_holes_are_never_larger_than_true(hole, true):
    polygon = hole_polygon(hole)
    ends = np.array([hole.get("from", hole.get("at")), hole.get("to", hole.get("at"))], dtype=float)
    radius = hole.get("width", hole.get("diameter")) / 2
    line = shapely.LineString(ends) if (ends[0] != ends[1]).any() else shapely.Point(ends[0])
    apart = shapely.distance(shapely.points(polygon), line)
    assert apart == pytest.approx(radius, abs=1e-12)
    middles = (polygon + np.roll(polygon, 1, axis=0)) / 2
    assert shapely.distance(shapely.points(middles), line).min() > radius - WITHIN
    assert 0.8 * true < area(polygon) < true
    assert turns_left(polygon) > 0


@pytest.mark.parametrize(("corners", "holes", "words"), [
    ([[0, 0], [1, 0]], [], "2 corners"),
    ([[0, 0], [1, 0], [0, 1, 2, 3]], [], "4 numbers"),
    ([[0, 0], [1, 0], [math.nan, 1]], [], "no number"),
    ([[0, 0], [9, 0], [9, 0], [0, 9]], [], "two corners in a row at [9, 0] mm"),
    ([[0, 0], [9, 0], [0, 9], [0, 0]], [], "closes by itself"),
    ([[0, 0], [5, 5], [9, 9]], [], "no area"),
    ([[0, 0], [10, 10], [10, 0], [0, 11]], [], "crosses or touches itself at [5.2"),
    ([[0, 0], [9, 0], [9, 9], [9, 0], [0, 9]], [], "crosses or touches itself"),
    ([[0, 0, -1], [9, 0], [0, 9]], [], "radius of -1 mm"),
    ([[0, 0, 6], [20, 0, 6], [20, 10, 6], [0, 10, 6]], [],
     "radius of 6 mm at [20, 0] mm that needs 12 mm of a side 10 mm long"),
    ([[0, 0], [40, 0], [40, 30], [21, 11, 30], [20, 40], [0, 30]], [], "smaller radius"),
    (SQUARE, [{"at": (50, 0), "diameter": 5}], "is outside its outline"),
    (SQUARE, [{"at": (19, 0), "diameter": 5}], "about [19, 0] mm cuts the edge"),
    (SQUARE, [SQUARE], "cuts the edge"),
    (SQUARE, [{"at": (0, 0), "diameter": 90}], "cuts the edge"),
    (SQUARE, [{"at": (0, 0), "diameter": 9}, {"at": (5, 0), "diameter": 9}], "overlap"),
    (SQUARE, [{"at": (0, 0), "diameter": 9}, {"at": (0, 0), "diameter": 4}], "overlap"),
    (SQUARE, [{"at": (0, 0), "diameter": 0}], "diameter 0 mm"),
    (SQUARE, [{"at": (0, 0), "diameter": math.nan}], "diameter nan mm"),
    (SQUARE, [{"from": (0, 0), "to": (5, 0), "width": -1}], "width -1 mm"),
    (SQUARE, [{"at": (0, math.inf), "diameter": 3}], "no number"),
    (SQUARE, [[[0, 0], [5, 5], [5, 0], [0, 5]]], "a hole's outline crosses"),
])
def test_impossible_outlines_are_refused(corners, holes, words):
    with pytest.raises(LinkageError) as caught:
        convex_parts(corners, holes)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(("outside", "inside"), [(10, 10), (10, 12), (10, -1), (math.nan, 5)])
def test_impossible_washers_are_refused(outside, inside):
    with pytest.raises(LinkageError, match="washer"):
        ring(outside, inside)


def check_parts(parts, corners, holes):
    """Convex, counter-clockwise, without overlap, and together exactly the plate."""
    outer, cut = outline_polygon(corners), [hole_polygon(hole) for hole in holes]
    true = area(outer) - sum(area(hole) for hole in cut)
    assert sum(area(part) for part in parts) == pytest.approx(true, rel=1e-9)
    whole = shapely.union_all([shapely.Polygon(part) for part in parts])
    plate = shapely.Polygon(outer, cut)
    assert whole.symmetric_difference(plate).area < 1e-7
    for part in parts:
        assert turns_left(part) > 0
        prism(np.column_stack((part, np.zeros(len(part)))), [0, 0, 3])  # taken as a convex piece


@pytest.mark.parametrize(("corners", "holes", "most"), [
    (SQUARE, [], 1),
    ([[0, 0], [10, 0], [20, 0], [20, 10], [7, 10], [0, 10]], [], 1),  # corners in line
    ([[0, 0, 10], [80, 0, 10], [80, 20, 8], [0, 20, 8]], [], 1),
    (ANGLE, [], 2),
    (SQUARE, [circle(5, 24)], 24),  # each side of a convex hole needs a part of its own
    (SQUARE, [circle(19, 24)], 28),
    (circle(20, 24), [circle(5, 24)], 24),
    (circle(20, 48), [circle(5, 24, 0.1)], 26),
    (SQUARE, [{"from": (-10, 0), "to": (10, 5), "width": 6}], 44),
    (SQUARE, [{"from": (-18, -18), "to": (18, 18), "width": 0.5}], 14),
    (BELLCRANK, BOLTS, 140)])
def test_convex_parts_are_few_and_exact(corners, holes, most):
    parts = convex_parts(corners, holes)
    check_parts(parts, corners, holes)
    assert len(parts) <= most


@pytest.mark.parametrize("hole", [
    circle(5, 24), circle(5, 24, 1e-7), circle(5, 13), circle(5, 40) * [3, 0.2],
    circle(5, 40) * [0.2, 3] + [0, 3],
    {"from": (-16, 1), "to": (16, 1), "width": 0.6}, {"from": (1, -9), "to": (4, 9), "width": 4},
    circle(1, 40) * np.where(np.arange(40) % 2, 4, 9)[:, None],  # a star
    [[-9, -9, 2], [9, -9, 2], [9, 9, 2], [5, 9, 1], [5, -4, 3], [-9, -4, 2]],
    [[-9, -4, 1], [8, -6, 2], [9, 5, 3], [-7, 6, 1.5]]])
@pytest.mark.parametrize("shift", [0, 1234.5678])
def test_parts_beside_any_hole(hole, shift):
    """On a plate 10 m long, which makes parts long and thin."""
    if isinstance(hole, dict):
        hole = hole_polygon(hole)
    hole = [[u + shift, v, *radius] for u, v, *radius in np.asarray(hole).tolist()]
    plate = [[-5000, -30], [5000, -30], [5000, 30], [-5000, 30]]
    check_parts(convex_parts(plate, [hole]), plate, [hole])


@pytest.mark.parametrize("pitch", [50.2, 53, 60, 90])
def test_many_holes_near_each_other(pitch):
    """Holes side by side share parts, the more the nearer they are."""
    holes = [{"at": (pitch * u, pitch * v), "diameter": 50} for u in range(4) for v in range(3)]
    plate = [[-26, -26], [3 * pitch + 26, -26], [3 * pitch + 60, 2 * pitch + 26], [-26, 300]]
    parts = convex_parts(plate, holes)
    check_parts(parts, plate, holes)
    assert len(parts) < 0.7 * sum(len(hole_polygon(hole)) for hole in holes)


@pytest.mark.parametrize(("outside", "inside"), [(12, 6.4), (100, 99), (5, 0.01), (8, 0)])
def test_ring(outside, inside):
    parts = ring(outside, inside)
    union = shapely.union_all([shapely.Polygon(part) for part in parts])
    assert all(turns_left(part) > 0 for part in parts)
    corners = np.concatenate(parts)
    far = np.hypot(*corners.T)
    assert outside / 2 <= far.max() <= outside / 2 + WITHIN
    assert shapely.distance(union.exterior, shapely.Point(0, 0)) >= outside / 2 - 1e-12
    if inside:
        assert far.min() == pytest.approx(inside / 2, abs=1e-12)
        hole = union.interiors[0]
        assert shapely.distance(hole, shapely.Point(0, 0)) >= inside / 2 - WITHIN
    assert sum(area(part) for part in parts) == pytest.approx(union.area, rel=1e-9)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_any_star_shaped_plate_with_holes(seed):
    """Corners at random distances about the origin, a hole there, and one in an arm."""
    generator = np.random.default_rng(seed)
    count = int(generator.integers(5, 14))
    angles = 2 * np.pi * (np.arange(count) + generator.uniform(0, 0.8, count)) / count
    reach = generator.uniform(20, 60, count)
    corners = np.stack((reach * np.cos(angles), reach * np.sin(angles)), axis=1)
    inner = shapely.distance(shapely.LinearRing(corners), shapely.Point(0, 0))
    holes = [{"at": (0, 0), "diameter": 0.8 * inner},
             {"at": (0.7 * inner, 0), "diameter": 0.3 * inner}]
    check_parts(convex_parts(corners, holes), corners, holes)
