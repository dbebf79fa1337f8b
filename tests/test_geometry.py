"""Convex pieces and the gaps between them: shapes, refusals, and what must never change a gap."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from linkage.errors import LinkageError
from linkage.geometry import least_gap, piece_gap, polygon, prism, sphere, support, tube
from linkage.geometry.features import closest_features
from linkage.geometry.pieces import prisms
from linkage.geometry.vectors import closest_on_lines

SQUARE = [[-30, -20, 0], [30, -20, 0], [30, 20, 0], [-30, 20, 0]]
TURNS = np.linspace(0, 2 * np.pi, 17)[:-1]
DISC = prism(np.stack((25 * np.cos(TURNS), 25 * np.sin(TURNS), 0 * TURNS), axis=1), [0, 0, 4])
PIECES = {
    "ball": sphere([1, 2, 3], 7.0), "tube": tube([0, 0, -40], [5, 0, 40], 6.0),
    "wire": tube([0, 0, -40], [0, 0, 40], 0.0), "short tube": tube([1, 1, 1], [1, 1, 1], 3.0),
    "triangle": polygon([[0, 0, 0], [50, 0, 0], [0, 30, 0]]), "box": prism(SQUARE, [0, 0, 25]),
    "plate": prism(SQUARE, [3, 0, -2]), "disc": DISC, "pillow": prism(SQUARE, [0, 0, 5], 2.5),
}
NAMES = sorted(PIECES)


def posed(piece, turn, at):
    return turn.apply(piece.points) + at


def rotations(seed):
    return Rotation.random(random_state=seed)


def outward(piece, face):
    """How far every corner lies outside a face, whose corners go round it seen from outside."""
    first, second, third = piece.points[list(face[:3])]
    normal = np.cross(second - first, third - first)
    return (piece.points - first) @ normal / np.linalg.norm(normal)


@pytest.mark.parametrize("offset", [[0, 0, 25], [4, -3, 10], [0, 0, -25]])
@pytest.mark.parametrize("order", [1, -1])
def test_faces_of_a_prism_look_outward(offset, order):
    box = prism(SQUARE[::order], offset)
    assert len(box.points) - len(box.edges) + len(box.faces) == 2  # Euler
    for face in box.faces:
        assert outward(box, face).max() < 1e-9
    sides = sorted(tuple(sorted(side)) for face in box.faces
                   for side in zip(face, [*face[1:], face[0]], strict=True))
    assert sides == sorted(2 * [tuple(sorted(edge)) for edge in box.edges.tolist()])


def test_prisms_are_what_prism_makes_of_each():
    u, v, normal = axes = Rotation.from_rotvec([0.3, -1.0, 2.0]).as_matrix().T
    base, generator = np.array([700.0, -30.0, 12.0]), np.random.default_rng(5)
    turns = [np.sort(generator.uniform(0, 2 * np.pi, count)) for count in (3, 4, 4, 11, 3, 60)]
    outlines = [40 * np.stack((np.cos(turn), np.sin(turn)), axis=1) + 500 for turn in turns]
    made = prisms(outlines, base, axes, 3.0)
    assert len(made) == len(outlines)
    for piece, outline in zip(made, outlines, strict=True):
        alone = prism([base + x * u + y * v for x, y in outline], 3.0 * normal)
        assert (piece.points == alone.points).all()
        assert piece.edges.tolist() == alone.edges.tolist()
        assert piece.faces == alone.faces
        assert piece.radius == 0
        assert (piece.facings == alone.facings).all()
        assert max(outward(piece, face).max() for face in piece.faces) < 1e-9
    assert prisms([], base, axes, 3.0) == ()
    with pytest.raises(LinkageError, match="no number"):
        prisms([outlines[0], outlines[1] * np.nan], base, axes, 3.0)


def test_prisms_of_a_kind_share_what_nobody_can_change():
    one, other = prism(SQUARE, [0, 0, 25]), prism(SQUARE, [0, 0, 5])
    assert one.edges is other.edges
    with pytest.raises(ValueError, match="read-only"):
        one.edges[0] = 7


def test_repeated_directions_count_once():
    box, disc = PIECES["box"], PIECES["disc"]
    assert (len(box.directions), len(box.facings)) == (3, 3)
    assert (len(disc.directions), len(disc.facings)) == (9, 9)
    assert [len(outline) for outline in box.outlines] == [4, 4, 4]
    assert sorted(len(outline) for outline in disc.outlines) == [4] * 8 + [16]


@pytest.mark.parametrize(("make", "words"), [
    (lambda: sphere([0, 0, 0], -1), "radius -1 mm"),
    (lambda: sphere([0, 0, 0], np.nan), "radius nan mm"),
    (lambda: sphere([0, np.nan, 0], 1), "no number"),
    (lambda: tube([0, 0], [1, 1], 1), "x, y and z"),
    (lambda: polygon([[0, 0, 0], [1, 0, 0]]), "2 corners"),
    (lambda: polygon([[0, 0, 0], [1, 0, 0], [2, 0, 0]]), "spans no area"),
    (lambda: polygon([[0, 0, 0], [0, 0, 0], [1, 0, 0], [0, 1, 0]]), "shortest of 0 mm"),
    (lambda: polygon([[0, 0, 0], [9, 0, 0], [9, 9, 1], [0, 9, 0]]), "out of flat"),
    (lambda: polygon([[0, 0, 0], [9, 0, 0], [3, 3, 0], [0, 9, 0]]), "dented or crossed"),
    (lambda: polygon([[np.cos(t), np.sin(t), 0] for t in 0.8 * np.pi * np.arange(5)]), "crossed"),
    (lambda: prism(SQUARE, [5, 5, 0]), "0 mm thick"),
    (lambda: piece_gap(np.zeros((4, 2, 3)), PIECES["box"], [[0, 0, 0]], PIECES["ball"]),
     "(..., 8, 3)"),
])
def test_impossible_pieces_are_refused(make, words):
    with pytest.raises(LinkageError) as caught:
        make()
    assert words in str(caught.value)


@pytest.mark.parametrize("name_b", NAMES)
@pytest.mark.parametrize("name_a", NAMES)
def test_points_direction_and_value_agree(name_a, name_b):
    first, second = PIECES[name_a], PIECES[name_b]
    generator = np.random.default_rng([NAMES.index(name_a), NAMES.index(name_b)])
    turns = Rotation.random(200, random_state=generator).as_matrix()
    points = second.points @ turns.swapaxes(1, 2) + generator.normal(scale=40, size=(200, 1, 3))
    gap = piece_gap(first.points, first, points, second)
    assert gap.exact.all()
    assert np.linalg.norm(gap.direction, axis=-1) == pytest.approx(1, abs=1e-12)
    clear = (-support(points, -gap.direction) - support(first.points, gap.direction)
             - first.radius - second.radius)
    assert clear == pytest.approx(gap.value, abs=1e-9)
    step = gap.value[:, None] * gap.direction
    assert gap.point_b - gap.point_a == pytest.approx(step, abs=1e-10)
    back = piece_gap(points, second, first.points, first)
    assert back.value == pytest.approx(gap.value, abs=2e-10)


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(NAMES), st.sampled_from(NAMES), st.integers(0, 2**31 - 1),
       st.lists(st.floats(-300, 300), min_size=3, max_size=3),
       st.sampled_from([0.0, 1e-7, 1e-3, 1.0, 30.0, 120.0]))
def test_gap_moves_with_the_parts(name_a, name_b, seed, shift, spread):
    """Moving both pieces as one leaves the gap as it is; swapping them turns it about."""
    first, second = PIECES[name_a], PIECES[name_b]
    at = spread * np.random.default_rng(seed).normal(size=3)
    points = posed(second, rotations(seed), at)
    gap = piece_gap(first.points, first, points, second)
    back = piece_gap(points, second, first.points, first)
    turn, shift = rotations(seed + 1), np.array(shift)
    moved = piece_gap(posed(first, turn, shift), first, turn.apply(points) + shift, second)
    assert back.value == pytest.approx(gap.value, abs=1e-9)
    assert moved.value == pytest.approx(gap.value, abs=1e-9)


def test_result_does_not_depend_on_the_array_it_came_in():
    generator = np.random.default_rng(4)
    turns = Rotation.random(700, random_state=generator).as_matrix()
    at = generator.normal(scale=50, size=(700, 1, 3))
    for first in ("tube", "disc", "triangle", "box"):
        for second in ("ball", "tube", "plate", "disc"):
            piece = PIECES[second]
            points = piece.points @ turns.swapaxes(1, 2) + at
            fixed = PIECES[first]
            whole = piece_gap(fixed.points, fixed, points, piece)
            for some in (slice(0, 1), slice(13, 14), slice(300, 311), slice(699, None, -7)):
                part = piece_gap(fixed.points, fixed, points[some], piece)
                for field in ("value", "direction", "point_a", "point_b", "exact"):
                    assert (getattr(part, field) == getattr(whole, field)[some]).all()


def test_leading_axes_broadcast():
    ball, box = PIECES["ball"], PIECES["box"]
    row = ball.points + np.arange(5.0)[:, None, None] * [40, 0, 0]  # (5, 1, 3)
    column = box.points + np.arange(3.0)[:, None, None, None] * [0, 0, 60]  # (3, 1, 8, 3)
    gap = piece_gap(row, ball, column, box)
    assert gap.value.shape == (3, 5)
    assert gap.direction.shape == gap.point_a.shape == gap.point_b.shape == (3, 5, 3)
    single = piece_gap(row[4], ball, column[2, 0], box)
    assert single.value.shape == ()
    assert single.value == gap.value[2, 4]
    none = piece_gap(row[:0], ball, column[0], box)
    assert none.value.shape == (0,)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_no_number_gives_no_number(name, bad, recwarn):
    piece, ball = PIECES[name], PIECES["ball"]
    points = np.stack([ball.points] * 3) + [100, 0, 0]
    points[1, 0, 2] = bad
    gap = piece_gap(points, ball, piece.points, piece)
    assert np.isnan(gap.value).tolist() == [False, True, False]
    assert np.isnan(gap.direction[1]).all()
    assert np.isnan(gap.point_a[1]).all()
    assert np.isnan(gap.point_b[1]).all()
    assert gap.exact.tolist() == [True, False, True]
    assert not recwarn.list


@pytest.mark.parametrize("name", ["ball", "wire", "triangle", "disc", "pillow"])
def test_one_inside_another_overlaps(name):
    big = prism(10 * np.array(SQUARE), [0, 0, 500])
    piece = PIECES[name]
    points = piece.points + [0, 0, 240]
    gap = piece_gap(points, piece, big.points, big)
    span = np.ptp(points[:, 1]) if name != "wire" else 0.0
    assert gap.value < -150 - piece.radius
    assert gap.value >= -200 - span - piece.radius
    assert abs(gap.direction[1]) == pytest.approx(1)  # the y faces are nearest
    assert gap.exact


def test_flat_plates_in_one_plane():
    flat = polygon(SQUARE)
    for shift, truth in (([70, 0, 0], 10), ([63, 44, 0], 5), ([60, 0, 0], 0), ([10, 5, 0], 0)):
        gap = piece_gap(flat.points, flat, flat.points + shift, flat)
        assert gap.value == pytest.approx(truth, abs=1e-12)
        assert gap.exact


@pytest.mark.parametrize("height", [0.0, 1e-13, 1e-9, 1e-5, 0.3])
@pytest.mark.parametrize("lean", [0.0, 1e-15, 1e-12, 1e-9, 1e-6, 1.0])
def test_axes_that_meet_or_run_side_by_side(height, lean):
    """Square to both axes, whatever rounding makes of the vector between them."""
    first = tube([-100, 0, 0], [100, 0, 0], 5.0)
    second = tube([-80, -80 * lean, height], [80, 80 * lean, height], 4.0)
    shift = np.array([700, -300, 500.0])
    gap = piece_gap(first.points + shift, first, second.points + shift, second)
    assert gap.value == pytest.approx(height - 9, abs=1e-12)
    clear = (-support(second.points, -gap.direction) - support(first.points, gap.direction) - 9)
    assert clear == pytest.approx(gap.value, abs=1e-9)


@pytest.mark.parametrize("lean", 10.0 ** np.arange(-15, 0))
def test_nearly_parallel_segments_keep_their_digits(lean):
    """Two lines 1e-3 mm apart that pass each other in the middle, at any angle."""
    run = np.array([2e3, 0, 0])
    other = np.array([2e3, 2e3 * lean, 0])
    start = np.array([0, 0, 0.0])
    above = start + run / 2 - other / 2 + [0, 0, 1e-3]
    *_, between = closest_on_lines(start, run, above, other)
    assert np.linalg.norm(between) == pytest.approx(1e-3, abs=1e-12)


@pytest.mark.parametrize("gap_wanted", [1e-11, 1e-8, 1e-5, 1e-2])
@pytest.mark.parametrize("lean", [0.0, 1e-12, 1e-9, 1e-6, 1e-3])
def test_nearly_touching_nearly_parallel_boxes(gap_wanted, lean):
    box = PIECES["box"]
    turn = Rotation.from_rotvec(lean * np.array([0.6, 0.0, 0.8]))
    above = turn.apply(box.points)
    above = above + [10, 5, 25 - above[:, 2].min() + gap_wanted]
    gap = piece_gap(box.points, box, above, box)
    assert gap.value == pytest.approx(gap_wanted, abs=2e-10)


def test_trying_every_feature_agrees_with_the_walk():
    generator = np.random.default_rng(8)
    turns = Rotation.random(50, random_state=generator).as_matrix()
    at = np.array([90, 20, 60]) + generator.normal(scale=10, size=(50, 1, 3))
    for name_a in NAMES:
        for name_b in ("box", "disc", "triangle"):
            first, second = PIECES[name_a], PIECES[name_b]
            points = second.points @ turns.swapaxes(1, 2) + at
            gap = piece_gap(first.points, first, points, second)
            hulls = (np.ascontiguousarray(p.transpose(2, 1, 0)) for p in (
                np.broadcast_to(first.points, (50, *first.points.shape)), points))
            hull_a, hull_b = hulls
            with np.errstate(all="ignore"):
                _, between = closest_features(hull_a, first, hull_b, second)
            apart = np.linalg.norm(between, axis=0) - first.radius - second.radius
            assert apart == pytest.approx(gap.value, abs=1e-10)


def test_least_gap_takes_the_closest_pair_and_keeps_no_numbers():
    ball = sphere([0, 0, 0], 1.0)
    rows = np.array([[[5.0, 0, 0]], [[0, 9.0, 0]], [[np.nan, 0, 0]]])
    others = np.array([[[0, 0, -7.0]]] * 3)
    gaps = [piece_gap(ball.points, ball, points, ball) for points in (rows, others)]
    for order in (gaps, gaps[::-1]):
        least = least_gap(order)
        assert least.value[:2].tolist() == [3, 5]
        assert np.isnan(least.value[2])
        assert least.direction[:2].tolist() == [[1, 0, 0], [0, 0, -1]]
        assert least.point_b[1].tolist() == [0, 0, -6]
        assert least.exact.tolist() == [True, True, False]
