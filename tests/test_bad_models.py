"""Wrong model files: each is refused with one sentence that names the file and says the mend.

Every file of `bad_models` is one sound system with one slip in it; its first line says what the
refusal must contain. The sentences are the design's promise: which part, what it got, what would
do, the nearest known name.
"""

import subprocess
import sys
from pathlib import Path

import pytest

import linkage
import linkage.__main__

FOLDER = Path(__file__).parent / "bad_models"
FILES = sorted(FOLDER.glob("*.toml"))
SAYS = "# says: "
# Files that can't hold a comment.
SAID = {"empty.toml": 'is empty; start one with "linkage new',
        "binary.toml": "is no text file in UTF-8",
        "utf_16.toml": "is no text file in UTF-8"}

SOUND = """
length = "mm"
[input.pitch]
travel = [-13, 17]
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = { grip = [0, 0, 500], arm = [0, 0, -60] }
[body.horn]
pivot = [900, 0, 0]
axis = "lateral"
points = { p = [900, 0, -70] }
[rod.push]
ends = ["stick/arm", "horn/p"]
[surface.elevator]
body = "horn"
"""


def said(path):
    """What the refusal of a file must contain."""
    if path.name in SAID:
        return SAID[path.name]
    first = path.read_text(encoding="utf-8").splitlines()[0]
    assert first.startswith(SAYS), f"{path.name} doesn't say what its refusal must contain"
    return first.removeprefix(SAYS)


def refusal(path):
    with pytest.raises(linkage.LinkageError) as caught:
        linkage.load(path)
    return str(caught.value)


def check_sentence(sentence, path):
    assert len(sentence.splitlines()) == 1
    assert str(path) in sentence
    assert len(sentence) < 600, "a builder has to be able to read it"


def test_the_sound_system_loads(tmp_path):
    """The slips are all that is wrong with the files."""
    path = tmp_path / "sound.toml"
    path.write_text(SOUND, encoding="utf-8")
    assert abs(linkage.load(path).sweep(pitch=5).deflection("elevator")) > 1


def test_there_are_many_slips():
    assert len(FILES) >= 42


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_refused_in_one_sentence(path):
    sentence = refusal(path)
    assert said(path) in sentence
    check_sentence(sentence, path)


# --- files that can't be kept in a repository ---------------------------------------------------

def test_folder_is_refused(tmp_path):
    sentence = refusal(tmp_path)
    assert "is a folder; name the model file in it" in sentence
    check_sentence(sentence, tmp_path)


def test_missing_file_is_refused(tmp_path):
    path = tmp_path / "nowhere.toml"
    assert "can't be read" in refusal(path)
    check_sentence(refusal(path), path)


def test_huge_file_is_refused_unread(tmp_path):
    path = tmp_path / "video.toml"
    with path.open("wb") as file:
        file.truncate(100_000_000)  # sparse: takes no room
    sentence = refusal(path)
    assert "has 100 MB" in sentence
    check_sentence(sentence, path)


def test_name_with_a_nul_is_refused():
    with pytest.raises(linkage.LinkageError) as caught:
        linkage.load("stick\0.toml")
    assert "\n" not in str(caught.value)


WITH_POINTS = SOUND.replace("points = { p = [900, 0, -70] }", "").replace(
    'length = "mm"', 'length = "mm"\nhardpoints = "points.csv"')


@pytest.mark.parametrize(("rows", "says"), [
    ("name, FS, BL, WL\nhorn/p, 900, 0", "line 2: needs part/point, FS, BL, WL, got 3 cells"),
    ("name, FS, BL, WL\nhorn/p, 900, 0, -70, 1", "line 2: needs part/point, FS, BL, WL"),
    ("name, FS, BL, WL\nhorn.p, 900, 0, -70", 'line 2: needs a name like "stick/grip"'),
    ("horn.p, 900, 0, -70\nhorn/p, 900, 0, -70", 'line 1: needs a name like "stick/grip"'),
    ("horn/p, 900, 0, -70\nhorn/p, 900, 0, -71", 'line 2: "horn/p" stands twice'),
    ("horn/p, 900, 0, low", '"low" is no length'),
    ("horn/p, 900, 0, nan", "needs a length, got nan"),
    ("horn/p, 900, 0, 1e300", "check the unit"),
    ('horn/p, 900, 0, "1,5"', "is no length"),
    ("hron/p, 900, 0, -70", 'no body "hron" for "hron/p"; did you mean "horn"?'),
    ("horn/p, 900, 0, -70\nstick/arm, 0, 0, -60", '"stick/arm" is in the model file too'),
    ("horn/p, 900, 0, -70\nhorn/pivot, 0, 0, 0", '"horn/pivot" is in the model file too'),
    ("horn/q, 900, 0, -70", 'rod "push", ends: no hardpoint "horn/p"'),
    ("", 'rod "push", ends: no hardpoint "horn/p"'),
    ("horn/p, 900, 0, " + "7" * 200_000, "points.csv"),  # longer than the csv module takes
])
def test_bad_table_of_hardpoints_is_refused(tmp_path, rows, says):
    path = tmp_path / "model.toml"
    path.write_text(WITH_POINTS, encoding="utf-8")
    (tmp_path / "points.csv").write_text(rows, encoding="utf-8")
    sentence = refusal(path)
    assert says in sentence
    assert "\n" not in sentence
    assert str(tmp_path) in sentence  # one of the two files
    assert len(sentence) < 600


@pytest.mark.parametrize(("name", "says"), [
    ("x" * 300, 'x…" is a name of 300 characters'), ("a/" * 800, "is a name of 1600 characters"),
    ("\\u0000", "is no text"), ("\\u202epoints.csv", "is no text"), ("", "needs a text")])
@pytest.mark.parametrize("key", ["hardpoints", "drawing"])
def test_a_file_beside_it_that_none_can_be_is_refused_in_one_sentence(tmp_path, key, name, says):
    path = tmp_path / "model.toml"
    text = WITH_POINTS.replace("points.csv", name) if key == "hardpoints" else SOUND + (
        f'[airframe.solid]\nweb = {{ kind = "plate", thickness = 1, drawing = "{name}", '
        f"at = [0, 0, 0], normal = [0, 0, 1], u = [1, 0, 0] }}\n")
    path.write_text(text, encoding="utf-8")
    sentence = refusal(path)
    assert says in sentence
    assert key in sentence
    assert len(sentence.removeprefix(str(path))) < 300
    assert sentence.isprintable()


def test_missing_table_of_hardpoints_is_refused(tmp_path):
    path = tmp_path / "model.toml"
    path.write_text(WITH_POINTS, encoding="utf-8")
    sentence = refusal(path)
    assert f"{tmp_path / 'points.csv'}: can't be read" in sentence
    assert "\n" not in sentence


def test_table_of_hardpoints_that_is_no_text_is_refused(tmp_path):
    path = tmp_path / "model.toml"
    path.write_text(WITH_POINTS, encoding="utf-8")
    (tmp_path / "points.csv").write_bytes(b"horn/p, 900, 0, \xff\xfe\x00")
    assert "is no text file in UTF-8" in refusal(path)


# --- the command line -----------------------------------------------------------------------

def check_told(code, out, err, path):
    """Exit code 2 and one line on stderr that names the file."""
    assert code == 2
    assert out == ""
    assert len(err.splitlines()) == 1
    assert str(path) in err
    assert "Traceback" not in err


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_command_line_refuses_in_one_line(path, capsys):
    code = linkage.__main__.main([str(path)])
    out, err = capsys.readouterr()
    check_told(code, out, err, path)
    assert said(path).split(";")[0] in err


@pytest.mark.parametrize("name", ["missing_hardpoint", "empty", "binary", "dead_centre",
                                  "syntax_error"])
def test_command_refuses_in_one_line(name):
    """The same in a process of its own, as a builder calls it."""
    path = FOLDER / f"{name}.toml"
    done = subprocess.run([sys.executable, "-m", "linkage", str(path)], capture_output=True,
                          text=True, timeout=60, check=False)
    check_told(done.returncode, done.stdout, done.stderr, path)
