"""Sizes that a shop would not believe: planted slips are told, shipped files are not.

The limits are common practice, no source, but where the room names one.
"""

import re
from pathlib import Path

import pytest

import linkage
from linkage.__main__ import main
from linkage.gearing import find, implausible
from linkage.model.file import parse_model
from linkage.motion import System
from linkage.results import Results, as_text, blocks_of

ROOT = Path(__file__).parents[1]
SHIPPED = [*sorted((ROOT / "examples").glob("*.toml")),
           *sorted((ROOT / "linkage" / "starters").glob("*.toml"))]
BASE = (ROOT / "examples" / "side_by_side.toml").read_text(encoding="utf-8")


def told(text):
    return [finding.text for finding in implausible(System(parse_model(text)))]


def slipped(old, new, text=BASE):
    assert old in text, old
    return text.replace(old, new, 1)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_nothing_is_odd_in_what_is_shipped(path):
    assert implausible(linkage.load(path)) == []


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_whole_file_in_the_other_unit(path):
    """An mm file marked inches and the other way round: one finding names the unit it should be."""
    text = path.read_text(encoding="utf-8")
    unit = re.search(r'^length = "(in|mm)"', text, re.M)[1]
    other = {"in": "mm", "mm": "in"}[unit]
    wrong = re.sub(r'^length = "(in|mm)"', f'length = "{other}"', text, count=1, flags=re.M)
    try:
        found = told(wrong)
    except linkage.LinkageError:
        return  # refused at load: sizes said with their unit no longer fit the others
    words = {"in": "inches", "mm": "mm"}[unit]
    assert f"would be usual were the numbers in {words}" in found[0]


SLIPS = {
    "thin rod": ('ends = ["stick left/tie", "stick right/tie"]\ndiameter = "1/2 in"\nwall = 0.035',
                 'ends = ["stick left/tie", "stick right/tie"]\ndiameter = "0.9 mm"',
                 '"stick tie" is 0.035 in'),
    "rod thinner than its thread": (
        'ends = ["stick left/tie", "stick right/tie"]\ndiameter = "1/2 in"\nwall = 0.035',
        'ends = ["stick left/tie", "stick right/tie"]\ndiameter = "3/16 in"\nwall = 0.035',
        "thinner than its thread of 0.250 in"),
    "slender rod": (
        'ends = ["mixer/out left", "idler left/in"]\ndiameter = "3/4 in"\nwall = 0.083\n'
        'thread = "1/4-28"', 'ends = ["mixer/out left", "idler left/in"]\ndiameter = "5/16 in"',
        "no rod is longer than 150 times its diameter"),
    "rod in mm": ('diameter = "1/2 in"', "diameter = 12.7", "usual if its number were in mm"),
    "wall": ('diameter = "3/4 in"\nwall = 0.083', 'diameter = "3/4 in"\nwall = 0.0083',
             'wall of "aileron inner left"'),
    "station": ("pivot = [188.0, -0.8, 17.5]", "pivot = [188.0, -8000.0, 17.5]",
                "beyond any light aircraft"),
    "tolerance": ('hardpoint = "1/32 in"', "hardpoint = 1.3", "tolerance of"),
    "tolerance of a rod": ("rod = 0.015 ", "rod = 15 ", "tolerance of rod"),
    "spacer's tolerance": ("spacer = 0.005", "spacer = 0.5", "tolerance of the spacer"),
    "play": ("rod_end = 0.001", "rod_end = 0.2", '"play rod_end"'),
    "band": ("require = { up = 25, down = 20, within = 1 }",
             "require = { up = 25, down = 20, within = 25 }", "a band of 50°"),
    "radians": ("require = { up = 25, down = 20, within = 1 }",
                "require = { up = 0.44, down = 0.35, within = 0.02 }", "written in radians?"),
    "travel in radians": ("travel = [-21, 21]", "travel = [-0.37, 0.37]", "written in radians?"),
    "travel too far": ("travel = [-13, 17]", "travel = [-13, 71]", "no more than 45°"),
    "chord": ("chord = 14.0", "chord = 355.0", 'chord of "elevator" is 355.000 in'),
    "slope": ('slope = "-9 in*lbf"', 'slope = "-9000 in*lbf"', "slip of the decimal point"),
    "strength": ('strength = "2400 lbf"', 'strength = "24 lbf"', 'strength of "roll drive"'),
    "friction": ('friction = "6 in*lbf"', 'friction = "6000 in*lbf"', 'friction of "cross tube"'),
    "material": ('modulus = "29e6 psi"', 'modulus = "29e3 psi"', 'modulus of "steel plate"'),
    "yield above ultimate": ('ultimate = "90e3 psi"', 'ultimate = "9e3 psi"', "yield stress"),
    "density": ('density = "0.283 lb/in**3"', 'density = "283 lb/in**3"', "density of"),
    "clearance": ('structure = "1/2 in"', "structure = 12.7", 'gap of "clearance structure"'),
    "class": ('slot = "1/4 in"', "slot = 6.35", 'gap of "clearance slot"'),
    "spacer": ("thickness = 0.063            # a pad", "thickness = 1.6            # a pad",
               'spacer of "roll right"'),
    "wire": ("diameter = 0.15", "diameter = 3.8", 'bundle of "talk wire left"'),
    "torque tube": ("tube = { diameter = 1.5, wall", "tube = { diameter = 15, wall",
                    "torque tube's diameter"),
    "joint": ("pivot = [61.0, 0.0, 6.0]\n", 'pivot = [61.0, 0.0, 6.0]\njoint = "400 mm"\n',
              "joint's radius"),
    "solid": ('shaft = { kind = "pipe", along = [\n  "pivot", [61.0, -11.0, 13.5]',
              'shaft = { kind = "pipe", diameter = 25.4, along = [\n  "pivot", [61.0, -11.0, 13.5]',
              "diameter"),
}


@pytest.mark.parametrize("name", SLIPS)
def test_planted_slip_is_told(name):
    old, new, words = SLIPS[name]
    text = slipped(old, new)
    if name == "solid":
        text = text.replace('[59.3, -11.0, 24.5]\n], diameter = 1.0, wall = 0.095 }',
                            "[59.3, -11.0, 24.5]\n], wall = 0.095 }", 1)
    found = told(text)
    assert any(words in each for each in found), found
    assert all(finding.miss for finding in implausible(System(parse_model(text))))


def test_given_length_far_from_its_points():
    """A rod measured 1.1 mm long: told with both lengths, and named where the posture is off."""
    text = slipped('ends = ["elevator bellcrank/out", "elevator/horn"]',
                   'ends = ["elevator bellcrank/out", "elevator/horn"]\nlength = 23.4')
    assert any('rod "elevator drive" is given 23.400 in long' in each for each in told(text))
    near = slipped('ends = ["elevator bellcrank/out", "elevator/horn"]',
                   'ends = ["elevator bellcrank/out", "elevator/horn"]\nlength = 24.2')
    assert told(near) == []
    notes = [f.text for f in find(System(parse_model(near))) if "from the drawn neutral" in f.text]
    assert notes
    assert all('rod "elevator drive" is given 24.200 in long' in note for note in notes)


def test_meant_keeps_the_reason_and_is_no_miss():
    old, new, _ = SLIPS["thin rod"]
    text = slipped(old, new) + '\n[meant]\n"stick tie" = "a wire in this mock-up"\n'
    found = [f for f in find(System(parse_model(text))) if "is that meant?" in f.text]
    assert found
    assert not any(f.miss for f in found)
    assert all(f.text.endswith("meant: a wire in this mock-up") for f in found)


def test_meant_that_names_nothing_odd_is_told():
    text = BASE + '\n[meant]\n"stick tye" = "a wire"\n'
    assert any('meant names "stick tye"' in each for each in told(text))


def test_meant_never_excuses_a_direction():
    text = (ROOT / "tests" / "wrong_models" / "reversed_ailerons.toml").read_text(encoding="utf-8")
    text += '\n[meant]\n"aileron left" = "why not"\n"aileron right" = "why not"\n'
    assert sum(f.miss for f in find(System(parse_model(text)))) == 2


def test_thin_rod_exits_1(tmp_path, capsys):
    old, new, _ = SLIPS["thin rod"]
    path = tmp_path / "thin.toml"
    path.write_text(slipped(old, new), encoding="utf-8")
    assert main([str(path), "--only", "gearing"]) == 1
    assert " met" not in capsys.readouterr().out.splitlines()[-1]


def test_tolerance_of_which_most_builds_fall_apart_is_a_miss():
    """Rods 20 in off on 3 in arms: most of 10,000 builds can't be put together."""
    text = (ROOT / "examples" / "servo_arm.toml").read_text(encoding="utf-8")
    wide = text.replace("rod = 0.015", "rod = 20.0")
    found, drawn = (Results(System(parse_model(each)), only=("tolerances",))
                    for each in (wide, text))
    assert not drawn.verdict.missed
    (miss,) = found.verdict.missed
    assert miss.kind == "tolerance"
    shown = as_text(blocks_of(found, ["tolerances"]))
    assert "can't be put together" in shown
    assert "Tolerance bands" not in shown
    assert "Tolerance bands" in as_text(blocks_of(drawn, ["tolerances"]))
