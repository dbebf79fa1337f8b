"""Planar four-bars against textbook numbers and elementary circle geometry.

Every linkage is written as a model file, with its hardpoints at some closed posture of the wanted
branch; that posture comes from the meeting of two circles, worked here in 40 digits.

Status of a source: SEEN (read), SEEN-PART (part read, the rest said), from memory, or own.
Link names: a crank, b coupler, c rocker, d ground; "open" has the rocker pin above the diagonal.
"""

import math

import mpmath
import numpy as np
import pytest
from scipy.optimize import brentq

import linkage
from linkage.model.file import parse_model

GRAPHICAL = 0.06  # numbers measured on paper; at worst 5.3 % off where they could be checked


def meeting(a, b, c, ground, crank, side):
    """Crank pin and rocker pin of a four-bar, mm: side +1 open, -1 crossed."""
    with mpmath.workdps(40):
        turn = mpmath.radians(mpmath.mpf(crank))
        p = mpmath.matrix([a * mpmath.cos(turn), a * mpmath.sin(turn)])
        q = mpmath.matrix([mpmath.mpf(str(k)) for k in ground])
        along = q - p
        apart = mpmath.norm(along)
        reach = (apart**2 + mpmath.mpf(b)**2 - mpmath.mpf(c)**2) / (2 * apart)
        high = mpmath.sqrt(mpmath.mpf(b)**2 - reach**2) * side / apart
        at = p + along * (reach / apart) + mpmath.matrix([-along[1], along[0]]) * high
        return [float(k) for k in p], [float(k) for k in at]


def four_bar(lengths, *, neutral=90.0, side=1, ground=None, unit="mm", rod_given=True):
    """System and the crank and rocker angles of its neutral, degrees."""
    a, b, c, d = lengths
    ground = ground or (d, 0.0)
    p, at = meeting(a, b, c, ground, neutral, side)
    text = f"""
length = "{unit}"
[input.crank]
travel = [-180, 180]
[body.crank]
pivot = [0, 0, 0]
axis = "vertical"
input = "crank"
points = {{ pin = [{p[0]!r}, {p[1]!r}, 0] }}
[body.rocker]
pivot = [{ground[0]!r}, {ground[1]!r}, 0]
axis = "vertical"
points = {{ pin = [{at[0]!r}, {at[1]!r}, 0] }}
[rod.coupler]
ends = ["crank/pin", "rocker/pin"]
{f"length = {b!r}" if rod_given else ""}
"""
    rocker = math.degrees(math.atan2(at[1] - ground[1], at[0] - ground[0]))
    return linkage.System(parse_model(text)), neutral, rocker


def at_crank(made, crank):
    """Motion with the crank at an angle of the source, and the rocker's angle there."""
    system, neutral, rocker = made
    motion = system.sweep(crank=np.asarray(crank, float) - neutral)
    return motion, rocker + motion.angle("rocker")


def coupler_angle(motion):
    way = motion.point("rocker/pin") - motion.point("crank/pin")
    return np.degrees(np.arctan2(way[..., 1], way[..., 0]))


def speeds(motion, omega):
    """Rocker rad/s, coupler rad/s, rocker pin and coupler ends' difference mm/s."""
    rocker = motion.body_gearing("rocker")["crank"] * omega
    p, q = (np.squeeze([np.broadcast_to(k, (1, *motion.shape)) for k in
                        motion.input_rates.place(end)]) * omega
            for end in ("crank/pin", "rocker/pin"))
    way = motion.point("rocker/pin") - motion.point("crank/pin")
    turn = (way[0] * (q - p)[1] - way[1] * (q - p)[0]) / (way @ way)
    return float(rocker), float(turn), float(np.linalg.norm(q)), float(np.linalg.norm(q - p))


def acceleration(made, crank, omega, alpha=0.0):
    """Rocker rad/s2: gearing differenced along the crank (Richardson), times omega squared."""
    def slope(h):
        motion, _ = at_crank(made, [crank - h, crank + h])
        low, high = motion.body_gearing("rocker")["crank"]
        return (high - low) / np.radians(2 * h)

    gear = at_crank(made, crank)[0].body_gearing("rocker")["crank"]
    return (4 * slope(0.25) - slope(0.5)) / 3 * omega**2 + gear * alpha


def differ(one, other):
    """Difference of two angles, degrees, wrapped."""
    return (np.asarray(one) - other + 180) % 360 - 180


# Course program "A Four-bar Mechanism - Kinematic analysis by integration" (public repository
# skorbiz/matlab-workspace, Kinem.m), SEEN: printed to four decimals.
def test_course_program_position_and_velocity():
    made = four_bar((1, 3, 2.2, None), ground=(2.0, 0.5), neutral=60.0)
    motion, rocker = at_crank(made, 90.0)
    omega_rocker, omega_coupler, _, _ = speeds(motion, 2 * np.pi)
    found = [np.radians(coupler_angle(motion)), np.radians(rocker), omega_coupler, omega_rocker]
    np.testing.assert_allclose(found, [0.5782, 1.3357, 0.7099, 3.4807], rtol=0, atol=0.5e-4)
    # The same worked in 40 digits (own).
    np.testing.assert_allclose(
        found, [0.5781802212748, 1.335739738401, 0.7098597866919, 3.480716678898], rtol=1e-12)


# "Example 5.2 (four-bar mechanism)" of a multibody course, SEEN-PART (data, no answers); answers
# worked in 40 digits (own).
@pytest.mark.parametrize(("side", "expected"), [
    (1, (15.59159927133, 43.46635013103, 0.02862217750529, 0.7160755715522)),
    (-1, (287.0583006025, 259.1835497428, -0.6008528869969, -1.288306281044)),
])
def test_course_example_both_branches(side, expected):
    made = four_bar((100, 300, 220, 200), side=side, neutral=70.0)
    motion, rocker = at_crank(made, 45.0)
    omega_rocker, omega_coupler, _, _ = speeds(motion, 1.5)
    assert abs(differ(coupler_angle(motion), expected[0])) < 1e-10
    assert abs(differ(rocker, expected[1])) < 1e-10
    np.testing.assert_allclose([omega_coupler, omega_rocker], expected[2:], rtol=1e-11)


NORTON = (40, 120, 80, 100)


# Norton, Design of Machinery, Example 4-1 with its velocities and accelerations: data and printed
# digits from memory, worked in 50 digits (own).
@pytest.mark.parametrize(("side", "printed", "worked"), [
    (1, (57.33, 20.30), (57.324880070361, 20.297882788196, -4.1209144153477, 6.9979852421768,
                         559.83881937414, 470.13353026102)),
    (-1, (-98.01, -60.98), (-98.004964078029, -60.977966795864, -9.2587722995397, -20.377671957064,
                            1630.2137565651, 423.57806298957)),
])
def test_norton_example_4_1(side, printed, worked):
    made = four_bar(NORTON, side=side)
    motion, rocker = at_crank(made, 40.0)
    # The recalled digits were cut or rounded by one unit of the last: 0.01.
    assert abs(differ(rocker, printed[0])) < 0.01
    assert abs(differ(coupler_angle(motion), printed[1])) < 0.01
    assert abs(differ(rocker, worked[0])) < 1e-10
    assert abs(differ(coupler_angle(motion), worked[1])) < 1e-10
    omega_rocker, omega_coupler, pin, _ = speeds(motion, 25.0)
    np.testing.assert_allclose([omega_coupler, omega_rocker, pin], worked[2:5], rtol=1e-11)
    # Differenced, so only to the difference's own error.
    assert abs(acceleration(made, 40.0, 25.0, 15.0) / worked[5] - 1) < 1e-6


def test_norton_recalled_velocities():
    """From memory: omega3 -4.121, omega4 6.998 rad/s, pin 559.8 mm/s."""
    omega_rocker, omega_coupler, pin, _ = speeds(at_crank(four_bar(NORTON), 40.0)[0], 25.0)
    assert abs(omega_coupler + 4.121) < 0.5e-3
    assert abs(omega_rocker - 6.998) < 0.5e-3
    assert abs(pin - 559.8) < 0.05


# The table row "a" of a Norton problem: data SEEN in a posted question, answers from memory
# (88.84, 117.29, -6.0, -4.0 and -115.21, -143.66, -0.66, -2.66), worked in 50 digits (own).
@pytest.mark.parametrize(("side", "printed", "worked"), [
    (1, (88.84, 117.29, -6.0, -4.0), (88.837241300262, 117.28606786035, -5.9909657185861,
                                      -3.9917347902139)),
    (-1, (-115.21, -143.66, -0.66, -2.66), (-115.21081216429, -143.65963872438,
                                            -0.66235200492797, -2.6615829333002)),
])
def test_norton_problem_row_a(side, printed, worked):
    made = four_bar((2, 7, 9, 6), side=side, neutral=60.0, unit="in")
    motion, rocker = at_crank(made, 30.0)
    omega_rocker, omega_coupler, _, _ = speeds(motion, 10.0)
    found = np.array([coupler_angle(motion), rocker, omega_coupler, omega_rocker])
    np.testing.assert_allclose(found, worked, rtol=1e-11)
    np.testing.assert_allclose(found[:2], printed[:2], rtol=0, atol=0.005)
    np.testing.assert_allclose(found[2:], printed[2:], rtol=0, atol=0.01)  # cut, not rounded


# Velocity polygons measured on paper (textbook companion notebooks): printed values within
# GRAPHICAL; the last figures are the same worked in 50 digits (own).
@pytest.mark.parametrize(("lengths", "omega", "printed", "worked"), [
    # Khurmi & Gupta, Theory of Machines, ex. 7.1, p. 148, SEEN: omega of CD
    ((40, 150, 80, 150), 2 * np.pi * 120 / 60, {"rocker": 4.8}, {"rocker": 4.7845709475187}),
    # Khurmi ex. 8.4, p. 184, SEEN-PART (angle 60 from memory)
    ((62.5, 175, 112.5, 200), 10.0, {"rocker": 3.79, "coupler": 1.9, "pin": 426, "across": 333},
     {"rocker": 3.787072343328, "coupler": -1.980026017488, "pin": 426.0456386244,
      "across": 346.5045530604}),
    # Sarkar ch. 1 ill. 6, p. 20, SEEN-PART (angle 60 from memory)
    ((62.5, 175, 112.5, 200), 2 * np.pi * 100 / 60, {"rocker": 4.0, "coupler": 2.143},
     {"rocker": 3.9658128841374, "coupler": -2.073478396819}),
    # Khurmi ex. 8.5, p. 186, SEEN-PART (ground 600 and angle 60 from memory)
    ((300, 360, 360, 600), 10.0, {"rocker": 6.1, "coupler": 5.7},
     {"rocker": 6.0192926542885, "coupler": -6.0192926542885}),
    # Khurmi ex. 6.1, p. 126, SEEN-PART (ground 600 and angle 60 from memory)
    ((300, 360, 360, 600), 2 * np.pi * 100 / 60, {"coupler": 6.283},
     {"coupler": -6.3033885275065}),
])
def test_velocity_polygons(lengths, omega, printed, worked):
    motion, _ = at_crank(four_bar(lengths, neutral=80.0), 60.0)
    found = dict(zip(("rocker", "coupler", "pin", "across"), speeds(motion, omega), strict=True))
    for name, value in printed.items():
        assert abs(abs(found[name]) / value - 1) < GRAPHICAL, name
    for name, value in worked.items():
        assert abs(found[name] / value - 1) < 1e-11, name


# Bevan, Theory of Machines, ch. 3 ex. 5, p. 98, SEEN: inches, ft/s, 100 rpm, angle 60.
def test_bevan_chapter_3_example_5_in_inches():
    omega = 2 * np.pi * 100 / 60
    made = four_bar((2.5, 7, 4.5, 8), unit="in", neutral=75.0)
    motion, _ = at_crank(made, 60.0)
    rocker, coupler, pin, across = speeds(motion, omega)
    crank_pin = omega * np.linalg.norm(motion.point("crank/pin"))
    found = np.array([crank_pin, pin, across]) / 304.8  # mm/s to ft/s
    np.testing.assert_allclose(found, [2.18, 1.47, 1.26], rtol=GRAPHICAL)
    np.testing.assert_allclose(found, [2.1816615649929, 1.4871798315515, 1.2095290648111],
                               rtol=1e-11)
    alpha = acceleration(made, 60.0, omega)
    assert abs(alpha / 50.9 - 1) < GRAPHICAL
    assert abs(alpha / 50.601966101644 - 1) < 1e-6  # differenced


# Khurmi ex. 8.5 with its angular acceleration, SEEN-PART (ground 600, angle 60 and both turns
# clockwise from memory): omega 10 rad/s, alpha 30 rad/s2.
def test_khurmi_8_5_acceleration():
    alpha = acceleration(four_bar((300, 360, 360, 600), neutral=80.0), 60.0, -10.0, -30.0)
    assert abs(alpha / 73.9 - 1) < GRAPHICAL
    assert abs(alpha / 77.451499328756 - 1) < 1e-6  # differenced


# Posted exercise (AD 15, AB 5, BC 11, CD 8 cm, 60 degrees, 120 rpm), SEEN data, worked here in
# 50 digits (own).
@pytest.mark.parametrize(("side", "rocker"), [(1, 5.2604232916774), (-1, 7.0556190937288)])
def test_posted_exercise_both_branches(side, rocker):
    motion, _ = at_crank(four_bar((50, 110, 80, 150), side=side, neutral=40.0), 60.0)
    omega = abs(speeds(motion, 2 * np.pi * 120 / 60)[0])
    assert abs(omega / rocker - 1) < 1e-11


# Transmission angle: the textbook formula cos mu = (b2 + c2 - (d -+ a)2)/(2 b c), numbers own.
@pytest.mark.parametrize(("crank", "angle"), [(0.0, 26.384329749408), (180.0, 86.416678301528),
                                              (40.0, 37.026997282164)])
def test_margin_of_the_rocker_end_is_the_transmission_angle(crank, angle):
    motion, _ = at_crank(four_bar(NORTON), crank)
    assert abs(motion.margins("coupler")["rocker/pin"] - angle) < 1e-9


# Dead-centre loop equations of a crank-rocker (Soylemez, Mechanisms, METU open course, 7.1,
# eqs 7-12, SEEN): crank and coupler in line; numbers own.
@pytest.mark.parametrize(("between", "crank", "rocker"), [
    ((10.0, 40.0), 24.146847996502, 54.900367804606),
    ((215.0, 250.0), 231.31781254651, 128.68218745349),
])
def test_limit_positions_have_no_gearing(between, crank, rocker):
    made = four_bar(NORTON, neutral=120.0)
    found = brentq(lambda x: at_crank(made, x)[0].body_gearing("rocker")["crank"], *between,
                   xtol=1e-13)
    assert abs(found - crank) < 1e-10
    motion, angle = at_crank(made, found)
    assert abs(angle - rocker) < 1e-10
    assert motion.margins("coupler")["crank/pin"] < 1e-8  # the driving end is in line


def last_within(made, inside, outside):
    """Crank angle at which reaching ends, by halving, degrees."""
    for _ in range(60):
        middle = (inside + outside) / 2
        inside, outside = (middle, outside) if at_crank(made, middle)[0].reachable else (
            inside, middle)
    return inside


# Input toggles cos theta2 = (a2 + d2 - b2 - c2)/(2 a d) +- b c/(a d): Norton ch. 4, from memory;
# numbers own.
@pytest.mark.parametrize(("lengths", "neutral", "inside", "outside", "toggle"), [
    ((6, 4, 5, 8), 30.0, 30.0, 120.0, 78.58484225727),
    ((7, 9, 2, 6), 90.0, 90.0, 30.0, 64.62306647485),
    ((7, 9, 2, 6), 90.0, 90.0, 150.0, 115.3769335252),
    ((9, 2, 7, 6), 50.0, 50.0, 10.0, 31.58633809653),
    ((9, 2, 7, 6), 50.0, 50.0, 90.0, 70.52877936551),
    ((6, 3, 4, 7), 30.0, 30.0, 120.0, 64.623066474848),  # change point, 10 = 10
])
def test_reach_ends_at_the_toggle(lengths, neutral, inside, outside, toggle):
    made = four_bar(lengths, neutral=neutral)
    assert at_crank(made, inside)[0].reachable
    motion, rocker = at_crank(made, outside)
    assert not motion.reachable
    assert np.isnan(rocker)
    assert abs(last_within(made, inside, outside) - toggle) < 1e-9


def test_given_rod_length_moves_the_neutral():
    """Hardpoints of a shorter rod: at zero input the rocker stands where the circles meet (own)."""
    a, b, c, d = NORTON
    right = meeting(a, b, c, (d, 0.0), 90.0, 1)[1]
    short = meeting(a, b - 5, c, (d, 0.0), 90.0, 1)[1]
    text = f"""
length = "mm"
[input.crank]
travel = [-180, 180]
[body.crank]
pivot = [0, 0, 0]
axis = "vertical"
input = "crank"
points = {{ pin = [0, {a}, 0] }}
[body.rocker]
pivot = [{d}, 0, 0]
axis = "vertical"
points = {{ pin = [{short[0]!r}, {short[1]!r}, 0] }}
[rod.coupler]
ends = ["crank/pin", "rocker/pin"]
length = {b}
"""
    system = linkage.System(parse_model(text))
    turned = [math.degrees(math.atan2(y, x - d)) for x, y in (short, right)]
    assert abs(system.offsets["rocker"] - (turned[1] - turned[0])) < 1e-10
    np.testing.assert_allclose(system.sweep().point("rocker/pin"), [*right, 0], atol=1e-10)
