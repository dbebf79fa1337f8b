"""Which rod ends to turn, and how far, so that surfaces stand at neutral and rig pins go in."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from ..errors import LinkageError, nearest
from ..motion import System
from .lengths import deflection_per_length, length_rates, rods_in_play, with_lengths
from .pins import pin_offset
from .rods import ENDS, half_turns

WITHIN = 0.25  # degrees left at neutral that call for no further turn; about half of a half turn
FINEST = 0.02  # degrees: finer than any level shows
ROUNDS = 8
OUT_OF_REACH = (4.0, 25.0)  # half turns that a further end, and a tolerance left over, are worth
WAYS = 8  # lines across a rig pin's hole along which its offset is held
INSIDE = np.cos(np.pi / 2 / WAYS)  # so that what the lines allow lies within the hole's circle
NUDGE = 1e-3  # mm of rod length for the rate of a pin's offset
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
    pins : dict
        ``{rig pin: (before, after, within)}``: mm its two holes are apart across it.
    lengths : dict
        ``{rod: mm}`` longer than in the file once all was turned.
    ok : bool
        Whether every surface and every rig pin is left within what was asked.
    least : bool
        Whether no fewer rod ends or half turns would do; False where the search was cut short.
    not_turned : dict
        ``{rod end: why}``: ends that could not be counted on.
    """

    turns: object
    before: dict
    after: dict
    changes: dict
    pins: dict
    lengths: dict
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
    later: np.ndarray  # whether its rod is one that nothing points at, where something does

    def some(self, own) -> _Ends:
        """A few of them."""
        return _Ends(tuple(self.rod[k] for k in own), tuple(self.which[k] for k in own),
                     self.step[own], self.low[own], self.high[own], self.later[own])

    def changes(self, counts) -> dict:
        """Change of each rod, mm."""
        changes = {}
        for rod, step, count in zip(self.rod, self.step, counts, strict=True):
            if count:
                changes[rod] = changes.get(rod, 0.0) + float(step * count)
        return changes


def adjust(system: System, measured: dict | None = None, within: float = WITHIN,
           first: Collection[str] = ()) -> Adjustment:
    """Half turns of rod ends that bring every surface to neutral and every rig pin into its holes.

    Of all turns that leave every surface within what is asked and every rig pin within what the
    file says: as few ends of other rods than the `first` as will do, of those as few ends, of
    those the fewest half turns, of those the least left over.  Only ends whose engagement, least
    engagement (or witness hole) and most engagement are in the file are turned, and only within
    them.  What `measured` says is first explained by the least lengthening of rods; turns are then
    chosen on exact derivatives, and the outcome is solved exactly.

    Parameters
    ----------
    system : System
    measured : dict, optional
        ``{surface: degrees}`` (trailing edge down or left positive) with every input at 0; a
        surface left out, or all of them, as the file's own rod lengths put them.
    within : float
        Degrees that may be left.
    first : collection of str
        Rods that are known to be off, as by readings.

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
    rods = rods_in_play(system)
    start = _explained(system, rods, _wanted(system, measured or {}))
    ends, not_turned = _turnable(system, rods, first)
    goal = _Goal(system, rods, within)
    counts, least = np.zeros(len(ends.rod), int), True
    if not goal.met(start):
        if not ends.rod:
            raise LinkageError(f"no rod end may be turned, of {2 * len(rods)} on the runs: the "
                               f"file has to give thread, engaged, most and least or witness of "
                               f"the rod ends; see rod_end and fitted", ends=2 * len(rods))
        counts, least = _counts(goal, start, ends)
    changes = ends.changes(counts)
    after = _sum(start, changes)
    pins = {name: (before, goal.apart(after)[name], system.model.rig_pins[name].within)
            for name, before in goal.apart(start).items()}
    return Adjustment(_table(system, ends, counts), _deflections(system, start),
                      _deflections(system, after), changes, pins, after, goal.met(after), least,
                      not_turned)


class _Goal:
    """What turns have to bring about: surfaces at neutral, rig pins in their holes."""

    def __init__(self, system, rods, within):
        self.system, self.within = system, within
        self.pins = {name: pin for name, pin in system.model.rig_pins.items()
                     if len(pin.holes) == 2 and pin.within is not None}
        self.lines = {name: lines for name in self.pins
                      if (lines := self._lines(name, rods)) is not None}
        self.tolerances = np.array([within] * len(system.model.surfaces) + [
            self.pins[name].within * INSIDE for name in self.lines for _ in range(WAYS)])

    def values(self, changes) -> np.ndarray:
        """Deflections at neutral, and each pin's offset along its lines."""
        lines = [lines @ self._offset(name, changes) for name, lines in self.lines.items()]
        return np.concatenate([list(_deflections(self.system, changes).values()), *lines])

    def slopes(self, changes, rods) -> np.ndarray:
        """The same per mm of each rod: shape (values, rods)."""
        return np.concatenate([_slopes(self.system, changes, rods), *(
            lines @ self._rates(name, changes, rods) for name, lines in self.lines.items())])

    def apart(self, changes) -> dict:
        """How far the holes of each pin are apart across it, mm."""
        return {name: float(np.linalg.norm(self._offset(name, changes))) for name in self.pins}

    def met(self, changes) -> bool:
        """Whether every surface and every pin that turns can move is within its tolerance."""
        apart = self.apart(changes)
        return bool(all(abs(angle) <= self.within + EXACT
                        for angle in _deflections(self.system, changes).values())
                    and all(apart[name] <= pin.within for name, pin in self.pins.items()))

    def _offset(self, name, changes):
        pin = self.pins[name]
        at = {word: pin.input.get(word, 0.0) for word in self.system.inputs}
        return pin_offset(self.system.sweep_with(with_lengths(self.system, changes), **at), pin)

    def _rates(self, name, changes, rods):
        here = self._offset(name, changes)
        return np.stack([(self._offset(name, _sum(changes, {rod: NUDGE})) - here) / NUDGE
                         for rod in rods], axis=1)

    def _lines(self, name, rods):
        """Unit vectors across a pin, the first along the way its holes move; none if they don't."""
        rates = self._rates(name, {}, rods)
        most = int(np.linalg.norm(rates, axis=0).argmax())
        size = np.linalg.norm(rates[:, most])
        if not size > EXACT:
            return None
        one = rates[:, most] / size
        rest = np.eye(3) - np.outer(one, one)
        aside = rest @ rates
        other = aside[:, int(np.linalg.norm(aside, axis=0).argmax())]
        if not np.linalg.norm(other) > 1e-6 * size:
            other = rest @ self._offset(name, {})
        length = np.linalg.norm(other)
        other = other / length if length > EXACT else np.zeros(3)
        turn = np.arange(WAYS) * np.pi / WAYS
        return np.cos(turn)[:, None] * one + np.sin(turn)[:, None] * other


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


def _turnable(system, rods, first):
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
    later = np.array([bool(first) and name not in first for name in rod], dtype=bool)
    return _Ends(rod, which, np.array(step), np.array(low), np.array(high), later), why


def _counts(goal, start, ends):
    """Half turns, chosen on the slopes at the outcome of the round before until they stay."""
    counts, least = np.zeros(len(ends.rod)), True
    for _ in range(ROUNDS):
        now = _sum(start, ends.changes(counts))
        rods = tuple(dict.fromkeys(ends.rod))
        slope = goal.slopes(now, rods)[:, [rods.index(rod) for rod in ends.rod]] * ends.step
        better, least = _chosen(goal.values(now) - slope @ counts, slope, ends, goal.tolerances)
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
    for aims, own in _runs(slope):
        asked = off[aims], slope[np.ix_(aims, own)], within[aims]
        solution = _solved(*asked, ends.some(own), held=True) \
            or _solved(*asked, ends.some(own), held=False)
        counts[own], proven = solution[0], proven and solution[1]
    return counts, proven


def _runs(slope):
    """Surfaces and pins and the ends that move them, apart from those of other runs."""
    from scipy.sparse.csgraph import connected_components

    m, n = slope.shape
    joined = np.zeros((m + n, m + n), bool)
    joined[:m, m:] = np.abs(slope) > 1e-9
    count, label = connected_components(joined, directed=False)
    for k in range(count):
        aims, own = np.flatnonzero(label[:m] == k), np.flatnonzero(label[m:] == k)
        if aims.size and own.size:
            yield aims, own


def _solved(off, slope, within, ends, *, held):
    """Unknowns: half turns out, half turns in, whether an end is touched, what is left over.

    What is left over is held `within`, or else weighed against turns.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp

    m, n = slope.shape
    most, eye, none = np.maximum(ends.high, -ends.low), np.eye(n), np.zeros((n, m))
    touch, left = (2.0 * most.sum() + 2, 0.4 / m) if held else OUT_OF_REACH
    cost = np.concatenate([np.ones(2 * n), touch * np.where(ends.later, n + 1.0, 1.0),
                           left / within])
    rules = [LinearConstraint(np.hstack([slope, -slope, np.zeros((m, n)), -np.eye(m)]),
                              -np.inf, -off),
             LinearConstraint(np.hstack([-slope, slope, np.zeros((m, n)), -np.eye(m)]),
                              -np.inf, off),
             LinearConstraint(np.hstack([eye, eye, -np.diag(most.astype(float)), none]),
                              -np.inf, 0)]
    rules += _one_end_first(ends, 2 * n + n + m)
    upper = np.concatenate([ends.high, -ends.low, np.ones(n),
                            within if held else np.full(m, np.inf)])
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
