"""The slow answers, worked out in a process of their own: governing stops, proof, travel map.

One line of JSON in, ``{"serial", "model", "phases"}`` (model: the text of its file); one line out
per answer, ``{"serial", "what", "value"}``, the last with what = "done", or "failed" and why.
Whoever has newer input ends the process and starts another, so that nothing waits for an answer
nobody wants.
"""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
import threading
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any, TextIO

from ..errors import LinkageError
from ..model.file import format_model, parse_model
from ..motion import System
from ..results import Answers
from .cures import CHAPTERS, load_rows, relief_rows, verdict_row
from .forces import force_tables
from .page_tables import (
    direction_rows,
    governing,
    map_of,
    proof_of,
    quick_proof,
    required_rows,
    stop_row,
)
from .sized import target_rows

if TYPE_CHECKING:
    from ..model.whole import Model

PHASES = {"directions": direction_rows, "required": required_rows,
          "stops": lambda results: [stop_row(results.system, name)
                                    for name in results.system.model.stops],
          "proof": quick_proof, "governs": governing, "map": map_of, "table": proof_of,
          "verdict": verdict_row,
          "loads": load_rows,
          "targets": target_rows,
          "forces": lambda results: force_tables(results.system),
          "cures": lambda results: relief_rows(
              (results.reliefs or ([], []))[0], results.system.model.length)}


class Prover:
    """Works one model at a time; a newer one puts an end to the one before.

    Parameters
    ----------
    heard : callable
        Called from a thread with (serial, what, value) for every answer.
    """

    def __init__(self, heard: Callable[[int, str, Any], None]):
        self._heard, self._process, self._busy, self._serial = heard, None, False, 0
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

    def prove(self, serial: int, model: Model, phases: list) -> None:
        """Begin with a model; whatever was under way is given up."""
        line = json.dumps({"serial": serial, "model": format_model(model), "phases": phases})
        with self._lock:
            if self._busy:
                self._end()
            process, self._busy, self._serial = self._ready(), True, serial
            try:
                process.stdin.write(line + "\n")
                process.stdin.flush()
            except OSError:  # it has ended by itself, which its listener tells
                pass

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
                answered = json.loads(line)
                with self._lock:
                    if process is not self._process:
                        break
                    self._busy = self._busy and answered["what"] not in ("done", "failed")
                self._heard(answered["serial"], answered["what"], answered["value"])
        process.wait()
        with self._lock:
            lost, serial = process is self._process and self._busy, self._serial
            if lost:
                self._process, self._busy = None, False
        with contextlib.suppress(OSError):
            process.stdin.close()
        if lost:
            self._heard(serial, "failed", "the process that works it out has ended by itself "
                        "(out of memory?); change anything to begin again")


def answer(lines: Iterable[str], out: TextIO) -> None:
    """Answer every model of some lines.

    Parameters
    ----------
    lines : iterable of str
    out : text file
    """
    table = None  # of the model before, whose proof the next takes up
    for line in lines:
        request = json.loads(line)
        for what, value, known in _answers(request, table):
            out.write(json.dumps({"serial": request["serial"], "what": what, "value": value})
                      + "\n")
            out.flush()
            table = known


def _answers(request, table):
    try:
        results = Answers(System(parse_model(request["model"])), only=CHAPTERS,
                          after=table)
        for what in request["phases"]:
            value = PHASES[what](results)
            if what == "table" and results.clearance is not None:
                table = results.clearance
            yield what, value, table
    except LinkageError as error:
        yield "failed", error.sentence, table
    except Exception as fault:  # whatever it is, the page has to know that no answer comes
        yield "failed", f"a fault of the program ({fault!r})", table
    else:
        yield "done", None, table


if __name__ == "__main__":
    if hasattr(os, "nice"):
        os.nice(5)  # the hand on the slider comes first
    answer(sys.stdin, sys.stdout)
