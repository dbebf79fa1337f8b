"""`linkage new`: a commented starter file."""

from __future__ import annotations

from importlib import resources

from ..disk import check_file, write_text
from ..errors import LinkageError, nearest
from .shared import parser_of

LAYOUTS = ("side-by-side", "tandem")


def run(argv: list[str]) -> int:
    parser = parser_of("new", "Write a commented starter file to edit.")
    parser.add_argument("layout", help=" or ".join(LAYOUTS))
    parser.add_argument("--out", required=True, metavar="FILE", help="file to write")
    args = parser.parse_args(argv)
    if args.layout not in LAYOUTS:
        raise LinkageError(f'no layout "{args.layout}"; {nearest(args.layout, LAYOUTS)}')
    check_file(args.out)
    starter = resources.files("linkage") / "starters" / f"{args.layout}.toml"
    write_text(args.out, starter.read_text(encoding="utf-8"))
    print(f"{args.out}: written; edit it, then run: linkage {args.out}")
    return 0
