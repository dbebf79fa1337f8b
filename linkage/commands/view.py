"""`linkage view`: the live view as one file that works from disk."""

from __future__ import annotations

from pathlib import Path

from .. import load
from ..disk import check_file, write_text
from .shared import parser_of, working


def run(argv: list[str]) -> int:
    parser = parser_of("view", "Write the live view of a model file as one HTML file that works "
                               "from disk, without a network.", writes=True)
    parser.add_argument("file", metavar="FILE", help="model file (TOML)")
    parser.add_argument("--out", required=True, metavar="FILE", help="HTML file to write")
    parser.add_argument("--quick", action="store_true",
                        help="prove it as it stands alone, not with each other spacer from stock")
    args = parser.parse_args(argv)
    check_file(args.out, args.replace)
    system = load(args.file)
    from ..workbook.page import write_page

    with working("proving clearances for the page"):
        page = write_page(system, Path(args.file).name, stock=not args.quick)
    write_text(args.out, page, replace=args.replace)
    print(f"{args.out}: written; open it in a browser")
    return 0
