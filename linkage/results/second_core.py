"""Work done on a second core, beside that of the first."""

from __future__ import annotations

import contextlib
import os
import signal
from functools import partial
from typing import TYPE_CHECKING, Any

from ..errors import LinkageError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

LOTS = 256  # in which tasks are taken: one is a byte


class SecondCore:
    """A process of its own that does some work; without fork or a second core, none.

    Parameters
    ----------
    work : callable, optional
        Gives what is wanted, which can be sent from one process to another.
    """

    def __init__(self, work: Callable[[], Any] | None):
        self.receiver, self.worker = None, None
        if work is None or not hasattr(os, "fork") or (os.cpu_count() or 1) < 2:
            return
        import multiprocessing

        context = multiprocessing.get_context("fork")
        self.receiver, sender = context.Pipe(duplex=False)
        self.worker = context.Process(target=_work, args=(sender, work), daemon=True)
        self.worker.start()
        sender.close()

    def join(self) -> Any:
        """Wait for what it made; None where there was no process or something went wrong there.

        Raises
        ------
        LinkageError
            What the work refused there.
        """
        if self.worker is None:
            return None
        made, refused = None, None
        with contextlib.suppress(EOFError):
            made, refused = self.receiver.recv()
        self.worker.join()
        self.receiver.close()
        self.worker = None
        if refused is not None:
            raise refused
        return made

    @property
    def done(self) -> bool:
        """Whether nothing has to be waited for."""
        return self.worker is None or self.receiver.poll()

    def end(self) -> None:
        """End the process without what it made."""
        if self.worker is not None:
            self.worker.terminate()
            self.worker.join()
            self.receiver.close()
            self.worker = None


class Lots:
    """Tasks of which two cores take the next that nobody has taken, until none is left.

    Parameters
    ----------
    tasks : sequence of callable
        The longest had better come first.
    """

    def __init__(self, tasks: Sequence[Callable[[], Any]]):
        self.tasks = tasks
        self.next, put = os.pipe()
        os.write(put, bytes(range(min(len(tasks), LOTS))))
        os.close(put)

    def taken(self) -> dict:
        """Work out what is left, or what the other core leaves of it: ``{place of task: made}``."""
        made = {}
        while lot := os.read(self.next, 1):
            made |= {k: self.tasks[k]() for k in range(lot[0], len(self.tasks), LOTS)}
        return made

    def __enter__(self):
        return self

    def __exit__(self, *_):
        os.close(self.next)


class Beside:
    """Answers that the second core works out; the end of a ``with`` waits for them.

    Parameters
    ----------
    results : Answers
    names : sequence of str
        Answers to work out there.
    either : sequence of str
        Answers that either core works out.
    """

    def __init__(self, results: Any, names: Sequence[str], either: Sequence[str] = ()):
        self.results = results
        self.lots = Lots([partial(getattr, results, name) for name in either])
        self.core = SecondCore(partial(self._there, names, either) if names or either else None)

    def _there(self, names, either):
        self.results.known_after(names)
        self.lots.taken()
        return self.results.known([*names, *either])

    @property
    def done(self) -> bool:
        """Whether nothing has to be waited for."""
        return self.core.done

    def __enter__(self):
        return self

    def __exit__(self, kind, error, trace):
        with self.lots:
            try:
                if not kind:
                    self.lots.taken()
                    self.results.keep(*self.core.join() or ({}, {}))
            finally:
                self.core.end()  # what went wrong there is worked out again here


def shared_out(tasks: Sequence[Callable[[], Any]]) -> list:
    """What some tasks give, worked out on two cores.

    Parameters
    ----------
    tasks : sequence of callable
        Each gives what can be sent from one process to another; the longest had better come first.

    Returns
    -------
    list
    """
    with Lots(tasks) as lots:
        core = SecondCore(lots.taken if len(tasks) > 1 else None)
        try:
            made = lots.taken() | (core.join() or {})
        except BaseException:
            core.end()
            raise
    return [made[k] if k in made else task() for k, task in enumerate(tasks)]


def _work(sender, work):
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the first core hears it, and ends this one
    with contextlib.suppress(Exception):
        try:
            sender.send((work(), None))
        except LinkageError as refused:
            sender.send((None, refused))
    sender.close()
