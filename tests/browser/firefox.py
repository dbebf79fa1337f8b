"""Debian's stock Firefox driven by WebDriver BiDi over a web socket: no driver program besides."""

import base64
import itertools
import json
import shutil
import socket
import subprocess
import time
from pathlib import Path

import websocket

PREFERENCES = {
    "app.normandy.enabled": False, "app.update.auto": False, "browser.region.update.enabled": False,
    "browser.safebrowsing.malware.enabled": False, "browser.safebrowsing.phishing.enabled": False,
    "browser.search.update": False, "browser.shell.checkDefaultBrowser": False,
    "browser.startup.page": 0, "datareporting.policy.dataSubmissionEnabled": False,
    "extensions.update.enabled": False, "extensions.getAddons.cache.enabled": False,
    "network.captive-portal-service.enabled": False, "network.connectivity-service.enabled": False,
    "network.proxy.type": 1, "network.proxy.socks": "127.0.0.1", "network.proxy.socks_port": 9,
    "toolkit.telemetry.enabled": False, "services.settings.server": "data:,",
    "ui.prefersReducedMotion": 1}
EVENTS = ["log.entryAdded", "network.beforeRequestSent"]


def where() -> str | None:
    """Where Debian's Firefox is, if it is."""
    return shutil.which("firefox-esr")


class Firefox:
    """A Firefox without a window, with a profile of its own, and its one page.

    Parameters
    ----------
    folder : path
        For its profile; a socks proxy that answers nothing keeps it off every network.
    preferences : dict, optional
        Besides those above, such as the theme.
    """

    def __init__(self, folder, preferences=None):
        profile = Path(folder) / "profile"
        profile.mkdir(parents=True)
        (profile / "user.js").write_text("".join(
            f"user_pref({json.dumps(name)}, {json.dumps(value)});\n"
            for name, value in {**PREFERENCES, **(preferences or {})}.items()))
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        self.log = (Path(folder) / "firefox.log").open("w")
        self.process = subprocess.Popen(
            [where(), "--headless", "--no-remote", "--remote-debugging-port", str(port),
             "--profile", str(profile), "about:blank"], stdout=self.log, stderr=self.log)
        self._numbers, self.errors, self.requests = itertools.count(1), [], []
        self._socket = self._connected(port)
        self.do("session.new", capabilities={})
        self.do("session.subscribe", events=EVENTS)
        self.page = self.do("browsingContext.getTree")["contexts"][0]["context"]

    def _connected(self, port, seconds=60):
        end = time.monotonic() + seconds
        while True:
            try:
                return websocket.create_connection(f"ws://127.0.0.1:{port}/session", timeout=60,
                                                   suppress_origin=True)
            except OSError:
                if time.monotonic() > end or self.process.poll() is not None:
                    raise
                time.sleep(0.1)

    def do(self, method, **parameters):
        """Send a command and give its result; what happens meanwhile is kept."""
        number = next(self._numbers)
        self._socket.send(json.dumps({"id": number, "method": method, "params": parameters}))
        while True:
            heard = json.loads(self._socket.recv())
            if heard.get("id") == number:
                assert heard["type"] == "success", heard
                return heard["result"]
            self._heard(heard)

    def _heard(self, event):
        told = event.get("params", {})
        if event.get("method") == "log.entryAdded" and told["level"] == "error":
            self.errors.append(told["text"])
        if event.get("method") == "network.beforeRequestSent":
            self.requests.append(told["request"]["url"])

    def open(self, address, wide, tall):
        """Open a page in a window of a size, once it is drawn."""
        self.do("browsingContext.setViewport", context=self.page,
                viewport={"width": wide, "height": tall})
        self.do("browsingContext.navigate", context=self.page, url=address, wait="complete")
        self.until("() => document.querySelector('.lw[data-drawn]') !== null")

    def run(self, function, *words):
        """What a function of the page gives."""
        got = self.do("script.callFunction", functionDeclaration=function, awaitPromise=True,
                      target={"context": self.page},
                      arguments=[{"type": "string", "value": word} for word in words])
        assert got["type"] == "success", got
        return _plain(got["result"])

    def until(self, function, *words, seconds=30):
        """Wait until a function of the page gives something true."""
        end = time.monotonic() + seconds
        while not self.run(function, *words):
            assert time.monotonic() < end, f"waited in vain: {function} {words}"
            time.sleep(0.05)

    def press(self, control, touch=False):
        """Press on a control with the mouse, or a finger, where it is."""
        x, y = self.run("""name => { const one = document.querySelector(`[data-control="${name}"]`);
            one.scrollIntoView({ block: "nearest" }); const box = one.getBoundingClientRect();
            return [box.x + box.width / 2, box.y + box.height / 2]; }""", control)
        spot = {"x": round(x), "y": round(y)}
        self.do("input.performActions", context=self.page, actions=[
            {"type": "pointer", "id": "touch" if touch else "mouse",
             "parameters": {"pointerType": "touch" if touch else "mouse"},
             "actions": [{"type": "pointerMove", **spot}, {"type": "pointerDown", "button": 0},
                         {"type": "pointerUp", "button": 0}]}])
        self.drawn()

    def key(self, *keys):
        """Press keys, one after another."""
        self.do("input.performActions", context=self.page, actions=[
            {"type": "key", "id": "keys", "actions": [
                {"type": way, "value": key} for key in keys for way in ("keyDown", "keyUp")]}])
        self.drawn()

    def drawn(self):
        """Wait for two frames."""
        self.run("() => new Promise(go => requestAnimationFrame("
                 "() => requestAnimationFrame(() => go(1))))")

    def picture(self) -> bytes:
        """The page as PNG."""
        return base64.b64decode(self.do("browsingContext.captureScreenshot",
                                        context=self.page)["data"])

    def close(self):
        """End the browser."""
        self._socket.close()
        self.process.terminate()
        self.process.wait(20)
        self.log.close()


def _plain(value):
    if value["type"] == "array":
        return [_plain(each) for each in value["value"]]
    return value.get("value")
