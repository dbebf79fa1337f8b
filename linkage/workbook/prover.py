"""The slow answers, worked out in a process of their own: governing stops, proof, travel map.

One line of JSON in, ``{"serial", "model", "phases"}`` (model: the text of its file); one line out
per answer, ``{"serial", "what", "value"}``, the last with what = "done".  Whoever has newer input
ends the process and starts another, so that nothing waits for an answer nobody wants.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading

from ..model.file import format_model, parse_model
from ..motion import System
from .told import governing, map_of, proof_of, quick_proof, required_rows, stop_row

PHASES = {"required": required_rows,
          "stops": lambda system: [stop_row(system, name) for name in system.model.stops],
          "proof": lambda system: quick_proof(system) if system.model.solids else None,
          "governs": governing, "map": map_of,
          "table": lambda system: proof_of(system) if system.model.solids else None,
          "done": lambda system: None}


class Prover:
    """Works one model at a time; a newer one puts an end to the one before.

    Parameters
    ----------
    heard : callable
        Called from a thread with (serial, what, value) for every answer.
    """

    def __init__(self, heard):
        self._heard, self._process, self._busy = heard, None, False
        self._lock = threading.Lock()

    def start(self) -> None:
        """Have a process ready, so that the first answer needn't wait for it."""
        with self._lock:
            self._ready()

    def _ready(self):
        if self._process is None or self._process.poll() is not None:
            self._process = subprocess.Popen(
                [sys.executable, "-m", __name__], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL, text=True, encoding="utf-8",
                env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))})
            threading.Thread(target=self._listen, args=[self._process], daemon=True).start()
        return self._process

    def cancel(self) -> None:
        """Give up what is being worked out, if anything; the next process gets ready meanwhile."""
        with self._lock:
            if self._busy:
                self._end()
                threading.Thread(target=self.start, daemon=True).start()

    def prove(self, serial: int, model, phases) -> None:
        """Begin with a model; whatever was under way is given up."""
        line = json.dumps({"serial": serial, "model": format_model(model), "phases": phases})
        with self._lock:
            if self._busy:
                self._end()
            process, self._busy = self._ready(), True
            try:
                process.stdin.write(line + "\n")
                process.stdin.flush()
            except OSError:  # it has ended by itself: the page keeps saying that it waits
                self._end()

    def close(self) -> None:
        """End the process, and wait until it has."""
        with self._lock:
            process = self._process
            self._end()
        if process is not None:
            process.wait()

    def _end(self):
        process, self._process, self._busy = self._process, None, False
        if process is not None:
            process.kill()
            process.stdin.close()

    def _listen(self, process):
        with process.stdout:
            for line in process.stdout:
                said = json.loads(line)
                with self._lock:
                    if process is not self._process:
                        break
                    self._busy = self._busy and said["what"] != "done"
                self._heard(said["serial"], said["what"], said["value"])
        process.wait()


def answer(lines, out) -> None:
    """Answer every model of some lines.

    Parameters
    ----------
    lines : iterable of str
    out : text file
    """
    for line in lines:
        asked = json.loads(line)
        system = System(parse_model(asked["model"]))
        for what in (*asked["phases"], "done"):
            value = {"serial": asked["serial"], "what": what, "value": PHASES[what](system)}
            out.write(json.dumps(value) + "\n")
            out.flush()


if __name__ == "__main__":
    if hasattr(os, "nice"):
        os.nice(5)  # the hand on the slider comes first
    answer(sys.stdin, sys.stdout)
