"""Couplings: the ratio of two turns, past half a turn too."""

import math

import numpy as np
import pytest
from systems.motion_models import made

COUPLED = """
[input.drum]
travel = [-400, 400]
[body.drum]
pivot = [0, 0, 0]
axis = "lateral"
input = "drum"
[body.far]
pivot = [500, 0, 0]
axis = [0, -1, 0.2]
[coupling.cable]
bodies = {bodies}
ratio = {ratio}
[body.screw]
slide = [0, 0, 1]
points = {{ nut = [600, 0, 0] }}
[coupling.screw]
bodies = ["far", "screw"]
ratio = 0.25
[body.pinion]
pivot = [700, 0, 0]
axis = "lateral"
[coupling.rack]
bodies = ["pinion", "screw"]
ratio = -0.5
"""


@pytest.mark.parametrize(("bodies", "ratio", "far"), [
    ('["drum", "far"]', 0.4, 0.4), ('["drum", "far"]', -2.0, -2.0), ('["far", "drum"]', 4.0, 0.25),
])
def test_ratio_is_second_per_first(bodies, ratio, far):
    """Turns along a chain of couplings, by hand: mm per degree to a slide and back."""
    system = made(COUPLED.format(bodies=bodies, ratio=ratio))
    turn = np.array([-30.0, 0.0, 12.0, 265.0])
    motion = system.sweep(drum=turn)
    np.testing.assert_allclose(motion.angle("far"), (far * turn + 180) % 360 - 180, atol=1e-11)
    np.testing.assert_allclose(motion.angle("screw"), 0.25 * far * turn, atol=1e-11)
    np.testing.assert_allclose(motion.point("screw/nut")[:, 2], 0.25 * far * turn, atol=1e-11)
    np.testing.assert_allclose(motion.angle("pinion"), (-0.5 * far * turn + 180) % 360 - 180,
                               atol=1e-11)
    gearing = [motion.body_gearing(b)["drum"] for b in ("far", "screw", "pinion")]
    np.testing.assert_allclose(gearing, [[far] * 4, [0.25 * far] * 4, [-0.5 * far] * 4], rtol=1e-12)


def test_input_on_a_slide_is_in_mm():
    system = made("""
[input.trim]
travel = ["-20 mm", "30 mm"]
[body.knob]
slide = [0, 3, 4]
points = { p = [100, 0, 0] }
input = "trim"
[body.wheel]
pivot = [0, 0, 0]
axis = "lateral"
[coupling.thread]
bodies = ["wheel", "knob"]
ratio = 0.1
""")
    assert system.inputs["trim"].unit == "mm"
    assert system.inputs["trim"].travel == (-20, 30)
    motion = system.sweep(trim=[-10, 5])
    np.testing.assert_allclose(motion.point("knob/p"), [[100, -6, -8], [100, 3, 4]], atol=1e-12)
    np.testing.assert_allclose(motion.angle("wheel"), [-100, 50], atol=1e-11)
    np.testing.assert_allclose(motion.body_gearing("wheel")["trim"], 10.0, rtol=1e-12)

DRAG = (20.0, 50.0, 55.0, 45.0)  # ground, crank, rod, follower: ground is least, so both go round

DRAG_LINK = """
[input.crank]
travel = [-360, 360]
[body.crank]
pivot = [0, 0, 0]
axis = "vertical"
input = "crank"
points = { p = [0, 50, 0] }
[body.follower]
pivot = [20, 0, 0]
axis = "vertical"
points = { p = [%r, %r, 0] }
[rod.drag]
ends = ["crank/p", "follower/p"]
length = 55
[body.geared]
pivot = [0, 300, 0]
axis = "vertical"
[coupling.gear]
bodies = ["follower", "geared"]
ratio = 0.25
"""


def drag_link(turn):
    """Follower's direction by the law of cosines, unwrapped along the crank's turn, radians."""
    ground, crank, rod, follower = DRAG
    t = np.radians(turn + 90)
    x, y = crank * np.cos(t) - ground, crank * np.sin(t)
    apart = np.hypot(x, y)
    opens = np.arccos((apart**2 + follower**2 - rod**2) / (2 * apart * follower))
    return np.unwrap(np.arctan2(y, x) - opens)


def follower_turn(turn):
    """Turn of the follower from the crank's neutral, degrees, counted past a whole turn."""
    path = np.linspace(0, turn, 2001)
    found = drag_link(path)
    return math.degrees(found[-1] - found[0])


@pytest.fixture(scope="module")
def drag():
    at = drag_link(np.zeros(1))[0]
    return made(DRAG_LINK % (float(20 + 45 * math.cos(at)), float(45 * math.sin(at))))


@pytest.mark.parametrize("turn", [60.0, -100.0, 170.0, 200.0, 250.0, -300.0, 355.0])
def test_coupling_counts_past_half_a_turn(drag, turn):
    """A drag link carries its follower round; a quarter of the unwrapped turn is coupled on."""
    motion = drag.sweep(crank=turn)
    wanted = follower_turn(turn)
    assert abs((motion.angle("follower") - wanted + 180) % 360 - 180) < 1e-9
    assert abs(motion.angle("geared") - 0.25 * wanted) < 1e-9


def test_coupling_past_half_a_turn_does_not_depend_on_the_array(drag):
    turns = np.array([-355.0, -200.0, 10.0, 100.0, 250.0, 355.0, 362.0])
    together = drag.sweep(crank=turns).angle("geared")
    alone = np.array([drag.sweep(crank=turn).angle("geared") for turn in turns])
    np.testing.assert_allclose(together, alone, rtol=0, atol=1e-12)
    np.testing.assert_allclose(alone, [0.25 * follower_turn(t) for t in turns], rtol=0, atol=1e-9)
