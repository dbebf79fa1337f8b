"""`linkage relief`: what to cut away from a plate, proven."""

from __future__ import annotations

from pathlib import Path

from .. import clearance, load, relief
from ..disk import check_folder
from ..errors import LinkageError, counted, nearest
from ..model.file import drawings_of, model_digest
from ..model.keys import at
from ..motion import System
from ..units import CAUTION, length_mm, lengths_said_in
from .plates import add_templates, names_both_sides, plate_parser
from .shared import working

BUILD = {True: "Cut for every build within the file's tolerances; --drawn cuts for the drawn "
               "geometry alone.",
         False: "Cut for the drawn geometry, not for every build within tolerances."}


def run(argv: list[str]) -> int:
    parser = plate_parser("relief", "Cut a plate free of everything that moves through or past "
                                     "it, prove it, and write the system with it and templates; "
                                     "exit 1 when a clearance of the plate is still missed.")
    parser.add_argument("--cutter", metavar="LENGTH", help="radius of the cutter; 3 mm or 1/8 in")
    parser.add_argument("--ligament", metavar="LENGTH", help="least width that may stay; 6 mm or "
                                                             "twice the thickness")
    parser.add_argument("--all", action="store_true", help="cut for every pair of the plate, not "
                                                           "only those whose clearance is missed")
    parser.add_argument("--material", help="material of the file that the plate is of, for mass")
    which = parser.add_mutually_exclusive_group()
    which.add_argument("--built", action="store_true", help="cut for every build within the file's "
                       "tolerances, as is done anyway where the file gives any")
    which.add_argument("--drawn", action="store_true", help="cut for the drawn geometry alone")
    args = parser.parse_args(argv)
    system = load(args.file)
    args.built = _for_builds(system.model, args)
    density = _density(system.model, args.material)
    names = names_both_sides(system.model, args.plate, skins=True)
    drawn = drawings_of(args.file)
    check_folder(args.out, [*relief.relieved_names(args.file, args.out),
                            *(file for name in names
                              if (file := relief.mesh_name(system.model, name))),
                            *relief.template_names(system.model, names),
                            *(relief.cut_name(system.model, name, drawn[name][0]) for name in names
                              if name in drawn)], args.replace)
    with lengths_said_in(system.model.length), working("cutting free"):
        done = _relieved(system, names, _relief_options(args, system.model.length))
    files, drawings = relief.relieved_file(args.file, done, args.out), {}
    written = Path(args.out) / relief.relieved_names(args.file, args.out)[-1]
    for each in done:
        add_templates(relief.relief_templates(each, args.paper, model_digest(args.file)), files,
                      drawings)
    files |= relief.cut_drawings(drawn, done)
    relief.write_all(args.out, files, args.replace)
    from ..sheet import relief_sheet, template_sheet

    print(CAUTION, BUILD[args.built], relief_sheet(done, system.model.length, density),
          template_sheet(drawings, args.out, args.paper), sep="\n\n")
    return _proven_again(written, names, built=args.built)


def _relief_options(args, unit):
    lengths = {}
    for word in ("cutter", "ligament"):
        text = getattr(args, word)
        if text is not None:
            with at(f"--{word}"):
                bare = text.replace(".", "", 1).isdecimal() and text.isascii()
                lengths[word] = length_mm(float(text) if bare else text, unit)
                if not lengths[word] > 0 and word == "ligament":
                    raise LinkageError(f'is "{text}"; give more than 0')
    return relief.Options(**lengths, everything=args.all, built=args.built)


def _for_builds(model, args) -> bool:
    """Whether to cut for every build: so where the file gives tolerances, unless told otherwise."""
    if args.built and not model.has_tolerances:
        raise LinkageError("--built cuts for every build within the file's tolerances, and the "
                           "file gives none; add [tolerance] hardpoint and rod")
    return model.has_tolerances and not args.drawn


def _density(model, material):
    if material is None:
        return None
    if material not in model.materials:
        raise LinkageError(f'no material "{material}"; {nearest(material, model.materials)}')
    return model.materials[material].density


def _relieved(system, names, options):
    """One relief after the other, each in the system with those before."""
    done = []
    for name in names:
        done.append(relief.relieve(system, name, options))
        if done[-1].needed:
            system = System(done[-1].model)
    return done


def _proven_again(written, names, *, built) -> int:
    """Clearance of the written file as drawn, and of the plates as built; 1 where theirs misses."""
    system = load(written)
    table = clearance(system)
    missed = table[~table["ok"].astype(bool)]
    theirs = [pair for pair in missed["pair"] if set(pair.split(" | ")) & set(names)]
    print(f"{written}: written, read back, and its whole clearance worked out again as drawn: "
          f"{len(table) - len(missed)} of {len(table)} near pairs pass.")
    for pair in missed["pair"]:
        print(f"MISS  {pair}{'' if pair in theirs else ' (no pair of these plates)'}")
    short = _short_as_built(system, names) if built else []
    return 1 if theirs or short else 0


def _short_as_built(system, names) -> list:
    """Plates of which a pair misses in a build; printed."""
    short = [name for name in names if relief.short_in_a_build(system, name)]
    print(f"In every build within the tolerances: the pairs of {len(names) - len(short)} of "
          f"{counted(len(names), 'plate')} are proven again.")
    for name in short:
        print(f"MISS  {name}: a pair of it, in a build within the tolerances")
    return short
