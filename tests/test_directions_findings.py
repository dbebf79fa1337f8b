"""Findings of direction: turning back, words of hand and foot, sides, the command, examples."""

import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
from systems.direction_models import (
    FLAP,
    HERE,
    PITCH,
    ROLL,
    YAW,
    made,
    misses,
    outcomes,
    pitch,
    roll,
    yaw,
)

import linkage
from linkage.gearing import (
    directions,
    expected_steps,
    find,
    flipped,
    said_input,
)
from linkage.model.file import parse_model
from linkage.motion import System

WRONG = HERE / "wrong_models"


# --- turning back, and what is decided --------------------------------------------------------

def over_centre(travel):
    """A crank that comes to dead centre with its rod at 30 degrees aft (by hand: rake 60)."""
    a = np.radians(60)
    text = PITCH.format(name="elevator", horn=60, more="").replace(
        "arm = [0, 0, -60]", f"arm = [{-60 * np.sin(a)}, 0, {-60 * np.cos(a)}]").replace(
        "travel = [-15, 15]", f"travel = [-15, {travel}]").replace("[3000, 0, 0]", "[9000, 0, -30]"
        ).replace("[3000, 0, 60]", "[9000, 0, 60]")
    return made(text)


@pytest.mark.parametrize(("travel", "found"), [(20, "right"), (28, "right"), (40, "turns back")])
def test_surface_that_turns_back_is_found_with_where(travel, found):
    """Dead centre at about 30 degrees, brute force on 20,001 positions of the same run."""
    system = over_centre(travel)
    (each,) = directions(system)
    assert each.outcome == found
    x = np.linspace(-15, travel, 20_001)
    steps = np.diff(system.sweep(pitch=x).deflection("elevator"))
    assert (steps < 0).all() == (found == "right")
    if found == "turns back":
        first = x[np.argmax(steps >= 0)]
        assert first == pytest.approx(30, abs=1)
        assert each.place["pitch"] == pytest.approx(first, abs=3)
        assert "turns back within the travel, near" in each.text


def test_turning_back_can_be_meant():
    model = over_centre(40).model
    part = replace(model.surfaces["elevator"], moves={"pitch": "up then back"}, reason="a test")
    (each,) = directions(System(replace(model, surfaces={"elevator": part})))
    assert each.outcome == "exception"
    assert "both ends alone" in each.text


def test_cover_of_cells_decides_what_is_judged():
    """The same run, right over the cells short of dead centre, not over all of them."""
    system = over_centre(40)
    assert directions(system)[0].outcome == "turns back"
    cells = {"pitch": np.array([-10.0, 0.0, 12.0, 12.0])}, {"pitch": np.array([5.0, 5.0, 8.0, 8.0])}
    assert directions(system, cells)[0].outcome == "right"


# --- the hand's and the foot's words ----------------------------------------------------------

def test_positive_end_that_goes_the_other_way_is_told():
    text = PITCH.format(name="elevator", horn=60, more="").replace(
        "travel = [-15, 15]", 'travel = [-15, 15]\npositive = "against axis"')
    assert any("its positive end moves the hand forward" in t for t in misses(made(text)))
    hanging = ROLL.format(name="aileron right", bl=900, out=840, horn=-60, more="").replace(
        "grip = [0, 0, 400]", "grip = [0, 0, -400]")
    assert any("its positive end moves the hand left" in t for t in misses(made(hanging)))


def test_pitch_on_a_slide_is_positive_aft():
    """A wheel's shaft: grip aft is plus however the slide is written (convention of the README)."""
    text = PITCH.format(name="elevator", horn=60, more="")
    text = text.replace('axis = "lateral"\ninput', 'slide = "fore-aft"\ninput').replace(
        "travel = [-15, 15]", 'travel = ["-50 mm", "50 mm"]')
    system = made(text)
    moved = system.sweep(pitch=[0, 10]).point("stick/grip")
    assert moved[1, 0] - moved[0, 0] == pytest.approx(10)
    assert said_input(system, "pitch", 10) == "10.0 mm aft"


@pytest.mark.parametrize(("slide", "words"), [
    ("fore-aft", "12.0 mm flap lever forward"), ("lateral", "12.0 mm flap lever right"),
    ("vertical", "12.0 mm flap lever up")])
def test_lever_is_said_as_people_say_it(slide, words):
    text = FLAP.format(travel='["0 mm", "20 mm"]', left=-60, right=-60, more="", slide=slide)
    model = parse_model(text.split("[rod.left]")[0])
    assert said_input(System(model), "flap", 12) == words


def test_lever_that_no_one_can_name_keeps_its_sign_and_is_listed():
    bare = PITCH.format(name="elevator", horn=60, more="").replace("pitch", "trim").replace(
        "grip = [0, 0, 400], ", "")
    system = made(bare)
    assert said_input(system, "trim", 12) == "+12.0° trim"
    assert any("which way is plus is not said" in f.text for f in find(system))
    told = made(bare.replace("travel = [-15, 15]",
                             'travel = [-15, 15]\nways = ["wheel back", "wheel forward"]'))
    assert said_input(told, "trim", 12) == "12.0° wheel forward"
    assert not any("which way is plus" in f.text for f in find(told))


def test_pedals_are_known_by_the_foot_that_goes_forward():
    """The right pedal on the bar's right goes forward for plus; a bar turned over, the left."""
    assert said_input(yaw(), "yaw", -9) == "9.0° left pedal forward"
    over = YAW.format(name="rudder", post=4000, horn=60, more="").replace(
        'pivot = [0, 0, 0]\naxis = "vertical"', "pivot = [0, 0, 0]\naxis = [0, 0, -1]")
    system = made(over)
    assert said_input(system, "yaw", -9) == "9.0° right pedal forward"
    assert outcomes(system) == ["right"]  # the rudder follows the foot all the same
    told = over.replace("travel = [-15, 15]", "travel = [-15, 15]\nways = "
                        '["left pedal forward", "right pedal forward"]')
    assert any("swap the two ways" in text for text in misses(made(told)))


def test_pitch_and_roll_have_their_words():
    with pytest.raises(linkage.LinkageError, match="forward and aft already"):
        made(PITCH.format(name="elevator", horn=60, more="").replace(
            "travel = [-15, 15]", 'travel = [-15, 15]\nways = ["up", "down"]'))


# --- feel, sides, steps, comparison -----------------------------------------------------------

def test_overbalanced_hinge_is_a_miss_unless_meant():
    slope = 'hinge = {{ at = "100 kt", slope = "{} N*m" }}'
    assert misses(pitch("elevator", 60, slope.format(-1))) == []
    (text,) = misses(pitch("elevator", 60, slope.format(1)))
    assert "overbalanced" in text
    assert "away from neutral" in text
    meant = pitch("elevator", 60, slope.format(1) + '\n[meant]\nelevator = "a rig, never flown"')
    assert misses(meant) == []
    assert any("a rig, never flown" in f.text for f in find(meant))


def test_name_and_side_that_disagree_are_a_miss():
    assert any("do not agree" in text for text in misses(roll("aileron left")))


def test_first_signed_step_in_words():
    assert expected_steps(roll()) == ["stick right: aileron right trailing edge up"]
    assert expected_steps(pitch()) == ["stick aft: elevator trailing edge up"]


def test_comparison_says_what_flips():
    (finding,) = flipped(pitch(horn=60), pitch(horn=-60))
    assert finding.text == ('stick aft: "elevator" went trailing edge up before the change and '
                            "goes trailing edge down after it")
    assert flipped(pitch(horn=60), pitch(horn=70)) == []


# --- the command ------------------------------------------------------------------------------

FIRST = {
    "reversed_ailerons": 'MISS  stick right: "aileron left" goes trailing edge up (25.5° TEU',
    "flap_lever_the_other_way": 'MISS  flap lever forward: "flap left" goes trailing edge up',
    "crossed_runs": 'MISS  stick right: "elevator" goes',
}


@pytest.mark.parametrize("name", FIRST)
def test_wrong_file_exits_1_and_its_first_line_says_which_surface(name):
    done = subprocess.run([sys.executable, "-m", "linkage", str(WRONG / f"{name}.toml")],
                          capture_output=True, text=True, check=False)
    assert done.returncode == 1, done.stderr
    assert done.stdout.splitlines()[0].startswith(FIRST[name])
    assert " met" not in done.stdout.splitlines()[-1]


def test_size_cannot_bring_the_reversal_back(capsys):
    from linkage.__main__ import main

    assert main(["size", str(WRONG / "reversed_ailerons.toml")]) == 2
    assert "moves every surface the right way (aileron left" in capsys.readouterr().err


def test_size_with_limits_wide_enough_for_the_reversal_stays_right():
    """The arm may be turned half round, where the reversed run meets every travel as well."""
    from linkage.sizing import size

    text = (HERE.parent / "examples" / "aileron_run.toml").read_text(encoding="utf-8")
    text = text.replace("clearance = true", "clearance = false").replace(
        "least = -45 ", "least = -179 ").replace("greatest = 45\n", "greatest = 179\n")
    assert "least = -179" in text
    assert "greatest = 179" in text
    for seed in range(3):
        found = size(made(text), seed=seed)
        assert {each.outcome for each in directions(found.system)} == {"right"}
