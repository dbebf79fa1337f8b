"""Welds and bolts that hold plates: textbooks' worked examples, and paper for what is judged.

Shigley, Mechanical Engineering Design, 8th ed., from memory: example 9-1 (welds in torsion) and
8-7 (bolts in eccentric shear), each with the figures it prints.
"""

import dataclasses
import math

import numpy as np
import pytest
from systems.load_models import stage

from linkage import loads
from linkage.errors import LinkageError
from linkage.loads.fixings import bolt_loads, bored_tube, weld_stress
from linkage.model import Bolting, TorqueTube, Weld
from linkage.model.fixings import line_spread
from linkage.results import Results
from linkage.units import LBF

KSI = 1000 * LBF / 25.4**2
PULL = 167 * LBF * 400 / 60  # N in the rod at neutral, by the stick's arms
HORN = """
[body.horn.solid.arm]
kind = "plate"
thickness = 6
at = "pivot"
normal = [0, 1, 0]
u = [0, 0, 1]
outline = [[-80, -25], [25, -25], [25, 25], [-80, 25]]
material = "2024-T3"
"""
TUBE = """bearings = [[900, -100, 0], [900, 100, 0]]
tube = { diameter = 30, wall = 1.5, material = "4130 normalized" }"""
METAL = """
[material.rod]
modulus = "205 GPa"
yield = "250 MPa"
ultimate = "350 MPa"
shear_ultimate = "220 MPa"
source = "invented"
"""


def one(force, moment):
    return np.array([force], float), np.array([moment], float)


def test_a_published_weld_in_torsion():
    """Shigley's 9-1: area 1280 mm², middle at 10.4 mm, J 7.07e6 mm⁴, 19.5 MPa of direct shear,
    a moment of 2760 N m, and 37 and 44 MPa of the two together at the corners."""
    weld = Weld(plate="a/b", leg=6.0, both=False, lines=(
        ((0.0, 0.0), (56.0, 0.0)), ((0.0, 0.0), (0.0, 190.0)), ((0.0, 190.0), (56.0, 190.0))))
    length, middle, spread = line_spread(weld.lines)
    assert 0.7071 * 6 * length == pytest.approx(1280, rel=2e-3)
    assert middle[0] == pytest.approx(10.4, abs=0.05)
    assert 0.7071 * 6 * np.trace(spread) == pytest.approx(7.07e6, rel=2e-3)
    at = np.array([-100.0, 95.0])  # the load passes 110.4 mm beside the middle
    found = weld_stress(weld, one([0.0, -25e3, 0.0], [0.0, 0.0, 0.0]), at, 0.0)[0]
    assert found == pytest.approx(44.0, rel=0.005)
    short = dataclasses.replace(weld, lines=weld.lines[:1] + weld.lines[2:])
    assert weld_stress(short, one([0, -25e3, 0], [0, 0, 0]), at, 0.0)[0] > found


def test_a_weld_round_a_tube_on_paper():
    """Unit lines (Shigley, tables 9-1 and 9-2): J = 2 π r³, I = π r³, A = 2 π r.

    In the plane V / A and T r / J are along each other at one place; out of it M r / I adds to
    N / A; both faces share.
    """
    weld = Weld(plate="a/b", throat=2.0, round=30.0, both=True)
    root, r = np.array([3.0, -4.0]), 15.0
    flat = weld_stress(weld, one([300, 400, 0], [0, 0, 9000]), root, 6.0)[0]
    wanted = (500 / (2 * math.pi * r) + 9000 / (2 * math.pi * r**2)) / 4
    assert flat == pytest.approx(wanted, rel=3e-3)
    bent = weld_stress(weld, one([0, 0, 600], [5000, 0, 0]), root, 6.0)[0]
    assert bent == pytest.approx((600 / (2 * math.pi * r) + 5000 / (math.pi * r**2)) / 4, rel=3e-3)
    single = weld_stress(Weld(plate="a/b", throat=2.0, round=30.0),
                         one([1000, 0, 0], [0, 0, 0]), root, 6.0)[0]
    lean = 3 * 1000 / (math.pi * r**2)  # half the thickness beside the middle
    assert single == pytest.approx(math.hypot(1000 / (2 * math.pi * r), lean) / 2,
                                   rel=1e-3)


def test_published_bolts_in_eccentric_shear():
    """Shigley's 8-7: four M16 at 96.0 mm, 16 kN and 6800 N m: 4 and 17.7 kN, 21.0 kN together.

    Here the bolts may stand anywhere on their circle, so that the two are added: 21.7.
    """
    bolts = Bolting(plate="a/b", bolt=16.0, count=4, circle=192.0)
    sheared, pulled = bolt_loads(bolts, one([0, 16e3, 0], [0, 0, 6800e3]), 0.0, None)
    assert sheared[0] == pytest.approx(4e3 + 17.7e3, rel=0.002)
    assert 21.0e3 <= sheared[0] <= 1.04 * 21.0e3
    assert pulled[0] == 0.0


def test_bolts_on_a_circle_hold_a_tilt():
    """Σ F r = M with F as the distance from the middle: each of six, turned to every angle."""
    bolts = Bolting(plate="a/b", bolt=5.0, count=6, circle=40.0)
    _, pulled = bolt_loads(bolts, one([0, 0, 120], [700, -2400, 0]), 0.0, None)
    worst = 0.0
    for start in np.linspace(0, np.pi / 3, 50):
        angle = start + np.arange(6) * np.pi / 3
        x, y = 20 * np.cos(angle), 20 * np.sin(angle)
        forces = 120 / 6 + 700 * y / (y @ y) + 2400 * x / (x @ x)
        worst = max(worst, forces.max())
    assert pulled[0] == pytest.approx(worst, rel=1e-3)
    assert worst <= pulled[0] * (1 + 1e-12)


def test_bolts_across_a_tube():
    """A torque of 90 N m through two bolts across 30 mm: 4 cuts at 15 mm, 1500 N each."""
    bolts = Bolting(plate="a/b", bolt=5.0, count=2, across=True)
    tube = TorqueTube(diameter=30.0, wall=1.5)
    sheared, _ = bolt_loads(bolts, one([0, 0, 8000], [0, 0, 90e3]), 0.0, tube)
    assert sheared[0] == pytest.approx(math.hypot(1500, 2000))


@pytest.mark.parametrize(("diameter", "wall", "hole"), [(30, 1.5, 6), (12, 1, 5), (10, 5, 4),
                                                        (20, 8, 5)])
def test_a_tube_with_a_hole_across(diameter, wall, hole):
    """Its net section by a fine sum over its own grid."""
    outer, inner = diameter / 2, diameter / 2 - wall
    side = (np.arange(1000) + 0.5) / 1000 * diameter - outer
    x, y = np.meshgrid(side, side)
    left = (np.hypot(x, y) < outer) & (np.hypot(x, y) >= inner) & (np.abs(y) > hole / 2)
    cell = (diameter / 1000)**2
    area, inertia = bored_tube(TorqueTube(diameter=diameter, wall=wall), hole)
    assert area == pytest.approx(left.sum() * cell, rel=5e-3)
    assert inertia == pytest.approx((x[left]**2).sum() * cell, rel=5e-3)


def rows_of(horn="", more=""):
    results = Results(stage(horn=horn, surface=HORN + more), only=("loads",))
    return results, {row["check"]: row for row in results.fixing_margins.to_dict("records")}


def test_a_weld_is_judged_by_what_its_rods_bring():
    """A moment of PULL x 60 mm at every stick position, on a weld round 30 mm, both faces.

    At 20° the rod has 60 cos 20° mm of arm, so its own force is the more by that.
    """
    results, rows = rows_of(TUBE, METAL + '[weld.arm]\nplate = "horn/arm"\nleg = 3\nround = 30\n'
                            'both = true\nmaterial = "rod"\nbeside = 0.8\n')
    lines = PULL * (1 / math.cos(math.radians(20)) + 60 / 15) / (2 * math.pi * 15)
    row = rows["weld"]
    assert row["stress"] == pytest.approx(lines / (2 * 0.7071 * 3), rel=3e-3)
    assert row["factor"] == pytest.approx(1.5 * 1.15)
    assert row["margin"] == pytest.approx(220 / (row["stress"] * 1.725) - 1)
    plate = results.tube_margins.set_index("body").loc["horn/arm"]
    assert rows["plate beside it"]["stress"] == pytest.approx(plate["stress"])
    share = plate["stress"] / (0.8 * 64 * KSI) + plate["buckling"]
    assert rows["plate beside it"]["margin"] == pytest.approx(1 / (1.5 * share) - 1)
    tube = results.tube_margins.set_index("body").loc["horn"]
    assert rows["tube beside it"]["stress"] == pytest.approx(tube["stress"], rel=1e-6)
    assert rows["tube beside it"]["margin"] + 1 == pytest.approx(0.8 * (tube["margin"] + 1))


def test_bolts_across_the_tube_are_judged_by_its_torque():
    """M = PULL x 60 mm through two bolts of 6 mm: shear, wall's bearing, sleeve's, net section."""
    results, rows = rows_of(TUBE, METAL + '[bolting.arm]\nplate = "horn/arm"\nbolt = 6\ncount = 2\n'
                            'across = true\nmaterial = "rod"\nsleeve = 2\n')
    cut = PULL * 60 / (2 * 30)
    shear = rows["bolts"]["stress"] * 220 / 350
    assert shear == pytest.approx(cut / (math.pi / 4 * 36), rel=0.01)
    assert rows["bearing"]["stress"] == pytest.approx(cut / (6 * 1.5), rel=0.01)
    assert rows["sleeve"]["stress"] == pytest.approx(cut / (6 * 2), rel=0.01)
    tube = results.tube_margins.set_index("body").loc["horn"]
    assert rows["tube at its hole"]["stress"] > 1.1 * tube["stress"]
    assert rows["bearing"]["margin"] < 0
    assert results.verdict.exit_code == 1
    assert any("margin of bearing, bolting arm" in miss.sentence for miss in results.verdict.missed)


def test_what_the_file_is_silent_about_is_named():
    results, rows = rows_of(TUBE, '[weld.arm]\nplate = "horn/arm"\nthroat = 3\nround = 30\n')
    assert {row["missing"] for row in rows.values()} == {"material", "beside"}
    left = "\n".join(results.verdict.unknown)
    assert "whether the welds arm lie on their plates and tubes" in left
    assert "plate beside it of weld arm at horn/arm: the file gives no beside" in left
    _, rows = rows_of("", '[bolting.arm]\nplate = "horn/arm"\nbolt = 5\ncount = 4\ncircle = 30\n')
    assert rows["bolts"]["missing"] == "material"
    assert "what holds the pivots of stick, horn on what carries them" in left
    assert math.isfinite(rows["bearing"]["margin"])
    bare = Results(stage(surface=HORN), only=("loads",))
    assert "how the plates horn/arm hold on" in "\n".join(bare.verdict.unknown)


@pytest.mark.parametrize(("text", "words"), [
    ('[weld.a]\nplate = "horn/arm"\nround = 30', "one of leg and throat"),
    ('[weld.a]\nplate = "horn/arm"\nleg = 3', "one of round and lines"),
    ('[weld.a]\nplate = "horn/arms"\nleg = 3\nround = 30', 'no plate "horn/arms"'),
    ('[weld.a]\nplate = "horn/arm"\nleg = 3\nlines = [[[0, 0], [9, 0]]]', "one straight line"),
    ('[weld.a]\nplate = "horn/arm"\nleg = 3\nlines = [[[0, 0], [0, 0]]]', "one place"),
    ('[weld.a]\nplate = "horn/arm"\nleg = 3\nround = 30\nbeside = 1.2', "at most 1"),
    ('[weld.a]\nplate = "horn/arm"\nleg = 3\nround = 30\nmaterial = "tin"', 'no material "tin"'),
    ('[bolting.a]\nplate = "horn/arm"\nbolt = 5\ncount = 2\ncircle = 30', "3 or more"),
    ('[weld.a]\nplate = "horn/arm"\nleg = 6.1\nround = 30', "no longer than the plate is thick"),
    ('[weld.a]\nplate = "horn/arm"\nthroat = 7\nround = 30', "a throat of 7 mm"),
    ('[bolting.a]\nplate = "horn/arm"\nbolt = 10\ncount = 12\ncircle = 38.6', "circle larger"),
    ('[bolting.a]\nplate = "horn/arm"\nbolt = 5\ncount = 2.5\ncircle = 30', "whole number"),
    ('[bolting.a]\nplate = "horn/arm"\nbolt = 5\ncount = 2', "one of circle and across"),
    ('[bolting.a]\nplate = "horn/arm"\nbolt = 5\ncount = 2\nacross = true', "no tube to go across"),
    ('[bolting.a]\nplate = "horn/arm"\nbolt = 5\ncount = 4\ncircle = 4', "make the circle larger"),
    ('[bolting.a]\nplate = "horn/arm"\nbolt = 5\ncount = 4\ncircle = 40\nsleeve = 2', "a sleeve"),
    ('[bolting.a]\nplate = "horn/arm"\nbolt = 5\ncount = 4\ncircle = 40\nroot = 6', "a root of"),
])
def test_a_fixing_that_can_not_be_is_refused_in_a_sentence(text, words):
    with pytest.raises(LinkageError, match=words):
        stage(surface=HORN + text)


def test_a_bolt_as_wide_as_the_tube_it_goes_across_is_refused():
    with pytest.raises(LinkageError, match="a bolt of 30 mm across a tube of 30 mm"):
        rows_of(TUBE, '[bolting.a]\nplate = "horn/arm"\nbolt = 30\ncount = 2\nacross = true\n')


def test_a_twin_has_its_fixing():
    """Named by the mirror; the outline keeps its own order, so lines of a weld stay as written."""
    from systems.load_models import system_of

    system = system_of("""
        [mirror]
        left = "right"
        [body."horn left"]
        pivot = [0, -200, 0]
        axis = "lateral"
        points = { p = [0, -200, -60] }
        [body."horn left".solid.arm]
        kind = "plate"
        at = "pivot"
        normal = "lateral"
        u = "vertical"
        thickness = 3
        outline = [[-70, -9], [9, -9], [9, 9]]
        [weld."arm left"]
        plate = "horn left/arm"
        leg = 2
        lines = [[[0, 0], [5, 0]], [[0, 5], [5, 5]]]
        """)
    assert system.model.welds["arm right"].plate == "horn right/arm"
    assert loads.fixed_plates(system) == []
