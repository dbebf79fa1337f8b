"""`linkage schema`: the JSON Schema of model files."""

from __future__ import annotations

import json

from ..model.file import refuse_taken, schema, write_text
from .shared import parser_of


def run(argv) -> int:
    parser = parser_of("schema", "Write the JSON Schema of model files, so that an editor "
                                 "completes them.", writes=True)
    parser.add_argument("--out", required=True, metavar="FILE", help="file to write")
    args = parser.parse_args(argv)
    refuse_taken(args.out, args.replace)
    write_text(args.out, json.dumps(schema(), indent=1) + "\n")
    print(f"{args.out}: written")
    return 0
