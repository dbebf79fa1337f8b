"""The command line."""

from __future__ import annotations

import argparse
import os
import sys
import time
from importlib import resources
from pathlib import Path

from . import __version__, load
from .errors import LinkageError, nearest

VERBS = ("new", "schema", "relief", "template")
LAYOUTS = ("side-by-side", "tandem")


def main(argv=None) -> int:
    """Run the command line.

    Parameters
    ----------
    argv : list of str, optional

    Returns
    -------
    int
        0 when every requirement is met, 1 when one is missed, 2 on bad input.
    """
    argv = sys.argv[1:] if argv is None else list(argv)
    try:
        if argv and argv[0] in VERBS:
            return {"new": _new, "schema": _schema, "relief": _relief,
                    "template": _template}[argv[0]](argv[1:])
        return _check(argv)
    except LinkageError as error:
        print(f"linkage: {' '.join(str(error).split())}", file=sys.stderr)
        return 2
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 2


def _parser(verb: str, about: str) -> argparse.ArgumentParser:
    name = f"linkage {verb}".strip()
    parser = argparse.ArgumentParser(prog=name, description=about)
    if not verb:
        parser.epilog = ("Other verbs: linkage new LAYOUT --out FILE (a commented starter file), "
                         "linkage schema --out FILE (for editors), linkage relief FILE PLATE "
                         "--out DIR (cuts a plate free of what moves past it), linkage template "
                         "FILE PLATE --out DIR (a plate at full size for the shop).")
        parser.add_argument("--version", action="version", version=f"linkage {__version__}")
    return parser


def _check(argv) -> int:
    parser = _parser("", "Print what a control system does; exit 0 when every requirement of the "
                         "file is met, 1 when one is missed, 2 on bad input.")
    parser.add_argument("file", help="model file (TOML)")
    parser.add_argument("--only", choices=["gearing"], help="print this part alone")
    parser.add_argument("--csv", metavar="DIR", help="also write the tables there as CSV")
    said = parser.parse_args(argv)
    system = load(said.file)
    from . import sheet

    progress = _Progress()
    progress("gearing")
    text, missed = sheet.gearing_sheet(system)
    parts = [sheet.heading(system, said.file), text]
    if said.only != "gearing":
        text, more = sheet.clearance_sheet(system, progress)
        parts.append(text)
        missed += more
    progress("")
    print(*parts, sep="\n\n")
    if said.csv:
        _write_csv(system, Path(said.csv))
    print(f"\n{_verdict(missed)}")
    return 1 if missed else 0


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


def _write_csv(system, folder: Path) -> None:
    from .files import write_text
    from .tables import all_tables

    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise LinkageError(f"{folder}: can't be made a folder ({problem.strerror}); "
                           f"choose another") from problem
    for name, data in all_tables(system).items():
        write_text(folder / f"{name}.csv", data)


def _new(argv) -> int:
    parser = _parser("new", "Write a commented starter file to edit.")
    parser.add_argument("layout", help=" or ".join(LAYOUTS))
    parser.add_argument("--out", required=True, metavar="FILE", help="file to write")
    said = parser.parse_args(argv)
    if said.layout not in LAYOUTS:
        raise LinkageError(f'no layout "{said.layout}"; {nearest(said.layout, LAYOUTS)}')
    if Path(said.out).exists():
        raise LinkageError(f"{said.out}: is there already and stays as it is; choose another name")
    from .files import write_text

    starter = resources.files("linkage") / "starters" / f"{said.layout}.toml"
    write_text(said.out, starter.read_text(encoding="utf-8"))
    print(f"{said.out}: written; edit it, then run: linkage {said.out}")
    return 0


def _schema(argv) -> int:
    parser = _parser("schema", "Write the JSON Schema of model files, so that an editor completes "
                               "them.")
    parser.add_argument("--out", required=True, metavar="FILE", help="file to write")
    said = parser.parse_args(argv)
    import json

    from .files import schema, write_text

    write_text(said.out, json.dumps(schema(), indent=1) + "\n")
    print(f"{said.out}: written")
    return 0


def _plate_parser(verb, about):
    parser = _parser(verb, about)
    parser.add_argument("file", help="model file (TOML)")
    parser.add_argument("plate", nargs="+",
                        help='"part/solid" of a plate or washer, or a part for all of its plates; '
                             "twins on the other side come along")
    parser.add_argument("--out", required=True, metavar="DIR", help="folder to write to")
    parser.add_argument("--paper", help="A4 or Letter; by the file's length unit unless given")
    return parser


def _relief(argv) -> int:
    parser = _plate_parser("relief", "Cut a plate free of everything that moves through or past "
                                     "it, prove it, and write the system with it and templates; "
                                     "exit 1 when a clearance of the plate is still missed.")
    parser.add_argument("--cutter", metavar="LENGTH", help="radius of the cutter; 3 mm or 1/8 in")
    parser.add_argument("--ligament", metavar="LENGTH", help="least width that may stay; 6 mm or "
                                                             "twice the thickness")
    parser.add_argument("--all", action="store_true", help="cut for every pair of the plate, not "
                                                           "only those whose clearance is missed")
    parser.add_argument("--material", help="material of the file that the plate is of, for mass")
    said = parser.parse_args(argv)
    from . import relief, sheet

    system = load(said.file)
    relief.check_folder(said.out)
    density = _density(system.model, said.material)
    names = _both_sides(system.model, said.plate)
    done = _relieved(system, names, _relief_options(said, system.model.length))
    files, drawings = relief.relieved_file(said.file, done), {}
    written = Path(said.out) / next(iter(files))
    for each in done:
        _add_templates(relief.relief_templates(each, said.paper), files, drawings)
    relief.write_all(said.out, files)
    print(sheet.relief_sheet(done, system.model.length, density),
          sheet.template_sheet(drawings, said.out, said.paper), sep="\n\n")
    return _proven_again(written, names)


def _both_sides(model, plates):
    from .relief import both_sides

    return list(dict.fromkeys(name for plate in plates for name in both_sides(model, plate)))


def _relief_options(said, unit):
    from .relief import Options
    from .units import length_mm

    given = {}
    for word in ("cutter", "ligament"):
        text = getattr(said, word)
        if text is not None:
            bare = text.replace(".", "", 1).isdigit()
            given[word] = length_mm(float(text) if bare else text, unit)
    return Options(**given, everything=said.all)


def _density(model, material):
    if material is None:
        return None
    if material not in model.materials:
        raise LinkageError(f'no material "{material}"; {nearest(material, model.materials)}')
    return model.materials[material].density


def _relieved(system, names, options):
    """One relief after the other, each in the system with those before."""
    from .motion import System
    from .relief import relieve

    done = []
    for name in names:
        done.append(relieve(system, name, options))
        if done[-1].needed:
            system = System(done[-1].model)
    return done


def _proven_again(written, names) -> int:
    """Clearance of the whole written file; 1 when a pair of the plates is missed."""
    from . import clearance

    found = clearance(load(written))
    missed = found[~found["ok"].astype(bool)]
    theirs = [pair for pair in missed["pair"] if set(pair.split(" | ")) & set(names)]
    print(f"{written}: written, read back, and its whole clearance worked out again: "
          f"{len(found) - len(missed)} of {len(found)} near pairs pass.")
    for pair in missed["pair"]:
        print(f"MISS  {pair}{'' if pair in theirs else ' (no pair of these plates)'}")
    return 1 if theirs else 0


def _template(argv) -> int:
    parser = _plate_parser("template", "Write a plate at full size as it stands, and its twin.")
    parser.add_argument("--mirrored", action="store_true",
                        help="write the part for the other side too where the file has no twin")
    said = parser.parse_args(argv)
    from . import relief, sheet

    system, files, drawings = load(said.file), {}, {}
    relief.check_folder(said.out)
    for name in _both_sides(system.model, said.plate):
        _add_templates(relief.templates(system.model, name, paper=said.paper), files, drawings)
        if said.mirrored and relief.twin_of(system.model, name) is None:
            _add_templates(relief.templates(system.model, name, paper=said.paper, mirrored=True),
                           files, drawings)
    relief.write_all(said.out, files)
    print(sheet.template_sheet(drawings, said.out, said.paper))
    return 0


def _add_templates(made, files, drawings):
    drawings[next(name for name in made if name).rsplit(".", 1)[0]] = made.pop(None)
    files.update(made)


if __name__ == "__main__":
    sys.exit(main())
