"""Loads against published columns, worked examples, closed forms and a free-body solve of its own.

Handbook values (source beside each) were read in stored copies unless "from memory" is said.
"""

import importlib.util
import math
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import brentq

import linkage
from linkage import loads
from linkage.loads import Case, Push, Statics
from linkage.model import HANDBOOK, Body, Input, Material, Model, Point, Rod
from linkage.model.file import parse_model
from linkage.motion import System, hinge_sign
from linkage.units import LBF

_spec = importlib.util.spec_from_file_location("systems", Path(__file__).with_name("systems.py"))
_systems = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_systems)
random_system, positions = _systems.random_system, _systems.positions

EXAMPLES = sorted([*(Path(__file__).parents[1] / "examples").glob("*.toml"),
                   *(Path(linkage.__file__).parent / "starters").glob("*.toml")])
IN = 25.4
KSI = 1000 * LBF / IN**2


def material(modulus, yield_stress=1e9):
    return Material(modulus=modulus, yield_stress=yield_stress, source="test")


def system_of(text):
    return System(parse_model(f'length = "mm"\n{text}'))


STAGE = """
[input.pitch]
travel = [-20, 20]
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = {{ grip = [0, 0, 400], arm = [0, 0, -60] }}
{stick}
[body.horn]
pivot = [900, 0, 0]
axis = "lateral"
points = {{ p = [900, 0, -60] }}
{horn}
[rod.push]
ends = ["stick/arm", "horn/p"]
{rod}
[surface.elevator]
body = "horn"
{surface}
"""


def stage(stick="", horn="", rod="", surface=""):
    """A parallelogram: stick arm and horn 60 mm, grip at 400 mm."""
    return system_of(STAGE.format(stick=stick, horn=horn, rod=rod, surface=surface))


# --- columns ------------------------------------------------------------------------------------

@pytest.mark.parametrize(("fixity", "printed"), [(1, 62.2), (0.25, 15.6), (2.046, 127), (4, 249)])
def test_steel_pipe_column(fixity, printed):
    """Gere, Mechanics of Materials, 7th ed., problem 11.4-2 (printed to 3 figures), kN."""
    assert loads.tube_inertia(40.0, 2.0) == pytest.approx(43.22e3, rel=1e-3)
    found = loads.column_load(1200.0, 40.0, 2.0, material(210e3), fixity) / 1000
    assert found == pytest.approx(printed, rel=5e-3)


def test_wall_of_an_aluminium_strut():
    """Gere, 7th ed., problem 11.3-15: 2 in tube, 6 ft, 4 kip with a factor of 2: 0.165 in."""
    def spare(wall):
        return float(loads.column_load(72 * IN, 2 * IN, wall * IN, material(10_400 * KSI))
                     - 8000 * LBF)

    wall = brentq(spare, 0.01, 0.9)
    assert wall == pytest.approx(0.165, abs=5e-4)
    assert loads.tube_inertia(2 * IN, wall * IN) / IN**4 == pytest.approx(0.404, abs=5e-4)


@pytest.mark.parametrize(("length", "strength", "printed"), [
    (25, 48, 1.096), (50, 48, 1.507), (25, 150, 1.0657)])
def test_round_rods_as_columns(length, strength, printed):
    """Machine-design problem 334 (attributed to Faires, from memory): Johnson, Euler, Euler."""
    def spare(d):
        steel = material(30e3 * KSI, strength * KSI)
        return float(loads.column_load(length * IN, d * IN, d * IN / 2, steel) - 30e3 * LBF)

    assert brentq(spare, 0.3, 4) == pytest.approx(printed, abs=6e-4)


def test_limit_slenderness():
    """Problem 334(c): 62.83 for 150 ksi, E 30e6 psi; both formulas give half the yield there."""
    limit = math.sqrt(2 * math.pi**2 * 30e3 / 150)
    assert limit == pytest.approx(62.83, abs=5e-3)
    near = loads.column_stress([limit * (1 - 1e-9), limit * (1 + 1e-9)], 30e3 * KSI, 150 * KSI)
    assert near == pytest.approx(75 * KSI, rel=1e-7)


@pytest.mark.parametrize(("top", "parabola", "euler", "turn"), [
    (36.0, 1.172, 276e6, 122), (113.0, 11.15, 286e6, 73), (145.0, 18.36, 286e6, 63),
    (179.0, 27.95, 286e6, 56)])
def test_bruhns_steel_tubes(top, parabola, euler, turn):
    """Bruhn, Analysis and Design of Flight Vehicle Structures, table of chapter C4 (after ANC-5).

    The rows with a parabola; psi.  1025 with 276e6, as its own transition says.
    """
    x = np.linspace(5, turn, 30)
    found = loads.column_stress(x, euler / math.pi**2 * KSI / 1000, top * KSI) / KSI * 1000
    assert found == pytest.approx(top * 1000 - parabola * x**2, rel=4e-3)
    long = np.linspace(turn * 1.03, 150, 10)
    found = loads.column_stress(long, euler / math.pi**2 * KSI / 1000, top * KSI) / KSI * 1000
    assert found == pytest.approx(euler / long**2, rel=1e-12)


def test_handbook_material():
    """4130 normalized: E 29.0e6 psi, Fty 75, Ftu 95 ksi (Bruhn, table of chapter C4)."""
    steel = HANDBOOK["4130 normalized"]
    assert steel.modulus == pytest.approx(29.0e6 * KSI / 1000)
    assert (steel.yield_stress, steel.ultimate) == pytest.approx((75 * KSI, 95 * KSI))
    assert all("memory" in part.source for name, part in HANDBOOK.items() if name[0] != "4")


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


# --- load cases ---------------------------------------------------------------------------------

def test_limit_pilot_forces():
    """14 CFR 23.397(b), 1-1-14 edition: stick 167/100 lb in pitch, 67/40 lb in roll (in N)."""
    system = linkage.load(EXAMPLES[0].parent / "elevons.toml")
    pitch, roll = (loads.pilot_force(system, n) for n in ("pitch", "roll"))
    assert (pitch.most, pitch.least) == pytest.approx((742.9, 444.8), abs=0.06)
    assert (roll.most, roll.least) == pytest.approx((298.0, 177.9), abs=0.06)


def test_two_pilots_opposed_load_the_tie_between_them(side_by_side):
    """0.75 x 67 lb at each grip, opposed: tie tension = force x grip arm / tie arm, on paper."""
    case = next(c for c in loads.cases(side_by_side)
                if c.name == "roll right at stick left, two pilots opposed")
    assert [f for _, f in case.forces] == pytest.approx([0.75 * 67 * LBF, -0.75 * 67 * LBF])
    statics = Statics(side_by_side.sweep(pitch=0.0, roll=0.0))
    axial = loads.carried(statics, loads.shares(statics, case))
    grip, pivot, tie = (np.array(side_by_side.model.position(f"stick left/{p}"))
                        for p in ("grip", "pivot", "tie"))
    wanted = 0.75 * 67 * LBF * (grip - pivot)[2] / (pivot - tie)[2]
    assert axial["axial", "stick tie"][0] == pytest.approx(wanted, rel=1e-9)
    assert abs(axial["axial", "roll aft"][0]) < 1e-6


def test_two_pilots_together_carry_half_as_much_again(side_by_side):
    """Two at 0.75 each are 1.5 times one: on a rod that both sticks load alike."""
    named = {c.name: c for c in loads.cases(side_by_side)}
    statics = Statics(side_by_side.sweep(pitch=[-13, 0, 17]))
    one, both = (loads.carried(statics, loads.shares(statics, named[f"pitch aft, {who}"]))
                 ["axial", "elevator front"] for who in ("one pilot at stick left",
                                                         "two pilots together"))
    assert both == pytest.approx(1.5 * one, rel=1e-9)


def test_jammed_surface_takes_the_whole_force(side_by_side):
    statics = Statics(side_by_side.sweep(roll=[-10, 0, 15]))
    case = next(c for c in loads.cases(side_by_side) if "roll right" in c.name
                and "stick left, aileron left jammed" in c.name)
    share = loads.shares(statics, case)
    keys = list(statics.loads)
    assert share[:, keys.index(("grip", "stick left/grip", "roll"))] == pytest.approx(67 * LBF)
    gearing = statics.motion.gearing("aileron left")
    moment = share[:, keys.index(("hinge", "aileron left"))]
    for name in ("pitch", "roll"):  # the hand's two forces and the one surface do no work at all
        rate = loads.grip_rate(statics.motion, "stick left/grip", name)
        hand = sum(share[:, k] * np.sum(statics.loads[key][0].force * rate, axis=-1)
                   for k, key in enumerate(keys) if key[:2] == ("grip", "stick left/grip"))
        assert hand + moment * gearing[name] == pytest.approx(0, abs=1e-9 * np.abs(moment).max())
    assert (share[:, keys.index(("hinge", "aileron right"))] == 0).all()
    found = loads.carried(statics, share)
    assert np.abs(found["axial", "aileron drive right"]).max() < 1e-6


def test_a_case_that_asks_too_much_of_the_hand_is_told():
    """With one elevon jammed the hand has to hold roll too; the sheet says with how much."""
    system = linkage.load(EXAMPLES[0].parent / "elevons.toml")
    beyond = loads.worst_loads(system).attrs["beyond"]
    for (name, held), force in beyond.items():
        assert "jammed" in name
        assert force > loads.pilot_force(system, held).most
    assert ("pitch aft, one pilot at stick, elevon left jammed", "roll") in beyond
    assert not any(held == "pitch" and "jammed" not in name for name, held in beyond)


STOPPED = """
[input.pitch]
travel = [-20, 20]
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = { grip = [0, 0, 400], low = [0, 0, 100] }
solid.ball = { kind = "sphere", at = "low", diameter = 10 }
[airframe]
solid.block = { kind = "box", corner = [20, -50, 50], opposite = [40, 50, 150] }
[stop.aft]
input = "pitch"
side = "greatest"
between = ["stick/ball", "airframe/block"]
"""


def test_stop_takes_the_pilots_force():
    """Moments about the pivot on paper: N x arm of the contact = F x arm of the grip."""
    statics = loads.at_stop(system_of(STOPPED), "aft")
    case = loads.cases(statics.system, "aft")[0]
    angle = math.asin(0.15)  # the ball's middle goes 15 mm aft on a radius of 100 mm
    assert math.radians(float(statics.motion.inputs["pitch"][0])) == pytest.approx(angle, abs=1e-7)
    share = loads.shares(statics, case)[0]
    normal = 167 * LBF * 400 / (100 * math.cos(angle))
    assert share[list(statics.loads).index(("stop", "aft"))] == pytest.approx(normal, rel=1e-6)
    force, _ = (share @ k[0] for k in statics.reactions["stick"])
    pilot = 167 * LBF * np.array([math.cos(angle), 0, -math.sin(angle)])
    assert force == pytest.approx(-(pilot - [normal, 0, 0]), abs=1e-3)


def test_worst_positions_are_not_passed_on_a_finer_grid(side_by_side):
    """No stick position of a fine grid loads a rod more than the worst that is told."""
    worst = loads.worst_loads(side_by_side)
    pitch, roll = np.meshgrid(np.linspace(-13, 17, 41), np.linspace(-21, 21, 41))
    statics = Statics(side_by_side.sweep(pitch=pitch, roll=roll))
    told = {(r["part"], r["what"]): r["value"] for r in worst.to_dict("records")}
    for case in loads.cases(side_by_side):
        for (what, part), values in loads.carried(statics, loads.shares(statics, case)).items():
            for word, sense in (("tension", 1), ("compression", -1)) if what == "axial" else \
                    ((what, 1),):
                most = float((sense * values).max())
                assert most <= told.get((part, word), 0.0) * (1 + 1e-4) + 1e-5, (case.name, part)


# --- nothing wrong is told ------------------------------------------------------------------------

def test_out_of_reach_is_nan_and_said():
    """A stick arm three times the horn: beyond the reach of the rod nothing is told."""
    system = system_of("""
        [input.pitch]
        travel = [-30, 30]
        [body.stick]
        pivot = [0, 0, 0]
        axis = "lateral"
        input = "pitch"
        points = { grip = [0, 0, 400], arm = [0, 0, -180] }
        [body.horn]
        pivot = [900, 0, -120]
        axis = "lateral"
        points = { p = [900, 0, -180] }
        [rod.push]
        ends = ["stick/arm", "horn/p"]
        [surface.elevator]
        body = "horn"
        """)
    motion = system.sweep(pitch=np.linspace(-30, 30, 61))
    statics = Statics(motion)
    for case in loads.cases(system):
        found = loads.carried(statics, loads.shares(statics, case))["axial", "push"]
        assert (np.isfinite(found) == motion.reachable).all()
    force = loads.grip_force(motion, {"elevator": 1000.0}, "pitch")
    assert (np.isfinite(force) == motion.reachable).all()
    partly = loads.worst_loads(system).attrs["partly"]
    assert set(partly) == {c.name for c in loads.cases(system)}
    from linkage.results import Results

    assert "case not held in" in str(Results(system).chapter("loads"))


def test_where_the_surface_stands_still_no_pilot_force_is_held():
    """An input arm in line with its rod moves the horn not at all, so the horn can't hold it."""
    system = system_of("""
        [input.pitch]
        travel = [-100, 100]
        [body.stick]
        pivot = [0, 0, 0]
        axis = "lateral"
        input = "pitch"
        points = { grip = [0, 0, 400], arm = [0, 0, -60] }
        [body.horn]
        pivot = [900, 0, 0]
        axis = "lateral"
        points = { p = [900, 0, -100] }
        [rod.push]
        ends = ["stick/arm", "horn/p"]
        [surface.elevator]
        body = "horn"
        """)

    def gearing(x):
        return float(system.sweep(pitch=x).gearing("elevator")["pitch"])

    still = brentq(gearing, 60, 100, xtol=1e-13)
    statics = Statics(system.sweep(pitch=[still, 0.0]))
    share = loads.shares(statics, loads.cases(system)[0])
    assert np.isnan(share[0]).all()
    assert np.isfinite(share[1]).all()
    assert np.isnan(loads.hinge_of_grip_force(statics.motion, 1.0, "pitch", "elevator")[0])


def test_dead_centre_is_nan_not_a_number():
    """At the end of a rod's reach the horn stands at dead centre: NaN a hair before it."""
    system = stage()
    statics = Statics(system.sweep(pitch=0.0))
    assert np.isfinite(statics.inner_forces).all()
    other = system_of(STAGE.format(stick="", horn="", rod="", surface="").replace(
        "arm = [0, 0, -60]", "arm = [0, 0, -120]"))
    edge = brentq(lambda x: float(other.sweep(pitch=x).reachable) - 0.5, 0, 89, xtol=1e-14)
    x = edge - np.array([1e-13, 1.0])
    found = Statics(other.sweep(pitch=x)).inner_forces
    assert np.isnan(found[0]).all()
    assert np.isfinite(found[1]).all()


def test_report_of_a_file_without_a_load_says_so(tmp_path):
    from linkage.__main__ import main

    path = tmp_path / "bare.toml"
    text = STAGE.format(stick="", horn="", rod="", surface="").replace("grip = ", "knob = ")
    path.write_text(f'length = "mm"\n{text}')
    assert main([str(path), "--out", str(tmp_path / "report")]) == 0
    page = next((tmp_path / "report").glob("*.html")).read_text(encoding="utf-8")
    assert "no load is known" in page


def test_two_bearings_share_the_pivots_load():
    """A shaft as a beam on two supports, moments about either bearing, on paper.

    Grip at its middle, arm 500 mm to one side; bearings 100 mm to the other and 700 mm to this.
    """
    text = STAGE.format(stick="bearings = [[0, -100, 0], [0, 700, 0]]", horn="", rod="",
                        surface="").replace("arm = [0, 0, -60]", "arm = [0, 500, -60]").replace(
                            "p = [900, 0, -60]", "p = [900, 500, -60]")
    statics = Statics(system_of(text).sweep(pitch=0.0))
    case = loads.cases(statics.system)[0]
    found = loads.bearing_forces(statics, loads.shares(statics, case), "stick")
    pilot, rod = 167 * LBF, 167 * LBF * 400 / 60  # both push aft at neutral: x
    second = -(pilot * 100 + rod * 600) / 800
    assert found[1][0] == pytest.approx([second, 0, 0], abs=1e-8)
    assert found[0][0] == pytest.approx([-pilot - rod - second, 0, 0], abs=1e-8)


def test_no_load_known_is_one_sentence():
    system = system_of("""
        [input.pitch]
        travel = [-13, 17]
        [body.stick]
        pivot = [0, 0, 0]
        axis = "lateral"
        input = "pitch"
        """)
    with pytest.raises(linkage.LinkageError, match='no load is known: name a point "grip"'):
        loads.worst_loads(system)
    with pytest.raises(linkage.LinkageError, match="no grip is known"):
        loads.grip_force(system.sweep(pitch=0), {}, "pitch")


# --- lost motion and friction ---------------------------------------------------------------------

TUBED = 'diameter = 12\nwall = 1\nmaterial = "4130 normalized"'


def test_stretch_of_a_rod_on_paper():
    """Parallelogram at neutral: rod tension F 400/60, stretch N L / (E A), turn stretch / 60."""
    system = stage(rod=TUBED)
    row = loads.lost_motion_table(system).iloc[0]
    tension = 167 * LBF * 400 / 60
    area = math.pi / 4 * (12**2 - 10**2)
    stretch = tension * 900 / (HANDBOOK["4130 normalized"].modulus * area)
    assert row["neutral"] == pytest.approx(math.degrees(stretch / 60), rel=1e-9)
    assert (row["most_from"], row["share"]) == ("push", 1.0)


def test_lost_motion_of_what_is_not_known_is_not_told():
    """A rod without a wall isn't rigid: no figure, and the rod is named."""
    from linkage.results import Results

    row = loads.lost_motion_table(stage(rod="diameter = 12")).iloc[0]
    assert np.isnan(row["worst"])
    assert row["rigid"] == "push"
    assert list(Results(stage()).tables(["loads"])["Lost motion"]["taken as rigid"]) == ["push"]


def test_twist_of_a_torque_tube_on_paper():
    """Arms 500 mm apart on one shaft: twist T l / (G J), T = pilot's force x 400 mm."""
    system = stage(stick='tube = { diameter = 30, wall = 1.5, material = "2024-T3" }')
    text = STAGE.format(stick='tube = { diameter = 30, wall = 1.5, material = "2024-T3" }', horn="",
                        rod="", surface="")
    text = text.replace("arm = [0, 0, -60]", "arm = [0, 500, -60]").replace(
        "p = [900, 0, -60]", "p = [900, 500, -60]")
    system = system_of(text)
    inertia = math.pi / 32 * (30**4 - 27**4)
    twist = 167 * LBF * 400 * 500 / (HANDBOOK["2024-T3"].modulus / 2.6 * inertia)
    assert loads.lost_motion_table(system).iloc[0]["neutral"] == pytest.approx(
        math.degrees(twist), rel=1e-9)
    tube = loads.tube_margins(system).iloc[0]
    assert tube["moment"] == pytest.approx(167 * LBF * 400, rel=1e-9)
    assert tube["stress"] == pytest.approx(167 * LBF * 400 * 15 / inertia, rel=1e-9)


def test_lost_motion_against_rods_made_longer(side_by_side):
    """Unit-load sums against the motion solved again with every rod at its stretched length."""
    import dataclasses

    model = side_by_side.model
    bare = dataclasses.replace(model, bodies={
        n: dataclasses.replace(b, tube=None) for n, b in model.bodies.items()})
    system = System(bare)
    at = {"pitch": 6.0, "roll": -9.0}
    statics = Statics(system.sweep(**at))
    for case in loads.cases(system):
        if "one pilot at stick left" not in case.name or "jammed" in case.name:
            continue
        axial = loads.carried(statics, loads.shares(statics, case))
        part = 1e-3
        longer = System(dataclasses.replace(bare, rods={
            n: dataclasses.replace(r, length=bare.rod_length(n) + part * float(
                axial["axial", n][0]) * loads.rod_give(bare, n)) for n, r in bare.rods.items()}))
        for _, surface in case.against:
            moved = longer.sweep(**at).deflection(surface) - system.sweep(**at).deflection(surface)
            told = sum(float(v[0]) for v in loads.lost_motion(statics, case, surface).values())
            assert told == pytest.approx(float(moved) / part, rel=2e-3)


def test_friction_at_the_grip_on_paper():
    """Pivots: moment / arm each.  A parallelogram's rod only shifts: each end turns as its arm."""
    system = stage(stick='friction = "800 N*mm"', horn='friction = "400 N*mm"',
                   rod='friction = "100 N*mm"')
    found = loads.friction_force(system.sweep(pitch=[-20, 0, 20]), "pitch")
    assert found["stick"] == pytest.approx(2.0)
    assert found["horn"] == pytest.approx(1.0)
    assert found["push"] == pytest.approx(2 * 100 / 400)


# --- margins, sheet, command line -----------------------------------------------------------------

def test_margins_on_paper():
    """Joint: 40 kN / (load x factor) - 1, the greater of 1.5 x 1.15 and 3.33."""
    rod = TUBED + '\nstrength = "40 kN"\nfitting = 1.15\n'
    load = 167 * LBF * 400 / 60 / math.cos(math.radians(20))  # at the ends of the travel
    for more, factor in (("", 1.5 * 1.15), ("bearing = 3.33", 3.33)):
        row = loads.rod_margins(stage(rod=rod + more)).iloc[0]
        assert row["tension"] == pytest.approx(load, rel=1e-9)
        assert row["joint_factor"] == pytest.approx(factor)
        assert row["joint_margin"] == pytest.approx(40e3 / (load * factor) - 1)
        assert row["column_margin"] == pytest.approx(row["column"] / (1.5 * load) - 1)


def test_what_is_missing_is_said():
    from linkage.results import Results

    results = Results(stage(rod="diameter = 12"), only=("loads",))
    text = str(results.chapter())
    assert "no strength and no stretch: the file gives no wall, material" in text
    assert "no hinge moment: elevator" in text
    assert results.missed == 0


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_verb_prints_for_every_system(path, capsys, tmp_path):
    from linkage.__main__ import main

    picture = tmp_path / "rods.png"
    code = main(["loads", str(path), "--csv", str(tmp_path), "--picture", str(picture)])
    out, err = capsys.readouterr()
    assert (code, err) == (int("\nMISS  load: " in out), "")
    assert "Worst rod loads" in out
    assert "supports, and never replaces" in out
    assert picture.read_bytes().startswith(b"\x89PNG")
    assert (tmp_path / "rod_margins.csv").read_text().startswith("rod,tension")
    if "side_by_side" in path.stem:
        assert code == 0


def test_picture_of_no_kind_is_refused(capsys, tmp_path):
    from linkage.__main__ import main

    path = tmp_path / "rods.bmp"
    assert main(["loads", str(EXAMPLES[0]), "--picture", str(path)]) == 2
    assert "let its name end in .png, .svg, .pdf" in capsys.readouterr().err
    assert not path.exists()


def test_twins_carry_the_keys_of_loads(side_by_side):
    """What is written of the left run holds for the right one, signs of the moment as they are."""
    model = side_by_side.model
    assert model.surfaces["aileron right"].hinge == model.surfaces["aileron left"].hinge
    assert model.bodies["aileron right"].friction == model.bodies["aileron left"].friction > 0
    for key in ("wall", "material", "fixity", "strength", "fitting", "bearing"):
        one, other = (getattr(model.rods[f"aileron drive {side}"], key) for side in ("left",
                                                                                     "right"))
        assert one == other
    force = loads.stick_force(side_by_side.sweep(roll=[-15, 15]), "roll")
    assert force[0] < 0 < force[1]


def test_slender_and_thin_tubes_are_remarked_on():
    """L'/rho above 150, and diameter / wall of 50 or more (Bruhn, chapter C4)."""
    from linkage.results import Results

    text = str(Results(stage(rod='diameter = 12\nwall = 0.2\nmaterial = "6061-T6"')
                       ).chapter("loads"))
    assert "L'/rho above 150; diameter / wall 50 or more: local buckling isn't checked" in text


def test_csv_in_the_files_units(side_by_side):
    from linkage.results import Results

    data = Results(side_by_side).tables(["loads"])["Rod margins"].set_index("rod")
    wanted = loads.rod_margins(side_by_side)
    data = data.loc[wanted["rod"]]
    assert data["tension lbf"].to_numpy() * LBF == pytest.approx(wanted["tension"].to_numpy())
    assert data["length in"].to_numpy() * IN == pytest.approx(wanted["length"].to_numpy())


def test_hinge_moments_are_a_case_of_their_own():
    """1.25 x the given moment, rod force = moment / horn, on paper."""
    system = stage(surface='hinge = { at = "test", neutral = "1000 N*mm", slope = "-60 N*mm" }')
    case = loads.cases(system)[0]
    assert case == Case("hinge moments given, x 1.25", None)
    statics = Statics(system.sweep(pitch=[0.0, 10.0]))
    axial = loads.carried(statics, loads.shares(statics, case))["axial", "push"]
    moment = 1.25 * np.array([1000.0, 1000.0 - 600.0])
    assert np.abs(axial) == pytest.approx(moment / (60 * np.cos(np.radians([0, 10]))), rel=1e-9)
