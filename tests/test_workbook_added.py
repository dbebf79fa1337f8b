"""Parts added, dimensions chosen and the hand's force, as the page is given them."""

import math

import numpy as np
import pytest

import linkage
from linkage.model.file import parse_model
from linkage.motion import System
from linkage.results import Answers
from linkage.workbook.forces import force_tables
from linkage.workbook.live import Workbook
from linkage.workbook.sized import dimension_rows, target_rows, with_sized

LEVER = """
length = "mm"
[input.pitch]
travel = [-12, 16]
[input.roll]
travel = [-20, 20]
[body.tube]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = { low = [0, 0, -80] }
[body.stick]
on = "tube"
pivot = [0, 0, 0]
axis = "fore-aft"
input = "roll"
points = { grip = [0, 0, 500] }
[body.elevator]
pivot = [2000, 0, 0]
axis = "lateral"
points = { horn = [2000, 0, -100] }
[rod.push]
ends = ["tube/low", "elevator/horn"]
[surface.elevator]
body = "elevator"
require = { up = 13, down = 10, within = 1 }
hinge = { at = "50 m/s, invented", neutral = "2 N*m", slope = "-0.5 N*m" }
[size]
over-centre = 30
[size.arm.horn]
point = "elevator/horn"
least = 80
greatest = 130
[size.clocking.rake]
point = "elevator/horn"
least = -20
greatest = 20
"""


@pytest.fixture(scope="module")
def lever():
    return System(parse_model(LEVER))


def test_the_hands_force_is_that_of_virtual_work(lever):
    """F ds + M d(delta) = 0 with both movements by finite differences (virtual work, any statics
    text): the moment from the file's line, the grip's way from its own two places.
    """
    table = force_tables(lever)
    assert (table["unit"], table["of"]) == ("N", ["elevator at 50 m/s, invented"])
    felt = table["inputs"]["pitch"]  # the air does not turn the stick in roll
    assert list(table["inputs"]) == ["pitch"]
    values = np.array(felt["values"]).reshape([count for *_, count in felt["axes"]])
    (_, start, step, _), (_, other, across, _) = felt["axes"]
    for i, j in ((4, 8), (12, 3), (18, 20)):
        at = {"pitch": start + step * i, "roll": other + across * j}
        two = [lever.sweep(**at | {"pitch": at["pitch"] + d}) for d in (-1e-3, 1e-3)]
        turned = math.radians(np.diff([m.deflection("elevator").item() for m in two]).item())
        way = np.linalg.norm(np.subtract(*(m.point("stick/grip") for m in two))) / 1000
        moment = 2.0 - 0.5 * lever.sweep(**at).deflection("elevator").item()
        assert values[i, j] == pytest.approx(-moment * turned / way, abs=2e-4)


def test_without_air_or_springs_no_force_is_told(lever):
    bare = parse_model("\n".join(line for line in LEVER.splitlines() if "hinge" not in line))
    assert force_tables(System(bare)) is None


def test_a_dimension_moves_by_its_slider_between_its_limits(lever):
    first = lever.model
    longer = with_sized(first, first, "horn", 125.0)
    raked = with_sized(first, with_sized(first, longer, "rake", 15.0), "rake", -5.0)
    assert math.dist(raked.position("elevator/horn"), (2000, 0, 0)) == pytest.approx(125.0)
    x, _, z = raked.position("elevator/horn")
    assert abs(math.degrees(math.atan2(x - 2000, -z))) == pytest.approx(5.0)
    now = {row["name"]: row["now"] for row in dimension_rows(first, raked)}
    assert now == pytest.approx({"horn": 125.0, "rake": -5.0})
    for name, value, words in (("horn", 79.0, "out of range; from 80.0"), ("arm", 9.0, "no dimen")):
        with pytest.raises(linkage.LinkageError, match=words):
            with_sized(first, raked, name, value)


def test_targets_are_what_the_surface_does(lever):
    rows = {row["target"]: row for row in target_rows(Answers(lever))}
    for way, pitch in (("up", -12.0), ("down", 16.0)):  # the rod lies below both pivots
        true = abs(lever.sweep(pitch=pitch).deflection("elevator").item())
        row = rows[f"elevator {way}"]
        assert row["found"] == f"{true:.2f}°"
        assert row["ok"] == (abs(true - {"up": 13, "down": 10}[way]) <= 1)
    assert rows["elevator/horn over-centre"]["wanted"] == "at least 30.00°"


def test_parts_added_to_an_empty_page_are_listed_and_undone(tmp_path):
    path = tmp_path / "new.toml"
    path.write_text('title = "New"\nlength = "in"\n')
    book = Workbook(linkage.load(path), path, prove=False)
    for kind, fields in (
            ("stick", {"name": "stick", "pivot": "61, 0, 9", "axis": "lateral", "input": "pitch",
                       "grip": "59.4, 0, 27.5", "low": "61, 0, 5.2"}),
            ("surface", {"name": "elevator", "pivot": "170, 0, 14", "axis": "lateral",
                         "horn": "170, 0, 18", "chord": "14"}),
            ("rod", {"name": "push", "from": "stick/low", "to": "elevator/horn"}),
            ("box", {"name": "lug", "on": "stick", "corner": "61, -1, 12",
                     "opposite": "62, 1, 13"}),
            ("box", {"name": "block", "corner": "62.5, -2, 11", "opposite": "64, 2, 12"}),
            ("stop", {"name": "aft", "input": "pitch", "side": "greatest", "one": "stick/lug",
                      "other": "airframe/block"})):
        book.answer({"do": "add", "kind": kind, "fields": fields, "n": 1})
        assert book.message == f"{fields['name']} added"
    assert book.state["limits"] == book.state["wanted"] == {"pitch": [-15.0, 15.0]}
    assert {"pitch: a new input", "aft: new", "stick/pivot: new", "push length: new",
            "stick/lug: new"} <= set(book.state["changes"])
    book.answer({"do": "exact", "position": {"pitch": 5.0}, "pairs": [], "n": 2})
    assert abs(book.exact["surfaces"]["elevator"]["deflection"]) > 4
    assert book.state["stops"][0]["angle"] > 0
    while book.state["undo"]:
        book.answer({"do": "undo", "n": 3})
    assert (book.state["stops"], book.state["changes"], book.position) == ([], [], {})
    book.close()
