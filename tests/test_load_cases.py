"""Load cases, worst positions, and what can't be worked out said so."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq
from systems.load_models import EXAMPLES, STAGE, stage, system_of

import linkage
from linkage import loads
from linkage.loads import Statics
from linkage.stops import judged_box
from linkage.units import LBF

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
    box = judged_box(side_by_side)
    pitch, roll = np.meshgrid(*(np.linspace(*box[name], 41) for name in ("pitch", "roll")))
    statics = Statics(side_by_side.sweep(pitch=pitch, roll=roll))
    told = {(r["part"], r["what"]): next(
        r[kind] for kind in ("force", "moment", "stress") if r[kind] == r[kind])
            for r in worst.to_dict("records")}
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
    text = STAGE.format(stick="", horn="", rod="", surface='kind = "canard"').replace(
        "grip = ", "knob = ")
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
