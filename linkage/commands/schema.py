"""`linkage schema`: the JSON Schema of model files."""

from __future__ import annotations

import json

from ..disk import check_file, write_text
from ..model.file import schema
from .shared import parser_of


def run(argv: list[str]) -> int:
    parser = parser_of("schema", "Write the JSON Schema of model files, so that an editor "
                                 "completes them.", writes=True)
    parser.add_argument("--out", required=True, metavar="FILE", help="file to write")
    args = parser.parse_args(argv)
    check_file(args.out, args.replace)
    write_text(args.out, json.dumps(schema(), indent=1) + "\n", replace=args.replace)
    print(f"{args.out}: written")
    return 0
