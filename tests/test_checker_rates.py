"""The checker's intervals of rates hold the rates: by differences of a closure of its own.

A rod between two cranks in a plane, by the law of cosines (common practice, no source); turns of
vectors by SciPy's Rotation.
"""

import itertools
import math

import numpy as np
import pytest
from flint import arb, arb_mat
from scipy.spatial.transform import Rotation

from linkage.checker.builds import Built
from linkage.checker.motion import Motion
from linkage.checker.rates import Rates, hulled, turned
from linkage.checker.reading import read
from linkage.checker.taylor import ALL, column, cross_matrix

CRANKS = """
length = "mm"
input.lever.travel = [-40, 40]
tolerance = { hardpoint = 0.5, rod = 0.5 }
[body.lever]
pivot = [0, 0, 0]
axis = "lateral"
input = "lever"
points = { top = [10, 0, 80] }
[body.flap]
pivot = [300, 0, 20]
axis = "lateral"
points = { horn = [290, 0, 90] }
[rod.link]
ends = ["lever/top", "flap/horn"]
"""
PLACES = [np.array(k, float) for k in ((0, 0), (10, 80), (300, 20), (290, 90))]
STEP = 1e-5


def flap(lever, off):
    """Turn of the flap (radians about BL to the right), its places and the rod off by so much."""
    a, top, c, horn = (p + d for p, d in zip(PLACES, off[:8].reshape(4, 2), strict=True))
    rod = math.dist(PLACES[1], PLACES[3]) + off[8]
    turn = np.array([[math.cos(lever), math.sin(lever)], [-math.sin(lever), math.cos(lever)]])
    way = a + turn @ (top - a) - c
    arm, far = math.hypot(*(horn - c)), math.hypot(*way)
    between = math.acos((arm**2 + far**2 - rod**2) / (2 * arm * far))
    # the turn grows from up (WL) to aft (FS)
    return math.atan2(way[0], way[1]) + between - math.atan2(*(horn - c))


def shown(reach):
    """The interval of a flap's rate over cells of travel, shrunk to a share, and rates in it."""
    rng = np.random.default_rng(7)
    motion = Motion(read(CRANKS))
    built = Built(motion, 4, 4)
    drawn, allowed = Rates(motion), built.rates
    for _ in range(12):
        half = rng.uniform(0.5, 4)
        middle = rng.uniform(-20 + half, 20 - half)
        cell = ((middle - half, middle + half),)
        for rates, most in ((drawn, 0.0), (allowed, 0.5)):
            held = rates.by_input("flap", 0, cell)
            for _ in range(20):
                off = most * rng.choice([-1, -0.5, 0.5, 1], 9)
                at = math.radians(middle + half * rng.choice([-1, 1]))
                rate = (flap(at + STEP, off) - flap(at - STEP, off)) / (2 * STEP)
                yield abs(rate - float(held.mid())) <= reach * float(held.rad()) + 1e-7


def test_the_closure_is_drawn_at_neutral_and_goes_as_the_checker_has_it():
    motion = Motion(read(CRANKS))
    assert abs(flap(0.0, np.zeros(9))) < 1e-12
    for at in (-15.0, 12.0):
        there = float(motion.state("flap", ((at, at),))[2].centre.mid())
        assert flap(math.radians(at), np.zeros(9)) == pytest.approx(there, abs=1e-10)


def test_a_rate_by_an_input_is_held_all_over_a_cell_and_in_every_build():
    assert all(shown(1.0))
    assert not all(shown(0.25))


@pytest.mark.parametrize(("tolerance", "size"), [
    ("rod = 0.5", [0.0] * 8 + [0.5]), ("hardpoint = 0.5", [0.5] * 8 + [0.0]),
    ("hardpoint = 0.3, rod = 0.2", [0.3] * 8 + [0.2])])
def test_a_joint_is_off_by_no_more_than_is_allowed_in_any_build(tolerance, size):
    """In every build with all dimensions at an end of their tolerance, by the law of cosines."""
    text = CRANKS.replace("hardpoint = 0.5, rod = 0.5", tolerance)
    motion = Motion(read(text))
    built = Built(motion, 4, 4)
    for at in (-20.0, 0.0, 15.0):
        cell, lever = ((at, at),), math.radians(at)
        allowed = built.state("flap", cell)[2].rest - motion.state("flap", cell)[2].rest
        most = max(abs(flap(lever, np.array(ends) * size) - flap(lever, np.zeros(9)))
                   for ends in itertools.product((-1, 1), repeat=9))
        assert 0.9 * allowed < most <= allowed


def test_products_and_quotients_of_intervals_keep_their_signs():
    """At places in them at random; a ball of 1 +/- .8 times another has no sign."""
    rng = np.random.default_rng(2)
    for work in (lambda p, q: p * q, lambda p, q: p / q):
        for low in (0.2, -1.8):
            a, b = arb(1, 0.8), arb(low).union(arb(low + 1.6))
            held, used = hulled(a, b, work), 0.0
            assert not held.contains(0)
            for p, q in rng.choice([-1, 1], (20, 2)):
                true = work(1 + 0.8 * p, low + 0.8 + 0.8 * q)
                assert held.overlaps(arb(true, 1e-12))
                used = max(used, abs(true - float(held.mid())) / float(held.rad()))
            assert used > 0.99
    assert (arb(1, 0.8) * arb(1, 0.8)).contains(0)


def crossing(axis, degrees):
    """What takes a point across a joint that turns between two angles."""
    axis = column([arb(k) for k in axis])
    low, high = (arb(math.radians(k)) for k in degrees)
    cos, sin = (f(low.union(high)) for f in (arb.cos, arb.sin))
    turn = axis * axis.transpose() + (ALL - axis * axis.transpose()) * cos + cross_matrix(
        axis) * sin
    return turn, axis, None, (cos, sin)


@pytest.mark.parametrize("sense", [1, -1])
def test_columns_of_balls_are_held_as_they_are_turned(sense):
    """Vectors at the very corners of their balls, turned by SciPy; shrunk balls hold fewer."""
    rng, missed = np.random.default_rng(5), 0
    for _ in range(20):
        axis = rng.normal(size=3)
        axis /= np.linalg.norm(axis)
        start = rng.uniform(-90, 90)
        ends, size = (start, start + rng.uniform(0.1, 20)), rng.uniform(0, 5)
        middle = rng.uniform(-100, 100, 3)
        found = turned(crossing(axis, ends), arb_mat([[arb(k, size)] for k in middle]),
                       sense).entries()
        corners = middle + size * rng.choice([-1, 1], (60, 3))
        angles = rng.choice([*ends, sum(ends) / 2], 60)
        true = Rotation.from_rotvec(axis * np.radians(angles * sense)[:, None]).apply(corners)
        for k, ball in zip(true.T, found, strict=True):
            away = np.abs(k - float(ball.mid()))
            assert (away <= float(ball.rad()) + 1e-9).all()
            missed += (away > 0.7 * float(ball.rad())).any()
    assert missed > 5


HINGED = """
length = "mm"
input.lever.travel = [-40, 40]
tolerance = { hardpoint = 0.5 }
[body.lever]
pivot = [100, 20, 50]
through = [130, 90, 70]
input = "lever"
"""
HINGE = np.array([[100, 20, 50], [130, 90, 70]], float)


def carried(lever, hinge):
    """Where the hinge as drawn is carried to, and three directions, by SciPy's turns."""
    start, end = hinge
    turn = Rotation.from_rotvec(lever * (end - start) / math.dist(start, end))
    return np.vstack([start + turn.apply(HINGE[0] - start), turn.apply(np.eye(3))])


def hinged(reach):
    """Rates of what a hinge carries by both ends of its axis, each within its ball, shrunk."""
    rng = np.random.default_rng(3)
    built = Built(Motion(read(HINGED)), 4, 4)
    for _ in range(6):
        half, middle = rng.uniform(0.1, 2), rng.uniform(-35, 35)
        seat = built.rates.seat(("lever",), "airframe", ((middle - half, middle + half),))
        for _ in range(6):
            hinge = HINGE + rng.choice([-0.5, 0.5], (2, 3))
            at = math.radians(middle + half * rng.choice([-1, 1]))
            for end, k in np.ndindex(2, 3):
                way = np.zeros((2, 3))
                way[end, k] = STEP
                rate = (carried(at, hinge + way) - carried(at, hinge - way)) / (4 * STEP)
                for held, true in zip(seat, rate, strict=True):
                    for i in range(3):
                        ball = held[i, 1 + 3 * end + k]
                        yield abs(true[i] - float(ball.mid())) <= reach * float(ball.rad()) + 1e-8


def test_rates_by_both_ends_of_an_axis_are_held_in_every_build():
    assert all(hinged(1.0))
    assert not all(hinged(0.5))
