"""Servos: on paper for a parallel run, and dead centre, overpowering and lost travel by hand."""

import math

import numpy as np
import pytest
from systems.load_models import STAGE, system_of

from linkage import LinkageError, loads
from linkage.results import Results
from linkage.units import LBF

SERVO = """
[body.arm]
pivot = [450, 0, -200]
axis = "lateral"
points = {{ tip = [450, 0, {tip}] }}
[rod.link]
ends = ["stick/servo", "arm/tip"]
[servo.auto]
body = "arm"
torque = "4000 N*mm"
{more}
"""


def run(more="", tip=-230, reach=30):
    """A stick arm of 60 mm and one of 30 for the servo; horn 60 mm, grip at 400 mm."""
    text = STAGE.format(stick="", horn="", rod="", surface="").replace(
        "arm = [0, 0, -60]", f"arm = [0, 0, -60], servo = [0, 0, -{reach}]")
    return system_of(text + SERVO.format(tip=tip, more=more))


def carried(system, case, pitch=0.0):
    statics = loads.Statics(system.sweep(pitch=[pitch]))
    return {key: float(k[0]) for key, k in loads.carried(
        statics, loads.shares(statics, case)).items()}


def test_a_servo_at_its_torque_loads_the_run_to_the_surface():
    """At neutral the link stands askew: its force along it x its lever about either pivot, by hand.

    The torque on the arm, T = F x lever at the arm; on the stick F x lever there is what the push
    rod takes at 60 mm.
    """
    system = run()
    case = next(c for c in loads.cases(system) if c.name.startswith("servo auto +"))
    assert case.rule.startswith("23.395")
    found = carried(system, case)
    way = np.array([450.0, -200.0])  # stick's servo end [0, -30] to the arm's tip [450, -230]
    way /= np.linalg.norm(way)
    at_arm = abs(0.0 * way[1] - -30.0 * way[0])
    at_stick = abs(0.0 * way[1] - -30.0 * way[0])
    link = 4000 / at_arm
    assert abs(found["axial", "link"]) == pytest.approx(link, rel=1e-9)
    assert abs(found["axial", "push"]) == pytest.approx(link * at_stick / 60, rel=1e-9)
    clutched = run('clutch = "1500 N*mm"')
    case = next(c for c in loads.cases(clutched) if c.name.startswith("servo auto +"))
    assert abs(carried(clutched, case)["axial", "link"]) == pytest.approx(1500 / at_arm, rel=1e-9)


def test_a_jammed_servo_is_overpowered_or_takes_all_of_the_pilot():
    """With a clutch the grip holds its torque, 2500 / 400 N at neutral; without, the link has all.

    Both arms are 30 mm and parallel at neutral, so the torque comes through as it is.
    """
    system = run('clutch = "2500 N*mm"\nshear_pin = "3 N*m"')
    case = next(c for c in loads.cases(system) if c.kind == "servo jammed")
    assert "as it lets go, overpowered at stick" in case.name
    found = carried(system, case)
    assert found["axial", "push"] == pytest.approx(0.0, abs=1e-9)
    statics = loads.Statics(system.sweep(pitch=[0.0]))
    share = loads.shares(statics, case)[0]
    assert abs(share[list(statics.loads).index(("grip", "stick/grip", "pitch"))]) == pytest.approx(
        2500 / 400, rel=1e-9)
    bare = run()
    case = next(c for c in loads.cases(bare) if c.kind == "servo jammed")
    assert case.name == "pitch aft, one pilot at stick, servo auto jammed"
    way = 450 / math.hypot(450, 200)
    assert abs(carried(bare, case)["axial", "link"]) == pytest.approx(
        167 * LBF * 400 / (30 * way), rel=1e-9)


def test_overpowering_dead_centre_and_lost_travel_over_the_travel():
    """An arm of 20 mm on a crank of 30: dead centre, force and reach by a search of its own.

    The link of a four-bar by the law of cosines at every degree, the arm's rate by differences.
    """
    system = run('clutch = "2500 N*mm"', tip=-214, reach=12)
    row = loads.servo_table(system).iloc[0]
    length = math.hypot(450, 202)
    angles = []
    for degrees in np.linspace(-20, 20, 40001):
        a = math.radians(degrees)
        crank = np.array([-12 * math.sin(a), -12 * math.cos(a)])  # aft stick: its foot goes forward
        d = crank - np.array([450.0, -200.0])
        reach = np.linalg.norm(d)
        inner = math.acos((14**2 + reach**2 - length**2) / (2 * 14 * reach))
        line = math.atan2(d[1], d[0])
        ends = [np.array([450.0, -200.0]) + 14 * np.array([math.cos(line + s * inner),
                                                           math.sin(line + s * inner)])
                for s in (1, -1)]
        tip = min(ends, key=lambda end: abs(end[1] + 214))
        link, arm = tip - crank, tip - np.array([450.0, -200.0])
        sine = abs(arm[0] * link[1] - arm[1] * link[0]) / 14 / length
        angles.append((math.degrees(math.asin(sine)), math.atan2(arm[1], arm[0])))
    least = min(k for k, _ in angles)
    rate = np.abs(np.gradient(np.unwrap([k for _, k in angles]), math.radians(40 / 40000)))
    assert row["over_centre"] - row["over_error"] <= least + 1e-9
    assert row["over_centre"] == pytest.approx(least, abs=0.02)
    assert row["overpower"] == pytest.approx(2500 * rate.max() / 400, rel=2e-3)
    assert row["overpower"] + row["force_error"] >= 2500 * rate.max() / 400 * (1 - 1e-6)
    assert (row["lost_least"], row["lost_greatest"]) == (0.0, 0.0)
    short = loads.servo_table(run('travel = [-10, 25]')).iloc[0]
    assert max(short["lost_least"], short["lost_greatest"]) == pytest.approx(10, abs=1.5)
    assert min(short["lost_least"], short["lost_greatest"]) == 0.0


def test_limits_of_a_servo_are_judged_and_what_is_silent_is_named():
    def verdict(more):
        return Results(run(more), only=("loads",)).verdict

    tight = verdict('clutch = "2500 N*mm"\nover_centre = 89\noverpower = "2 N"\ntravel = [-9, 9]')
    said = [f"{miss.what}: {miss.how_much}" for miss in tight.missed if miss.kind == "servo"]
    assert any("of dead centre, 89° required" in words for words in said)
    assert any("overpowering it takes 6." in words and "2.0 N allowed" in words for words in said)
    assert sum("before its travel does" in words for words in said) == 2
    easy = verdict('clutch = "2500 N*mm"\nover_centre = 10\noverpower = "50 N"')
    assert not [miss for miss in easy.missed if miss.kind == "servo"]
    left = "\n".join(verdict("").unknown)
    assert "servo auto, force that overpowers it: no clutch and no shear_pin in the file" in left
    assert "servo auto, how near its arm may come to dead centre: no over_centre" in left
    strong = verdict('clutch = "400 N*m"')
    assert any("limit pilot force" in miss.how_much for miss in strong.missed)


def test_a_servo_on_nothing_is_refused():
    for more, words in (('over_centre = 95', "ask for less"), ("travel = [5, 10]", "neutral"),
                        ('clutch = 3', "unit")):
        with pytest.raises(LinkageError, match=words):
            run(more)
    with pytest.raises(LinkageError, match="no body"):
        system_of(STAGE.format(stick="", horn="", rod="", surface="")
                  + '[servo.auto]\nbody = "arms"\ntorque = "1 N*m"')


def test_an_arm_that_a_cable_turns_has_no_dead_centre_judged_and_says_so():
    """A required distance from dead centre that nothing can be held against is never let pass."""
    text = STAGE.format(stick="", horn="", rod="", surface="") + SERVO.format(
        tip=-230, more="over_centre = 15").replace('[rod.link]\nends = ["stick/servo", "arm/tip"]',
                                                   '[coupling.cable]\nbodies = ["stick", "arm"]\n'
                                                   "ratio = 1")
    verdict = Results(system_of(text), only=("loads",)).verdict
    assert any("how near its arm comes to dead centre" in text for text in verdict.unknown)


def test_an_arm_whose_link_ceases_to_reach_is_not_said_to_keep_from_dead_centre():
    """Fine sweep: it comes to dead centre between two positions looked at, and then is lost."""
    system = system_of(STAGE.format(stick="", horn="", rod="", surface="").replace(
        "arm = [0, 0, -60]", "arm = [0, 0, -60], servo = [0, 0, -60]") + SERVO.format(
            tip=-230, more="over_centre = 1").replace("[450, 0, -230]", "[420, 0, -215]"))
    row = loads.servo_table(system).iloc[0]
    fine = system.sweep(pitch=np.linspace(-20, 20, 20001)).margins("link")["arm/tip"]
    assert np.isnan(fine).any()
    assert np.nanmin(fine) < 1 < row["over_centre"]
    assert row["over_centre"] - row["over_error"] <= np.nanmin(fine)
    verdict = Results(system, only=("loads",)).verdict
    assert any("dead centre" in miss.how_much and not miss.decided for miss in verdict.missed)
