"""Motion of whole systems: the contract, and random systems against work done outside the library.

What stands outside: SciPy's rotations and root finder, MuJoCo's kinematics, elementary distances
and differences of positions. Numbers of the systems are invented.
"""

import dataclasses
import math

import mujoco
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import root
from scipy.spatial.transform import Rotation

import linkage
from linkage.model import AIRFRAME, Body, Coupling, Input, Model, Point, Rod
from linkage.model.file import format_model, parse_model
from linkage.motion import Rates, Seeds

SOME = settings(max_examples=40, deadline=None, derandomize=True)


def made(text):
    return linkage.System(parse_model('length = "mm"\n' + text))


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

def same_as_single(system, inputs, at, motion):
    single = system.sweep(**{name: np.broadcast_to(value, motion.shape)[at]
                             for name, value in inputs.items()})
    for body in system.model.bodies:
        np.testing.assert_allclose(motion.angle(body)[at], single.angle(body), rtol=0, atol=1e-12)
    for address in system.model.points:
        np.testing.assert_allclose(motion.point(address)[at], single.point(address), rtol=1e-15,
                                   atol=1e-12)
    assert motion.reachable[at] == single.reachable
    for body in system.model.bodies:
        for name, rate in motion.body_gearing(body).items():
            np.testing.assert_allclose(rate[at], single.body_gearing(body)[name], atol=1e-12)


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


# --- random systems -----------------------------------------------------------------------------

def unit(vector):
    return np.divide(vector, np.linalg.norm(vector))


def lever(near, far, pivot, axis):
    """How squarely a rod turns a joint: 1 square, 0 dead centre, with the sign of its turn."""
    arm, axis = np.subtract(near, pivot), np.asarray(axis)
    arm = arm - axis * (arm @ axis)
    return float(axis @ np.cross(arm, unit(np.subtract(far, near))) / np.linalg.norm(arm))


def fitting(rng, slides):
    """Pivot, axis, near point of a new joint, drawn so that its rod is nowhere near in line."""
    while True:
        pivot, axis = rng.normal(size=3) * 150, unit(rng.normal(size=3))
        near = pivot + rng.normal(size=3) * 50
        far = yield pivot, axis, near
        across = np.linalg.norm(np.cross(axis, near - pivot))
        apart = np.linalg.norm(far - near)
        square = abs(axis @ (far - near)) / apart if slides else abs(lever(near, far, pivot, axis))
        if apart > 60 and (slides or across > 25) and square > 0.5:
            yield "good"
            return
        yield "bad"


def draw_joint(rng, far, slides):
    tries = fitting(rng, slides)
    while True:
        joint = next(tries)
        if tries.send(np.asarray(far)) == "good":
            return joint


STAGES = st.lists(st.tuples(st.sampled_from(["turn", "slide", "coupling"]), st.integers(0, 9),
                            st.integers(0, 9)), min_size=1, max_size=6)
SEED = st.integers(0, 2**32 - 1)


def random_model(seed, stages) -> Model:
    """A tree of joints: two driven ones, then one per stage, each closed by a rod or coupled."""
    rng = np.random.default_rng(seed)
    points = {"pivot": {}}
    bodies, rods, couplings = {}, {}, {}

    def add(name, pivot, axis, spot, **more):
        way = {"slide" if more.pop("slides", False) else "axis": tuple(axis.tolist())}
        points[name] = spot
        bodies[name] = Body(pivot=tuple(pivot.tolist()), points={"p": Point(
            at=tuple(spot.tolist()))}, **way, **more)

    add("b0", rng.normal(size=3) * 150, unit(rng.normal(size=3)), rng.normal(size=3) * 150,
        input="first")
    add("b1", rng.normal(size=3) * 150, unit(rng.normal(size=3)), rng.normal(size=3) * 150,
        on="b0", input="second")
    for i, (kind, carried, reached) in enumerate(stages):
        name, earlier = f"b{i + 2}", list(bodies)
        on = [AIRFRAME, *earlier][carried % (len(earlier) + 1)]
        mate = earlier[reached % len(earlier)]
        if kind == "coupling":
            add(name, rng.normal(size=3) * 150, unit(rng.normal(size=3)),
                rng.normal(size=3) * 150, on=on)
            ratio = rng.uniform(0.2, 1.5) * rng.choice([-1, 1])
            pair, ratio = ((mate, name), ratio) if rng.random() < 0.5 else ((name, mate), 1 / ratio)
            couplings[f"c{i}"] = Coupling(bodies=pair, ratio=float(ratio))
            continue
        pivot, axis, near = draw_joint(rng, points[mate], kind == "slide")
        add(name, pivot, axis, near, on=on, slides=kind == "slide")
        ends = (f"{name}/p", f"{mate}/p") if rng.random() < 0.5 else (f"{mate}/p", f"{name}/p")
        rods[f"r{i}"] = Rod(ends=ends)
    return Model(length="mm", bodies=bodies, rods=rods, couplings=couplings,
                 inputs={name: Input(travel=(-25.0, 25.0)) for name in ("first", "second")})


def some_positions(seed, count=24):
    rng = np.random.default_rng(seed)
    at = rng.uniform(-20, 20, (2, count))
    at[:, 0] = 0
    return {"first": at[0], "second": at[1]}


def squarely(motion, least=8.0):
    """Positions that reach, with the driven end of every rod well off its dead centre."""
    good = motion.reachable.copy()
    for rod in motion.system.model.rods:
        good &= ~(motion.margins(rod)[f"b{int(rod[1:]) + 2}/p"] < least)
    return good


def carried(motion, address, nudged=None):
    """A point carried by SciPy's rotations through the angles the motion tells, or near them."""
    model = motion.system.model
    place = np.broadcast_to(np.array(model.position(address)), (*motion.shape, 3))
    body = address.split("/")[0]
    while body != AIRFRAME:
        part, way = model.bodies[body], motion.angle(body)[..., None] + (nudged or {}).get(body, 0)
        if part.slides:
            place = place + way * part.direction
        else:
            turn = Rotation.from_rotvec(np.radians(way) * part.direction)
            place = np.add(part.centre, turn.apply(place - part.centre))
        body = part.on
    return place


@SOME
@given(SEED, STAGES)
def test_every_rod_keeps_its_length(seed, stages):
    """Distances between its ends are what they were between the hardpoints as drawn."""
    model = random_model(seed, stages)
    motion = linkage.System(model).sweep(**some_positions(seed))
    reach = motion.reachable
    assert reach[0]
    for rod in model.rods.values():
        ends = [motion.point(end)[reach] for end in rod.ends]
        length = math.dist(*(model.position(end) for end in rod.ends))
        np.testing.assert_allclose(np.linalg.norm(ends[0] - ends[1], axis=-1), length,
                                   rtol=0, atol=1e-9)


@SOME
@given(SEED, STAGES)
def test_points_ride_on_their_bodies(seed, stages):
    """Every point is where SciPy's rotations carry it by the angles told."""
    motion = linkage.System(random_model(seed, stages)).sweep(**some_positions(seed))
    reach = motion.reachable
    for address in motion.system.model.points:
        body = address.split("/")[0]
        if np.isfinite(motion.angle(body)).all():
            np.testing.assert_allclose(motion.point(address)[reach],
                                       carried(motion, address)[reach], rtol=0, atol=1e-9)
        else:
            known = np.isfinite(motion.point(address)).all(axis=-1) & reach
            np.testing.assert_allclose(motion.point(address)[known],
                                       carried(motion, address)[known], rtol=0, atol=1e-9)


@SOME
@given(SEED, STAGES)
def test_assembly_never_flips(seed, stages):
    """The turn a rod gives its joint keeps the sign it has between the hardpoints as drawn."""
    model = random_model(seed, stages)
    motion = linkage.System(model).sweep(**some_positions(seed))
    good = squarely(motion, 1.0)
    for name, rod in model.rods.items():
        body = f"b{int(name[1:]) + 2}"
        near, far = rod.ends if rod.ends[0].startswith(body + "/") else rod.ends[::-1]
        part = model.bodies[body]
        if part.slides:
            continue
        here = [_as_its_carrier_sees(motion, address, body)[good]
                for address in (near, far)]
        drawn = lever(model.position(near), model.position(far), part.centre, part.direction)
        for p, q in zip(*here, strict=True):
            assert np.sign(lever(p, q, part.centre, part.direction)) == np.sign(drawn)


@SOME
@given(SEED, STAGES)
def test_margins_are_how_squarely_a_rod_pulls(seed, stages):
    """asin |u.(r x e)| / |r|, or asin |u.e| on a slide, worked on each joint's carrier."""
    model = random_model(seed, stages)
    motion = linkage.System(model).sweep(**some_positions(seed, 8))
    good = squarely(motion, 0.5)
    for name, rod in model.rods.items():
        for end, other in (rod.ends, rod.ends[::-1]):
            body = end.split("/")[0]
            part = model.bodies[body]
            here, there = (_as_its_carrier_sees(motion, address, body)[good]
                           for address in (end, other))
            pivot = _as_its_carrier_sees(motion, f"{body}/pivot", body)[good]
            sine = [abs(np.dot(part.direction, unit(q - p))) if part.slides else
                    abs(lever(p, q, c, part.direction))
                    for p, q, c in zip(here, there, pivot, strict=True)]
            # An arcsine near 90 keeps half the digits: sqrt(2 eps) is 1.2e-6 degrees.
            np.testing.assert_allclose(motion.margins(name)[end][good],
                                       np.degrees(np.arcsin(np.clip(sine, 0, 1))), atol=3e-6)


def _as_its_carrier_sees(motion, address, body):
    """A point turned back through the carriers of a body, by SciPy's rotations."""
    model, place = motion.system.model, motion.point(address)
    for joint in reversed(model.carriers(body)):
        if joint == AIRFRAME:
            continue
        part, way = model.bodies[joint], motion.angle(joint)[..., None]
        if part.slides:
            place = place - way * part.direction
        else:
            turn = Rotation.from_rotvec(-np.nan_to_num(np.radians(way)) * part.direction)
            place = np.add(part.centre, turn.apply(place - part.centre))
    return place


@SOME
@given(SEED, STAGES)
def test_random_systems_move_the_same_from_their_file(seed, stages):
    """Written to a model file and read back, a system moves bit for bit as before."""
    model = random_model(seed, stages)
    inputs = some_positions(seed, 5)
    here = linkage.System(model).sweep(**inputs)
    there = linkage.System(parse_model(format_model(model))).sweep(**inputs)
    for body in model.bodies:
        np.testing.assert_array_equal(there.angle(body), here.angle(body))


@SOME
@given(SEED, STAGES)
def test_random_systems_do_not_depend_on_the_array(seed, stages):
    system = linkage.System(random_model(seed, stages))
    inputs = some_positions(seed, 7)
    motion = system.sweep(**inputs)
    at = int(np.flatnonzero(squarely(motion, 2.0))[-1])
    same_as_single(system, inputs, (at,), motion)


# --- moving, turning and mirroring the whole ------------------------------------------------

def moved(model, matrix, shift):
    """The same system elsewhere: points as points, turning axes as turns."""
    matrix = np.asarray(matrix, float)

    def point(p):
        return tuple((matrix @ np.array(p) + shift).tolist())

    bodies = {}
    for name, part in model.bodies.items():
        word = "slide" if part.slides else "axis"
        sense = 1.0 if part.slides else np.linalg.det(matrix)
        bodies[name] = dataclasses.replace(
            part, pivot=point(part.pivot),
            points={n: Point(at=point(p.at)) for n, p in part.points.items()},
            **{word: tuple((sense * matrix @ part.direction).tolist())})
    return dataclasses.replace(model, bodies=bodies)


@SOME
@given(SEED, STAGES, st.sampled_from(["shift", "turn", "mirror"]))
def test_moving_the_whole_changes_nothing(seed, stages, how):
    """Origin, axes and hand of the stations are the describer's choice: angles stay to 1e-9."""
    model = random_model(seed, stages)
    rng = np.random.default_rng(seed)
    matrix = {"shift": np.eye(3), "mirror": np.diag([1.0, -1.0, 1.0]),
              "turn": Rotation.random(rng=rng).as_matrix()}[how]
    shift = np.zeros(3) if how == "mirror" else rng.normal(size=3) * 2000
    inputs = some_positions(seed)
    motion = linkage.System(model).sweep(**inputs)
    other = linkage.System(moved(model, matrix, shift)).sweep(**inputs)
    good = squarely(motion)
    assert good.any()
    for body in model.bodies:
        np.testing.assert_allclose(other.angle(body)[good], motion.angle(body)[good],
                                   rtol=0, atol=1e-9)
    for address in model.points:
        np.testing.assert_allclose(other.point(address)[good],
                                   motion.point(address)[good] @ matrix.T + shift,
                                   rtol=0, atol=1e-9)


MIRRORED = """
[input.pitch]
travel = [-15, 15]
[input.roll]
travel = [-20, 20]
[body.tube]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
[body.shaft]
on = "tube"
pivot = [0, 0, 0]
axis = "fore-aft"
input = "roll"
points = { "arm left" = [10, -40, -70], mid = [0, 0, -80] }
[body."crank left"]
pivot = [300, -400, -60]
{axis}
points = { in = [230, -410, -60], out = [310, -480, -50] }
[rod."front left"]
ends = ["shaft/arm left", "crank left/in"]
[body."slider left"]
slide = [0.9, -0.3, 0.1]
points = { p = [600, -700, -40] }
[rod."aft left"]
ends = ["crank left/out", "slider left/p"]
[mirror]
left = "right"
"""


@pytest.mark.parametrize("axis", [
    "axis = [0.1, -0.2, 1]", 'axis = "vertical"', "through = [310, -420, 40]",
])
def test_mirrored_system_mirrors_its_motion(axis):
    """The left side at (pitch, roll) is the mirror image of the right at (pitch, -roll)."""
    system = made(MIRRORED.replace("{axis}", axis))
    assert "crank right" in system.model.bodies
    rng = np.random.default_rng(6)
    pitch, roll = rng.uniform(-15, 15, 20), rng.uniform(-20, 20, 20)
    here, there = system.sweep(pitch=pitch, roll=roll), system.sweep(pitch=pitch, roll=-roll)
    assert here.reachable.all()
    for left in ("crank left/in", "crank left/out", "slider left/p", "shaft/arm left"):
        np.testing.assert_allclose(there.point(left.replace("left", "right")),
                                   here.point(left) * [1, -1, 1], rtol=0, atol=1e-9)
    for left in ("crank left", "slider left"):
        np.testing.assert_allclose(there.angle(left.replace("left", "right")), here.angle(left),
                                   rtol=0, atol=1e-9)


def test_coupled_twins_mirror_their_motion_too():
    """A roll drum with a cable to each aileron: what goes up left goes down right."""
    system = made("""
[input.roll]
travel = [-20, 20]
[body.drum]
pivot = [0, 0, 0]
axis = "fore-aft"
input = "roll"
[body."aileron left"]
pivot = [300, -900, 0]
axis = [0.1, 1, 0]
points = { edge = [400, -900, 0] }
[coupling."cable left"]
bodies = ["drum", "aileron left"]
ratio = 0.5
[surface."aileron left"]
body = "aileron left"
[mirror]
left = "right"
""")
    here, there = system.sweep(roll=[5.0, 12.0]), system.sweep(roll=[-5.0, -12.0])
    np.testing.assert_allclose(there.point("aileron right/edge"),
                               here.point("aileron left/edge") * [1, -1, 1], atol=1e-9)
    np.testing.assert_allclose(here.deflection("aileron right"), -here.deflection("aileron left"))


# --- rods that have to be solved together ------------------------------------------------------

FLOATING = """
[input.pitch]
travel = [-15, 15]
[input.flap]
travel = [0, 30]
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = { p = [0, 0, -70] }
[body.drum]
pivot = [100, 30, 200]
axis = "lateral"
input = "flap"
points = { p = [100, 30, 150] }
[body.idler]
pivot = [500, 0, 150]
{idler}
points = { out = [510, 40, 30] }
[body.lever]
on = "idler"
pivot = [500, 0, 20]
axis = [0.05, 1, 0.1]
points = { low = [500, 0, -60], high = [498, 25, 90] }
[rod.low]
ends = ["stick/p", "lever/low"]
[rod.high]
ends = ["lever/high", "drum/p"]
[body.elevator]
pivot = [1500, 0, 100]
axis = "lateral"
points = { horn = [1500, 40, 30] }
[rod.out]
ends = ["idler/out", "elevator/horn"]
[surface.elevator]
body = "elevator"
"""
IDLERS = {"turning": 'axis = "lateral"', "sliding": "slide = [1, 0.05, 0.02]"}


@pytest.fixture(scope="module", params=IDLERS)
def floating(request):
    return made(FLOATING.replace("{idler}", IDLERS[request.param]))


def sticks(count, seed=8):
    rng = np.random.default_rng(seed)
    return {"pitch": rng.uniform(-15, 15, count), "flap": rng.uniform(0, 30, count)}


def test_floating_lever_is_solved_together(floating):
    assert [step.rods for step in floating.plan.steps if len(step.rods) > 1] == [("low", "high")]


def test_floating_lever_closes(floating):
    motion = floating.sweep(**sticks(200))
    assert motion.reachable.all()
    for rod in floating.model.rods.values():
        length = math.dist(*(floating.model.position(end) for end in rod.ends))
        found = np.linalg.norm(np.subtract(*(motion.point(end) for end in rod.ends)), axis=-1)
        np.testing.assert_allclose(found, length, rtol=0, atol=1e-9)
    for address in floating.model.points:
        np.testing.assert_allclose(motion.point(address), carried(motion, address), atol=1e-9)


def test_floating_lever_does_not_depend_on_the_array(floating):
    inputs = sticks(60)
    motion = floating.sweep(**inputs)
    for at in range(0, 60, 7):
        same_as_single(floating, inputs, (at,), motion)


def test_floating_lever_follows_from_neutral(floating):
    """SciPy's root finder, led from neutral by small steps, ends at the same angles."""
    model = floating.model

    def carry(address, angles):
        place, body = np.array(model.position(address)), address.split("/")[0]
        while body != AIRFRAME:
            part = model.bodies[body]
            if part.slides:
                place = place + angles[body] * np.array(part.direction)
            else:
                turn = Rotation.from_rotvec(angles[body] * np.array(part.direction))
                place = np.add(part.centre, turn.apply(place - part.centre))
            body = part.on
        return place

    unknown = ["idler", "lever", "elevator"]
    lengths = {name: math.dist(*(model.position(end) for end in rod.ends))
               for name, rod in model.rods.items()}

    def misfit(x, driven):
        angles = {**driven, **dict(zip(unknown, x, strict=True))}
        return [math.dist(*(carry(end, angles) for end in rod.ends)) - lengths[name]
                for name, rod in model.rods.items()]

    for pitch, flap in ((15.0, 30.0), (-15.0, 30.0), (-12.0, 4.0)):
        x = np.zeros(3)
        for share in np.linspace(0, 1, 31):
            driven = {"stick": math.radians(pitch * share), "drum": math.radians(flap * share)}
            x = root(misfit, x, args=(driven,), tol=1e-14).x
        assert np.abs(misfit(x, driven)).max() < 1e-10
        motion = floating.sweep(pitch=pitch, flap=flap)
        for body, value in zip(unknown, x, strict=True):
            found = motion.angle(body) if model.bodies[body].slides else np.radians(
                motion.angle(body))
            assert abs(found - value) < (1e-8 if model.bodies[body].slides else 1e-9)


@pytest.mark.parametrize("idler", IDLERS.values())
def test_floating_lever_out_of_reach_is_nan_downstream_only(idler):
    """A lever of 60 mm whose rods are pulled 61 + 43 mm apart can't follow (by hand)."""
    short = FLOATING.replace("[500, 0, -60]", "[500, 0, -10]").replace(
        "[498, 25, 90]", "[498, 25, 50]")
    system = made(short.replace("{idler}", idler))
    motion = system.sweep(pitch=[0.0, 60.0, 5.0], flap=[0.0, -60.0, 5.0])
    np.testing.assert_array_equal(motion.reachable, [True, False, True])
    for body in ("idler", "lever", "elevator"):
        np.testing.assert_array_equal(np.isnan(motion.angle(body)), [False, True, False])
    assert np.isfinite(motion.angle("stick")).all()
    assert np.isfinite(motion.angle("drum")).all()
    assert np.isnan(motion.gearing("elevator")["pitch"][1])
    assert np.isfinite(motion.gearing("elevator")["pitch"][[0, 2]]).all()


@pytest.mark.parametrize("idler", IDLERS.values())
def test_floating_lever_never_flips(idler):
    """Far from neutral, out of reach and back: the determinant of the rods' lengths by the two
    joints, differenced from SciPy's rotations, keeps its sign wherever an answer is given."""
    short = FLOATING.replace("[500, 0, -60]", "[500, 0, -10]").replace(
        "[498, 25, 90]", "[498, 25, 50]").split("[rod.out]")[0]
    system = made(short.replace("{idler}", idler))
    pitch, flap = (k.ravel() for k in np.meshgrid([0, *np.linspace(-150, 150, 14)], [
        0, *np.linspace(-145, 140, 14)]))
    reach = system.sweep(pitch=pitch, flap=flap).reachable
    assert 0.2 < reach.mean() < 0.8
    motion = system.sweep(pitch=pitch[reach], flap=flap[reach])

    def lengths(joint, way):
        ends = [[carried(motion, end, {joint: way}) for end in system.model.rods[rod].ends]
                for rod in ("low", "high")]
        return np.array([np.linalg.norm(p - q, axis=-1) for p, q in ends])

    (a, c), (b, d) = (lengths(joint, 1e-4) - lengths(joint, -1e-4) for joint in ("idler", "lever"))
    sense = np.sign(a * d - b * c)
    np.testing.assert_array_equal(sense, sense[0])


def test_floating_lever_with_a_given_rod_starts_from_its_own_neutral(floating):
    """A rod 2 mm longer than its hardpoints: at zero inputs every rod has its length."""
    low = dataclasses.replace(floating.model.rods["low"],
                              length=floating.model.rod_length("low") + 2)
    model = dataclasses.replace(floating.model, rods={**floating.model.rods, "low": low})
    system = linkage.System(model)
    motion = system.sweep(pitch=[0, 5], flap=[0, 10])
    for name, rod in model.rods.items():
        found = np.linalg.norm(np.subtract(*(motion.point(end) for end in rod.ends)), axis=-1)
        np.testing.assert_allclose(found, model.rod_length(name), rtol=0, atol=1e-9)
    assert abs(system.offsets["lever"]) > 0.1


def test_lever_that_two_parallel_rods_leave_loose_is_refused_as_dead_centre():
    """Two equal parallel arms and rods: neither rod resists, so neutral holds nothing."""
    with pytest.raises(linkage.LinkageError, match="dead centre"):
        made("""
[body.one]
pivot = [0, 0, 0]
axis = "lateral"
points = { p = [0, 0, 50], q = [0, 5, -50] }
[body.two]
pivot = [300, 0, 0]
axis = "lateral"
points = { p = [300, 0, 50], q = [300, 5, -50] }
[rod.top]
ends = ["one/p", "two/p"]
[rod.bottom]
ends = ["two/q", "one/q"]
""")


# --- second load paths ---------------------------------------------------------------------------

REDUNDANT = """
[input.pitch]
travel = [-15, 15]
[body.front]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = { a = [0, 0, 70], b = [0, 50, -60] }
[body.aft]
pivot = [400, 0, 0]
axis = "lateral"
points = { a = [400, 0, 70], b = [400, 50, -55] }
[rod.main]
ends = ["front/a", "aft/a"]
[rod.spare]
ends = ["front/b", "aft/b"]
{word}
"""


def test_redundant_rod_reports_its_misfit():
    """A parallelogram turns both arms alike, so the spare's ends are known by plain geometry."""
    system = made(REDUNDANT.replace("{word}", "redundant = true"))
    assert system.plan.redundant == ("spare",)
    turn = np.array([-15.0, 0.0, 10.0])
    motion = system.sweep(pitch=turn)
    np.testing.assert_allclose(motion.angle("aft"), turn, atol=1e-11)
    t = np.radians(turn)
    x, z = 400 + (-55 + 60) * np.sin(t), (-55 + 60) * np.cos(t)
    np.testing.assert_allclose(motion.stretch("spare"), np.hypot(x, z) - math.hypot(400, 5),
                               rtol=0, atol=1e-11)
    np.testing.assert_allclose(motion.stretch("main"), 0, atol=1e-11)


def test_second_rod_that_is_not_said_to_be_redundant_is_refused():
    with pytest.raises(linkage.LinkageError, match="redundant = true") as caught:
        made(REDUNDANT.replace("{word}", ""))
    assert 'rod "spare"' in str(caught.value)
    assert 'rod "main"' in str(caught.value)


# --- rates ----------------------------------------------------------------------------------

STENCIL = np.arange(-4, 5)
EIGHTH = np.array([1 / 280, -4 / 105, 1 / 5, -4 / 5, 0, 4 / 5, -1 / 5, 4 / 105, -1 / 280])


def differenced(values, step):
    """Eighth-order central difference along the last axis of nine."""
    return values @ EIGHTH / step


def unwrapped_angle(motion, body):
    angle = motion.angle(body)
    return angle if motion.system.model.bodies[body].slides else np.unwrap(angle, period=360)


@SOME
@given(SEED, STAGES)
def test_gearing_is_the_slope_of_the_angle(seed, stages):
    """Exact rates against eighth-order differences over 0.1 degree of stick."""
    system = linkage.System(random_model(seed, stages))
    inputs = some_positions(seed, 12)
    good = squarely(system.sweep(**inputs), 15.0)
    assume(good.any())
    inputs = {name: value[good] for name, value in inputs.items()}
    motion = system.sweep(**inputs)
    for name in inputs:
        # The steeper the gearing, the nearer the dead centre and the finer the steps.
        steepest = np.max([abs(motion.body_gearing(b)[name]) for b in system.model.bodies], axis=0)
        h = 0.1 / (1 + steepest)[:, None]
        fine = system.sweep(**{n: v[:, None] + (h * STENCIL if n == name else 0)
                               for n, v in inputs.items()})
        for body in system.model.bodies:
            slope = differenced(unwrapped_angle(fine, body), h[:, 0])
            np.testing.assert_allclose(motion.body_gearing(body)[name], slope, rtol=1e-8,
                                       atol=1e-9)


def test_floating_lever_gearing_is_the_slope_of_the_angle(floating):
    inputs = sticks(12)
    motion = floating.sweep(**inputs)
    for name in inputs:
        steps = {n: v[:, None] + (0.1 * STENCIL if n == name else 0) for n, v in inputs.items()}
        fine = floating.sweep(**steps)
        for body in floating.model.bodies:
            slope = differenced(unwrapped_angle(fine, body), 0.1)
            np.testing.assert_allclose(motion.body_gearing(body)[name], slope, rtol=1e-8, atol=1e-9)
        np.testing.assert_allclose(motion.gearing("elevator")[name],
                                   differenced(fine.deflection("elevator"), 0.1),
                                   rtol=1e-8, atol=1e-9)


def random_seeds(system, rng, kinds, count=2):
    """`count` random directions of the dimensions; an axis only turns, so its rate is square."""
    dims = system.dimensions
    found = {kind: {} for kind in ("places", "axes", "lengths")}
    if "places" in kinds:
        found["places"] = {n: tuple(rng.normal(size=(3, count))) for n in dims.places}
    if "axes" in kinds:
        for name, axis in dims.axes.items():
            axis, way = np.array(axis)[:, None], rng.normal(size=(3, count))
            found["axes"][name] = tuple(0.01 * (way - axis * (axis * way).sum(axis=0)))
    if "lengths" in kinds:
        found["lengths"] = {n: rng.normal(size=count) for n in dims.lengths}
    return Seeds(**found)


def varied(system, seeds, step, count=2):
    """The dimensions moved along each direction to nine places: arrays (count, 9)."""
    dims = system.dimensions

    def along(value, rate):
        return value + step * np.reshape(rate, (count, 1)) * STENCIL

    axes = {}
    for name, axis in dims.axes.items():
        if name in seeds.axes:
            axis = [along(a, r) for a, r in zip(axis, seeds.axes[name], strict=True)]
            size = np.sqrt(sum(a * a for a in axis))
            axis = tuple(a / size for a in axis)
        axes[name] = axis
    return dataclasses.replace(
        dims, axes=axes,
        places={n: tuple(along(a, r) for a, r in zip(p, seeds.places[n], strict=True))
                if n in seeds.places else p for n, p in dims.places.items()},
        lengths={n: along(k, seeds.lengths[n]) if n in seeds.lengths else k
                 for n, k in dims.lengths.items()})


def check_dimension_rates(system, seeds, inputs, step=0.02):
    rates = Rates(system.sweep(**inputs).posture, seeds)
    fine = system.sweep_with(varied(system, seeds, step), **inputs)
    assert fine.reachable.all()
    for body, part in system.model.bodies.items():
        if body not in rates.joints:
            continue
        values = fine.angle(body) if part.slides else np.radians(
            np.unwrap(fine.angle(body), period=360))
        np.testing.assert_allclose(np.broadcast_to(rates.joints[body], 2),
                                   differenced(values, step), rtol=1e-8, atol=1e-10)
    for address in system.model.points:
        slope = differenced(np.moveaxis(fine.point(address), -1, 0), step)
        found = np.stack([np.broadcast_to(k, 2) for k in rates.place(address)])
        np.testing.assert_allclose(found, slope, rtol=1e-8, atol=1e-8)


@settings(SOME, max_examples=20)
@given(SEED, STAGES, st.sampled_from(["places", "axes", "lengths", "places axes lengths"]))
def test_rates_by_dimensions_are_the_slopes(seed, stages, kinds):
    """Hardpoints, axes and rod lengths, along random directions, against differences."""
    system = linkage.System(random_model(seed, stages))
    inputs = some_positions(seed, 6)
    good = np.flatnonzero(squarely(system.sweep(**inputs), 15.0))
    assume(good.size)
    inputs = {name: value[good[-1]] for name, value in inputs.items()}
    seeds = random_seeds(system, np.random.default_rng(seed), kinds.split())
    check_dimension_rates(system, seeds, inputs)


@pytest.mark.parametrize("kinds", ["places", "lengths", "axes", "places axes lengths"])
def test_floating_lever_rates_by_dimensions(floating, kinds):
    seeds = random_seeds(floating, np.random.default_rng(5), kinds.split())
    check_dimension_rates(floating, seeds, {"pitch": 9.0, "flap": 12.0})


# --- couplings ----------------------------------------------------------------------------------

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
