"""`linkage loads`: what each part carries at its worst, and with which margin."""

from __future__ import annotations

import io
from pathlib import Path

from .. import load, sheet
from ..errors import LinkageError
from ..files import write_bytes
from .shared import parser_of, write_tables

KINDS = ("png", "svg", "pdf")


def run(argv) -> int:
    parser = parser_of("loads", "Print stick forces, what each rod, body and pivot carries at its "
                                "worst, margins, lost motion and friction; exit 1 when a margin is "
                                "missed, 2 on bad input.")
    parser.add_argument("file", help="model file (TOML)")
    parser.add_argument("--csv", metavar="DIR", help="also write the tables there as CSV")
    parser.add_argument("--picture", metavar="FILE", help="also draw what the rods carry (PNG, SVG "
                                                          "or PDF)")
    said = parser.parse_args(argv)
    system = load(said.file)
    text, missed = sheet.loads_sheet(system)
    print(sheet.heading(system, said.file), text, sep="\n\n")
    if said.csv:
        from ..tables import loads_tables

        write_tables(Path(said.csv), loads_tables(system))
    if said.picture:
        _draw(system, said.picture)
    print(f"\n{_verdict(missed)}")
    return 1 if missed else 0


def _draw(system, path: str) -> None:
    kind = Path(path).suffix.lower().removeprefix(".")
    if kind not in KINDS:
        raise LinkageError(f"{path}: can't be drawn; let its name end in .{', .'.join(KINDS)}")
    from ..plots import rods_at_worst

    held = io.BytesIO()
    rods_at_worst(system).figure.savefig(held, format=kind, dpi=150)
    write_bytes(path, held.getvalue())
    print(f"\n{path}: written")


def _verdict(missed: int) -> str:
    if missed:
        return f"{missed} margin{'s' if missed > 1 else ''} missed."
    return "No margin that could be worked out is missed; see above for what could not be."
