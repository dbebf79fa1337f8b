"""The clearance table, judged over the travel that the stops really leave."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .. import clearances
from ..motion import System
from .real import real_travel

if TYPE_CHECKING:
    import pandas as pd


def clearance(system: System, tolerance_mm: float = 0.05, *, built: bool = False,
              after: pd.DataFrame | None = None) -> pd.DataFrame:
    """Least clearance of every pair that can come near, with proof, over wanted and real travel.

    Parameters
    ----------
    system : System
    tolerance_mm : float
        Wanted width of the bracket, mm.
    built : bool
        Prove it for every build within the file's tolerances instead of as drawn; the real travel
        is then that of every build too.
    after : DataFrame, optional
        What this gave for a like system, as drawn: what holds of that proof is not worked out
        again.

    Returns
    -------
    DataFrame
        As `linkage.clearances.clearance` gives it with the real travel: least and proven over the
        wanted travel, real_least and real_proven over the one that the stops leave, on which ok
        is judged.  That travel is a cover, a little larger than the truth: real_least is met in
        it, which may be a few cells of `fine` past the stop.

    Raises
    ------
    LinkageError
        When the faces of a stop touch at neutral, so that the stops leave no travel.
    """
    real = real_travel(system, system.model.tolerance if built else None)
    return clearances.clearance(system, tolerance_mm, built=built, after=after, real=real.travel)
