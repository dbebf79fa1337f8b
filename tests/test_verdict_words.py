"""Sentences of the verdict against systems made to make them false, by code of their own.

The stick of `test_real_travel` with a ball for a knob, an aileron that a cable turns by as much as
the stick rolls, so that a deflection is the roll itself; blocks of which the second, farther aft,
lets the stick roll more, or less, than it may at neutral pitch.
"""

import numpy as np
import pytest
from test_real_travel import KNOB, STICK, ball_touches, filled

from linkage.model.file import parse_model
from linkage.motion import System
from linkage.results import Results

AILERON = """
[body."aileron right"]
pivot = [900, 900, 0]
axis = "lateral"
[coupling.cable]
bodies = ["stick", "aileron right"]
ratio = -1
[surface."aileron right"]
body = "aileron right"
require = { up = 14, down = 14, within = 1 }
"""
AHEAD = {"near": ((-300, 60, 150), (11, 100, 300)), "left": ((-300, -100, 150), (300, -60, 300)),
         "front": ((-120, -300, 100), (-70, 300, 300)), "back": ((70, -300, 100), (120, 300, 300))}
ENDS = {"near": ("roll", "greatest"), "far": ("roll", "greatest"), "left": ("roll", "least"),
        "front": ("pitch", "least"), "back": ("pitch", "greatest")}


def slanted(far_at, require=""):
    """The block aft of FS 11 stands at BL `far_at`."""
    blocks = AHEAD | {"far": ((11, far_at, 150), (300, 100, 300))}
    text = STICK + KNOB + AILERON.replace("require", require or "require")
    for name, (low, high) in blocks.items():
        text += f"""
[airframe.solid."{name}"]
kind = "box"
corner = {list(low)}
opposite = {list(high)}
[stop."{name}"]
input = "{ENDS[name][0]}"
side = "{ENDS[name][1]}"
between = ["stick/knob", "airframe/{name}"]
"""
    return System(parse_model(text)), blocks


@pytest.mark.parametrize(("far_at", "outcome"), [(62, None), (70, "past"), (52, "short")])
def test_a_travel_is_met_only_if_it_is_with_every_other_input_anywhere(far_at, outcome):
    """By the fill from neutral: how far the stick rolls at each pitch."""
    system, blocks = slanted(far_at)
    places, reached = filled(ball_touches, blocks, {"pitch": (-22, 22), "roll": (-25, 25)}, 401)
    roll = np.where(reached, places[:, 1].reshape(reached.shape), -np.inf)
    at_neutral = roll[200].max()
    ends = roll.max(axis=1)[reached[:, 200]]  # pitches that neutral roll reaches
    assert 13 < at_neutral < 15
    assert (ends.max() > 15.2) == (outcome == "past")
    assert (ends.min() < 12.8) == (outcome == "short")
    verdict = Results(system, only=("gearing",)).verdict
    missed = [m for m in verdict.missed if m.kind == "travel"]
    assert [m.what for m in missed] == (["aileron right TEU"] if outcome else [])
    if outcome:
        worst = ends.max() if outcome == "past" else ends.min()
        assert missed[0].decided
        assert float(missed[0].how_much.split("°")[0]) == pytest.approx(worst, abs=0.3)
