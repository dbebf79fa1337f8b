"""Of a file in inches all is said in inches: refusals, sheets, tables and their headings."""

import re
from pathlib import Path

import pandas as pd
import pytest
from every_verb import ran

import linkage

BAD = Path(__file__).parent / "bad_models"
IN_MM = re.compile(r"(?<![\w/])mm\b")
HINT = 'write it like "3.2 mm" or "1/8 in"'  # how a unit is written, whatever the file's
KNOB = """
title = "a push-pull knob (invented)"
length = "in"
[input.pitch]
travel = ["-0.8 in", "1 in"]
[body.knob]
pivot = [0, 0, 0]
slide = [1, 0, 0]
input = "pitch"
points = { link = [0, 0, 0], grip = [-2, 0, 0] }
solid.rod = { kind = "tube", along = ["pivot", "grip"], diameter = 0.5 }
[body.elevator]
pivot = [20, 0, 3]
axis = "lateral"
points = { horn = [20, 0, 0] }
solid.horn = { kind = "tube", along = ["pivot", "horn"], diameter = 0.5 }
[rod.drive]
ends = ["knob/link", "elevator/horn"]
diameter = 0.375
[surface.elevator]
body = "elevator"
chord = 8
require = { up = 18, down = 14, within = 3 }
[airframe.solid]
face = { kind = "box", corner = [-4, -1, -1], opposite = [-2.7, 1, 1] }
[stop.forward]
input = "pitch"
side = "least"
between = ["knob/rod", "airframe/face"]
spacer = { on = "airframe/face", thickness = 0.05, stock = [0.032, 0.063] }
"""


def in_mm(text: str) -> list[str]:
    """Lines that speak of mm."""
    return [line for line in text.replace(HINT, "").splitlines() if IN_MM.search(line)]


def test_no_refusal_of_an_inch_file_speaks_of_mm(tmp_path):
    found, count = [], 0
    for path in sorted(BAD.glob("*.toml")):
        try:
            text = path.read_text(encoding="utf-8").partition("\n")[2]
        except UnicodeDecodeError:
            continue
        text = text.replace('length = "mm"', 'length = "in"')
        if 'length = "in"' not in text or IN_MM.search(text):
            continue
        model = tmp_path / path.name
        model.write_text(text, encoding="utf-8")
        _, out, err = ran([str(model), "--only", "gearing"])
        found += [f"{path.name}: {line}" for line in in_mm(out + err)]
        count += 1
    assert count > 100
    assert not found, "\n".join(found)


@pytest.fixture(scope="module")
def knob(tmp_path_factory):
    path = tmp_path_factory.mktemp("inches") / "knob.toml"
    path.write_text(KNOB, encoding="utf-8")
    return path


def test_a_slide_of_an_inch_file_is_said_in_inches(knob):
    for words in ([str(knob), "--csv", str(knob.parent / "csv")], ["loads", str(knob)],
                  ["rig", str(knob)]):
        code, out, err = ran(words)
        assert (code in (0, 1), err) == (True, "")
        assert in_mm(out) == []
    tables = list((knob.parent / "csv").glob("*.csv"))
    assert len(tables) > 10
    heads = [path.read_text(encoding="utf-8").splitlines()[0] for path in tables]
    assert not [head for head in heads if IN_MM.search(head)]


def test_its_tables_hold_inches(knob):
    if not (knob.parent / "csv").exists():
        ran([str(knob), "--csv", str(knob.parent / "csv")])
    system = linkage.load(knob)
    stop = pd.read_csv(knob.parent / "csv" / "stops.csv")
    assert stop["reached at in"][0] == pytest.approx(-(0.7 - 0.05 - 0.25), abs=1e-4)  # by hand
    assert stop["reached at in"][0] == pytest.approx(
        linkage.find_stops(system)["angle"][0] / 25.4, abs=1e-4)
    motion = pd.read_csv(knob.parent / "csv" / "motion.csv")
    assert motion["pitch in"].min() == pytest.approx(-0.8)
    assert motion["knob from neutral in"].to_numpy() == pytest.approx(motion["pitch in"])
    table = pd.read_csv(knob.parent / "csv" / "gearing_over_pitch.csv")
    slope = system.sweep().gearing("elevator")["pitch"] * 25.4
    at = table["pitch in"].abs().idxmin()
    assert table["elevator gearing °/in"][at] == pytest.approx(float(slope), abs=0.02)
