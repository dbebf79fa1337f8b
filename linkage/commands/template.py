"""`linkage template`: a plate at full size as it stands."""

from __future__ import annotations

from .. import load, relief, sheet
from ..disk import check_folder
from .plates import add_templates, names_both_sides, plate_parser


def run(argv) -> int:
    parser = plate_parser("template", "Write a plate at full size as it stands, and its twin.")
    parser.add_argument("--mirrored", action="store_true",
                        help="write the part for the other side too where the file has no twin")
    said = parser.parse_args(argv)
    system, files, drawings = load(said.file), {}, {}
    names = names_both_sides(system.model, said.plate)
    check_folder(said.out, [name for mirrored in {False, said.mirrored} for name in
                            relief.template_names(system.model, names, mirrored)], said.replace)
    for name in names:
        add_templates(relief.templates(system.model, name, paper=said.paper), files, drawings)
        if said.mirrored and relief.twin_of(system.model, name) is None:
            add_templates(relief.templates(system.model, name, paper=said.paper, mirrored=True),
                           files, drawings)
    relief.write_all(said.out, files, said.replace)
    print(sheet.template_sheet(drawings, said.out, said.paper))
    return 0
