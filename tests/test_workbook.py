"""The live workbook without a browser: its grid, its payload, its page, its kernel side."""

import json
from pathlib import Path

import numpy as np
import pytest

import linkage
from linkage.model.file import parse_model
from linkage.motion import System
from linkage.results import Answers
from linkage.workbook import as_json, make_grid, make_payload
from linkage.workbook.page import state_from_disk
from linkage.workbook.page_tables import direction_rows


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
    from linkage.clearances.scene import Scene

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


HOSTILE = "</script><script>alert(1)</script><!-- '&\\u00e9."  # as TOML writes it
TAME = "<script>alert(1)<!-- '&"  # what a part may be called


def test_hostile_names_stay_harmless_in_the_json():
    text = f'title = "{HOSTILE}"' + SHORT.replace("[rod.push]",
                                                  f'[rod."{TAME}"]')
    head = make_payload(System(parse_model(text))).head
    made = as_json(head)
    assert not set("<>&") & set(made)
    assert not set("\u2028\u2029") & set(as_json({"words": "a\u2028b\u2029"}))
    assert json.loads(made)["rods"][0]["name"] == TAME
    assert json.loads(made)["title"] == HOSTILE.encode().decode("unicode_escape")


THREE = """
length = "mm"
[input.pitch]
travel = [-15, 20]
[input.roll]
travel = [-20, 20]
[input.trim]
travel = ["-10 mm", "12 mm"]
[body.frame]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
[body.stick]
on = "frame"
pivot = [0, 0, 0]
axis = "fore-aft"
input = "roll"
points = { grip = [0, 0, 400], low = [0, 0, -60] }
[body.slide]
pivot = [0, 300, -60]
slide = [0, 1, 0]
input = "trim"
[body.lever]
on = "slide"
pivot = [0, 340, 0]
axis = "fore-aft"
points = { in = [0, 340, -60] }
[rod.push]
ends = ["stick/low", "lever/in"]
[surface.tab]
body = "lever"
"""


def test_a_third_input_is_held_and_the_kernel_draws_anew_when_it_moves():
    from linkage.workbook.live import Workbook

    book = Workbook(System(parse_model(THREE)), prove=False)
    assert [item["name"] for item in book.head["inputs"] if item["held"]] == ["trim"]
    for way in (0.0, 8.0):
        book.position = {"pitch": 0.0, "roll": 0.0, "trim": way}
        grid, node = np.frombuffer(book.grid, "<f4"), (5, 7)
        at = {item["name"]: item["axis"][0] + item["axis"][1] * n
              for item, n in zip(book.head["inputs"], node, strict=False)}
        exact = book.system.sweep(**{**at, "trim": way}).point("lever/in")
        assert placed(book.head, grid, "lever", "in", node) == pytest.approx(exact, abs=1e-3)
    book.close()


# ---------------------------------------------------------------- the page as one file
@pytest.fixture(scope="module")
def small_page():
    from linkage.workbook.page import write_page

    text = f'title = "{HOSTILE}"' + SHORT.replace("[rod.push]", f'[rod."{TAME}"]')
    return write_page(System(parse_model(text)))


def test_the_page_asks_nothing_of_the_net(small_page):
    assert "http:" not in small_page
    assert "https:" not in small_page
    for word in ("import ", "fetch(", "XMLHttpRequest", "<link", " src="):
        assert word not in small_page


def test_hostile_names_stay_harmless_in_the_page(small_page):
    from html.parser import HTMLParser

    class Tags(HTMLParser):
        seen, inside, data = (), None, ""

        def handle_starttag(self, tag, attributes):
            self.seen = (*self.seen, tag)
            self.inside = dict(attributes).get("id")

        def handle_data(self, data):
            if self.inside == "linkage-data":
                self.data += data

    tags = Tags()
    tags.feed(small_page)
    assert tags.seen.count("script") == 2
    assert json.loads(tags.data)["head"]["title"] == HOSTILE.encode().decode("unicode_escape")
    assert "<script>alert" not in small_page


def test_the_page_carries_the_caution_and_is_written_by_the_verb(tmp_path):
    from linkage.__main__ import main

    model, page = tmp_path / "short.toml", tmp_path / "page.html"
    model.write_text(SHORT)
    assert main(["view", str(model), "--out", str(page)]) == 0
    assert "never replaces, physical checks" in page.read_text(encoding="utf-8")
    assert main(["view", str(tmp_path / "none.toml"), "--out", str(page)]) == 2


# ---------------------------------------------------------------- the kernel side
def stop_of(book, name):
    return next(row for row in book.state["stops"] if row["name"] == name)


def test_a_spacer_moves_its_stop_to_where_the_library_finds_it(book):
    import linkage
    from linkage.workbook.draft import with_spacers

    before = stop_of(book, "roll right")["angle"]
    book.spacers = {**book.spacers, "roll right": 0.125}
    changed = System(with_spacers(book.model, {"roll right": 0.125 * 25.4}))
    found = linkage.find_stops(changed).set_index("stop").loc["roll right"]
    row = stop_of(book, "roll right")
    assert row["angle"] == pytest.approx(found["angle"], abs=1e-9)
    assert row["angle"] < before - 0.3
    assert row["deflections"]["aileron left"] == pytest.approx(found["aileron left"], abs=1e-9)
    assert book.state["changes"] == ["roll right spacer: 0.063 in to 0.125 in"]


def test_limits_and_positions_follow_their_traits(book):
    book.limits = {**book.limits, "pitch": [-12.0, 15.0]}
    assert book.system.inputs["pitch"].travel == (-12.0, 15.0)
    assert book.state["limits"]["pitch"] == [-12.0, 15.0]
    book.position = {"pitch": 7.0, "roll": -3.0}
    exact = book.exact["surfaces"]["elevator"]
    motion = book.system.sweep(pitch=7.0, roll=-3.0)
    assert exact["deflection"] == pytest.approx(float(motion.deflection("elevator")), abs=1e-12)
    assert exact["gearing"]["pitch"] == pytest.approx(float(motion.gearing("elevator")["pitch"]))


def test_exact_gaps_are_the_librarys(book):
    import linkage

    pair = "cross tube/tube | roll drive/tube"
    book.answer({"do": "exact", "n": 1, "position": {"pitch": 5.0, "roll": 9.0}, "pairs": [pair]})
    wanted = linkage.gaps(book.system.sweep(pitch=5.0, roll=9.0), [pair])[pair]
    assert book.exact["gaps"][pair] == pytest.approx(float(wanted), abs=1e-12)
    assert book.state["heard"] == 1


def test_exact_numbers_are_those_of_the_changed_model(book):
    import linkage

    pair, place = "elevator rear/tube | airframe/tail frame", {"pitch": 10.0, "roll": 2.0}
    seen = []
    for change in (lambda: None, lambda: book.change("elevator/horn", "WL", "17.0"),
                   lambda: book.change("tail idler/out", "WL", "10.7"),
                   lambda: setattr(book, "limits", {**book.limits, "pitch": [-10, 15]}), book.undo,
                   book.undo, book.undo):
        change()
        book.answer({"do": "exact", "n": 1, "position": place, "pairs": [pair]})
        motion = book.system.sweep(**place)
        row = book.exact["surfaces"]["elevator"]
        assert row["deflection"] == float(motion.deflection("elevator"))
        assert book.exact["gaps"][pair] == float(linkage.gaps(motion, [pair])[pair])
        assert book.exact["serial"] == book.state["serial"]
        seen.append((row["deflection"], book.exact["gaps"][pair]))
    assert len(set(seen)) == 3
    assert seen[0] == seen[-1]


def test_a_dimension_changes_its_twin_and_is_undone(book):
    first = book.model
    book.change("aileron left/horn", "WL", "11-3/4 in")
    left, right = (book.model.position(f"aileron {side}/horn") for side in ("left", "right"))
    assert left[2] == pytest.approx(11.75 * 25.4)
    assert right == (left[0], -left[1], left[2])
    assert any("aileron left/horn: WL +0.030 in" in line for line in book.state["changes"])
    book.undo()
    assert book.model == first
    assert book.state["changes"] == []


def test_a_change_far_from_the_stops_leaves_them_and_one_near_finds_them_anew(book):
    import linkage

    before = {row["name"]: row["angle"] for row in book.state["stops"]}
    book.change("elevator/horn", "arm", "2.95")
    assert {row["name"]: row["angle"] for row in book.state["stops"]} == before
    level = book.model.position("stick left/pivot")[2] / 25.4
    book.change("stick left/pivot", "WL", f"{level + 0.02:.4f}", twin=False)
    found = linkage.find_stops(book.system).set_index("stop")["angle"]
    after = {row["name"]: row["angle"] for row in book.state["stops"]}
    assert after == pytest.approx(found.to_dict(), abs=1e-9)
    assert after["roll right"] != before["roll right"]


def test_an_arm_is_the_distance_from_the_axis(book):
    from linkage.workbook.draft import arm_of

    book.change("elevator/horn", "arm", "3 in")
    assert arm_of(book.model, "elevator/horn") == pytest.approx(76.2)
    x, _, z = np.subtract(book.model.position("elevator/horn"), book.model.bodies["elevator"].pivot)
    assert x / z == pytest.approx(0.6 / 2.8)  # as before: [-0.6, -2.8] in the file


@pytest.mark.parametrize("text", ["banana", "", "5 parsnips", "nan", "1e9", "--3", "1/0 in"])
def test_what_is_no_length_is_one_sentence_and_changes_nothing(book, text):
    before, told = book.model, book.state["changes"]
    book.answer({"do": "dimension", "n": 3, "address": "elevator/horn", "what": "WL",
                 "text": text, "twin": True})
    assert book.message
    assert "\n" not in book.message
    assert book.model is before
    assert book.state["changes"] == told
    assert book.state["heard"] == 3


def test_a_rod_that_cannot_reach_is_refused_and_changes_nothing(book):
    before = book.model
    book.answer({"do": "dimension", "n": 1, "address": "aileron drive left", "what": "length",
                 "text": "14", "twin": True})
    assert "can't reach" in book.message
    assert book.model is before


def test_save_never_writes_over_a_file_unasked(book, tmp_path):
    from linkage.model.file import read_model

    source, other = tmp_path / "mine.toml", tmp_path / "other.toml"
    kept = source.read_bytes()
    book.spacers = {**book.spacers, "roll right": 0.09}
    assert not book.save(source)
    assert source.read_bytes() == kept
    assert "the file this came from" in book.message
    assert book.state["ask_over"]
    book.answer({"do": "save", "n": 1, "path": str(other), "over": False})
    assert read_model(other) == book.model
    assert not book.state["ask_over"]
    other.write_text("not a model")
    book.answer({"do": "save", "n": 2, "path": str(other), "over": False})
    assert other.read_text() == "not a model"
    assert book.save(source, over=True)
    assert read_model(source).stops["roll right"].spacer.thickness == 0.09 * 25.4
    book.answer({"do": "save", "n": 3, "path": str(tmp_path / "no" / "x.toml"), "over": False})
    assert "can't be written" in book.message


def test_a_newer_change_puts_an_end_to_the_proof_before():
    import threading

    from linkage.workbook.prover import Prover

    heard, done = [], threading.Event()

    def hear(serial, what, value):
        heard.append((serial, what, value))
        if what == "done":
            done.set()

    prover, model = Prover(hear), parse_model(SHORT)
    try:
        prover.prove(1, model, ["proof", "map"])
        prover.prove(2, model, ["required", "proof"])
        assert done.wait(60)
        assert [(serial, what) for serial, what, _ in heard if serial == 2] == [
            (2, "required"), (2, "proof"), (2, "done")]
        assert (1, "done") not in [(serial, what) for serial, what, _ in heard]
    finally:
        prover.close()


def test_the_quick_proof_brackets_what_the_table_has(side_by_side):
    from linkage.workbook.page_tables import WITHIN, proof_of, quick_proof

    results = Answers(side_by_side)
    quick, table = quick_proof(results)["rows"], proof_of(results)["rows"]
    near = {name: row for name, row in table.items() if row["proven"] < row["required"] + 20}
    assert near.keys() <= quick.keys()
    for name, row in near.items():
        assert quick[name]["proven"] <= row["least"] + 1e-9
        assert row["proven"] - 1e-9 <= quick[name]["least"] <= row["least"] + WITHIN + 1e-6
        assert quick[name]["ok"] == row["ok"]


def test_the_notebook_of_the_workbook_runs_from_top_to_bottom():
    nbformat = pytest.importorskip("nbformat")
    nbclient = pytest.importorskip("nbclient")
    from pathlib import Path

    home = Path(__file__).parents[1] / "notebooks"
    book = nbformat.read(home / "5_start_here.ipynb", as_version=4)
    where = {"metadata": {"path": str(home)}}
    nbclient.NotebookClient(book, timeout=120, resources=where).execute()


HERE = Path(__file__).parent


def test_a_wrong_direction_is_the_first_thing_that_a_page_says(side_by_side):
    wrong = linkage.load(HERE / "wrong_models" / "reversed_ailerons.toml")
    rows = state_from_disk(wrong, stock=False)["directions"]
    assert rows[0]["miss"]
    assert 'stick right: "aileron left" goes trailing edge up' in rows[0]["text"]
    (right,) = direction_rows(Answers(side_by_side))
    assert not right["miss"]
    assert "stick aft: elevator trailing edge up" in right["text"]


def test_a_file_changed_on_disk_is_read_again_and_what_the_page_changed_is_kept(book, tmp_path):
    from linkage.workbook.following import read_again

    source = tmp_path / "mine.toml"
    text = source.read_text()
    source.write_text(text.replace("thickness = 0.063", "thickness = 0.09"))
    book._follow(*read_again(source))
    assert stop_of(book, "roll right")["thickness"] == pytest.approx(0.09 * 25.4)
    assert book.state["changes"] == []
    source.write_text("length = 'in'\n[body.stick\n")
    book._follow(*read_again(source))
    assert "line 2" in book.state["file"]
    assert stop_of(book, "roll right")["thickness"] == pytest.approx(0.09 * 25.4)
    book.spacers = {**book.spacers, "roll right": 0.125}
    source.write_text(text)
    book._follow(*read_again(source))
    assert "keeps its own" in book.state["file"]
    assert stop_of(book, "roll right")["thickness"] == pytest.approx(3.175)
    book.answer({"do": "reread", "n": 1})
    assert stop_of(book, "roll right")["thickness"] == pytest.approx(0.063 * 25.4)
    assert book.state["file"] == ""


def test_a_change_is_heard_of_within_a_second(tmp_path):
    import threading

    from linkage.workbook.following import Follower

    source, heard = tmp_path / "short.toml", threading.Event()
    source.write_text(SHORT)
    follower = Follower(source, lambda system, wrong: heard.set())
    try:
        source.write_text(SHORT.replace("[-30, 30]", "[-20, 20]"))
        assert heard.wait(10)
    finally:
        follower.close()


def test_half_a_turn_is_half_the_pitch_of_the_thread(book):
    """1/4-28: 28 threads to the inch, so half a turn is 1/56 in (ASME B1.1, from memory)."""
    name = next(n for n, rod in book.model.rods.items() if book.model.fitting(n, 0)[2])
    pitch, before = book.model.fitting(name, 0)[2].pitch, book.model.rod_length(name)
    book.answer({"do": "turn", "n": 1, "rod": name, "halves": 1})
    assert book.model.rod_length(name) - before == pytest.approx(pitch / 2)


def test_a_relief_is_cut_on_the_page_and_undone(book):
    first = book.model
    book.answer({"do": "cut", "n": 1, "solid": "airframe/tail frame"})
    assert book.state["changes"] == ["airframe/tail frame: another shape"]
    scene = linkage.gaps(book.system.sweep(pitch=-13.0),
                         ["elevator rear/tube | airframe/tail frame"])
    assert next(iter(scene.values())) >= 12.7
    book.undo()
    assert book.model == first
