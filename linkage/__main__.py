"""The command line."""

from __future__ import annotations

import contextlib
import gc
import logging
import os
import signal
import sys
import tempfile
import traceback

from .commands import run
from .errors import LinkageError

GARBAGE = 100_000  # things made between looks for garbage, of which a run makes hardly any
BAD_INPUT, FAULT, INTERRUPTED, CLOSED, ENDED = 2, 3, 130, 141, 143


def main(argv: list[str] | None = None) -> int:
    """Run the command line.

    Parameters
    ----------
    argv : list of str, optional

    Returns
    -------
    int
        0 when every requirement is met, 1 when one is missed or not decided, 2 on bad input, 3 on
        a fault of the program, 130 when interrupted, 141 when nobody reads on.
    """
    argv = sys.argv[1:] if argv is None else list(argv)
    gc.set_threshold(GARBAGE)
    try:
        code = run(argv)
        sys.stdout.flush()
        return code
    except LinkageError as error:
        return _told(BAD_INPUT, " ".join(str(error).split()))
    except BrokenPipeError:
        _let_go()
        return CLOSED
    except KeyboardInterrupt:
        return _told(INTERRUPTED, "interrupted; nothing more is written")
    except OSError as error:
        _let_go()
        return _told(BAD_INPUT, f"could not write or read on ({error.strerror or error})")
    except Exception:
        return _told(FAULT, "a fault of the program, not of the file; what happened "
                            f"{_details(argv)}")


def _told(code: int, sentence: str) -> int:
    with contextlib.suppress(OSError):
        print(f"linkage: {sentence}", file=sys.stderr)
    return code


def _let_go() -> None:
    """Let what is still to be printed go nowhere, so that the end of Python does not complain."""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _details(argv) -> str:
    """Write what happened to a file of its own; where it is."""
    try:
        with tempfile.NamedTemporaryFile("w", prefix="linkage-fault-", suffix=".txt", delete=False,
                                         encoding="utf-8", errors="backslashreplace") as file:
            file.write(f"linkage {' '.join(argv)}\n\n{traceback.format_exc()}")
        return f"is in {file.name}"
    except OSError as problem:
        return f"could not be written down ({problem.strerror})"


def start() -> int:
    """Run as a process of its own: an end from outside ends its children, any terminal will do."""
    for name in ("SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is not signal.SIG_IGN:  # as nohup asks
            signal.signal(number, lambda *_: sys.exit(ENDED))
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:  # closed before the start: nobody reads
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    logging.getLogger().addHandler(logging.NullHandler())  # libraries don't speak on the terminal
    return main()


if __name__ == "__main__":
    sys.exit(start())
