"""What the verbs share: the parser of their words, tables and pictures written."""

from __future__ import annotations

import argparse
import io
import os
import sys
import textwrap
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from .. import __version__
from ..disk import check_file, check_folder, fill_folder, write_bytes
from ..errors import LinkageError
from ..model.file import side_files

if TYPE_CHECKING:
    from matplotlib.axes import Axes

READ = ("file", "against", "readings")  # words of verbs that name what is read
WRITTEN = {"out", "proof", "picture", "changes"}  # and files that are written
KINDS = ("png", "svg", "pdf")
NEEDS_FLINT = "needs python-flint; pip install 'linkage[proof]'"


def parser_of(verb: str, about: str, *, writes: bool = False) -> argparse.ArgumentParser:
    """The parser of a verb; one that writes files named in its words can be told to replace."""
    name = f"linkage {verb}".strip()
    parser = _Parser(prog=name, description=about,
                     formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.description = textwrap.fill(about, 79)
    if not verb:
        parser.add_argument("--version", action="version", version=f"linkage {__version__}")
    if writes:
        parser.add_argument("--replace", action="store_true",
                            help="let what is written replace a file that is there")
    return parser


def described_as(verbs: dict) -> str:
    """Verbs, a line each: what they are called with, and what they do."""
    wide = max(len(f"{name} {words}") for name, (words, _) in verbs.items())
    return "\n".join(f"  {f'{name} {words}':{wide}}  {what}"
                     for name, (words, what) in verbs.items())


class _Parser(argparse.ArgumentParser):
    """A parser that refuses an option with nothing in it, such as ``--out ''``."""

    def parse_args(self, args=None, namespace=None):
        parsed = super().parse_args(args, namespace)
        for action in self._actions:
            value = getattr(parsed, action.dest, None)
            if isinstance(value, str) and not value.strip():
                word = action.option_strings[0] if action.option_strings else action.metavar
                raise LinkageError(f"{word or action.dest} is empty; give it a value, or leave it "
                                   f"out")
        self._refuse_what_is_read(parsed)
        return parsed

    def _refuse_what_is_read(self, parsed) -> None:
        """Refuse to write over a file that is read, whatever may be replaced."""
        options = {action.dest for action in self._actions if action.option_strings}
        written = [word for word in sorted(options & WRITTEN) if getattr(parsed, word)]
        read = _files_read(parsed) if written else []
        for word in written:
            name = getattr(parsed, word)
            if any(_one_file(name, other) for other in read):
                raise LinkageError(f"--{word} {name}: is the file that is read, and stays as it "
                                   f"is; choose another name")


def _files_read(parsed) -> list:
    """Files that a command line names to be read, and what those name."""
    read = [name for name in (getattr(parsed, word, None) for word in READ) if name]
    return read + (side_files(parsed.file) if "file" in parsed else [])


def _one_file(one, other) -> bool:
    try:
        return os.path.samefile(one, other)
    except (OSError, ValueError):  # one is not there, or no name at all
        return False


@contextmanager
def working(what: str) -> Iterator[None]:
    """While long work runs, say on a terminal what it is and for how long; nothing when piped."""
    if not sys.stderr.isatty():
        yield
        return
    done, began = threading.Event(), time.monotonic()

    def tick():
        while not done.wait(1.0):
            print(f"\r\033[K{what}: {time.monotonic() - began:.0f} s", end="", file=sys.stderr,
                  flush=True)

    ticking = threading.Thread(target=tick, daemon=True)
    ticking.start()
    try:
        yield
    finally:
        done.set()
        ticking.join()
        print("\r\033[K", end="", file=sys.stderr, flush=True)


def check_saved(model: Path | str, path: Path | str, *, points: bool = False) -> None:
    """Refuse a model file that can't be written, or whose own table of hardpoints can't."""
    from ..model.save import saved_names

    for each in reversed(saved_names(model, path, points=points)):
        check_file(each)


def check_tables(folder: Path | str, replace: bool, model: Path | str) -> None:
    """Refuse a folder that can't be filled with tables, or that holds some already.

    One that holds the model's own table of hardpoints under such a name is refused in any case.
    """
    from ..results.csv_files import is_table

    check_folder(folder)
    there = sorted(path.name for path in Path(folder).glob("*.csv") if is_table(path.name))
    used = side_files(model)
    for name in there:
        if any(_one_file(own, Path(folder) / name) for own in used):
            raise LinkageError(f"--csv {folder}: holds {name}, from which the model's hardpoints "
                               f"are read; choose another folder")
    check_folder(folder, there, replace)


def write_tables(folder: Path | str, tables: dict, replace: bool) -> None:
    """Write `{name: DataFrame}` as CSV into a folder, made where there is none; all or none."""
    from ..results.csv_files import csv_files

    fill_folder(folder, csv_files(tables), replace=replace)


def picture_kind(path: Path | str) -> str:
    """What kind of picture a file's name ends in; refused before any work where it is none."""
    kind = Path(path).suffix.lower().removeprefix(".")
    if kind not in KINDS:
        raise LinkageError(f"{path}: can't be drawn; let its name end in .{', .'.join(KINDS)}")
    return kind


def check_picture(path: Path | str, replace: bool) -> None:
    """Refuse a picture that can't be drawn, or that would take the place of a file."""
    picture_kind(path)
    check_file(path, replace)


def write_picture(axes: Axes, path: Path | str, replace: bool) -> None:
    """Write a picture whole or not at all."""
    held = io.BytesIO()
    axes.figure.savefig(held, format=picture_kind(path), dpi=150)
    write_bytes(path, held.getvalue(), replace=replace)
    print(f"\n{path}: written")
