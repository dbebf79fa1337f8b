"""The live workbook without a browser: its grid, its payload, its page, its kernel side."""

import json

import numpy as np
import pytest

from linkage.files import parse_model
from linkage.motion import System
from linkage.workbook import as_json, make_grid, make_payload


def placed(head, grid, body, point, node):
    """A point at a node of the grid, from the payload alone."""
    part = next(b for b in head["bodies"] if b["name"] == body)
    shape = [head["inputs"][k]["axis"][2] for k in part["inputs"]]
    count = int(np.prod(shape, dtype=int))
    rows = grid[part["at"]:part["at"] + 12 * count].reshape(*shape, 3, 4)
    row = rows[tuple(node[k] for k in part["inputs"])].astype(float)
    local = np.array([0.0, 0, 0] if point == "pivot" else part["points"][point])
    return row[:, :3] @ local + row[:, 3]


def test_grid_places_every_point_where_the_motion_has_it(side_by_side):
    payload = make_payload(side_by_side)
    grid = np.frombuffer(payload.grid, "<f4")
    head = json.loads(as_json(payload.head))
    for node in [(0, 0), (5, 11), (12, 3), (24, 30)]:
        at = {item["name"]: item["axis"][0] + item["axis"][1] * n
              for item, n in zip(head["inputs"], node, strict=True)}
        motion = side_by_side.sweep(**at)
        for address in side_by_side.model.points:
            body, point = address.split("/")
            if body != "airframe":
                exact = motion.point(address)
                # float32 keeps 24 bits: half a unit of 6000 mm is 0.00025 mm, of a turned 1500 mm
                # arm a quarter of that for each of its three terms
                assert placed(head, grid, body, point, node) == pytest.approx(exact, abs=7e-4)


def test_rods_end_where_their_points_are(side_by_side):
    head = make_payload(side_by_side).head
    for rod in head["rods"]:
        for (b, *local), address in zip(rod["ends"], rod["points"], strict=True):
            here = np.add(local, head["bodies"][b]["origin"])
            assert here == pytest.approx(side_by_side.model.position(address), abs=1e-5)


def test_shapes_hold_every_piece(side_by_side):
    from linkage.scene import Scene

    payload, scene = make_payload(side_by_side), Scene(side_by_side)
    points = np.frombuffer(payload.shapes, "<f4").reshape(-1, 3)
    for solid in payload.head["solids"]:
        carriers = [payload.head["bodies"][b]["origin"] for b in solid["carriers"]]
        for (first, count, radius), piece in zip(solid["pieces"], scene.solid(solid["name"]).pieces,
                                                 strict=True):
            here = points[first:first + count] + np.array(carriers)
            assert here == pytest.approx(piece.points, abs=3e-4)
            assert radius == pytest.approx(piece.radius, abs=1e-6)


SHORT = """
length = "mm"
[input.pitch]
travel = [-30, 30]
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = { low = [0, 0, -100] }
[body.crank]
pivot = [400, 0, 0]
axis = "lateral"
points = { in = [400, 0, -40] }
[rod.push]
ends = ["stick/low", "crank/in"]
"""


def test_out_of_reach_is_nan_and_nothing_else_is():
    system = System(parse_model(SHORT))
    grid = make_grid(system)
    reach = system.sweep(pitch=grid.axes[0].positions).reachable
    assert 0 < reach.sum() < reach.size
    assert np.array_equal(np.isfinite(grid.placements["crank"]).all(axis=-1), reach)
    assert np.array_equal(np.isnan(grid.placements["crank"]).all(axis=-1), ~reach)
    assert np.isfinite(grid.placements["stick"]).all()


def test_an_unmoved_body_takes_one_place():
    still = SHORT.replace('ends = ["stick/low", "crank/in"]',
                          'ends = ["crank/in", "loose/in"]') + """
[body.loose]
pivot = [600, 0, 0]
axis = "lateral"
points = { in = [600, 0, -40] }
"""
    grid = make_grid(System(parse_model(still)))
    assert grid.inputs["crank"] == ()
    assert grid.placements["crank"].shape == (12,)


HOSTILE = "</script><script>alert(1)</script><!-- '&\\u2028."  # as TOML writes it
TAME = "<script>alert(1)<!-- '&"  # what a part may be called


def test_hostile_names_stay_harmless_in_the_json():
    text = f'title = "{HOSTILE}"' + SHORT.replace("[rod.push]",
                                                  f'[rod."{TAME}"]')
    head = make_payload(System(parse_model(text))).head
    made = as_json(head)
    assert not set("<>&\u2028") & set(made)
    assert json.loads(made)["rods"][0]["name"] == TAME
    assert json.loads(made)["title"] == HOSTILE.encode().decode("unicode_escape")
