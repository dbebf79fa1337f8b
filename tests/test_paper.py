"""Paper for the shop: page one, contact sheets with marks and cures, the card, revisions.

PyMuPDF (general-purpose) reads the PDF back; places, areas and cures are checked by hand-worked
geometry and by the library's own clearance of the system with the cure in it.
"""

import dataclasses
import math
import re
from html import unescape

import numpy as np
import pymupdf
import pytest
import shapely
from systems.reports import SIDE_BY_SIDE, made_report

import linkage
from linkage.__main__ import main
from linkage.model.file import parse_model
from linkage.motion import System
from linkage.plots.sections import best_plane, section
from linkage.relief import mark_on
from linkage.results import Results, blocks_of, file_changes
from linkage.results.chapters.front import clearance_misses, near_of_miss
from linkage.results.cures import _effect, cures_of


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return made_report(tmp_path_factory, SIDE_BY_SIDE).report


def words_of(document):
    return " ".join(" ".join(page.get_text() for page in document).split())


def test_pdf_tells_every_number_of_the_html(made):
    """Each number that a table shows, as often as it stands in no column of one value."""
    html = (made / "report.html").read_text(encoding="utf-8")
    shown = [unescape(text) for text in re.findall(r"<data [^>]*>([^<]*)</data>", html)]
    told = words_of(pymupdf.open(made / "report.pdf"))
    assert len(shown) > 3000
    assert not [text for text in set(shown) if " ".join(text.split()) not in told]


def test_page_one_answers_and_pictures_are_vectors(made):
    document = pymupdf.open(made / "report.pdf")
    first = " ".join(document[0].get_text().split())
    for words in ("4 requirements missed", "Directions found as they have to be", "touch (0.250",
                  "Not looked at", "the file names nobody who approved it", "digest",
                  "dots: the two closest points", "0.302 in"):
        assert words in first
    assert len(first) > 1500  # the page is not blank
    assert not any(page.get_images() for page in document)
    assert len(document) <= 24  # 41 before, without sheets of contacts, card, springs, pictures
    card = next(page.get_text() for page in document if "Shop card" in page.get_text())
    for name in ("Card, rods", "Card, cut and made", "Card, stock", "Card, blanks",
                 "Card, at each stop", "Weight of what the file gives"):
        assert name in card
    assert "What the answer rests on" not in card
    last = [page.get_text() for page in document][-2:]
    assert "What the answer rests on" in last[0]
    assert "Signature" in last[1]


def test_a_contact_sheet_s_heading_is_on_the_page_of_its_picture(made):
    pages = [page.get_text() for page in pymupdf.open(made / "report.pdf")]
    for number in (1, 2):
        page = next(text for text in pages if f"Contact sheet {number}:" in text)
        assert "the place in its surroundings" in page.split(f"Contact sheet {number}:")[1]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_file_says_its_revision_and_who_approved_it(paper):
    from linkage.report.as_pdf import as_pdf

    model = dataclasses.replace(parse_model(ARM), revision="C", approved_by="N. N. (invented)")
    results = Results(System(model), "arm.toml", "0123")
    told = words_of(pymupdf.open(stream=as_pdf("t", blocks_of(results, ["page-one", "shop-card"]),
                                               paper, "foot")))
    assert "Revision C; approved by N. N. (invented), as the file says; file arm.toml" in told


def test_sections_by_closed_forms():
    tube = [(np.array([[0.0, 0, 0], [100, 0, 0]]), 5.0)]
    assert section(tube, 0, 50.0).area == pytest.approx(math.pi * 25, rel=5e-3)
    assert section(tube, 2, 3.0).bounds == pytest.approx((-4, -4, 104, 4), abs=0.05)
    block = np.array([(x, y, z) for x in (0, 40) for y in (0, 30) for z in (0, 10)], dtype=float)
    assert section([(block, 0.0)], 2, 4.0).equals(shapely.box(0, 0, 40, 30))
    assert section([(block, 0.0)], 2, 10.0).area == pytest.approx(1200)  # along its face
    assert best_plane(np.array([0.0, 3.0, 0.0]), [np.array([0.0, 0, 1])]) == 2


ARM = """
length = "mm"
title = "an arm between a post and a stop (invented)"
[input.turn]
travel = [-30, 30]
[body.arm]
pivot = [0, 0, 0]
axis = "vertical"
input = "turn"
points = { tip = [200, 0, 0] }
solid.bar = { kind = "tube", along = [[20, 0, 0], [200, 0, 0]], diameter = 10 }
[body.arm.solid.plate]
kind = "plate"
thickness = 4
at = [100, 0, 60]
normal = [0, 0, 1]
u = [1, 0, 0]
outline = [[-50, -20], [50, -20], [50, 20], [-50, 20]]
[airframe.solid]
post = { kind = "sphere", at = [180, 102, 0], diameter = 20, clearance = "free" }
pad = { kind = "box", corner = [100, 70, -10], opposite = [140, 90, 10] }
[clearance.class]
free = 6
[stop.far]
input = "turn"
side = "greatest"
between = ["arm/bar", "airframe/pad"]
spacer = { on = "airframe/pad", thickness = 1 }
"""


def test_marks_are_measured_on_the_part_itself():
    """Edges of a plate, faces of a block and ends of a tube, with the part turned by 25 degrees."""
    motion, turn = System(parse_model(ARM)).sweep(turn=25.0), math.radians(25)

    def posed(x, y, z):
        return np.array([x * math.cos(turn) - y * math.sin(turn),
                         x * math.sin(turn) + y * math.cos(turn), z])

    mark = mark_on(motion, "arm/plate", posed(120.0, 12.0, 62.0))
    assert np.allclose(mark.stations, (120, 12, 62), atol=1e-9)
    assert dict(mark.distances) == pytest.approx({"its right edge": 8.0, "its aft edge": 30.0})
    assert mark.side == "its upper face"
    mark = mark_on(motion, "arm/bar", posed(90.0, 5.0, 0.0))
    assert [mm for _, mm in mark.distances] == pytest.approx([70.0, 110.0])
    assert mark.side == "right"
    mark = mark_on(motion, "airframe/pad", np.array([110.0, 70.0, 4.0]))
    assert mark.side == "its left face"
    assert dict(mark.distances) == pytest.approx({"its forward face": 10.0, "its upper face": 6.0})


def test_a_place_on_a_skin_is_marked_by_stations():
    """A flat skin from FS 10 to 70 and WL -20 to 30 is drawn as that rectangle, by hand."""
    skin = """
[airframe.solid.wall]
kind = "skin"
thickness = 1
within = 0.5
sections = [{ station = 10, points = [[60, -20], [60, 30]] },
            { station = 70, points = [[60, -20], [60, 30]] }]
"""
    mark = mark_on(System(parse_model(ARM + skin)).sweep(turn=0.0), "airframe/wall",
                   np.array([30.0, 60.0, 5.0]))
    assert mark.at == (30.0, 5.0)
    assert mark.seen == "seen from the left: no edge to measure from"
    ring, = mark.rings
    assert shapely.Polygon(ring).equals(shapely.box(10, -20, 70, 30))


def test_a_cure_is_proven_by_the_whole_clearance_with_it():
    results = Results(System(parse_model(ARM)), only=("clearance",))
    miss, = clearance_misses(results)
    cures = cures_of(results, miss.what, near_of_miss(results, miss).place)
    assert [(cure.kind, cure.works) for cure in cures] == [("relief", False), ("spacer", True)]
    thick = float(re.search(r"to ([\d.]+) mm", cures[1].do)[1])
    assert thick > 1.0
    fresh = System(parse_model(ARM.replace("thickness = 1 ", f"thickness = {thick} ")))
    assert linkage.clearance(fresh)["ok"].all()
    assert not linkage.clearance(results.system)["ok"].all()


def test_a_cure_that_costs_a_required_travel_says_so_however_little():
    """The end moves by 0.1 degrees, and the surface, geared 1 to 1, was that near to its band."""
    text = ARM + '[surface.flap]\nbody = "arm"\n'
    system = System(parse_model(text))
    far, = (row["angle"] for row in linkage.find_stops(system).to_dict("records"))
    motion = system.sweep(turn=far)
    deflection = float(motion.deflection("flap"))
    way = "left" if deflection > 0 else "right"
    asked = System(parse_model(text + f"require = {{ {way} = {abs(deflection) + 0.95}, "
                                      f"within = 1 }}\n"))
    assert _effect(asked, asked, "turn", far - 0.1).endswith("missed)")
    assert "missed" not in _effect(asked, asked, "turn", far - 0.01)


def test_what_could_not_be_decided_is_told_as_no_miss():
    """Asked for the very gap that was met: more than is proven, and not less than was seen."""
    text = re.sub(r"pad = .*", "", ARM.split("[stop.far]")[0].replace("[-30, 30]", "[-30, 23]"))
    row = linkage.clearance(System(parse_model(text))).iloc[0]
    edge = row["least"] - 1e-10
    results = Results(System(parse_model(text.replace("free = 6", f"free = {float(edge)!r}"))))
    miss, = clearance_misses(results)
    assert not miss.decided
    told = str([vars(block) for chapter in ("page-one", "contact-sheets")
                for block in blocks_of(results, [chapter])])
    assert "could not decide whether it does" in told
    assert "or are not proven not to" in told
    assert "does not." not in told


def test_a_miss_by_a_hair_is_not_told_as_what_is_required():
    """Asked for a tenth of a micron more than was met; both would round to the same."""
    text = re.sub(r"pad = .*", "", ARM.split("[stop.far]")[0].replace("[-30, 30]", "[-30, 23]"))
    least = float(linkage.clearance(System(parse_model(text)))["least"].iloc[0])
    system = System(parse_model(text.replace("free = 6", f"free = {least + 1e-4!r}")))
    miss, = clearance_misses(Results(system, only=("clearance",)))
    told, required = (float(part.split()[0]) for part in miss.how_much.split(", "))
    assert told < required
    assert told == pytest.approx(least, abs=0.0151)  # a hundredth down from what is rounded


def test_what_changed_in_a_file_is_listed_key_by_key():
    before = parse_model(ARM)
    after = parse_model(ARM.replace("free = 6", "free = 5").replace("title", 'revision = "B"\ntitle'
                                                                    ))
    told = file_changes(before, after).set_index("key").to_dict("index")
    assert told == {"revision": {"before": "–", "after": "B"},
                    "clearance.class.free": {"before": "6", "after": "5"}}
    assert file_changes(before, before).empty


def test_a_page_of_changes_and_a_log_that_keeps_what_stands_in_it(tmp_path, capsys):
    old, new = tmp_path / "old.toml", tmp_path / "new.toml"
    old.write_text(ARM)
    new.write_text(ARM.replace("thickness = 1 ", "thickness = 9 "))
    (tmp_path / "new.log").write_text("mine")
    for name in ("page.html", "page.pdf"):
        main([str(new), "--against", str(old), "--changes", str(tmp_path / name), "--log"])
        capsys.readouterr()
    for told in ((tmp_path / "page.html").read_text(encoding="utf-8"),
                 words_of(pymupdf.open(tmp_path / "page.pdf"))):
        assert "No longer missed: clearance: arm/bar | airframe/post" in told
        assert "stop.far.spacer.thickness" in told
    log = (tmp_path / "new.log").read_text(encoding="utf-8")
    assert log.startswith("mine\n")
    assert log.count("stop.far.spacer.thickness: 1 -> 9") == 2
    assert main([str(new), "--changes", str(tmp_path / "x.html")]) == 2
    assert "--changes needs --against" in capsys.readouterr().err
    assert main([str(new), "--against", str(old), "--changes", str(tmp_path / "x.txt")]) == 2


def test_html_needs_nothing_beside_it(made):
    html = (made / "report.html").read_text(encoding="utf-8")
    text = re.sub(r'src="data:[^"]*"', "", html)
    assert not re.search(r'(src|href)="(?!#)', text)
    assert 'id="find"' in text
    assert "prefers-color-scheme: dark" in text
    assert re.search(r"0\.250\N{NO-BREAK SPACE}in required", text)
