"""A model file watched on disk, so that a change of it by any editor reaches the page."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from pathlib import Path

from ..errors import LinkageError
from ..model.file import read_model
from ..motion import System
from .draft import save

LOOKED_EVERY = 0.3  # seconds


class Follower:
    """Tells when a file has changed: the system it holds now, or why it holds none.

    Parameters
    ----------
    path : path
    heard : callable
        Called from a thread with (system, "") or (None, sentence).
    """

    def __init__(self, path: Path, heard: Callable[[System | None, str], None]):
        self._path, self._heard, self._end = path, heard, threading.Event()
        self._seen = _stamp(path)
        threading.Thread(target=self._look, daemon=True).start()

    def passed(self) -> None:
        """The file as it is now is known: it was written here."""
        self._seen = _stamp(self._path)

    def close(self) -> None:
        """Look no more."""
        self._end.set()

    def _look(self):
        while not self._end.wait(LOOKED_EVERY):
            stamp = _stamp(self._path)
            if stamp != self._seen:
                self._seen = stamp
                self._heard(*read_again(self._path))


def read_again(path: Path) -> tuple[System | None, str]:
    """The system of a file as it is now, or the sentence that says why there is none."""
    try:
        return System(read_model(path)), ""
    except LinkageError as error:
        return None, error.sentence
    except OSError as error:
        return None, f"{path}: can't be read ({error.strerror})"


def _stamp(path):
    try:
        seen = os.stat(path)
    except OSError:
        return None
    return seen.st_mtime_ns, seen.st_size, seen.st_ino


class OnDisk:
    """What a workbook does about its model file: reads it again, writes changes into it."""

    def _do_reread(self):
        if self._path is None:
            raise LinkageError("the model came from no file, so there is none to read again")
        system, wrong = read_again(self._path)
        if system is None:
            raise LinkageError(wrong)
        self._begin_anew(system)

    def _do_patch(self, on):
        if on and self._path is None:
            raise LinkageError("the model came from no file; save it to one first")
        self._patched = on
        return self._write(self._path, True) if on and self._draft.past else ""

    def _changed_on_disk(self, system, wrong) -> None:
        """What the file's watcher has found, in its thread."""
        if self._loop is not None and self._loop.is_running():
            self._loop.call_soon_threadsafe(self._follow, system, wrong)
        else:
            self._follow(system, wrong)

    def _follow(self, system, wrong) -> None:
        with self._lock:
            if system is not None and system.model == self._on_disk:
                self._told = ""
            elif system is None:
                self._told = f"{wrong}; on show: the last that could be read"
            elif self._draft.model != self._draft.original:
                self._told = (f"{self._path.name} has changed on disk; the page keeps its own "
                              "changes until you read the file again")
            else:
                self._begin_anew(system)
            self._tell()

    def _write(self, path, over) -> str:
        """Write the model as it stands, or ask; gives what there is to say."""
        self._ask_over = path.exists() and not over
        if self._ask_over:
            own = " (the file this came from)" if self._is_source(path) else ""
            return f"{path} is there already{own}; nothing is written until you say so"
        written = save(self.model, (self._path, self._on_disk), path, over)
        if self._is_source(path):
            self._on_disk = self.model
            if self._follower:
                self._follower.passed()
        return f"Saved as {' and '.join(str(each) for each in written)}"

    def _is_source(self, path) -> bool:
        return self._path is not None and self._path.exists() and path.samefile(self._path)
