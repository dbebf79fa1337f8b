"""`linkage check-proof`: a certificate held against its model file by the small checker."""

from __future__ import annotations

import sys
import time

from ..disk import check_read
from ..errors import LinkageError
from .shared import NEEDS_FLINT, parser_of


def run(argv: list[str]) -> int:
    parser = parser_of("check-proof", "Hold the certificate of a clearance proof against its model "
                       "file with a small checker that shares no code with the search; exit 0 when "
                       "the proof holds, 1 when it doesn't or can't be checked, 2 when there is "
                       "no such file.")
    parser.add_argument("file", metavar="FILE", help="model file (TOML)")
    parser.add_argument("proof", metavar="PROOF", help="certificate that --proof wrote")
    args = parser.parse_args(argv)
    for path in (args.file, args.proof):
        check_read(path)
    try:
        from ..checker import check
    except ImportError as error:
        raise LinkageError(f"check-proof {NEEDS_FLINT}") from error
    verdict = check(args.file, args.proof, _Progress())
    print(verdict.sentence, *verdict.directions, sep="\n")
    return 0 if verdict.holds else 1


class _Progress:
    """On a terminal, how many pairs are checked; nothing when piped."""

    def __init__(self):
        self.shown_at = time.monotonic()

    def __call__(self, done: int, of: int) -> None:
        now = time.monotonic()
        if sys.stderr.isatty() and (now - self.shown_at > 0.5 or done == of):
            self.shown_at = now
            end = f"{done} of {of} pairs" if done < of else ""
            print(f"\r\033[K{end}", end="", file=sys.stderr, flush=True)
