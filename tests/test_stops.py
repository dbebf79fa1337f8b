"""Stops and spacers against contact angles derived by hand, and the travel map's root finding."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import linkage
from linkage.model.file import parse_model
from linkage.motion import System
from linkage.results import Results
from linkage.stops import (
    ends_without_stop,
    faces,
    find_stops,
    meeting,
    side_play,
    stock_about,
    thickness_for,
    with_stops,
)

EXAMPLES = Path(__file__).parents[1] / "examples"

# An arm along +z from its pivot at the origin, turning about +y (pitch: aft), with a flat pad on
# its aft face; the fixed face stands square to x at `face`.
ARM = """
length = "mm"
[input.pitch]
travel = [-15, 20]
[body.arm]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = { tip = [0, 0, 100] }
[airframe]
points = { pad = [40, 0, 100] }
"""


def disc_on_flat(face, thickness, radius=8.0, arm=100.0):
    """A round end of an arm meets a flat at x: arm sin(a) + radius = x.  Derived by hand."""
    return math.degrees(math.asin((face - thickness - radius) / arm))


def round_arm(thickness=0.0, extra=""):
    return System(parse_model(ARM + f"""
[body.arm.solid.end]
kind = "sphere"
at = "tip"
diameter = 16
[airframe.solid.face]
kind = "box"
corner = [40, -30, 0]
opposite = [60, 30, 160]
[stop.aft]
input = "pitch"
side = "greatest"
between = ["arm/end", "airframe/face"]
spacer = {{ on = "airframe/face", thickness = {thickness}, stock = [0.8, 1.0, 1.6] {extra} }}
"""))


@pytest.mark.parametrize("thickness", [0.0, 0.5, 3.2, 12.0])
def test_disc_on_flat_meets_where_the_hand_says(thickness):
    stops = linkage.find_stops(round_arm(thickness))
    assert stops["angle"][0] == pytest.approx(disc_on_flat(40, thickness), abs=1e-9)
    assert bool(stops["governs"][0])


def test_pad_on_flat_at_radius_r_thickness_for_angle():
    """A square block on the arm meets the flat along its edge at radius r, derived by hand.

    The upper aft edge of the block is at (10, 110) from the pivot, so it stands at
    x = 10 cos(a) + 110 sin(a); the spacer fills the rest up to the face at 40.
    """
    system = System(parse_model(ARM + """
[body.arm.solid.block]
kind = "box"
corner = [-10, -10, 90]
opposite = [10, 10, 110]
[airframe.solid.face]
kind = "box"
corner = [40, -30, 0]
opposite = [60, 30, 160]
[stop.aft]
input = "pitch"
side = "greatest"
between = ["arm/block", "airframe/face"]
spacer = { on = "airframe/face", thickness = 1.0 }
"""))
    made = meeting(system, "aft")
    for angle in (3.0, 8.0, 14.0):
        a = math.radians(angle)
        by_hand = 40 - (10 * math.cos(a) + 110 * math.sin(a))
        assert thickness_for(made, angle) == pytest.approx(by_hand, abs=1e-9)
        assert made.contact(by_hand) == pytest.approx(angle, abs=1e-9)


def test_spacer_on_the_moving_face():
    """The pad moves with the arm: its outer corner at (10 + t, 110) from the pivot, by hand."""
    system = System(parse_model(ARM + """
[body.arm.solid.block]
kind = "box"
corner = [-10, -10, 90]
opposite = [10, 10, 110]
[airframe.solid.face]
kind = "box"
corner = [40, -30, 0]
opposite = [60, 30, 160]
[stop.aft]
input = "pitch"
side = "greatest"
between = ["arm/block", "airframe/face"]
spacer = { on = "arm/block", thickness = 4.0 }
"""))
    angle = float(linkage.find_stops(system)["angle"][0])
    a = math.radians(angle)
    assert 14 * math.cos(a) + 110 * math.sin(a) == pytest.approx(40, abs=1e-9)


@pytest.mark.parametrize("thickness", np.random.default_rng(0).uniform(0.05, 20, 8).tolist())
def test_spacer_angle_spacer_comes_round(thickness):
    made = meeting(round_arm(1.0), "aft")
    assert thickness_for(made, made.contact(thickness)) == pytest.approx(thickness, abs=1e-8)


def test_size_spacer_gives_stock_below_and_above():
    sized = linkage.size_spacer(round_arm(1.0), stop="aft", input={"pitch": 15.0}).set_index(
        "choice")
    exact = 40 - 8 - 100 * math.sin(math.radians(15.0))
    assert sized.loc["exact", "thickness"] == pytest.approx(exact, abs=1e-9)
    assert sized.loc["below", "thickness"] <= exact <= sized.loc["above", "thickness"]
    for choice in ("below", "above"):
        assert sized.loc[choice, "angle"] == pytest.approx(
            disc_on_flat(40, sized.loc[choice, "thickness"]), abs=1e-9)


def test_error_band_of_a_spacer_alone_is_its_thickness_over_the_lever():
    """With only the spacer off by 0.1 mm: d(angle) = 0.1 / (arm cos(angle)), by hand."""
    system = round_arm(1.0, ", tolerance = 0.1")
    sized = linkage.size_spacer(system, stop="aft", input={"pitch": 15.0})
    by_hand = math.degrees(0.1 / (100 * math.cos(math.radians(15.0))))
    assert sized["band"][0] == pytest.approx(by_hand, rel=1e-9)


def test_stacks_of_stock():
    assert stock_about((1.0, 1.6), 3.2) == ((1.6, 1.6), (1.6, 1.6))
    assert stock_about((2.0,), 0.5) == ((), (2.0,))
    assert stock_about((), 0.5) == (None, None)


def test_side_play():
    assert side_play(0.0, 40.0, 39.4)[0] == pytest.approx(0.6)


def test_unmeant_contact_before_the_stop_is_told():
    system = System(parse_model(ARM + """
[body.arm.solid.end]
kind = "sphere"
at = "tip"
diameter = 16
[body.arm.solid.rib]
kind = "sphere"
at = [0, 0, 50]
diameter = 10
[airframe.solid.face]
kind = "box"
corner = [40, -30, 60]
opposite = [60, 30, 160]
[airframe.solid.bracket]
kind = "box"
corner = [12, -30, 40]
opposite = [60, 30, 58]
[stop.aft]
input = "pitch"
side = "greatest"
between = ["arm/end", "airframe/face"]
"""))
    stops = linkage.find_stops(system)
    assert not stops["governs"][0]
    by_hand = math.degrees(math.asin((12 - 5) / 50))
    assert stops["reason"][0] == ("arm/rib | airframe/bracket touch before it, at "
                                  f"{by_hand:.2f}° aft")
    assert ends_without_stop(system, stops) == [("pitch", "greatest")]


@pytest.mark.parametrize(("change", "says"), [
    ({"thickness": 33.0}, "thicker than the gap"),
    ({"face": 8.0}, "touch at neutral already"),
    ({"face": 99.0}, "never meet"),
])
def test_bad_stops_get_a_sentence_also_with_the_gearing_alone(change, says):
    text = ARM + f"""
[body.arm.solid.end]
kind = "sphere"
at = "tip"
diameter = 16
[airframe.solid.face]
kind = "box"
corner = [{change.get("face", 40.0)}, -30, 0]
opposite = [160, 30, 160]
[stop.aft]
input = "pitch"
side = "greatest"
between = ["arm/end", "airframe/face"]
spacer = {{ on = "airframe/face", thickness = {change.get("thickness", 0.0)} }}
"""
    system = System(parse_model(text))
    with pytest.raises(linkage.LinkageError, match=says):
        linkage.find_stops(system)
    for only in (("gearing",), ("findings", "gearing")):
        verdict = Results(system, only=only).verdict
        assert any(says in miss.sentence for miss in verdict.missed if miss.kind == "stop")
        assert verdict.exit_code == 1
        assert not any("pitch aft ended by stops" in words for words in verdict.covers)


def test_size_spacer_refuses_what_no_spacer_can_do():
    system = round_arm(1.0)
    with pytest.raises(linkage.LinkageError, match="without any spacer"):
        linkage.size_spacer(system, stop="aft", input={"pitch": 19.5})
    with pytest.raises(linkage.LinkageError, match="no stop"):
        linkage.size_spacer(system, stop="fore", input={"pitch": 10})
    with pytest.raises(linkage.LinkageError, match="one of them"):
        linkage.size_spacer(system, stop="aft")


def two_axis_pin():
    """A pin on a two-axis stick over a hole's corner post: contact where both are large."""
    return System(parse_model("""
length = "mm"
[input.pitch]
travel = [-20, 20]
[input.roll]
travel = [-20, 20]
[body.tube]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
[body.stick]
on = "tube"
pivot = [0, 0, 0]
axis = "fore-aft"
input = "roll"
points = { grip = [0, 0, 300] }
[body.stick.solid.shaft]
kind = "tube"
along = ["pivot", "grip"]
diameter = 20
[airframe.solid.post]
kind = "tube"
along = [[55, 55, 100], [55, 55, 300]]
diameter = 10
"""))


def test_travel_map_boundary_is_on_the_contact_curve():
    system = two_axis_pin()
    mapped = linkage.travel_map(system)
    line = mapped.boundaries["stick/shaft | airframe/post"]
    motion = system.sweep(roll=line[:, 0], pitch=line[:, 1])
    gap = linkage.gaps(motion)["stick/shaft | airframe/post"]
    assert np.abs(gap).max() < 1e-6
    assert mapped.sides["roll greatest, pitch greatest"] == "stick/shaft | airframe/post"
    assert mapped.sides["pitch greatest"] == ""
    assert 0.5 < mapped.usable < 1.0


def test_usable_share_against_counting():
    """Against counting gaps over a fine grid (dense sampling), where nothing hides behind."""
    system = two_axis_pin()
    mapped = linkage.travel_map(system)
    x = np.linspace(-20, 20, 161)
    motion = system.sweep(roll=x[:, None], pitch=x)
    free = linkage.gaps(motion)["stick/shaft | airframe/post"] > 0
    assert mapped.usable <= free.mean() + 0.01


def test_travel_map_counts_the_spacers(side_by_side):
    """A stop bounds the map just where it is reached along its own input, spacer and all."""
    found = linkage.find_stops(side_by_side).set_index("stop")
    mapped = linkage.travel_map(side_by_side)
    across = mapped.inputs.index("roll")
    for name in ("roll right", "roll left"):
        pair = [p for p in mapped.boundaries if set(p.split(" | "))
                == set(side_by_side.model.stops[name].between)]
        line = mapped.boundaries[pair[0]]
        on_axis = line[np.abs(line[:, 1 - across]) < 1e-6]
        assert np.abs(on_axis[:, across] - found["angle"][name]).min() < 1e-6


def test_another_spacer_moves_its_own_stop_alone(monkeypatch):
    """Both contacts by hand; of two stops only the one whose spacer changed is followed again."""
    system = round_arm(3.2, """}
[airframe.solid.fore]
kind = "box"
corner = [-60, -30, 0]
opposite = [-35, 30, 160]
[stop.fore]
input = "pitch"
side = "least"
between = ["arm/end", "airframe/fore"]
spacer = { on = "airframe/fore", thickness = 1.0""")
    find_stops(system)
    aft, followed = system.model.stops["aft"], []
    march = faces._marched
    monkeypatch.setattr(faces, "_marched", lambda asked, *rest: followed.extend(
        (m.name, thickness) for m, thickness in asked) or march(asked, *rest))
    fresh = with_stops(system, system.model.stops | {
        "aft": replace(aft, spacer=replace(aft.spacer, thickness=0.5))})
    angles = find_stops(fresh).set_index("stop")["angle"]
    assert angles["aft"] == pytest.approx(disc_on_flat(40, 0.5), abs=1e-9)
    assert angles["fore"] == pytest.approx(-disc_on_flat(35, 1.0), abs=1e-9)
    assert followed == [("aft", 0.5)]
