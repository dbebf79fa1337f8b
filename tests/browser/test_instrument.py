"""The page as an instrument: from what is wrong to right in a few clicks, at a desk and on a bench.

The page is the side-by-side example from disk.
"""

import pytest

SHORT = "stick left/shaft | airframe/seat pan left"
REAR = "elevator rear/tube | airframe/tail frame"


@pytest.fixture(scope="module", params=["desk", "bench"])
def place(request, chromium, lab_tools, hands, side_page):
    """The page at 1440 x 900 by mouse, and at 390 x 844 by touch; and how to press on it."""
    bench = request.param == "bench"
    size = {"width": 390, "height": 844} if bench else {"width": 1440, "height": 900}
    page = chromium.new_context(viewport=size, has_touch=bench, is_mobile=bench).new_page()
    seen = lab_tools.Seen(page)
    page.set_default_timeout(20_000)
    page.goto(side_page.as_uri())
    page.wait_for_selector(".lw[data-drawn]")
    book = hands.Workbook(page)

    def press(control):
        one = book.control(control)
        one.tap() if bench else one.click()
        book.settle()

    yield book, press, request.param
    assert seen.errors == []
    assert [url for url in seen.requests if not url.startswith("file:")] == []
    page.context.close()


def verdict(book, key):
    button = book.control(f"verdict {key}")
    return button.get_attribute("class").split("lw-")[-1], button.text_content()


def test_both_faults_are_found_and_cured_in_two_presses_each(place):
    book, press, _ = place
    assert verdict(book, "missed")[0] == "bad"
    assert "2 missed" in verdict(book, "missed")[1]
    press("verdict missed")  # 1: there
    assert book.root.locator(".lw-pairname").text_content() == SHORT.replace(" | ", " to ")
    assert book.position(("pitch", "roll")) == {"pitch": 17, "roll": 21}
    press("cut airframe/seat pan left")  # 2: right
    book.until(lambda: "1 missed" in verdict(book, "missed")[1])
    assert verdict(book, "proof")[0] == "ok"
    press("verdict missed")  # 3: the other
    assert book.root.locator(".lw-pairname").text_content() == REAR.replace(" | ", " to ")
    assert book.position(("pitch", "roll"))["pitch"] == pytest.approx(-13, abs=0.06)
    press("cut airframe/tail frame")  # 4: right
    book.until(lambda: "None missed" in verdict(book, "missed")[1])
    assert verdict(book, "missed")[0] == "ok"
    here = book.root.locator(".lw-three b").first.text_content()
    assert float(here.split()[0]) >= 0.5
    book.page.reload()
    book.page.wait_for_selector(".lw[data-drawn]")


def test_a_spacer_that_nothing_proves_is_amber_with_the_command(place):
    book, press, _ = place
    if place[2] == "bench":
        book.control("spacer roll right typed").fill("0.071")
        book.page.keyboard.press("Enter")
    else:
        book.type("spacer roll right", "0.071")
    book.until(lambda: "Sampled" in verdict(book, "proof")[1])
    assert "linkage side_by_side.toml" in verdict(book, "proof")[1]
    assert {verdict(book, key)[0] for key in ("directions", "travels", "proof")} == {"open"}
    book.until(lambda: "2 missed" in verdict(book, "missed")[1])
    book.control("spacer roll right typed").fill("0.063")
    book.page.keyboard.press("Enter")
    book.until(lambda: "Proven" in verdict(book, "proof")[1])


@pytest.mark.parametrize(("key", "said"), [
    ("directions", "aileron left trailing edge down"), ("travels", "elevator: 25±1° TEU"),
    ("unjudged", "nothing is proven about it"), ("proof", "Clearance is proven as drawn")])
def test_each_part_of_the_verdict_leads_to_what_it_rests_on(place, key, said):
    book, press, _ = place
    press(f"verdict {key}")
    assert said in book.root.locator(".lw-tell").text_content()
    press("close verdict")


def test_all_fits_its_screen(place):
    book, _, where = place
    wide, tall = book.page.evaluate("() => [document.documentElement.scrollWidth, "
                                    "document.documentElement.scrollHeight]")
    assert wide == (390 if where == "bench" else 1440)
    if where == "bench":
        assert tall <= 5 * 844
        small = book.root.evaluate("""root => [...root.querySelectorAll('button, select, input')]
            .filter(one => one.offsetWidth && !one.closest('details'))
            .filter(one => one.type !== "checkbox" && (one.offsetHeight < 44
              || (one.type !== "range" && one.offsetWidth < 44))).map(one =>
                one.dataset.control)""")
        assert small == []
    else:
        screen = book.root.locator(".lw-screen").bounding_box()
        assert screen["y"] + screen["height"] <= 940


def test_no_serious_violation_and_the_verdict_is_read_aloud(place, violations):
    book, *_ = place
    assert violations(book.page, "body") == []
    aloud = book.root.locator(".lw-bar [aria-live]").text_content()
    assert aloud.startswith("proven")
    assert "2 missed" in aloud
    assert book.page.get_by_role("button", name="2 missed of").count() == 1
