"""Motion of whole systems: the contract, and random systems against work done outside the library.

What stands outside: SciPy's rotations and root finder, MuJoCo's kinematics, elementary distances
and differences of positions. Numbers of the systems are invented.
"""

import math

import mujoco
import numpy as np
import pytest
from scipy.optimize import root
from systems.motion_models import made, same_as_single

import linkage
from linkage.model import AIRFRAME

TWO_STICKS = """
[input.pitch]
travel = [-13, 17]
[input.roll]
travel = [-21, 21]
[body."cross tube"]
pivot = [1550, 0, 230]
axis = "lateral"
input = "pitch"
points = { arm = [1550, 40, 140] }
[body."stick left"]
on = "cross tube"
pivot = [1550, -270, 230]
axis = "fore-aft"
input = "roll"
points = { grip = [1510, -270, 700], link = [1550, -270, 130], out = [1550, -270, 150] }
[body."stick right"]
on = "cross tube"
pivot = [1550, 270, 230]
axis = "fore-aft"
points = { grip = [1510, 270, 700], link = [1550, 270, 130] }
[rod."stick tie"]
ends = ["stick left/link", "stick right/link"]
[body.bellcrank]
pivot = [2600, 40, 250]
axis = "lateral"
points = { in = [2600, 40, 150], out = [2600, 40, 340] }
[rod."pitch front"]
ends = ["cross tube/arm", "bellcrank/in"]
[body.elevator]
pivot = [4800, 0, 600]
axis = "lateral"
points = { horn = [4795, 40, 545] }
[rod."pitch aft"]
ends = ["bellcrank/out", "elevator/horn"]
[body."aileron crank"]
pivot = [1900, -900, 200]
axis = "vertical"
points = { in = [1820, -900, 205], out = [1905, -980, 200] }
[rod."roll run"]
ends = ["stick left/out", "aileron crank/in"]
[body.aileron]
pivot = [2300, -1500, 250]
axis = [0.1, 1, 0.05]
points = { horn = [2290, -1500, 170] }
[rod."aileron run"]
ends = ["aileron crank/out", "aileron/horn"]
[body.rudder]
pivot = [5200, 0, 500]
axis = [0.2, 0, 1]
[surface.elevator]
body = "elevator"
[surface.aileron]
body = "aileron"
[surface.rudder]
body = "rudder"
"""


@pytest.fixture(scope="module")
def two_sticks():
    return made(TWO_STICKS)


# --- the contract -------------------------------------------------------------------------------

@pytest.mark.parametrize(("pitch", "roll", "shape"), [
    (5, -3, ()), ([1, 2, 3], 0.0, (3,)), ([[1], [2]], [0, 5, 9], (2, 3)), ([], 1, (0,)),
    (np.zeros((2, 1, 4)), np.ones((3, 1)), (2, 3, 4)),
])
def test_results_have_the_broadcast_shape(two_sticks, pitch, roll, shape):
    motion = two_sticks.sweep(pitch=pitch, roll=roll)
    assert motion.reachable.shape == shape
    assert motion.reachable.dtype == bool
    for body in two_sticks.model.bodies:
        assert motion.angle(body).shape == shape
    for point in two_sticks.model.points:
        assert motion.point(point).shape == (*shape, 3)
    assert motion.deflection("elevator").shape == shape
    assert motion.stretch("stick tie").shape == shape
    gearing = motion.gearing("aileron")
    assert list(gearing) == ["pitch", "roll"]
    assert all(value.shape == shape for value in gearing.values())
    assert all(value.shape == shape for value in motion.margins("roll run").values())


def test_inputs_left_out_are_zero_and_neutral_is_zero(two_sticks):
    motion = two_sticks.sweep()
    for body in two_sticks.model.bodies:
        assert abs(motion.angle(body)) < 1e-12
    for address in two_sticks.model.points:
        np.testing.assert_allclose(motion.point(address), two_sticks.model.position(address),
                                   rtol=0, atol=1e-11)
    one, other = two_sticks.sweep(pitch=4), two_sticks.sweep(pitch=4, roll=0)
    np.testing.assert_array_equal(one.angle("aileron"), other.angle("aileron"))


def test_results_are_the_callers_own(two_sticks):
    """Writing into one result changes no other."""
    motion = two_sticks.sweep(pitch=[1.0, 2.0])
    kept = motion.angle("elevator").copy()
    motion.angle("elevator")[:] = 99
    motion.point("cross tube/pivot")[:] = 99
    np.testing.assert_array_equal(motion.angle("elevator"), kept)
    np.testing.assert_allclose(motion.point("cross tube/pivot"), [[1550, 0, 230]] * 2)


def test_senses_of_stick_and_surfaces(two_sticks):
    """Grip aft at positive pitch, grip right at positive roll; elevator and rudder by hand."""
    aft = two_sticks.sweep(pitch=2).point("stick left/grip")
    assert aft[0] > 1510
    right = two_sticks.sweep(roll=2).point("stick left/grip")
    assert right[1] > -270
    # An aft stick pulls the arm below the cross tube forward: bellcrank bottom forward, top aft,
    # horn below the hinge aft, trailing edge up, negative.
    motion = two_sticks.sweep(pitch=5)
    assert motion.point("cross tube/arm")[0] < 1550
    assert motion.point("elevator/horn")[0] > 4795
    assert motion.deflection("elevator") < 0
    assert abs(motion.deflection("rudder")) == 0


@pytest.mark.parametrize(("axis", "sense"), [
    ("lateral", 1), ([0, -1, 0], -1), ([-0.3, 1, 0.2], 1),  # trailing edge down about +y
    ("vertical", -1), ([0.2, 0, -1], 1),  # a rudder's trailing edge goes left about -z
])
def test_deflection_is_the_turn_said_by_its_trailing_edge(axis, sense):
    """The trailing edge, 200 mm aft of the hinge, goes down (left) when the deflection is +."""
    system = made(f"""
[input.drum]
travel = [-20, 20]
[body.flap]
pivot = [1000, 300, 400]
axis = {axis!r}
input = "drum"
points = {{ edge = [1200, 300, 400] }}
[surface.flap]
body = "flap"
""")
    motion = system.sweep(drum=[-7.0, 7.0])
    np.testing.assert_allclose(motion.deflection("flap"), [-7.0 * sense, 7.0 * sense])
    upright = 2 if system.model.bodies["flap"].direction[2] ** 2 < 0.5 else 1
    went = motion.point("flap/edge")[:, upright] - (1200, 300, 400)[upright]
    assert (np.sign(went) == -np.sign(motion.deflection("flap"))).all()


@pytest.mark.parametrize(("name", "axis", "sense"), [
    ("pitch", [0, -1, 0.1], -1), ("pitch", [0.2, 1, 0], 1), ("roll", [1, 0, 0], -1),
    ("roll", [-1, 0.3, 0], 1), ("yaw", [0, 0, -1], 1), ("flap", [0, -1, 0], 1),
])
def test_inputs_turn_as_hands_move(name, axis, sense):
    """Pitch + about u.y > 0, roll + about u.x < 0, any other as its axis is written."""
    system = made(f"""
[input.{name}]
travel = [-9, 9]
[body.part]
pivot = [0, 0, 0]
axis = {axis}
input = "{name}"
""")
    assert abs(system.sweep(**{name: 4.0}).angle("part") - 4 * sense) < 1e-12


def test_positive_said_in_the_file_wins():
    text = """
[input.pitch]
travel = [-9, 9]
positive = "{}"
[body.part]
pivot = [0, 0, 0]
axis = [0, 0.1, 1]
input = "pitch"
"""
    for said, sense in (("along axis", 1), ("against axis", -1)):
        assert abs(made(text.format(said)).sweep(pitch=4.0).angle("part") - 4 * sense) < 1e-12


def test_angles_wrap_to_half_open_turn():
    system = made("""
[input.drum]
travel = [-720, 720]
[body.drum]
pivot = [0, 0, 0]
axis = "vertical"
input = "drum"
points = { rim = [100, 0, 0] }
""")
    motion = system.sweep(drum=[180.0, -180.0, 190.0, -190.0, 360.0, 725.0])
    np.testing.assert_allclose(motion.angle("drum"), [180, 180, -170, 170, 0, 5], atol=1e-12)
    np.testing.assert_allclose(motion.point("drum/rim")[2],
                               [100 * math.cos(math.radians(190)),
                                100 * math.sin(math.radians(190)), 0], atol=1e-12)


def test_out_of_reach_is_nan_there_and_downstream_only(two_sticks):
    """By hand: at 85 degrees the bellcrank pulls 90 x 0.9 sin 85 = 81 mm, of which the rod gives
    14 by standing steeper; the horn of 55 mm, 5 forward of its hinge, can follow 60."""
    motion = two_sticks.sweep(pitch=[0.0, 85.0])
    np.testing.assert_array_equal(motion.reachable, [True, False])
    np.testing.assert_array_equal(np.isnan(motion.angle("elevator")), [False, True])
    np.testing.assert_array_equal(np.isnan(motion.deflection("elevator")), [False, True])
    np.testing.assert_array_equal(np.isnan(motion.gearing("elevator")["pitch"]), [False, True])
    assert np.isnan(motion.point("elevator/horn")[1]).all()
    for body in ("cross tube", "stick left", "stick right", "bellcrank", "aileron"):
        assert np.isfinite(motion.angle(body)).all()
    assert np.isfinite(motion.point("bellcrank/out")).all()


def test_undriven_joint_stays_at_neutral_and_is_told(two_sticks):
    assert two_sticks.plan.undriven == ("rudder",)
    motion = two_sticks.sweep(pitch=[1, 2, 3])
    np.testing.assert_array_equal(motion.angle("rudder"), [0, 0, 0])
    np.testing.assert_array_equal(motion.gearing("rudder")["pitch"], [0, 0, 0])


def test_half_described_system_moves_and_tells_its_open_rods():
    system = made("""
[input.pitch]
travel = [-9, 9]
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
[body.one]
pivot = [500, 0, 0]
axis = "lateral"
points = { p = [500, 0, 60] }
[body.two]
pivot = [900, 0, 0]
axis = "lateral"
points = { p = [900, 0, 60] }
[rod.between]
ends = ["one/p", "two/p"]
""")
    assert system.plan.open_rods == ("between",)
    assert set(system.plan.undriven) == {"one", "two"}
    assert system.sweep(pitch=3).angle("one") == 0


@pytest.mark.parametrize(("ask", "told"), [
    (lambda s: s.sweep(pich=1), ['no input "pich"', 'did you mean "pitch"?']),
    (lambda s: s.sweep(zzz=1), ['no input "zzz"', "known here: pitch, roll"]),
    (lambda s: s.sweep(pitch=np.nan), ['input "pitch"', "NaN or infinity", "finite"]),
    (lambda s: s.sweep(roll=[0, np.inf]), ['input "roll"', "NaN or infinity"]),
    (lambda s: s.sweep(pitch="far"), ['input "pitch"', "needs numbers in °"]),
    (lambda s: s.sweep(pitch=[[1], [2, 3]]), ['input "pitch"', "needs numbers in °"]),
    (lambda s: s.sweep(pitch=[1, 2, 3], roll=[1, 2]), ["(3,)", "(2,)", "don't broadcast"]),
    (lambda s: s.sweep().angle("belcrank"), ['no body "belcrank"', '"bellcrank"?']),
    (lambda s: s.sweep().point("bellcrank/inn"), ['no point "bellcrank/inn"', '"bellcrank/in"?']),
    (lambda s: s.sweep().point("airframe/x"), ['no point "airframe/x"']),
    (lambda s: s.sweep().deflection("elevatr"), ['no surface "elevatr"', '"elevator"?']),
    (lambda s: s.sweep().gearing("bellcrank"), ['no surface "bellcrank"']),
    (lambda s: s.sweep().body_gearing("nose"), ['no body "nose"']),
    (lambda s: s.sweep().margins("pitch frnt"), ['no rod "pitch frnt"', '"pitch front"?']),
    (lambda s: s.sweep().stretch("string"), ['no rod "string"']),
])
def test_questions_without_an_answer_are_refused_helpfully(two_sticks, ask, told):
    with pytest.raises(linkage.LinkageError) as caught:
        ask(two_sticks)
    for words in told:
        assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_inputs_know_their_travel_grip_and_unit(two_sticks):
    pitch, roll = two_sticks.inputs["pitch"], two_sticks.inputs["roll"]
    assert pitch.travel == (-13, 17)
    assert roll.travel == (-21, 21)
    assert (pitch.unit, pitch.body, roll.body) == ("°", "cross tube", "stick left")
    assert pitch.grip == roll.grip == "stick left/grip"


# --- results do not depend on the array they came in -----------------------------------------

@pytest.mark.parametrize(("pitch", "roll"), [
    (np.linspace(-13, 17, 300)[:, None], np.linspace(-21, 21, 200)),
    (np.linspace(-13, 17, 300), np.linspace(-21, 21, 200)[:, None]),
    (np.linspace(-13, 17, 20001), np.linspace(21, -21, 20001)),
    (np.linspace(-13, 17, 3)[:, None], np.linspace(-21, 21, 17000)),  # one row fills a block
    (np.linspace(-13, 17, 30)[:, None, None], np.linspace(-21, 21, 25)[:, None] + np.zeros(30)),
    (np.linspace(-13, 17, 5)[:, None, None], np.linspace(-21, 21, 80)[:, None] + np.zeros(120)),
    (0.0, np.linspace(-21, 21, 40000).reshape(1, 200, 200)),
    (np.linspace(-80, 80, 20000), 3.0),  # out of reach at both ends
])
def test_large_arrays_agree_with_single_positions(two_sticks, pitch, roll):
    motion = two_sticks.sweep(pitch=pitch, roll=roll)
    rng = np.random.default_rng(4)
    for flat in [0, motion.reachable.size - 1, *rng.integers(motion.reachable.size, size=12)]:
        at = np.unravel_index(flat, motion.shape)
        same_as_single(two_sticks, {"pitch": pitch, "roll": roll}, at, motion)


# --- MuJoCo ---------------------------------------------------------------------------------

def mujoco_model(model):
    """Nested hinges with a spatial tendon along each rod: MuJoCo gives the rods' lengths."""
    def vector(v):
        return " ".join(repr(float(k)) for k in v)

    def body(name, origin):
        part = model.bodies[name]
        sites = "".join(f'<site name="{name}/{p}" pos="{vector(np.subtract(q.at, part.pivot))}"/>'
                        for p, q in part.points.items())
        inner = "".join(body(n, part.pivot) for n, b in model.bodies.items() if b.on == name)
        return (f'<body name="{name}" pos="{vector(np.subtract(part.pivot, origin))}">'
                f'<joint name="{name}" type="hinge" axis="{vector(part.direction)}"/>'
                f'<geom type="sphere" size="1" mass="1" contype="0" conaffinity="0"/>'
                f"{sites}{inner}</body>")

    bodies = "".join(body(n, (0, 0, 0)) for n, b in model.bodies.items() if b.on == AIRFRAME)
    rods = "".join(f'<spatial name="{n}"><site site="{r.ends[0]}"/><site site="{r.ends[1]}"/>'
                   "</spatial>" for n, r in model.rods.items())
    return mujoco.MjModel.from_xml_string(
        f'<mujoco><compiler angle="radian"/><worldbody>{bodies}</worldbody>'
        f"<tendon>{rods}</tendon></mujoco>")


def test_against_mujoco_and_scipy(two_sticks):
    """Five unknown joints from MuJoCo's tendon lengths and SciPy's root finder, 100 positions."""
    model = two_sticks.model
    machine = mujoco_model(model)
    data = mujoco.MjData(machine)
    at = {name: machine.joint(name).qposadr[0] for name in model.bodies}
    unknown = ["stick right", "bellcrank", "elevator", "aileron crank", "aileron"]
    rods = [machine.tendon(name).id for name in model.rods]

    def lengths(pitch, roll, x):
        data.qpos[:] = 0
        data.qpos[at["cross tube"]], data.qpos[at["stick left"]] = pitch, roll
        data.qpos[[at[name] for name in unknown]] = x
        mujoco.mj_kinematics(machine, data)
        mujoco.mj_comPos(machine, data)
        mujoco.mj_tendon(machine, data)
        return data.ten_length[rods].copy()

    drawn = lengths(0, 0, np.zeros(5))
    rng = np.random.default_rng(7)
    pitch, roll = rng.uniform(-13, 17, 100), rng.uniform(-21, 21, 100)
    motion = two_sticks.sweep(pitch=pitch, roll=roll)
    assert motion.reachable.all()
    for i, driven in enumerate(zip(np.radians(pitch), np.radians(roll), strict=True)):
        x = root(lambda x, driven=driven: lengths(*driven, x) - drawn, np.zeros(5), tol=1e-14).x
        assert np.abs(lengths(*driven, x) - drawn).max() < 1e-10
        found = np.radians([motion.angle(name)[i] for name in unknown])
        np.testing.assert_allclose(found, x, rtol=0, atol=1e-9)
