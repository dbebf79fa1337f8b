"""What every verb shares: the parser of its words."""

from __future__ import annotations

import argparse

from .. import __version__
from .verbs import VERBS


def parser_of(verb: str, about: str) -> argparse.ArgumentParser:
    name = f"linkage {verb}".strip()
    parser = argparse.ArgumentParser(prog=name, description=about)
    if not verb:
        others = (f"linkage {name} {words} ({what})" for name, (words, what) in VERBS.items())
        parser.epilog = f"Other verbs: {', '.join(others)}."
        parser.add_argument("--version", action="version", version=f"linkage {__version__}")
    return parser
