"""Misalignment of rod ends against a section drawn anew and by hand."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.spatial.transform import Rotation
from systems.rig_models import EXAMPLES, by_name

import linkage
from linkage import rigging
from linkage.model import RodEnd
from linkage.model.file import parse_model
from linkage.model.keys import AXES
from linkage.motion import System


def edge_meets_face(ball, race, sphere, shoulder=None):
    """Tilt at which the race's edge meets the ball's face or a shoulder, in a flat section.

    The race's edge is a point at half its width on the ball's circle; the ball's face is cut off
    at half the ball's width, a shoulder at a radius of its own from the bolt.
    """
    radius = sphere / 2
    edge = np.array([math.sqrt(radius**2 - (race / 2)**2), race / 2])

    def apart(tilt):
        c, s = math.cos(tilt), math.sin(tilt)
        out, along = edge[0] * c - edge[1] * s, edge[0] * s + edge[1] * c
        return along - ball / 2 if shoulder is None else shoulder / 2 - out

    return math.degrees(brentq(apart, 0.0, math.pi / 2 - 0.5, xtol=1e-14))


@pytest.mark.parametrize(("ball", "race", "sphere"), [(9, 6.75, 12.7), (11.1, 8.4, 15.2),
                                                      (14, 10.5, 20), (6, 5.9, 8)])
def test_allowed_misalignment_against_a_section(ball, race, sphere):
    """asin(W/D) - asin(H/D), with a shoulder acos(S/D) - asin(H/D): solid geometry."""
    own = RodEnd(ball=ball, race=race, sphere=sphere).allowed
    assert own == pytest.approx(math.degrees(math.asin(ball / sphere) - math.asin(race / sphere)))
    assert own == pytest.approx(edge_meets_face(ball, race, sphere), abs=1e-9)
    face = math.sqrt(sphere**2 - ball**2)  # a shoulder as wide as the ball's own face
    assert RodEnd(ball=ball, race=race, sphere=sphere, shoulder=face + 1e-12).allowed == \
        pytest.approx(own, abs=1e-7)
    wider = face + 0.2 * (math.sqrt(sphere**2 - race**2) - face)
    assert RodEnd(ball=ball, race=race, sphere=sphere, shoulder=wider).allowed == pytest.approx(
        edge_meets_face(ball, race, sphere, wider), abs=1e-9)


def tilted(system, rod, end, bolt, inputs):
    """Misalignment with the bolt turned by SciPy's rotations through the angles told."""
    motion = system.sweep(**inputs)
    ends = system.model.rods[rod].ends
    line = motion.point(ends[1 - end]) - motion.point(ends[end])
    part, axis = ends[end].split("/")[0], np.tile(bolt, (len(line), 1))
    while part != "airframe":
        body = system.model.bodies[part]
        if not body.slides:
            turn = Rotation.from_rotvec(np.radians(motion.angle(part))[:, None] * body.direction)
            axis = turn.apply(axis)
        part = body.on
    return np.degrees(np.arcsin(np.abs(np.sum(line * axis, axis=-1))
                                / np.linalg.norm(line, axis=-1)))


@pytest.mark.parametrize("path", EXAMPLES, ids=by_name)
def test_misalignment_is_the_greatest_of_many(path):
    system = linkage.load(path)
    found, rng = rigging.misalignment(system), np.random.default_rng(2)
    box = linkage.gearing.box_of(system)
    inputs = {n: np.append(rng.uniform(*side, 1500), 0.0) for n, side in box.items()}
    for row in found.to_dict("records"):
        end = system.model.rods[row["rod"]].ends.index(row["end"])
        part, point = row["end"].split("/")
        body = system.model.bodies[part]
        bolt = body.points[point].bolt or body.direction
        bolt = AXES.get(bolt, bolt) if isinstance(bolt, str) else bolt
        some = tilted(system, row["rod"], end, bolt, inputs)
        assert some[-1] == pytest.approx(row["neutral"], abs=1e-6)
        assert some.max() <= row["greatest"] + 1e-6
        here = {n: np.array([row[n]]) for n in box}
        assert tilted(system, row["rod"], end, bolt, here)[0] == pytest.approx(row["greatest"],
                                                                               abs=1e-6)


def test_misalignment_of_a_crank_by_hand():
    """A stick swings a ball sideways on a fixed rod's line: asin of the shift over the length."""
    text = """
length = "mm"
[input.roll]
travel = [-20, 20]
[body.stick]
pivot = [0, 0, 100]
axis = "fore-aft"
input = "roll"
points = { arm = [0, 0, 0] }
[body.horn]
pivot = [400, 0, 60]
axis = "lateral"
points = { p = [400, 0, 0] }
[rod.push]
ends = ["stick/arm", "horn/p"]
fitted = [{ rod_end = "male", bolt = "vertical" }, { rod_end = "male" }]
[rod_end.male]
misalignment = 4.8
"""
    system = System(parse_model(text))
    rows = rigging.misalignment(system).set_index("end")
    shift = 100 * math.sin(math.radians(20))
    assert rows.loc["horn/p", "greatest"] == pytest.approx(
        math.degrees(math.asin(shift / 400)), abs=1e-6)
    assert rows.loc["horn/p", "bolt"] == "the axis of its part"
    assert rows.loc["stick/arm", "bolt"] == "the rod end"
    assert not rows.loc["horn/p", "ok"]
    assert abs(rows.loc["horn/p", "roll"]) == pytest.approx(20)
