"""Columns against handbook tables and charts (source beside each)."""

import math

import numpy as np
import pytest
from scipy.linalg import eigh
from scipy.optimize import brentq
from systems.load_models import IN, STAGE, TUBED, stage, system_of

from linkage import loads
from linkage.model import HANDBOOK, Material
from linkage.results import Results
from linkage.units import LBF

KSI = 1000 * LBF / IN**2


def material(modulus, yield_stress=1e9):
    return Material(modulus=modulus, yield_stress=yield_stress, source="test")


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


def test_bruhns_normalized_tube():
    """Bruhn, table of chapter C4: 79,500 - 51.9 (L'/rho)^1.5 psi, Euler with 286e6 from 91.5 on.

    Never above the yield stress, and in between below what Johnson would give.
    """
    steel = HANDBOOK["4130 normalized"]
    for slender in (25.0, 40.0, 60.0, 80.0):
        stress, rule = loads.short_column(slender, steel)
        assert stress / KSI == pytest.approx(min(79.5 - 0.0519 * slender**1.5, 75.0), rel=1e-9)
        assert rule == "its material's curve"
    stress, rule = loads.short_column(120.0, steel)
    assert (stress / KSI, rule) == (pytest.approx(286e3 / 120**2, rel=1e-3), "Euler")
    assert loads.short_column(5.0, steel)[0] == pytest.approx(75 * KSI)
    plain = material(29e3 * KSI, 75 * KSI)
    assert loads.short_column(60.0, plain)[1] == "Johnson"
    assert loads.short_column(60.0, plain)[0] > loads.short_column(60.0, steel)[0]


# --- stepped columns ----------------------------------------------------------------------------

@pytest.mark.parametrize(("share", "inner", "printed"), [
    (0.01, 0.2, 0.15), (0.1, 0.2, 1.47), (0.1, 0.8, 8.59), (0.2, 0.4, 4.22), (0.4, 0.6, 8.51),
    (0.6, 0.2, 6.98), (0.8, 0.8, 9.84)])
def test_a_column_with_a_stiffer_middle(share, inner, printed):
    """P = m E I2 / l² by Timoshenko & Gere, Theory of Elastic Stability, art. 2.14 (from memory).

    And the closed form for ends of length a: tan(k1 a) tan(k2 b / 2) = k1 / k2 (by hand).
    """
    ends, middle = (1 - inner) / 2 * 1000, inner * 1000
    column = [loads.Stretch(ends, share * 1e9), loads.Stretch(middle, 1e9),
              loads.Stretch(ends, share * 1e9)]
    load = loads.buckling_load(column)
    assert load / 1e3 == pytest.approx(printed, abs=6e-3)
    one, two = math.sqrt(load / (share * 1e9)), math.sqrt(load / 1e9)
    assert math.tan(one * ends) * math.tan(two * middle / 2) == pytest.approx(one / two, rel=1e-9)


def test_an_unlike_column_against_beam_elements():
    """Beam elements with their geometric stiffness (Przemieniecki, from memory)."""
    parts = [loads.Stretch(90.0, 2e7), loads.Stretch(700.0, 9e8), loads.Stretch(40.0, 1e7)]
    pieces = [(part.length / 12, part.stiffness) for part in parts for _ in range(12)]
    size = 2 * (len(pieces) + 1)
    stiff, bent = np.zeros((size, size)), np.zeros((size, size))
    for i, (h, ei) in enumerate(pieces):
        here = slice(2 * i, 2 * i + 4)
        stiff[here, here] += ei / h**3 * np.array(
            [[12, 6 * h, -12, 6 * h], [6 * h, 4 * h**2, -6 * h, 2 * h**2],
             [-12, -6 * h, 12, -6 * h], [6 * h, 2 * h**2, -6 * h, 4 * h**2]])
        bent[here, here] += np.array(
            [[36, 3 * h, -36, 3 * h], [3 * h, 4 * h**2, -3 * h, -h**2],
             [-36, -3 * h, 36, -3 * h], [3 * h, -h**2, -3 * h, 4 * h**2]]) / (30 * h)
    free = np.setdiff1d(np.arange(size), [0, size - 2])
    least = eigh(stiff[np.ix_(free, free)], bent[np.ix_(free, free)], eigvals_only=True)[0]
    assert loads.buckling_load(parts) == pytest.approx(least, rel=1e-6)


def test_a_bowed_column_of_one_section():
    """Half a sine wave of bow grows by 1 / (1 - P / P_cr) (Timoshenko & Gere, ch. 1, from memory).

    Stress at its middle P/A + P y c/I: the secant-like formula of Perry.
    """
    parts = [loads.Stretch(400.0, 5e8), loads.Stretch(600.0, 5e8)]
    critical = math.pi**2 * 5e8 / 1e6
    for share in (0.1, 0.5, 0.9):
        rises = loads.bowed_rises(parts, share * critical, 2.0)
        assert max(rises) == pytest.approx(2.0 / (1 - share), rel=1e-3)
        assert rises[0] == pytest.approx(math.sin(math.pi * 0.4) * 2.0 / (1 - share), rel=1e-3)


ROD = """diameter = 12
wall = 1
material = "4130 normalized"
thread = "M6"
fitted = { rod_end = "six", engaged = 12 }
BOW
"""
ENDS = """
[rod_end.six]
shank = 35
"""


def rod_of(bow="", end=""):
    return stage(rod=ROD.replace("BOW", bow), surface=ENDS + end).model


def test_a_rod_is_its_tube_and_the_shanks_of_its_ends():
    """900 mm from ball to ball, 23 mm of bare M6 thread at both ends: the closed form by hand."""
    found = loads.rod_column(rod_of(), "push")
    steel = HANDBOOK["4130 normalized"]
    tube = steel.modulus * math.pi / 64 * (12**4 - 10**4)
    root = 6 - 1.226869  # d - 1.2269 P of an external ISO thread, from memory
    shank = steel.modulus * math.pi / 64 * root**4

    def off(load):
        one, two = math.sqrt(load / shank), math.sqrt(load / tube)
        return math.tan(one * 23) * math.tan(two * 854 / 2) - one / two

    euler = math.pi**2 * tube / 900**2
    exact = brentq(off, 0.8 * euler, (math.pi / 854)**2 * tube * (1 - 1e-9))
    assert (found.rule, found.stepped) == ("Euler", True)
    assert found.load == pytest.approx(exact, rel=1e-9)
    assert 0.9 * euler < found.load < 0.997 * euler
    bare = loads.rod_column(stage(rod=ROD.split("thread")[0]).model, "push")
    assert (bare.stepped, bare.load) == (False, pytest.approx(euler, rel=1e-9))


def test_a_shank_past_half_its_yield_stress_is_softer():
    """Tangent modulus E 4 s (1 - s), which gives Johnson's parabola in a column of one section.

    (Shanley, from memory.)  The closed form of the stepped column with it, solved by SciPy; the
    elastic one passes the yield stress of the shanks.
    """
    system = stage(rod=ROD.replace("BOW", "").replace("12\nwall = 1", "22\nwall = 1.5"),
                   surface=ENDS)
    found = loads.rod_column(system.model, "push")
    steel, root = HANDBOOK["4130 normalized"], 6 - 1.226869
    tube = steel.modulus * math.pi / 64 * (22**4 - 19**4)
    inertia, area = math.pi / 64 * root**4, math.pi / 4 * root**2

    def off(load):
        s = load / area / steel.yield_stress
        one = math.sqrt(load / (steel.modulus * 4 * s * (1 - s) * inertia))
        return one * 23 - math.atan(one / math.sqrt(load / tube) / math.tan(
            math.sqrt(load / tube) * 854 / 2))

    top = area * steel.yield_stress
    assert found.rule == "its shanks past half their yield"
    assert found.load == pytest.approx(brentq(off, 0.51 * top, 0.9999 * top), rel=1e-8)
    assert found.load < 0.95 * top


def test_a_bow_in_the_file_costs_strength():
    """With 2 mm of bow the tube reaches its yield stress at the load Perry's formula gives.

    Of one section; the shanks are then taken as stiff as the tube would be: left out.
    """
    plain = stage(rod=ROD.split("thread")[0] + "bow = 2").model
    found = loads.rod_column(plain, "push")
    steel = HANDBOOK["4130 normalized"]
    inertia, area = math.pi / 64 * (12**4 - 10**4), math.pi / 4 * (12**2 - 10**2)
    euler = math.pi**2 * steel.modulus * inertia / 900**2

    def off(load):
        return load / area + load * 2 / (1 - load / euler) * 6 / inertia - steel.yield_stress

    assert found.rule == "its bow"
    assert found.load == pytest.approx(brentq(off, 1.0, euler * (1 - 1e-9)), rel=2e-4)
    assert loads.rod_column(rod_of("bow = 2"), "push").load < found.load


def test_thin_walls():
    """AISC 360 (from memory): full yield up to D/t = 0.11 E/Fy, none of its rules past 0.45."""
    alloy = HANDBOOK["6061-T6"]
    limit = alloy.modulus / alloy.yield_stress
    assert loads.wall_stress(0.11 * limit, 1.0, alloy) == alloy.yield_stress
    there = loads.wall_stress(0.3 * limit, 1.0, alloy)
    assert there == pytest.approx(alloy.yield_stress * (0.038 / 0.3 + 2 / 3))
    assert math.isnan(loads.wall_stress(0.46 * limit, 1.0, alloy))


def test_a_wall_beyond_every_rule_is_named_as_not_judged():
    """D/t of 250 of a steel of E/Fy 387: past 0.45 E/Fy, where no column load is known."""
    rod = 'diameter = 200\nwall = 0.8\nmaterial = "4130 normalized"'
    results = Results(system_of(STAGE.format(stick="", horn="", rod=rod, surface="")))
    row = results.rod_margins.iloc[0]
    assert math.isnan(row["column_margin"])
    assert row["tube_margin"] > 0
    assert any("strength as a column of" in words and row["rod"] in words
               for words in results.verdict.unknown)


def test_a_tube_shakes_as_a_pinned_beam():
    """f = π/2 √(E I / (m L⁴)) in SI by hand (Blevins, from memory), by the engine's speeds."""
    system = system_of("engine = [2000, 2700]\n" + STAGE.format(
        stick="", horn="", rod=TUBED, surface=""))
    inertia, area = math.pi / 64 * (0.012**4 - 0.010**4), math.pi / 4 * (0.012**2 - 0.010**2)
    steel = HANDBOOK["4130 normalized"]
    mass = steel.density * 1e9 * area
    hertz = math.pi / 2 * math.sqrt(steel.modulus * 1e6 * inertia / (mass * 0.9**4))
    row = loads.rod_vibration(system).iloc[0]
    assert row["first"] == pytest.approx(60 * hertz, rel=1e-9)
    assert row["engine"] == min((2000, 2700), key=lambda rpm: abs(rpm / row["first"] - 1))
    assert row["near"] == (abs(row["ratio"] - 1) <= 0.2)


def test_handbook_material():
    """4130 normalized: E 29.0e6 psi, Fty 75, Ftu 95 ksi (Bruhn, table of chapter C4)."""
    steel = HANDBOOK["4130 normalized"]
    assert steel.modulus == pytest.approx(29.0e6 * KSI / 1000)
    assert (steel.yield_stress, steel.ultimate) == pytest.approx((75 * KSI, 95 * KSI))
    assert all("memory" in part.source for name, part in HANDBOOK.items() if name[0] != "4")
