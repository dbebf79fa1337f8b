"""Random systems: the library's motion, bounds, stops and builds against the oracle's own.

The oracle (tests/oracle) shares no code with the library: it reads the file, closes the loops by
triangles and by Newton's method from neutral, and measures convex hulls by a walk of its own,
which is checked here against MuJoCo and against distances worked out by hand.
"""

import itertools

import numpy as np
import pytest
from oracle.distance import hull_distance
from oracle.trial import random_case, tried

SEEDS, CI = 200, 12  # daily what two cores do in time
LONG = (11, 14)  # rods together that come to the end of their reach: minutes each
DAILY = [seed for seed in range(SEEDS) if seed not in LONG][:CI]


@pytest.mark.parametrize("seed", range(SEEDS))
def test_nothing_claimed_of_a_random_system_is_untrue(seed, full):
    if seed not in DAILY and not full:
        pytest.skip(f"{CI} of them unless --full")
    builds = full or seed % 4 == 0
    assert [str(fault) for fault in tried(random_case(seed), full, builds).faults] == []


def cube(middle, half, turn=None):
    corners = np.array(list(itertools.product((-1.0, 1.0), repeat=3))) * half
    return (corners @ turn.T if turn is not None else corners) + middle


def turned(angle, axis):
    c, s = np.cos(angle), np.sin(angle)
    i, j = [k for k in range(3) if k != axis]
    matrix = np.eye(3)
    matrix[i, i] = matrix[j, j] = c
    matrix[i, j], matrix[j, i] = -s, s
    return matrix


# Own derivations by hand; three collision libraries agreed with them when they were set down.
HAND = [
    ("edge to face", cube([0, 0, 0], 1), cube([5, 0, 0], 1, turned(np.pi / 4, 2)), 4 - 2**0.5),
    ("edge to edge", cube([0, 0, 0], 1, turned(np.pi / 4, 2)),
     cube([5, 0, 0], 1, turned(np.pi / 4, 1)), 5 - 2 * 2**0.5),
    ("corner to corner", cube([0, 0, 0], 1), cube([4, 5, 8], 1), 7.0),
    ("lines that cross square", np.array([[-50.0, 0, 0], [50, 0, 0]]),
     np.array([[0.0, 30, -50], [0, 30, 50]]), 30.0),
    ("lines side by side", np.array([[0.0, 0, -50], [0, 0, 50]]),
     np.array([[30.0, 40, -20], [30, 40, 40]]), 50.0),
    ("line past an edge", np.array([[130.0, -50, 41], [130, 50, 41]]),
     cube([0, 0, 0], [100, 100, 1]), 50.0),
]


@pytest.mark.parametrize(("name", "one", "other", "true"), HAND, ids=[h[0] for h in HAND])
def test_distances_of_the_oracle_by_hand(name, one, other, true):
    for far in (0.0, 5e4):
        low, high = hull_distance(one[None] + far, other[None] + far)
        assert low[0] == pytest.approx(true, abs=1e-9)
        assert high[0] == pytest.approx(true, abs=1e-9)


def test_distances_of_the_oracle_against_mujoco():
    """Random boxes and capsules apart: `mj_geomDistance` (general-purpose library)."""
    mujoco = pytest.importorskip("mujoco")
    rng = np.random.default_rng(3)
    spec = """<mujoco><worldbody><body><freejoint/><geom type="box" size="12 7 3"/></body>
    <body><freejoint/><geom type="capsule" size="2 15"/></body>
    <body><freejoint/><geom type="box" size="4 9 6"/></body></worldbody></mujoco>"""
    model = mujoco.MjModel.from_xml_string(spec)
    data = mujoco.MjData(model)
    hulls = [cube([0, 0, 0], [12, 7, 3]), np.array([[0.0, 0, -15], [0, 0, 15]]),
             cube([0, 0, 0], [4, 9, 6])]
    radii, compared = (0.0, 2.0, 0.0), 0
    for _ in range(200):
        data.qpos[:] = rng.normal(size=21) * 18
        mujoco.mj_kinematics(model, data)
        posed = [h @ data.geom_xmat[k].reshape(3, 3).T + data.geom_xpos[k]
                 for k, h in enumerate(hulls)]
        for i, j in itertools.combinations(range(3), 2):
            _, high = hull_distance(posed[i][None], posed[j][None])
            if high[0] - radii[i] - radii[j] > 0.01:
                there = mujoco.mj_geomDistance(model, data, i, j, 1e3, None)
                assert high[0] - radii[i] - radii[j] == pytest.approx(there, abs=1e-6)
                compared += 1
    assert compared > 300
