"""The top of a sheet, and the sheet of all results."""

from __future__ import annotations

from ..errors import counted, shown_text
from ..motion import System
from ..results import Results, as_text, blocks_of
from ..units import CAUTION, LENGTHS


def heading(system: System, source: str) -> str:
    """Top of a sheet: what was read, and its unit."""
    model = system.model
    count = ", ".join(counted(len(parts), *words) for parts, words in (
        (model.bodies, ("body", "bodies")), (model.rods, ("rod", "rods")),
        (model.couplings, ("coupling", "couplings")), (model.surfaces, ("surface", "surfaces"))))
    return (f"{model.title}\n{shown_text(str(source))}: {count}; lengths in "
            f"{LENGTHS[model.length].words}, angles in degrees from neutral")


def sheet_of(results: Results, source: str) -> str:
    """The sheet: the answer first, then its chapters.

    Parameters
    ----------
    results : Results
    source : str
        The file as it was named.

    Returns
    -------
    str
    """
    first, *names = results.chapters
    wrong = [f"MISS  {miss.how_much}" for miss in results.verdict.missed
             if miss.kind == "direction"]
    return "\n\n".join([*(["\n".join(wrong)] if wrong else []), heading(results.system, source),
                        as_text(blocks_of(results, [first])), CAUTION,
                        as_text(blocks_of(results, names))])
