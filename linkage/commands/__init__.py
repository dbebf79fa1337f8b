"""The verbs of the command line, a file each; `run(argv)` returns the exit code."""

from __future__ import annotations

import os
from importlib import import_module
from pathlib import Path

from ..errors import LinkageError, nearest
from .verbs import VERBS


def run(argv: list[str]) -> int:
    """Run the verb that the words name, else the main job; loads no other verb's file.

    Parameters
    ----------
    argv : list of str

    Returns
    -------
    int
    """
    if argv and argv[0] in VERBS:
        return import_module(f".{argv[0].replace('-', '_')}", __name__).run(argv[1:])
    if argv and not argv[0].startswith("-") and not Path(argv[0]).suffix \
            and not os.path.exists(argv[0]):  # a name too long for any file is none
        raise LinkageError(f'"{argv[0]}" is no verb and no file; {nearest(argv[0], VERBS)}')
    return import_module(".check", __name__).run(argv)
