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
    # nothing below the bar goes on calling proven, or exact, what was so in the file
    note = book.root.locator(".lw-clearance .lw-note").first
    assert note.text_content().startswith("Not proven as it stands here: spacer roll right")
    assert book.root.locator(".lw-clearance .lw-stale").count() == 1
    assert all("sampled" in cells[2] for cells in book.lines("limits"))
    assert "in the file as it is" in book.root.locator(".lw-mapped .lw-note").text_content()
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


def test_the_tree_that_a_screen_reader_reads_has_the_verdict_and_the_position(place):
    book, press, where = place
    press("verdict missed")
    book.until(lambda: book.position(("roll",)) == {"roll": 21})
    bar = book.root.locator(".lw-bar").aria_snapshot()
    assert 'button "2 missed of 2772 clearances, no loads"' in bar
    assert 'button "Proven, as drawn over what the stops leave"' in bar
    stick = book.root.locator(".lw-stick").aria_snapshot()
    assert 'img "Travel map: stick at 17.0° aft, 21.0° right"' in stick
    book.until(lambda: "nearest stick left/shaft | airframe/seat pan left contact" in
               book.root.locator(".lw-readout").text_content())
    assert "17.0° aft, 21.0° right: aileron left" in book.root.locator(".lw-readout").text_content()
    pair = book.root.locator(".lw-pair").aria_snapshot()
    assert f'heading "{SHORT.replace(" | ", " to ")}" [level=3]' in pair
    if where == "bench":  # the big words change with the stick, and are read aloud
        assert 'status: "◆ TOUCH: stick left/shaft' in book.root.aria_snapshot()


def test_the_hands_force_runs_beside_the_gap(place, side_by_side):
    """Against the library's own table of stick forces at the ends of pitch."""
    from linkage import loads

    book, press, _ = place
    press("neutral")
    true = loads.stick_force_table(side_by_side, "pitch", [17.0])["force"].iloc[0] / 4.4482216152605
    book.control("stick pitch typed").fill("17")
    book.page.keyboard.press("Enter")
    told = book.root.locator("[data-said=force]")
    book.until(lambda: f"{abs(true):.1f} lbf {'aft' if true > 0 else 'forward'}" in
               told.text_content())


def tabbed(book, control, key="Tab", most=80):
    """Tab on until a control has the focus, and press it."""
    for _ in range(most):
        if book.page.evaluate("() => document.activeElement.dataset.control") == control:
            book.page.keyboard.press("Enter")
            return
        book.page.keyboard.press(key)
    raise AssertionError(f"{control} is not reached by {key}")


def test_by_keyboard_alone_from_the_page_opened_to_both_faults_cured(place):
    book, _, where = place
    if where == "bench":
        pytest.skip("a phone has no keyboard")
    book.page.reload()
    book.page.wait_for_selector(".lw[data-drawn]")
    tabbed(book, "verdict missed", most=8)
    tabbed(book, "cut airframe/seat pan left")
    book.until(lambda: "1 missed" in verdict(book, "missed")[1])
    tabbed(book, "miss 1", "Shift+Tab", 8)
    tabbed(book, "cut airframe/tail frame")
    book.until(lambda: "None missed" in verdict(book, "missed")[1])
