"""Plate arms that buckle out of their plane: Timoshenko and Gere's strips, and strips of its own.

S. Timoshenko and J. Gere, Theory of Elastic Stability, 2nd ed.: 2.1 (column fixed at one end) and
6.3 (narrow cantilever under a load at its end), from memory; the roots are found here again.
"""

import math

import numpy as np
import pytest
from scipy.linalg import eig
from scipy.optimize import brentq
from scipy.special import jv
from systems.load_models import stage
from test_plates import HORN, PULL

from linkage import loads
from linkage.loads.buckling import strip_loads
from linkage.loads.plates import torsion_constants
from linkage.model import HANDBOOK

METAL = HANDBOOK["2024-T3"]
LONG, WIDE, THIN = 120.0, 20.0, 2.0


def strip(offset=0.0):
    torsion = float(torsion_constants(np.array([WIDE]), THIN)[0])
    bends = METAL.modulus * WIDE * THIN**3 / 12
    return strip_loads((LONG, WIDE, THIN, torsion), METAL, offset), bends, (
        METAL.shear_modulus * torsion)


def ritz(press, bend, lean, bends, twists, above=0.0):
    """Factor on the loads at which a cantilever strip buckles: side way w = x² ..., turn x ...

    Energy EI w''² + GJ turn'² against press w'² + 2 bend (L - x) w'' turn + lean w(L)² + bend above
    turn(L)².
    """
    x, weights = np.polynomial.legendre.leggauss(40)
    x, weights = (x + 1) / 2, weights / 2  # of the length
    k = np.arange(2, 10)[:, None]
    slope, curve = k * x**(k - 1), k * (k - 1) * x**(k - 2)
    m = np.arange(1, 9)[:, None]
    turn, twist = x**m, m * x**(m - 1)
    none = np.zeros((8, 8))
    stiff = np.block([[bends / LONG**3 * (curve * weights) @ curve.T, none],
                      [none, twists / LONG * (twist * weights) @ twist.T]])
    mixed = bend * (curve * weights * (1 - x)) @ turn.T
    tip = np.ones((8, 8))
    load = np.block([[press / LONG * (slope * weights) @ slope.T + lean * tip, mixed],
                     [mixed.T, bend * above * tip]])
    shares = np.real(eig(load, stiff, right=False))
    return 1 / shares.max()


def test_the_published_cantilevers():
    """π² / 4, 4.013 by the least root of J(-1/4), 3, each also by a Ritz strip of its own."""
    (pressed, bent, stiff), bends, twists = strip()
    root = brentq(lambda x: jv(-0.25, x), 1.5, 2.5)
    assert 2 * root == pytest.approx(4.013, abs=1e-3)
    assert bent == pytest.approx(2 * root * math.sqrt(bends * twists) / LONG**2, rel=2e-4)
    assert ritz(1.0, 0, 0, bends, twists) == pytest.approx(pressed, rel=1e-6)
    assert ritz(0, 1.0, 0, bends, twists) == pytest.approx(bent, rel=2e-4)
    assert ritz(0, 0, 1.0, bends, twists) == pytest.approx(stiff, rel=1e-6)


@pytest.mark.parametrize("above", [1.0, 3.0, 6.0])
def test_a_load_beside_the_middle_line(above):
    """Timoshenko and Gere's correction is of the first order in a / L: within 1 % to a tenth."""
    (_, bent, _), bends, twists = strip(above)
    assert bent == pytest.approx(ritz(0, 1.0, 0, bends, twists, above), rel=0.01)


def test_shares_added_up_are_never_less_than_the_true_one():
    (pressed, bent, stiff), bends, twists = strip()
    random = np.random.default_rng(5)
    for _ in range(200):
        press, bend, lean = random.uniform(0, 1, 3) * random.integers(0, 2, 3) * (
            pressed, bent, stiff)
        added = press / pressed + bend / bent + lean / stiff
        if added > 0:
            true = 1 / ritz(press, bend, lean, bends, twists)
            assert true <= added * (1 + 3e-4)
            assert true >= added / 3  # the greatest alone is no more than the true one


def test_a_horn_by_hand():
    """At 20° the rod's force has sin 20° along the arm; all signs occur over cases and travel."""
    row = loads.tube_margins(stage(surface=HORN)).set_index("body").loc["horn/arm"]
    width = 30 - 8.0  # through a hole of 8 mm
    bends = METAL.modulus * width * 6**3 / 12
    torsion = 2 * float(torsion_constants(np.array([11.0]), 6.0)[0])
    twists = METAL.shear_modulus * torsion
    force = PULL / math.cos(math.radians(20))
    wanted = (force * math.sin(math.radians(20)) / (math.pi**2 * bends / (4 * 60**2))
              + PULL / (4.013 * math.sqrt(bends * twists) / 60**2)
              + 2 * force / (900 * 3 * bends / 60**3))
    assert row["buckling"] == pytest.approx(wanted, rel=2e-3)


def test_a_thin_arm_buckles_though_it_would_not_yield():
    thin = HORN.replace("thickness = 6", "thickness = 2").replace(
        "[-80, -15], [15, -15], [15, 15], [-80, 15]", "[-80, -40], [40, -40], [40, 40], [-80, 40]")
    row = loads.tube_margins(stage(surface=thin)).set_index("body").loc["horn/arm"]
    assert row["stress"] < METAL.yield_stress < METAL.ultimate
    assert row["buckling"] > 1
    assert row["margin"] < 0
