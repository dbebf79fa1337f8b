"""`linkage FILE`: the main job, the shop sheet."""

from __future__ import annotations

import sys
import time

from .. import load
from .beside import beside
from .shared import check_tables, parser_of, write_tables


def run(argv) -> int:
    said = _parser().parse_args(argv)
    system = load(said.file)
    from .. import sheet

    if said.out:
        from ..report import check_place

        check_place(said.out, said.replace)
    if said.csv:
        from ..tables import names_of_all

        check_tables(said.csv, names_of_all(system), said.replace)
    if said.against:
        load(said.against)
    progress = _Progress()
    found = _found(system, said, progress)
    missed = sum(more for _, more in found)
    progress("")
    print(sheet.heading(system, said.file), *(text for text, _ in found if text), sep="\n\n")
    if said.csv:
        from ..tables import all_tables

        write_tables(said.csv, all_tables(system), said.replace)
    if said.out:
        from .reported import write_out

        written, missed = write_out(said, system, progress)
        progress("")
        print(f"\n{said.out}: {', '.join(name for name in written if '/' not in name)} and "
              f"{sum('/' in name for name in written)} tables and templates written")
    elif said.against:
        from .reported import said_comparison

        print(f"\n{said_comparison(said, system)}")
    print(f"\n{_verdict(system.model, missed, said)}")
    return 1 if missed else 0


def _parser():
    parser = parser_of("", "Print what a control system does; exit 0 when every requirement of the "
                           "file is met, 1 when one is missed, 2 on bad input.", writes=True)
    parser.add_argument("file", help="model file (TOML)")
    parser.add_argument("--only", choices=["gearing"], help="print this part alone")
    parser.add_argument("--csv", metavar="DIR", help="also write the tables there as CSV")
    parser.add_argument("--out", metavar="DIR", help="also write the report there, HTML and PDF")
    parser.add_argument("--paper", choices=["A4", "Letter"],
                        help="of the PDF; by the file's length unit unless given")
    parser.add_argument("--against", metavar="FILE", help="set the system of another file beside "
                                                          "this one: before and after a change")
    return parser


def _found(system, said, progress):
    """Texts of the sheet, and how many requirements each misses."""
    from .. import sheet

    progress("gearing")
    if said.only == "gearing":
        return [sheet.gearing_sheet(system)]
    rest = beside(_gearing_and_stops, system)
    contact = sheet.clearance_sheet(system, progress)
    progress("stops")
    gearing, stops = rest()
    return [gearing, contact, stops]


def _gearing_and_stops(system):
    from .. import sheet

    return sheet.gearing_sheet(system), sheet.stops_sheet(system)


class _Progress:
    """A bar of phases on a terminal once work takes over a second; nothing when piped."""

    phases = ("gearing", "clearance", "travel map", "stops", "report")

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


def _verdict(model, missed: int, said) -> str:
    """The last line: what was looked at and is met, or how much is missed."""
    if missed:
        return f"{missed} requirement{'s' if missed > 1 else ''} missed."
    whole = said.only != "gearing"
    asked = [word for word, there in (
        ("travel", any(surface.require for surface in model.surfaces.values())),
        ("clearance", whole and model.solids), ("stop", whole and model.stops)) if there]
    rest = "" if whole else "  Clearance and stops were not looked at."
    if not asked:
        return f"Nothing was required of what was looked at, so nothing is missed.{rest}"
    return f"Every required {' and '.join(asked)} is met, as computed.{rest}"
