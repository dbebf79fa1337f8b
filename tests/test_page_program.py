"""The page's program by node and the TypeScript checker, and what it shares with the library."""

import dataclasses
import json
import math
import os
import shutil
import subprocess
from pathlib import Path

import pytest

from linkage.errors import LinkageError
from linkage.gearing import said_input
from linkage.model.file import parse_model
from linkage.motion import System
from linkage.units import length_mm, said_deflection, shown_length
from linkage.workbook import make_payload
from linkage.workbook.program import HERE, join_modules, script
from linkage.workbook.typed import FARTHEST, typed_length
from linkage.workbook.wording import length_unit

ROOT = Path(__file__).parents[1]
TESTS = Path(__file__).parent / "js"
TABLE = json.loads((TESTS / "typed.json").read_text(encoding="utf-8"))
WORDED = json.loads((TESTS / "worded.json").read_text(encoding="utf-8"))
CHECKER = ROOT / "tests" / "browser" / "node_modules" / ".bin" / "tsc"
INPUTS = """
length = "mm"
[input.pitch]
travel = [-13, 17]
[input.roll]
travel = [-21, 21]
[input.yaw]
travel = [-20, 20]
[input.slide]
travel = ["-10 mm", "12 mm"]
[body.tube]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
[body.stick]
on = "tube"
pivot = [0, 0, 0]
axis = "fore-aft"
input = "roll"
[body.pedal]
pivot = [0, 300, 0]
axis = "vertical"
input = "yaw"
[body.slider]
pivot = [0, 600, 0]
slide = [0, 1, 0]
input = "slide"
"""


def missing(what):
    if os.environ.get("CI"):
        pytest.fail(f"{what} is missing; CI has to have it")
    pytest.skip(f"{what} is missing; see DEVELOPERS.md")


@pytest.fixture(scope="module")
def inputs():
    return System(parse_model(INPUTS))


def in_inches(system):
    """The same system as an inch file has it."""
    return System(dataclasses.replace(system.model, length="in"))


@pytest.mark.parametrize("row", TABLE["lengths"], ids=lambda row: repr(row["text"])[:40])
def test_a_box_and_the_file_read_the_same_length(row):
    """One table for the file's parser, the kernel's boxes and (by node) the page's boxes."""
    for reader, key in ((length_mm, "file"), (typed_length, "typed")):
        if row[key] is None:
            with pytest.raises(LinkageError) as caught:
                reader(row["text"], row["unit"])
            assert len(caught.value.sentence) < 300
        else:
            assert math.isclose(reader(row["text"], row["unit"]), row[key], rel_tol=1e-12)


def test_a_length_beyond_any_aircraft_is_refused():
    with pytest.raises(LinkageError, match="less than 3937.008 in"):
        typed_length(f"{FARTHEST} mm", "in")


def test_the_pages_arithmetic_and_wording_by_node(inputs):
    node = shutil.which("node") or missing("node")
    head, systems = make_payload(inputs).head, {"inch lever": (in_inches(inputs), "slide")}
    # a slide has words of its own here, to test what the words do where the unit is mm
    head["inputs"][-1] |= {"words": ["left", "right"], "signed": False}
    head["inputs"] += [{**make_payload(systems["inch lever"][0]).head["inputs"][-1],
                        "name": "inch lever"}]
    said = {"length": lambda mm, unit: shown_length(mm, unit),
            "turn": lambda value, digits: said_deflection(
                math.nan if value is None else value, ("TEU", "TED"), digits),
            "input": lambda name, value: said_input(*systems.get(name, (inputs, name)), value)
            }
    worded = {kind: [[row, said[kind](*row)] for row in rows] for kind, rows in WORDED.items()}
    done = subprocess.run(
        [node, "--test", *sorted(map(str, TESTS.glob("*.test.mjs")))], capture_output=True,
        text=True, encoding="utf-8", check=False, env={
            **os.environ, "LINKAGE_WORDED": json.dumps(worded),
            "LINKAGE_HEAD": json.dumps({"inputs": head["inputs"], "typed": head["typed"],
                                        "words": head["words"],
                                        "lengths": {u: length_unit(u) for u in ("in", "mm")}})})
    failed = [part for part in done.stdout.split("# Subtest: ") if "\nnot ok" in part]
    assert done.returncode == 0, "\n".join(failed) or done.stderr
    counted = next(line for line in done.stdout.splitlines() if "tests " in line)
    assert int(counted.split()[-1]) > 100


def test_the_pages_program_keeps_its_types():
    if not CHECKER.exists():
        missing("typescript")
    done = subprocess.run([CHECKER, "-p", TESTS], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout


def test_the_checker_sees_a_wrong_type(tmp_path):
    if not CHECKER.exists():
        missing("typescript")
    shutil.copytree(HERE / "js", tmp_path / "js")
    wrong = tmp_path / "js" / "wording.js"
    text = wrong.read_text(encoding="utf-8")
    wrong.write_text(text.replace("unit.mm", "unit.inch"), encoding="utf-8")
    assert text.count("unit.mm") == 1
    config = json.loads((TESTS / "tsconfig.json").read_text(encoding="utf-8"))
    (tmp_path / "tsconfig.json").write_text(json.dumps({**config, "include": ["js/*.js"]}))
    done = subprocess.run([CHECKER, "-p", tmp_path], capture_output=True, text=True, check=False)
    assert done.returncode != 0
    assert "wording.js" in done.stdout
    assert "inch" in done.stdout


# ---------------------------------------------------------------- joined into one
def test_every_module_is_joined_and_none_twice():
    joined = script()
    for path in (HERE / "js").glob("*.js"):
        first = next(line for line in path.read_text(encoding="utf-8").splitlines() if line)
        assert joined.count(first) == (path.stem != "types")
    assert "@param" not in joined
    assert joined.count("export ") == 1


@pytest.mark.parametrize(("modules", "wrong"), [
    ({"a": 'import { b } from "./b.js";\n'}, "not there"),
    ({"a": 'import { b } from "./b.js";\n', "b": "const b = 1;"}, "exports not"),
    ({"a": 'import { b } from "./b.js";\nconst c = 1;\n',
      "b": "export const b = 1, c = 2;"}, "both have a name c"),
    ({"a": 'import { b } from "./b.js";\nexport const c = 1;\n',
      "b": 'import { c } from "./a.js";\nexport const b = 1;\n'}, "circle"),
    ({"a": 'import * as b from "./b.js";\n', "b": ""}, "can't be joined"),
    ({"a": 'import { b as c } from "./b.js";\n', "b": "export const b = 1;"}, "exports not"),
    ({"a": "export { b };\n"}, "can't be joined"),
])
def test_what_cannot_be_joined_is_refused(modules, wrong):
    with pytest.raises(ValueError, match=wrong):
        join_modules(modules, "a")


def test_what_is_joined_runs_as_the_modules_do(tmp_path):
    node = shutil.which("node") or missing("node")
    modules = {"a": 'import { twice, three } from "./b.js";\nconsole.log(twice(three));\n',
               "b": 'import { two } from "./c.js";\n\n/** @param {number} x */\nexport function '
                    "twice(x) { return two * x; }\nexport const three = 3;\n",
               "c": "export const two = 2;\n"}
    (tmp_path / "joined.mjs").write_text(join_modules(modules, "a"))
    done = subprocess.run([node, tmp_path / "joined.mjs"], capture_output=True, text=True,
                          check=True)
    assert done.stdout == "6\n"
