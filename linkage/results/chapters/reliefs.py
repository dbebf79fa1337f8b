"""What to cut away from plates whose clearance is missed."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from ... import relief
from ...units import LENGTHS
from ..blocks import Heading, Table, Text
from ..movements import in_builds

if TYPE_CHECKING:
    from ..answers import Answers
    from ..blocks import Block

TABLES = ("Relief of ",)


def blocks(results: Answers) -> Iterator[Block]:
    """Blocks on each relief alone in the system as it stands."""
    yield Heading("Reliefs")
    if results.reliefs is None:
        yield Text(f"Missing: {results.why_not('reliefs')}.", "missing")
        return
    done, refused = results.reliefs
    if not done and not refused:
        yield Text("No plate misses a clearance, so there is nothing to cut away.")
    unit = results.system.model.length
    for each in done:
        yield Table(f"Relief of {each.name}", _cured(each, unit),
                    f"Cut {in_builds(results)}{_more(results, each.name)}: "
                    f"{relief.said_area(each.cut.removed.area, unit)} to take away; narrowest left "
                    f"by it {relief.said_width(each.cut.ligament, unit)}.  Full-size templates: "
                    f"the report's folder templates, or linkage relief.")
    for sentence in refused:
        yield Text(f"No relief: {sentence}")


def _more(results, name) -> str:
    """How to cut for builds where the file gives tolerances and the relief is as drawn."""
    if results.built or not results.system.model.has_tolerances:
        return ""
    return (f", not for the builds within the file's tolerances (for these: linkage relief "
            f"{results.source or 'FILE'} \"{name}\" --out DIR, or this with --built)")


def _cured(each, unit):
    import pandas as pd

    per = LENGTHS[unit].mm
    return pd.DataFrame([{"pair": row["pair"], f"required {unit}": row["required"] / per,
                          f"least before {unit}": row["before"] / per,
                          f"proven with it {unit}": row["after"] / per} for row in each.pairs])
