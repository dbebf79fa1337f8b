"""Time from a step at the workbook to its pixels, in JupyterLab and in the page from disk.

A step is a key press or a move of the held mouse; its time runs from the event's own stamp to the
task after the frame that drew it (a stamp in the browser, not a photon).  A step of a spacer, a
limit or the part table ends with the frame that shows the kernel's answer; its proof ends when the
page says "Proven for".  Beside them a page that draws one line on a canvas, for what the machine
gives at its best in the same run.  With --disk without JupyterLab.  Needs what the browser tests
need; see DEVELOPERS.md.
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


LOADED = """() => new Promise(done => {
  const root = document.querySelector('.lw'), seen = {};
  const look = () => {
    for (const what of ["drawn", "mapped"])
      if (root && root.dataset[what]) seen[what] ||= performance.now();
    if (seen.drawn && seen.mapped) done([seen.drawn, seen.mapped]);
    else requestAnimationFrame(look);
  };
  look(); })"""
PLAIN = """<main class="lw" tabindex="0"><p class="lw-clearance"><b class="lw-note"></b></p><canvas
width="800" height="500"></canvas></main><script>
const root = document.querySelector('.lw'), pen = document.querySelector('canvas').getContext('2d');
let n = 0;
addEventListener('keydown', () => requestAnimationFrame(() => {
  pen.fillRect(n % 800, 0, 1, 500); root.dataset.drawn = String(n += 1); }));
root.focus();
</script>"""


def drawn_from(opened, path):
    """Milliseconds from the beginning of the page to its first picture, and to its map."""
    page, _ = lab.new_page(opened)
    page.add_init_script(f"addEventListener('DOMContentLoaded', () => {{ window.loaded = "
                         f"({LOADED})(); }})")
    page.goto(path.as_uri())
    page.wait_for_selector(".lw[data-drawn]")
    times = page.evaluate("() => window.loaded")
    return page, times


def plain_frame(opened):
    """The same step in a page that draws one line: what this machine gives at its best now."""
    page, _ = lab.new_page(opened)
    page.set_content(PLAIN)
    page.evaluate(WATCH)
    moves = [lambda: page.keyboard.press("ArrowLeft")] * STEPS
    show("a page that draws one line, a key", steps(page, "drawn", moves, 40))
    page.context.close()


def written(path, folder):
    """The page of a model file, without the proofs of other stock, and with them."""
    from linkage.__main__ import main

    pages = {}
    for name, words in (("quick", ["--quick"]), ("whole", [])):
        pages[name] = folder / f"{path.stem} {name}.html"
        main(["view", str(path), "--out", str(pages[name]), *words])
        print(f"{pages[name].name}: {pages[name].stat().st_size / 1e6:.2f} MB")
    return pages["whole"]


def from_disk(opened, folder):
    path = written(ROOT / "examples" / "side_by_side.toml", folder)
    loads = []
    for _ in range(5):
        page, times = drawn_from(opened, path)
        loads.append(times)
        page.context.close()
    for name, each in zip(("drawn", "map coloured"), np.array(loads).T, strict=True):
        print(f"page from disk: {name} after {np.median(each):.0f} ms (median of {len(each)}, "
              f"{each.min():.0f} to {each.max():.0f})")
    page, _ = drawn_from(opened, path)
    print("\n| page from disk | steps | median ms | 95th percentile ms |\n|---|---|---|---|")
    plain_frame(opened)
    page.bring_to_front()
    sticks(hands.Workbook(page))
    page.context.close()


def meshed(opened, folder):
    """The same example with an invented shell of 200,000 triangles in a file beside it."""
    import meshes

    meshes.system_with(folder, 200_000)
    from linkage.__main__ import main

    out = folder / "meshed.html"
    main(["view", str(folder / "with200000.toml"), "--out", str(out), "--quick"])
    page, times = drawn_from(opened, out)
    print(f"\nwith a mesh of 200,000 triangles: {out.stat().st_size / 1e6:.2f} MB, drawn after "
          f"{times[0]:.0f} ms, map after {times[1]:.0f} ms")
    print("\n| page with the mesh | steps | median ms | 95th percentile ms |\n|---|---|---|---|")
    sticks(hands.Workbook(page))
    page.context.close()


def load():
    return f"load over 1, 5 and 15 minutes {os.getloadavg()}, {os.cpu_count()} cores"


if __name__ == "__main__":
    print(f"at the start: {load()}")
    with tempfile.TemporaryDirectory() as place, lab.browser() as opened:
        (Path(place) / "page").mkdir()
        from_disk(opened, Path(place) / "page")
        meshed(opened, Path(place) / "page")
        if "--disk" not in sys.argv:
            notebook(opened, Path(place) / "shop")
    print(f"at the end: {load()}")
