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


PLAIN = """
length = "mm"
[input.{name}]
travel = {travel}
[body.lever]
pivot = [0, 300, 0]
axis = "{axis}"
input = "{name}"
points = {points}
[body."{surface} left"]
pivot = [900, -400, 0]
axis = "lateral"
[body."{surface} right"]
pivot = [900, 400, 0]
axis = "lateral"
[coupling.left]
bodies = ["lever", "{surface} left"]
ratio = {left}
[coupling.right]
bodies = ["lever", "{surface} right"]
ratio = {right}
[surface."{surface} left"]
body = "{surface} left"
{more}
[surface."{surface} right"]
body = "{surface} right"
{more}
"""
FLAPS = {"name": "flap", "travel": [0, 40], "axis": "lateral", "surface": "flap", "left": 1,
         "right": 1, "more": "", "points": "{ grip = [0, 300, 300] }"}
AILERONS = {"name": "roll", "travel": [-20, 20], "axis": "fore-aft", "surface": "aileron",
            "left": 1, "right": -1, "more": "", "points": "{ grip = [0, 300, 300] }"}


def verdict_of(kind, **changes):
    """Of a lever that turns a surface on each side by a cable: a deflection is turn times ratio."""
    return Results(System(parse_model(PLAIN.format(**kind | changes))),
                   only=("findings", "gearing")).verdict


@pytest.mark.parametrize(("right", "words"), [
    (1, None), (0.97, None), (-1, "trailing edge up"), (0.7, "both sides have to go alike")])
def test_flaps_of_a_lever_that_only_goes_one_way(right, words):
    """40 degrees left against 40, 38.8, -40 and 28 right; the lever's travel ends at neutral."""
    missed = [m.sentence for m in verdict_of(FLAPS, right=right).missed]
    assert len(missed) == (words is not None)
    assert all(words in sentence for sentence in missed)


@pytest.mark.parametrize(("changes", "left"), [
    ({"points": "{}"}, "hand on roll"),
    ({"more": "require = { up = 20, within = 1 }"}, "travel of aileron left TED, aileron right"),
    ({"more": 'hinge = { at = "100 kt", slope = "500 N*mm" }\n[meant]\n"aileron left" = "so"\n'
              '"aileron right" = "so"'}, None)],
    ids=["no grip", "one way required", "overbalanced on purpose"])
def test_what_could_not_be_judged_or_was_excused_stands_in_the_verdict(changes, left):
    table = changes.get("more", "").partition("[meant]")
    text = PLAIN.format(**AILERONS | changes | {"more": table[0]}) + table[1] + table[2]
    verdict = Results(System(parse_model(text)), only=("findings", "gearing")).verdict
    assert not verdict.missed
    if left:
        assert any(sentence.startswith(left) for sentence in verdict.unknown)
    else:
        assert sum(s.startswith("feel as meant") for s in verdict.set_aside) == 2
        assert not any("slope" in words for words in verdict.met)


def test_an_aileron_that_goes_92_degrees_is_not_believed():
    assert any("goes 92° at an end of roll" in m.sentence for m in
               verdict_of(AILERONS, left=4.6, right=-4.6).missed)


def test_builds_of_a_file_without_tolerances_are_not_judged():
    system = System(parse_model(PLAIN.format(**AILERONS)))
    verdict = Results(system, only=("findings",), built=True).verdict
    assert verdict.unknown[0].startswith("builds: the file gives no tolerances")


POST = """
[airframe.solid.post]
kind = "sphere"
at = [0, 80, 180]
diameter = 20
CLASS
[clearance]
structure = 30
class = { free = 0 }
"""


@pytest.mark.parametrize(("own", "missed"), [("", True), ('clearance = "free"', False)])
def test_a_clearance_of_nothing_is_no_clearance_met_in_silence(own, missed):
    """Both ask the same post, some 27 mm off; a class of 0 is named, and judged as contact."""
    system = System(parse_model(STICK + KNOB + POST.replace("CLASS", own)))
    verdict = Results(system, only=("clearance",)).verdict
    assert bool(verdict.missed) is missed
    told = [s for s in verdict.set_aside if s.startswith("clearance required of 0")]
    assert bool(told) is not missed
    assert all("stick/knob | airframe/post" in sentence for sentence in told)
