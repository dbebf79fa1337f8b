"""Where the rods come to the end of their reach on straight ways out from neutral, proven."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..clearances import Travel
from ..gearing import prove_sign
from ..intervals import GROW, Enclosure, U
from ..motion import Close, System, Together, enclose, kernels
from .ways import Ways, first_root

if TYPE_CHECKING:
    from ..gearing.gearing_sign import SignProof
    from ..model.parts import Tolerance
    from ..motion.posture import Posture

STRETCHES = 4  # of each way at first
STUCK = 2e-7  # degrees (mm) of a stretch that can't be proven at which a march ends
ROUNDS = 1500
HALVINGS = 60


def first_loss(system: System, ways: Ways) -> tuple[np.ndarray, np.ndarray]:
    """Where the rods first come to the end of their reach along ways from neutral.

    Parameters
    ----------
    system : System
    ways : Ways

    Returns
    -------
    (ndarray (ways,), ndarray (ways,))
        Share of each way up to which every rod is proven to reach, and the first at which one is
        known not to; inf where none is.
    """
    count = len(ways.ends)
    free, lost = np.zeros(count), np.full(count, np.inf)
    step = np.full(count, 1.0 / STRETCHES)
    for _ in range(ROUNDS):
        end = np.minimum(1.0, lost)
        way = np.flatnonzero((free < end) & (step * ways.long > STUCK))
        if not way.size:
            break
        _stretch(system, ways, way, (free, lost, step))
    lost = _sharpened(system, ways, free, lost)
    return free, lost


def out_of_reach(system: System, travel: Travel,
                 tolerances: Tolerance | None = None) -> SignProof:
    """Where within a travel the rods can't reach, or where that is not proven.

    Parameters
    ----------
    system : System
    travel : Travel
    tolerances : Tolerance, optional
        Build tolerances: every rod of every build is then to reach.

    Returns
    -------
    SignProof
        `wrong` holds positions that the rods don't reach, in any build where builds are asked
        about; `open` middles of cells not decided.
    """
    def room(centres, halves):
        count = len(next(iter(centres.values())))
        low = np.full(count, np.inf)
        high = np.where(tolerances or system.sweep(**centres).reachable, np.inf, -1)
        with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
            rooms, sure = room_left(enclose(system, centres, halves, tolerances), count)
        for each in rooms:
            least, most = (np.broadcast_to(k, (count,)) for k in each.bounds())
            low = np.minimum(low, np.where(np.isnan(least), -np.inf, least))
            high = np.minimum(high, np.where(np.isnan(most), np.inf, most))
        return np.where(sure, low, np.minimum(low, -np.inf)), high

    return prove_sign(room, *travel.spread)


def _stretch(system, ways, way, state):
    """One stretch of each way that is still asked for, in place."""
    free, lost, step = state
    high = np.minimum(free[way] + step[way], np.minimum(1.0, lost[way]))
    centre, half = (free[way] + high) / 2, (high - free[way]) / 2
    reached = system.sweep(**ways.place(centre, way)).reachable
    lost[way[~reached]] = np.minimum(lost[way[~reached]], centre[~reached])
    step[way[~reached]] = half[~reached]
    ask = np.flatnonzero(reached)
    if not ask.size:
        return
    way, high, centre, half = way[ask], high[ask], centre[ask], half[ask]
    proven, likely = _proven(system, ways, (centre, half, way))
    whole = proven >= 1
    now = np.where(whole, high, np.maximum(free[way], centre + half * proven - 8 * U))
    left = centre + half * likely - now
    width = np.where(now - free[way] > half, 2 * half, half / 2)
    width = np.where((left > 0) & (left < half), np.maximum(1.5 * left, half * 1e-6), width)
    step[way] = np.where(whole, np.maximum(step[way], 4 * half), width)
    free[way] = now


def _proven(system, ways, stretches):
    """Where in their stretches, -1 to 1, ways stop being proven in reach, and likely end."""
    posture = enclose(system, *ways.over(*stretches))
    rooms, sure = room_left(posture, len(stretches[0]))
    if not rooms:
        return np.where(sure, np.inf, -1.0), np.full(len(sure), np.nan)
    rows = np.stack([ways.along(np.broadcast_to(r.rows, (len(r.rows), len(sure))), stretches[2])
                     for r in rooms], axis=1)
    slack = rows[3] * GROW + 64 * U * np.abs(rows[:3]).sum(axis=0)
    likely = first_root(rows[0], rows[1], rows[2])
    return np.where(sure, first_root(rows[0] - slack, rows[1], rows[2]), -1.0), likely


def room_left(posture: Posture, count: int) -> tuple[list[Enclosure], np.ndarray]:
    """What must stay above 0 for every rod to reach, over the cells of an enclosed posture.

    Parameters
    ----------
    posture : EnclosedPosture
    count : int
        Cells.

    Returns
    -------
    (list of Enclosure, ndarray of bool (count,))
        One per rod that closes a joint alone, mm^4 (mm^2 for a slide); and whether rods solved
        together are proven to close all over each cell.
    """
    rooms, sure = [], np.ones(count, dtype=bool)
    for step in posture.plan.steps:
        if isinstance(step, Close):
            rooms.append(_room(posture, step))
        elif isinstance(step, Together):
            for joint in step.joints:
                sure &= ~posture.any_turn[joint]
    return [room for room in rooms if isinstance(room, Enclosure)], sure


def _room(posture, step):
    near, far = posture.ends(step)
    u, length = posture.dimensions.axes[step.joint], posture.dimensions.lengths[step.rod]
    if posture.plan.model.bodies[step.joint].slides:
        between = [q - r for r, q in zip(near, far, strict=True)]
        along = sum(k * d for k, d in zip(u, between, strict=True))
        aside = [d - along * k for k, d in zip(u, between, strict=True)]
        return length * length - sum(d * d for d in aside)
    a, b, c = kernels.turn_parts(near, posture.dimensions.places[f"{step.joint}/pivot"], u, far,
                                 length)
    return a * a + b * b - c * c


def _sharpened(system, ways, free, lost):
    """The first share known to be out of reach, halved down towards the proven one."""
    way = np.flatnonzero(np.isfinite(lost))
    low, high = free[way], lost[way]
    for _ in range(HALVINGS if way.size else 0):
        middle = (low + high) / 2
        good = system.sweep(**ways.place(middle, way)).reachable
        low, high = np.where(good, middle, low), np.where(good, high, middle)
    lost[way] = high
    return lost
