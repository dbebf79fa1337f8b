"""`linkage rig`: rods to make and turn, rod ends, rig pins, as built, tolerances, wires."""

from __future__ import annotations

from pathlib import Path

from .. import gearing, load, rigging, sheet
from ..errors import LinkageError, nearest
from ..model.file import digest, format_model, refuse_taken, write_text
from ..motion import System
from ..units import CAUTION
from .shared import check_picture, parser_of, write_picture, write_tables


def run(argv) -> int:
    said = _parser().parse_args(argv)
    system = load(said.file)
    if said.picture:
        check_picture(said.picture, said.replace)
    if said.out and not said.readings:
        raise LinkageError("--out writes the aircraft as built, so it needs --readings too")
    if said.out:
        refuse_taken(said.out)
    for word, needed in (("zeroed", "readings"), ("doubt", "readings"), ("surface", "picture")):
        if getattr(said, word) and not getattr(said, needed):
            raise LinkageError(f"--{word} needs --{needed} too")
    if said.surface and said.surface not in system.model.surfaces:
        raise LinkageError(f'--surface: no surface "{said.surface}"; '
                           f"{nearest(said.surface, system.model.surfaces)}")
    fit = _fit(system, said) if said.readings else None
    flown = System(rigging.as_built_model(system, fit[1])) if fit else system
    adjustment = _adjustment(flown, said)
    text, missed = sheet.rig_sheet(system, adjustment, fit)
    study = rigging.study(flown)
    more, also = sheet.tolerance_sheet(study)
    missed += also
    print(sheet.heading(system, said.file), text, more, sep="\n\n")
    if said.csv:
        from ..tables import rig_tables, tolerance_tables

        write_tables(Path(said.csv), rig_tables(system, adjustment, fit) | tolerance_tables(study))
    if said.picture:
        _draw(said, system, fit)
    if said.out:
        write_text(said.out, _note(said, fit[1]) + format_model(flown.model))
        print(f"\n{said.out}: the aircraft as built, written; check it with: linkage {said.out}")
    print(f"\n{_verdict(missed)}")
    return 1 if missed else 0


def _note(said, fit) -> str:
    """What stands at the top of the file of the aircraft as built."""
    lines = [f"{' '.join(Path(said.file).name.split())} as built, by the readings in "
             f"{' '.join(Path(said.readings).name.split())}.", *CAUTION.split("\n")]
    lines += [f"Only together determined by the readings: {', '.join(names)}."
              for names in fit.together]
    return "".join(f"# {line}\n" for line in lines)


def _verdict(missed: int) -> str:
    if missed:
        return f"{missed} requirement{'s' if missed > 1 else ''} of the rigging missed."
    return ("Nothing of the rigging that could be worked out misses; see above for what could "
            "not be.")


def _parser():
    parser = parser_of("rig", "Print rods to make, what a turn does, rod-end misalignment, rig "
                              "pins, build tolerances, free play, wires and grips; with --measured "
                              "what to turn, with --readings the aircraft as built; exit 1 when a "
                              "rod end, a rig pin, the adjustment, a wire or a grip misses.",
                       writes=True)
    parser.add_argument("file", help="model file (TOML)")
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


def _draw(said, system, fit):
    from .. import plots

    if said.surface is not None:
        ax = plots.contributors(system, surface=said.surface)
    else:
        ax = plots.half_turns(system) if fit is None else plots.as_built(system, fit)
    write_picture(ax, said.picture)


def _fit(system, said):
    readings = rigging.read_readings(system, said.readings, digest(said.file))
    try:
        return readings, rigging.fit_as_built(system, readings, zeroed=said.zeroed,
                                              rods=said.doubt, error=said.trust)
    except LinkageError as error:
        raise type(error)(f"{said.readings}: {error.sentence}", **error.facts) from error


def _adjustment(system, said):
    """What to turn, where something was measured or does not stand at neutral by the file."""
    measured = {}
    for text in said.measured:
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
    return rigging.adjust(system, measured, said.within)
