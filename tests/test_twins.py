"""Twins across butt line 0: mirrored by arithmetic that is the test's own."""

import dataclasses

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from systems.model_files import COUPLED, LEVER_WRITTEN_OUT, LEVERS, TWINS

from linkage.gearing.findings import find
from linkage.model.file import (
    format_model,
    parse_model,
)
from linkage.model.mirroring import differing_twins


@pytest.fixture(scope="module")
def twins():
    return parse_model(TWINS)


def flipped(v):
    return np.multiply(v, (1, -1, 1))


def turned_over(v):
    return np.multiply(v, (-1, 1, -1))


@pytest.mark.parametrize("left", [
    "crank left/pivot", "crank left/in", "crank left/out left", "crank left/up", "idler left/pivot",
    "slider left/p", "tube/arm left", "airframe/bracket left",
])
def test_twin_points_lie_across_butt_line_0(twins, left):
    right = left.replace("left", "right")
    np.testing.assert_allclose(twins.position(right), flipped(twins.position(left)), rtol=1e-15)


@pytest.mark.parametrize("left", ["crank left", "idler left", "shoe left", "fin left"])
def test_twin_axes_turn_the_mirrored_way(twins, left):
    """Turning axis (-x, y, -z), however it was given."""
    right = twins.bodies[left.replace("left", "right")]
    np.testing.assert_allclose(right.direction, turned_over(twins.bodies[left].direction),
                               rtol=0, atol=1e-15)


def test_twin_slides_point_the_mirrored_way(twins):
    np.testing.assert_allclose(twins.bodies["slider right"].direction,
                               flipped(twins.bodies["slider left"].direction), rtol=1e-15)


def test_twin_references_are_renamed(twins):
    assert twins.bodies["idler right"].on == "crank right"
    assert twins.bodies["crank right"].level == ("pivot", "out right")
    assert set(twins.bodies["crank right"].points) == {"in", "out right", "up"}
    assert twins.bodies["crank right"].solids["ball"].at == "out right"
    assert twins.rods["front right"].ends == ("tube/arm right", "crank right/in")
    assert twins.couplings["cable right"].bodies == ("shoe right", "fin right")
    assert twins.surfaces["fin right"].body == "fin right"
    assert twins.stops["roll right"].between == ("crank right/ball", "airframe/bracket right")
    assert twins.stops["roll right"].spacer.on == "airframe/bracket right"
    assert twins.wires["switch right"].clamps == ("tube/arm right", "airframe/bracket right")
    assert twins.wires["switch right"].exit == "crank right/in"


def test_twin_keeps_its_sizes(twins):
    assert twins.rods["front right"].length == 381
    assert twins.rods["front right"].diameter == 10
    assert twins.couplings["cable right"].ratio == 0.5
    assert twins.stops["roll right"].spacer.thickness == 3
    assert twins.wires["switch right"].diameter == 4


def test_twin_grip_is_clocked_the_other_way():
    """A mirror turns right-hand turns into left-hand ones; its hand is the mirror image."""
    model = parse_model(TWINS.replace('[wire."switch left"]', '''[body."fin left".grip]
along = ["pivot", [10, -20, 400]]
clocking = 25
hand = { kind = "tube", along = [[0, -30, 300], [40, 10, 310]], diameter = 60 }
[wire."switch left"]'''))
    assert model.bodies["fin right"].grip.clocking == -25
    for one, other in zip(*(model.solids[f"fin {side}/hand"].along for side in ("left", "right")),
                          strict=True):
        np.testing.assert_allclose(other, flipped(one), atol=1e-12)


def test_unnamed_parts_get_no_twin_and_keep_what_they_name(twins):
    assert "mid" in twins.rods
    assert len(twins.rods) == 3
    assert twins.rods["mid"].ends == ("tube/arm mid", "airframe/bracket left")
    assert set(twins.bodies["tube"].points) == {"arm left", "arm right", "arm mid"}
    assert set(twins.airframe.points) == {"bracket left", "bracket right", "keel"}


def test_central_solids_get_their_twin(twins):
    cheek = twins.bodies["tube"].solids["cheek right"]
    assert cheek.along[0] == "arm right"
    np.testing.assert_allclose(cheek.along[1], (5, 40, 0))
    bracket = twins.airframe.solids["bracket right"]
    np.testing.assert_allclose(bracket.corner, (10, 20, 30))
    np.testing.assert_allclose(bracket.opposite, (12, 25, 33))


def corners(plate, at):
    """Corners and holes in space: u along the outline's first axis, normal x u along its second."""
    normal, u = (np.array(v) / np.linalg.norm(v) for v in (plate.normal, plate.u))
    flat = [corner[:2] for corner in plate.outline] + [hole.at for hole in plate.holes]
    return np.array([at + a * u + b * np.cross(normal, u) for a, b in flat])


def test_twin_plate_is_the_mirror_image_corner_by_corner(twins):
    left, right = (twins.bodies[f"crank {side}"].solids["plate"] for side in ("left", "right"))
    np.testing.assert_allclose(corners(right, twins.position("crank right/in")),
                               flipped(corners(left, twins.position("crank left/in"))), atol=1e-12)
    assert [c[2:] for c in right.outline] == [c[2:] for c in left.outline]


def test_twin_washer_and_pipe(twins):
    disc = twins.bodies["crank right"].solids["disc"]
    np.testing.assert_allclose(disc.at, (1, -2, 3))
    assert abs(abs(np.dot(disc.normal, (1, -2, 3))) - 14) < 1e-12
    pipe = twins.bodies["crank right"].solids["pipe"]
    assert pipe.along[:2] == ("in", "pivot")
    np.testing.assert_allclose(pipe.along[2], (1, -2, 3))


def test_twin_stop_ends_the_mirrored_travel(twins):
    """Mirrored, roll and a lateral slide run the other way; pitch does not."""
    assert twins.stops["roll right"].side == "greatest"
    assert twins.stops["pitch right"].side == "least"
    assert twins.stops["trim right"].side == "least"


@pytest.mark.parametrize(("more", "way"), LEVER_WRITTEN_OUT)
def test_twin_of_a_part_that_an_input_of_its_own_side_drives(more, way):
    """Two levers, each its own input: mirror images of one another unless the axes say not."""
    model = parse_model(LEVERS + more)
    right = model.stops["right in"]
    assert (right.input, right.side) == ("right lever", "greatest" if way > 0 else "least")
    assert model.rig_pins["right"].input == {"right lever": way * 5}
    turns = [Rotation.from_rotvec(np.multiply(model.bodies[name].direction, at), degrees=True)
             for name, at in [("left lever", 5), ("right lever", way * 5)]]
    assert np.allclose(flipped(turns[0].apply((0, 0, 100))), turns[1].apply((0, 0, 100)))


@pytest.mark.parametrize(("axis", "way"), [("[1, 0, 0]", 1), ("[-1, 0, 0]", -1)])
def test_twin_of_a_coupling_and_of_a_servo_whose_arm_is_written_for_both_sides(axis, way):
    """Turned the mirrored way, the coupled wheel's twin stands in the mirror image."""
    model = parse_model(COUPLED.replace("AXIS", axis))
    ratio = model.couplings["link right"].ratio
    turns = [Rotation.from_rotvec(np.multiply(model.bodies[name].direction, at), degrees=True)
             for name, at in [("wheel left", 10 * model.couplings["link left"].ratio),
                              ("wheel right", 10 * way * ratio)]]
    assert np.allclose(flipped(turns[0].apply((0, 0, 50))), turns[1].apply((0, 0, 50)))
    assert model.servos["motor right"].travel == ((-10, 40) if way > 0 else (-40, 10))


def test_twin_rudder_swaps_left_and_right(twins):
    require = twins.surfaces["fin right"].require[0]
    assert (require.left, require.right) == (20, 10)


def test_twins_survive_a_round_trip(twins):
    assert parse_model(format_model(twins)) == twins


def test_written_twin_wins():
    model = parse_model("""
length = "mm"
[input.roll]
travel = [-9, 9]
[body."stick left"]
pivot = [0, -200, 0]
axis = "fore-aft"
input = "roll"
points = { grip = [0, -200, 500] }
[body."stick right"]
pivot = [0, 210, 0]
axis = "fore-aft"
points = { grip = [0, 210, 480] }
[mirror]
left = "right"
""")
    assert model.bodies["stick right"].input is None
    assert model.position("stick right/grip") == (0, 210, 480)
    assert len(model.bodies) == 2


def test_other_words_and_both_ways():
    """A starboard part gets its port twin too; a word inside a word is none."""
    model = parse_model("""
length = "mm"
[body."horn starboard"]
pivot = [1, 2, 3]
axis = "lateral"
points = { p = { at = [1, 2, 3], bolt = "lateral", side = "left", stack = [2] } }
[body."portal"]
pivot = [4, 5, 6]
axis = "lateral"
[mirror]
port = "starboard"
""")
    assert set(model.bodies) == {"horn starboard", "horn port", "portal"}
    assert model.position("horn port/pivot") == (1, -2, 3)
    assert model.position("horn starboard/p") == (1, 0, 3)  # the ball to the left of the hole
    assert model.position("horn port/p") == (1, 0, 3)  # and to the right of the twin's


def test_no_mirror_no_twins():
    model = parse_model(TWINS.split("[mirror]")[0])
    assert not [name for name in (*model.bodies, *model.rods) if "right" in name]


def test_twins_written_for_both_sides_that_differ_are_told(tmp_path):
    """The one written wins, and its difference is told; a mirror image written out is none."""
    text = format_model(parse_model(TWINS))
    assert differing_twins(parse_model(text)) == []
    written = parse_model(TWINS)
    right = dataclasses.replace(written.bodies["idler right"], pivot=(1.0, 2.0, 3.0))
    differs = dataclasses.replace(written, bodies={**written.bodies, "idler right": right})
    assert differing_twins(differs) == [("idler left", "idler right", ("pivot",))]


def test_the_note_on_differing_twins_names_part_and_keys(side_by_side):
    note = next(f for f in find(side_by_side) if "no mirror image" in f.text)
    assert '"airframe/seat pan left" and "airframe/seat pan right" (outline, holes)' in note.text
    assert not note.miss
