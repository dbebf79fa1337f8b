"""Single stages of a differential aileron run: golden values and the long-rod closed form (own).

Arm pin at (Rb sin(beta + theta), Rb cos(beta + theta)) from (0, 0), horn pin likewise with Rh and
eta from (span, offset): angles count clockwise, so both bodies turn about -z.
"""

import math

import numpy as np
import pytest

import linkage
from linkage.model.file import parse_model

ARMS = [-30, -20, -10, 10, 20, 30]


def stage(made, rod=None):
    arm, rake, horn, horn_rake, span, offset = made

    def pin(radius, angle):
        turn = math.radians(angle)
        return radius * math.sin(turn), radius * math.cos(turn)

    a, b = pin(arm, rake), np.add(pin(horn, horn_rake), (span, offset))
    return linkage.System(parse_model(f"""
length = "mm"
[input.arm]
travel = [-30, 30]
[body.arm]
pivot = [0, 0, 0]
axis = [0, 0, -1]
input = "arm"
points = {{ pin = [{a[0]!r}, {a[1]!r}, 0] }}
[body.horn]
pivot = [{float(span)!r}, {float(offset)!r}, 0]
axis = [0, 0, -1]
points = {{ pin = [{float(b[0])!r}, {float(b[1])!r}, 0] }}
[rod.rod]
ends = ["arm/pin", "horn/pin"]
{"" if rod is None else f"length = {rod!r}"}
"""))


D1 = (40, 30, 40, 0, 400, 40 * (math.cos(math.radians(30)) - 1))
D2 = (50, 45, 45, -20, 600, 10)
D3 = (40, 0, 40, 0, 400, 0)


# Golden stages, own, 50 digits: horn at arm -30, -20, -10, 10, 20, 30, and up/down at 20.
@pytest.mark.parametrize(("made", "rod", "horn", "differential"), [
    (D1, 380.0, [-30.25455919998, -19.14421461605, -9.112398599891, 8.18461877225, 15.31881708317,
                 21.18225939221], 1.249718859629),
    (D2, 549.5146401952, [-36.94466699584, -20.71906226784, -9.078435661944, 7.023781490691,
                          12.09553078129, 15.17028355548], 1.712951886319),
    (D3, 400.0, ARMS, 1.0),
])
def test_golden_stage(made, rod, horn, differential):
    system = stage(made)
    found = system.sweep(arm=ARMS).angle("horn")
    np.testing.assert_allclose(found, horn, rtol=0, atol=1e-11)
    assert abs(-found[1] / found[4] - differential) < 1e-12
    # The rod as printed, to its last figure, leaves the hardpoints where they are.
    assert abs(stage(made, rod=rod).offsets["horn"]) < 1e-10


# Slope at neutral of the exact rod in the long-rod limit: g = Rb cos beta / (Rh cos eta), own.
@pytest.mark.parametrize(("made", "slope", "limits"), [
    (D1, 0.8660254037844, (-19.04749486368, 15.42902301045)),
    (D2, 0.8360970214508, (-21.15653615002, 13.06832252548)),
])
def test_long_rod_limit(made, slope, limits):
    """delta = asin(sin eta + Rb/Rh (sin(beta + theta) - sin beta)) - eta, as the span grows.

    The miss falls with 1/span, so twice the longer less the shorter meets the limit to 1/span^2.
    """
    found = []
    for span in (2e5, 4e5):
        long = (*made[:4], span, made[5])
        motion = stage(long).sweep(arm=[-20.0, 0.0, 20.0])
        found.append([*motion.angle("horn")[[0, 2]], motion.body_gearing("horn")["arm"][1]])
    miss = np.array(found) - [*limits, slope]
    np.testing.assert_allclose(miss[0, :2] / miss[1, :2], 2.0, rtol=1e-3)
    np.testing.assert_allclose(2 * miss[1] - miss[0], 0, atol=1e-6)


def test_parallelogram_repeats_the_arm_exactly():
    """D3 is a parallelogram: the horn turns as the arm does, at gearing 1 everywhere (own)."""
    motion = stage(D3).sweep(arm=np.linspace(-60, 60, 49))
    np.testing.assert_allclose(motion.angle("horn"), np.linspace(-60, 60, 49), atol=1e-11)
    np.testing.assert_allclose(motion.body_gearing("horn")["arm"], 1.0, rtol=1e-12)
