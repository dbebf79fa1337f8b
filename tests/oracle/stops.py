"""First contact along one input, by steps that shrink where the gap does."""

import itertools

import numpy as np

import linkage

from .claims import Fault, Findings, moves
from .closing import close

FIRST = 240  # steps of the way at least
NEVER = np.inf


def gap_along(case, pair, name, at, scene=None):
    """Upper end of the gap along one input, the others at 0."""
    at = np.atleast_1d(np.asarray(at, dtype=float))
    inputs = {n: np.zeros(len(at)) for n in case.box} | {name: at}
    return (scene or case.scene).gap(close(case.machine, inputs), pair)[1]


def first_contact(case, pair, name, limit, scene=None):
    """Where two solids first meet on the way from neutral to a limit; inf when they don't.

    Every step whose gaps could hide a contact, were the gap to fall at twice the steepest rate
    seen, is halved down to 1e-7 of the way.
    """
    x = np.linspace(0.0, limit, FIRST + 1)
    gap = gap_along(case, pair, name, x, scene)
    rate = 2 * np.nanmax(np.abs(np.diff(gap)) / abs(x[1]), initial=1e-9)
    for _ in range(24):
        hit = np.flatnonzero(gap <= 0)
        end = hit[0] if hit.size else len(x) - 1
        x, gap = x[:end + 1], gap[:end + 1]
        span = np.abs(np.diff(x))
        with np.errstate(invalid="ignore"):
            hidden = (gap[:-1] + gap[1:]) / 2 - rate * span / 2 <= 0
        split = np.flatnonzero((hidden | (gap[1:] <= 0)) & (span > 1e-9 * abs(limit)))
        if not split.size:
            break
        middle = (x[split] + x[split + 1]) / 2
        new = gap_along(case, pair, name, middle, scene)
        x, gap = np.insert(x, split + 1, middle), np.insert(gap, split + 1, new)
    hit = np.flatnonzero(gap <= 0)
    return float(x[hit[0]]) if hit.size else NEVER


def end_of_reach(case, name, limit):
    """Where a rod first fails to reach on the way to a limit; inf when none does."""
    x = np.linspace(0.0, limit, FIRST + 1)
    for _ in range(4):
        inputs = {n: np.zeros(len(x)) for n in case.box} | {name: x}
        posture = close(case.machine, inputs)
        lost = np.isnan(sum((v for v in posture.values.values()), np.zeros(len(x))))
        if not lost.any():
            return NEVER
        k = int(lost.argmax())
        x = np.linspace(x[k - 1], x[k], 101)
    return float(x[1])


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


def before(case, row, name, angle):
    """What touches, or comes out of reach, before a stop that is said to govern."""
    machine, faults = case.machine, []
    stops = {frozenset(s["between"]) for s in machine.stops.values()}
    waived = {pair for pair, rule in machine.rules.items() if rule.get("waive")}
    listed = set(linkage.clearance(case.system)["pair"])
    for one, other in itertools.combinations(machine.solids, 2):
        pair = frozenset((one, other))
        if pair in stops | waived or not moves(machine, one, other) or \
                not {f"{one} | {other}", f"{other} | {one}"} & listed:
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
