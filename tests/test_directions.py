"""Directions of surfaces: handbook rules by hand-derived runs, planted faults, brute force.

What each surface has to do is taken from
- Pilot's Handbook of Aeronautical Knowledge (FAA-H-8083-25A), chapter 5: the control column pulled
  back raises the stabilator's trailing edge; an antiservo tab moves in the same direction as the
  stabilator (both read); the rest of that chapter (elevator, ailerons, canard, flaps, spoilers,
  elevons) from memory;
- a pilots' association's training note on verifying flight controls, July 2024 (read): stick left,
  left aileron up and right aileron down;
- Aviation Maintenance Technician Handbook - Airframe, volume 1 (FAA-H-8083-31), chapter 1 (read):
  the right pedal pushed forward deflects the rudder to the right; nose and tail wheel are steered
  with it;
- an aviation glossary's entry on V-tails (read): left pedal, left surface down and right one up;
  stick back, both up.
"""

import numpy as np
import pytest
from systems.direction_models import FLAP, HERE, ROLL, made, misses, outcomes, pitch, roll, yaw

import linkage
from linkage.gearing import (
    directions,
    find,
)

# --- the rules --------------------------------------------------------------------------------

RULES = [
    (pitch("elevator", 60), pitch("elevator", -60)),
    (pitch("stabilator", 60), pitch("stabilator", -60)),
    (pitch("canard", -60), pitch("canard", 60)),
    # stick right: crank anticlockwise from above, left arm aft, horn below goes aft: edge up
    (roll("aileron right", out=840), roll("aileron right", out=960)),
    (roll("aileron left", -900, out=-840), roll("aileron left", -900, out=-960)),
    (roll("flaperon right", out=840), roll("flaperon right", horn=60)),
    (yaw("rudder", horn=60), yaw("rudder", horn=-60)),
    (yaw("tailwheel", horn=60), yaw("tailwheel", horn=-60)),
    (yaw("nosewheel", post=-900, horn=-60), yaw("nosewheel", post=-900, horn=60)),
]


@pytest.mark.parametrize(("right", "wrong"), RULES, ids=lambda s: next(iter(s.model.surfaces)))
def test_each_rule_both_ways(right, wrong):
    """Handbooks as above; horns and arms by hand as at the templates."""
    assert outcomes(right) == ["right"]
    assert misses(right) == []
    assert outcomes(wrong) == ["wrong"]
    (surface,) = wrong.model.surfaces
    assert f'"{surface}" goes' in misses(wrong)[0]


def test_sentence_says_which_surface_goes_which_way():
    assert misses(pitch(horn=-60)) == [
        'stick aft: "elevator" goes trailing edge down (15.0° TED at 15.0° aft) and has to go '
        "trailing edge up"]

VTAIL = """
length = "mm"
[input.pitch]
travel = [-12, 12]
[input.yaw]
travel = [-12, 12]
[mirror]
left = "right"
[body.carrier]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
[body.bar]
on = "carrier"
pivot = [0, 0, 100]
axis = "vertical"
input = "yaw"
points = {{ "pedal left" = [0, -150, 100], "arm left" = [0, {arm}, 100] }}
[body."tail left"]
pivot = [3000, -200, 300]
axis = [0, 1, {rise}]
points = {{ horn = [3000, -200, {horn}] }}
[rod."push left"]
ends = ["bar/arm left", "tail left/horn"]
[surface."{name} left"]
body = "tail left"
{more}
"""


@pytest.mark.parametrize(("text", "found"), [
    (dict(arm=-80, rise=-0.7, horn=240, name="ruddervator", more=""), ["right"] * 4),
    (dict(arm=80, rise=-0.7, horn=240, name="ruddervator", more=""), ["wrong"] * 2 + ["right"] * 2),
    (dict(arm=-80, rise=-0.7, horn=360, name="v-tail", more=""), ["wrong"] * 4),
    (dict(arm=80, rise=0.7, horn=240, name="tail", more='kind = "inverted v-tail"'),
     ["right"] * 4),
    (dict(arm=-80, rise=0.7, horn=240, name="tail", more='kind = "inverted v-tail"'),
     ["wrong"] * 2 + ["right"] * 2),
    (dict(arm=-80, rise=0.7, horn=240, name="v-tail", more=""),
     ["not judged"] * 2 + ["right"] * 2),
])
def test_v_tails(text, found):
    """Glossary as above; the mirrored (inverted) one by the side force of a lowered edge."""
    assert outcomes(made(VTAIL.format(**text))) == found


def elevons(**swap):
    text = (HERE.parent / "examples" / "elevons.toml").read_text(encoding="utf-8")
    for old, new in swap.items():
        text = text.replace(old, new)
    return made(text)


def test_elevons_take_part_in_both():
    assert outcomes(elevons()) == ["right"] * 4


def flap(travel='["0 mm", "20 mm"]', left=-60, right=-60, more="", slide="fore-aft"):
    return made(FLAP.format(travel=travel, left=left, right=right, more=more, slide=slide))


def test_flaps_go_down_alike_on_both_sides():
    """Slide "fore-aft" is forward: a horn below the hinge that goes forward lowers the edge."""
    assert outcomes(flap()) == ["right", "right"]
    assert outcomes(flap(right=60)) == ["wrong", "right"]
    assert outcomes(flap(left=60, right=60)) == ["wrong", "wrong"]
    assert outcomes(flap('["-20 mm", "0 mm"]', 60, 60)) == ["right", "right"]


def test_flaps_of_two_ways_are_only_held_to_each_other():
    two = '["-10 mm", "10 mm"]'
    assert outcomes(flap(two)) == ["not judged"] * 2
    assert not misses(flap(two))
    assert any("both sides have to go alike" in text for text in misses(flap(two, right=60)))

SPOILER = """
length = "mm"
[input.roll]
travel = [-20, 20]
[body.stick]
pivot = [0, 0, 0]
axis = "fore-aft"
input = "roll"
points = {{ grip = [0, 0, 400], arm = [0, 0, {arm}] }}
[body.crank]
pivot = [60, 900, {arm}]
axis = "vertical"
points = {{ in = [0, 900, {arm}], out = {out} }}
[body.spoiler]
pivot = [400, 900, 0]
axis = "lateral"
points = {{ horn = [400, 900, -50] }}
[rod.link]
ends = ["stick/arm", "crank/in"]
[rod.drive]
ends = ["crank/out", "spoiler/horn"]
[surface."spoiler right"]
body = "spoiler"
"""


def test_spoiler_rises_on_its_own_side_alone():
    """An arm 10 degrees short of dead centre moves its rod one way far and the other hardly.

    By hand, arm 1: up cos 10 - cos 30 = 0.119, down for the other end 1 - cos 10 = 0.015 at most.
    """
    a = np.radians(10)
    near = f"[{60 - 60 * np.cos(a)}, {900 - 60 * np.sin(a)}, -60]"
    square = "[60, 840, -60]"
    assert outcomes(made(SPOILER.format(arm=-60, out=near))) == ["right"]
    short = f"[{60 - 60 * np.cos(2 * a)}, {900 - 60 * np.sin(2 * a)}, -60]"
    assert outcomes(made(SPOILER.format(arm=-60, out=short))) == ["wrong"]  # down 0.060, up 0.174
    # square to its rod it goes as far down for the other end, into the wing
    (lowered,) = directions(made(SPOILER.format(arm=-60, out=square)))
    assert lowered.outcome == "wrong"
    assert "stick left" in lowered.text
    assert "goes trailing edge down and has to stay down" in lowered.text
    turned = made(SPOILER.format(arm=-60, out="[60, 960, -60]"))
    assert outcomes(turned) == ["wrong"]
    # a spoiler that rises for either end: its arm stands at dead centre, so it has no direction
    both = directions(made(SPOILER.format(arm=-60, out=f"[{60 - 60 * np.cos(0.01)}, "
                                                       f"{900 - 60 * np.sin(0.01)}, -60]")))
    assert both[0].outcome != "right"


# --- what the file says -----------------------------------------------------------------------

TAB = 'moves = {{ pitch = "{}" }}'


def test_tab_goes_as_its_file_says():
    """Anti-servo tab: with the surface it rides on, so against it up for stick aft (handbook)."""
    assert outcomes(pitch("anti-servo tab", 60)) == ["not judged"]
    assert outcomes(pitch("anti-servo tab", 60, TAB.format("up"))) == ["right"]
    assert outcomes(pitch("anti-servo tab", 60, TAB.format("down"))) == ["wrong"]
    assert "direction of" in find(pitch("anti-servo tab", 60))[0].text


def test_name_that_says_nothing_is_listed_and_never_passed_in_silence():
    (finding,) = find(pitch("Querruder"))
    assert finding.text.startswith('direction of "Querruder" for stick aft not judged')
    assert not finding.miss
    assert outcomes(pitch("Höhenruder", 60, 'kind = "elevator"')) == ["right"]
    assert outcomes(pitch("Höhenruder", -60, 'kind = "elevator"')) == ["wrong"]


def test_exception_needs_a_reason_and_is_printed():
    odd = 'moves = { pitch = "down" }'
    (bare,) = directions(pitch("elevator", -60, odd))
    assert (bare.outcome, bare.miss) == ("wrong", True)
    (told,) = directions(pitch("elevator", -60, odd + '\nreason = "a test rig"'))
    assert (told.outcome, told.miss) == ("exception", False)
    assert "a test rig" in find(pitch("elevator", -60, odd + '\nreason = "a test rig"'))[0].text
    assert outcomes(pitch("elevator", 60, odd + '\nreason = "a test rig"')) == ["wrong"]


def test_crossed_input_is_wrong_unless_the_file_says_so():
    """An elevator on the roll run: no business with it, and stick aft doesn't move it."""
    crossed = roll("elevator")
    assert outcomes(crossed) == ["wrong"]
    more = 'moves = { roll = "up" }'
    assert outcomes(roll("elevator", more=more)) == ["wrong"]
    assert outcomes(roll("elevator", more=more + '\nreason = "rig"')) == ["exception"]


def test_moves_must_fit_the_hinge():
    with pytest.raises(linkage.LinkageError, match="does not fit its hinge line; use up or down"):
        pitch("elevator", 60, 'moves = { pitch = "left" }')
    with pytest.raises(linkage.LinkageError, match='no input "pich"'):
        pitch("elevator", 60, 'moves = { pich = "up" }')
    with pytest.raises(linkage.LinkageError, match="needs one of"):
        pitch("elevator", 60, 'moves = { pitch = "upward" }')


def test_mirrored_twin_of_moves():
    """Roll and yaw run backwards in the mirror, an upright hinge swaps left and right."""
    system = made(ROLL.format(name="tab right", bl=900, out=840, horn=-60,
                              more='moves = { roll = "up then back" }').replace(
        "[body.crank]", '[body."crank right"]').replace("crank/", "crank right/").replace(
        "[body.s]", '[body."s right"]').replace('"s/horn', '"s right/horn').replace(
        'body = "s"', 'body = "s right"').replace("[rod.link]", '[rod."link right"]').replace(
        "[rod.drive]", '[rod."drive right"]') + '[mirror]\nright = "left"\n')
    assert system.model.surfaces["tab left"].moves == {"roll": "down then back"}
    assert outcomes(system) == ["wrong", "wrong"]  # turning back needs a reason
