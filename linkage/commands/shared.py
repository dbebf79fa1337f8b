"""What the verbs share: the parser of their words, tables and pictures written."""

from __future__ import annotations

import argparse
import io
import textwrap
from pathlib import Path

from .. import __version__
from ..errors import LinkageError
from ..model.file import refuse_taken, write_bytes, write_text

KINDS = ("png", "svg", "pdf")


def parser_of(verb: str, about: str, *, writes: bool = False) -> argparse.ArgumentParser:
    """The parser of a verb; one that writes files named in its words can be told to replace."""
    name = f"linkage {verb}".strip()
    parser = argparse.ArgumentParser(prog=name, description=about,
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


def write_tables(folder, tables: dict) -> None:
    """Write `{name: DataFrame}` as CSV into a folder, made where there is none."""
    folder = Path(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise LinkageError(f"{folder}: can't be made a folder ({problem.strerror}); "
                           f"choose another") from problem
    from ..results.csv_files import csv_files

    for name, text in csv_files(tables).items():
        write_text(folder / name, text)


def picture_kind(path) -> str:
    """What kind of picture a file's name ends in; refused before any work where it is none."""
    kind = Path(path).suffix.lower().removeprefix(".")
    if kind not in KINDS:
        raise LinkageError(f"{path}: can't be drawn; let its name end in .{', .'.join(KINDS)}")
    return kind


def check_picture(path, replace: bool) -> None:
    """Refuse a picture that can't be drawn, or that would take the place of a file."""
    picture_kind(path)
    refuse_taken(path, replace)


def write_picture(axes, path) -> None:
    """Write a picture whole or not at all."""
    held = io.BytesIO()
    axes.figure.savefig(held, format=picture_kind(path), dpi=150)
    write_bytes(path, held.getvalue())
    print(f"\n{path}: written")
