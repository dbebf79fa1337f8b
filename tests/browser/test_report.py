"""Every example's report in a real browser: read, printed, and looked at by axe-core."""

import io
from pathlib import Path

import numpy as np
import pymupdf
import pytest
from PIL import Image
from systems.reports import FIXED, made_report

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.toml"))
PAPERS = {"A4": (595.3, 841.9), "Letter": (612.0, 792.0)}


@pytest.fixture(scope="module", params=EXAMPLES, ids=lambda path: path.stem)
def opened(request, chromium, lab_tools, tmp_path_factory):
    """The report from disk; daily without two that say less than another of their kind."""
    if request.param.stem in (FIXED.stem, "tandem") and not request.config.getoption("--full"):
        pytest.skip("as long as the other's; with --full")
    made = made_report(tmp_path_factory, request.param)
    assert made.code in (0, 1)
    out = made.report
    page, seen = lab_tools.new_page(chromium)
    page.goto((out / "report.html").as_uri())
    yield page, seen, out
    page.context.close()


def test_every_picture_shows_and_nothing_is_fetched(opened):
    page, seen, _ = opened
    sizes = page.eval_on_selector_all("img", "all => all.map(i => [i.complete, i.naturalWidth])")
    assert sizes
    assert all(done and wide > 100 for done, wide in sizes)
    assert seen.errors == []
    assert [url for url in seen.requests if not url.startswith(("file:", "data:"))] == []


def test_the_page_is_drawn(opened):
    page, _, _ = opened
    drawn = np.asarray(Image.open(io.BytesIO(page.screenshot(full_page=True))).convert("L"))
    assert drawn.shape[0] > 1500
    assert (drawn < 100).mean() > 0.005  # ink


def test_no_serious_violation(opened, violations):
    assert violations(opened[0], "body") == []


@pytest.mark.parametrize("paper", PAPERS)
def test_printed_from_the_browser_nothing_is_cut_off(opened, paper):
    page, _, _ = opened
    printed = pymupdf.open(stream=page.pdf(format=paper))
    told = "".join(page.get_text() for page in printed)
    for caption in page.eval_on_selector_all("caption", "all => all.map(c => c.firstChild.data)"):
        assert "".join(caption.split()) in "".join(told.split())
    wide, _ = PAPERS[paper]
    for sheet in printed:
        assert sheet.rect.width == pytest.approx(wide, abs=1.0)
        for x0, _, x1, _, *_ in sheet.get_text("words"):
            assert x0 >= 0
            assert x1 <= wide


def test_a_table_over_pages_repeats_its_headings(opened):
    page, _, _ = opened
    printed = pymupdf.open(stream=page.pdf(format="A4"))
    rows = page.eval_on_selector_all("table", "all => all.map(t => [t.caption.firstChild.data, "
                                              "t.tBodies[0].rows.length])")
    assert rows
    for name, count in rows:
        if name == "Hardpoints" and count > 60:
            heads = sum("FS" in sheet.get_text() and "WL" in sheet.get_text()
                        for sheet in printed)
            assert heads > 1
