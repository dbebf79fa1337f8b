"""Plates as arms at their net section: by hand, and against a frame cut of its own."""

import math

import numpy as np
import pytest
from systems.load_models import stage

from linkage import loads
from linkage.geometry.outlines import bored, cuts_across
from linkage.loads import Statics
from linkage.loads.plates import plate_stress, torsion_modulus
from linkage.results import Results
from linkage.units import LBF

KSI = 1000 * LBF / 25.4**2
HORN = """
[body.horn.solid.arm]
kind = "plate"
thickness = 6
at = "pivot"
normal = [0, 1, 0]
u = [0, 0, 1]
outline = [[-80, -15], [15, -15], [15, 15], [-80, 15]]
material = "2024-T3"
[joint.pin]
at = ["horn/p", "horn/pivot"]
bolt = 8
"""  # u points up: the rod's end is at u = -60, the plate's middle on the rod's line
PULL = 167 * LBF * 400 / 60


def cuts_of(system):
    return loads.plate_cuts(system)["horn/arm"]


def test_a_straight_arm_is_a_cantilever():
    """M = F x arm at each square cut, N nothing, V = F (beam texts): all at neutral.

    F pulls along x, square to the arm; of a cut through a hole of 8 mm its chord d is left out:
    I = t (w³ - d³) / 12, A = t (w - d).
    """
    system = stage(surface=HORN)
    cuts = cuts_of(system)
    statics = Statics(system.sweep(pitch=0.0))
    case = next(c for c in loads.cases(system) if c.name == "pitch aft, one pilot at stick")
    stress = plate_stress(statics, loads.shares(statics, case), "horn/arm")[0]
    square = [k for k, way in enumerate(cuts.normals) if np.allclose(np.abs(way), [1, 0])]
    assert len(square) == 21
    for k in square:
        arm = cuts.middles[k, 0] + 60
        off = min(arm, 60 - arm)  # of the nearer hole
        width = 30.0 - (2 * math.sqrt(16 - off**2) if off < 4 else 0.0)
        inertia = 6 * (30**3 - (30 - width)**3) / 12
        wanted = math.hypot(PULL * arm * 15 / inertia, math.sqrt(3) * 1.5 * PULL / (6 * width))
        assert stress[k] == pytest.approx(wanted, rel=1e-3)


def test_a_ball_beside_the_plate_twists_it():
    """Off the plate's middle by e the arm is twisted by F e: T / (0.291 b t²) of shear at b/t 5.

    (Timoshenko & Goodier, Theory of Elasticity, torsion of rectangular bars, from memory.)
    """
    near, off = (stage(surface=HORN.replace('at = "pivot"', place)) for place in (
        'at = "pivot"', "at = [900, 10, 0]"))
    found = []
    for system in (near, off):
        statics = Statics(system.sweep(pitch=0.0))
        case = loads.cases(system)[0]
        stress = plate_stress(statics, loads.shares(statics, case), "horn/arm")[0]
        cuts = cuts_of(system)
        tenth = [k for k, way in enumerate(cuts.normals) if np.allclose(np.abs(way), [1, 0])
                 and np.isclose(cuts.middles[k, 0], -54.0)]
        found.append(stress[tenth[0]])
    arm, width = 6.0, 30.0
    straight = PULL * arm * 15 / (6 * width**3 / 12)
    shear = 1.5 * PULL / (6 * width)
    assert found[0] == pytest.approx(math.hypot(straight, math.sqrt(3) * shear), rel=1e-3)
    twisted = shear + PULL * 10 / (0.291 * width * 36)
    assert found[1] == pytest.approx(math.hypot(straight, math.sqrt(3) * twisted), rel=1e-3)


@pytest.mark.parametrize(("ratio", "printed"), [
    (1, 0.208), (1.5, 0.231), (2, 0.246), (3, 0.267), (5, 0.291), (10, 0.312)])
def test_a_strip_in_torsion(ratio, printed):
    """T / (b t² tau) as Timoshenko & Goodier print it (Theory of Elasticity, from memory)."""
    for width, thickness in ((ratio * 2.0, 2.0), (2.0, ratio * 2.0)):
        found = torsion_modulus(np.array([width]), thickness) / (ratio * 8)
        assert found == pytest.approx(printed, abs=1.5e-3)
    pair = torsion_modulus(np.array([ratio * 2.0, ratio * 2.0]), 2.0) / (ratio * 8)
    assert pair == pytest.approx(2 * printed, abs=3e-3)


def test_a_hole_elsewhere_in_the_plate_is_no_hole_at_the_rod():
    drawn = HORN.split("[joint")[0] + 'holes = [{ diameter = 6, at = [-30, 0] }]'
    bare = Results(stage(surface=drawn), only=("loads",)).verdict.unknown
    assert any("net section of horn/arm at its holes: the file gives no hole at horn/p, horn/pivot"
               in words for words in bare)


def test_the_margin_its_place_and_what_is_left_out():
    system = stage(surface=HORN)
    row = loads.tube_margins(system).set_index("body").loc["horn/arm"]
    top = max(float(plate_stress(s, loads.shares(s, case), "horn/arm").max())
              for s in (Statics(system.sweep(pitch=np.linspace(-20, 20, 81))),)
              for case in loads.cases(system))
    assert row["stress"] == pytest.approx(top, rel=1e-3)
    near, stress = row["buckling"], row["stress"]
    assert row["margin"] == pytest.approx(1 / max(
        stress / (42 * KSI) + near, 1.5 * (stress / (64 * KSI) + near)) - 1)
    assert row["missing"] == ""
    verdict = Results(system, only=("loads",)).verdict
    assert any(miss.what == "horn/arm" and "margin of its plate at FS" in miss.how_much
               for miss in verdict.missed) == (row["margin"] < 0)
    left = "\n".join(verdict.unknown)
    assert "how the plates horn/arm hold on to hub or tube" in left
    assert "strength of the plates, arms and horns of stick" in left
    bare = Results(stage(surface=HORN.split("[joint")[0]), only=("loads",)).verdict
    assert any("net section of horn/arm at its holes" in words for words in bare.unknown)


def test_no_cut_is_passed_by_one_of_its_own():
    """Cuts of its own, at random, by plain statics of the piece beyond: none is worse by 3 %.

    The library looks at 21 places and seven slants between a hardpoint and the pivot.
    """
    system = stage(surface=HORN)
    random = np.random.default_rng(3)
    row = loads.tube_margins(system).set_index("body").loc["horn/arm"]
    angle = math.radians(20)
    worst = 0.0
    for _ in range(400):
        x, lean = random.uniform(0, 60), math.radians(random.uniform(-50, 50))
        for turn in (-angle, angle):
            size = PULL / math.cos(angle)
            force = size * np.array([math.sin(turn), math.cos(turn)])  # along and across the arm
            normal = np.array([math.cos(lean), math.sin(lean)])
            width = 30 / math.cos(lean)
            width -= 8 if x > 58 else 0
            if 30 / 2 * abs(math.tan(lean)) > min(60 - x, x) and x > 45:
                continue  # such a cut runs out at the hub's end
            pull, shear = force @ normal, force @ np.array([-normal[1], normal[0]])
            moment = abs(force[1]) * x
            inertia = 6 * width**3 / 12
            worst = max(worst, math.hypot(
                abs(pull) / (6 * width) + moment * width / 2 / inertia,
                math.sqrt(3) * 1.5 * abs(shear) / (6 * width)))
    assert worst < row["stress"] * 1.03


def test_a_hole_as_wide_as_the_arm_leaves_nothing():
    """Net section 0: whatever the load, it is missed."""
    row = loads.tube_margins(stage(surface=HORN + 'hole = 31')).set_index("body").loc["horn/arm"]
    assert row["margin"] == pytest.approx(-1.0, abs=1e-6)


def test_a_cut_through_a_hole_and_beside_another_arm():
    """An L of two arms: the cut across one leaves the other alone (plane geometry)."""
    ell = np.array([[0, 0], [60, 0], [60, 10], [10, 10], [10, 60], [0, 60.0]])
    cut = (np.array([[30.0, 5.0]]), np.array([[1.0, 0.0]]))
    spots = np.array([[55.0, 5.0], [5.0, 55.0]])
    (stretches,), (held,) = cuts_across(bored([ell], [(30, 5, 2)]), cut, spots)
    assert stretches == pytest.approx(np.array([[-5, -2], [2, 5]]), abs=2e-2)
    assert held.tolist() == [True, False]
