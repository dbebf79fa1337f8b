"""What of strength is not worked out is named: a margin met says nothing wider than it covers."""

import math

import numpy as np
import pytest
from systems.load_models import STAGE, stage, system_of
from test_beams import TUBE
from test_joints import HORN, KSI, LOAD, checks

from linkage import LinkageError, loads
from linkage.loads import Statics
from linkage.model import HANDBOOK
from linkage.results import Results
from linkage.units import LBF


def left_of(system):
    return "\n".join(Results(system, only=("loads",)).verdict.unknown)


def test_a_plate_bears_on_its_bolt_beside_a_bush():
    """d t Fbru of the lug under 1.5 x 1.15, whatever the bush holds (simple lug texts)."""
    for more in ('bears = 40\nbears_material = "6061-T6"', 'kind = "rolling"\nrating = "60 kN"'):
        row = checks(more).loc["plate in bearing"]
        assert row["strength"] == pytest.approx(8 * 4 * 64 * KSI)
        assert row["margin"] == pytest.approx(8 * 4 * 64 * KSI / LOAD / 1.725 - 1, rel=1e-5)
    with pytest.raises(LinkageError, match="no smaller than the bolt"):
        checks("hole = 7.5")


def test_a_silent_end_of_a_rod_is_named():
    rod = 'thread = "M8"\nfitted = [{ rod_end = "eight", engaged = 12 }, { rod_end = "bare", ' \
          "engaged = 12 }]\n"
    ends = '[rod_end.eight]\nshank = 40\nrating = "12 kN"\n[rod_end.bare]\nshank = 40\n'
    tube = 'diameter = 20\nwall = 2\nmaterial = "4130 normalized"\n'
    left = left_of(stage(rod=tube + rod, surface=ends))
    assert "strength of the end joint at horn/p: the file gives it at the other end" in left
    assert "bending of the shanks of push by friction of their balls" in left
    ends += "rating = '9 kN'\n"
    left = left_of(stage(rod=tube + rod + 'friction = "1 N*m"', surface=ends))
    assert "at the other end" not in left
    assert "friction of their balls" not in left


def test_yield_alone_is_named():
    metal = '[material.metal]\nmodulus = "70 GPa"\nyield = "240 MPa"\nsource = "test"\n'
    rod = 'diameter = 20\nwall = 2\nmaterial = "metal"\n'
    words = "ultimate strength of what is made of metal: the file gives no ultimate stress"
    assert words in left_of(stage(rod=rod, surface=metal))
    assert words not in left_of(stage(rod=rod, surface=metal + 'ultimate = "300 MPa"\n'))


def test_joints_without_load_bolts_in_bending_and_stops_are_named():
    free = HORN + """
[body.arm]
pivot = [0, 0, 300]
axis = "lateral"
points = { p = [0, 0, 340] }
[rod.trim]
ends = ["arm/p", "horn/p"]
[joint.trim]
at = "arm/pivot"
bolt = 3
"""
    left = left_of(stage(surface=free))
    assert "joint trim at arm/pivot" in left
    assert "bending of the bolts at horn/p: they are judged in shear" in left
    stopped = HORN + """
[body.stick.solid]
pad = { kind = "sphere", at = "grip", diameter = 10 }
[airframe]
solid.block = { kind = "box", corner = [100, -20, 350], opposite = [150, 20, 450] }
[stop.aft]
input = "pitch"
side = "greatest"
between = ["stick/pad", "airframe/block"]
"""
    assert "strength of the faces and fixings of stops aft" in left_of(stage(surface=stopped))


def test_a_sheave_and_what_it_couples_are_named():
    """A body that only a coupling moves carries load, and no margin covers it."""
    system = system_of(STAGE.format(stick="", horn="", rod="", surface="") + """
[body.sheave]
pivot = [0, 50, 0]
axis = "lateral"
[body.tab]
pivot = [900, 50, 0]
axis = "lateral"
[coupling.cable]
bodies = ["stick", "sheave"]
ratio = 1
[coupling.gear]
bodies = ["sheave", "tab"]
ratio = 1
[surface.tab]
body = "tab"
kind = "elevator"
""")
    left = left_of(system)
    assert "strength of what couples cable, gear, such as cables, quadrants and gears" in left
    assert "strength of the plates, arms and horns of stick, horn, sheave, tab" in left


def test_an_input_that_nothing_holds_is_named():
    text = STAGE.replace("[body.stick]", '[input.roll]\ntravel = [-20, 20]\n[body.fork]\n'
                         'pivot = [0, 0, 0]\naxis = "fore-aft"\ninput = "roll"\n[body.stick]\n'
                         'on = "fork"', 1)
    left = left_of(system_of(text.format(stick="", horn="", rod="", surface="")))
    assert "loads from roll: neither a surface that it moves nor a stop holds it" in left


SOLID = """
material = "2024-T3"
solid.long = { kind = "tube", along = [[0, -320, 0], [0, 320, 0]], diameter = 40, wall = 2 }
points"""


def test_a_tube_drawn_along_its_axis_is_bent_between_its_bearings():
    """As a shaft it is stressed as the torque tube of the same size is; without bearings not told.

    Lumped at the pivot, a load there would not bend it at all.
    """
    system = system_of(TUBE.replace("GRIP", "0").replace("points", SOLID.strip() + "", 1))
    table = loads.tube_margins(system).set_index("body")
    assert table.loc["tube/long", "stress"] == pytest.approx(table.loc["tube", "stress"], rel=1e-6)
    assert table.loc["tube/long", "bending"] > 1e5
    text = TUBE.replace("GRIP", "0").replace("points", SOLID.strip(), 1)
    text = "\n".join(line for line in text.splitlines() if not line.startswith("bearings"))
    bare = system_of(text)
    assert "tube/long" not in set(loads.tube_margins(bare)["body"])
    assert "bending of tube/long: along an axis whose bearings the file does not place" in \
        left_of(bare)


def test_ailerons_in_a_gust_against_each_other_and_two_pilots_at_a_jam():
    """K = 0.50, up on one side and down on the other (14 CFR 23.415(b), 1-1-14 edition).

    Both push the stick the same way: F R = 2 x 0.5 c S q x gearing 1, by hand.
    """
    side = """
[body."aileron NAME"]
pivot = [0, Y, 0]
axis = "lateral"
[coupling.NAME]
bodies = ["stick", "aileron NAME"]
ratio = RATIO
[surface."aileron NAME"]
body = "aileron NAME"
area = "2 ft**2"
mean_chord = "10 in"
"""
    text = """
[input.roll]
travel = [-20, 20]
[body.stick]
pivot = [0, 0, 0]
axis = "fore-aft"
input = "roll"
points = { grip = [0, 0, 400] }
[body.twin]
pivot = [0, 500, 0]
axis = "fore-aft"
points = { grip = [0, 500, 400] }
[coupling.tie]
bodies = ["stick", "twin"]
ratio = 1
"""
    for name, y, ratio in (("left", -900, -1), ("right", 900, 1)):
        text += side.replace("NAME", name).replace("Y", str(y)).replace("RATIO", str(ratio))
    system = system_of(text)
    every = loads.cases(system)
    case = next(c for c in every if "opposed" in c.name and c.kind == "ground gust")
    moment = 0.5 * (10 / 12) * 2.0 * 0.5 * 0.002377 * 88**2 * 304.8 * LBF
    assert sorted(m for _, m in case.moments) == pytest.approx([-moment, moment], rel=1e-3)
    statics = Statics(system.sweep(roll=[0.0]))
    share = loads.shares(statics, case)[0]
    force = share[list(statics.loads).index(("grip", "stick/grip", "roll"))]
    assert abs(force) == pytest.approx(2 * moment / 400, rel=1e-3)
    jam = [c for c in every if c.kind == "two pilots at a jam"]
    assert len(jam) == 4
    assert [round(abs(f) / LBF / 67, 2) for _, f in jam[0].forces] == [0.75, 0.75]


def test_a_shank_is_that_of_the_weaker_end():
    """Both ends are looked at: the softer steel's governs, whichever end it is at (brute force)."""
    rod = 'diameter = 20\nwall = 2\nmaterial = "4130 normalized"\nthread = "M8"\nfitted = [{ ' \
          'rod_end = "ONE", engaged = 12 }, { rod_end = "TWO", engaged = 12 }]\n'
    ends = '[rod_end.soft]\nshank = 40\nmaterial = "6061-T6"\n[rod_end.hard]\nshank = 40\n'
    found = [loads.rod_margins(stage(rod=rod.replace("ONE", one).replace("TWO", two),
                                     surface=ends)).iloc[0]["shank_margin"]
             for one, two in (("soft", "hard"), ("hard", "soft"))]
    root = 8 - 1.226869 * 1.25
    stress, alloy = LOAD / (math.pi / 4 * root**2), HANDBOOK["6061-T6"]
    assert found[0] == pytest.approx(found[1], rel=1e-12)
    assert found[0] == pytest.approx(np.min([alloy.yield_stress, alloy.ultimate / 1.725])
                                     / stress - 1, rel=1e-5)
