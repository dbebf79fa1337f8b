"""`linkage open FILE` as a person runs it, to the workbook in the browser."""

import json
import math
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from urllib.parse import quote

import pytest

LEVER = """
title = "A flap lever that slides (invented)"
length = "in"
[input.flaps]
travel = ["-1 in", "2 in"]
[input.pitch]
travel = [-10, 12]
[body.lever]
pivot = [0, 0, 0]
slide = [1, 0, 0]
input = "flaps"
points = { rod = [0, 0, 2] }
solid.lug = { kind = "box", corner = [0, -0.5, -0.5], opposite = [0.5, 0.5, 0] }
[body.flap]
pivot = [20, 0, 0]
axis = "lateral"
points = { horn = [20, 0, 5] }
[rod.drive]
ends = ["lever/rod", "flap/horn"]
[surface.flap]
body = "flap"
[body.stick]
pivot = [0, 10, 0]
axis = "lateral"
input = "pitch"
points = { grip = [0, 10, 16] }
[airframe.solid]
block = { kind = "box", corner = [2.7, -0.5, -0.5], opposite = [3, 0.5, 0] }
[stop.down]
input = "flaps"
side = "greatest"
between = ["lever/lug", "airframe/block"]
spacer = { on = "airframe/block", thickness = 0.0625, stock = [0.0625, 0.125] }
"""


def hears_ctrl_c():
    """As in a terminal's own command; one in the background is deaf to it."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


@pytest.fixture(scope="module")
def opened(chromium, lab_tools, tmp_path_factory):
    """Page of a JupyterLab that the verb has started, its address taken from what it leaves."""
    folder, own = tmp_path_factory.mktemp("open") / "shop", tmp_path_factory.mktemp("own")
    folder.mkdir()
    (folder / "the shop's.toml").write_text(LEVER)
    surroundings = lab_tools.own_surroundings(own)
    (own / "config").mkdir()
    (own / "config" / "jupyter_config.json").write_text(json.dumps(
        {"ServerApp": {"allow_root": True}, "LabApp": {"expose_app_in_browser": True}}))
    with (own / "lab.log").open("w") as log:
        process = subprocess.Popen(
            [sys.executable, "-m", "linkage", "open", "the shop's.toml", "--no-browser"],
            cwd=folder, env=surroundings, stdout=log, stderr=log, preexec_fn=hears_ctrl_c)
    try:
        page, seen = lab_tools.new_page(chromium)
        yield page, seen, _server(process, own), process, own / "lab.log"
        page.context.close()
    finally:
        lab_tools.end(process)


def _server(process, own):
    end = time.monotonic() + 60
    while time.monotonic() < end and process.poll() is None:
        for left in (own / "runtime").glob("jpserver-*.json"):
            return json.loads(left.read_text())
        time.sleep(0.1)
    raise AssertionError((own / "lab.log").read_text())


@pytest.fixture(scope="module")
def book(opened, lab_tools, hands):
    """The live workbook, its cells run as a person runs them."""
    page, _, server, *_ = opened
    assert server["hostname"] == "127.0.0.1"
    assert server["token"]
    name = quote("the shop's_workbook.ipynb")
    lab_tools.open_notebook(page, f"{server['url']}lab/tree/{name}?token={server['token']}")
    lab_tools.run_all(page)
    page.wait_for_selector(".lw[data-drawn]")
    return hands.Workbook(page)


def test_the_workbook_of_the_file_opens(book):
    assert "A flap lever that slides" in book.page.locator(".lw h2").inner_text()
    with book.changes(book.view("side")):
        book.press("stick pitch", "ArrowRight", 40)


@pytest.mark.parametrize(("control", "text", "said"), [
    ("stick pitch", "4,5°", "4.5° aft"), ("stick pitch", "−7-1/2", "7.5° forward"),
    ("stick pitch", "0.1 rad forward", "5.7° forward"),
    ("stick flaps", "1/2", "0.500 in lever aft"), ("stick flaps", "−,25", "0.250 in lever forward"),
    ("stick flaps", "12,7 mm", "0.500 in lever aft"),
    ("limit pitch least", "9,5° forward", "9.5° forward"),
    ("limit flaps greatest", "1-3/4", "1.750 in lever aft"),
    ("limit flaps greatest", "44,45mm", "1.750 in lever aft"),
    ("spacer down", "1/16", "2.138 in lever aft (exact)"),
    ("spacer down", "3,2 mm", "2.074 in lever aft (exact)"),
    ("spacer down", "0,063", "2.137 in lever aft (exact)")])
def test_a_live_box_takes_what_the_shop_writes_in_the_files_unit(book, control, text, said):
    """The stop meets 2.2 in aft less its spacer; 1 in = 25.4 mm, by definition (SP 811)."""
    book.type(control, text)
    out = book.control(control).locator("xpath=../output")
    book.until(lambda: out.inner_text() == said)
    assert book.beside(f"{control} typed") == ""
    assert book.control(f"{control} typed").input_value() == text


def test_the_kernel_has_what_was_typed(book):
    wanted = ["flaps limit, greatest: 2.000 in lever aft to 1.750 in lever aft",
              "pitch limit, least: 10.00° forward to 9.50° forward",
              "down spacer: 0.0625 in to 0.0630 in"]
    book.until(lambda: book.root.locator(".lw-changes li").all_inner_texts() == wanted)


@pytest.mark.parametrize(("control", "text", "said"), [
    ("stick flaps", "1,500", "can be read in two ways; write 1500 or 1.500"),
    ("stick flaps", "60 mm", "out of range; from 1.000 in lever forward to 1.750 in lever aft"),
    ("stick pitch", "99°", "out of range; from 9.5° forward to 12.0° aft"),
    ("stick pitch", "3 mm", "is no unit of angle"),
    ("limit flaps greatest", "-5", "out of range; from neutral to 2.394 in lever aft"),
    ("limit flaps least", "3°", "is no unit of length"),
    ("spacer down", "1,500", "can be read in two ways; write 1500 or 1.500"),
    ("spacer down", "-1", "out of range; from 0.000 in to 0.250 in")])
def test_a_live_box_refuses_beside_it_and_keeps_the_text(book, control, text, said):
    changes = book.root.locator(".lw-changes li").all_inner_texts()
    box = book.control(f"{control} typed")
    old = box.input_value()
    book.type(control, text)
    assert said in book.beside(f"{control} typed")
    assert box.get_attribute("aria-invalid") == "true"
    assert box.input_value() == text
    assert book.root.locator(".lw-changes li").all_inner_texts() == changes
    box.press("Escape")
    assert (book.beside(f"{control} typed"), box.input_value()) == ("", old)


def test_tables_and_curves_of_a_slide_are_in_inches(book):
    heads = book.root.locator(".lw-surfaces th").all_inner_texts()
    assert heads[2:4] == ["per flaps °/in", "per pitch °/°"]
    book.type("stick flaps", "0")
    book.until(lambda: book.rows("surfaces")["flap"][-1] == "exact")
    # the rod lies level 5 in below the hinge line: 1 in of lever turns it by 1/5 rad
    assert float(book.rows("surfaces")["flap"][1]) == pytest.approx(math.degrees(1 / 5), abs=6e-4)


def test_no_error_and_no_request_off_the_machine(book, opened):
    _, seen, *_ = opened
    assert seen.errors == []
    assert seen.off_machine == []


@pytest.mark.skipif(os.name != "posix", reason="no such signal")
def test_ctrl_c_ends_it_all_with_one_line(book, opened):
    *_, process, log = opened
    before = log.read_text()
    children = [child.split()[0] for child in subprocess.run(
        ["ps", "-o", "pid=", "--ppid", str(process.pid)], capture_output=True, text=True,
        check=True).stdout.splitlines()]
    process.send_signal(signal.SIGINT)
    assert process.wait(60) == 130
    added = log.read_text().removeprefix(before).splitlines()
    assert added[-1].startswith("linkage: interrupted")
    assert len(added) == 1, added
    assert children
    assert not any(Path(f"/proc/{child}").exists() for child in children)
