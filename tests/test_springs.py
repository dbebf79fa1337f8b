"""Springs in a file, and their pull: published springs, their energy, MuJoCo, statics."""

import dataclasses
import math

import mujoco
import numpy as np
import pytest
from systems.load_models import EXAMPLES, IN, stage, system_of
from systems.spring_models import lever

import linkage
from linkage import loads
from linkage.errors import LinkageError
from linkage.loads import Statics
from linkage.model.file import format_model, parse_model
from linkage.motion import System
from linkage.units import LBF

SPRING_TRIM = EXAMPLES[0].parent / "spring_trim.toml"
ONE = '[spring.s]\nends = ["stick/hook", "airframe/below"]\n'
TORSION = '[spring.t]\npivot = "stick"\n'
SLIDE = """
[input.push]
travel = ["0 mm", "20 mm"]
[body.slider]
slide = [1, 0, 0]
input = "push"
points = { grip = [100, 0, 0] }
[airframe]
points = { wall = [0, 0, 0] }
"""

# --- published springs ----------------------------------------------------------------------------

def test_a_published_extension_spring():
    """Shigley, Mechanical Engineering Design, 8th ed., example 10-6, from memory.

    Wire 0.035 in, mean coil 0.213 in, 12.57 turns that count, G 11.6e6 psi: 17.91 lbf/in; from an
    initial tension of 1.19 lbf it is 0.227 in longer at 5.25 lbf.
    """
    rate = 0.035**4 * 11.6e6 / (8 * 0.213**3 * 12.57)
    assert rate == pytest.approx(17.91, abs=0.01)
    system = system_of(SLIDE + f'[spring.s]\nends = ["airframe/wall", "slider/grip"]\n'
                       f'rate = "{rate} lbf/in"\npreload = "1.19 lbf"\n')
    motion = system.sweep(push=[0.0, 0.227 * IN])
    pull = loads.spring_forces(motion)["s"] / LBF
    assert pull == pytest.approx([1.19, 5.25], abs=0.01)
    assert loads.stick_force(motion, "push") / LBF == pytest.approx(pull, rel=1e-12)


def test_a_published_torsion_spring():
    """E d^4 / (10.8 D N) a turn (Shigley, 8th ed., equation 10-51, from memory), at the grip M / R.

    Wire 0.072 in, coil 0.521 in, 4.657 turns, E 28.5e6 psi: 29.2 in lbf a turn.
    """
    rate = 0.072**4 * 28.5e6 / (10.8 * 0.521 * 4.657)
    assert rate == pytest.approx(29.2, abs=0.1)
    system = lever(TORSION + f'rate = "{rate / 360} in*lbf/deg"\nfree_angle = 0\n')
    force = loads.stick_force(system.sweep(pitch=[-12.0, 0.0, 18.0]), "pitch")
    wanted = rate * np.array([-12.0, 0.0, 18.0]) / 360 * IN * LBF / 400
    assert force == pytest.approx(wanted, abs=1e-12)


def test_a_bungee_is_slack_and_a_table_is_straight_between_its_pairs():
    """Interpolated by hand: 12 N halfway from 4 N to 20 N."""
    far = math.dist((0, 0, 100), (0, 0, -150))
    motion = lever(ONE + f'rate = "2 N/mm"\nfree = {far + 10}\n').sweep(pitch=0.0)
    assert loads.spring_forces(motion)["s"] == 0.0
    motion = lever(ONE + f'rate = "2 N/mm"\nfree = {far + 10}\nacts = "both"\n').sweep(pitch=0.0)
    assert loads.spring_forces(motion)["s"] == pytest.approx(-20.0)
    motion = lever(ONE + f'table = [[100, "4 N"], [{2 * far - 100}, "20 N"]]\n').sweep(pitch=0.0)
    assert loads.spring_forces(motion)["s"] == pytest.approx(12.0)


# --- energy ---------------------------------------------------------------------------------------

def energy(system, at):
    """Potential energy of springs and hinge moments, N mm, by formulas of its own."""
    motion, total = system.sweep(**at), 0.0
    for spring in system.model.springs.values():
        if spring.pivot is not None:
            turn = np.radians(motion.angle(spring.pivot))
            free = np.radians(spring.free_angle or 0.0)
            total = total + 0.5 * np.degrees(spring.rate) * (turn - free) ** 2
            continue
        p, q = (motion.point(end) for end in spring.ends)
        longer = np.linalg.norm(p - q, axis=-1) - spring.free
        total = total + 0.5 * spring.rate * np.where(longer > 0, longer, 0.0) ** 2
    for name, surface in system.model.surfaces.items():
        if surface.hinge:
            turn = motion.deflection(name)
            total = total - np.radians(surface.hinge.neutral * turn + surface.hinge.slope * turn
                                       ** 2 / 2)
    return total


def hung(system, rng, count=4):
    """A system with random springs between any two of its parts, and at pivots."""
    points = [p for p in system.model.points if not p.endswith("/pivot")] + ["airframe/far"]
    text = format_model(system.model)
    text += "\n[airframe.points]\nfar = [1500.0, 300.0, 100.0]\n" if "[airframe" not in text else ""
    points = points if "far = [" in text else points[:-1]
    for k in range(count):
        one, other = rng.choice(points, 2, replace=False)
        if one.split("/")[0] != other.split("/")[0]:
            text += (f'\n[spring.s{k}]\nends = ["{one}", "{other}"]\n'
                     f'rate = "{rng.uniform(0.1, 3)} N/mm"\nfree = {rng.uniform(1, 900)}\n')
    turning = [b for b, part in system.model.bodies.items() if not part.slides]
    text += (f'\n[spring.t]\npivot = "{rng.choice(turning)}"\nrate = "{rng.uniform(1, 90)} '
             f'N*mm/deg"\nfree_angle = {rng.uniform(-30, 30)}\n')
    return System(parse_model(text))


@pytest.mark.parametrize("name", ["side_by_side", "elevons", "tandem", "spring_trim"])
def test_force_at_the_grip_is_the_slope_of_the_energy(name):
    """Conservation of energy: force x movement of the grip = what springs and air take up.

    Random springs all over each example; the slope by fourth-order differences of positions alone.
    """
    rng = np.random.default_rng(7)
    drawn = linkage.load(EXAMPLES[0].parent / f"{name}.toml")
    if name == "spring_trim":  # its table and preloads have no formula in `energy`
        drawn = System(dataclasses.replace(drawn.model, springs={}))
    system, h = hung(drawn, rng), 2e-3
    at = {n: rng.uniform(0.8 * c.travel[0], 0.8 * c.travel[1], 6)
          for n, c in system.inputs.items() if n in system.travel_box()}
    for each in at:
        grips = loads.grips(system, each)
        if not grips or system.inputs[each].slides:
            continue
        moved = [energy(system, at | {each: at[each] + k * h}) for k in (-2, -1, 1, 2)]
        slope = (moved[0] - 8 * moved[1] + 8 * moved[2] - moved[3]) / (12 * np.radians(h))
        places = [system.sweep(**at | {each: at[each] + k * h}).point(grips[0]) for k in (-1, 1)]
        speed = np.linalg.norm(places[1] - places[0], axis=-1) / np.radians(2 * h)
        force = loads.stick_force(system.sweep(**at), each)
        assert force == pytest.approx(slope / speed, abs=2e-5 * np.abs(force).max())


def test_rest_is_where_mujoco_comes_to_rest():
    """Three springs in space on one lever, damped till it stands still (MuJoCo's tendons)."""
    springs = {"a": ("hook", "aside", 0.8, 120.0), "b": ("off", "above", 0.5, 150.0)}
    text = "".join(f'[spring.{k}]\nends = ["stick/{one}", "airframe/{other}"]\n'
                   f'rate = "{rate} N/mm"\nfree = {free}\nacts = "both"\n'
                   for k, (one, other, rate, free) in springs.items())
    system = lever(text + TORSION + 'rate = "0.3 N*m/deg"\nfree_angle = -4\n', travel="-40, 40")
    model = mujoco.MjModel.from_xml_string(f"""
<mujoco><option gravity="0 0 0" timestep="0.0005" integrator="implicitfast"/><worldbody>
<site name="aside" pos="0.26 0.09 0.02"/><site name="above" pos="0 0 0.3"/>
<body><joint name="j" axis="0 1 0" damping="1.2" stiffness="{300 * 180 / math.pi / 1e3}"
 springref="-4"/><geom size="0.02" mass="0.5" pos="0 0 0.1"/>
<site name="hook" pos="0 0 0.1"/><site name="off" pos="0.03 0.04 0.08"/></body></worldbody>
<tendon>{"".join(f'<spatial stiffness="{rate * 1e3}" springlength="{free / 1e3}"><site site="{one}"'
                 f'/><site site="{other}"/></spatial>' for one, other, rate, free
                 in springs.values())}</tendon></mujoco>""")
    data = mujoco.MjData(model)
    for _ in range(8000):
        mujoco.mj_step(model, data)
    assert abs(data.qvel[0]) < 1e-9
    about = loads.let_go(loads.whole_travel(system, "pitch"))
    rests = {round(k.rest, 6) for k in about}
    assert len(rests) == 1
    assert rests.pop() == pytest.approx(math.degrees(data.qpos[0]), abs=1e-4)


# --- loads ----------------------------------------------------------------------------------------

def test_springs_load_rods_and_pivots():
    """A spring pulls 100 N aft on the horn 60 mm below its pivot: the rod holds it, on paper."""
    system = stage(surface='[airframe]\npoints = { a = [1200, 0, -60] }\n[spring.s]\n'
                   'ends = ["horn/p", "airframe/a"]\nrate = "1 N/mm"\npreload = "100 N"')
    case = next(c for c in loads.cases(system) if c.name == "springs alone")
    statics = Statics(system.sweep(pitch=[0.0]))
    share = loads.shares(statics, case)
    carried = loads.carried(statics, share)
    assert carried["axial", "push"][0] == pytest.approx(100.0)
    assert carried["pivot", "horn"][0] == pytest.approx(0.0, abs=1e-9)
    assert carried["pivot", "stick"][0] == pytest.approx(100 + 100 * 60 / 400)
    assert share[0, list(statics.loads).index(("grip", "stick/grip", "pitch"))] == \
        pytest.approx(100 * 60 / 400)


def test_each_case_is_there_without_springs_and_with_them():
    names = [c.name for c in loads.cases(linkage.load(SPRING_TRIM))]
    plain = [n for n in names if not n.endswith("with springs") and n != "springs alone"]
    assert {f"{n}, with springs" for n in plain} | {"springs alone"} == {*names} - {*plain}
    worst = loads.worst_loads(linkage.load(SPRING_TRIM))
    assert worst["case"].str.contains("spring").any()


# --- the file -------------------------------------------------------------------------------------

@pytest.mark.parametrize(("text", "said"), [
    (ONE + "rate = 2", "needs a rate with its unit"),
    (ONE + 'rate = "2 lbf"\nfree = 3', "no spring rate"),
    (ONE + 'rate = "2 N/mm"', "needs one of free and preload"),
    (ONE + 'rate = "-2 N/mm"\nfree = 3', "above 0"),
    (ONE + 'table = [[3, "1 N"], [2, "2 N"]]', "rising lengths"),
    (ONE + 'table = [[3, "1 N"]]', "at least 2"),
    (ONE + 'table = [[3, 1], [4, 2]]', "with its unit"),
    (ONE + 'rate = "2 N/mm"\nfree = 3\npivot = "stick"', "one of ends"),
    (TORSION + 'rate = "2 N/mm"\nfree_angle = 3', "no torsional rate"),
    (TORSION + 'rate = "2 N*mm/deg"\nfree_angle = 3\nacts = "pull"', "leave it out"),
    ('[spring.s]\nends = ["stick/hook", "stick/grip"]\nrate = "2 N/mm"\nfree = 3', "two parts"),
    ('[spring.s]\nends = ["stick/hok", "airframe/aft"]\nrate = "2 N/mm"\nfree = 3',
     'did you mean "stick/hook"'),
    ("[friction]\npivot = -0.1", "at least 0"),
    ("[bungee.s]", 'a bungee is a [spring."NAME"]')])
def test_a_spring_that_can_not_be_is_refused_in_a_sentence(text, said):
    with pytest.raises(LinkageError) as refused:
        lever(text + "\n")
    assert said in refused.value.sentence
    assert "\n" not in refused.value.sentence


def test_a_table_that_ends_within_the_travel_is_refused():
    system = lever(ONE + 'table = [[248, "1 N"], [249.9, "2 N"]]\n')
    with pytest.raises(LinkageError, match=r"its table goes from 248 mm to 249.9 mm"):
        loads.whole_travel(system, "pitch")


def test_twins_turn_the_same_way_in_the_mirror():
    """A torsion spring of a body whose twin is written with its axis the other way round."""
    text = """
length = "mm"
[mirror]
left = "right"
[body."arm left"]
pivot = [0, -100, 0]
axis = "fore-aft"
[body."arm right"]
pivot = [0, 100, 0]
axis = "fore-aft"
[spring."coil left"]
pivot = "arm left"
rate = "2 N*mm/deg"
preload = "30 N*mm"
"""
    model = parse_model(text)
    mirrored = parse_model(text.replace('axis = "fore-aft"\n[spring', "axis = [1, 0, 0]\n[spring"))
    assert model.springs["coil right"].preload == -model.springs["coil left"].preload
    assert mirrored.springs["coil right"].preload == model.springs["coil left"].preload
    assert parse_model(format_model(model)) == model
