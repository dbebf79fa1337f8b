"""The self-contained page from disk, in a real browser without a network."""

import io
import math

import numpy as np
import pytest
from PIL import Image

import linkage
from linkage.__main__ import main
from linkage.gearing import deflection_words

STICK = """
title = "One stick (invented)"
length = "mm"
[input.pitch]
travel = [-20, 20]
[input.roll]
travel = [-25, 25]
[body.tube]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = { drive = [0, 0, -100] }
[body.stick]
on = "tube"
pivot = [0, 0, 0]
axis = "fore-aft"
input = "roll"
points = { grip = [0, 0, 500] }
solid.shaft = { kind = "tube", along = ["pivot", "grip"], diameter = 20 }
[body.crank]
pivot = [300, 0, 0]
axis = "lateral"
points = { arm = [300, 0, -100] }
solid.arm = { kind = "tube", along = ["pivot", "arm"], diameter = 20 }
[rod.link]
ends = ["tube/drive", "crank/arm"]
length = 300
diameter = 10
"""


@pytest.fixture(scope="module")
def opened(chromium, lab_tools, hands, side_page):
    """The side-by-side example's page from disk, and what it is seen to do."""
    page, seen = lab_tools.new_page(chromium)
    page.goto(side_page.as_uri())
    page.wait_for_selector(".lw[data-drawn]")
    yield hands.Workbook(page), seen
    page.context.close()


@pytest.fixture
def book(opened):
    """The page with the stick at neutral."""
    opened[0].control("neutral").click()
    opened[0].settle()
    return opened[0]


def shown(book, hands, system):
    """Deflections the page shows, and those of the library where the page says the stick is."""
    motion = system.sweep(**book.position(("pitch", "roll")))
    said = {name: cells[0] for name, cells in book.rows("surfaces").items()}
    true = {name: motion.deflection(name).item() for name in said}
    return said, {name: hands.turn_said(value, deflection_words(system, name))
                  for name, value in true.items()}


def test_dragging_the_stick_moves_the_drawing_and_the_numbers(book, hands, side_by_side):
    with book.changes(book.view("side")), book.changes(book.view("top")):
        book.drag(0.2, -0.15)
    said, true = shown(book, hands, side_by_side)
    assert book.position(("roll",))["roll"] > 1
    assert said == true


def test_arrow_keys_move_the_stick(book, hands, side_by_side):
    before = book.position(("pitch", "roll"))
    book.press("pad", "ArrowRight", 8)
    book.press("stick pitch", "ArrowRight", 30)
    after = book.position(("pitch", "roll"))
    assert after["roll"] - before["roll"] == pytest.approx(4.0)
    assert after["pitch"] - before["pitch"] == pytest.approx(3.0)
    said, true = shown(book, hands, side_by_side)
    assert said == true


def test_a_spacer_is_changed_by_keyboard(book, examples, hands):
    book.press("spacer roll right", "ArrowRight", 20)
    thick = book.number("spacer roll right")
    assert thick == pytest.approx(0.083)
    text = (examples / "side_by_side.toml").read_text()
    first = 'on = "cross tube/roll lug left"\nthickness = 0.063'
    assert text.count(first) == 1
    changed = linkage.System(linkage.parse_model(
        text.replace(first, first.replace("0.063", str(thick)))))
    true = linkage.find_stops(changed).set_index("stop").loc["roll right", "angle"]
    said = book.rows("stops")["roll right"][0]
    assert said.endswith("sampled")
    assert float(said.split("°")[0]) == pytest.approx(true, abs=0.02)


def test_a_limit_by_keyboard_clips_the_stick(book):
    pad = book.root.locator(".lw-pad-canvas")
    with book.changes(pad):
        book.press("limit roll greatest", "ArrowLeft", 50)
    limit = book.number("limit roll greatest")
    assert limit == pytest.approx(16.0)
    book.press("stick roll", "End")
    assert book.number("stick roll") == pytest.approx(limit)
    book.press("limit roll greatest", "ArrowRight", 50)


def test_the_solid_view_orbits_zooms_and_follows(book):
    canvas = book.view("solid")
    canvas.focus()  # its frame is in the picture
    book.page.keyboard.press("Home")
    home = book.pixels(canvas)
    for key in ("ArrowLeft", "ArrowUp", "+"):
        with book.changes(canvas):
            canvas.focus()
            book.page.keyboard.press(key)
    with book.changes(canvas):
        canvas.hover(position={"x": 5, "y": 5})
        book.page.mouse.wheel(0, -200)
    box = canvas.bounding_box()
    with book.changes(canvas):
        book.page.mouse.move(box["x"] + 100, box["y"] + 100)
        book.page.mouse.down()
        book.page.mouse.move(box["x"] + 160, box["y"] + 120, steps=3)
        book.page.mouse.up()
    words = book.root.locator(".lw-solids [role=status]")
    book.until(lambda: "looking at everything" in words.inner_text())
    canvas.focus()
    book.page.keyboard.press("Home")
    same = book.pixels(canvas) == home  # apart, as a difference of bytes takes minutes to write
    assert same
    with book.changes(canvas):
        book.drag(0.2, 0.2)
    with book.changes(canvas):
        book.control("look at").select_option("stick left")
    book.until(lambda: "looking at stick left" in words.inner_text())


def test_no_serious_violation(book, violations):
    assert violations(book.page, "body") == []


def test_no_error_and_no_request_but_the_file(opened):
    book, seen = opened
    assert seen.errors == []
    assert [url for url in seen.requests if not url.startswith("file:")] == []


@pytest.fixture(scope="module")
def stick_page(chromium, lab_tools, hands, tmp_path_factory):
    """The 3-D view of one stick, seen from the nose, level."""
    folder = tmp_path_factory.mktemp("stick")
    (folder / "stick.toml").write_text(STICK)
    assert main(["view", str(folder / "stick.toml"), "--out", str(folder / "page.html")]) == 0
    page, seen = lab_tools.new_page(chromium)
    page.goto((folder / "page.html").as_uri())
    page.wait_for_selector(".lw[data-drawn]")
    book = hands.Workbook(page)
    book.control("look at").select_option("stick")
    book.view("solid").focus()
    for key, times in (("ArrowRight", 7), ("ArrowDown", 4)):
        for _ in range(times):
            page.keyboard.press(key)
    yield book
    assert seen.errors == []
    page.context.close()


def lean(book) -> float:
    """Lean of what is drawn in the chosen part's colour, degrees to the picture's right.

    The long axis of the pixels by their second moments (common practice, no source).
    """
    picture = np.asarray(Image.open(io.BytesIO(book.pixels(book.view("solid")))).convert("RGB"),
                         dtype=float)
    red, green, blue = np.moveaxis(picture, -1, 0)
    tall, wide = np.nonzero(blue - red > 60)  # paper, ink and rods are greyer
    assert len(tall) > 200
    values, vectors = np.linalg.eigh(np.cov(wide, -tall))
    x, y = vectors[:, values.argmax()]
    return math.degrees(math.atan2(x * np.sign(y), abs(y)))


@pytest.mark.parametrize("roll", [-20.0, 0.0, 15.0])
def test_the_solid_view_leans_as_far_as_the_stick(stick_page, roll):
    stick_page.control("neutral").click()
    stick_page.type("stick roll", roll)
    # from the nose the aircraft's right is to the left; a view on its way there comes to rest
    stick_page.until(lambda: lean(stick_page) == pytest.approx(-roll, abs=0.4))
    assert "Seen from the nose, 0° above; looking at stick" in stick_page.root.locator(
        ".lw-solids [role=status]").inner_text()
