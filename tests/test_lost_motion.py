"""Stretch, twist and friction on paper, and against rods made longer."""

import math

import numpy as np
import pytest
from systems.load_models import STAGE, TUBED, stage, system_of

from linkage import loads
from linkage.loads import Statics
from linkage.model import HANDBOOK
from linkage.motion import System
from linkage.results import Results, as_text, blocks_of
from linkage.units import LBF


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
    assert tube["torsion"] == pytest.approx(167 * LBF * 400, rel=1e-9)
    shear = 167 * LBF * 400 * 15 / inertia
    assert tube["stress"] == pytest.approx(math.sqrt(3) * shear, rel=1e-9)  # distortion energy


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


def test_searched_forces_say_how_much_they_may_miss():
    """A grid nine times as fine finds no more than is said, and the sheet says the grid."""
    system = system_of(STAGE.format(
        stick='friction = "800 N*mm"', horn='friction = "400 N*mm"', rod=TUBED,
        surface='hinge = { at = "here", neutral = "3000 N*mm", slope = "-400 N*mm" }').replace(
            "p = [900, 0, -60]", "p = [880, 0, -42]"))
    results, finer = Results(system, only=("loads",)), np.linspace(-20, 20, 9 * 240 + 1)
    motion, needed = system.sweep(pitch=finer), results.needed_forces["pitch"]
    most = np.abs(loads.stick_force(motion, "pitch")).max() * system.model.factor.hinge
    assert needed["hinge"] <= most + 1e-9 <= needed["hinge"] + needed["error"] + 2e-9
    rubbed = loads.friction_force(motion, "pitch")
    for row in results.friction.to_dict("records"):
        assert rubbed[row["joint_of"]].max() <= row["most"] + results.friction.attrs["error"] + 1e-9
    words = " ".join(as_text(blocks_of(results)).split())
    for name, positions in (("Friction", 41), ("Stick force along", 241), ("Lost motion", 41)):
        told = words[words.index(name):]
        assert f"searched, not proven: at {positions} positions" in told, name
