"""The page from disk in Debian's stock Firefox, by mouse, touch and keys; with --full only.

Needs Debian's package firefox-esr and skips without it.
"""

import importlib.util
from pathlib import Path

import pytest

spec = importlib.util.spec_from_file_location("firefox", Path(__file__).with_name("firefox.py"))
firefox = importlib.util.module_from_spec(spec)
spec.loader.exec_module(firefox)

SHORT = "stick left/shaft to airframe/seat pan left"
REAR = "elevator rear/tube to airframe/tail frame"
TEXT = "where => document.querySelector(where).textContent"


@pytest.fixture(scope="module")
def opened(full, tmp_path_factory):
    if not full:
        pytest.skip("with --full only")
    if firefox.where() is None:
        pytest.skip("firefox-esr is missing; see DEVELOPERS.md")
    browser = firefox.Firefox(tmp_path_factory.mktemp("firefox"))
    yield browser
    browser.close()


@pytest.fixture(params=["desk", "middle", "bench"])
def page(request, opened, side_page):
    """The page newly opened, and how it is pressed on."""
    wide, tall = {"desk": (1440, 900), "middle": (1024, 768), "bench": (390, 844)}[request.param]
    opened.open(side_page.as_uri(), wide, tall)
    yield opened, request.param == "bench"
    assert opened.errors == []
    assert [url for url in opened.requests if not url.startswith(("file:", "data:"))] == []


def test_both_faults_are_found_and_cured_in_two_presses_each(page):
    browser, touch = page
    for name, cut, left in ((SHORT, "cut airframe/seat pan left", "1 missed"),
                            (REAR, "cut airframe/tail frame", "None missed")):
        browser.press("verdict missed", touch)
        assert browser.run(TEXT, ".lw-pairname") == name
        browser.press(cut, touch)
        browser.until("left => document.querySelector('[data-control=\"verdict missed\"]')"
                      ".textContent.includes(left)", left)
    assert "lw-ok" in browser.run("() => document.querySelector("
                                  "'[data-control=\"verdict missed\"]').className")


def test_each_part_of_the_verdict_leads_to_what_it_rests_on(page):
    browser, touch = page
    for key, words in (("directions", "aileron left trailing edge down"),
                       ("travels", "elevator: 25±1° TEU"),
                       ("unjudged", "nothing is proven about it"),
                       ("proof", "Clearance is proven as drawn")):
        browser.press(f"verdict {key}", touch)
        assert words in browser.run(TEXT, ".lw-tell")
        browser.press("close verdict", touch)


def test_the_stick_moves_by_keys_and_the_drawing_with_it(page):
    browser, _ = page
    before = browser.picture()
    browser.run("() => { document.querySelector('[data-control=\"pad\"]').focus(); }")
    browser.key(*["\ue014"] * 8)  # arrow right
    browser.until("() => document.querySelector('[data-control=\"stick roll typed\"]').value"
                  ".startsWith('4')")
    assert browser.picture() != before


def test_nothing_lies_beyond_its_right_edge(page):
    browser, _ = page
    wide, window = browser.run("() => [document.documentElement.scrollWidth, innerWidth]")
    assert wide <= window
