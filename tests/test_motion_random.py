"""Random systems: rods keep their length, and moving or mirroring the whole changes nothing."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation
from systems.motion_models import (
    SEED,
    SOME,
    STAGES,
    carried,
    lever,
    made,
    random_model,
    same_as_single,
    some_positions,
    squarely,
    unit,
)

import linkage
from linkage.model import AIRFRAME, Point
from linkage.model.file import format_model, parse_model

# --- random systems -----------------------------------------------------------------------------

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
