"""The rig verb: printed sheets, refused words and tables, pictures."""

from pathlib import Path

import pytest
from systems.rig_models import EXAMPLES, RODS, by_name, planted

import linkage
from linkage import rigging
from linkage.__main__ import main

SIDE_BY_SIDE = Path(__file__).parents[1] / "examples" / "side_by_side.toml"


# --- the command --------------------------------------------------------------------------------

@pytest.mark.parametrize("path", EXAMPLES, ids=by_name)
def test_rig_prints(path, capsys):
    assert main(["rig", str(path)]) == 0
    out = capsys.readouterr().out
    assert "Rods to make" in out
    assert "supports, and never replaces" in out
    assert ("Not in the file: fitted" in out) == ("fitted = " not in path.read_text("utf-8"))


def test_rig_from_readings_to_the_aircraft_as_built(side_by_side, tmp_path, capsys):
    table, built = tmp_path / "readings.csv", tmp_path / "built.toml"
    rows = list(planted(side_by_side, {"elevator drive": 2.0}, {}))
    table.write_text("input, stick angle, surface, surface angle\n" + "".join(
        ", ".join(row.values()) + "\n" for row in rows), encoding="utf-8")
    words = ["rig", str(SIDE_BY_SIDE), "--readings", str(table), "--doubt", *RODS, "--zeroed",
             "pitch", "roll", *side_by_side.model.surfaces, "--csv", str(tmp_path / "tables")]
    assert main([*words, "--out", str(built)]) == 0
    out = capsys.readouterr().out
    assert "As built" in out
    assert "Adjustment to neutral" in out
    length = linkage.read_model(built).rod_length("elevator drive")
    assert length == pytest.approx(side_by_side.model.rod_length("elevator drive") + 2.0, abs=1e-6)
    assert {p.stem for p in (tmp_path / "tables").iterdir()} == {
        "rods_to_make", "rod_ends", "what_a_turn_does", "rod-end_misalignment", "rig_pins",
        "adjustment", "surfaces_at_neutral", "as_built_rods", "readings", "tolerance_bands",
        "most_moved_by", "builds_by_chance", "contributors", "free_play", "free_play_bands",
        "wires", "chafing", "grips", "rig_pins_before_and_after", "stops_once_turned",
        "travels_once_turned"}
    before = built.read_text(encoding="utf-8")
    assert main([*words, "--out", str(built)]) == 2
    assert "stays as it is" in capsys.readouterr().err
    assert built.read_text(encoding="utf-8") == before


@pytest.mark.parametrize(("words", "says"), [
    (["--measured", "elevater=1"], 'did you mean "elevator"?'),
    (["--measured", "elevator"], '--measured: "elevator" says no angle; write it like'),
    (["--measured", "elevater=1"], '--measured: no surface "elevater"'),
    (["--measured", "elevator=up"], '"up" is no angle'),
    (["--readings", "nowhere.csv"], "nowhere.csv: can't be read"),
    (["--out", "x.toml"], "needs --readings too"),
])
def test_bad_words_are_refused_in_one_line(words, says, capsys):
    assert main(["rig", str(SIDE_BY_SIDE), *words]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert len(told.err.splitlines()) == 1
    assert says in told.err


@pytest.mark.parametrize(("text", "says"), [
    ("", "holds no readings"),
    ("input, stick angle, surface, surface angle\npitch, 5\n", 'line 2: no surface ""'),
    ("input;stick angle;surface;surface angle\npitch;5;elevator;3\n", 'no heading "input"'),
    ("pitch, 5, elevator, 3\n", 'no heading "input"'),
    ("input, stick angle, surface, surface angle\n# a note\npitch, " + "9" * 6000 + ", elevator, 3",
     "is more than 3600° either way, or no number"),
    ("input, stick angle, surface, surface angle\npitch, 5, elevator, 1e308\n",
     "line 2: surface angle: 1e308 is more than 3600° either way"),
    ("input, stick angle, surface, surface angle\npitch, 5, elevator, 3, 4\n", "can't be read"),
    ("input, stick angle, surface, surface angle\npitch, 5, elevator, -7\n",
     "1 reading for 1 unknown: nothing is left to check the fit with"),
    ("\0", ""),
])
def test_bad_tables_are_refused_in_one_line(text, says, tmp_path, capsys):
    path = tmp_path / "readings.csv"
    path.write_text(text, encoding="utf-8")
    code = main(["rig", str(SIDE_BY_SIDE), "--readings", str(path)])
    told = capsys.readouterr()
    assert code == 2
    assert len(told.err.splitlines()) == 1
    assert str(path) in told.err
    assert len(told.err) < 600
    assert says == "can't be read" or says in told.err


def test_picture_answers_the_question_in_its_title(side_by_side, tmp_path, capsys):
    from linkage import plots

    ax = plots.half_turns(side_by_side)
    assert ax.get_title(loc="left") == "How far does half a turn of a rod end move each surface?"
    found = rigging.turns(side_by_side)
    marks = [line.get_xdata() for line in ax.lines if len(line.get_xdata()) == 1]
    drawn = {round(float(mark[0]), 9) for mark in marks}
    assert drawn == {round(k, 9) for k in found[found["turned"] == "first"]["half_turn"]}
    path = tmp_path / "half.png"
    assert main(["rig", str(SIDE_BY_SIDE), "--picture", str(path)]) == 0
    assert path.read_bytes().startswith(b"\x89PNG")
    assert main(["rig", str(SIDE_BY_SIDE), "--picture", str(tmp_path / "half.doc")]) == 2
    assert "let its name end in" in capsys.readouterr().err


def test_picture_of_the_aircraft_as_built(side_by_side):
    from linkage import plots

    readings = rigging.readings_of(side_by_side, planted(side_by_side, {"elevator drive": 2.0},
                                                         {"elevator": 0.5}))
    fit = rigging.fit_as_built(side_by_side, readings, rods=RODS, zeroed=["pitch", "roll"])
    ax = plots.as_built(side_by_side, (readings, fit), input="pitch")
    drawn, built, read = (line.get_ydata() for line in ax.lines[:3])
    assert built[0] == pytest.approx(read[0], abs=0.05)
    assert abs(drawn[0] - built[0]) > 1
    with pytest.raises(linkage.LinkageError, match='nothing was read along "yaw"'):
        plots.as_built(side_by_side, (readings, fit), input="yaw")
