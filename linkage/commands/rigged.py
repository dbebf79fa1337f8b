"""What `linkage rig` shows: the aircraft as it is flown, and what to turn on it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from .. import rigging
from ..motion import System
from ..results import Miss, Results, blocks_of
from ..results.chapters import as_built, rods

if TYPE_CHECKING:
    from ..rigging.adjustment import Adjustment
    from ..rigging.as_built import AsBuilt
    from ..rigging.readings import Readings


def rigged_results(source: Path | str, system: System, flown: System,
                   adjustment: Adjustment | None) -> Results:
    """Results of the rods as in the file, and of wires and tolerances as flown.

    Where there is something to turn, rig pins and tilts are those of the aircraft once it is
    turned, which is what it is to be judged by.

    Parameters
    ----------
    source : path
    system, flown : System
        As in the file, and as built where readings say so.
    adjustment : rigging.Adjustment or None

    Returns
    -------
    Results
    """
    short = () if adjustment is None or adjustment.ok else (
        Miss("adjustment", "", "the rod ends that may be turned do not bring every surface and "
                               "every rig pin within what was asked"),)
    results = Results.of_file(flown, source, only=("rods", "wires", "tolerances"),
                              also_missed=short)
    if flown is not system:
        results.keep(*Results(system).known_after(("rods", "rod_ends", "turns")))
    if adjustment is not None:
        results.keep(*once_turned(flown, adjustment).known_after(("misalignment", "rig_pins")))
    return results


def once_turned(flown: System, adjustment: Adjustment) -> Results:
    """Results of the aircraft with the rods as long as the turns make them."""
    return Results(System(rigging.model_with_lengths(flown.model, adjustment.lengths)))


def rigged_blocks(results: Results, adjustment: Adjustment | None,
                  fit: tuple[Readings, AsBuilt] | None) -> tuple[list, list]:
    """The answer's blocks, and those of the rest.

    Parameters
    ----------
    results : Results
    adjustment : rigging.Adjustment or None
    fit : (rigging.Readings, rigging.AsBuilt) or None

    Returns
    -------
    (list, list)
    """
    more = [] if fit is None else list(as_built.blocks(results.system, *fit))
    if adjustment is not None:
        settled = fit is None or not fit[1].together
        more += rods.adjustment_blocks(results.system, adjustment, settled)
        more += rods.turned_blocks(once_turned(results.system, adjustment))
    first, *names = results.chapters
    after = names.index("rods") + 1
    return (blocks_of(results, [first]),
            [*blocks_of(results, names[:after]), *more, *blocks_of(results, names[after:])])
