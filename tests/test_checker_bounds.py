"""Single bounds of the checker, each asked for more than holds: by numbers of the test's own."""

import math
from types import SimpleNamespace

import numpy as np
from flint import arb

from linkage.checker.loops import closed
from linkage.checker.motion import Motion
from linkage.checker.reading import read
from linkage.checker.taylor import Table, Taylor

CRANKS = """
length = "mm"
input.pitch.travel = [-10, 10]
[body.arm]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = { pin = [0, 0, 60] }
[body.crank]
pivot = [100, 0, 0]
axis = "lateral"
points = { pin = [100, 0, 60] }
[rod.link]
ends = ["arm/pin", "crank/pin"]
"""


def test_a_turn_is_followed_by_whole_turns_only_where_two_parts_of_the_way_tell_them():
    """Each part has the turn where they meet anywhere in what it says, but for whole turns."""
    rng, motion = np.random.default_rng(6), Motion(read(CRANKS))
    loop, shown = motion.steps["crank"][1], 0
    for _ in range(400):
        true, before, after = rng.uniform(-20, 20), rng.uniform(0, 1), rng.uniform(0, 3.1)
        at, here = true + rng.choice([-1, 1]) * before, true + rng.choice([-1, 1]) * after
        part = Taylor(motion.table, {0: arb(here - 2 * math.pi * rng.integers(-3, 4))}, after)
        loop.motion = SimpleNamespace(state=lambda joint, cell, part=part: (None, None, part))
        end = loop.further((arb(at), before), ())
        if end is not None:
            assert abs(float(end[0].mid()) - here) < 1e-9
            assert end[1] >= after
            shown += 1
    assert shown > 50


def test_newton_shows_no_root_where_there_is_none():
    """The root of t^2 = 1 + s x is not real all over -1 to 1 where s is above 1."""
    table, shown = Table(1), 0
    for s in np.linspace(0.05, 1.5, 146):
        c = Taylor(table, {0: arb(1), 1: arb(float(s))})
        found = closed(table, lambda t, c=c: (t * t - c, t * 2), 2.0, (1.0, 1.0))
        if found is not None:
            assert s < 1
            shown += 1
            for x in np.linspace(-1, 1, 21):
                at = sum(float(k.mid()) * x**power for power, k in found.c.items())
                assert abs(at - math.sqrt(1 + s * x)) <= found.rest
    assert shown > 50
