"""Rods that have to be solved together, and rods that are a second load path."""

import dataclasses
import math

import numpy as np
import pytest
from scipy.optimize import root
from scipy.spatial.transform import Rotation
from systems.motion_models import FLOATING, IDLERS, carried, made, same_as_single, sticks

import linkage
from linkage.model import AIRFRAME

# --- rods that have to be solved together ------------------------------------------------------

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
