"""Wires and hands against closed forms, points of an arc and SciPy's rotations."""

import itertools
import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from systems.wire_models import GRIPPED, SWING

from linkage import System
from linkage.model import Box, Plate
from linkage.model.file import parse_model
from linkage.rigging import (
    chafe,
    chord,
    grip_table,
    hand_clearance,
    wire_table,
)
from linkage.rigging.loops import arc_chain, bend_radius, half_opening, length_needed

# --- wires ----------------------------------------------------------------------------------------

def test_chord_against_the_law_of_cosines():
    """c2 = r2 + D2 - 2 r D cos(angle between): least where the two agree, inside the travel."""
    found = chord(System(parse_model(SWING)), "switch")
    r, d = 120.0, math.hypot(80, 90)
    straight = math.degrees(math.atan2(80, 90))  # clamp of the airframe, from straight up
    assert -30 < straight < 50
    assert found.least == pytest.approx(d - r if d > r else r - d, abs=1e-9)
    assert found.least_at["pitch"] == pytest.approx(straight, abs=1e-4)
    end = math.radians(straight + 30)
    most = math.sqrt(r * r + d * d - 2 * r * d * math.cos(end))
    assert found.greatest == pytest.approx(most, abs=1e-9)
    assert found.greatest_at == {"pitch": -30.0}
    assert found.never_less <= found.least
    assert most <= found.never_more <= most + 1.01e-3


def test_chord_of_two_inputs_is_never_beaten(side_by_side):
    """Ten thousand random stick positions lie within what is proven."""
    found = chord(side_by_side, "talk wire left")
    rng = np.random.default_rng(0)
    motion = side_by_side.sweep(pitch=rng.uniform(-13, 17, 10_000),
                                roll=rng.uniform(-21, 21, 10_000))
    one, other = side_by_side.model.wires["talk wire left"].clamps
    apart = np.linalg.norm(motion.point(one) - motion.point(other), axis=-1)
    assert found.never_less <= apart.min()
    assert apart.max() <= found.never_more
    assert found.never_more - found.greatest < 1.01e-3
    assert found.least - found.never_less < 1.01e-3


@pytest.mark.parametrize("half", [0.05, 0.7, math.pi / 2, 2.2, 3.0])
def test_arc_against_its_closed_form(half):
    """An arc of half angle a on radius R: chord 2 R sin a, length 2 R a (plane geometry)."""
    radius = 70.0
    chord_, length = 2 * radius * math.sin(half), 2 * radius * half
    assert half_opening(chord_, length) == pytest.approx(half, rel=1e-9)
    assert bend_radius(chord_, length) == pytest.approx(radius, rel=1e-9)


def test_straight_and_short_wires():
    assert np.isinf(bend_radius(100.0, 100.0))
    assert np.isnan(bend_radius(100.0, 99.0))


@pytest.mark.parametrize(("least", "most", "bend"), [(20, 25, 30), (10, 80, 25), (60, 90, 29),
                                                     (60, 90, 31), (5, 6, 40)])
def test_length_needed_is_the_least_that_will_do(least, most, bend):
    """Against a scan of all lengths, by the arc's own closed form."""
    needed = length_needed((least, most), 2.0, bend)
    assert needed >= most + 2
    assert bend_radius(least, needed * (1 + 1e-9)) >= bend * (1 - 1e-7)
    shorter = np.linspace(most + 2, needed, 2000)[:-1]
    if len(shorter) and needed > most + 2 + 1e-9:
        assert np.all(bend_radius(least, shorter) < bend)


def test_least_bend_and_slack_of_a_given_length():
    system = System(parse_model(SWING + "length = 130\nslack = 5\nbend = 18"))
    row = wire_table(system).iloc[0]
    assert row["spare"] == pytest.approx(130 - row["greatest"])
    angle = 130 / (2 * row["bend"])  # sin a / a = c / L at the least chord
    assert math.sin(angle) / angle == pytest.approx(row["least"] / 130, rel=1e-9)
    assert row["bend_limit"] == 18
    assert row["ok"] == (row["bend"] >= 18 and row["spare"] >= 5)
    short = System(parse_model(SWING + "length = 90"))
    assert not wire_table(short)["ok"].any()
    assert wire_table(short)["spare"].iloc[0] < 0


def test_bend_limit_is_ten_diameters_unless_given():
    """TM 1-1500-204-23-4 item 27, seen: ten times the outside diameter."""
    assert parse_model(SWING).wires["switch"].bend_limit == 40
    assert parse_model(SWING + "bend = 7").wires["switch"].bend_limit == 7


def test_arc_chain_lies_on_its_arc_between_the_clamps():
    rng = np.random.default_rng(1)
    one, other = rng.normal(size=(2, 50, 3)) * 60
    apart = np.linalg.norm(one - other, axis=-1)
    length = apart.max() * 1.2
    corners, stray = arc_chain((one, other), length, (0, 0, -1), 200)
    np.testing.assert_allclose(corners[:, 0], one, atol=1e-9)
    np.testing.assert_allclose(corners[:, -1], other, atol=1e-9)
    runs = np.linalg.norm(np.diff(corners, axis=1), axis=-1).sum(axis=1)
    assert np.all((runs <= length) & (runs > length * (1 - 1e-3)))
    assert np.all((stray >= 0) & (stray < 0.05))
    # the ellipsoid that bounds every shape of the wire holds the arc
    sums = sum(np.linalg.norm(corners - k[:, None], axis=-1) for k in (one, other))
    assert np.all(sums <= length + 1e-9)


def test_no_shape_of_a_wire_comes_nearer_than_its_reach():
    """Random bent wires of the given length, tried at every sampled position, by brute force."""
    system = System(parse_model(SWING.replace("[60, -40, 160], [60, 40, 160]",
                                              "[60, -40, 185], [60, 40, 185]") + "length = 150"))
    found = chafe(system, "switch").set_index("solid").loc["airframe/post"]
    rng = np.random.default_rng(2)
    pitch = np.linspace(-30, 50, 7)
    one = system.sweep(pitch=pitch).point("stick/clamp")
    other = np.array(system.model.position("airframe/clamp"))
    nearest = np.inf
    for _ in range(4000):  # a wire with one sharp bend reaches farthest: two straight runs
        place = rng.normal(size=3) * 60 + [60, 0, 170]
        longest = np.linalg.norm(one - place, axis=-1) + np.linalg.norm(place - other)
        share = np.clip((150 - np.linalg.norm(one - other, axis=-1))
                        / (longest - np.linalg.norm(one - other, axis=-1)), 0, 1)
        bend = other + share[:, None] * (place - other)
        good = np.linalg.norm(one - bend, axis=-1) + np.linalg.norm(bend - other, axis=-1) <= 150
        across = np.clip(bend[:, 1], -40, 40)
        axis = np.stack([np.full(7, 60.0), across, np.full(7, 185.0)], axis=-1)
        nearest = min(nearest, np.linalg.norm(bend - axis, axis=-1)[good].min(initial=np.inf))
    assert found["reach"] <= nearest - 5 - 2
    assert found["reach"] > nearest - 5 - 2 - 25  # and is not idle


def test_gap_of_a_loop_against_points_of_its_arc():
    """The loop's own points against the post, sampled far closer than the chain."""
    system = System(parse_model(SWING + "length = 150\nsag = [0, 0, 1]"))
    found = chafe(system, "switch").set_index("solid").loc["airframe/post"]
    motion = system.sweep(pitch=np.linspace(-30, 50, 7))
    corners, _ = arc_chain((motion.point("stick/clamp"),
                            np.broadcast_to(system.model.position("airframe/clamp"), (7, 3))),
                           150.0, (0, 0, 1), 20_000)
    axis = np.stack([np.full(corners.shape[:-1], 60.0), np.clip(corners[..., 1], -40, 40),
                     np.full(corners.shape[:-1], 160.0)], axis=-1)
    gap = np.linalg.norm(corners - axis, axis=-1).min() - 5 - 2
    assert found["gap"] <= gap + 1e-9
    assert found["gap"] > gap - 0.4  # what the chain strays is taken off, never added


@pytest.mark.parametrize(("at", "required"), [(160, 12.7), (140, 4.0), (175, 12.7), (120, 12.7)])
def test_what_a_loop_may_come_to_between_the_positions_is_no_more_than_it_does(at, required):
    """Its own points at 2,001 positions; what is not decided is told so."""
    post = "[60, -40, 160], [60, 40, 160]"
    text = SWING.replace(post, post.replace("160]", f"{at}]")) + "length = 150\nsag = [0, 0, 1]"
    system = System(parse_model(text + f"\n[clearance]\nwire = {required}"))
    table = chafe(system, "switch")
    row = table.set_index("solid").loc["airframe/post"]
    motion = system.sweep(pitch=np.linspace(-30, 50, 2001))
    corners, _ = arc_chain((motion.point("stick/clamp"),
                            np.broadcast_to(system.model.position("airframe/clamp"), (2001, 3))),
                           150.0, (0, 0, 1), 400)
    axis = np.stack([np.full(corners.shape[:-1], 60.0), np.clip(corners[..., 1], -40, 40),
                     np.full(corners.shape[:-1], float(at))], axis=-1)
    true = np.linalg.norm(corners - axis, axis=-1).min() - 5 - 2
    assert row["may_be"] <= true + 0.02
    assert row["may_be"] <= row["gap"]
    assert bool(row["ok"]) == (row["may_be"] >= required)
    assert table.attrs["steps"] >= 7


def test_solid_a_clamp_sits_on_is_left_out():
    near = SWING.replace("clamp = [0, 0, 120]", "clamp = [11, 0, 120]")
    assert "stick/shaft" not in set(chafe(System(parse_model(near)), "switch")["solid"])


# --- grips ----------------------------------------------------------------------------------------

def test_clocked_hand_against_scipy():
    """Clockwise from above is a left-hand turn about the line up; SciPy turns the corners."""
    model = parse_model(GRIPPED)
    plate = model.solids["stick/hand"]
    assert isinstance(plate, Plate)
    assert isinstance(model.bodies["stick"].grip.hand, Box)
    corners = np.array(list(itertools.product((-20, 60), (-50, 30), (300, 380))), dtype=float)
    expected = Rotation.from_euler("z", -30, degrees=True).apply(corners)
    u, n = np.array(plate.u), np.array([0.0, 0.0, 1.0])
    v = np.cross(n, u)
    made = [np.array(plate.at) + x * u + y * v + side * plate.thickness / 2 * n
            for x, y in plate.outline for side in (-1, 1)]
    for corner in made:
        assert np.linalg.norm(expected - corner, axis=-1).min() < 1e-9


def test_hand_goes_through_the_proven_clearance():
    system = System(parse_model(GRIPPED))
    found = hand_clearance(system)
    assert list(found["pair"]) == ["stick/hand | airframe/post"]
    row = found.iloc[0]
    assert row["proven"] <= row["least"] <= row["proven"] + 0.06
    assert not row["ok"]  # the stick swings 50 degrees aft, and the hand into the post
    assert row["least"] <= 0
    assert row["required"] == 12.7


@pytest.mark.parametrize(("bore", "ok"), [(20, True), (19.9, False)])
def test_bore_against_the_shaft_it_goes_on(bore, ok):
    found = grip_table(System(parse_model(GRIPPED.replace("bore = 20", f"bore = {bore}")))).iloc[0]
    assert (found["shaft"], bool(found["ok"])) == (20, ok)
