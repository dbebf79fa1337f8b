"""JupyterLab and Debian's Chromium for tests and benches: own settings, nothing off the machine."""

import contextlib
import json
import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path
from urllib.parse import urlsplit

import linkage

AXE = Path(__file__).with_name("node_modules") / "axe-core" / "axe.min.js"
WINDOW = {"width": 1400, "height": 1000}
FLAGS = ["--no-sandbox", "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1, "
         "EXCLUDE localhost"]
QUIET = ["--LabApp.news_url=", "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
         "--LabApp.extension_manager=readonly", "--LabApp.expose_app_in_browser=True"]
SETTINGS = {
    "apputils-extension/notification": {"checkForUpdates": False, "fetchNews": "false"},
    "docmanager-extension/plugin": {"autosave": False},
    "notebook-extension/tracker": {"windowingMode": "none"},
}
SESSION = "jupyterapp.shell.currentWidget?.sessionContext"
# A toolbar that says idle is not enough: run-all may then run no cell.
KERNEL_READY = f"""() => {{ const s = window.jupyterapp && {SESSION};
  return !!(s && s.isReady && s.session?.kernel?.connectionStatus === 'connected'
            && s.session.kernel.status === 'idle'); }}"""
FINISHED = r"""() => {
  const cells = [...document.querySelectorAll('.jp-Notebook .jp-CodeCell')];
  const failed = ['error', 'stderr'].map(kind => document.querySelector(
    `.jp-Notebook [data-mime-type="application/vnd.jupyter.${kind}"]`)).find(found => found);
  return failed ? failed.innerText : cells.length > 0 && cells.every(cell => /^\[\d+\]:?$/.test(
    cell.querySelector('.jp-InputPrompt').innerText.trim())); }"""


def chromium() -> str | None:
    """Where Debian's Chromium is, if it is."""
    return shutil.which("chromium")


class Seen:
    """What a page did that it should not have: errors, and requests by address."""

    def __init__(self, page):
        self.errors, self.requests = [], []
        page.on("console", lambda said: said.type == "error" and self.errors.append(
            f"{said.text} ({said.location.get('url')})"))
        page.on("pageerror", lambda error: self.errors.append(error.stack or str(error)))
        page.on("request", lambda request: self.requests.append(request.url))
        page.on("websocket", lambda socket: self.requests.append(socket.url))

    @property
    def off_machine(self) -> list[str]:
        """Requests that asked for another machine."""
        return [url for url in self.requests
                if urlsplit(url).scheme not in ("data", "blob", "file")
                and urlsplit(url).hostname not in ("127.0.0.1", "localhost")]


@contextlib.contextmanager
def browser():
    """A browser for which no name outside this machine resolves."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=chromium(), args=FLAGS)
        try:
            yield opened
        finally:
            opened.close()


def new_page(opened):
    """An empty page with its own profile, and what it is seen to do."""
    page = opened.new_context(viewport=WINDOW).new_page()
    page.set_default_timeout(20_000)
    return page, Seen(page)


def own_surroundings(own) -> dict:
    """Environment of a JupyterLab whose settings, written here, all lie in one folder."""
    for name, said in SETTINGS.items():
        room = own / "settings" / "@jupyterlab" / f"{name}.jupyterlab-settings"
        room.parent.mkdir(parents=True, exist_ok=True)
        room.write_text(json.dumps(said))
    places = {"JUPYTER_CONFIG_DIR": "config", "JUPYTER_DATA_DIR": "data",
              "JUPYTER_RUNTIME_DIR": "runtime", "IPYTHONDIR": "ipython",
              "JUPYTERLAB_SETTINGS_DIR": "settings", "JUPYTERLAB_WORKSPACES_DIR": "spaces"}
    here = Path(linkage.__file__).parents[1]  # the kernel imports the copy under test
    return {**os.environ, **{key: str(own / name) for key, name in places.items()},
            "PYTHONPATH": str(here), "PYDEVD_DISABLE_FILE_VALIDATION": "1"}


def end(process):
    """End a process that was started here."""
    process.terminate()
    try:
        process.wait(20)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


class Lab:
    """A running JupyterLab on a folder of notebooks, with settings of its own.

    Parameters
    ----------
    folder : path
        Root of the notebooks; the settings lie in a folder beside it.
    """

    token = "only-for-tests"

    def __init__(self, folder):
        self.folder = Path(folder)
        own = self.folder.with_name(self.folder.name + "-settings")
        surroundings = own_surroundings(own)
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.log = own / "lab.log"
        with self.log.open("w") as log:
            self.process = subprocess.Popen(self._command(), stdout=log, stderr=log,
                                            env=surroundings, cwd=self.folder)

    def _command(self):
        return [sys.executable, "-m", "jupyterlab", "--no-browser", "--ip=127.0.0.1",
                "--allow-root", f"--ServerApp.port={self.port}", "--ServerApp.port_retries=0",
                f"--IdentityProvider.token={self.token}", f"--ServerApp.root_dir={self.folder}",
                "--ServerApp.terminals_enabled=False", *QUIET]

    def wait(self, seconds=60):
        """Come back once the server answers."""
        end = time.monotonic() + seconds
        while time.monotonic() < end and self.process.poll() is None:
            with contextlib.suppress(urllib.error.URLError, ConnectionError), \
                    urllib.request.urlopen(self.url("api/status"), timeout=5):
                return self
            time.sleep(0.1)
        raise RuntimeError(f"JupyterLab did not start:\n{self.log.read_text()}")

    def url(self, path: str) -> str:
        """Address of something on the server."""
        return f"http://127.0.0.1:{self.port}/{path}?token={self.token}"

    def close(self):
        """End the server and its kernels."""
        end(self.process)


@contextlib.contextmanager
def lab(folder):
    """A JupyterLab that answers, ended afterwards."""
    started = Lab(folder)
    try:
        yield started.wait()
    finally:
        started.close()


def open_notebook(page, address):
    """Open a notebook by its address and wait until its kernel takes orders."""
    page.goto(f"{address}&reset")
    page.wait_for_function(KERNEL_READY, timeout=60_000)


def run_all(page, seconds=120):
    """Run every cell; fails at once when one shows an error."""
    page.evaluate("() => { jupyterapp.commands.execute('notebook:run-all-cells'); }")
    done = page.wait_for_function(FINISHED, timeout=1000 * seconds).json_value()
    assert done is True, done


def violations(page, within: str) -> list[str]:
    """What axe-core finds of serious or critical impact inside an element.

    Parameters
    ----------
    page : Page
    within : str
        CSS selector.
    """
    if not page.evaluate("() => !!window.axe"):
        page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate("where => axe.run(where, {resultTypes: ['violations']})", within)
    assert found["passes"] or found["violations"], f"axe-core looked at nothing in {within}"
    return [f"{each['id']} ({each['impact']}): {node['html'][:160]}"
            for each in found["violations"] if each["impact"] in ("serious", "critical")
            for node in each["nodes"]]


def run_code(page, code: str, wait=True):
    """Have the open notebook's kernel run some code, outside any cell."""
    page.evaluate("([code, wait]) => { const done = jupyterapp.shell.currentWidget.sessionContext"
                  ".session.kernel.requestExecute({code}).done; return wait ? done.then(r => "
                  "r.content.status) : null; }", [code, wait])
