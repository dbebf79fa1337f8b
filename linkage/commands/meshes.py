"""`linkage meshes`: the parts as solid files."""

from __future__ import annotations

import math
from pathlib import Path

from .. import load
from ..disk import check_folder, file_stems, fill_folder
from ..errors import LinkageError, nearest
from .shared import parser_of


def run(argv: list[str]) -> int:
    parser = parser_of("meshes", "Write the system as one GLB file, its parts named and an "
                                 "animation an input over its travel, and each part as STL, in "
                                 "stations and mm, at a stick position.", writes=True)
    parser.add_argument("file", metavar="FILE", help="model file (TOML)")
    parser.add_argument("--out", required=True, metavar="DIR", help="folder to write them to")
    parser.add_argument("--at", action="append", default=[], metavar="INPUT=VALUE",
                        help="stick position, degrees (mm); an input left out is at 0; may be "
                             "repeated")
    args = parser.parse_args(argv)
    system = load(args.file)
    from ..solid_files import WITHIN, glb, part_names, stl

    at = _position(system, args.at)
    whole, stems = f"{Path(args.file).stem}.glb", file_stems(part_names(system))
    check_folder(args.out, [whole, *(f"{stem}.stl" for stem in stems.values())], args.replace)
    motion = system.sweep(**at)
    files = {whole: glb(system, **at)}
    files |= {f"{stem}.stl": stl(motion, part) for part, stem in stems.items()}
    fill_folder(args.out, files, replace=args.replace)
    print(f"{args.out}: {whole} with {len(stems)} parts, and each as STL, written; round parts "
          f"within {WITHIN:g} mm, skins by their middle surface; to look at and to check prints "
          f"by, no proof of anything")
    return 0


def _position(system, asked) -> dict:
    """The stick position asked for, degrees (mm)."""
    at = {}
    for text in asked:
        name, _, value = text.partition("=")
        if name not in system.inputs:
            raise LinkageError(f'--at: no input "{name}"; {nearest(name, system.inputs)}')
        try:
            at[name] = float(value)
        except ValueError as problem:
            raise LinkageError(f'--at: needs INPUT=VALUE such as {name}=5, got "{text}"') \
                from problem
        if not math.isfinite(at[name]):
            raise LinkageError(f"--at: needs a finite value for {name}, got {value}")
    return at
