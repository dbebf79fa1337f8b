"""What is left out at joints, against brute force.

The oracles have code of their own: points strewn in the whole shapes, the balls about the joints
written out again, Rodrigues' formula, SciPy's trees and hulls.
"""

import numpy as np
import pytest
from scipy.spatial import Delaunay, cKDTree

import linkage
from linkage.clearances import scene_of
from linkage.clearances.scene import Scene
from linkage.geometry import outside_balls, prism, sphere, tube
from linkage.model.file import parse_model
from linkage.motion import System

# ------------------------------------------------------------------ what is left of one piece


def strewn(piece, rng, count):
    """Points in a piece, its rim among them: balls, tubes by radius, prisms by their corners."""
    if len(piece.points) <= 2:
        share = rng.uniform(0, 1, (count, 1))
        way = rng.normal(size=(count, 3))
        way /= np.linalg.norm(way, axis=1, keepdims=True)
        far = np.where(rng.random(count) < 0.5, 1.0, rng.random(count))[:, None]
        return (1 - share) * piece.points[0] + share * piece.points[-1] + way * far * piece.radius
    weight = rng.dirichlet(np.full(len(piece.points), 0.4), count)
    return weight @ piece.points


def holds(piece, points, grown=1e-7):
    """Whether points lie in a piece, by a tube's distance or SciPy's triangulated hull."""
    if len(piece.points) <= 2:
        a, way = piece.points[0], piece.points[-1] - piece.points[0]
        size = way @ way
        share = np.clip((points - a) @ way / size, 0, 1) if size else np.zeros(len(points))
        off = np.linalg.norm(points - a - share[:, None] * way, axis=1)
        return off <= piece.radius + grown
    middle = piece.points.mean(axis=0)
    return Delaunay(middle + (piece.points - middle) * (1 + grown)).find_simplex(points) >= 0


def random_piece(rng):
    kind = rng.integers(4)
    spot, way = rng.uniform(-40, 40, 3), rng.normal(size=3)
    way /= np.linalg.norm(way)
    if kind == 0:
        return sphere(spot, rng.uniform(1, 15))
    if kind == 1:
        return tube(spot, spot + way * rng.choice([0.0, 5.0, 60.0, 120.0]), rng.uniform(2, 15))
    if kind == 2:
        low, size = rng.uniform(-40, 10, 3), rng.uniform(2, 60, 3)
        corners = [low, low + [size[0], 0, 0], low + [size[0], size[1], 0], low + [0, size[1], 0]]
        return prism(corners, [0, 0, size[2]])
    u = np.cross(way, [0.3, 0.5, 0.8])
    u /= np.linalg.norm(u)
    turn = np.sort(rng.uniform(0, 2 * np.pi, rng.integers(3, 9)))
    if np.diff(turn, append=turn[0] + 2 * np.pi).min() < 0.05:
        return random_piece(rng)
    ring = spot + rng.uniform(5, 50) * (np.outer(np.cos(turn), u)
                                        + np.outer(np.sin(turn), np.cross(way, u)))
    return prism(ring, way * rng.uniform(1, 30))


@pytest.mark.parametrize("seed", range(60))
def test_all_that_is_outside_the_balls_is_kept_and_little_more(seed):
    rng = np.random.default_rng(seed)
    piece = random_piece(rng)
    balls = [(rng.uniform(-30, 30, 3), rng.uniform(3, 45)) for _ in range(rng.integers(1, 4))]
    kept = outside_balls(piece, balls, 4.0)
    points = strewn(piece, rng, 4000)
    inside = np.any([np.linalg.norm(points - c, axis=1) < r for c, r in balls], axis=0)
    held = np.any([holds(k, points) for k in kept], axis=0) if kept else np.zeros(len(points), bool)
    assert held[~inside].all()
    # what is kept is of the piece, but for the sides of a cut tube's prism
    for k in kept:
        extra = piece.radius * (1 / np.cos(np.pi / 16) - 1)
        if len(piece.points) <= 2:
            grown = tube(piece.points[0], piece.points[-1], piece.radius + extra + 1e-6)
            assert holds(grown, k.points).all() or len(k.points) <= 2
        assert holds(piece, strewn(k, rng, 500), 1e-6 + extra).all()
    # what is kept lies at most the size of a part deep in the balls
    if kept and len(piece.points) > 2:
        for c, r in balls:
            for k in kept:
                if k is not piece:
                    assert np.linalg.norm(k.points - c, axis=1).max() > r - 1e-6


def test_a_part_wholly_within_a_ball_is_left_out_and_one_that_peeps_out_is_kept_whole():
    box = prism([[-3, -3, 0], [3, -3, 0], [3, 3, 0], [-3, 3, 0]], [0, 0, 6])
    reach = np.sqrt(9 + 9 + 36)
    assert outside_balls(box, [((0, 0, 0), reach + 1e-6)], 10.0) == ()
    assert outside_balls(box, [((0, 0, 0), reach - 1e-6)], 10.0) == (box,)
    assert outside_balls(sphere([1, 0, 0], 2.0), [((0, 0, 0), 3.001)], 4.0) == ()
    ball = sphere([1, 0, 0], 2.0)
    assert outside_balls(ball, [((0, 0, 0), 2.999)], 4.0) == (ball,)


# ------------------------------------------------------------------ the proof against brute force


def turned(axis, degrees):
    x, y, z = np.array(axis) / np.linalg.norm(axis)
    k, a = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]]), np.radians(degrees)
    return np.eye(3) + np.sin(a) * k + (1 - np.cos(a)) * (k @ k)


def random_run(rng):
    """A stick on a torque tube in bearings, a rod, a crank with plate and lug, its bracket."""
    x, arm, high = rng.uniform(150, 350), rng.uniform(50, 90), rng.uniform(0, 30)
    wide, low = rng.uniform(8, 20), rng.uniform(250, 295) - 300
    lean, thick = rng.uniform(-0.3, 0.3, 2), rng.uniform(3, 8)
    return f"""
length = "mm"
[input.pitch]
travel = [{rng.uniform(-14, -4)}, {rng.uniform(4, 14)}]
[input.roll]
travel = [{rng.uniform(-14, -4)}, {rng.uniform(4, 14)}]
[body.tube]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
bearings = [[0, -120, 0], [0, 120, 0]]
solid.tube = {{ kind = "tube", along = [[0, -140, 0], [0, 140, 0]], diameter = {2 * wide} }}
[body.stick]
on = "tube"
pivot = [0, 0, {high}]
axis = "fore-aft"
input = "roll"
points = {{ grip = [0, 0, 300], link = [4, 20, {-arm}] }}
solid.shaft = {{ kind = "tube", along = ["pivot", "grip"], diameter = 22 }}
solid.tail = {{ kind = "box", corner = [-4, -8, {-arm - 9}], opposite = [3, 24, {high - 5}] }}
[body.crank]
pivot = [{x}, 20, 0]
axis = [{lean[0]}, 1, {lean[1]}]
points = {{ in = [{x}, 26, {-arm}] }}
solid.lug = {{ kind = "box", corner = [{x + low}, 21, {-arm - 9}], opposite = [{x + 9}, 31, -20] }}
[body.crank.solid.plate]
kind = "plate"
thickness = {thick}
outline = [[-12, -10], [{arm + 12}, -9], [{arm + 10}, 11], [-14, 13]]
at = [{x}, 20, 0]
normal = [{lean[0]}, 1, {lean[1]}]
u = [0, {lean[1]}, -1]
[rod.drive]
ends = ["stick/link", "crank/in"]
diameter = {rng.uniform(8, 18)}
joint = {rng.uniform(12, 30)}
[airframe.solid]
bracket = {{ kind = "box", corner = [{x - 20}, -20, -15], opposite = [{x + 15}, 22, 12] }}
"block left" = {{ kind = "box", corner = [-25, -132, -50], opposite = [25, -108, 22] }}
[tolerance]
hardpoint = 0.4
rod = 0.3
"""


def clouds(system, rng, count=6000):
    """Points strewn in every true shape, at neutral; of a rod, shares of its way and offsets."""
    return {name: np.concatenate([strewn(p, rng, count) for p in scene_of(system).solid(name)
                                  .pieces]) for name in system.model.solids}


def posed(system, motion, name, points):
    """Points of a solid at the one position of a motion, by Rodrigues' formula."""
    part = name.split("/")[0]
    if part in system.model.rods:
        ends = system.model.rods[part].ends
        drawn = np.array([system.model.position(e) for e in ends])
        here = np.array([motion.point(e) for e in ends])
        old, new = np.diff(drawn, axis=0)[0], np.diff(here, axis=0)[0]
        swing = np.cross(old, new)
        size = np.linalg.norm(swing)
        turn = turned(swing, np.degrees(np.arctan2(size, old @ new))) if size > 1e-12 else np.eye(3)
        return here[0] + (points - drawn[0]) @ turn.T
    while part != "airframe":
        body = system.model.bodies[part]
        centre = np.array(body.centre)
        points = centre + (points - centre) @ turned(body.direction, float(motion.angle(part))).T
        part = body.on
    return points


def joints_of(system, one, two):
    """Centre of each joint that two parts share, and the radius about it, written out again."""
    model, rods = system.model, system.model.rods
    if two in rods:
        one, two = two, one
    if one in rods:
        return [(np.array(model.position(e)), rods[one].joint) for e in rods[one].ends
                if e.split("/")[0] == two]
    for child, parent in ((one, two), (two, one)):
        if child != "airframe" and model.bodies[child].on == parent:
            body = model.bodies[child]
            radius = model.bodies["tube"].solids["tube"].diameter / 2 + 12.7
            thick = radius if child == "tube" or body.centre[2] <= radius - 12.7 else 0.0
            if child == "stick":
                thick = max(thick, 11 + 12.7)
            return [(np.array(p), max(25.4, thick)) for p in (body.centre, *(body.bearings or ()))]
    return []


@pytest.mark.parametrize("seed", range(6))
def test_true_shapes_less_the_balls_never_come_nearer_than_proven(seed):
    """Points of the true shapes outside the balls, at positions all over the travel."""
    rng = np.random.default_rng(seed + 50)
    system = System(parse_model(random_run(rng)))
    scene, table = scene_of(system), linkage.clearance(system).set_index("pair")
    bodies, names = clouds(system, rng), list(system.inputs)
    travel = np.array([system.inputs[n].travel for n in names])
    places = np.concatenate([rng.uniform(*travel.T, (25, 2)),
                             [[a, b] for a in travel[0] for b in travel[1]]])
    looked = 0
    for pair in scene.pairs.values():
        one, two = pair.first, pair.second
        parts = one.split("/")[0], two.split("/")[0]
        balls = joints_of(system, *parts) if pair.joined else []
        if pair.joined:
            assert balls, pair.name
        left = [bodies[n][np.all([np.linalg.norm(bodies[n] - c, axis=1) > r for c, r in balls],
                                 axis=0)] if balls else bodies[n] for n in (one, two)]
        if pair.name not in table.index or not all(map(len, left)):
            continue
        for place in places:
            motion = system.sweep(**dict(zip(names, place, strict=True)))
            first, second = (posed(system, motion, n, p) for n, p in zip((one, two), left,
                                                                         strict=True))
            near = cKDTree(first).query(second)[0].min()
            assert near >= table.loc[pair.name, "proven"] - 1e-6, (pair.name, place)
        looked += pair.joined
    assert looked >= 4


@pytest.mark.parametrize("seed", range(6))
def test_as_built_nothing_left_out_is_outside_the_ball_of_any_build(seed):
    """The joint off by its tolerance, the solid grown by it: what is left out is in the ball."""
    rng = np.random.default_rng(seed)
    text = random_run(rng)
    model = parse_model(text)
    system, off = System(model), model.tolerance.hardpoint
    drawn, built = Scene(system), Scene(system, model.tolerance)
    fewer = 0
    for pair in built.pairs.values():
        for name in (pair.first, pair.second):
            kept = built.solid_of(pair, name)
            if kept is built.solid(name) or kept.ends is not None:
                continue
            points = np.concatenate([strewn(p, rng, 3000) for p in built.solid(name).pieces])
            lost = points[~np.any([holds(k, points) for k in kept.pieces], axis=0)]
            for _ in range(20):
                move = rng.choice([-off, off], 3)
                grown = lost + off * np.array([0.0, *rng.choice([-1, 1], 1), 0.0])
                inside = [np.linalg.norm(grown - ball.centre - move, axis=1) <= ball.radius
                          for ball in drawn.balls(drawn.pairs[pair.name])]
                assert np.any(inside, axis=0).all()
            fewer += 1
    assert fewer
    plain = {(i.name, i.ball.joint): i.ball.radius for i in drawn.left_out}
    for item in built.left_out:
        assert item.ball.radius == pytest.approx(plain[item.name, item.ball.joint]
                                                 - (np.sqrt(3) + 1) * off)
