"""Notebook 5, the live workbook, in JupyterLab in a real browser without a network."""

import shutil

import pytest

import linkage
from linkage.gearing import deflection_words
from linkage.model.file import parse_model


@pytest.fixture(scope="module")
def opened(chromium, lab_tools, hands, notebooks, examples, tmp_path_factory):
    """Notebook 5 after running all of its cells, and what the page is seen to do."""
    folder = tmp_path_factory.mktemp("lab") / "shop"
    shutil.copytree(notebooks, folder / "notebooks")
    shutil.copytree(examples, folder / "examples")
    with lab_tools.lab(folder) as server:
        page, seen = lab_tools.new_page(chromium)
        lab_tools.open_notebook(page, server.url("lab/tree/notebooks/5_start_here.ipynb"))
        lab_tools.run_all(page)
        page.wait_for_selector(".lw[data-drawn]")
        book = hands.Workbook(page)
        yield book, seen
        page.context.close()


@pytest.fixture
def book(opened):
    return opened[0]


def exact(book) -> bool:
    return all(cells[-1] == "exact" for cells in book.rows("surfaces").values())


def test_dragging_the_stick_moves_the_drawing_and_settles_to_the_exact_number(book, hands,
                                                                               side_by_side):
    book.control("neutral").click()
    book.settle()
    with book.changes(book.view("side")):
        book.drag(0.2, -0.15)
    book.until(lambda: exact(book))
    at = book.position(("pitch", "roll"))
    assert at["roll"] > 1
    assert at["pitch"] < -1
    motion = side_by_side.sweep(**at)
    for name, cells in book.rows("surfaces").items():
        assert cells[0] == hands.turn_said(motion.deflection(name).item(),
                                           deflection_words(side_by_side, name))
        for way, said in zip(("pitch", "roll"), cells[1:], strict=False):
            true = motion.gearing(name)[way].item()
            assert float(said.replace(hands.MINUS, "-")) == pytest.approx(true, abs=6e-4)


def test_the_gap_of_the_nearest_pair_is_the_library_s(book, side_by_side, hands):
    book.type("stick pitch", 17)
    book.type("stick roll", 21)
    assert book.position(("pitch", "roll")) == {"pitch": 17, "roll": 21}
    book.until(lambda: exact(book))
    found = linkage.gaps(side_by_side.sweep(**book.position(("pitch", "roll"))))
    rows = book.rows("clearance")
    assert len(rows) > 4
    for pair, cells in rows.items():
        true = found[pair].item() / 25.4
        assert cells[1] == "exact"
        if true <= 0:
            assert cells[0] == "contact"
        else:
            assert float(cells[0].removesuffix(" in")) == pytest.approx(true, abs=6e-4)
    assert rows["stick left/shaft | airframe/seat pan left"][0] == "contact"


def test_a_spacer_by_keyboard_moves_its_stop(book, examples):
    before = book.rows("stops")["roll right"]
    book.press("spacer roll right", "ArrowRight", 20)
    thick = book.number("spacer roll right")
    assert thick == pytest.approx(0.083)
    text = (examples / "side_by_side.toml").read_text()
    line = 'on = "cross tube/roll lug left"\nthickness = 0.063'
    changed = linkage.System(parse_model(text.replace(line, line.replace("0.063", str(thick)))))
    true = linkage.find_stops(changed).set_index("stop").loc["roll right", "angle"]
    book.until(lambda: book.rows("stops")["roll right"][0] == f"{true:.2f}° right exact")
    assert book.rows("stops")["roll right"][0] != before[0]


def test_a_limit_by_keyboard_moves_the_pad_and_the_required_travels(book):
    with book.changes(book.root.locator(".lw-pad-canvas")):
        book.press("limit pitch greatest", "ArrowLeft", 60)
    assert book.number("limit pitch greatest") == pytest.approx(11.0)
    book.until(lambda: [cells[-1] for cells in book.lines("limits")
                        if cells[:2] == ["elevator", "25±1° TEU"]] == ["MISSED"])
    book.press("limit pitch greatest", "ArrowRight", 60)


def test_a_part_typed_in_the_table_moves_the_surface_and_is_undone(book, examples):
    book.type("stick pitch", 10)
    book.until(lambda: exact(book))
    before = book.rows("surfaces")["elevator"][0]
    book.control("part").select_option("elevator")
    box = book.control("elevator/horn WL")
    box.fill("17.0")
    book.page.keyboard.press("Enter")
    text = (examples / "side_by_side.toml").read_text()
    assert text.count("horn = [211.4, 0.0, 17.2]") == 1
    changed = linkage.System(parse_model(text.replace("211.4, 0.0, 17.2", "211.4, 0.0, 17.0")))
    at = book.position(("pitch", "roll"))
    true = f"{abs(changed.sweep(**at).deflection('elevator').item()):.2f}° TEU"
    assert true != before
    book.until(lambda: exact(book) and book.rows("surfaces")["elevator"][0] == true)
    book.control("undo").click()
    book.until(lambda: exact(book) and book.rows("surfaces")["elevator"][0] == before)


def test_the_proof_comes_back_after_a_change(book):
    state = book.root.locator(".lw-clearance .lw-note").first
    book.until(lambda: state.inner_text().startswith("Proven for"), 60)


def test_the_solid_view_follows_the_stick(book):
    canvas = book.view("solid")
    with book.changes(canvas):
        canvas.focus()
        book.page.keyboard.press("ArrowLeft")
    with book.changes(canvas):
        book.control("neutral").click()


def test_keys_are_kept_from_jupyterlab(book):
    cells = book.page.locator(".jp-Cell").count()
    for control in ("look at", "neutral", "part", "stick roll", "pad", "play"):
        book.press(control, "b")  # in JupyterLab: a new cell
    assert book.page.locator(".jp-Cell").count() == cells


def test_no_serious_violation(book, violations):
    assert violations(book.page, ".lw") == []


def test_no_error_and_no_request_off_the_machine(opened):
    _, seen = opened
    assert seen.errors == []
    assert len(seen.requests) > 10
    assert seen.off_machine == []
