"""`linkage loads`: what each part carries at its worst, and with which margin."""

from __future__ import annotations

from .. import load, sheet
from .shared import check_picture, check_tables, parser_of, write_picture, write_tables


def run(argv) -> int:
    parser = parser_of("loads", "Print stick forces, what each rod, body and pivot carries at its "
                                "worst, margins, lost motion and friction; exit 1 when a margin is "
                                "missed, 2 on bad input.", writes=True)
    parser.add_argument("file", help="model file (TOML)")
    parser.add_argument("--csv", metavar="DIR", help="also write the tables there as CSV")
    parser.add_argument("--picture", metavar="FILE", help="also draw what the rods carry (PNG, SVG "
                                                          "or PDF)")
    said = parser.parse_args(argv)
    if said.picture:
        check_picture(said.picture, said.replace)
    system = load(said.file)
    if said.csv:
        from ..tables import names_of_loads

        check_tables(said.csv, names_of_loads(system), said.replace)
    text, missed = sheet.loads_sheet(system)
    print(sheet.heading(system, said.file), text, sep="\n\n")
    if said.csv:
        from ..tables import loads_tables

        write_tables(said.csv, loads_tables(system), said.replace)
    if said.picture:
        from ..plots import rods_at_worst

        write_picture(rods_at_worst(system), said.picture, said.replace)
    print(f"\n{_verdict(missed)}")
    return 1 if missed else 0


def _verdict(missed: int) -> str:
    if missed:
        return f"{missed} margin{'s' if missed > 1 else ''} missed."
    return "No margin that could be worked out is missed; see above for what could not be."
