"""A workbook whose kernel is busy, restarted, killed or shut down, in JupyterLab in a browser."""

import os
import shutil
import signal

import pytest

NOTEBOOK = "notebooks/5_start_here.ipynb"


@pytest.fixture(scope="module")
def server(chromium, lab_tools, notebooks, examples, tmp_path_factory):
    folder = tmp_path_factory.mktemp("lab") / "shop"
    shutil.copytree(notebooks, folder / "notebooks")
    shutil.copytree(examples, folder / "examples")
    with lab_tools.lab(folder) as running:
        yield running


@pytest.fixture(scope="module")
def opened(chromium, lab_tools, hands, server):
    """One page for all; the tests below end its kernel last."""
    page, seen = lab_tools.new_page(chromium)
    lab_tools.open_notebook(page, server.url(f"lab/tree/{NOTEBOOK}"))
    yield page, seen
    page.context.close()


def run_all(opened, lab_tools, hands):
    page, _ = opened
    page.wait_for_function(lab_tools.KERNEL_READY, timeout=60_000)
    page.evaluate("() => jupyterapp.commands.execute('notebook:clear-all-cell-outputs')")
    lab_tools.run_all(page)
    page.wait_for_selector(".lw[data-drawn]")
    book = hands.Workbook(page)
    book.until(lambda: clearance(book).startswith("Proven for"), 90)
    book.until(lambda: book.root.get_attribute("data-link") == "ready")
    return book


@pytest.fixture
def book(opened, lab_tools, hands):
    """The workbook, newly made where a test before has ended its kernel."""
    page, _ = opened
    if page.locator(".lw[data-link=ready]").count():
        return hands.Workbook(page)
    return run_all(opened, lab_tools, hands)


def clearance(book):
    return book.root.locator(".lw-clearance .lw-note").first.inner_text()


def band(book):
    return book.root.locator(".lw-band").inner_text()


def stale(book, section):
    return book.root.locator(f".lw-{section} .lw-stale").count()


def exact(book):
    return all(cells[-1] == "exact" for cells in book.rows("surfaces").values())


def number(book, lab_tools, server, expression):
    """A whole number that the kernel knows."""
    place = server.folder / "number.txt"
    lab_tools.run_code(book.page, f"open({str(place)!r}, 'w').write(str({expression}))")
    return int(place.read_text())


@pytest.mark.parametrize(("text", "fs"), [("211,5", "211.500"), ("211-1/2", "211.500"),
                                          ("5373,37 mm", "211.550")])
def test_the_part_table_takes_what_the_shop_writes(book, text, fs):
    book.control("part").select_option("elevator")
    box = book.control("elevator/horn FS")
    box.fill(text)
    box.press("Enter")
    book.until(lambda: any("elevator/horn" in line for line in changes(book)))
    assert book.beside("elevator/horn FS") == ""
    assert box.input_value() == text
    line = next(line for line in changes(book) if "elevator/horn" in line)
    assert line == f"elevator/horn: FS +{float(fs) - 211.4:.3f} in"
    book.control("undo").click()
    book.until(lambda: changes(book) == ["nothing"])
    book.until(lambda: box.input_value() == "211.400")


def changes(book):
    return book.root.locator(".lw-changes li").all_inner_texts()


@pytest.mark.parametrize(("text", "said"), [
    ("1,500", "can be read in two ways"), ("2000", "out of range; from -1181.102 in to"),
    ("banana", "is no number"), ("5 parsnips", "is no unit of length")])
def test_the_part_table_refuses_beside_the_box(book, text, said):
    book.control("part").select_option("elevator")
    box = book.control("elevator/horn FS")
    box.fill(text)
    box.press("Enter")
    book.until(lambda: said in book.beside("elevator/horn FS"))
    assert box.input_value() == text
    assert changes(book) == ["nothing"]
    box.press("Escape")
    assert box.input_value() == "211.400"
    assert book.beside("elevator/horn FS") == ""


def test_what_is_said_of_saving_stands_by_the_save_box(book, server):
    save = book.root.locator(".lw-save .lw-beside")
    for name, said in (("../../elsewhere.toml", "lies outside"), ("mine.txt", ".toml"),
                       ("mine.toml", "Saved as")):
        book.control("save as").fill(name)
        book.control("save").click()
        book.until(lambda said=said: said in save.inner_text())
    assert (server.folder / "notebooks" / "mine.toml").exists()
    assert not (server.folder.parent / "elsewhere.toml").exists()
    book.control("save").click()
    book.until(lambda: "is there already" in save.inner_text())
    box = book.control("save").bounding_box()
    assert abs(save.bounding_box()["y"] - box["y"]) < 100


def test_the_last_proof_stays_dimmed_with_its_age_until_the_next_comes(book, lab_tools, server):
    rows = book.root.locator(".lw-clearance table").nth(1).locator("tbody tr").count
    book.until(lambda: number(book, lab_tools, server, "len(book._busy)") == 0, 120)
    kept = rows()
    assert kept > 4
    assert stale(book, "clearance") == 0
    worker = number(book, lab_tools, server, "book._prover._process.pid")
    os.kill(worker, signal.SIGSTOP)  # it works no more until it is let go on
    try:
        book.type("spacer roll right", "0.07")
        book.until(lambda: "being worked out… 2 s so far" in clearance(book), 10)
        said = clearance(book)
        assert "The one on show is" in said
        assert " s old" in said
        assert "On show, dimmed: the one before" in said
        assert rows() == kept
        assert stale(book, "clearance") == 1
        assert "before the last change" in book.root.locator(".lw-mapped").inner_text()
    finally:
        os.kill(worker, signal.SIGCONT)
    book.until(lambda: clearance(book).startswith("Proven for"), 90)
    book.until(lambda: stale(book, "clearance") == 0)


def test_a_busy_kernel_is_waited_for_aloud(book, lab_tools, opened, tmp_path):
    book.control("neutral").click()
    book.until(lambda: exact(book))
    # a page is answered while a cell runs, but not while it runs in C and keeps Python's lock
    begun = tmp_path / "begun"
    # that it is busy it can tell only before that
    code = (f"import ctypes, pathlib, time; time.sleep(2); pathlib.Path({str(begun)!r}).touch(); "
            f"ctypes.PyDLL(None).sleep(30)")
    lab_tools.run_code(book.page, code, wait=False)
    book.until(begun.exists, 30)
    book.type("stick pitch", 5)
    wait = book.root.locator(".lw-surfaces .lw-wait")
    book.until(lambda: wait.inner_text().startswith("Being worked out for"), 15)
    assert "from before" in wait.inner_text()
    assert band(book) == ""
    book.until(lambda: "The kernel is busy with something else: no answer for" in band(book), 25)
    assert "Numbers here are from before" in band(book)
    assert stale(book, "clearance") == 2
    assert book.rows("surfaces")["elevator"][-1] == "sampled"
    book.until(lambda: band(book) == "" and exact(book), 60)
    assert stale(book, "clearance") == 0


def ended(book, said):
    """What every page says whose kernel has gone."""
    book.page.add_locator_handler(  # the notebook's own word of it lies over the page
        book.page.locator(".jp-Dialog"), lambda dialog: dialog.locator(".jp-mod-accept").click())
    book.until(lambda: said in band(book), 30)
    assert "Every number here is from before" in band(book)
    assert "Run the cell again" in band(book)
    assert stale(book, "clearance") == 2
    assert stale(book, "stops") == stale(book, "limits") == 1
    assert "before the kernel ended" in clearance(book)
    for section in ("limits", "stops", "surfaces", "parts", "save"):
        assert "run the cell again" in book.root.locator(f".lw-{section} .lw-wait").inner_text()
    assert book.rows("stops")["roll right"][0].endswith(" before")
    for control in ("spacer roll right", "spacer roll right typed", "limit pitch least typed",
                    "undo", "save", "save as", "elevator/horn FS"):
        assert book.control(control).is_disabled()
    with book.changes(book.view("side")):  # the drawing may still be looked at
        book.press("stick pitch", "ArrowLeft", 30)
    assert {cells[-1] for cells in book.rows("surfaces").values()} == {"sampled"}
    assert stale(book, "surfaces") == 1


def typed_before(book):
    """Something half done, that has to be there afterwards."""
    book.control("part").select_option("elevator")
    book.type("spacer roll right", "1,500")


def test_a_killed_kernel_is_told_and_nothing_pretends(book, lab_tools, server):
    typed_before(book)
    os.kill(number(book, lab_tools, server, "__import__('os').getpid()"), signal.SIGKILL)
    ended(book, "The kernel has been restarted")
    assert book.control("spacer roll right typed").input_value() == "1,500"
    book.page.wait_for_timeout(2000)  # the new kernel is idle by now, and knows nothing
    assert "The kernel has been restarted" in band(book)


def test_a_restarted_kernel_is_told(book):
    typed_before(book)
    book.page.evaluate("() => jupyterapp.shell.currentWidget.sessionContext.session.kernel"
                       ".restart()")
    ended(book, "The kernel has been restarted")


def test_a_kernel_shut_down_is_told(book):
    typed_before(book)
    book.page.evaluate("() => jupyterapp.shell.currentWidget.sessionContext.shutdown()")
    ended(book, "The kernel has")
