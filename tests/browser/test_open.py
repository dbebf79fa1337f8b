"""`linkage open FILE` as a person runs it, to the workbook in the browser."""

import json
import shutil
import subprocess
import sys
import time
from urllib.parse import quote

import pytest


@pytest.fixture
def opened(chromium, lab_tools, examples, tmp_path):
    """Page of a JupyterLab that the verb has started, its address taken from what it leaves."""
    folder, own = tmp_path / "shop", tmp_path / "own"
    folder.mkdir()
    shutil.copy(examples / "tandem.toml", folder / "the shop's.toml")
    surroundings = lab_tools.own_surroundings(own)
    (own / "config").mkdir()
    (own / "config" / "jupyter_config.json").write_text(json.dumps(
        {"ServerApp": {"allow_root": True}, "LabApp": {"expose_app_in_browser": True}}))
    with (own / "lab.log").open("w") as log:
        process = subprocess.Popen(
            [sys.executable, "-m", "linkage", "open", "the shop's.toml", "--no-browser"],
            cwd=folder, env=surroundings, stdout=log, stderr=log)
    try:
        page, seen = lab_tools.new_page(chromium)
        yield page, seen, _server(process, own)
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


def test_the_workbook_of_the_file_opens(opened, lab_tools, hands):
    page, seen, server = opened
    assert server["hostname"] == "127.0.0.1"
    assert server["token"]
    name = quote("the shop's_workbook.ipynb")
    lab_tools.open_notebook(page, f"{server['url']}lab/tree/{name}?token={server['token']}")
    lab_tools.run_all(page)
    page.wait_for_selector(".lw[data-drawn]")
    assert "in tandem" in page.locator(".lw h2").inner_text()
    book = hands.Workbook(page)
    with book.changes(book.view("side")):
        book.press("stick pitch", "ArrowRight", 40)
    assert seen.errors == []
    assert seen.off_machine == []
