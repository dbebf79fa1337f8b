"""Parts that share a joint: what lies at the joint is left out and listed, the rest is proven."""

import json
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

import linkage
from linkage.clearances import scene_of
from linkage.clearances.scene import Scene
from linkage.model import Tolerance
from linkage.model.file import format_model, parse_model
from linkage.motion import System

FOUR_BAR = """
length = "mm"
[input.pitch]
travel = [-12, 12]
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = {{ link = [0, 0, -80] }}
[body.crank]
pivot = [300, 0, 0]
axis = "lateral"
points = {{ in = [300, 0, -80] }}
solid.lug = {{ kind = "box", corner = [{low}, -6, -86], opposite = [308, 6, 10] }}
[rod.drive]
ends = ["stick/link", "crank/in"]
diameter = 16
{more}
"""
ROD_END = """
fitted = { rod_end = "m6", engaged = 12 }
[rod_end.m6]
thread = "M6"
shank = 36
"""


def made(text):
    return System(parse_model(text))


def row_of(system, pair):
    table = linkage.clearance(system).set_index("pair")
    return table.loc[pair]


def left_out(system):
    return {(item.name, item.ball.joint): item for item in scene_of(system).left_out}


# ------------------------------------------------------------------ what is looked at at all


def test_a_rod_deep_in_the_lug_of_the_crank_that_it_drives_is_listed_and_missed():
    system = made(FOUR_BAR.format(low=300 - 25.4 - 21, more=""))
    row = row_of(system, "crank/lug | drive/tube")
    assert (row["rule"], row["required"], bool(row["ok"])) == ("joined", 0.0, False)
    assert row["least"] < 0
    item = left_out(system)["crank/lug | drive/tube", "crank/in"]
    assert (item.ball.radius, item.ball.source, item.whole) == (25.4, "usual size", ())


def test_a_rod_bolted_to_a_lug_no_longer_than_its_ball_is_free():
    system = made(FOUR_BAR.format(low=292, more=""))
    row = row_of(system, "crank/lug | drive/tube")
    assert bool(row["ok"])
    assert row["proven"] > 0


@pytest.mark.parametrize(("more", "radius", "source"), [
    (ROD_END, 24.0, '"m6": shank 36.00 mm less 12.00 mm engaged'),
    (ROD_END.replace(", engaged = 12", ""), 36.0, '"m6": shank 36.00 mm'),
    ("joint = 31" + ROD_END, 31.0, 'as "drive" says'),
    ("", 25.4, "usual size"),
])
def test_a_rod_ends_ball_holds_its_head_and_shank_less_what_is_engaged(more, radius, source):
    system = made(FOUR_BAR.format(low=292, more=more))
    item = left_out(system)["crank/lug | drive/tube", "crank/in"]
    assert (item.ball.radius, item.ball.source) == (pytest.approx(radius), source)
    # the drawn tube begins again where the true tube begins, less what its thickness hides
    scene = scene_of(system)
    (piece,) = scene.solid_of(scene.pairs[item.name], "drive/tube").pieces
    start = 300 - piece.points[:, 0].max()
    assert start == pytest.approx(np.sqrt(radius**2 - 8.0**2), abs=1e-6)


def test_a_rods_piece_keeps_its_distance_where_the_length_is_given():
    """Ends of the piece from the solved ends of the rod: the ball's edge stays where it is."""
    system = made(FOUR_BAR.format(low=292, more="length = 306"))
    scene = scene_of(system)
    (piece,) = scene.solid_of(scene.pairs["crank/lug | drive/tube"], "drive/tube").pieces
    share = (300 - piece.points[:, 0].max()) / 300
    motion = system.sweep(pitch=np.linspace(-12, 12, 7))
    apart = np.linalg.norm(motion.point("stick/link") - motion.point("crank/in"), axis=-1)
    assert share * apart == pytest.approx(np.sqrt(25.4**2 - 8**2), abs=1e-6)


TUBE = """
length = "mm"
[input.pitch]
travel = [-12, 12]
[input.roll]
travel = [-15, 15]
[body.tube]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
{bearings}
solid.tube = {{ kind = "tube", along = [[0, -250, 0], [0, 250, 0]], diameter = 40 }}
[body.stick]
on = "tube"
pivot = [0, 0, 0]
axis = "fore-aft"
input = "roll"
points = {{ grip = [0, 0, 500] }}
solid.shaft = {{ kind = "tube", along = ["pivot", "grip"], diameter = 25 }}
solid.hub = {{ kind = "tube", along = [[-8, 0, 0], [8, 0, 0]], diameter = 30 }}
[airframe.solid]
"block left" = {{ kind = "box", corner = [-30, -215, -60], opposite = [30, -185, 30] }}
"block right" = {{ kind = "box", corner = [-30, 185, -60], opposite = [30, 215, 30] }}
{more}
"""
BEARINGS = "bearings = [[0, -200, 0], [0, 200, 0]]"


def test_a_hub_on_its_shaft_lies_wholly_at_the_joint():
    system = made(TUBE.format(bearings=BEARINGS, more=""))
    scene = scene_of(system)
    assert "tube/tube | stick/hub" not in scene.pairs
    item = left_out(system)["tube/tube | stick/hub", "stick/pivot"]
    assert item.whole == ("stick/hub",)
    assert item.ball.radius == pytest.approx(12.7 + 20)
    assert item.ball.source == "usual size: 12.70 mm round the tube of 40.00 mm"
    row = row_of(system, "tube/tube | stick/shaft")
    assert row["rule"] == "joined"
    assert bool(row["ok"])


def test_a_torque_tube_passes_through_its_bearings():
    system = made(TUBE.format(bearings=BEARINGS, more=""))
    table = linkage.clearance(system).set_index("pair")
    for k, side in enumerate(("left", "right")):
        pair = f"tube/tube | airframe/block {side}"
        assert (table.loc[pair, "rule"], bool(table.loc[pair, "ok"])) == ("joined", True)
        assert (pair, f"tube, bearing {k + 1}") in left_out(system)
    # without its bearings nothing says that the blocks carry it
    table = linkage.clearance(made(TUBE.format(bearings="", more=""))).set_index("pair")
    assert table.loc["tube/tube | airframe/block left", "rule"] == "structure"
    assert not table["ok"].loc["tube/tube | airframe/block left"]


def test_a_bearing_block_far_longer_than_its_ball_is_missed():
    text = TUBE.format(bearings=BEARINGS, more="").replace("[30, -185, 30]", "[30, -120, 30]")
    row = row_of(made(text), "tube/tube | airframe/block left")
    assert (row["rule"], bool(row["ok"])) == ("joined", False)
    assert row["least"] < 0


HINGED = """
length = "mm"
[input.flap]
travel = [0, 40]
[body.flap]
pivot = [0, -300, 0]
through = [0, 300, 20]
input = "flap"
solid.skin = {{ kind = "plate", thickness = 4, outline = [[{gap}, -350], [150, -350], [150, 350],
  [{gap}, 350]], at = [0, 0, 10], normal = [0, -0.0333, 1], u = [1, 0, 0] }}
solid."arm one" = {{ kind = "box", corner = [-4, -302, -4], opposite = [40, -298, 4] }}
solid."arm two" = {{ kind = "box", corner = [-4, 298, 16], opposite = [40, 302, 24] }}
[airframe.solid]
"bracket one" = {{ kind = "box", corner = [-60, -304, -8], opposite = [8, -296, 8] }}
"bracket two" = {{ kind = "box", corner = [-60, 296, 12], opposite = [8, 304, 28] }}
"bracket off" = {{ kind = "box", corner = [-60, -4, -8], opposite = [8, 4, 8] }}
"""


def test_a_ball_stands_at_both_points_of_a_hinge():
    system = made(HINGED.format(gap=45))
    out = left_out(system)
    assert ("flap/arm one | airframe/bracket one", "flap/pivot") in out
    assert ("flap/arm two | airframe/bracket two", "flap, second point of its axis") in out
    # a bracket that holds neither point is structure like any other
    scene = scene_of(system)
    assert scene.pairs["flap/skin | airframe/bracket off"].rule == "structure"
    assert scene.pairs["flap/skin | airframe/bracket two"].rule == "joined"
    table = linkage.clearance(system)
    low = dict(zip(table["pair"], table["proven"], strict=True)) | table.attrs["far"]
    assert low["flap/arm one | airframe/bracket one"] > 0
    assert low["flap/skin | airframe/bracket two"] > 0
    # a bracket that reaches past its ball into the arm is found
    long = HINGED.format(gap=45).replace("opposite = [8, -296, 8]", "opposite = [38, -296, 8]")
    assert row_of(made(long), "flap/arm one | airframe/bracket one")["least"] < 0


def test_a_bearing_plate_with_its_hole_drawn_carries_the_pivot_and_a_wide_slot_does_not():
    plate = """
[airframe.solid.plate]
kind = "plate"
thickness = 6
outline = [[-60, -60], [60, -60], [60, 60], [-60, 60]]
at = [0, -200, 0]
normal = "lateral"
u = [1, 0, 0]
holes = [{ at = [0, 0], diameter = %s }]
"""
    text = TUBE.format(bearings=BEARINGS, more=plate)
    assert scene_of(made(text % 41)).pairs["tube/tube | airframe/plate"].rule == "joined"
    assert scene_of(made(text % 90)).pairs["tube/tube | airframe/plate"].rule == "structure"


def test_where_one_of_the_two_has_nothing_at_the_joint_nothing_is_left_out():
    """A stay of the crank that the rod would foul at its own ball, were it not looked at."""
    system = made(FOUR_BAR.format(low=292, more="").replace(
        "solid.lug", 'solid.stay = { kind = "sphere", at = [300, 0, -40], diameter = 10 }\n'
                     "solid.lug"))
    scene = scene_of(system)
    pair = scene.pairs["crank/stay | drive/tube"]
    assert pair.rule == "joined"
    assert not scene.balls(pair)
    assert scene.solid_of(pair, "drive/tube") is scene.solid("drive/tube")


# ------------------------------------------------------------------ what a file may say


def test_a_rule_for_the_pair_is_of_the_two_whole_solids():
    rule = '[[pair]]\nbetween = ["drive/tube", "crank/lug"]\n{}\nreason = "why not"\n'
    asked = made(FOUR_BAR.format(low=292, more=rule.format("require = 1.5")))
    row = row_of(asked, "crank/lug | drive/tube")
    assert (row["rule"], row["required"], bool(row["ok"])) == ("this pair", 1.5, False)
    assert row["least"] < 0
    assert not scene_of(asked).left_out
    waived = made(FOUR_BAR.format(low=250, more=rule.format("waive = true")))
    row = row_of(waived, "crank/lug | drive/tube")
    assert (row["rule"], bool(row["ok"])) == ("waived", True)
    assert scene_of(waived).waived == {"crank/lug | drive/tube": "why not"}


def test_the_class_joined_and_the_radius_are_the_files():
    text = FOUR_BAR.format(low=292, more="[clearance]\njoined = 3\n")
    row = row_of(made(text), "crank/lug | drive/tube")
    assert (row["rule"], row["required"]) == ("joined", 3.0)
    said = TUBE.format(bearings=BEARINGS + "\njoint = 44", more="")
    item = left_out(made(said))["tube/tube | airframe/block left", "tube, bearing 1"]
    assert (item.ball.radius, item.ball.source) == (44.0, 'as "tube" says')
    model = parse_model(said)
    assert parse_model(format_model(model)) == model


def test_a_class_that_a_solid_names_still_holds_it():
    text = FOUR_BAR.format(low=292, more='clearance = "wide"\n[clearance.class]\nwide = 4\n')
    row = row_of(made(text), "crank/lug | drive/tube")
    assert (row["rule"], row["required"]) == ("wide", 4.0)
    assert left_out(made(text))


def test_the_sheet_lists_what_is_left_out(tmp_path, capsys):
    from linkage.__main__ import main

    path = tmp_path / "one.toml"
    path.write_text(FOUR_BAR.format(low=292, more=""))
    main([str(path)])
    text = capsys.readouterr().out
    (line,) = [line for line in text.splitlines() if line.startswith("crank/in ")]
    assert line.split() == ["crank/in", "25.40", "crank/lug", "|", "drive/tube", "usual", "size"]
    assert "clearance at 1 joint, within the radius" in text


def test_twins_are_left_out_and_bounded_alike():
    text = """
length = "mm"
[input.pitch]
travel = [-12, 12]
[mirror]
left = "right"
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = { "link left" = [0, -40, -80] }
[body."crank left"]
pivot = [300, -40, 0]
axis = [0.1, 1, 0.05]
points = { in = [300, -40, -80] }
joint = 28
solid.plate = { kind = "plate", thickness = 5, outline = [[-11, 95, 4], [13, 92, 4], [17, -20],
  [-15, -24]], at = [300, -36, 0], normal = [0.1, 1, 0.05], u = [1, -0.1, 0] }
[rod."drive left"]
ends = ["stick/link left", "crank left/in"]
diameter = 16
joint = 27
[airframe.solid."bracket left"]
kind = "box"
corner = [290, -80, -10]
opposite = [310, -39, 10]
"""
    system = made(text)
    table = linkage.clearance(system, 0.01).set_index("pair")
    mine = table[table.index.str.contains("left")]
    assert {"crank left/plate | drive left/tube",
            "crank left/plate | airframe/bracket left"} <= set(mine.index)
    for pair, row in mine.iterrows():
        twin = table.loc[pair.replace("left", "right")]
        assert abs(row["least"] - twin["least"]) < 1e-3, pair
        assert (row["rule"], row["ok"]) == (twin["rule"], twin["ok"])
    sides = {side: sorted((i.name.replace(side, "*"), i.ball.joint.replace(side, "*"),
                           round(i.ball.radius, 9))
                          for i in scene_of(system).left_out if side in i.name)
             for side in ("left", "right")}
    assert sides["left"] == sides["right"]
    assert len(sides["left"]) == 2


# ------------------------------------------------------------------ as built


def test_a_rods_share_is_that_of_the_longest_that_may_be_built():
    system = made(FOUR_BAR.format(low=292, more=""))
    scene = Scene(system, Tolerance(hardpoint=0.5, rod=2.0))
    pair = scene.pairs["crank/lug | drive/tube"]
    (piece,) = scene.solid_of(pair, "drive/tube").pieces
    share, radius = (300 - piece.points[:, 0].max()) / 300, 25.4 - 0.5 * (np.sqrt(3) + 1)
    for length in (298.0, 302.0):
        assert np.hypot(share * length, 8.0) <= radius + 1e-9


def test_a_joint_beyond_both_points_of_a_tilting_axis_is_off_by_more():
    text = TUBE.format(bearings=BEARINGS, more="").replace(
        'axis = "lateral"\ninput = "pitch"', 'through = [0, 100, 0]\ninput = "pitch"')
    off = Tolerance(hardpoint=0.5)
    radii = {i.ball.joint: i.ball.radius for i in Scene(made(text), off).left_out}
    # 200 mm out on an axis through points at 0 and 100 mm: off by |1 - 2| + |2| = 3 times as much
    assert radii["tube, bearing 2"] == pytest.approx(32.7 - 0.5 * (3 * np.sqrt(3) + 1))


# ------------------------------------------------------------------ the page's own gaps


@pytest.mark.skipif(shutil.which("node") is None, reason="needs node")
def test_the_pages_gaps_leave_out_the_same(side_by_side_fixed, tmp_path):
    """The page's program, run by node, against the library's exact gaps of joined pairs."""
    from linkage.workbook import program
    from linkage.workbook.payload import as_plain, make_payload

    system, at = side_by_side_fixed, {"pitch": -3.0, "roll": 10.0}
    scene = scene_of(system)
    names = list(scene.pairs)
    wanted = [n for n, pair in enumerate(scene.pairs.values()) if scene.balls(pair)]
    modules = Path(program.__file__).parent / "js"
    (tmp_path / "gaps.mjs").write_text(f"""
import fs from "node:fs";
import {{ Poses }} from "{(modules / 'pose.js').as_uri()}";
import {{ Gaps }} from "{(modules / 'gaps.js').as_uri()}";
const [plain, at, wanted] = JSON.parse(fs.readFileSync(0));
const poses = new Poses(plain.head, plain.shapes, plain.grid), gaps = new Gaps(poses);
console.log(JSON.stringify(gaps.nearest(poses.at(at), wanted.length, wanted)));
""")
    asked = json.dumps([as_plain(make_payload(system)), at, wanted])
    done = subprocess.run(["node", str(tmp_path / "gaps.mjs")], check=True, text=True,
                          capture_output=True, input=asked)
    exact = linkage.gaps(system.sweep(**at), [names[n] for n in wanted])
    shown = json.loads(done.stdout)
    assert len(shown) == len(wanted) > 20
    for near in shown:
        assert near["gap"] == pytest.approx(float(exact[names[near["pair"]]]), abs=2e-3)
