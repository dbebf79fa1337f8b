"""Stops: whether each is reached where it is said, and whether anything comes before it."""

import itertools

import numpy as np

import linkage

from .claims import Fault, Findings, moves
from .contact import end_of_reach, first_contact, gap_along


def stop_faults(case):
    """Every stop's angle, and whether it governs, as the oracle sees it."""
    found = Findings()
    machine = case.machine
    try:
        table = linkage.find_stops(case.system)
    except linkage.LinkageError:
        return found
    for row in table.to_dict("records"):
        stop = machine.stops[row["stop"]]
        name, side = stop["input"], 1.0 if stop["side"] == "greatest" else -1.0
        travel = case.box[name][1 if side > 0 else 0]
        limit = stop.get("search", abs(travel) + 10.0) * side
        angle = first_contact(case, stop["between"], name, limit)
        found.pairs += 1
        allowed = 1e-4 + case.arcs(stop["between"]) * 4
        if np.isfinite(row["angle"]) and not abs(angle - row["angle"]) <= allowed and not (
                abs(angle) > abs(limit)):
            found.faults.append(Fault("stop angle", row["stop"], row["angle"], angle,
                                      {name: angle}))
        if row["governs"]:
            found.faults += before(case, row, name, min(abs(angle), abs(row["angle"])) * side)
    return found


def moved_by(case, pair, name, limit):
    """Whether an input moves two solids against each other: what stands still ends no travel."""
    gap = gap_along(case, pair, name, np.linspace(0, limit, 9))
    return bool(np.isfinite(gap).any()) and np.nanmax(gap) - np.nanmin(gap) > 1e-9


def before(case, row, name, angle):
    """What touches, or comes out of reach, before a stop that is said to govern."""
    machine, faults = case.machine, []
    stops = {frozenset(s["between"]) for s in machine.stops.values()}
    waived = {pair for pair, rule in machine.rules.items() if rule.get("waive")}
    for one, other in itertools.combinations(machine.solids, 2):
        pair = frozenset((one, other))
        if pair in stops | waived or not moves(machine, one, other) or \
                not moved_by(case, (one, other), name, angle):
            continue
        met = first_contact(case, (one, other), name, angle * (1 - 1e-4))
        if abs(met) < abs(angle) - 1e-4:
            faults.append(Fault("governs", f"{row['stop']} after {one} | {other}", angle, met,
                                {name: met}))
    lost = end_of_reach(case, name, angle * (1 - 1e-4))
    if abs(lost) < abs(angle) - 1e-4:
        faults.append(Fault("governs", f"{row['stop']} past the end of reach", angle, lost,
                            {name: lost}))
    return faults
