"""What was cut from plates and what was written of them, as text."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from ..relief import Relief, page_count, said_area, said_width
from ..results import aligned, number, section
from ..units import CAUTION, LENGTHS


def relief_sheet(reliefs: Sequence[Relief], unit: str, density: float | None = None) -> str:
    """Pairs cured and what was taken away, a table each.

    Parameters
    ----------
    reliefs : sequence of Relief
    unit : {"mm", "in"}
    density : float, optional
        kg/mm³ of the plates, for the mass taken away.

    Returns
    -------
    str
    """
    per, digits = LENGTHS[unit].mm, LENGTHS[unit].digits + 1
    pairs = [[row["pair"], number(row["required"] / per, digits),
              number(row["before"] / per, digits), number(row["after"] / per, digits)]
             for relief in reliefs for row in relief.pairs]
    parts = [f"{relief.name}: every clearance it has to keep is met as it stands; nothing to cut"
             for relief in reliefs if not relief.needed]
    if pairs:
        parts.append(section("Clearance over the whole travel", aligned(
            ["pair", f"required {unit}", "least before", "proven with the relief"], pairs)))
    rows = [_row(relief, unit, density) for relief in reliefs if relief.needed]
    if rows:
        parts.append(section("Taken away", aligned(
            ["plate", "area", "of it in the way", "grown", "for the cutter", "narrowest left",
             "to the edge", "nearest hole", "mass"], rows)))
    return "\n\n".join(parts)


def _row(relief: Relief, unit, density):
    cut = relief.cut
    edge = cut.edges.get("edge", np.inf)
    holes = [away for name, away in cut.edges.items() if name != "edge" and away > 1e-3]
    mass = "–" if density is None else \
        f"{cut.removed.area * relief.flat.thickness * density * 1000:.1f} g"
    return [relief.name, said_area(cut.removed.area, unit), said_area(cut.need.area, unit),
            said_area(cut.growth.area, unit), said_area(cut.overcut.area, unit),
            said_width(cut.ligament, unit), said_width(edge, unit) if edge > 1e-3 else "open",
            said_width(min(holes), unit) if holes else "–", mass]


def template_sheet(drawings: dict, folder: Path | str, paper: str | None = None) -> str:
    """What templates were written, and what they measure.

    Parameters
    ----------
    drawings : dict
        ``{file stem: Drawing}``.
    folder : path
    paper : {"A4", "Letter"}, optional

    Returns
    -------
    str
    """
    rows = []
    for stem, drawing in drawings.items():
        size = np.ptp(drawing.contours[0][1].drawn(), axis=0) / LENGTHS[drawing.unit].mm
        rows.append([f"{stem}.dxf .svg .pdf", f"{size[0]:.2f} x {size[1]:.2f} {drawing.unit}",
                     said_area(drawing.area, drawing.unit), str(page_count(drawing, paper))])
    return "\n".join([section(f"Templates at full size in {folder}", aligned(
        ["files", "size", "area", "pages of the PDF"], rows)), CAUTION])
