"""From an empty page to a stick, a bellcrank, a rod and an elevator that move: with --full only.

Every key is pressed, at the pace of a practised hand (a key in 90 ms, about 130 a minute with the
looks between; common practice, no source), so that the time counts as a person's would.
"""

import time

import pytest

import linkage
from linkage.commands.open import EMPTY, _notebook

PACE = 90  # ms a key
LOOK = 1200  # ms that a person looks for the next box, at its words
PARTS = [
    ("stick", {"name": "stick", "pivot": "61, 0, 9", "axis": "lateral", "input": "pitch",
               "grip": "59.4, 0, 27.5", "low": "61, 0, 5.2"}),
    ("bellcrank", {"name": "bellcrank", "pivot": "120, 0, 9", "axis": "lateral",
                   "in": "120, 0, 5", "out": "120, 0, 13"}),
    ("rod", {"name": "front", "from": "stick/low", "to": "bellcrank/in", "diameter": "3/4"}),
    ("surface", {"name": "elevator", "pivot": "170, 0, 14", "axis": "lateral",
                 "horn": "170, 0, 18", "chord": "14"}),
    ("rod", {"name": "rear", "from": "bellcrank/out", "to": "elevator/horn", "diameter": "3/4"})]
WRITTEN = """title = "New controls"
length = "in"   # what a bare number means: "in" or "mm"

[body.stick]
pivot = [61.0, 0.0, 9.0]
axis = "lateral"
input = "pitch"
points = { grip = [59.4, 0.0, 27.5], low = [61.0, 0.0, 5.2] }

[body.bellcrank]
pivot = [120.0, 0.0, 9.0]
axis = "lateral"
points = { in = [120.0, 0.0, 5.0], out = [120.0, 0.0, 13.0] }

[body.elevator]
pivot = [170.0, 0.0, 14.0]
axis = "lateral"
points = { horn = [170.0, 0.0, 18.0] }

[rod.front]
ends = ["stick/low", "bellcrank/in"]
diameter = 0.75

[rod.rear]
ends = ["bellcrank/out", "elevator/horn"]
diameter = 0.75

[surface.elevator]
body = "elevator"
chord = 14.0

[input.pitch]
travel = [-15.0, 15.0]
"""


@pytest.fixture(scope="module")
def empty(full, chromium, lab_tools, hands, tmp_path_factory):
    if not full:
        pytest.skip("with --full only")
    folder = tmp_path_factory.mktemp("empty") / "shop"
    folder.mkdir()
    (folder / "new.toml").write_text(EMPTY)
    _notebook(folder / "new.toml")
    with lab_tools.lab(folder) as server:
        page, seen = lab_tools.new_page(chromium)
        lab_tools.open_notebook(page, server.url("lab/tree/new_workbook.ipynb"))
        lab_tools.run_all(page)
        page.wait_for_selector(".lw[data-drawn]")
        yield hands.Workbook(page), folder / "new.toml"
        assert seen.errors == []
        page.context.close()


class Hand:
    """A person at the page: looks, presses, types; each counted."""

    def __init__(self, book):
        self.book, self.presses, self.typed = book, 0, 0

    def press(self, control):
        self.book.page.wait_for_timeout(LOOK)
        self.book.control(control).click()
        self.presses += 1

    def pick(self, control, value):
        self.book.page.wait_for_timeout(LOOK)
        self.book.control(control).select_option(value)
        self.presses += 2

    def fill(self, control, text):
        self.press(control)
        self.book.page.keyboard.type(text, delay=PACE)
        self.typed += len(text)


def over(book):
    return book.root.locator("canvas.lw-over").screenshot(animations="disabled")


def test_from_an_empty_page_to_controls_that_move_in_under_three_minutes(empty):
    book, path = empty
    hand, begun = Hand(book), time.monotonic()
    for kind, fields in PARTS:
        hand.pick("kind of part", kind)
        before = over(book)
        for key, text in fields.items():
            hand.fill(f"new {key}", text)
        assert over(book) != before, f"{kind} is not drawn as it is typed"
        hand.press("add part")
        name = fields["name"]
        book.until(lambda name=name: name in book.control("part").inner_text())
        book.settle()
    book.type("stick pitch", 10)
    took = time.monotonic() - begun
    book.until(lambda: book.rows("surfaces")["elevator"][-1] == "exact")
    print(f"{took:.0f} s, {hand.presses} presses, {hand.typed} keys typed")
    assert took < 180
    hand.fill("save as", "")
    book.control("save as").fill("new.toml")
    hand.press("save")
    hand.press("save over")
    book.until(lambda: "Saved as" in book.root.locator(".lw-save .lw-beside").inner_text())
    assert path.read_text() == WRITTEN
    true = linkage.load(path).sweep(pitch=10).deflection("elevator").item()
    assert book.rows("surfaces")["elevator"][0].split()[0] == f"{abs(true):.2f}°"
    assert abs(true) > 5


def test_the_last_part_is_taken_back_and_drawn_no_more(empty):
    book, _ = empty
    book.control("undo").click()
    book.until(lambda: "rear" not in book.control("part").inner_text())
    book.until(lambda: book.rows("surfaces")["elevator"][0] in ("0.00°", "out of reach"))
