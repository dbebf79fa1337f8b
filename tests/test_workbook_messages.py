"""What a page or a person asks of the workbook's kernel: refused in a sentence, or done."""

import json

import numpy as np
import pytest

from linkage.model.file import parse_model
from linkage.motion import System
from linkage.results import Answers

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


def test_a_map_that_ends_where_the_rods_reach_is_drawn():
    from linkage.workbook.page_tables import map_of

    text = SHORT + """
[input.roll]
travel = [-20, 20]
[body.wheel]
pivot = [0, 300, 0]
axis = "fore-aft"
input = "roll"
points = { rim = [0, 300, 100] }
solid.spoke = { kind = "tube", along = ["pivot", "rim"], diameter = 10 }
"""
    drawn = map_of(Answers(System(parse_model(text))))
    assert set(drawn["boundaries"]) == {"end of reach"}
    assert 0 < drawn["usable"] < 1


def hostile_values(rng):
    """Something a page would never send, or would send only when it is confused."""
    deep = current = []
    for _ in range(50):
        current.append([])
        current = current[0]
    pool = [None, True, False, 0, -1, 1, 2**70, -(2**70), 1e308, -1e308, float("nan"), float("inf"),
            "", "x", "\0", "\n", "../../x.toml", "/etc/passwd", "~nobody-here/x.toml", "x" * 5000,
            "pitch", "stick left/pivot", "a/b/c", "/", "//", "airframe/", "airframe/pivot",
            "elevator/horn", "aileron drive left", "WL", "arm", "length", "1,500", "1/0", "-5 in",
            "\u202e", "__class__", "limits", [], [[]], [None], [1, 2, 3], ["a", "b"], [-5, 5],
            [5, -5], ["-5", "5"], [float("nan"), 5], {}, {"pitch": None}, {"pitch": [-5, 5]},
            {"pitch": [5, -5]}, {"pitch": [-1e9, 1e9]}, {"pitch": 5}, {"pitch": 1e9},
            {"pitch": [-1e299, 1e299]}, {"pitch": 1e299}, {"roll right": 1e299},
            {"pitch": "5"}, {"no such": [-5, 5]}, {"no such": 5}, {"roll right": -1},
            {"roll right": 1e9}, {"roll right": float("nan")}, {"roll right": [1]}, {"": 0},
            {"x" * 2000: 0}, deep, {"pitch": {"pitch": {}}}, "false", "true", b"bytes", 3 + 4j]
    return pool[rng.integers(len(pool))]


SOUND = {"limits": {"pitch": [-12, 15]}, "spacers": {"roll right": 2.0}, "twin": True,
         "address": "elevator/horn", "what": "WL", "text": "17.1 in", "path": "mine too.toml",
         "over": True, "position": {"pitch": 3.0, "roll": -2.0}, "pairs": [],
         "solid": "airframe/no such", "rod": "aileron drive left", "halves": 1, "kind": "rod",
         "fields": {"name": "aileron drive left"}, "name": "bellcrank out", "value": 1.0}


def hostile_message(rng):
    from linkage.workbook.messages import KINDS

    roll = rng.random()
    if roll < 0.08:
        return hostile_values(rng)
    # "patch" is asked below: it writes into the source, which no undo takes back
    kinds = [*(kind for kind in KINDS if kind != "patch"), "_tell", "close", "exact ", "Save",
             "__init__"]
    message = {"do": kinds[rng.integers(len(kinds))], "n": int(rng.integers(1000))}
    for name in KINDS.get(message["do"], ["path"]):
        if rng.random() < 0.9:
            message[name] = hostile_values(rng) if rng.random() < 0.5 else SOUND[name]
    if rng.random() < 0.2:
        message[["n", "where", "do", "serial"][rng.integers(4)]] = hostile_values(rng)
    return message


def test_hostile_messages_end_as_a_message(book, tmp_path, full):
    """Seeded; none ends in an exception, in a fault of the program or in a file elsewhere."""
    rng, before, first = np.random.default_rng(104), book.model, set(tmp_path.parent.rglob("*"))
    refused = answered = 0
    for _ in range(3000 if full else 400):
        message = hostile_message(rng)
        book.answer(message)
        assert "fault of the program" not in book.message, message
        assert len(book.message) <= 300, message
        assert "\n" not in book.message
        refused += book.note["refused"]
        answered += not book.note["refused"]
        assert set(book.limits) == {"pitch", "roll"}
        assert json.dumps(book.state, allow_nan=False)
    assert refused > 104
    assert answered > 10
    while book.state["undo"]:
        book.undo()
    assert book.model == before
    made = {path for path in set(tmp_path.parent.rglob("*")) - first if path.is_file()}
    assert all(path.suffix == ".toml" and path.is_relative_to(tmp_path) for path in made), made


@pytest.mark.parametrize("on", ["false", "true", 1, 0, None, [], {}])
def test_what_is_changed_is_written_at_once_only_after_a_yes(book, tmp_path, on):
    kept = (tmp_path / "mine.toml").read_bytes()
    book.answer({"do": "patch", "n": 1, "on": on})
    assert book.note["refused"]
    book.spacers = {**book.spacers, "roll right": 0.09}
    assert (tmp_path / "mine.toml").read_bytes() == kept


@pytest.mark.parametrize("over", ["false", "true", 1, 0, None, [], {}])
def test_over_is_yes_or_no_and_nothing_else(book, tmp_path, over):
    there = tmp_path / "there.toml"
    there.write_text("kept")
    book.answer({"do": "save", "n": 1, "path": "there.toml", "over": over})
    assert there.read_text() == "kept"
    assert book.note["refused"]


@pytest.mark.parametrize("path", [
    "../outside.toml", "/tmp/outside-of-the-folder.toml", "sub/../../outside.toml", "link/x.toml",
    "linked.toml", "x.txt", "x", ".toml", "x.toml.py", "folder.toml", "~root/x.toml",
    "~no-such-person/x.toml", "x\0.toml", "", "   ", "a" * 300 + ".toml", "x.TOML"])
def test_the_page_saves_model_files_below_the_folder_only(book, tmp_path, path):
    outside = tmp_path.parent / f"{tmp_path.name}-outside"
    outside.mkdir()
    (tmp_path / "link").symlink_to(outside)
    (tmp_path / "linked.toml").symlink_to(outside / "target.toml")
    (tmp_path / "folder.toml").mkdir()
    files = {p for p in tmp_path.parent.rglob("*") if p.is_file()}
    book.answer({"do": "save", "n": 1, "path": path, "over": True})
    assert book.note["refused"], book.message
    assert {p for p in tmp_path.parent.rglob("*") if p.is_file()} == files


def test_python_saves_where_it_is_told(book, tmp_path):
    place = tmp_path.parent / f"{tmp_path.name} elsewhere.toml"
    assert book.save(place)
    assert place.exists()
    (tmp_path / "deeper").mkdir()
    book.answer({"do": "save", "n": 1, "path": "deeper/mine.toml", "over": False})
    assert (tmp_path / "deeper" / "mine.toml").exists()


@pytest.mark.parametrize(("name", "value", "word"), [
    ("limits", {"pitch": [-99, 17]}, "out of range"),
    ("limits", {"pitch": [3, 17]}, "out of range"), ("limits", {"pitch": ["x", 17]}, "limits"),
    ("position", {"pitch": 99}, "13.0° forward to 17.0°"),
    ("spacers", {"roll right": 99.0}, "from 0.000 in to"),
    ("spacers", {"roll right": "thick"}, "spacers"),
    ("position", {"yaw": 1}, 'no input "yaw"')])
def test_what_python_sets_out_of_range_is_refused_there(book, name, value, word):
    from linkage.errors import LinkageError

    before = getattr(book, name)
    with pytest.raises(LinkageError, match=word):
        setattr(book, name, {**before, **value})
    assert getattr(book, name) == before


@pytest.mark.parametrize(("what", "text"), [("arm", "500 in"), ("WL", "2000"), ("arm", "-1"),
                                            ("arm", "0"), ("FS", "1,500")])
def test_a_dimension_out_of_range_is_refused_beside_its_box(book, what, text):
    before = book.model
    book.answer({"do": "dimension", "n": 7, "where": f"elevator/horn {what}", "twin": True,
                 "address": "elevator/horn", "what": what, "text": text})
    assert book.model is before
    assert book.note == {"n": 7, "where": f"elevator/horn {what}", "text": book.message,
                         "refused": True}
    assert "out of range" in book.message or "two ways" in book.message


def test_the_last_proof_stays_marked_until_the_next_has_come(side_by_side):
    from linkage.workbook.live import Workbook
    from linkage.workbook.page_tables import proof_of

    book, proof = Workbook(side_by_side, prove=False), proof_of(Answers(side_by_side))
    try:
        book._know(book.state["serial"], "proof", proof)
        assert book.state["proof"]["old"] is False
        assert book.state["ages"]["proof"] >= 0
        book.change("elevator/horn", "WL", "17.0")
        assert book.state["proof"]["old"] is True
        assert book.state["proof"]["rows"] == proof["rows"]
        book._know(book.state["serial"], "failed", "why not")
        assert book.state["failed"] == "why not"
    finally:
        book.close()


def test_a_prover_that_ends_by_itself_is_told():
    import os
    import signal
    import threading

    from linkage.workbook.prover import Prover

    heard, done = [], threading.Event()

    def hear(serial, what, value):
        heard.append((serial, what, value))
        if what == "failed":
            done.set()

    prover = Prover(hear)
    try:
        prover.start()
        process = prover._process
        os.kill(process.pid, signal.SIGSTOP)  # so that it has answered nothing yet
        prover.prove(5, parse_model(SHORT), ["proof", "map"])
        os.kill(process.pid, signal.SIGKILL)
        assert done.wait(20)
        assert heard[-1][:2] == (5, "failed")
        prover.prove(6, parse_model(SHORT), ["required"])  # another begins
        for _ in range(600):
            if (6, "done", None) in heard:
                break
            threading.Event().wait(0.1)
        assert (6, "done", None) in heard
    finally:
        prover.close()


def test_open_names_the_file_in_its_errors(tmp_path):
    import linkage
    from linkage import workbook

    bad = tmp_path / "bad one.toml"
    for text in ("length =", SHORT.replace("ends =", "length = 50\nends =")):
        bad.write_text(text)
        with pytest.raises(linkage.LinkageError, match="bad one.toml"):
            workbook.open(bad)
