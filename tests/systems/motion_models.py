"""Models of motion, of any size at random, and what is compared with them."""

import numpy as np
from hypothesis import settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

import linkage
from linkage.model import AIRFRAME, Body, Coupling, Input, Model, Point, Rod
from linkage.model.file import parse_model

SOME = settings(max_examples=40, deadline=None, derandomize=True)


def made(text):
    return linkage.System(parse_model('length = "mm"\n' + text))


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


def sticks(count, seed=8):
    rng = np.random.default_rng(seed)
    return {"pitch": rng.uniform(-15, 15, count), "flap": rng.uniform(0, 30, count)}

# A crank that an arm's rod drives and that it no longer reaches forward of about 28 degrees.
EDGE_OF_REACH = """
length = "mm"
input.pitch.travel = [-40, 20]
[body.arm]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = { p = [0, 0, 80] }
[body.crank]
pivot = [100, 0, 0]
axis = "lateral"
points = { p = [100, 0, 50], r = [100, 0, 10] }
[rod.link]
ends = ["arm/p", "crank/p"]
"""
# Two rods that settle two joints together, driven by a crank.
SWING_AND_BEAM = """
[body.swing]
pivot = [200, 0, 0]
axis = "lateral"
[body.beam]
on = "swing"
pivot = [200, 0, 60]
axis = "lateral"
points = { p = [190, 0, 100], q = [220, 0, 70] }
[rod.push]
ends = ["crank/r", "beam/p"]
[rod.tie]
ends = ["beam/q", "airframe/q"]
[airframe]
points = { q = [300, 0, 60] }
"""
