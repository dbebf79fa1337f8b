"""Answers worked out on a second core, beside those of the first."""

from __future__ import annotations

import contextlib
import os
import signal
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable


class SecondCore:
    """A process of its own that works out some answers; without fork or a second core, none.

    Parameters
    ----------
    results : Results
    names : sequence of str
        Answers to work out there.
    """

    def __init__(self, results: Any, names: Iterable[str]):
        self.results, self.receiver, self.worker = results, None, None
        if not names or not hasattr(os, "fork") or (os.cpu_count() or 1) < 2:
            return
        import multiprocessing

        context = multiprocessing.get_context("fork")
        self.receiver, sender = context.Pipe(duplex=False)
        self.worker = context.Process(target=_work, args=(sender, results, names), daemon=True)
        self.worker.start()
        sender.close()

    def join(self) -> None:
        """Wait for the answers and keep them; what went wrong there is worked out again here."""
        if self.worker is None:
            return
        with contextlib.suppress(EOFError):
            self.results.keep(*self.receiver.recv())
        self.worker.join()
        self.receiver.close()
        self.worker = None

    def end(self) -> None:
        """End the process without its answers."""
        if self.worker is not None:
            self.worker.terminate()
            self.worker.join()
            self.receiver.close()
            self.worker = None


def _work(sender, results, names):
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the first core hears it, and ends this one
    with contextlib.suppress(Exception):
        sender.send(results.known_after(names))
    sender.close()
