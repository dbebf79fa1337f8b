"""What a person types into a box of the page from disk: taken as the shop writes it, or refused."""

from decimal import ROUND_HALF_UP, Decimal

import pytest


@pytest.fixture(scope="module")
def opened(chromium, lab_tools, hands, side_page):
    page, seen = lab_tools.new_page(chromium)
    page.goto(side_page.as_uri())
    page.wait_for_selector(".lw[data-drawn]")
    yield hands.Workbook(page)
    assert seen.errors == []
    page.context.close()


@pytest.fixture
def book(opened):
    """The page with the stick at neutral."""
    opened.control("neutral").click()
    opened.settle()
    return opened


def shown(book, control):
    """Where a slider stands, whatever its box holds."""
    return float(book.control(control).input_value())


@pytest.mark.parametrize(("text", "inches"), [
    ("1/16", 0.0625), ("3/32", 0.09375), ("0,063", 0.063), ("1.6 mm", 1.6 / 25.4), (".09", 0.09),
    ("63 thou", 0.063), ('1/8"', 0.125), ("1,6 mm", 1.6 / 25.4)])
def test_a_spacer_takes_what_the_shop_writes(book, text, inches):
    book.type("spacer roll right", text)
    assert book.beside("spacer roll right typed") == ""
    assert book.control("spacer roll right typed").input_value() == text
    written = Decimal(str(round(inches, 9))).quantize(Decimal("0.001"), ROUND_HALF_UP)
    assert book.rows("stops")["roll right"][1] == f"{written} in"
    assert shown(book, "spacer roll right") == pytest.approx(inches, abs=5.1e-4)  # its step


@pytest.mark.parametrize(("control", "text", "said"), [
    ("spacer roll right", "1,500", "can be read in two ways; write 1500 or 1.500"),
    ("spacer roll right", "-1", "out of range; from 0.000 in to 0.250 in"),
    ("spacer roll right", "500", "out of range; from 0.000 in to 0.250 in"),
    ("spacer roll right", "thick", "is no number"),
    ("spacer roll right", "5 parsnips", "is no unit of length"),
    ("stick pitch", "99", "out of range; from 13.0° forward to 17.0° aft"),
    ("stick pitch", "99°", "out of range; from 13.0° forward to 17.0° aft"),
    ("stick roll", "-13 right", "both say the way"),
    ("limit pitch greatest", "-5", "out of range; from neutral to 27.0° aft"),
    ("limit roll greatest", "205", "out of range; from neutral to 31.0° right"),
    ("limit pitch least", "12 mm", "is no unit of angle")])
def test_what_cannot_be_is_refused_beside_the_box_and_kept_in_it(book, control, text, said):
    before, drawn = shown(book, control), book.rows("surfaces")
    box = book.control(f"{control} typed")
    old = box.input_value()
    book.type(control, text)
    assert said in book.beside(f"{control} typed")
    assert box.input_value() == text
    assert box.get_attribute("aria-invalid") == "true"
    assert shown(book, control) == before
    assert book.rows("surfaces") == drawn
    box.blur()
    book.settle()
    assert box.input_value() == text
    box.press("Escape")
    assert book.beside(f"{control} typed") == ""
    assert box.input_value() == old


@pytest.mark.parametrize(("control", "text", "where"), [
    ("stick roll", "4,5°", 4.5), ("stick roll", "4-1/2 left", -4.5), ("stick pitch", "−7.5", -7.5),
    ("limit roll greatest", "20,5", 20.5), ("limit pitch least", "12.5° forward", -12.5)])
def test_an_angle_takes_what_the_shop_writes(book, control, text, where):
    book.type(control, text)
    assert book.beside(f"{control} typed") == ""
    assert book.control(f"{control} typed").input_value() == text
    assert shown(book, control) == pytest.approx(where)


def test_a_limit_that_moves_the_stick_says_so(book):
    book.type("stick roll", 18)
    book.type("limit roll greatest", 15)
    assert book.beside("limit roll greatest typed") == "the stick has moved with it, to 15.0° right"
    assert book.number("stick roll") == pytest.approx(15)
    book.type("limit roll greatest", 21)
    assert book.beside("limit roll greatest typed") == ""


def test_the_hand_on_the_slider_takes_the_box_back(book):
    book.type("spacer roll left", "1,500")
    book.press("spacer roll left", "ArrowRight")
    assert book.beside("spacer roll left typed") == ""
    assert book.number("spacer roll left") == pytest.approx(0.064)


def test_the_message_stands_by_its_box(book):
    book.type("spacer pitch aft right", "99")
    box = book.control("spacer pitch aft right typed").bounding_box()
    words = book.root.locator(".lw-beside", has_text="out of range").last.bounding_box()
    assert 0 <= words["y"] - box["y"] < 80
    book.control("spacer pitch aft right typed").press("Escape")


def test_printing_keeps_the_spacers(book):
    book.type("spacer roll right", "3/32")
    book.page.emulate_media(media="print")
    try:
        assert book.control("spacer roll right typed").is_visible()
        assert book.root.locator('[data-control^="stock roll right"]').first.is_visible()
        assert not book.control("spacer roll right").is_visible()  # the slider itself says nothing
    finally:
        book.page.emulate_media(media="screen")


@pytest.mark.parametrize(("lab", "system", "theme"), [
    (None, "dark", "dark"), (None, "light", "light"), ("true", "dark", "light"),
    ("false", "light", "dark")])
def test_the_surroundings_theme_is_followed(book, lab, system, theme):
    page = book.page
    page.emulate_media(color_scheme=system)
    page.evaluate("lab => { if (lab === null) delete document.body.dataset.jpThemeLight;"
                  " else document.body.dataset.jpThemeLight = lab; }", lab)
    book.until(lambda: book.root.get_attribute("data-theme") == theme, 5)
    paper = book.root.evaluate("root => getComputedStyle(root).backgroundColor")
    assert (sum(map(int, paper[4:-1].split(","))) < 200) == (theme == "dark")
    page.emulate_media(color_scheme="light")
    page.evaluate("() => { delete document.body.dataset.jpThemeLight; }")
