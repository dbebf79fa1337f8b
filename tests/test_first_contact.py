"""First contact, proven: thin, grazing and level contact planted where samples would miss it.

Every angle is derived by hand: two balls on one circle about the pivot, `aside` apart along the
axis, touch where 2 R sin(d/2) = sqrt((r + s)^2 - aside^2), d being the turn that is left.
"""

import math

import numpy as np
import pytest

import linkage
from linkage.model.file import parse_model
from linkage.motion import System
from linkage.stops import Ways, first_loss

ARM, BALL = 100.0, 0.1  # mm: radius of the circle, and of each small ball
STOP = math.degrees(math.asin((40 - 8) / ARM))  # a round end of 8 mm against a flat at 40 mm


def arm_with_fins(fins, more=""):
    """An arm with a stop at `STOP` and small balls that pass fixed ones.

    `fins` holds (angle at which the balls are level, how far aside, radius of each ball).
    """
    text = """
length = "mm"
[input.pitch]
travel = [-20, 20]
[body.arm]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = { tip = [0, 0, 100] }
[body.arm.solid.end]
kind = "sphere"
at = "tip"
diameter = 16
[airframe.solid.face]
kind = "box"
corner = [40, -30, 0]
opposite = [60, 30, 160]
[stop.aft]
input = "pitch"
side = "greatest"
between = ["arm/end", "airframe/face"]
"""
    for k, (angle, aside, ball) in enumerate(fins):
        y = 200.0 + 100.0 * k
        sin, cos = math.sin(math.radians(angle)), math.cos(math.radians(angle))
        text += f"""
[body.arm.solid.fin{k}]
kind = "sphere"
at = [0, {y}, {ARM}]
diameter = {2 * ball}
[airframe.solid.tab{k}]
kind = "sphere"
at = [{ARM * sin!r}, {y + aside!r}, {ARM * cos!r}]
diameter = {2 * ball}
"""
    return System(parse_model(text + more))


def touch(angle, aside, ball):
    """First and last angle at which the balls touch, by hand."""
    chord = math.sqrt((2 * ball) ** 2 - aside**2)
    half = math.degrees(2 * math.asin(chord / (2 * ARM)))
    return angle - half, angle + half


@pytest.mark.parametrize("angle", np.random.default_rng(3).uniform(0.5, STOP - 0.5, 24).tolist())
def test_thin_contact_before_the_stop_is_found(angle):
    """Contact over 0.03 degrees somewhere before the stop, which therefore doesn't govern."""
    fin = (angle, 0.19, 0.1)
    first, last = touch(*fin)
    assert last - first < 0.1
    stops = linkage.find_stops(arm_with_fins([fin]))
    assert not stops["governs"][0]
    assert "arm/fin0 | airframe/tab0 touch before it, at" in stops["reason"][0]
    assert f" {first:.2f}° aft" in stops["reason"][0]


def test_the_first_of_several_is_told():
    fins = [(angle, 0.19, 0.1) for angle in (12.31, 4.567, 9.1)]
    stops = linkage.find_stops(arm_with_fins(fins))
    assert "arm/fin1" in stops["reason"][0]


@pytest.mark.parametrize(("clear", "governs"), [
    (1e-6, True), (1e-3, True), (0.0, False), (-1e-9, False), (-1e-6, False)])
def test_grazing_ends_and_is_never_called_free(clear, governs):
    """Balls that pass each other by `clear` mm (negative: touch for an instant)."""
    stops = linkage.find_stops(arm_with_fins([(7.7, 0.2 + clear, 0.1)]))
    assert bool(stops["governs"][0]) is governs
    if not governs:
        assert "arm/fin0" in stops["reason"][0]


@pytest.mark.parametrize(("gap", "governs"), [(1e-6, True), (1e-10, False), (0.0, False),
                                              (-0.5, False)])
def test_level_gap_all_the_way_ends(gap, governs):
    """A ball that circles a hub at one and the same distance."""
    hub = f"""
[body.arm.solid.roller]
kind = "sphere"
at = [0, -300, {ARM}]
diameter = 10
[airframe.solid.hub]
kind = "sphere"
at = [0, -300, 0]
diameter = {2 * (ARM - 5 - gap)!r}
"""
    stops = linkage.find_stops(arm_with_fins([], hub))
    assert bool(stops["governs"][0]) is governs
    if not governs:
        assert "arm/roller | airframe/hub" in stops["reason"][0]


def test_stop_is_free_up_to_and_met_within_a_millionth():
    row = linkage.find_stops(arm_with_fins([])).iloc[0]
    assert bool(row["governs"])
    assert row["angle"] == row["met_at"] == pytest.approx(STOP, abs=1e-9)
    assert 0 <= row["met_at"] - row["free_to"] <= 1e-6


def test_thin_stop_is_met_where_it_first_touches():
    """The faces of a stop themselves touch over 0.03 degrees only, then part again."""
    angle, last = touch(11.111, 0.19, 0.1)
    thin = """
[stop.thin]
input = "pitch"
side = "greatest"
between = ["arm/fin0", "airframe/tab0"]
"""
    stops = linkage.find_stops(arm_with_fins([(11.111, 0.19, 0.1)], thin)).set_index("stop")
    assert last - angle < 0.1
    assert stops.loc["thin", "angle"] == pytest.approx(angle, abs=1e-8)
    assert bool(stops.loc["thin", "governs"])
    assert '"thin" is reached' in stops.loc["aft", "reason"]


def test_contact_within_a_millionth_of_the_stop_is_not_decided():
    """Another ball beside the stop's own touches the face at the same angle."""
    beside = """
[body.arm.solid.twin]
kind = "sphere"
at = [0, 20, 100]
diameter = 16
"""
    stops = linkage.find_stops(arm_with_fins([], beside))
    assert not stops["governs"][0]


def test_touching_at_neutral_is_told():
    stops = linkage.find_stops(arm_with_fins([(0.0, 0.0, 0.1)]))
    assert not stops["governs"][0]
    assert "touch before it, at neutral" in stops["reason"][0]


def four_bar(rod=60.0):
    """A crank of 40 about the origin, a follower of 30 about x = 100, in the plane y = 0."""
    tip = (100.0 - 30 * math.sin(math.radians(20)), 30 * math.cos(math.radians(20)))
    back = math.degrees(math.atan2(tip[0], tip[1]))
    apart = math.hypot(*tip)
    reach = math.acos((40**2 + apart**2 - rod**2) / (2 * 40 * apart))
    crank = math.radians(back) - reach
    return System(parse_model(f"""
length = "mm"
[input.pitch]
travel = [-40, 40]
[body.crank]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = {{ tip = [{40 * math.sin(crank)!r}, 0, {40 * math.cos(crank)!r}] }}
[body.follower]
pivot = [100, 0, 0]
axis = "lateral"
points = {{ tip = [{tip[0]!r}, 0, {tip[1]!r}] }}
[rod.link]
ends = ["crank/tip", "follower/tip"]
""")), math.degrees(crank)


def test_end_of_reach_to_a_millionth_of_a_degree():
    """The crank's tip is then rod + follower from the follower's pivot: law of cosines."""
    system, crank = four_bar()
    far = math.degrees(math.acos((40**2 + 100**2 - (60 + 30) ** 2) / (2 * 40 * 100)))
    left = 90 - far - crank  # the crank turns from +z towards +x
    free, lost = first_loss(system, Ways(("pitch",), np.array([[-80.0]])))
    assert -80 * lost[0] == pytest.approx(left, abs=1e-6)
    assert 0 <= (lost[0] - free[0]) * 80 <= 1e-6


@pytest.mark.parametrize("fins", [[(12.0, 0.0, 0.1)], [(12.0, 3.0, 1.0)], [(STOP + 0.5, 0.0, 0.1)]])
def test_stops_are_the_same_when_what_is_proven_apart_is_not_followed_again(fins):
    system = arm_with_fins(fins)
    alone = linkage.find_stops(system)
    after = linkage.find_stops(arm_with_fins(fins), linkage.clearance(system))
    shared = linkage.find_stops(system, linkage.clearance(system))
    for found in (after, shared):  # a table of another system says nothing
        assert found.drop(columns="free_to").equals(alone.drop(columns="free_to"))
    assert bool(alone["governs"][0]) == (fins[0][1] > 0 or fins[0][0] > STOP)
