"""Results: each answer worked out once, one verdict for every output, and what it may say."""

import os
import sys
from functools import partial
from pathlib import Path

import pandas as pd
import pytest
from systems.reports import SIDE_BY_SIDE, made_report

import linkage
from linkage import results as room
from linkage.__main__ import main
from linkage.clearances import table
from linkage.model.file import parse_model
from linkage.motion import System
from linkage.results import CHAPTERS, QUESTIONS, Miss, Results, Verdict, as_text, blocks_of
from linkage.results.chapters import answer
from linkage.results.csv_files import csv_files, is_table
from linkage.results.second_core import shared_out

EXAMPLES = Path(__file__).parents[1] / "examples"
STICK = """
length = "mm"
[input.pitch]
travel = [-10, 10]
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = { grip = [0, 0, 400] }
"""


def missed_lines(out):
    return [line for line in out.splitlines() if line.startswith(("MISS  ", "UNDECIDED  "))]


def test_the_same_verdict_whatever_is_asked_for(tmp_path_factory, capsys):
    made = made_report(tmp_path_factory, SIDE_BY_SIDE)
    codes = [main([str(SIDE_BY_SIDE)]), made.code]
    misses = [missed_lines(out) for out in (capsys.readouterr().out, made.out)]
    assert codes == [1, 1]
    assert misses[0] == misses[1]
    assert len(misses[0]) == 4
    named = pd.read_csv(made.csv / "missed.csv")
    assert list(named["what"]) == ["stick left/shaft | airframe/seat pan left",
                                   "elevator rear/tube | airframe/tail frame", "tail idler/arm",
                                   "cross tube"]
    assert named.equals(pd.read_csv(made.report / "tables" / "missed.csv"))


def test_each_answer_is_worked_out_once(tmp_path, monkeypatch):
    """Every function that answers a question is counted over the sheet, the CSV and the report."""
    monkeypatch.setattr(os, "cpu_count", lambda: 1)  # all of it here, where calls can be counted
    from linkage import gearing, loads, rigging, stops
    from linkage.results import answers

    counts, known = {}, {}

    def counted(module, name):
        real = getattr(module, name)

        def count(*args, **options):
            counts[name] = counts.get(name, 0) + 1
            known.setdefault(name, set()).add(id(args[0]))
            return real(*args, **options)

        monkeypatch.setattr(module, name, count)

    proofs = []
    prove = table.prove
    monkeypatch.setattr(table, "prove", lambda *args, **options: proofs.append(1) or
                        prove(*args, **options))
    counted(answers, "clearance")
    for module, names in ((stops, ["find_stops", "may_touch"]), (loads, ["lost_motion_table"]),
                          (gearing, ["margins", "required_travels", "symmetry", "cross_talk"]),
                          (rigging, ["misalignment", "rig_pins", "wire_table", "hand_clearance",
                                     "monte_carlo", "free_play", "rod_sheet"])):
        for name in names:
            counted(module, name)
    assert main([str(EXAMPLES / "elevons.toml"), "--csv", str(tmp_path / "csv"), "--out",
                 str(tmp_path / "out")]) == 1
    assert counts.pop("wire_table", 0) == counts.pop("hand_clearance", 0) == 0  # none in the file
    assert counts.pop("rig_pins", 0) == 0
    assert set(counts.values()) == {1}, counts
    assert len(proofs) == 2  # over the real travel, and over the wanted one where that differs
    assert {"clearance", "find_stops", "monte_carlo", "free_play", "margins"} <= set(counts)


def test_the_second_core_gives_what_the_first_would(monkeypatch):
    system = linkage.load(EXAMPLES / "elevons.toml")
    both = Results(system)
    assert both.verdict
    monkeypatch.setattr(os, "cpu_count", lambda: 1)
    alone = Results(linkage.load(EXAMPLES / "elevons.toml"))
    assert both.verdict == alone.verdict
    assert str(both.chapter()) == str(alone.chapter())


@pytest.mark.parametrize("count", [0, 1, 2, 300])
def test_tasks_are_shared_out_and_none_is_lost(count, monkeypatch):
    """Also where the second core dies in the middle all comes back, each in its own place."""
    monkeypatch.setattr(os, "cpu_count", lambda: 2)
    first = os.getpid()

    def square(k):
        return k**2

    def dies_there(k):
        return k**2 if os.getpid() == first else os._exit(1)

    for task in (square, dies_there):
        assert shared_out([partial(task, k) for k in range(count)]) == [
            k**2 for k in range(count)]


@pytest.mark.parametrize("count", [0, 1, 7, 40])
def test_the_answer_has_at_most_twelve_lines(count):
    """However much is missed or not looked at, it says how much more there is."""
    misses = tuple(Miss("clearance", f"part {k}/tube | airframe/plate {k}", "touch, -0.106 in met, "
                        "0.250 in required", "17.0° aft, 21.0° right") for k in range(count))
    results = Results(System(parse_model(STICK)))
    unknown = tuple(f"thing {k}: no shape in the file; nothing is proven about it"
                    for k in range(count))
    results.__dict__["verdict"] = Verdict(misses, unknown, (), ("2 travels",), ())
    text = as_text(answer.blocks(results)).split("\n\n", 1)[1]
    assert len(text.splitlines()) <= 12
    shown = sum(line.startswith("MISS  ") for line in text.splitlines())
    assert shown == count or f"and {count - shown} more, all in the table Missed" in text
    rest = as_text(answer.rest(results))
    assert all(miss.what in rest for miss in misses)


def test_nothing_is_called_met_that_was_not_worked_out():
    """A bare file, and one whose solids and loads were not asked for."""
    bare = Results(System(parse_model(STICK))).verdict
    assert bare.sentence == "Nothing was required of what was looked at, so nothing is missed."
    assert any(word.startswith("clearance of stick: no shape") or "gives no solid" in word
               for word in bare.not_looked_at)
    system = linkage.load(EXAMPLES / "side_by_side_fixed.toml")
    narrow = Results(system, only=("gearing",)).verdict
    assert narrow.sentence == ("Every requirement that was judged is met, as computed (as drawn): "
                               "6 travels, 4 ends with a stop.")
    assert narrow.not_looked_at[0] == ("not asked for: direction, feel, size, motion, clearance, "
                                       "load, lost motion, servo, hands off, tolerance, rod end, "
                                       "rig pin, wire, grip, hand")


def test_bodies_without_a_shape_and_ends_without_a_stop_are_named():
    verdict = Results(linkage.load(EXAMPLES / "tandem.toml")).verdict
    text = "\n".join(verdict.not_looked_at)
    assert "elevator reverser" in text
    assert "no shape in the file; nothing is proven about them" in text
    assert ("no stop at pitch forward, pitch aft, yaw left pedal forward, "
            "yaw right pedal forward") in text


def test_what_can_not_be_worked_out_is_undecided_and_the_rest_is_printed(tmp_path, capsys):
    """A stop that never meets leaves the stops open; the other tables are there."""
    text = (EXAMPLES / "tandem.toml").read_text(encoding="utf-8")
    path = tmp_path / "open.toml"
    path.write_text(text.replace("[input.roll]", "[input.roll]\nsearch = [-1, 1]")
                    if "search" in text else text, encoding="utf-8")
    system = linkage.load(path)
    results = Results(system)
    error = linkage.LinkageError("the stop never meets")
    results.lacking["stops"] = error
    results.__dict__["stops"] = None
    undecided = [miss for miss in results.verdict.missed if not miss.decided]
    assert [miss.sentence for miss in undecided] == [
        "could not be worked out: the stop never meets"]
    assert results.verdict.exit_code == 1
    shown = str(results.chapter())
    assert "Missing: the stop never meets." in shown
    assert "Worst rod loads" in shown


def test_every_missed_row_of_a_table_is_a_miss_of_the_verdict():
    """What a table marks as missed and what the verdict counts are the same, for every example."""
    for path in sorted(EXAMPLES.glob("*.toml")):
        results = Results(linkage.load(path))
        rows = {}
        for name, data in results.tables().items():
            if name == "Missed":
                continue
            rows[name] = [row for row in data.to_dict("records") if room.is_missed(row)]
        marked = sum(map(len, rows.values()))
        words = {miss.what.split(" TE")[0] for miss in results.verdict.missed}
        assert bool(marked) == bool(words), path
        for name, missed in rows.items():
            for row in missed:
                assert set(map(str, row.values())) & words, (path, name, row)


def test_names_are_one_word_everywhere():
    """A chapter that judges belongs to a question, and no two tables have one name."""
    known = {chapter.name for chapter in CHAPTERS}
    assert {question.chapter for question in QUESTIONS} <= known
    results = Results(linkage.load(EXAMPLES / "elevons.toml"))
    names = [block.name for block in blocks_of(results) if hasattr(block, "data")]
    assert len(names) == len(set(names))
    for chapter in CHAPTERS:
        known = sys.modules[chapter.blocks.__module__].TABLES
        begins = tuple(name for name in known if name.endswith(" "))
        for name in results.tables([chapter.name]):
            assert name in known or name.startswith(begins), f"{name}: not named in its chapter"
    for name, data in results.tables([chapter.name for chapter in CHAPTERS]).items():
        assert "unit" not in data.columns, f"{name} mixes units"
        assert list(data.attrs["units"]) == list(data.columns), f"{name} does not say its units"
        assert len(set(data.columns)) == len(data.columns), name
        assert all(map(is_table, csv_files({name: data}))), f"{name}: its file would not be seen"


def test_a_cell_of_a_notebook_shows_the_same_answer():
    results = Results(linkage.load(EXAMPLES / "servo_arm.toml"))
    html = results._repr_html_()
    for miss in results.verdict.missed:
        assert miss.what in html
    assert "elevator" in results.chapter("gearing")._repr_html_()
    assert len(repr(results)) < 200


@pytest.mark.parametrize(("other", "words"), [
    ('kind = "sphere"\nat = [0, 0, 304]\ndiameter = 20',
     "touch, 16.00 mm deep (12.70 mm required)"),
    ('kind = "plate"\nat = [0, 0, 300]\nnormal = "vertical"\nu = "fore-aft"\nthickness = 2\n'
     "outline = [[-40, -40], [40, -40], [40, 0], [0, 0], [0, 40], [-40, 40]]",
     "touch (12.70 mm required)")])
def test_depth_is_told_only_where_one_push_is_sure_to_part_the_two(other, words):
    """Two balls of radius 10 with middles 4 apart are 16 deep by hand; out of a piece of an L is
    not out of the L."""
    text = STICK + """
[body.stick.solid.knob]
kind = "sphere"
at = [0, 0, 300]
diameter = 20
[airframe.solid.post]
""" + other + "\n"
    text = text.replace("travel = [-10, 10]", "travel = [-0.001, 0.001]")
    missed = Results(System(parse_model(text))).verdict.missed
    assert [miss.how_much for miss in missed if miss.kind == "clearance"] == [words]


def test_what_clearance_covers_says_how_the_travel_ends_and_for_which_build():
    covers = " ".join(Results(linkage.load(EXAMPLES / "elevons.toml")).verdict.covers)
    assert "Clearance is proven as drawn, not for every build within the tolerances" in covers
    assert "(roll left, roll right ended by stops; " in covers
    assert "pitch forward, pitch aft ended by the wanted travel)" in covers


def test_built_judges_every_build_and_says_so(tmp_path, capsys):
    """Two balls 13 mm apart by hand where 12.70 is asked: met as drawn, missed by 0.5 mm builds."""
    text = STICK.replace("travel = [-10, 10]", "travel = [-0.001, 0.001]") + """
[body.stick.solid.knob]
kind = "sphere"
at = [0, 0, 300]
diameter = 20
[airframe.solid.post]
kind = "sphere"
at = [0, 0, 333]
diameter = 20
[tolerance]
hardpoint = 0.5
"""
    path = tmp_path / "two balls.toml"
    path.write_text(text)
    assert main([str(path), "--only", "clearance"]) == 0
    drawn = capsys.readouterr().out
    assert "Clearance is proven as drawn, not for every build" in " ".join(drawn.split())
    assert main([str(path), "--only", "clearance", "--built"]) == 1
    built = " ".join(capsys.readouterr().out.split())
    assert "in a build within the tolerances" in built
    assert "Clearance is proven for every build within the file's tolerances" in built
