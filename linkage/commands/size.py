"""`linkage size`: arms, clockings, places and rod lengths that meet the targets."""

from __future__ import annotations

from .. import load, sizing
from ..errors import LinkageError, counted
from ..units import CAUTION
from .shared import check_saved, parser_of, working

MOST_STARTS = 10_000

def run(argv: list[str]) -> int:
    parser = parser_of("size", "Choose the dimensions that the file's size table names so that its "
                               "targets are met; exit 1 when one is missed.")
    parser.add_argument("file", metavar="FILE", help="model file (TOML)")
    parser.add_argument("--rounded", action="store_true",
                        help="round to the stock or drill steps of the file, and check again")
    parser.add_argument("--starts", type=int, default=8, metavar="COUNT",
                        help="places to start the search from; 8")
    parser.add_argument("--seed", type=int, default=0, help="of those places; 0")
    parser.add_argument("--out", metavar="FILE", help="write the model so sized to a new file")
    args = parser.parse_args(argv)
    if args.seed < 0:
        raise LinkageError(f"--seed is {args.seed}; give 0 or more")
    if not 1 <= args.starts <= MOST_STARTS:
        raise LinkageError(f"--starts is {args.starts:.6g}; give 1 to {MOST_STARTS} places to "
                           f"start from")
    system = load(args.file)
    if args.out:
        check_saved(args.file, args.out, points=True)
    with working(f"looking from {counted(args.starts, 'start')}"):
        chosen = sizing.size(system, starts=args.starts, seed=args.seed, rounded=args.rounded)
    from ..sheet import heading, size_sheet

    print(heading(system, args.file), CAUTION, size_sheet(chosen), sep="\n\n")
    if args.out:
        sizing.write_sized(chosen, args.file, args.out)
        print(f"\n{args.out}: written; look at all of it with: linkage {args.out}")
    return 0 if chosen.ok else 1
