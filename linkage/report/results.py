"""Everything that a report tells, worked out once."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, partial
from typing import Any

from .. import gearing, rigging, tables
from ..clearances import clearance
from ..errors import LinkageError
from ..model.file import digest
from ..motion import System
from ..stops import find_stops, travel_map

MARGINS = {"rod margins": ("column_margin", "tube_margin", "joint_margin"),
           "torque tubes": ("margin",)}


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
    mapping : callable or None
        Gives the travel map when it is asked for; None where there can be none.
    """

    system: System
    source: str
    digest: str
    findings: list
    travels: Any
    margins: Any
    clearance: Any
    stops: Any
    mapping: Any

    @cached_property
    def travel_map(self):
        """The travel map; None with fewer than two inputs, or no solids."""
        return None if self.mapping is None else self.mapping()

    @property
    def missed(self) -> int:
        """Requirements of the file that are missed."""
        found = sum(f.miss for f in self.findings) + _false(self.travels)
        found += 0 if self.clearance is None else _false(self.clearance)
        return found + len(self.ends_missed) + len(self.further_missed)

    @property
    def asked(self) -> bool:
        """Whether the file asks for anything that can be missed."""
        return bool(len(self.travels) or self.clearance is not None or self.loads or self.rods)

    @property
    def loads(self) -> dict:
        """Tables of loads and margins; none where the file gives no load."""
        return self.loads_or_why[0]

    @cached_property
    def loads_or_why(self) -> tuple[dict, str]:
        """Tables of loads and margins, and why there are none."""
        if not self.system.model.rods or not self.system.model.surfaces:
            return {}, "loads need rods and surfaces"
        try:
            return tables.loads_tables(self.system), ""
        except LinkageError as none:
            return {}, str(none)

    @cached_property
    def rods(self) -> dict:
        """Tables of rods, rod ends and rig pins; none without rods."""
        return tables.rig_tables(self.system) if self.system.model.rods else {}

    @cached_property
    def built(self) -> dict:
        """Tables of tolerances, play, wires and grips; none without rods."""
        return tables.tolerance_tables(rigging.study(self.system)) if self.system.model.rods else {}

    @cached_property
    def further_missed(self) -> list[str]:
        """A sentence for each margin, rod end, rig pin, wire and grip that is missed."""
        found = []
        for name, words in MARGINS.items():
            for row in self.loads[name].to_dict("records") if self.loads else ():
                found += [f"{row[next(iter(row))]}: {word.replace('_', ' ')} {row[word]:+.2f}"
                          for word in words if row[word] < 0]
        for name, data in (self.rods | self.built).items():
            if "ok" in data:
                found += [f"{name}: {', '.join(str(k) for k in list(row.values())[:2])}"
                          for row in data[data["ok"].eq(False)].to_dict("records")]
        return found

    @property
    def ends_missed(self) -> list:
        """Ends of travels that have stops of which none governs."""
        from ..stops import ends_without_stop

        return [] if self.stops is None else ends_without_stop(self.system, self.stops)


def _false(table) -> int:
    return int((~table["ok"].astype(bool)).sum())


def can_map(system: System) -> bool:
    """Whether a travel map can be drawn: there are solids and two inputs."""
    return bool(system.model.solids) and len(gearing.box_of(system)) > 1


def work_out(system: System, source, tell=lambda phase: None, mapping=None) -> Results:
    """Work everything out.

    Parameters
    ----------
    system : System
    source : path
        The file that it came from.
    tell : callable, optional
        Told the name of each phase as it begins.
    mapping : callable, optional
        Gives the travel map that is worked out elsewhere.

    Returns
    -------
    Results
    """
    from pathlib import Path

    tell("gearing")
    margins = gearing.margins(system)
    findings, travels = gearing.find(system, margins), gearing.required_travels(system)
    found = stops = None
    if system.model.solids:
        tell("clearance")
        found = clearance(system)
        tell("stops")
        stops = find_stops(system) if system.model.stops else None
    mapping = (mapping or partial(travel_map, system)) if can_map(system) else None
    return Results(system, Path(source).name, digest(source), findings, travels, margins, found,
                   stops, mapping)
