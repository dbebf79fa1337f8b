"""`linkage FILE`: the main job, the shop sheet."""

from __future__ import annotations

import sys
import time

from .. import load
from .beside import beside
from .shared import parser_of, write_tables


def run(argv) -> int:
    parser = parser_of("", "Print what a control system does; exit 0 when every requirement of the "
                           "file is met, 1 when one is missed, 2 on bad input.")
    parser.add_argument("file", help="model file (TOML)")
    parser.add_argument("--only", choices=["gearing"], help="print this part alone")
    parser.add_argument("--csv", metavar="DIR", help="also write the tables there as CSV")
    said = parser.parse_args(argv)
    system = load(said.file)
    from .. import sheet

    progress = _Progress()
    progress("gearing")
    if said.only == "gearing":
        found = [sheet.gearing_sheet(system)]
    else:
        rest = beside(_gearing_and_stops, system)
        contact = sheet.clearance_sheet(system, progress)
        progress("stops")
        gearing, stops = rest()
        found = [gearing, contact, stops]
    missed = sum(more for _, more in found)
    progress("")
    print(sheet.heading(system, said.file), *(text for text, _ in found if text), sep="\n\n")
    if said.csv:
        from ..tables import all_tables

        write_tables(said.csv, all_tables(system))
    print(f"\n{_verdict(missed)}")
    return 1 if missed else 0


def _gearing_and_stops(system):
    from .. import sheet

    return sheet.gearing_sheet(system), sheet.stops_sheet(system)


class _Progress:
    """A bar of phases on a terminal once work takes over a second; nothing when piped."""

    phases = ("gearing", "clearance", "travel map", "stops")

    def __init__(self):
        self.start, self.shown = time.monotonic(), False

    def __call__(self, phase: str) -> None:
        late = time.monotonic() - self.start > 1 or phase == "clearance"
        if not sys.stderr.isatty() or not (late or self.shown):
            return
        done = self.phases.index(phase) if phase else len(self.phases)
        bar = "#" * done + "." * (len(self.phases) - done)
        end = f"[{bar}] {phase}" if phase else ""
        print(f"\r\033[K{end}", end="", file=sys.stderr, flush=True)
        self.shown = bool(phase)


def _verdict(missed: int) -> str:
    if missed:
        return f"{missed} requirement{'s' if missed > 1 else ''} missed."
    return "Every requirement of the file is met, as computed."
