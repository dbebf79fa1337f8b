"""`linkage loads`: what each part carries at its worst, and with which margin."""

from __future__ import annotations

from .. import load
from .shared import check_picture, check_tables, parser_of, working, write_picture, write_tables


def run(argv: list[str]) -> int:
    parser = parser_of("loads", "Print stick forces, what each rod, body and pivot carries at its "
                                "worst, margins, lost motion and friction; exit 1 when a margin is "
                                "missed, 2 on bad input.", writes=True)
    parser.add_argument("file", metavar="FILE", help="model file (TOML)")
    parser.add_argument("--csv", metavar="DIR", help="also write the tables there as CSV")
    parser.add_argument("--picture", metavar="FILE", help="also draw what the rods carry (PNG, SVG "
                                                          "or PDF)")
    args = parser.parse_args(argv)
    if args.picture:
        check_picture(args.picture, args.replace)
    system = load(args.file)
    if args.csv:
        check_tables(args.csv, args.replace, args.file)
    from ..results import Results
    from ..sheet import sheet_of

    results = Results.of_file(system, args.file, only=("loads",))
    with working("working out what each part carries"):
        sheet = sheet_of(results, args.file)
    print(sheet)
    if args.csv:
        write_tables(args.csv, results.tables(), args.replace)
    if args.picture:
        from ..plots import rods_at_worst

        write_picture(rods_at_worst(system), args.picture, args.replace)
    print(f"\n{results.verdict.sentence}")
    return results.verdict.exit_code
