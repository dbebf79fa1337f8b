"""Bounds where they are hard: rods together half out of reach, whole turns, edges of reach, builds.

What is true is sampled by closures written out here, which share nothing with the library's.
"""


import mpmath
import numpy as np
import pytest
from scipy.optimize import fsolve
from systems import random_solids

import linkage
from linkage.clearances import Stage, prove, scene_of
from linkage.model.file import parse_model
from linkage.motion import System, enclose

# A crank at [0, 0] moves a forearm's two points by two rods; the forearm rides on an upper arm
# that turns at [200, 0]: all in the plane FS, WL.
CRANK, UPPER, ELBOW = np.array([0.0, 0.0]), np.array([200.0, 0.0]), np.array([197.0, 48.0])
PINS = np.array([[21.0, 75.0], [80.0, 12.0]])
HOLDS = np.array([[215.0, 81.0], [256.0, 83.0]])
TIP = np.array([260.0, 140.0])


def turned(points, about, angle):
    """A turn about +BL: FS goes to -WL... as the right hand has it, WL towards FS."""
    c, s = np.cos(angle), np.sin(angle)
    x, z = (points - about).T
    return np.stack([c * x + s * z, c * z - s * x], axis=-1) + about


def forearm(points, joints):
    return turned(turned(points, ELBOW, joints[1]), UPPER, joints[0])


def misfits(joints, pitch):
    ends = forearm(HOLDS, joints)
    pins = turned(PINS, CRANK, pitch)
    return np.hypot(*(ends - pins).T) - np.hypot(*(HOLDS - PINS).T)


def followed(pitch, steps=4000):
    """Joints followed from neutral in small steps; None where they jump or stop closing."""
    joints = np.zeros(2)
    for share in np.linspace(0, 1, steps + 1)[1:]:
        found = fsolve(misfits, joints, share * pitch, full_output=True, xtol=1e-10)[0]
        if np.abs(misfits(found, share * pitch)).max() > 1e-8 or \
                np.abs(found - joints).max() > 0.2:
            return None
        joints = found
    return joints


def reach_end():
    """Pitch, radians, at which the two rods come to the end of their reach."""
    low, high = 0.0, np.radians(120)
    for _ in range(14):
        middle = (low + high) / 2
        low, high = (middle, high) if followed(middle, 800) is not None else (low, middle)
    return low


def two_rods(travel, ball, diameter=1.0, more=""):
    def spot(point):
        return [float(point[0]), 0.0, float(point[1])]

    return System(parse_model(f"""
length = "mm"
[input.pitch]
travel = {[float(k) for k in travel]}
[body.crank]
pivot = {spot(CRANK)}
axis = "lateral"
input = "pitch"
points = {{ a = {spot(PINS[0])}, b = {spot(PINS[1])} }}
[body.upper]
pivot = {spot(UPPER)}
axis = "lateral"
[body.fore]
on = "upper"
pivot = {spot(ELBOW)}
axis = "lateral"
points = {{ a = {spot(HOLDS[0])}, b = {spot(HOLDS[1])}, tip = {spot(TIP)} }}
solid.tip = {{ kind = "sphere", at = "tip", diameter = 4 }}
[rod.one]
ends = ["crank/a", "fore/a"]
[rod.two]
ends = ["crank/b", "fore/b"]
[airframe.solid.ball]
kind = "sphere"
at = {spot(ball)}
diameter = {diameter}
{more}"""))


@pytest.fixture(scope="module")
def edge():
    return reach_end()


@pytest.mark.parametrize("share", [0.77, 0.79, 0.7999])
def test_rods_together_partly_out_of_reach_are_not_dropped(edge, share):
    """The last of four cells has its middle beyond the reach; a ball stands within it."""
    joints = followed(edge * share / 0.8)
    ball = forearm(TIP[None], joints)[0]
    system = two_rods((0, float(np.degrees(edge)) / 0.8), ball)
    row = linkage.clearance(system).set_index("pair").loc["fore/tip | airframe/ball"]
    assert row["proven"] <= -2.4
    assert not row["ok"]


def test_rods_together_wholly_out_of_reach_are_proven_so(edge):
    """No position beyond the end is counted, so that a ball far off stays far off."""
    system = two_rods((0, float(np.degrees(edge)) / 0.8), (700.0, 700.0), 10.0)
    centres = {"pitch": np.array([float(np.degrees(edge)) + 4.0])}
    state = enclose(system, centres, {"pitch": np.array([1.0])}).states["fore"]
    assert np.isnan(state.value.centre).all()
    table = linkage.clearance(system)
    assert table.empty or table["proven"].min() > 25
    assert not table.attrs["open"]


@pytest.mark.parametrize("half", [3.0, 0.5, 0.05])
def test_bounds_of_rods_together_hold_up_to_the_end_of_reach(edge, half):
    system = two_rods((0, 80), (700.0, 700.0))
    centre = np.degrees(edge) + half * np.array([-0.9, -0.3, 0.4, 0.8])
    held = enclose(system, {"pitch": centre}, {"pitch": np.full(4, half)})
    low, high = (np.stack(k) for k in zip(*(held.states[j].value.bounds()
                                            for j in ("upper", "fore")), strict=True))
    assert (high - low < 1.2 * np.sqrt(half)).all()
    for k, middle in enumerate(centre):
        for at in np.linspace(middle - half, min(middle + half, np.degrees(edge) - 1e-7), 7):
            joints = followed(np.radians(at), 300)
            if joints is not None:
                assert (low[:, k] - 1e-7 <= joints).all()
                assert (joints <= high[:, k] + 1e-7).all()


def test_edges_of_reach_of_three_inputs_are_bounded_without_a_million_cells():
    """Four pairs some 200 mm apart in a system of which a fifth of the travel is in reach."""
    system = random_solids.random_system(2, bold=True, kinds=("sphere", "tube", "box"))
    motion = system.sweep(**random_solids.positions(system, np.random.default_rng(0), 4000))
    sampled = linkage.gaps(motion, list(scene_of(system).pairs))
    pairs = [pair for pair in scene_of(system).pairs.values()
             if len(pair.inputs) == 3 and np.nanmin(sampled[pair.name]) > 180][:4]
    assert len(pairs) == 4
    proof = prove(Stage(scene_of(system), pairs), random_solids.box_of(system), 0.05, None, 25.0)
    assert motion.reachable.mean() < 0.4
    assert not proof.open_at
    assert (proof.proven > 25).all()
    assert proof.visited.sum() < 20_000
    for k, pair in enumerate(pairs):
        assert np.nanmin(sampled[pair.name]) >= proof.proven[k]


@pytest.mark.parametrize("station", [0.0, 2e5, 9.5e5])
def test_roundings_of_great_stations_are_counted(station):
    """The same machine far off: what is rounded away there is taken from the bound."""
    text = """
length = "mm"
[input.pitch]
travel = [-20, 20]
[body.stick]
pivot = [FS, 0, 0]
axis = "lateral"
input = "pitch"
solid.pin = { kind = "sphere", at = [FP, 0, 97.3], diameter = 2 }
[airframe.solid.ball]
kind = "sphere"
at = [FB, 0, 93]
diameter = 2
"""
    pin, ball = station + 1.37, station + 60.21
    made = text.replace("FS", repr(station)).replace("FP", repr(pin)).replace("FB", repr(ball))
    row = linkage.clearance(System(parse_model(made))).iloc[0]
    with mpmath.workdps(50):
        x, z, b = mpmath.mpf(pin) - mpmath.mpf(station), mpmath.mpf(97.3), \
            mpmath.mpf(ball) - mpmath.mpf(station)
        turn = mpmath.radians(20)
        true = mpmath.hypot(x * mpmath.cos(turn) + z * mpmath.sin(turn) - b,
                            z * mpmath.cos(turn) - x * mpmath.sin(turn) - 93) - 2
        assert row["proven"] <= true
        assert row["proven"] > true - 0.05 - 1e-6 - 1e-12 * station


# A drag link: ground 30, crank 60, rod 70, horn 60 mm: both turn right round (from memory: the
# longest and shortest together are less than the other two, and the ground is the shortest).
def drag_link(travel, ball, more=""):
    return System(parse_model(f"""
length = "mm"
[input.pitch]
travel = {[float(k) for k in travel]}
[body.crank]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = {{ pin = [0, 0, 60] }}
[body.horn]
pivot = [30, 0, 0]
axis = "lateral"
points = {{ pin = {[float(k) for k in drag_pin()]} }}
[rod.link]
ends = ["crank/pin", "horn/pin"]
[body.drum]
pivot = [0, 200, 0]
axis = "lateral"
points = {{ knob = [0, 200, 100] }}
solid.knob = {{ kind = "sphere", at = "knob", diameter = 6 }}
[coupling.cable]
bodies = ["horn", "drum"]
ratio = 0.5
[airframe.solid.ball]
kind = "sphere"
at = {[float(k) for k in ball]}
diameter = 2
{more}"""))


def drag_pin():
    """Pin of the horn at neutral, 60 mm from it and 70 mm from the crank's pin, ahead of it."""
    found = fsolve(lambda p: [np.hypot(p[0] - 30, p[1]) - 60, np.hypot(p[0], p[1] - 60) - 70],
                   [60.0, 55.0], xtol=1e-10)
    return found[0], 0.0, found[1]


def horn_turn(pitch):
    """Turn of the horn, whole turns counted, by continuing the loop in small steps."""
    start = np.arctan2(drag_pin()[0] - 30, drag_pin()[2])
    angle = start
    for at in np.linspace(0, pitch, 2 + int(abs(pitch) / 0.01)):
        x, z = 60 * np.sin(at) - 30, 60 * np.cos(at)  # crank's pin from the horn's pivot
        size = np.hypot(x, z)
        off = np.arccos((60**2 + size**2 - 70**2) / (2 * 60 * size))
        both = np.arctan2(x, z) + np.array([-off, off])
        both += 2 * np.pi * np.round((angle - both) / (2 * np.pi))
        angle = both[np.abs(both - angle).argmin()]
    return angle - start


@pytest.mark.parametrize("end", [250.0, -300.0])
def test_a_coupling_follows_its_source_past_half_a_turn(end):
    """The drum turns half as far as a horn that passes 180 degrees; a ball stands in its way."""
    turn = horn_turn(np.radians(end * 0.97)) / 2
    assert abs(turn) > np.pi / 2 + 0.1
    spot = [100 * np.sin(turn), 200, 100 * np.cos(turn)]
    system = drag_link(sorted((end, -10.0 * np.sign(end))), spot)
    assert system.sweep(pitch=end * 0.97).point("drum/knob") == pytest.approx(spot, abs=1e-6)
    row = linkage.clearance(system).set_index("pair").loc["drum/knob | airframe/ball"]
    assert row["proven"] == pytest.approx(-4, abs=0.1)
    assert not row["ok"]


def test_enclosures_of_a_coupled_joint_hold_whole_turns():
    system = drag_link((-300, 300), (500, 500, 500))
    rng = np.random.default_rng(3)
    centre, half = rng.uniform(-300, 300, 80), 10.0 ** rng.uniform(-3, 1.2, 80)
    low, high = enclose(system, {"pitch": centre}, {"pitch": half}).states["drum"].value.bounds()
    for k in range(80):
        for d in (-1, -0.2, 0.7, 1):
            true = horn_turn(np.radians(centre[k] + d * half[k])) / 2
            assert low[k] - 1e-7 <= true <= high[k] + 1e-7
    assert (high - low)[half < 1].max() < 0.5


def test_a_source_that_turns_far_on_a_short_travel_keeps_its_whole_turns():
    """A crank coupled 1 to 12 goes round more than once on 60 degrees of travel."""
    text = """
length = "mm"
[input.pitch]
travel = [0, 60]
[body.stick]
pivot = [0, 0, 300]
axis = "lateral"
input = "pitch"
[coupling.gear]
bodies = ["stick", "crank"]
ratio = 12
"""
    system = System(parse_model(text + COUPLED))
    for at in (14.0, 29.9, 30.0, 31.0, 45.0):
        true = np.degrees(horn_turn(np.radians(at * 12)) / 2)
        found = np.degrees(system.sweep(pitch=at).posture.states["drum"].value)
        assert found == pytest.approx(true, abs=1e-6)


COUPLED = f"""
[body.crank]
pivot = [0, 0, 0]
axis = "lateral"
points = {{ pin = [0, 0, 60] }}
[body.horn]
pivot = [30, 0, 0]
axis = "lateral"
points = {{ pin = {[float(k) for k in drag_pin()]} }}
[rod.link]
ends = ["crank/pin", "horn/pin"]
[body.drum]
pivot = [0, 200, 0]
axis = "lateral"
[coupling.cable]
bodies = ["horn", "drum"]
ratio = 0.5
"""
