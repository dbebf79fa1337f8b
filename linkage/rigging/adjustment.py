"""Which rod ends to turn, and how far, so that every surface stands at neutral with the stick."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..errors import LinkageError, nearest
from ..motion import System
from .lengths import deflection_per_length, length_rates, rods_in_play, with_lengths
from .rods import ENDS, half_turns

WITHIN = 0.25  # degrees left at neutral that call for no further turn; about half of a half turn
FINEST = 0.02  # degrees: finer than any level shows
ROUNDS = 8
OUT_OF_REACH = (4.0, 100.0)  # half turns that a further end, and a degree left over, are worth
NODES = 500  # branches of a search, after which the best so far is taken and said to be so
EXACT = 1e-10  # degrees: a state is met this closely


@dataclass(frozen=True)
class Adjustment:
    """What to turn, and what it leaves.

    Attributes
    ----------
    turns : DataFrame
        A row per rod end to turn: rod, end (its point), which ("first", "second"), half_turns
        (plus longer), change (mm) and left (mm of thread engagement above the least that has to
        stay).
    before, after : dict
        ``{surface: degrees}`` with every input at 0, before and after, solved exactly.
    changes : dict
        ``{rod: mm}`` longer, of all its turns.
    ok : bool
        Whether every surface is left within what was asked.
    least : bool
        Whether no fewer rod ends or half turns would do; False where the search was cut short.
    not_turned : dict
        ``{rod end: why}``: ends that could not be counted on.
    """

    turns: object
    before: dict
    after: dict
    changes: dict
    ok: bool
    least: bool
    not_turned: dict


@dataclass(frozen=True)
class _Ends:
    """Rod ends that may be turned, in one order throughout."""

    rod: tuple[str, ...]
    which: tuple[int, ...]
    step: np.ndarray  # mm a half turn
    low: np.ndarray
    high: np.ndarray

    def some(self, own) -> _Ends:
        """A few of them."""
        return _Ends(tuple(self.rod[k] for k in own), tuple(self.which[k] for k in own),
                     self.step[own], self.low[own], self.high[own])

    def changes(self, counts) -> dict:
        """Change of each rod, mm."""
        changes = {}
        for rod, step, count in zip(self.rod, self.step, counts, strict=True):
            if count:
                changes[rod] = changes.get(rod, 0.0) + float(step * count)
        return changes


def adjust(system: System, measured: dict | None = None, within: float = WITHIN) -> Adjustment:
    """Half turns of rod ends that bring every surface to neutral with every input at 0.

    The least change: as few rod ends as will do, of those the fewest half turns, of those the
    least left over.  Only ends whose engagement, least engagement (or witness hole) and most
    engagement are in the file are turned, and only within them.  What `measured` says is first
    explained by the least lengthening of rods; turns are then chosen on exact derivatives, and the
    outcome is solved exactly.

    Parameters
    ----------
    system : System
    measured : dict, optional
        ``{surface: degrees}`` (trailing edge down or left positive) with every input at 0; a
        surface left out, or all of them, as the file's own rod lengths put them.
    within : float
        Degrees that may be left.

    Returns
    -------
    Adjustment

    Raises
    ------
    LinkageError
        When a surface is unknown, no rod lengths explain what was measured, or no end may be
        turned.
    """
    if not within >= FINEST:
        raise LinkageError(f"needs at least {FINEST:g}° that may be left, got {within:g}; half a "
                           f"turn of a rod end is much coarser")
    surfaces, rods = tuple(system.model.surfaces), rods_in_play(system)
    wanted = _wanted(system, measured or {})
    start = _explained(system, rods, wanted)
    ends, not_turned = _turnable(system, rods)
    before = _deflections(system, start)
    if not any(abs(angle) > within for angle in before.values()):
        counts, least = np.zeros(len(ends.rod), int), True
    elif not ends.rod:
        raise LinkageError(f"no rod end may be turned, of {2 * len(rods)} on the runs: the file "
                           f"has to give thread, engaged, most and least or witness of the rod "
                           f"ends; see rod_end and fitted", ends=2 * len(rods))
    else:
        counts, least = _counts(system, start, ends, within)
    changes = ends.changes(counts)
    after = _deflections(system, _sum(start, changes))
    return Adjustment(_table(system, ends, counts), before, after, changes,
                      all(abs(after[s]) <= within + EXACT for s in surfaces), least, not_turned)


def _wanted(system, measured):
    for surface, angle in measured.items():
        if surface not in system.model.surfaces:
            raise LinkageError(f'no surface "{surface}"; '
                               f"{nearest(surface, system.model.surfaces)}")
        if not np.isfinite(angle):
            raise LinkageError(f'surface "{surface}": measured {angle} degrees; give a number')
    return {**_deflections(system, {}), **{s: float(a) for s, a in measured.items()}}


def _deflections(system, changes) -> dict:
    """Every surface with every input at 0 and some rods longer, degrees."""
    motion = system.sweep_with(with_lengths(system, changes))
    return {surface: float(motion.deflection(surface)) for surface in system.model.surfaces}


def _slopes(system, changes, rods):
    """Degrees per mm: shape (surfaces, rods)."""
    motion = system.sweep_with(with_lengths(system, changes))
    rates = length_rates(motion, rods)
    return np.stack([deflection_per_length(motion, rates, s) for s in system.model.surfaces])


def _explained(system, rods, wanted) -> dict:
    """The least lengthening of rods that puts the surfaces where they were measured, mm."""
    changes = dict.fromkeys(rods, 0.0)
    goal = np.array(list(wanted.values()))
    off = goal - list(_deflections(system, changes).values())
    for _ in range(ROUNDS):
        if not np.any(np.abs(off) > EXACT):
            return changes
        step = np.linalg.lstsq(_slopes(system, changes, rods), off, rcond=1e-9)[0]
        changes = {rod: changes[rod] + float(k) for rod, k in zip(rods, step, strict=True)}
        off = goal - list(_deflections(system, changes).values())
        if not np.all(np.isfinite(off)):
            break
    if np.all(np.abs(off) <= 1e-6):
        return changes
    angles = ", ".join(f"{surface} {angle:.2f}°" for surface, angle in wanted.items())
    raise LinkageError(f"no rod lengths put the surfaces where they were measured ({angles} with "
                       f"every input at 0); measure them again", measured=wanted)


def _turnable(system, rods):
    ends, why = [], {}
    for rod in rods:
        for i, end in enumerate(system.model.rods[rod].ends):
            turns, (fitted, _, thread) = half_turns(system.model, rod, i), \
                system.model.fitting(rod, i)
            if turns is not None:
                ends.append((rod, i, thread.pitch / 2, *turns))
            elif fitted is not None and not fitted.adjustable:
                why[f"{rod}, {end}"] = "can't be turned in place"
            else:
                why[f"{rod}, {end}"] = "its thread, engaged, most, or least or witness is not in " \
                                       "the file"
    rod, which, step, low, high = zip(*ends, strict=True) if ends else ((),) * 5
    return _Ends(rod, which, np.array(step), np.array(low), np.array(high)), why


def _counts(system, start, ends, within):
    """Half turns, chosen on the slopes at the outcome of the round before until they stay."""
    counts, least = np.zeros(len(ends.rod)), True
    for _ in range(ROUNDS):
        now = _sum(start, ends.changes(counts))
        off = np.array(list(_deflections(system, now).values()))
        rods = tuple(dict.fromkeys(ends.rod))
        slope = _slopes(system, now, rods)[:, [rods.index(rod) for rod in ends.rod]] * ends.step
        better, least = _chosen(off - slope @ counts, slope, ends, within)
        if np.array_equal(better, counts):
            break
        counts = better
    return counts.astype(int), least


def _chosen(off, slope, ends, within):
    """Fewest ends, then fewest half turns, then least left, run by run: SciPy's MILP.

    Returns
    -------
    (ndarray, bool)
        Half turns, and whether they are proven to be the least.
    """
    counts, proven = np.zeros(len(ends.rod)), True
    for surfaces, own in _runs(slope):
        part = ends.some(own)
        solution = _solved(off[surfaces], slope[np.ix_(surfaces, own)], part, within) \
            or _solved(off[surfaces], slope[np.ix_(surfaces, own)], part, None)
        counts[own], proven = solution[0], proven and solution[1]
    return counts, proven


def _runs(slope):
    """Surfaces and the ends that move them, apart from those of other runs."""
    from scipy.sparse.csgraph import connected_components

    m, n = slope.shape
    joined = np.zeros((m + n, m + n), bool)
    joined[:m, m:] = np.abs(slope) > 1e-9
    count, label = connected_components(joined, directed=False)
    for k in range(count):
        surfaces, own = np.flatnonzero(label[:m] == k), np.flatnonzero(label[m:] == k)
        if surfaces.size and own.size:
            yield surfaces, own


def _solved(off, slope, ends, within):
    """Unknowns: half turns out, half turns in, whether an end is touched, what is left over.

    Without `within` what is left over is weighed against turns instead.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp

    m, n = slope.shape
    most, eye, none = np.maximum(ends.high, -ends.low), np.eye(n), np.zeros((n, m))
    touch, left = (2.0 * most.sum() + 2, 0.4 / m / within) if within else OUT_OF_REACH
    cost = np.concatenate([np.ones(2 * n), np.full(n, touch), np.full(m, left)])
    rules = [LinearConstraint(np.hstack([slope, -slope, np.zeros((m, n)), -np.eye(m)]),
                              -np.inf, -off),
             LinearConstraint(np.hstack([-slope, slope, np.zeros((m, n)), -np.eye(m)]),
                              -np.inf, off),
             LinearConstraint(np.hstack([eye, eye, -np.diag(most.astype(float)), none]),
                              -np.inf, 0)]
    rules += _one_end_first(ends, 2 * n + n + m)
    upper = np.concatenate([ends.high, -ends.low, np.ones(n),
                            np.full(m, within if within else np.inf)])
    kinds = np.concatenate([np.ones(3 * n), np.zeros(m)])
    done = milp(cost, constraints=rules, bounds=Bounds(0, upper), integrality=kinds,
                options={"mip_rel_gap": 0.0, "node_limit": NODES})
    if done.x is None:
        return None
    x = np.round(done.x[:2 * n])
    return x[:n] - x[n:], done.status == 0


def _one_end_first(ends, width):
    """The end of a rod with more room goes first: both do the same, so nothing is lost."""
    from scipy.optimize import LinearConstraint

    n, rows = len(ends.rod), []
    for k in range(n - 1):
        if ends.rod[k] == ends.rod[k + 1] and ends.step[k] == ends.step[k + 1]:
            for shift, room in ((0, ends.high), (n, -ends.low)):
                first, second = (k, k + 1) if room[k] >= room[k + 1] else (k + 1, k)
                rows.append(np.zeros(width))
                rows[-1][[shift + first, shift + second]] = 1, -1
    return [LinearConstraint(np.array(rows), 0, np.inf)] if rows else []


def _sum(one, other) -> dict:
    return {rod: one.get(rod, 0.0) + other.get(rod, 0.0) for rod in {**one, **other}}


def _table(system, ends, counts):
    import pandas as pd

    rows = []
    for rod, which, step, count in zip(ends.rod, ends.which, ends.step, counts, strict=True):
        if count:
            fitted = system.model.fitting(rod, which)[0]
            rows.append({"rod": rod, "end": system.model.rods[rod].ends[which],
                         "which": ENDS[which], "half_turns": int(count),
                         "change": float(step * count),
                         "left": fitted.engaged - float(step * count) - fitted.needed})
    return pd.DataFrame(rows, columns=["rod", "end", "which", "half_turns", "change", "left"])
