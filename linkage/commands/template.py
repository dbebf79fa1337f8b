"""`linkage template`: a plate at full size as it stands."""

from __future__ import annotations

from .. import load, relief
from .plates import add_templates, names_both_sides, plate_parser


def run(argv) -> int:
    parser = plate_parser("template", "Write a plate at full size as it stands, and its twin.")
    parser.add_argument("--mirrored", action="store_true",
                        help="write the part for the other side too where the file has no twin")
    args = parser.parse_args(argv)
    system, files, drawings = load(args.file), {}, {}
    relief.check_folder(args.out)
    for name in names_both_sides(system.model, args.plate):
        add_templates(relief.templates(system.model, name, paper=args.paper), files, drawings)
        if args.mirrored and relief.twin_of(system.model, name) is None:
            add_templates(relief.templates(system.model, name, paper=args.paper, mirrored=True),
                           files, drawings)
    relief.write_all(args.out, files, args.replace)
    from ..sheet import template_sheet

    print(template_sheet(drawings, args.out, args.paper))
    return 0
