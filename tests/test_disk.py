"""What is written is whole or not there, and nothing that was there is lost without a word."""

import errno
import io
import os
import stat
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest

import linkage
from linkage.__main__ import main
from linkage.disk import (
    SUMS,
    cell_text,
    check_file,
    check_folder,
    check_report_folder,
    csv_text,
    file_stems,
    fill_folder,
    replace_folder,
    write_files,
    write_text,
)

SUPERUSER = hasattr(os, "geteuid") and os.geteuid() == 0


def snapshot(folder):
    """Every name under a folder with its contents, or where it points."""
    return {path.relative_to(folder).as_posix(): os.readlink(path) if path.is_symlink()
            else path.read_bytes() for path in sorted(Path(folder).rglob("*"))
            if path.is_symlink() or path.is_file()}


def full(handle=None, *_, **__):
    if isinstance(handle, int):
        os.close(handle)
    raise OSError(errno.ENOSPC, "No space left on device")


# --- one file --------------------------------------------------------------------------------

def test_write_text_is_exact(tmp_path):
    path = tmp_path / "note.txt"
    write_text(path, "first\r\nzweite Zeile: 1/8 µ\n")
    assert path.read_bytes() == "first\r\nzweite Zeile: 1/8 µ\n".encode()
    write_text(path, "again", replace=True)
    assert path.read_text(encoding="utf-8") == "again"
    assert os.listdir(tmp_path) == ["note.txt"]


def test_nothing_is_replaced_unasked(tmp_path):
    path = tmp_path / "note.txt"
    path.write_text("mine")
    for act in (lambda: write_text(path, "new"), lambda: check_file(path)):
        with pytest.raises(linkage.LinkageError, match="is there already and stays as it is"):
            act()
    assert path.read_text() == "mine"
    assert os.listdir(tmp_path) == ["note.txt"]


@pytest.mark.parametrize("place", ["no/such/folder/model.toml", "a file/model.toml", "a folder"])
def test_write_where_it_can_not_be_written(tmp_path, place):
    (tmp_path / "a file").write_text("kept", encoding="utf-8")
    (tmp_path / "a folder").mkdir()
    (tmp_path / "a folder" / "inside").write_text("kept", encoding="utf-8")
    before = snapshot(tmp_path)
    for act in (lambda: write_text(tmp_path / place, "new", replace=True),
                lambda: check_file(tmp_path / place, True)):
        with pytest.raises(linkage.LinkageError) as caught:
            act()
        assert str(tmp_path / place) in str(caught.value)
    assert snapshot(tmp_path) == before


@pytest.mark.parametrize(("name", "says"), [
    ("", "is empty"), ("  ", "is empty"), ("a" * 256, "256 bytes"), ("ä" * 128, "256 bytes"),
    ("pan\x1b[2J.toml", "control marks"), ("a\nb", "control marks"), ("\u202eb", "control marks"),
])
def test_a_name_that_no_file_can_have_is_refused_before_the_work(tmp_path, name, says):
    for check in (check_file, check_folder):
        with pytest.raises(linkage.LinkageError, match=says) as caught:
            check(tmp_path / name if name.strip() else name)
        assert str(caught.value).isprintable()
        assert len(str(caught.value)) < 300


def test_the_longest_name_can_be_written(tmp_path):
    write_text(tmp_path / ("a" * 255), "x")
    assert os.listdir(tmp_path) == ["a" * 255]


def test_a_device_is_no_file_to_write(tmp_path):
    for act in (lambda: check_file("/dev/null", True), lambda: write_text("/dev/null", "x")):
        with pytest.raises(linkage.LinkageError, match="no file|plain file"):
            act()
    assert stat.S_ISCHR(os.stat("/dev/null").st_mode)


@pytest.mark.skipif(SUPERUSER, reason="a superuser may write anywhere")
def test_write_into_a_folder_that_may_not_be_written_to(tmp_path):
    path = tmp_path / "model.toml"
    path.write_text("old", encoding="utf-8")
    tmp_path.chmod(0o500)
    try:
        for act in (lambda: write_text(path, "new", replace=True), lambda: check_file(path, True),
                    lambda: check_folder(tmp_path / "report")):
            with pytest.raises(linkage.LinkageError, match="can't be written"):
                act()
    finally:
        tmp_path.chmod(0o700)
    assert snapshot(tmp_path) == {"model.toml": b"old"}


def test_a_read_only_place_is_said_before_the_work():
    """A place where no file can be made whatever one's rights are: the kernel's own."""
    if not Path("/proc/self").is_dir():
        pytest.skip("no such place here")
    for act in (lambda: check_file("/proc/report.html"), lambda: check_folder("/proc/report"),
                lambda: check_report_folder("/proc/report")):
        with pytest.raises(linkage.LinkageError, match="can't be written"):
            act()


@pytest.mark.parametrize("step", ["fdopen", "chmod", "replace", "fsync"])
def test_disk_that_fills_up_leaves_the_old_file(tmp_path, monkeypatch, step):
    path = tmp_path / "model.toml"
    path.write_text("old", encoding="utf-8")
    if step == "fsync":
        monkeypatch.setattr(os, step, lambda handle: full())
    else:
        monkeypatch.setattr(os, step, full)
    with pytest.raises(linkage.LinkageError, match="No space left on device"):
        write_text(path, "new", replace=True)
    monkeypatch.undo()
    assert path.read_text(encoding="utf-8") == "old"
    assert os.listdir(tmp_path) == ["model.toml"]


def test_text_that_can_not_be_encoded_leaves_the_old_file(tmp_path):
    """A lone surrogate, as a damaged file name can bring in."""
    path = tmp_path / "model.toml"
    path.write_text("old", encoding="utf-8")
    with pytest.raises(linkage.LinkageError):
        write_text(path, "new \ud800", replace=True)
    assert snapshot(tmp_path) == {"model.toml": b"old"}


def test_a_link_stays_a_link_and_a_mode_stays(tmp_path):
    (tmp_path / "far").mkdir()
    target, link = tmp_path / "far" / "real.toml", tmp_path / "link.toml"
    target.write_text("old")
    target.chmod(0o600)
    link.symlink_to(target)
    write_text(link, "new", replace=True)
    assert link.is_symlink()
    assert target.read_text() == "new"
    assert stat.S_IMODE(target.stat().st_mode) == 0o600
    assert os.listdir(tmp_path / "far") == ["real.toml"]
    with pytest.raises(linkage.LinkageError, match="is there already"):
        write_text(link, "third")


def test_a_new_file_has_the_mode_that_the_system_gives(tmp_path):
    old = os.umask(0o027)
    try:
        write_text(tmp_path / "a", "x")
    finally:
        os.umask(old)
    assert stat.S_IMODE((tmp_path / "a").stat().st_mode) == 0o640


def test_a_disk_that_knows_no_links(tmp_path, monkeypatch):
    def none(*_, **__):
        raise OSError(errno.EPERM, "Operation not permitted")

    monkeypatch.setattr(os, "link", none)
    write_text(tmp_path / "a", "one")
    write_text(tmp_path / "a", "two", replace=True)
    with pytest.raises(linkage.LinkageError, match="is there already"):
        write_text(tmp_path / "a", "three")
    assert snapshot(tmp_path) == {"a": b"two"}


# --- several files ---------------------------------------------------------------------------

@pytest.mark.parametrize("at", range(3))
def test_several_files_are_written_all_or_none(tmp_path, monkeypatch, at):
    (tmp_path / "b").write_text("old b")
    real, count = os.replace, [0]

    def sometimes(*args):
        count[0] += 1
        if count[0] == at + 1:
            full()
        real(*args)

    monkeypatch.setattr(os, "replace", sometimes)
    with pytest.raises(linkage.LinkageError, match="No space"):
        write_files({tmp_path / name: name for name in "abc"}, replace=True)
    monkeypatch.undo()
    assert snapshot(tmp_path) == {"b": b"old b"}


def test_a_folder_that_was_made_goes_again_when_it_can_not_be_filled(tmp_path, monkeypatch):
    monkeypatch.setattr(os, "fsync", lambda handle: full())
    with pytest.raises(linkage.LinkageError, match="No space"):
        fill_folder(tmp_path / "x" / "y", {"a": "1"})
    assert os.listdir(tmp_path) == []


def test_one_file_of_several_that_is_there_stops_all(tmp_path):
    (tmp_path / "b").write_text("mine")
    with pytest.raises(linkage.LinkageError, match="b: is there already"):
        fill_folder(tmp_path, {"a": "1", "b": "2"})
    assert snapshot(tmp_path) == {"b": b"mine"}


def test_names_that_come_to_the_same_file_name_get_different_ones():
    names = ["airframe/pan (a)", "airframe/pan [a]", "airframe/PAN <a>", "x" * 400, "x" * 400 + "y",
             "..", "///"]
    stems = file_stems(names)
    assert len({stem.casefold() for stem in stems.values()}) == len(names)
    assert all(0 < len(f"{stem} mirrored.dxf".encode()) <= 255 for stem in stems.values())
    tables = file_stems(["gearing a b", "gearing a_b"], "_")
    assert tables == {"gearing a b": "gearing_a_b", "gearing a_b": "gearing_a_b_2"}


# --- a folder as a whole ---------------------------------------------------------------------

FIRST = {"report.html": "one", "tables/a.csv": "1", "tables/gone.csv": "2",
         "readings x.csv": "form"}
SECOND = {"report.html": "two", "tables/a.csv": "3", "readings x.csv": "blank form"}


def is_form(name):
    return name.startswith("readings ")


def test_a_report_is_replaced_whole(tmp_path):
    folder = tmp_path / "report"
    replace_folder(folder, FIRST)
    (folder / "my notes.txt").write_text("mine")
    (folder / "photos").mkdir()
    (folder / "photos" / "1.jpg").write_bytes(b"\xff")
    (folder / "readings x.csv").write_text("filled in")
    with pytest.raises(linkage.LinkageError, match="is there already"):
        replace_folder(folder, SECOND)
    with pytest.raises(linkage.LinkageError, match="is there already"):
        check_report_folder(folder)
    check_report_folder(folder, True)
    replace_folder(folder, SECOND, replace=True, stays=is_form)
    found = snapshot(folder)
    del found[SUMS]
    assert found == {"report.html": b"two", "tables/a.csv": b"3", "readings x.csv": b"filled in",
                     "my notes.txt": b"mine", "photos/1.jpg": b"\xff"}
    assert os.listdir(tmp_path) == ["report"]


def test_a_form_of_another_model_that_was_filled_in_stays_and_a_blank_one_goes(tmp_path):
    folder = tmp_path / "report"
    replace_folder(folder, {"report.html": "1", "readings a.csv": "", "readings b.csv": ""})
    (folder / "readings b.csv").write_text("filled in")
    replace_folder(folder, {"report.html": "2", "readings c.csv": ""}, replace=True, stays=is_form)
    assert sorted(os.listdir(folder)) == [SUMS, "readings b.csv", "readings c.csv", "report.html"]


def test_what_a_report_was_written_with_can_be_checked_with_sha256sum(tmp_path):
    """An open format: lines that GNU coreutils' sha256sum reads."""
    replace_folder(tmp_path / "report", FIRST)
    done = subprocess.run(["sha256sum", "-c", SUMS], cwd=tmp_path / "report", capture_output=True,
                          text=True, check=True)
    assert done.stdout.count(": OK") == len(FIRST)


@pytest.mark.parametrize("step", ["fsync", "first rename", "second rename"])
def test_a_fault_at_any_step_leaves_the_old_report(tmp_path, monkeypatch, step):
    folder = tmp_path / "report"
    replace_folder(folder, FIRST)
    (folder / "mine").write_text("mine")
    before, real, count = snapshot(folder), os.rename, [0]

    def sometimes(*args):
        count[0] += 1
        if count[0] == (1 if step == "first rename" else 2):
            full()
        real(*args)

    if step == "fsync":
        monkeypatch.setattr(os, "fsync", lambda handle: full())
    else:
        monkeypatch.setattr(os, "rename", sometimes)
    with pytest.raises(linkage.LinkageError, match="No space left on device"):
        replace_folder(folder, SECOND, replace=True)
    monkeypatch.undo()
    assert snapshot(folder) == before
    assert os.listdir(tmp_path) == ["report"]


def test_a_link_to_a_report_folder_stays_one(tmp_path):
    real = tmp_path / "far" / "report"
    replace_folder(real, FIRST)
    real.chmod(0o750)
    link = tmp_path / "report"
    link.symlink_to(real)
    replace_folder(link, SECOND, replace=True)
    assert link.is_symlink()
    assert (real / "report.html").read_text() == "two"
    assert stat.S_IMODE(real.stat().st_mode) == 0o750


def test_the_folder_one_is_in_is_refused(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for place in (".", tmp_path, tmp_path.parent):
        with pytest.raises(linkage.LinkageError, match="the folder you are in"):
            check_report_folder(place, True)


RUN = """
import sys, os
from linkage import disk
from linkage.errors import LinkageError
way, mark, folder = sys.argv[1:]
for turn in range(15):
    try:
        getattr(disk, way)(folder, {f"{k}.txt": mark for k in range(20)}, replace=True)
    except LinkageError as error:
        print(error)
"""


def test_runs_at_once_into_one_folder_never_mix(tmp_path):
    folder = tmp_path / "report"
    runs = [subprocess.Popen([sys.executable, "-c", RUN, "replace_folder", mark, str(folder)],
                             cwd=Path(__file__).parents[1], stdout=subprocess.PIPE, text=True)
            for mark in "AB"]
    seen = set()
    while any(run.poll() is None for run in runs):
        marks = whole(folder)
        if marks:
            seen |= marks
    assert [run.wait() for run in runs] == [0, 0]
    assert [run.communicate()[0] for run in runs] == ["", ""]
    assert whole(folder) in ({"A"}, {"B"})
    assert seen <= {"A", "B"}
    assert os.listdir(tmp_path) == ["report"]


def test_runs_at_once_that_fill_a_folder_leave_the_files_of_one(tmp_path):
    runs = [subprocess.Popen([sys.executable, "-c", RUN, "fill_folder", mark, str(tmp_path)],
                             cwd=Path(__file__).parents[1], stdout=subprocess.PIPE, text=True)
            for mark in "AB"]
    assert [run.communicate()[0] for run in runs] == ["", ""]
    assert len({data for data in snapshot(tmp_path).values()}) == 1
    assert len(os.listdir(tmp_path)) == 20


def whole(folder):
    """Marks in a folder as held open, so that a swap meanwhile can't mix what is read."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return set()
    try:
        marks = set()
        for name in os.listdir(handle):
            if name.endswith(".txt"):
                with open(os.open(name, os.O_RDONLY, dir_fd=handle)) as file:
                    marks.add(file.read())
        assert len(marks) <= 1
        return marks
    except OSError:  # taken away meanwhile
        return set()
    finally:
        os.close(handle)


# --- cells -----------------------------------------------------------------------------------

HOSTILE = ["=1+1", "+1", "-flap", "@SUM(A1)", " =1", "'quoted", "plain", "-3.5", "\t=1", "a,b\n=c"]


def test_no_cell_begins_a_formula_and_all_can_be_read_back():
    """After the OWASP page on CSV injection, from memory: = + - @ at the start of a cell."""
    table = pd.DataFrame({"=name": HOSTILE, "n": range(-5, 5)})
    text = csv_text(table)
    back = pd.read_csv(io.StringIO(text), dtype=str, keep_default_na=False)
    cells = [*back.columns, *back.to_numpy().ravel()]
    for cell in cells:
        if cell.lstrip()[:1] in tuple("=+-@"):
            float(cell)
    assert [cell_text(cell) for cell in back.iloc[:, 0]] == HOSTILE
    assert cell_text(back.columns[0]) == "=name"


# --- text --------------------------------------------------------------------------------------

STICK = """
title = {title}
length = "mm"
[input.pitch]
travel = [-10, 10]
[body.{name}]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = {{ grip = [0, 0, 400] }}
[surface.{name}]
body = {name}
"""
MARKS = ["\\n", "\\r", "\\u001b[2J", "\\u202e", "\\u2066", "\\u2028", "\\u0085", "\\u0007",
         "\\u009b", "\\u200f"]


@pytest.mark.parametrize("mark", MARKS)
@pytest.mark.parametrize("place", ["title", "name"])
def test_marks_that_move_what_is_printed_are_refused_at_reading(tmp_path, capsys, mark, place):
    """A title with a line end could print a line that says every requirement is met."""
    words = {"title": '"one"', "name": '"stick"'} | {place: f'"a{mark}b"'}
    path = tmp_path / "a.toml"
    path.write_text(STICK.format(**words), encoding="utf-8")
    assert main([str(path)]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.count("\n") == 1
    assert told.err.strip().isprintable()
    assert "a.toml" in told.err


def test_words_in_any_script_stay_welcome(tmp_path):
    """A zero-width joiner is part of how some scripts are written, and moves nothing."""
    path = tmp_path / "a.toml"
    path.write_text(STICK.format(title='"Höhenruder, руль, نمی\u200cدانم"', name='"stick"'),
                    encoding="utf-8")
    assert "Höhenruder" in linkage.read_model(path).title


@pytest.mark.parametrize("text", ['"a\\u001b[2Jb" = 1\nlength = "mm"', 'length = "\\u202emm"',
                                  'length = "mm"\n[body.a]\naxis = "\\u001b]0;x"'])
def test_what_an_error_repeats_of_a_file_is_spelled_out(tmp_path, capsys, text):
    path = tmp_path / "a.toml"
    path.write_text(text, encoding="utf-8")
    assert main([str(path)]) == 2
    assert capsys.readouterr().err.strip().isprintable()


def test_readings_of_a_part_that_looks_like_a_formula_are_read_back(tmp_path):
    from linkage.results import readings_form
    from linkage.rigging import read_readings

    path = tmp_path / "a.toml"
    path.write_text(STICK.format(title='"one"', name='"=flap"'), encoding="utf-8")
    system = linkage.load(path)
    form = readings_form(system, "d")
    form["surface angle"] = [-10.0, 0.0, 10.0]
    text = csv_text(form)
    (tmp_path / "r.csv").write_text(text)
    assert "'=flap" in text
    assert ",=flap" not in text
    assert read_readings(system, tmp_path / "r.csv").surface == ("=flap",) * 3


@pytest.mark.parametrize("verb", [["--out"], ["--csv"], ["--against"]])
def test_an_option_with_nothing_in_it_is_refused(tmp_path, capsys, verb, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "a.toml").write_text(STICK.format(title='"one"', name="stick"
                                                  ).replace("body = stick", 'body = "stick"'))
    assert main(["a.toml", *verb, ""]) == 2
    assert "is empty" in capsys.readouterr().err
    assert os.listdir(tmp_path) == ["a.toml"]
