"""What everything rests on, versions, and room to sign."""

from __future__ import annotations

import platform
from collections.abc import Iterator
from importlib import metadata
from typing import TYPE_CHECKING

import pandas as pd

from ...geometry.outlines import WITHIN
from ...units import CAUTION, LENGTHS, shown_length
from ..blocks import Heading, Table, Text

if TYPE_CHECKING:
    from ..answers import Answers
    from ..blocks import Block

TABLES = ("Signatures",)
ASSUMED = (
    "Parts are rigid and ball ends have no play; what bends, stretches or wears is not in the "
    "kinematics.",
    "Neutral is the posture of the hardpoints in the file; every angle counts from it.  Stick "
    "positions, deflections and what a level reads are shown to 0.1°, so within 0.05°; bounds are "
    "rounded towards the bad side, so within 0.1°; angles between two builds or of a turn to "
    "0.01°.  The tables as CSV, JSON and HTML hold every digit.",
    "A least clearance was met at the stick position beside it; a proven one holds for every "
    "position of the whole wanted travel, to the last rounding, for the solids as drawn; what the "
    "checker certifies is 0.002 mm less, over the travel that the stops leave.",
    "Arcs of outlines are polygons that never lose material, within {arcs}; rods may spin about "
    "their own line.",
    "Required clearances are the file's own; those of its classes that it leaves out are after "
    "MIL-F-9490D, from memory, to be verified, and are no regulation for a light aircraft.")
PARTS = ("numpy", "scipy", "pandas", "matplotlib", "shapely", "reportlab")


def blocks(results: Answers) -> Iterator[Block]:
    """Blocks on assumptions, versions and signatures."""
    yield Heading("Assumptions, versions, signature")
    for line in ASSUMED:
        yield Text(line.format(arcs=shown_length(WITHIN, results.system.model.length, 4)))
    checked = results.checker or ("not asked; linkage FILE --out writes a certificate and asks it, "
                                  "where python-flint is installed")
    yield Text(f"The checker of certificates, a small program that shares no code with the search, "
               f"on the clearance proof: {checked}.")
    if results.digest:
        yield Text(f"Model file {results.source}, digest {results.digest} (SHA-256 of the file "
                   f"and of the files it uses, first 16 digits).  Lengths are in "
                   f"{LENGTHS[results.system.model.length].words}, angles in degrees from neutral.")
    words = ", ".join(f"{name} {metadata.version(name)}" for name in PARTS)
    yield Text(f"Made by linkage {_version()} with Python {platform.python_version()}, {words}.")
    yield Table("Signatures", pd.DataFrame([
        {"who": who, "name": "", "date": "", "signature": ""}
        for who in ("built by", "checked by", "second check")]), blank=("name", "date",
                                                                       "signature"))
    yield Text(CAUTION, "caution")


def _version() -> str:
    try:
        return metadata.version("linkage")
    except metadata.PackageNotFoundError:
        return "from its source folder"
