"""Work that goes on beside the main work, on a core of its own where the system can fork."""

from __future__ import annotations

import contextlib
import os


def beside(task, *args):
    """Begin a task in a process of its own; without fork or a second core it runs when asked.

    Parameters
    ----------
    task : callable
        What goes wrong with it there makes it run here again, so that its error is seen.
    *args

    Returns
    -------
    callable
        Waits for the result and returns it.
    """
    if not hasattr(os, "fork") or (os.cpu_count() or 1) < 2:
        return lambda: task(*args)
    import multiprocessing

    context = multiprocessing.get_context("fork")
    here, there = context.Pipe(duplex=False)
    worker = context.Process(target=_work, args=(there, task, args), daemon=True)
    worker.start()
    there.close()

    def result():
        try:
            return here.recv()
        except EOFError:
            return task(*args)
        finally:
            worker.join()

    return result


def _work(there, task, args):
    with contextlib.suppress(Exception):
        there.send(task(*args))
    there.close()
