"""Distances of convex pieces against hand-derived values, published pairs and another library.

G1-G11 and T are hand-derived (own), checked once against three collision libraries. The four hard
pairs of segments are from D. Eberly, "Robust Computation of Distance Between Line Segments": data
seen in a public test file and a technical blog, the attribution from memory; their true distances
are from exact rational arithmetic. MuJoCo's ``mj_geomDistance`` is the other library: right to
5e-13 mm wherever solids are apart. Where they overlap it gives the depth of balls and tubes; for
boxes it may give 0, or even a distance when a tube's axis is inside, so overlaps with boxes are
checked by pushing them apart.
"""

import itertools

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from linkage.geometry import least_gap, piece_gap, polygon, prism, sphere, support, tube

X, Y, Z = np.eye(3)
TOLERANCE = 1e-9  # mm


def box(half_x, half_y, half_z):
    outline = [[-half_x, -half_y, -half_z], [half_x, -half_y, -half_z],
               [half_x, half_y, -half_z], [-half_x, half_y, -half_z]]
    return prism(outline, [0, 0, 2 * half_z])


def placed(piece, at, turn=None):
    points = piece.points if turn is None else turn.apply(piece.points)
    return points + np.asarray(at, dtype=float)


def distance(piece_a, points_a, piece_b, points_b):
    """The gap, once it is seen that direction and points bear it out."""
    gap = piece_gap(points_a, piece_a, points_b, piece_b)
    clear = (-support(points_b, -gap.direction) - support(points_a, gap.direction)
             - piece_a.radius - piece_b.radius)
    assert gap.exact.all()
    assert np.abs(clear - gap.value).max() < TOLERANCE
    assert np.abs(gap.point_b - gap.point_a - gap.value[..., None] * gap.direction).max() < 1e-10
    return gap.value


def about(axis, degrees):
    return Rotation.from_rotvec(np.deg2rad(degrees) * axis)


CUBE = box(1, 1, 1)
PLATE = box(100, 100, 1)
UNIT = box(0.5, 0.5, 0.5)


def along(axis, length, radius):
    return tube(-axis * length / 2, axis * length / 2, radius)


@pytest.mark.parametrize(("name", "truth", "first", "at_first", "second", "at_second"), [
    ("G1", 17, along(X, 100, 5), (0, 0, 0), along(Z, 100, 8), (0, 30, 0)),
    ("G2", 37, along(Z, 100, 5), (0, 0, 0), along(Z, 60, 8), (30, 40, 10)),
    ("G3", 207, along(Z, 100, 5), (0, 0, 0), along(Z, 60, 8), (0, 0, 300)),
    ("G4", 37, along(Z, 100, 5), (0, 0, 0), along(Z, 60, 8), (30, 0, 120)),
    ("G7", 7, CUBE, (0, 0, 0), CUBE, (4, 5, 8)),
    ("G8", 15, along(X, 100, 4), (0, 0, 20), PLATE, (0, 0, 0)),
    ("G9", 46, along(Y, 100, 4), (130, 0, 41), PLATE, (0, 0, 0)),
    ("G10", -15, along(X, 100, 10), (0, 0, 0), along(Y, 100, 10), (0, 0, 5)),
    ("G11", -0.25, UNIT, (0, 0, 0), UNIT, (0.75, 0.1, 0.05)),
])
def test_hand_derived_distances(name, truth, first, at_first, second, at_second):
    found = distance(first, placed(first, at_first), second, placed(second, at_second))
    assert found == pytest.approx(truth, abs=1e-12), name


def test_hand_derived_turned_cubes():
    turned = placed(CUBE, (0, 0, 0), about(Z, 45))
    face = distance(CUBE, CUBE.points, CUBE, turned + 5 * X)
    assert face == pytest.approx(4 - np.sqrt(2), abs=1e-12)  # G5
    edges = distance(CUBE, turned, CUBE, placed(CUBE, 5 * X, about(Y, 45)))
    assert edges == pytest.approx(5 - 2 * np.sqrt(2), abs=1e-12)  # G6


@pytest.mark.parametrize(("start", "end", "truth"), [
    ((2, 2, 3), (4, 4, 7), 3), ((20, 0, 5), (20, 0, -5), 10), ((2, 2, 3), (2, 2, -3), 0),
    ((12, 12, -5), (12, 12, 5), 7 * np.sqrt(2)), ((-3, -4, 0), (-3, -4, 12), 5)])
def test_hand_derived_segment_to_triangle(start, end, truth):  # T
    triangle, line = polygon([[0, 0, 0], [10, 0, 0], [0, 10, 0]]), tube(start, end, 0.0)
    for pair in ((line, triangle), (triangle, line)):
        found = distance(pair[0], pair[0].points, pair[1], pair[1].points)
        assert max(found, 0.0) == pytest.approx(truth, abs=1e-12)
        assert (found <= 0) == (truth == 0)


D, E, P = 0.25e-4, np.sqrt(0.25e-4), 1e-5
HARD_SEGMENTS = [  # ends of the first, ends of the second, true distance
    ((-1.0264718499965966, 9.6163341007195407e-7, 0),
     (0.91950808032415809, -1.0094441192690283e-6, 0),
     (-1.0629447383806110, 9.2709540082141753e-7, 0),
     (1.0811583868227901, -1.0670017179567367e-6, 0), 0.0),
    ((-1.0896217473782599, 9.7236145595088601e-7, 0),
     (0.91220578597858548, -9.4369829432107506e-7, 0),
     (-0.90010447502136237, 9.0671446351334441e-7, 0),
     (1.0730877178721130, -9.8185787633992740e-7, 0), 1.15750461385741052e-7),
    ((0.77998990099877119, 0.61192502360790968, -0.22703111823648214),
     (0.53215344529598951, 0.85724585503339767, -0.10102437809109688),
     (-0.21277333982288837, 0.35091548087075353, -0.49557160679250956),
     (0.11881479667499661, 0.022494725417345762, -0.66426620958372951), 0.982923971164887339),
    ((0, 0, 0), (1, 0, 0), (-E, P + D, 0), (E, P - D, 0), 0.0)]


@pytest.mark.parametrize(("start1", "end1", "start2", "end2", "truth"), HARD_SEGMENTS)
def test_published_hard_segments(start1, end1, start2, end2, truth):
    first, second = tube(start1, end1, 0.0), tube(start2, end2, 0.0)
    found = distance(first, first.points, second, second.points)
    assert found == pytest.approx(truth, abs=1e-15)


SOLIDS = {  # the piece, and the same solid for MuJoCo (half-lengths)
    "ball": (sphere([0, 0, 0], 9), 'type="sphere" size="9"'),
    "tube": (along(Z, 100, 6), 'type="capsule" size="6 50"'),
    "box": (box(60, 40, 25), 'type="box" size="60 40 25"'),
    "plate": (box(50, 35, 1.5), 'type="box" size="50 35 1.5"'),
}
PAIRS = list(itertools.combinations_with_replacement(SOLIDS, 2))
OFFSETS = [-200, -120, -100, -75, -50, -10, 0, 10, 40, 50, 60, 100, 150]


def random_poses(generator, count):
    scale = generator.choice([20, 60, 100, 200], (count, 1))
    return Rotation.random(count, random_state=generator), scale * generator.normal(size=(count, 3))


def symmetric_poses(generator, count):
    """Turns of 0, 30, 45 and 90 degrees about two axes, plain offsets: as parts are laid out."""
    turns = [Rotation.from_rotvec(np.deg2rad(generator.choice([0, 30, 45, 90], (count, 1)))
                                  * np.eye(3)[generator.integers(0, 3, count)]) for _ in range(2)]
    return turns[0] * turns[1], generator.choice(OFFSETS, (count, 3)).astype(float)


def mujoco_distances(kinds, turns, ats):
    mujoco = pytest.importorskip("mujoco")
    solids = "".join(f"<geom {SOLIDS[kind][1]}/>" for kind in kinds)
    model = mujoco.MjModel.from_xml_string(f"<mujoco><worldbody>{solids}</worldbody></mujoco>")
    model.opt.ccd_tolerance, model.opt.ccd_iterations = 1e-12, 500
    data = mujoco.MjData(model)
    matrices = [turn.as_matrix().reshape(-1, 9) for turn in turns]
    found = []
    for pose in range(len(ats[0])):
        for geom in range(2):
            data.geom_xpos[geom], data.geom_xmat[geom] = ats[geom][pose], matrices[geom][pose]
        found.append(mujoco.mj_geomDistance(model, data, 0, 1, 1e4, np.zeros(6)))
    return np.array(found)


def posed_pair(kinds, poses, count):
    generator = np.random.default_rng([count, *(list(SOLIDS).index(kind) for kind in kinds)])
    (turn_a, at_a), (turn_b, at_b) = poses(generator, count), poses(generator, count)
    if poses is symmetric_poses:
        at_a = np.zeros_like(at_a)
    pieces = [SOLIDS[kind][0] for kind in kinds]
    points = [np.einsum("pij,nj->pni", turn.as_matrix(), piece.points) + at[:, None]
              for piece, turn, at in zip(pieces, (turn_a, turn_b), (at_a, at_b), strict=True)]
    return pieces, points, (turn_a, turn_b), (at_a, at_b)


@pytest.mark.parametrize("poses", [random_poses, symmetric_poses])
@pytest.mark.parametrize("kinds", PAIRS, ids=" to ".join)
def test_against_mujoco(kinds, poses, request):
    count = 5000 if request.config.getoption("--full", default=False) else 500
    pieces, points, turns, ats = posed_pair(kinds, poses, count)
    found = distance(pieces[0], points[0], pieces[1], points[1])
    reference = mujoco_distances(kinds, turns, ats)
    free = found > TOLERANCE
    assert 0.02 * count < free.sum()
    assert (reference[free] > 0).all()
    comparable = free if {"box", "plate"} & set(kinds) else np.ones_like(free)
    assert np.abs(found - reference)[comparable].max() < TOLERANCE


@pytest.mark.parametrize("poses", [random_poses, symmetric_poses])
@pytest.mark.parametrize("kinds", [pair for pair in PAIRS if {"box", "plate"} & set(pair)],
                         ids=" to ".join)
def test_overlap_is_the_least_push(kinds, poses):
    pieces, points, *_ = posed_pair(kinds, poses, 400)
    gap = piece_gap(points[0], pieces[0], points[1], pieces[1])
    deep = gap.value < 0
    points = [part[deep] for part in points]
    assert len(points[0]) > 5
    push = -gap.value[deep, None] * gap.direction[deep]
    apart = distance(pieces[0], points[0], pieces[1], points[1] + push[:, None])
    assert np.abs(apart).max() < TOLERANCE
    ways = np.random.default_rng(1).normal(size=(2000, 3))
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    needed = ((points[0] @ ways.T).max(axis=1) - (points[1] @ ways.T).min(axis=1)
              + pieces[0].radius + pieces[1].radius)
    assert (needed >= -gap.value[deep, None] - TOLERANCE).all()


def test_plate_with_a_hole_against_its_triangles():
    """Convex parts, each a plate, against the same plate cut into the triangles of its surface."""
    pytest.importorskip("shapely")
    import shapely

    from linkage.geometry.outlines import convex_parts, hole_polygon, outline_polygon

    generator = np.random.default_rng(5)
    corners = [[0, 0, 8], [90, 0], [90, 50, 15], [40, 60], [0, 40]]
    holes = [{"at": (25, 22), "diameter": 14}, {"from": (55, 20), "to": (70, 35), "width": 9}]
    parts = convex_parts(corners, holes)
    whole = shapely.Polygon(outline_polygon(corners), [hole_polygon(hole) for hole in holes])
    cut = shapely.constrained_delaunay_triangles(whole).geoms
    solids = [[prism(np.column_stack((outline, np.zeros(len(outline)))), [0, 0, 3])
               for outline in outlines]
              for outlines in (parts, [np.array(t.exterior.coords)[:3] for t in cut])]
    pin = along(Z, 40, 3)
    turns, ats = random_poses(generator, 60)
    points = np.einsum("pij,nj->pni", turns.as_matrix(), pin.points) + 0.4 * ats[:, None]
    points[:30] += np.array([25, 22, 0]) - 0.4 * ats[:30, None] * [0.9, 0.9, 0]
    by_parts, by_triangles = (
        least_gap([piece_gap(points, pin, piece.points, piece) for piece in solid])
        for solid in solids)
    free = by_triangles.value > 0
    assert 10 < free.sum() < 60
    assert ((by_parts.value > 0) == free).all()
    assert np.abs(by_parts.value - by_triangles.value)[free].max() < 1e-8
