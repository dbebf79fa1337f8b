"""Everything that a report tells, worked out once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from .. import gearing
from ..clearance import clearance
from ..files import digest
from ..motion import System
from ..stops import find_stops, travel_map


@dataclass(frozen=True, eq=False)
class Results:
    """What was found of one model file.

    Attributes
    ----------
    system : System
    source : str
        The file's name, without its folders.
    digest : str
        Of the file.
    findings : list of Finding
    travels, margins : DataFrame
    clearance, stops : DataFrame or None
        None where the file has no solids, or no stops.
    travel_map : TravelMap or None
        None with fewer than two inputs, or no solids.
    """

    system: System
    source: str
    digest: str
    findings: list
    travels: Any
    margins: Any
    clearance: Any
    stops: Any
    travel_map: Any

    @property
    def missed(self) -> int:
        """Requirements of the file that are missed."""
        found = sum(f.miss for f in self.findings) + _false(self.travels)
        found += 0 if self.clearance is None else _false(self.clearance)
        return found + len(self.ends_missed)

    @property
    def ends_missed(self) -> list:
        """Ends of travels that have stops of which none governs."""
        from ..stops import ends_without_stop

        return [] if self.stops is None else ends_without_stop(self.system, self.stops)


def _false(table) -> int:
    return int((~table["ok"].astype(bool)).sum())


def work_out(system: System, source, tell=lambda phase: None) -> Results:
    """Work everything out.

    Parameters
    ----------
    system : System
    source : path
        The file that it came from.
    tell : callable, optional
        Told the name of each phase as it begins.

    Returns
    -------
    Results
    """
    from pathlib import Path

    tell("gearing")
    margins = gearing.margins(system)
    findings, travels = gearing.find(system, margins), gearing.required_travels(system)
    found = mapped = stops = None
    if system.model.solids:
        tell("clearance")
        found = clearance(system)
        tell("travel map")
        mapped = travel_map(system) if len(gearing.box_of(system)) > 1 else None
        tell("stops")
        stops = find_stops(system) if system.model.stops else None
    return Results(system, Path(source).name, digest(source), findings, travels, margins, found,
                   stops, mapped)
