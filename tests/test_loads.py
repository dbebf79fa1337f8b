"""Loads against published columns, worked examples, closed forms and a free-body solve of its own.

Handbook values (source beside each) were read in stored copies unless "from memory" is said.
"""

import math

import numpy as np
import pytest
from systems.load_models import EXAMPLES, system_of
from systems.random_solids import positions, random_system

import linkage
from linkage import loads
from linkage.loads import Push, Statics
from linkage.model import Body, Input, Model, Point, Rod
from linkage.motion import System, hinge_sign

# --- virtual work -------------------------------------------------------------------------------

def test_toggle_joint():
    """Engineering ToolBox, "Toggle Joint": P = F a / (2 h), 883 N, a 1983, h 258 mm: 3393 N."""
    a, h = 1983.0, 258.0
    bodies = {"knee": Body(slide="vertical", pivot=(0, 0, h), points={"p": Point(at=(0, 0, h))},
                           input="push"),
              "left": Body(slide="lateral", pivot=(0, -a, 0), points={"p": Point(at=(0, -a, 0))}),
              "right": Body(slide="lateral", pivot=(0, a, 0), points={"p": Point(at=(0, a, 0))})}
    rods = {f"arm {side}": Rod(ends=("knee/p", f"{side}/p")) for side in ("left", "right")}
    system = System(Model(length="mm", inputs={"push": Input(travel=(-50, 50), in_mm=True)},
                          bodies=bodies, rods=rods))
    still = np.zeros((1, 3))
    out = tuple(Push(side, np.array([[0, sense * a, 0]]), np.array([[0, -sense, 0]]), still)
                for side, sense in (("left", -1.0), ("right", 1.0)))
    statics = Statics(system.sweep(push=0), {"out": out})
    keys = list(statics.loads)
    work = statics.hold["push"][0]
    force = -883.0 * work[keys.index(("grip", "knee/pivot", "push"))] \
        / work[keys.index(("stop", "out"))]
    assert abs(force) == pytest.approx(3393, abs=0.5)
    tension = statics.inner_forces[0, keys.index(("stop", "out"))] * force
    assert np.abs(tension) == pytest.approx(883 / 2 / h * math.hypot(a, h), rel=1e-12)


def test_stick_force_gearing_example():
    """F = G He, G = 0.1 / (0.215 m x 0.5): 23.2558 N for 25 N m (formula reference pages)."""
    system = system_of("""
        [input.pitch]
        travel = [-30, 30]
        [body.stick]
        pivot = [0, 0, 0]
        axis = "lateral"
        input = "pitch"
        points = { grip = [0, 0, 215] }
        [body.elevator]
        pivot = [900, 0, 0]
        axis = "lateral"
        [coupling.cable]
        bodies = ["stick", "elevator"]
        ratio = 0.2
        [surface.elevator]
        body = "elevator"
        """)
    motion = system.sweep(pitch=[0, math.degrees(0.5)])
    force = loads.grip_force(motion, {"elevator": -25e3}, "pitch")
    assert force == pytest.approx(23.2558, abs=5e-5)
    back = loads.hinge_of_grip_force(motion, force, "pitch", "elevator")
    assert back == pytest.approx(-25e3, rel=1e-12)


def ailerons(upfloat, stiff=100.0, rake=30.0, span=4e5):
    """Two long-rod stages, mirror images in the plane x = 0; stiff in N mm per degree.

    Trailing edge up is the sense in which each turns further: its deflection for "other".
    """
    arm = [40 * math.sin(math.radians(rake)), 40 * math.cos(math.radians(rake))]
    parts = []
    for name, x, sense in (("one", span, 1), ("other", -span, -1)):
        parts.append(f"""
            [body.{name}]
            pivot = [{x}, 0, {arm[1] - 40}]
            axis = "lateral"
            points = {{ horn = [{x}, 0, {arm[1]}] }}
            [rod."to {name}"]
            ends = ["stick/{name}", "{name}/horn"]
            [surface.{name}]
            body = "{name}"
            hinge = {{ at = "test", neutral = "{sense * -stiff * upfloat} N*mm",
                       slope = "{-stiff} N*mm" }}""".replace("\n                       ", " "))
    return system_of(f"""
        [input.turn]
        travel = [-30, 30]
        [body.stick]
        pivot = [0, 0, 0]
        axis = "lateral"
        input = "turn"
        [body.stick.points]
        grip = [0, 0, 500]
        one = [{arm[0]}, 0, {arm[1]}]
        other = [{-arm[0]}, 0, {arm[1]}]
        {"".join(parts)}""")


def test_aileron_stick_moment():
    """M = K [2 (g² - f k) t + k² t³], by virtual work on paper (no publication).

    Long rods: g = (R_b / R_h) cos beta, k = (R_b / R_h) sin beta, arms 40 and 40, raked 30.
    """
    g, k = math.cos(math.radians(30)), math.sin(math.radians(30))
    stiff = 100.0 * 180 / math.pi  # N mm per radian
    t = 0.1
    slopes = {}
    for share in (0.0, 0.5, 1.0, 1.5):
        upfloat = share * g**2 / k
        system = ailerons(math.degrees(upfloat))
        force = loads.stick_force(system.sweep(turn=[-t, t]), "turn")
        slopes[share] = (force[1] - force[0]) * 500 / math.radians(2 * t)
        wanted = 2 * stiff * (g**2 - upfloat * k)
        assert slopes[share] == pytest.approx(wanted, abs=2e-4 * slopes[0.0]), share
    assert slopes[1.5] < 0 < slopes[0.5]
    assert abs(slopes[1.0]) < 1e-3 * slopes[0.0]


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_virtual_work_in_every_system(path):
    """The free bodies' work per input equals load x exact derivative of where it acts, to 1e-9."""
    system = linkage.load(path)
    rng = np.random.default_rng(7)
    motion = system.sweep(**{n: rng.uniform(*c.travel, 200) for n, c in system.inputs.items()})
    statics = Statics(motion)
    assert np.isfinite(statics.inner_forces).all()
    for k, key in enumerate(statics.loads):
        for name in statics.drives:
            found = statics.hold[name][:, k]
            if key[0] == "hinge":
                wanted = motion.gearing(key[1])[name]
                wanted = np.radians(wanted) if system.inputs[name].unit == "mm" else wanted
            elif key[0] == "grip":
                push = statics.loads[key][0]
                wanted = np.sum(push.force * loads.grip_rate(motion, key[1], name), -1)
            elif key[0] == "servo":  # its arm's own turn, by differences
                arm, step = system.model.servos[key[1]].body, 1e-4
                moved = [system.sweep(**motion.inputs | {
                    name: motion.inputs[name] + way}).angle(arm) for way in (step, -step)]
                wanted = np.subtract(*moved) / (2 * step)
                assert np.abs(found - wanted).max() < 1e-6, (key, name)
                continue
            else:
                wanted = np.full(200, float(key[1] == name))
            scale = max(1.0, np.abs(wanted).max())
            assert np.abs(found - wanted).max() < 1e-9 * scale, (key, name)
    for case in loads.cases(system):
        share = loads.shares(statics, case)
        assert np.isfinite(share).all()
        for body, (_, arms) in statics.arms.items():
            each = np.einsum("ne,nem->nm", share, arms)
            assert np.abs(each.sum(-1)).max() <= 1e-9 * max(1.0, np.abs(each).max()), (case, body)


@pytest.mark.parametrize("seed", range(40))
def test_virtual_work_in_random_systems(seed):
    """Slides, couplings, bodies on bodies: a push does the work of its point's exact rate."""
    system = random_system(seed)
    rng = np.random.default_rng(seed)
    motion = system.sweep(**positions(system, rng, 8))
    pushes, rates = {}, {}
    for body in system.model.bodies:
        force = np.broadcast_to(rng.normal(size=3), (8, 3))
        pushes[body] = (Push(body, motion.point(f"{body}/p"), force, np.zeros((8, 3))),)
        rates[body] = {n: np.sum(force * loads.grip_rate(motion, f"{body}/p", n), axis=-1)
                       for n in system.inputs}
    statics = Statics(motion, pushes)
    good = np.isfinite(statics.inner_forces).all(axis=(1, 2))
    assert (good == motion.reachable).all()
    for k, key in enumerate(statics.loads):
        for name in statics.drives:
            if key[0] == "stop":
                found, wanted = statics.hold[name][good, k], rates[key[1]][name][good]
                assert np.abs(found - wanted).max() < 1e-9 * max(1.0, np.abs(wanted).max())


def test_rods_solved_together_share_a_load():
    """Two rods hold a horn that rides on a crank; by virtual work again (exact rates)."""
    system = system_of("""
        [input.pitch]
        travel = [-10, 10]
        [body.stick]
        pivot = [0, 0, 0]
        axis = "lateral"
        input = "pitch"
        points = { grip = [0, 0, 400], one = [0, 20, -60], two = [0, -20, 60] }
        [body.crank]
        pivot = [300, 0, 0]
        axis = [0, 1, 0.2]
        [body.horn]
        on = "crank"
        pivot = [320, 0, 40]
        axis = "lateral"
        points = { r = [330, 10, 90], s = [330, -30, -80] }
        [rod.a]
        ends = ["stick/one", "horn/r"]
        [rod.b]
        ends = ["stick/two", "horn/s"]
        [surface.elevator]
        body = "horn"
        """)
    assert any(len(getattr(step, "rods", ())) == 2 for step in system.plan.steps)
    motion = system.sweep(pitch=[-5, 0, 5])
    statics = Statics(motion)
    k = list(statics.loads).index(("hinge", "elevator"))
    work = sum(motion.body_gearing(body)["pitch"]
               * np.einsum("ni,ni->n", statics.axes[body], statics.axes["horn"])
               for body in ("crank", "horn"))  # the air's moment turns with both
    assert statics.hold["pitch"][:, k] == pytest.approx(work, rel=1e-9)


# --- a free-body solve of its own ---------------------------------------------------------------

def turned(axis, angle):
    """Rodrigues' formula."""
    x, y, z = axis
    k = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    return np.eye(3) + np.sin(angle) * k + (1 - np.cos(angle)) * (k @ k)


def axis_of(motion, body):
    bodies = motion.system.model.bodies
    u, below = np.array(bodies[body].direction), bodies[body].on
    while below != "airframe":
        u = turned(bodies[below].direction, np.radians(motion.angle(below))) @ u
        below = bodies[below].on
    return u


def free_bodies(system, at, hinge, hands):
    """Six balances a body and no moment about each joint, in one dense solve.

    Unknown are each body's pivot force and moment, each rod's tension and each hand's force.

    Returns
    -------
    (dict of rod tensions, dict of pivot (force, moment), dict of hand forces)
    """
    model, motion = system.model, system.sweep(**at)
    bodies, rods, inputs = list(model.bodies), list(model.rods), list(hands)
    row = {b: 6 * i for i, b in enumerate(bodies)}
    size = 7 * len(bodies)
    matrix, right = np.zeros((size, size)), np.zeros(size)
    centre = {b: motion.point(f"{b}/pivot") for b in bodies}
    axis = {b: axis_of(motion, b) for b in bodies}

    def add(body, column, force, moment, point):
        if body != "airframe":
            matrix[row[body]:row[body] + 3, column] += force
            matrix[row[body] + 3:row[body] + 6, column] += moment + np.cross(
                point - centre[body], force)

    for i, b in enumerate(bodies):
        for k, e in enumerate(np.eye(3)):
            add(b, 6 * i + k, e, np.zeros(3), centre[b])
            add(model.bodies[b].on, 6 * i + k, -e, np.zeros(3), centre[b])
            add(b, 6 * i + 3 + k, np.zeros(3), e, centre[b])
            add(model.bodies[b].on, 6 * i + 3 + k, np.zeros(3), -e, centre[b])
        matrix[6 * len(bodies) + i, 6 * i + 3:6 * i + 6] = axis[b]
    for j, rod in enumerate(rods):
        p, q = (motion.point(end) for end in model.rods[rod].ends)
        for end, point, way in zip(model.rods[rod].ends, (p, q), (q - p, p - q), strict=True):
            add(end.split("/")[0], 6 * len(bodies) + j, way / np.linalg.norm(way), np.zeros(3),
                point)
    for j, name in enumerate(inputs):
        grip, joint = hands[name]
        p = motion.point(grip)
        way = np.cross(axis[joint], p - centre[joint])
        sense = np.sign(way[0 if name == "pitch" else 1])  # aft, right
        add(grip.split("/")[0], 6 * len(bodies) + len(rods) + j,
            sense * way / np.linalg.norm(way), np.zeros(3), p)
    for surface, moment in hinge.items():
        body = model.surfaces[surface].body
        right[row[body] + 3:row[body] + 6] -= moment * hinge_sign(model.bodies[body]) * axis[body]
    scale = np.abs(matrix).max(axis=1)
    found = np.linalg.solve(matrix / scale[:, None], right / scale)
    start = 6 * len(bodies)
    return ({r: found[start + j] for j, r in enumerate(rods)},
            {b: (found[6 * i:6 * i + 3], found[6 * i + 3:6 * i + 6])
             for i, b in enumerate(bodies)},
            {n: found[start + len(rods) + j] for j, n in enumerate(inputs)})

HANDS = {"side_by_side": {"pitch": ("stick left/grip", "cross tube"),
                          "roll": ("stick left/grip", "stick left")},
         "elevons": {"pitch": ("stick/grip", "pitch tube"), "roll": ("stick/grip", "stick")}}


@pytest.mark.parametrize("name", list(HANDS))
def test_against_free_bodies_in_numpy(name):
    """Tensions, pivot forces and moments, hands, within 1e-9 of a dense solve written here."""
    system = linkage.load(EXAMPLES[0].parent / f"{name}.toml")
    rng = np.random.default_rng(11)
    at = {n: rng.uniform(*c.travel, 12) for n, c in system.inputs.items()}
    moments = {s: float(m) for s, m in zip(system.model.surfaces, rng.uniform(-5e4, 5e4, 9),
                                           strict=False)}
    statics = Statics(system.sweep(**at))
    given = np.zeros((12, len(statics.loads)))
    for surface, moment in moments.items():
        given[:, list(statics.loads).index(("hinge", surface))] = moment
    share = loads.balanced(statics, given, [loads.hand(statics, n) for n in statics.drives])
    tension = np.einsum("ne,nec->nc", share, statics.inner_forces)
    for i in range(12):
        rods, pivots, hands = free_bodies(system, {n: x[i] for n, x in at.items()}, moments,
                                          HANDS[name])
        most = max(map(abs, rods.values()))
        for j, rod in enumerate(statics.rods):
            assert abs(tension[i, j] - rods[rod]) < 1e-9 * most
        top = max(np.abs(m).max() for _, m in pivots.values())
        for body, (force, moment) in statics.reactions.items():
            force, moment = (share[i] @ k[i] for k in (force, moment))
            assert np.abs(force - pivots[body][0]).max() < 1e-9 * most
            assert np.abs(moment - pivots[body][1]).max() < 1e-9 * top
        for input_name, force in hands.items():
            key = "grip", HANDS[name][input_name][0], input_name
            assert abs(share[i, list(statics.loads).index(key)] - force) < 1e-9 * most
