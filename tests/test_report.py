"""The report: its numbers are the library's, nothing leaves its folder, nothing is lost.

Parsers of the standard library and PyMuPDF (general-purpose) read back what was written.
"""

import errno
import json
import math
import re
from html import unescape
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pymupdf
import pytest
from systems.reports import SIDE_BY_SIDE, made_report

import linkage
from linkage.__main__ import main
from linkage.model.file import parse_model
from linkage.motion import System
from linkage.results import Results, Text, blocks_of
from linkage.results.csv_files import csv_files
from linkage.units import CAUTION

EXAMPLES = Path(__file__).parents[1] / "examples"
HOSTILE = '<script>alert("1")</script> Ω привет \'"&'


class Tables(HTMLParser):
    """Captions, headings and rows of every table; numbers by the value beside them."""

    def __init__(self):
        super().__init__()
        self.tables, self.tags, self.into, self.texts = {}, set(), None, []

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        if tag in ("caption", "th", "td"):
            self.into = []
        if tag == "small":
            self.into = self.into and [*self.into, "\n"]
        if tag == "tr":
            self.row = []
        if tag == "data":
            self.into.append(float(dict(attrs)["value"]))

    def handle_data(self, data):
        data = data.replace("\N{NO-BREAK SPACE}", " ")
        self.texts.append(data)
        if self.into is not None:
            self.into.append(data)

    def handle_endtag(self, tag):
        if tag in ("th", "td"):
            numbers = [part for part in self.into if isinstance(part, float)]
            self.row.append(numbers[0] if numbers else "".join(self.into))
        if tag == "caption":
            self.name = "".join(self.into).split("\n")[0]
            self.tables[self.name] = []
        if tag == "tr":
            self.tables[self.name].append(self.row)
        if tag in ("caption", "th", "td"):
            self.into = None


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    made = made_report(tmp_path_factory, SIDE_BY_SIDE)
    return made.report, made.code


@pytest.fixture(scope="module")
def read(made):
    parser = Tables()
    parser.feed((made[0] / "report.html").read_text(encoding="utf-8"))
    return parser


def columns(rows):
    return {name: [row[k] for row in rows[1:]] for k, name in enumerate(rows[0])}


def test_exit_code_tells_of_missed_requirements(made):
    assert made[1] == 1


def test_html_numbers_are_the_librarys(read):
    system = linkage.load(EXAMPLES / "side_by_side.toml")
    found = linkage.clearance(system)
    told = columns(read.tables["Clearance"])
    where = dict(zip(told["pair"], range(len(told["pair"])), strict=True))
    for row in found[~found["rule"].isin(["stop", "waived"])].to_dict("records"):
        k = where[row["pair"]]
        assert abs(told["proven in"][k] * 25.4 - row["proven"]) < 1e-9
        assert abs(told["least in"][k] * 25.4 - row["least"]) < 1e-9
        assert told["met"][k] == ("met" if row["ok"] else "MISSED")
    stops, told = linkage.find_stops(system), columns(read.tables["Stops"])
    assert np.abs(np.array(told["reached at °"]) - stops["angle"]).max() < 1e-9
    assert np.abs(np.array(told["elevator °"]) - stops["elevator"]).max() < 1e-9
    told = columns(read.tables["Hardpoints"])
    for part, point, *place in zip(*(told[n] for n in ("part", "point", "FS in", "BL in", "WL in")),
                                   strict=True):
        assert np.allclose(np.array(place) * 25.4, system.model.position(f"{part}/{point}"),
                           rtol=0, atol=1e-9)
    told = columns(read.tables["Gearing over pitch"])
    motion = system.sweep(pitch=told["pitch °"])
    assert np.abs(motion.deflection("elevator") - told["elevator deflection °"]).max() < 1e-9


def test_json_and_csv_tell_the_same_as_html(made, read):
    import pandas as pd

    told = json.loads((made[0] / "tables.json").read_text(encoding="utf-8"))
    assert set(told["tables"]) == set(read.tables)
    for name, rows in told["tables"].items():
        html = read.tables[name]
        assert len(rows) == len(html) - 1
        for row, cells in zip(rows, html[1:], strict=True):
            for value, cell in zip(row.values(), cells, strict=True):
                if isinstance(cell, float):
                    assert value == cell
                elif isinstance(value, str) and value not in ("inf", "-inf"):
                    assert cell == value
        csv = pd.read_csv(made[0] / "tables" / next(iter(csv_files({name: pd.DataFrame()}))))
        assert len(csv) == len(rows)
        assert list(csv) == html[0]


def test_caution_digest_and_misses_are_told(made, read):
    text = " ".join("".join(read.texts).split())
    assert " ".join(CAUTION.split()) in text
    from linkage.disk import digest

    assert digest(EXAMPLES / "side_by_side.toml") in text
    assert ("stick left/shaft | airframe/seat pan left: touch (0.250 in required), "
            "at 17.2° aft, 21.7° right") in text
    assert "because the rod runs in this plastic fairlead" in text


def test_comparison_tells_what_the_fix_changed(read):
    told = columns(read.tables["Clearance before and after"])
    changed = dict(zip(told["what"], told["change in"], strict=True))
    assert changed["stick left/shaft | airframe/seat pan left (proven)"] < -0.3
    assert changed["elevator rear/tube | airframe/tail frame (proven)"] < -0.1
    assert "Travels before and after" not in read.tables


def test_rigging_follows_the_drive(read):
    system = linkage.load(EXAMPLES / "side_by_side.toml")
    told = columns(read.tables["Rigging"])
    assert told["step"] == [float(k) for k in range(1, len(told["step"]) + 1)]
    order = [step.rod for step in system.plan.steps if hasattr(step, "rod")]
    set_rods = [text.split(" between ")[0].removeprefix("set rod ") for text in told["do"]
                if text.startswith("set rod ")]
    assert set_rods == order
    lengths = [length for length in told["length in"] if isinstance(length, float)]
    assert np.allclose(np.array(lengths) * 25.4, [system.model.rod_length(rod) for rod in order],
                       rtol=0, atol=1e-9)
    assert set(told["reading"]) == {""} == set(told["signed"])


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_pdf_holds_text_within_its_pages(made, paper):
    from linkage.report.as_pdf import as_pdf

    results = Results.of_file(linkage.load(EXAMPLES / "servo_arm.toml"),
                              EXAMPLES / "servo_arm.toml")
    pages = pymupdf.open(stream=as_pdf("t", blocks_of(results), paper, "foot"))
    for page in [*pages, *(pymupdf.open(made[0] / "report.pdf") if paper == "Letter" else ())]:
        size = {"A4": (595.276, 841.89), "Letter": (612, 792)}[paper]
        assert np.allclose(page.rect.br, size, atol=0.5)
        for x0, y0, x1, y1, *_ in page.get_text("words"):
            assert x0 >= -0.5
            assert x1 <= size[0] + 0.5
            assert y0 >= -0.5
            assert y1 <= size[1] + 0.5
        for image in page.get_images():
            assert page.rect.contains(page.get_image_rects(image[0])[0])


def test_pdf_repeats_headings_and_the_digest(made):
    pages = [" ".join(page.get_text().split()) for page in pymupdf.open(made[0] / "report.pdf")]
    from linkage.disk import digest

    told = f"Model digest {digest(EXAMPLES / 'side_by_side.toml')}"
    assert all(told in page for page in pages)
    over = [page for page in pages if page.count(" | airframe/") > 1 and "structure" in page]
    assert len(over) > 1
    assert all("proven in" in page for page in over)


def bare(text):
    return System(parse_model(text))


BARE = 'length = "mm"\n[input.pitch]\ntravel = [-10, 10]\n'
STICK = BARE + '[body.stick]\npivot = [0, 0, 0]\naxis = "lateral"\ninput = "pitch"\n'


@pytest.mark.parametrize("text", [BARE, STICK + "points = { grip = [0, 0, 400] }\n"])
def test_what_the_file_lacks_is_said_to_be_missing(text, tmp_path):
    path = tmp_path / "bare.toml"
    path.write_text(text)
    assert main([str(path), "--out", str(tmp_path / "out")]) == 0
    parser = Tables()
    parser.feed((tmp_path / "out" / "report.html").read_text(encoding="utf-8"))
    told = "".join(parser.texts)
    for lack in ("gives no solid; add", "no surfaces", "requires no travels", "gives no stop; add"):
        assert lack in told


def test_hostile_names_are_text_and_stay_in_the_folder(tmp_path):
    title = HOSTILE.replace('"', '\\"')
    part = f'"..{title.replace("/", " ")}"'  # the file itself refuses a slash in a part's name
    text = f'title = "../../{title}"\n' + STICK.replace("body.stick", f"body.{part}")
    text += f'points = {{ grip = [0, 0, 400] }}\n[surface.{part}]\nbody = {part}\n'
    text += "require = { up = 10, down = 10 }\n"
    path = tmp_path / "in" / "hostile.toml"
    path.parent.mkdir()
    path.write_text(text, encoding="utf-8")
    folder = tmp_path / "in" / "out"
    assert main([str(path), "--out", str(folder)]) in (0, 1)
    parser = Tables()
    parser.feed((folder / "report.html").read_text(encoding="utf-8"))
    assert "<script>alert" not in (folder / "report.html").read_text(encoding="utf-8")
    assert HOSTILE in "".join(parser.texts)
    assert {p.relative_to(tmp_path).parts[0] for p in tmp_path.rglob("*")} == {"in"}
    assert {p.name for p in (tmp_path / "in").iterdir()} == {"hostile.toml", "out"}
    told = pymupdf.open(folder / "report.pdf")[0].get_text()
    assert "Ω" in told
    assert "привет" in told


def snapshot(folder):
    return {p.relative_to(folder): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


@pytest.fixture
def small(tmp_path):
    path = tmp_path / "small.toml"
    path.write_text(STICK + "points = { grip = [0, 0, 400] }\n")
    assert main([str(path), "--out", str(tmp_path / "out")]) == 0
    return path, tmp_path / "out"


def test_a_report_that_is_there_stays(small, capsys):
    path, folder = small
    before = snapshot(folder)
    capsys.readouterr()
    assert main([str(path), "--out", str(folder)]) == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1
    assert "is there already and stays as it is" in error
    assert snapshot(folder) == before
    assert main([str(path), "--out", str(folder), "--replace"]) == 0


@pytest.mark.parametrize("step", ["write", "move"])
def test_a_full_disk_leaves_the_old_report(small, capsys, monkeypatch, step):
    path, folder = small
    before = snapshot(folder)

    def full(*_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr({"write": "os.fsync", "move": "os.rename"}[step], full)
    capsys.readouterr()
    assert main([str(path), "--out", str(folder), "--replace"]) == 2
    error = capsys.readouterr().err
    assert "No space left on device" in error
    assert error.count("\n") == 1
    monkeypatch.undo()
    assert snapshot(folder) == before


def test_a_folder_that_can_not_be_is_refused(small, tmp_path, capsys):
    path, _ = small
    (tmp_path / "file").write_text("mine")
    capsys.readouterr()
    assert main([str(path), "--out", str(tmp_path / "file")]) == 2
    assert "choose another" in capsys.readouterr().err
    assert (tmp_path / "file").read_text() == "mine"


ROUNDED = {"°": 0.05, "in": 0.0005, "lbf": 0.05, "in·lbf": 0.5, "turns": 0.05, "lb": 0.005}
DOWN = ("proven", "build least", "least °", "allowed °")  # bounds: never told better than they are
UP = ("off by", "build most")


def test_shown_numbers_round_what_they_stand_for(made):
    """Each within half of its last decimal, as the report says; a bound within the whole of it."""
    html = (made[0] / "report.html").read_text(encoding="utf-8")
    tables = re.findall(r"<table>.*?</table>", html, re.DOTALL)
    seen = 0
    for table in tables:
        heads = [unescape(re.sub("<.*?>", "", head))
                 for head in re.findall(r"<th .*?>(.*?)</th>", table)]
        for row in re.findall(r"<tr.*?>(.*?)</tr>", table.split("<tbody>")[1], re.DOTALL):
            cells = re.findall(r"<td.*?>(.*?)</td>", row)
            for head, cell in zip(heads, cells, strict=True):
                found = re.match(r'<data value="(.*?)">(neutral|[-+]?[\d.]+)', cell)
                within = next((half for unit, half in ROUNDED.items()
                               if head.endswith(f" {unit}")), None)
                if not found or within is None:
                    continue
                value = float(found[1])
                told = 0.0 if found[2] == "neutral" else float(found[2])
                told = told if found[2][0] == "-" else math.copysign(told, value)
                seen += 1
                bound = any(word in head for word in (*DOWN, *UP, "greatest °"))
                assert abs(told - value) <= (2 if bound else 1) * within * 1.0001, (head, cell)
                assert told <= value + 1e-6 or not any(word in head for word in DOWN)
                if any(word in head for word in UP) or (
                        head == "greatest °" and "Rod-end misalignment" in table):
                    assert abs(told) >= abs(value) - 1e-6
    assert seen > 2000


def test_filled_in_readings_are_matched_by_the_digest(made, tmp_path, capsys):
    """Readings planted 0.7 degrees off come back as an offset; another file is refused."""
    import pandas as pd

    source = EXAMPLES / "side_by_side.toml"
    system, form = linkage.load(source), pd.read_csv(next(made[0].glob("readings *.csv")))
    form["surface angle"] = [float(system.sweep(**{row["input"]: row["stick angle"]})
                                   .deflection(row["surface"])) + 0.7
                             for row in form.to_dict("records")]
    form.loc[0, "surface angle"] = np.nan  # one was not taken
    form.to_csv(tmp_path / "filled.csv", index=False)
    capsys.readouterr()
    main(["rig", str(source), "--readings", str(tmp_path / "filled.csv"), "--zeroed", "pitch",
          "roll", "--doubt", "stick tie"])
    told = capsys.readouterr().out
    assert "0.70" in told
    assert main(["rig", str(EXAMPLES / "side_by_side_fixed.toml"), "--readings",
                 str(tmp_path / "filled.csv")]) == 2
    assert "belongs to the model file with digest" in capsys.readouterr().err


def test_what_was_filled_in_by_hand_stays(small):
    path, folder = small
    form = next(folder.glob("readings *.csv"))
    form.write_text("mine")
    assert main([str(path), "--out", str(folder), "--replace"]) == 0
    assert form.read_text() == "mine"


def test_a_margin_missed_is_told_first_and_fails(tmp_path):
    """A thin rod in the example buckles: the report opens with it and the exit code is 1."""
    text = (EXAMPLES / "side_by_side_fixed.toml").read_text()
    first = 'diameter = "3/4 in"\nwall = 0.083'
    assert first in text
    path = tmp_path / "thin.toml"
    path.write_text(text.replace(first, 'diameter = "3/8 in"\nwall = 0.028'))
    results = Results.of_file(linkage.load(path), path)
    assert any("aileron inner left: margin as a column -" in miss.sentence
               for miss in results.verdict.missed)
    opening = [block.text for block in blocks_of(results, ["answer"])
               if isinstance(block, Text) and block.kind == "miss"]
    assert any("aileron inner left: margin as a column -" in line for line in opening)
    assert main([str(path)]) == 1


def test_the_test_cards_have_pages_of_their_own(made):
    """To take to the aircraft: both cards with room to fill in, the caution and the signature."""
    import pymupdf

    page = (made[0] / "test-cards.html").read_text(encoding="utf-8")
    sheet = " ".join(" ".join(p.get_text().split()) for p in pymupdf.open(
        made[0] / "test-cards.pdf"))
    for told in (page, sheet):
        assert all(words in told for words in ("test cards", "Limit load test", "Operation test",
                                               "23.681", "23.683", "signature", "never replaces"))
        assert "Over-centre" not in told
    assert 'blank"' in page
    tables = {path.name for path in (made[0] / "tables").iterdir()}
    assert {"limit_load_test.csv", "operation_test.csv"} <= tables


def test_positions_and_deflections_are_said_in_words(made):
    told = (made[0] / "report.html").read_text(encoding="utf-8")
    assert "21.7° left" in told
    assert "12.6° TED" in told
