"""Spatial rods (RSSR, RSSP) and a two-axis stick against values worked in 40 digits.

No published RSSR with dimensions and answers was found; the golden values S1-S6 are own, from the
loop closure in 40-digit arithmetic, and S5 recalls Haug's spatial slider-crank (from memory).
Bodies: a crank about u1 through P1 with its pin at P1 + a0, a follower about u2 through P2 with
its pin at P2 + b0; phi counts from b0.
"""

import math

import mpmath
import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.spatial.transform import Rotation

import linkage
from linkage.model.file import parse_model

S1 = {"p1": (0, 0, 0), "u1": (1, 0, 0), "a0": (15, 0, 60),
      "p2": (220, 40, 30), "u2": (0, 1, 0), "b0": (0, -20, 45), "length": 206.51876428063383}
S2 = {"p1": (0, 0, 0), "u1": (0.2, 1, 0.1), "a0": (10, 3, 50),
      "p2": (180, -70, 20), "u2": (0.3, 0.4, -0.9), "b0": (-12, 38, 9),
      "length": 163.18700928689145}


def turned(axis, vector, degrees):
    axis = np.divide(axis, np.linalg.norm(axis))
    return Rotation.from_rotvec(math.radians(degrees) * axis).apply(vector)


def rssr(case, crank=0.0, follower=0.0):
    """System whose neutral is the crank at `crank` and the follower at `follower` degrees."""
    a = np.add(case["p1"], turned(case["u1"], case["a0"], crank))
    b = np.add(case["p2"], turned(case["u2"], case["b0"], follower))
    return linkage.System(parse_model(f"""
length = "mm"
[input.crank]
travel = [-180, 180]
[body.crank]
pivot = {list(case["p1"])}
axis = {list(case["u1"])}
input = "crank"
points = {{ pin = {a.tolist()} }}
[body.follower]
pivot = {list(case["p2"])}
axis = {list(case["u2"])}
points = {{ pin = {b.tolist()} }}
[rod.rod]
ends = ["crank/pin", "follower/pin"]
length = {case["length"]!r}
"""))


def wrap(degrees):
    return (np.asarray(degrees) + 180) % 360 - 180


# Case S1, own: both branches and the gearing of the first.
THETA = [-30, -15, 0, 15, 30]
S1_PHI = {0.0: [-0.01792305998033414, 0.9755766796890908, 0, -2.892534432818987,
                -7.545985129734431],
          -163.3486993391463: [-167.7525959155566, -165.4446936020428, -163.3486993391463,
                               -161.5765824895348, -160.2245338458025]}
S1_RATE = [0.1312531257571299, 0.000592035252786, -0.1300813008130081, -0.2538760795970888,
           -0.3635518435376919]


@pytest.mark.parametrize("branch", S1_PHI)
def test_s1_angles(branch):
    motion = rssr(S1, 0.0, branch).sweep(crank=THETA)
    np.testing.assert_allclose(wrap(branch + motion.angle("follower") - S1_PHI[branch]), 0,
                               atol=math.degrees(1e-12))


def test_s1_gearing():
    motion = rssr(S1).sweep(crank=THETA)
    np.testing.assert_allclose(motion.body_gearing("follower")["crank"], S1_RATE, atol=1e-13)


def test_s1_gearing_vanishes_where_the_driving_end_is_in_line():
    """The zero near -15 belongs to the input arm, in line with its rod (own)."""
    system = rssr(S1)
    zero = brentq(lambda x: system.sweep(crank=x).body_gearing("follower")["crank"], -20, -10,
                  xtol=1e-13)
    margins = system.sweep(crank=zero).margins("rod")
    assert margins["crank/pin"] < 1e-9
    assert margins["follower/pin"] > 45


# Case S2, own: general axes; no closure below its toggle.
S2_TOGGLE = -16.16555089931
S2_PHI = {0.0: [-34.20974987527666, 0, 20.5662934425673, 37.01173814854345],
          -89.45103827967689: [-57.06180053837996, -89.45103827967689, -108.9523916134166,
                               -125.3508499179968]}


@pytest.mark.parametrize("branch", S2_PHI)
def test_s2_angles_and_reach(branch):
    motion = rssr(S2, 0.0, branch).sweep(crank=THETA)
    np.testing.assert_array_equal(motion.reachable, [False, True, True, True, True])
    assert np.isnan(motion.angle("follower")[0])
    np.testing.assert_allclose(wrap(branch + motion.angle("follower")[1:] - S2_PHI[branch]), 0,
                               atol=math.degrees(1e-12))


def test_s2_reach_ends_at_the_toggle():
    system = rssr(S2)
    motion = system.sweep(crank=[S2_TOGGLE - 1e-9, S2_TOGGLE + 1e-9])
    np.testing.assert_array_equal(motion.reachable, [False, True])


def closure(case, theta):
    """A, B and C of the follower's closure in 40 digits, theta in degrees as a double."""
    def vector(v):
        return [mpmath.mpf(k) for k in v]

    def dot(v, w):
        return mpmath.fsum(x * y for x, y in zip(v, w, strict=True))

    def cross(v, w):
        return [v[1] * w[2] - v[2] * w[1], v[2] * w[0] - v[0] * w[2], v[0] * w[1] - v[1] * w[0]]

    def unit(v):
        size = mpmath.sqrt(dot(v, v))
        return [k / size for k in v]

    u1, u2 = unit(vector(case["u1"])), unit(vector(case["u2"]))
    a0, b0 = vector(case["a0"]), vector(case["b0"])
    turn = mpmath.radians(theta)
    along = [dot(u1, a0) * k for k in u1]
    square = [x - y for x, y in zip(a0, along, strict=True)]
    a = [p + x + y * mpmath.cos(turn) + z * mpmath.sin(turn) for p, x, y, z in
         zip(vector(case["p1"]), along, square, cross(u1, square), strict=True)]
    along = [dot(u2, b0) * k for k in u2]
    square = [x - y for x, y in zip(b0, along, strict=True)]
    w = [x - p - y for x, p, y in zip(a, vector(case["p2"]), along, strict=True)]
    return (2 * dot(w, square), 2 * dot(w, cross(u2, square)),
            dot(w, w) + dot(square, square) - mpmath.mpf(case["length"]) ** 2)


# Conditioning near a toggle: McCarthy & Soh, Geometric Design of Linkages, app. A, eqs A.1-A.5
# (SEEN, formula only) in 40 digits; measured errors in doubles grow from 4e-16 to 1e-10 rad (own).
@pytest.mark.parametrize(("short", "allowed"), [(1e-1, 1e-14), (1e-4, 1e-13), (1e-6, 1e-12),
                                                (1e-8, 1e-10), (1e-10, 1e-9), (1e-12, 1e-9)])
def test_s2_stays_accurate_towards_its_toggle(short, allowed):
    with mpmath.workdps(40):
        def room(theta):
            a, b, c = closure(S2, theta)
            return a * a + b * b - c * c

        toggle = mpmath.findroot(room, mpmath.mpf(S2_TOGGLE))
        theta = float(toggle + mpmath.degrees(mpmath.mpf(short)))
        a, b, c = closure(S2, theta)
        expected = mpmath.atan2(b, a) + mpmath.acos(c / mpmath.hypot(a, b))
        found = rssr(S2).sweep(crank=theta).angle("follower")
        miss = mpmath.radians(mpmath.mpf(float(found))) - expected
        assert abs(math.remainder(float(miss), math.tau)) < allowed


# Case S3, own: planar reduction, arms 40 and 80, centres 100, rod 120.
def test_s3_planar_reduction():
    case = {"p1": (0, 0, 0), "u1": (0, 0, 1), "a0": (40, 0, 0), "p2": (100, 0, 0),
            "u2": (0, 0, 1), "b0": (80, 0, 0), "length": 120.0}
    for at_30, at_40 in ((55.26777722321221, 57.32488007036), (270.7037593774012, -98.00496407803)):
        motion = rssr(case, 30.0, at_30).sweep(crank=[0.0, 10.0])
        found = at_30 + motion.angle("follower")
        np.testing.assert_allclose(wrap(found - [at_30, at_40]), 0, atol=2e-11)


# Case S4, own: spherical reduction. Shafts meet at 60, pin cones 35 and 50, radii 50 and 70; both
# pins start in the plane of the shafts, the crank's between them, the follower's beyond its own.
S4 = {"p1": (0, 0, 0), "u1": (0, 0, 1), "p2": (0, 0, 0),
      "u2": (math.sin(math.radians(60)), 0, math.cos(math.radians(60))),
      "a0": tuple(50 * turned((0, 1, 0), (0, 0, 1), 35)),
      "b0": tuple(70 * turned((0, 1, 0), (0, 0, 1), 110)), "length": 78.64135525492607}


@pytest.mark.parametrize("phi", [299.79315866422843, -3.5601403781981302])
def test_s4_spherical_reduction(phi):
    """The golden posture closes, and others meet the law of cosines on the sphere (own)."""
    system = rssr(S4, 30.0, phi)
    assert abs(system.offsets["follower"]) < math.degrees(1e-12)
    for theta in (40.0, 60.0, 90.0):
        found = phi + system.sweep(crank=theta - 30.0).angle("follower")
        assert np.min(np.abs(wrap(found - spherical(theta)))) < math.degrees(1e-12)


def spherical(theta):
    """Both angles of S4's follower by the law of cosines on the sphere, degrees."""
    cos, sin = lambda x: math.cos(math.radians(x)), lambda x: math.sin(math.radians(x))
    far = math.acos(cos(35) * cos(60) + sin(35) * sin(60) * cos(theta))
    spread = math.asin(sin(35) * sin(theta) / math.sin(far))
    if cos(35) < math.cos(far) * cos(60):
        spread = math.pi - spread
    opens = math.acos((cos(80) - cos(50) * math.cos(far)) / (sin(50) * math.sin(far)))
    return 180 + np.degrees([-spread + opens, -spread - opens])


# Case S5, from memory: Haug's spatial slider-crank (crank 0.08, rod 0.3, shaft along x through
# (0, 0.1, 0.12), slider on the x axis), worked in 40 digits (own); here in mm.
def test_s5_rssp():
    system = linkage.System(parse_model("""
length = "mm"
[input.crank]
travel = [-180, 180]
[body.crank]
pivot = [0, 100, 120]
axis = [1, 0, 0]
input = "crank"
points = { pin = [0, 100, 200] }
[body.slider]
slide = [1, 0, 0]
points = { pin = [200, 0, 0] }
[rod.rod]
ends = ["crank/pin", "slider/pin"]
length = 300
"""))
    motion = system.sweep(crank=[0, 30, 45, 90, 135, 180, 270])
    expected = [200, 224.8828856257, 238.615293517, 274.226184016, 289.9830317411, 280,
                207.8460969083]
    np.testing.assert_allclose(motion.point("slider/pin")[:, 0], expected, rtol=2e-13)
    np.testing.assert_allclose(200 + motion.angle("slider"), expected, rtol=2e-13)


# Case S6, own: roll outside, pitch inside, Rx(roll) Ry(pitch).
def test_s6_two_axis_stick_turns_in_the_right_order():
    system = linkage.System(parse_model("""
length = "mm"
[input.outer]
travel = [-30, 30]
[input.inner]
travel = [-30, 30]
[body.yoke]
pivot = [0, 0, 0]
axis = [1, 0, 0]
input = "outer"
[body.stick]
on = "yoke"
pivot = [0, 0, 0]
axis = [0, 1, 0]
input = "inner"
points = { pin = [30, 5, -40] }
"""))
    found = system.sweep(outer=20, inner=-15).point("stick/pin")
    np.testing.assert_allclose(found, [39.33053659277, 15.25746687886, -27.30052372694], atol=1e-10)
    angles = np.array([[20, -15], [30, 30], [-10, 25]])
    expected = Rotation.from_euler("XY", angles, degrees=True).apply([30, 5, -40])
    np.testing.assert_allclose(system.sweep(outer=angles[:, 0], inner=angles[:, 1])
                               .point("stick/pin"), expected, atol=1e-12)
