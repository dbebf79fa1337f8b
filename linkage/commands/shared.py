"""What the verbs share: the parser of their words, tables and pictures written."""

from __future__ import annotations

import argparse
import io
from pathlib import Path

from .. import __version__
from ..errors import LinkageError
from ..files import write_bytes, write_text
from .verbs import VERBS

KINDS = ("png", "svg", "pdf")


def parser_of(verb: str, about: str) -> argparse.ArgumentParser:
    name = f"linkage {verb}".strip()
    parser = argparse.ArgumentParser(prog=name, description=about)
    if not verb:
        others = (f"linkage {name} {words} ({what})" for name, (words, what) in VERBS.items())
        parser.epilog = f"Other verbs: {', '.join(others)}."
        parser.add_argument("--version", action="version", version=f"linkage {__version__}")
    return parser


def write_tables(folder, tables: dict) -> None:
    """Write `{name: DataFrame}` as CSV into a folder, made where there is none."""
    folder = Path(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise LinkageError(f"{folder}: can't be made a folder ({problem.strerror}); "
                           f"choose another") from problem
    for name, data in tables.items():
        write_text(folder / f"{name.replace(' ', '_')}.csv",
                   data.to_csv(index=False, lineterminator="\n"))


def picture_kind(path) -> str:
    """What kind of picture a file's name ends in; refused before any work where it is none."""
    kind = Path(path).suffix.lower().removeprefix(".")
    if kind not in KINDS:
        raise LinkageError(f"{path}: can't be drawn; let its name end in .{', .'.join(KINDS)}")
    return kind


def write_picture(axes, path) -> None:
    """Write a picture whole or not at all."""
    held = io.BytesIO()
    axes.figure.savefig(held, format=picture_kind(path), dpi=150)
    write_bytes(path, held.getvalue())
    print(f"\n{path}: written")
