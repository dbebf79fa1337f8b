"""Time from a step at the workbook to its pixels, in JupyterLab and in the page from disk.

A step is a key press or a move of the held mouse; its time runs from the event's own stamp to the
task after the frame that drew it (a stamp in the browser, not a photon).  A step of a spacer, a
limit or the part table ends with the frame that shows the kernel's answer; its proof ends when the
page says "Proven for".  Needs what the browser tests need; see DEVELOPERS.md.
"""

import os
import shutil
import sys
import tempfile
import time
from itertools import islice
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "tests" / "browser"))

import hands  # noqa: E402
import lab  # noqa: E402

STEPS = 40
PROOFS = 8
WATCH = """() => {
  const root = document.querySelector('.lw'), state = root.querySelector('.lw-clearance .lw-note');
  window.watch = { begun: 0, answered: 0, drawn: 0, told: 0, proven: 0 };
  for (const name of ['keydown', 'pointermove']) window.addEventListener(name, event => {
    Object.assign(watch, { begun: event.timeStamp, drawn: 0, told: 0, proven: 0,
                           answered: Number(root.dataset.answered) }); }, true);
  const after = new MessageChannel();
  after.port1.onmessage = ({ data }) => { for (const what of data)
    watch[what] ||= performance.now() - watch.begun; };
  new MutationObserver(() => {
    const seen = ['drawn'];
    if (Number(root.dataset.answered) > watch.answered) {
      seen.push('told');
      if (state.textContent.startsWith('Proven')) seen.push('proven');
    }
    after.port2.postMessage(seen);  // drawn in a frame's own task: heard once it is over
  }).observe(root, { attributes: true, attributeFilter: ['data-drawn'] });
}"""


def steps(page, what, moves, pause):
    """Milliseconds of each step until `what` is seen."""
    times = []
    for move in moves:
        page.wait_for_timeout(pause)
        page.evaluate("() => Object.assign(watch, { begun: 0, drawn: 0, told: 0, proven: 0 })")
        move()
        page.wait_for_function(f"() => watch.begun && watch.{what}", timeout=60_000, polling=20)
        times.append(page.evaluate(f"() => watch.{what}"))
    return times


def show(name, times):
    print(f"| {name} | {len(times)} | {np.median(times):.0f} | {np.percentile(times, 95):.0f} |",
          flush=True)


def there_and_back(book, control, keys=("ArrowLeft", "ArrowRight"), run=10):
    """Key presses on a control, to and fro."""
    def press(key):
        return lambda: book.page.keyboard.press(key)

    book.control(control).focus()
    for k in range(STEPS):
        yield press(keys[k // run % 2])


def drags(book):
    """Moves of the held mouse round the middle of the pad."""
    pad = book.root.locator(".lw-pad-canvas")
    pad.scroll_into_view_if_needed()
    box = pad.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    book.page.mouse.move(x, y)
    book.page.mouse.down()
    for k in range(STEPS):
        turn = 2 * np.pi * k / STEPS
        yield lambda turn=turn: book.page.mouse.move(x + 60 * np.cos(turn), y + 60 * np.sin(turn))
    book.page.mouse.up()


def typed(book):
    """Numbers typed in the part table, each taken by Enter."""
    book.control("part").select_option("elevator")
    for k in range(STEPS):
        book.control("elevator/horn WL").fill(f"{17.0 + 0.01 * (k % 20):.2f}")
        yield lambda: book.page.keyboard.press("Enter")


def sticks(book):
    page = book.page
    page.evaluate(WATCH)
    show("stick dragged on the pad", steps(page, "drawn", drags(book), 40))
    show("stick slider, a key", steps(page, "drawn", there_and_back(book, "stick roll"), 40))
    book.view("side")
    moves = there_and_back(book, "stick roll")
    show("stick slider, flat views in place of 3-D", steps(page, "drawn", moves, 40))
    book.view("solid")


def answers(book):
    page = book.page
    kinds = {"spacer": lambda: there_and_back(book, "spacer roll right"),
             "limit": lambda: there_and_back(book, "limit roll greatest"),
             "part table": lambda: typed(book)}
    for name, moves in kinds.items():
        show(f"{name}, to pixels and readouts", steps(page, "told", moves(), 500))
        show(f"{name}, to proof", steps(page, "proven", islice(moves(), PROOFS), 500))


def notebook(opened, folder):
    shutil.copytree(ROOT / "notebooks", folder / "notebooks")
    shutil.copytree(ROOT / "examples", folder / "examples")
    with lab.lab(folder) as server:
        page, _ = lab.new_page(opened)
        begun = time.monotonic()
        lab.open_notebook(page, server.url("lab/tree/notebooks/5_start_here.ipynb"))
        ready = time.monotonic() - begun
        lab.run_all(page)
        page.wait_for_selector(".lw[data-drawn]")
        print(f"notebook opened: kernel ready after {ready:.1f} s, workbook drawn after "
              f"{time.monotonic() - begun:.1f} s", flush=True)
        book = hands.Workbook(page)
        book.until(lambda: page.locator(".lw-clearance .lw-note").first.inner_text()
                   .startswith("Proven"), 120)
        print("\n| in JupyterLab | steps | median ms | 95th percentile ms |\n|---|---|---|---|")
        sticks(book)
        answers(book)


def from_disk(opened, folder):
    from linkage.__main__ import main

    main(["view", str(ROOT / "examples" / "side_by_side.toml"), "--out", str(folder / "page.html")])
    page, _ = lab.new_page(opened)
    begun = time.monotonic()
    page.goto((folder / "page.html").as_uri())
    page.wait_for_selector(".lw[data-drawn]")
    print(f"page from disk: drawn after {time.monotonic() - begun:.1f} s")
    print("\n| page from disk | steps | median ms | 95th percentile ms |\n|---|---|---|---|")
    sticks(hands.Workbook(page))


def load():
    return f"load over 1, 5 and 15 minutes {os.getloadavg()}, {os.cpu_count()} cores"


if __name__ == "__main__":
    print(f"at the start: {load()}")
    with tempfile.TemporaryDirectory() as place, lab.browser() as opened:
        (Path(place) / "page").mkdir()
        notebook(opened, Path(place) / "shop")
        from_disk(opened, Path(place) / "page")
    print(f"at the end: {load()}")
