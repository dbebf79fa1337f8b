"""Columns against handbook tables and charts (source beside each)."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq
from systems.load_models import IN

from linkage import loads
from linkage.model import HANDBOOK, Material
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


def test_handbook_material():
    """4130 normalized: E 29.0e6 psi, Fty 75, Ftu 95 ksi (Bruhn, table of chapter C4)."""
    steel = HANDBOOK["4130 normalized"]
    assert steel.modulus == pytest.approx(29.0e6 * KSI / 1000)
    assert (steel.yield_stress, steel.ultimate) == pytest.approx((75 * KSI, 95 * KSI))
    assert all("memory" in part.source for name, part in HANDBOOK.items() if name[0] != "4")
