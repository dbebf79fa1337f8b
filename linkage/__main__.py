"""The command line."""

from __future__ import annotations

import gc
import os
import sys

from .commands import run
from .errors import LinkageError

GARBAGE = 100_000  # things made between looks for garbage, of which a run makes hardly any


def main(argv=None) -> int:
    """Run the command line.

    Parameters
    ----------
    argv : list of str, optional

    Returns
    -------
    int
        0 when every requirement is met, 1 when one is missed, 2 on bad input.
    """
    argv = sys.argv[1:] if argv is None else list(argv)
    gc.set_threshold(GARBAGE)
    try:
        return run(argv)
    except LinkageError as error:
        print(f"linkage: {' '.join(str(error).split())}", file=sys.stderr)
        return 2
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 2


if __name__ == "__main__":
    sys.exit(main())
