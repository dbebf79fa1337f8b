"""What the verbs about plates share."""

from __future__ import annotations

from argparse import ArgumentParser
from collections.abc import Iterable
from typing import TYPE_CHECKING

from ..relief import both_sides
from .shared import parser_of

if TYPE_CHECKING:
    from ..model.whole import Model


def plate_parser(verb: str, about: str) -> ArgumentParser:
    parser = parser_of(verb, about, writes=True)
    parser.add_argument("file", metavar="FILE", help="model file (TOML)")
    parser.add_argument("plate", nargs="+",
                        help='"part/solid" of a plate or washer, or a part for all of its plates; '
                             "twins on the other side come along")
    parser.add_argument("--out", required=True, metavar="DIR", help="folder to write to")
    parser.add_argument("--paper", help="A4 or Letter; by the file's length unit unless given")
    return parser


def names_both_sides(model: Model, plates: Iterable[str], *, skins: bool = False) -> list[str]:
    return list(dict.fromkeys(name for plate in plates for name in both_sides(model, plate, skins)))


def add_templates(written: dict, files: dict, drawings: dict) -> None:
    drawings[next(name for name in written if name).rsplit(".", 1)[0]] = written.pop(None)
    files.update(written)
