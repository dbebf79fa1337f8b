"""`linkage template`: a plate at full size as it stands."""

from __future__ import annotations

from .. import load, relief
from ..disk import check_folder
from ..model.file import model_digest
from .plates import add_templates, names_both_sides, plate_parser

NOTES = ("The plate as the file draws it: what clearance it keeps, as drawn or as built, is not "
         "worked out here",)


def run(argv: list[str]) -> int:
    parser = plate_parser("template", "Write a plate at full size as it stands, and its twin.")
    parser.add_argument("--mirrored", action="store_true",
                        help="write the part for the other side too where the file has no twin")
    args = parser.parse_args(argv)
    system, files, drawings = load(args.file), {}, {}
    notes = (relief.identity(system.model, model_digest(args.file)), *NOTES)
    names = names_both_sides(system.model, args.plate)
    check_folder(args.out, [name for mirrored in {False, args.mirrored} for name in
                            relief.template_names(system.model, names, mirrored)], args.replace)
    for name in names:
        add_templates(relief.templates(system.model, name, paper=args.paper, notes=notes), files,
                      drawings)
        if args.mirrored and relief.twin_of(system.model, name) is None:
            add_templates(relief.templates(system.model, name, paper=args.paper, mirrored=True,
                                           notes=notes), files, drawings)
    relief.write_all(args.out, files, args.replace)
    from ..sheet import template_sheet

    print(template_sheet(drawings, args.out, args.paper))
    return 0
