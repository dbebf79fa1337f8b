"""What best explains readings: the aircraft as built."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pandas as pd

from ...errors import counted
from ...units import LENGTHS
from ..blocks import Heading, Table, Text, with_units

if TYPE_CHECKING:
    from ...motion.system import System
    from ...rigging.as_built import AsBuilt
    from ...rigging.readings import Readings
    from ..blocks import Block

TABLES = ("As built, rods", "As built, instruments", "Readings")


def blocks(system: System, readings: Readings, fit: AsBuilt) -> Iterator[Block]:
    """Blocks on what was fitted to readings.

    Parameters
    ----------
    system : System
    readings : rigging.Readings
    fit : rigging.AsBuilt
    """
    yield Heading("As built: what best explains the readings")
    lengths, angles = unknowns(system, fit.table)
    for name, data in (("As built, rods", lengths), ("As built, instruments", angles)):
        if len(data):
            yield Table(name, data, "Rod: longer than in the file; stick zero: to add to what its "
                                    "instrument reads; surface zero: read too much.")
    for names in fit.together:
        yield Text("Only together determined, a change of one hides in the others: "
                   f"{', '.join(names)}.", "note")
    if fit.together:
        yield Text("Zero the instruments on a rig pin or template and name them with --zeroed, or "
                   "name the rods in doubt with --doubt.")
    if fit.unseen:
        yield Text(f"No reading depends on: {', '.join(fit.unseen)}.", "note")
    worst = max(range(len(fit.residuals)), key=lambda i: abs(fit.residuals[i]))
    mean = math.sqrt(sum(float(v) ** 2 for v in fit.residuals) / len(fit.residuals))
    yield Text(f"{counted(len(fit.residuals), 'reading')}; off by {mean:.3f}° (root mean square), "
               f"most {fit.residuals[worst]:+.3f}° ({readings.names[worst]}).")
    yield Table("Readings", pd.DataFrame({
        "input": readings.input, "stick": readings.stick,
        "in": [system.inputs[name].unit for name in readings.input], "surface": readings.surface,
        "read °": readings.angle, "read less explained °": fit.residuals}))


def unknowns(system: System, data: pd.DataFrame) -> list[pd.DataFrame]:
    """What was fitted: lengths in the file's unit, and angles, a table each."""
    unit, tables = system.model.length, []
    for house, word, per in (("mm", unit, LENGTHS[unit].mm), ("°", "°", 1.0)):
        mine = data[data["unit"] == house]
        error = (mine["error"] / per).where(mine["determined"].astype(bool))
        tables.append(with_units(pd.DataFrame({
            "what": mine["unknown"], "kind": mine["kind"], f"found {word}": mine["value"] / per,
            f"standard error {word}": error, "alone determined": mine["determined"].astype(bool)})))
    return tables
