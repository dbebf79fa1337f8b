"""`linkage FILE`: the main job, everything found of a system."""

from __future__ import annotations

import sys
import time
from pathlib import Path

from .. import load
from ..errors import LinkageError, counted, nearest
from ..units import lengths_said_in
from .shared import NEEDS_FLINT, check_tables, described_as, parser_of, write_tables
from .verbs import VERBS

SHORTHANDS = {"gearing": ("findings", "gearing")}  # what one word of --only stands for


def run(argv: list[str]) -> int:
    args = _parser().parse_args(argv)
    system = load(args.file)
    from ..results import Results
    from ..sheet import sheet_of

    only = _chapters(args.only)
    _check_shapes(system, args.file)
    _check_places(args)
    before = Results.of_file(load(args.against), args.against, only=only,
                             built=args.built) if args.against else None
    progress = _Progress()
    proof = _Certificate(args, progress)
    results = Results.of_file(system, args.file, only=only, before=before, built=args.built,
                              tell=lambda phase: (progress(phase), proof.begin_early(results)))
    verdict = results.verdict
    progress("")
    proof.begin(results)
    beside = _begun(args, results, proof)
    print(sheet_of(results, args.file))
    _write(args, results, progress, (proof, beside))
    print(f"\n{verdict.sentence}")
    return verdict.exit_code


def _parser():
    parser = parser_of("", "Work out what a control system does and what it misses; exit 0 when "
                           "every requirement of the file is met, 1 when one is missed or not "
                           "decided, 2 on bad input, 3 on a fault of the program.", writes=True)
    parser.usage = "linkage FILE [options]\n       linkage VERB ..."
    parser.add_argument("file", metavar="FILE", help="model file (TOML)")
    parser.add_argument("--only", metavar="CHAPTER", action="append", default=[],
                        help="look at this chapter alone, such as gearing, clearance, stops, "
                             "reliefs, loads, rods, wires, tolerances, sequence; may be repeated")
    parser.add_argument("--built", action="store_true", help="prove clearance for every build "
                        "within the file's tolerances, not as drawn; the exit code is by that")
    parser.add_argument("--csv", metavar="DIR", help="also write the tables there as CSV")
    parser.add_argument("--out", metavar="DIR", help="also write the report there, HTML and PDF")
    parser.add_argument("--proof", metavar="FILE", help="also write the certificate of the "
                        "clearance proof there (.json.gz), for linkage check-proof")
    parser.add_argument("--paper", choices=["A4", "Letter"],
                        help="of the PDF; by the file's length unit unless given")
    parser.add_argument("--against", metavar="FILE", help="set the system of another file beside "
                                                          "this one: before and after a change")
    parser.add_argument("--changes", metavar="FILE", help="with --against: also write what the "
                        "change did as a page (.html, .pdf)")
    parser.add_argument("--log", action="store_true", help="add what was found to a log of "
                        "revisions beside the file, FILE's name with .log")
    parser.epilog = "verbs (linkage VERB --help says more):\n" + described_as(VERBS)
    return parser


def _chapters(words) -> tuple[str, ...]:
    """Chapters that the words of --only name."""
    from ..results import CHAPTERS

    known = [chapter.name for chapter in CHAPTERS]
    for word in words:
        if word not in known:
            raise LinkageError(f'--only: no chapter "{word}"; {nearest(word, known)}')
    return tuple(dict.fromkeys(name for word in words for name in SHORTHANDS.get(word, (word,))))


def _check_places(args) -> None:
    """Refuse what can't be written, before any work is done."""
    if args.out:
        from ..report import check_place

        check_place(args.out, args.replace)
    if args.csv:
        check_tables(args.csv, args.replace, args.file)
    if args.proof:
        _check_proof(args)
    if args.changes:
        _check_changes(args)


def _begun(args, results, proof):
    """What only a report shows, begun on the second core unless that has a certificate to make."""
    if not args.out or not proof.done:
        return None
    from ..report import begun

    return begun(results)


def _write(args, results, progress, under_way) -> None:
    """Write all that was asked for beside the sheet."""
    proof, beside = under_way
    if args.csv:
        write_tables(args.csv, results.tables(), args.replace)
    if args.out:
        _write_report(args, results, progress, (proof, beside))
    if args.proof:
        _write_proof(args, proof.join())
    if args.changes:
        _write_changes(args, results)
    if args.log:
        _write_log(args, results)


def _write_report(args, results, progress, under_way):
    from ..report import PROOF, report_files, write_report

    proof, beside = under_way
    progress("report")
    files = report_files(results, args.paper, proof, beside)
    if made := proof.join():
        files[PROOF] = made
    write_report(args.out, files, args.replace)
    progress("")
    print(f"\n{args.out}: {', '.join(name for name in files if '/' not in name)} and "
          f"{counted(sum('/' in name for name in files), 'table')} and templates written")


def _check_proof(args):
    """Refuse a certificate that can't be written."""
    from ..disk import check_file

    check_file(args.proof, args.replace)
    if not _has_flint():
        raise LinkageError(f"--proof {NEEDS_FLINT}")


def _has_flint() -> bool:
    """Whether a certificate can be made."""
    try:
        from .. import certificate  # noqa: F401
    except ImportError:
        return False
    return True


class _Certificate:
    """A certificate of the clearance proof, and what the checker says of it.

    Made on a core of their own where they are asked for, from when the clearances are known.
    """

    def __init__(self, args, progress):
        self.args, self.progress = args, progress
        self.results, self.core, self.proof = None, None, None

    def begin(self, results) -> None:
        """Begin where it is asked for and not begun."""
        from ..results.second_core import SecondCore

        asked = (self.args.proof or self.args.out) and self.results is None
        if asked and results.clearance is not None:
            self.results = results
            self.core = SecondCore(self._work if _has_flint() else None)

    def begin_early(self, results) -> None:
        """Begin where the clearances are known already."""
        if results.known(["clearance"])[0]:
            self.begin(results)

    @property
    def done(self) -> bool:
        """Whether nothing has to be waited for."""
        return self.core is None or self.core.done

    def _work(self):
        from ..certificate import certificate, checked, packed

        file, results = self.args.file, self.results
        proof = packed(certificate(results.system, file, results.clearance))
        return proof, checked(file, proof) if self.args.out else ""

    def join(self) -> bytes | None:
        """The certificate, kept with the checker's words; None where it can't be."""
        if self.core is None:
            return self.proof
        self.progress("certificate")
        core, self.core = self.core, None
        try:
            self.proof, checker = core.join() or self._work()
            self.results.keep({"checker": checker}, {})
        except (ImportError, LinkageError) as error:
            if self.args.proof:
                raise
            why = f"it {NEEDS_FLINT}" if isinstance(error, ImportError) else error
            self.results.keep({"checker": f"not asked: {why}"}, {})
        finally:
            self.progress("")
        return self.proof


def _write_proof(args, proof):
    from ..disk import write_bytes

    if proof is None:
        raise LinkageError("--proof: no clearances were worked out, so nothing is certified")
    write_bytes(args.proof, proof, replace=args.replace)
    build = "as built" if args.built else "as drawn"
    print(f"\n{args.proof}: the clearance proof for the real travel {build}, "
          f"{len(proof) / 1000:.0f} kB; linkage check-proof checks it")


def _check_changes(args) -> None:
    """Refuse a page that can't be written."""
    from ..disk import check_file
    from ..report import check_page

    if not args.against:
        raise LinkageError("--changes needs --against OLD, the file that this one is set beside")
    check_page(args.changes)
    check_file(args.changes, args.replace)


def _write_changes(args, results) -> None:
    from ..disk import write_bytes
    from ..report import changes_page

    write_bytes(args.changes, changes_page(results, args.changes, args.paper),
                replace=args.replace)
    print(f"\n{args.changes}: what the change did")


def _write_log(args, results) -> None:
    """Add to the log beside the file; what stands in it stays."""
    from ..disk import write_bytes
    from ..results import log_entry

    path = Path(args.file).with_suffix(".log")
    held = path.read_bytes() if path.exists() else b""
    if held and not held.endswith(b"\n"):
        held += b"\n"
    entry = log_entry(results, time.strftime("%Y-%m-%d %H:%M"))
    write_bytes(path, held + entry.encode(), replace=True)
    print(f"\n{path}: this revision added")


def _check_shapes(system, path) -> None:
    """Refuse an outline that no solid can have, whatever chapter is asked for."""
    from ..clearances import scene_of

    try:
        with lengths_said_in(system.model.length):
            for name in system.model.solids:
                scene_of(system).solid(name)
    except LinkageError as error:
        raise type(error)(f"{path}: {error.sentence}", **error.facts) from error


class _Progress:
    """A bar of phases on a terminal once work takes over a second; nothing when piped."""

    phases = ("clearance", "travel map", "report")

    def __init__(self):
        self.start, self.shown = time.monotonic(), False

    def __call__(self, phase: str) -> None:
        late = time.monotonic() - self.start > 1 or phase == "clearance"
        if not sys.stderr.isatty() or not (late or self.shown):
            return
        done = self.phases.index(phase) if phase in self.phases else len(self.phases)
        bar = "#" * done + "." * (len(self.phases) - done)
        end = f"[{bar}] {phase}" if phase else ""
        print(f"\r\033[K{end}", end="", file=sys.stderr, flush=True)
        self.shown = bool(phase)
