"""`linkage rig`: rods to make and turn, rod ends, rig pins, as built, tolerances, wires."""

from __future__ import annotations

from .. import gearing, load, rigging
from ..errors import LinkageError, nearest
from ..model.file import model_digest
from ..motion import System
from ..units import CAUTION
from .shared import (
    check_picture,
    check_saved,
    check_tables,
    parser_of,
    working,
    write_picture,
    write_tables,
)

CHAPTERS = ("rods", "wires", "tolerances")


def run(argv: list[str]) -> int:
    args = _parser().parse_args(argv)
    system = load(args.file)
    _check(args, system)
    from ..results import as_text, tables_of
    from ..sheet import heading
    from .rigged import rigged_blocks, rigged_results

    with working("working out rods, wires and tolerances"):
        fit = _fit(system, args) if args.readings else None
        flown = System(rigging.as_built_model(system, fit[1])) if fit else system
        adjustment = _adjustment(flown, args, fit[1].rods_off if fit else ())
        results = rigged_results(args.file, system, flown, adjustment)
        answer, blocks = rigged_blocks(results, adjustment, fit)
    print(heading(system, args.file), as_text(answer), CAUTION, as_text(blocks), sep="\n\n")
    if args.csv:
        write_tables(args.csv, tables_of(blocks), args.replace)
    if args.picture:
        _draw(args, system, fit)
    if args.out:
        rigging.write_as_built(system, fit[1], (args.file, args.readings), args.out)
        print(f"\n{args.out}: the aircraft as built, written; check it with: linkage {args.out}")
    print(f"\n{results.verdict.sentence}")
    return results.verdict.exit_code


def _check(args, system):
    """Refuse words that don't go together, before any work."""
    if args.picture:
        check_picture(args.picture, args.replace)
    if args.csv:
        check_tables(args.csv, args.replace, args.file)
    for word in ("within", "trust"):
        value = getattr(args, word)
        if not 0 < value < 90:
            raise LinkageError(f"--{word} is {value:g}°; give more than 0° and less than 90°")
    _check_needs(args)
    if args.out:
        check_saved(args.file, args.out)
    if args.surface and args.surface not in system.model.surfaces:
        raise LinkageError(f'--surface: no surface "{args.surface}"; '
                           f"{nearest(args.surface, system.model.surfaces)}")


def _check_needs(args) -> None:
    if args.out and not args.readings:
        raise LinkageError("--out writes the aircraft as built, so it needs --readings too")
    for word, needed in (("zeroed", "readings"), ("doubt", "readings"), ("surface", "picture")):
        if getattr(args, word) and not getattr(args, needed):
            raise LinkageError(f"--{word} needs --{needed} too")


def _parser():
    parser = parser_of("rig", "Print rods to make, what a turn does, rod-end misalignment, rig "
                              "pins, build tolerances, free play, wires and grips; with --measured "
                              "what to turn, with --readings the aircraft as built; exit 1 when a "
                              "rod end, a rig pin, the adjustment, a wire or a grip misses.",
                       writes=True)
    parser.add_argument("file", metavar="FILE", help="model file (TOML)")
    parser.add_argument("--measured", nargs="+", metavar="SURFACE=ANGLE", default=[],
                        help='what surfaces read with the stick at neutral: "elevator=1.5 TEU"')
    parser.add_argument("--within", type=float, default=rigging.WITHIN, metavar="DEGREES",
                        help="what may be left of it (%(default)s)")
    parser.add_argument("--readings", metavar="CSV", help="table of input, stick angle, surface, "
                                                          "surface angle (or edge)")
    parser.add_argument("--zeroed", nargs="+", metavar="NAME", default=[],
                        help="inputs and surfaces whose instrument is known to read 0 at neutral")
    parser.add_argument("--doubt", nargs="+", metavar="ROD",
                        help="rods whose length is in doubt; all unless given")
    parser.add_argument("--trust", type=float, default=rigging.ERROR, metavar="DEGREES",
                        help="what a reading can be trusted to (%(default)s)")
    parser.add_argument("--out", metavar="FILE", help="file to write the aircraft as built to")
    parser.add_argument("--csv", metavar="DIR", help="also write the tables there as CSV")
    parser.add_argument("--picture", metavar="FILE", help="draw what half a turn does, or with "
                                                          "--readings the aircraft as built, to "
                                                          "a PNG, SVG or PDF")
    parser.add_argument("--surface", metavar="NAME", help="with --picture: draw which tolerance "
                                                          "moves this surface most instead")
    return parser


def _draw(args, system, fit):
    from .. import plots

    if args.surface is not None:
        ax = plots.contributors(system, surface=args.surface)
    else:
        ax = plots.half_turns(system) if fit is None else plots.as_built(system, fit)
    write_picture(ax, args.picture, args.replace)


def _fit(system, args):
    readings = rigging.read_readings(system, args.readings, model_digest(args.file))
    try:
        return readings, rigging.fit_as_built(system, readings, zeroed=args.zeroed,
                                              rods=args.doubt, error=args.trust)
    except LinkageError as error:
        raise type(error)(f"{args.readings}: {error.sentence}", **error.facts) from error


def _adjustment(system, args, first):
    """What to turn, where something was measured or does not stand at neutral by the file."""
    measured = {}
    for text in args.measured:
        name, equals, angle = text.rpartition("=")
        if not equals:
            raise LinkageError(f'--measured: "{text}" says no angle; write it like '
                               f'"{text}=1.5 TEU"')
        if name not in system.model.surfaces:
            raise LinkageError(f'--measured: no surface "{name or text}"; '
                               f"{nearest(name, system.model.surfaces)}")
        words = gearing.deflection_words(system, name)
        measured[name] = rigging.signed_angle(angle, words, f"--measured {name}")
    if not measured and not any(abs(off) > 1e-6 for off in system.offsets.values()):
        return None
    return rigging.adjust(system, measured, args.within, first)
