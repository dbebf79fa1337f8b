"""Bounds of a posture over whole cells of stick travel, to second order in the inputs, proven.

A joint closed by a rod satisfies F(theta) = A cos theta + B sin theta - C = 0 on the branch where
dF/dtheta keeps its sign.  With a polynomial of degree 2 tried for theta, what F misses by over the
cell, over the least |dF/dtheta| near it, bounds how far the true turn is from the polynomial
(interval Newton; Moore, Kearfott & Cloud, Introduction to Interval Analysis, 2009, ch. 8, from
memory).  Where that fails, near a dead centre or an edge of reach, the turn is bounded by its
closed form theta = atan2(B, A) -+ acos(C / R), with C / R held to what the rod can reach.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any
from weakref import WeakValueDictionary

import numpy as np

from ..intervals import GROW, TINY, Enclosure, U, bend_rows, row_count
from . import kernels
from .bounds_together import close_together
from .plan import Close, Couple, Drive, Plan, Together
from .posture import Dimensions, Posture, Slide, Turn, mixed
from .tape import Tape, given, on_tape, varied
from .traced import Traced

if TYPE_CHECKING:
    from collections.abc import Callable

    from .system import System

LOOSE = 3.0  # radians of doubt, below half a turn, up to which whole turns are told apart
NEAR = 1e-6  # radians that a turn and its enclosure may seem apart by rounding


@dataclass
class EnclosedPosture(Posture):
    """A posture whose numbers are enclosures over cells.

    Attributes
    ----------
    rows : int
        Rows of each enclosure.
    inputs, count : int
        Inputs that they follow, and cells.
    any_turn : dict
        ``{body: ndarray of bool (n,)}``: cells whose bounds don't tell whole turns apart.
    """

    rows: int = 2
    inputs: int = 0
    count: int = 1
    any_turn: dict = field(default_factory=dict)
    kind = Enclosure  # of its numbers


@dataclass
class TracedPosture(Posture):
    """A posture whose numbers are sums on a tape."""

    tape: Tape = field(default_factory=Tape)

    @classmethod
    def of(cls, plan: Plan, drawn: Dimensions, other: tuple, settled: tuple) -> TracedPosture:
        """With leaves for what is other than drawn, and for the states of settled joints."""
        tape = Tape()
        posture = cls(plan, on_tape(tape, drawn, other), tape=tape)
        for joint in settled:
            value = tape.leaf(("value", joint))
            posture.states[joint] = Slide(value) if plan.model.bodies[joint].slides else Turn(
                tape.leaf(("cos", joint)), tape.leaf(("sin", joint)), value)
        return posture

    def close(self, step: Close) -> None:
        """Settle a joint from the rod that reaches across it, over whole cells."""
        if self.plan.model.bodies[step.joint].slides:
            super().close(step)
            return
        r, q = self.ends(step)
        a, b, c = kernels.turn_parts(r, self.dimensions.places[f"{step.joint}/pivot"],
                                     self.dimensions.axes[step.joint], q,
                                     self.dimensions.lengths[step.rod])
        if not any(isinstance(k, Traced) for k in (a, b, c)):
            self.states[step.joint] = Turn(*kernels.turn_close(a, b, c, step.sign))
            return
        theta = self.tape.applied(_closed, a, b, c, more=(step.sign,))
        self.states[step.joint] = Turn(np.cos(theta), np.sin(theta), theta)


def leaf_of(posture: Posture, name: tuple) -> Any:
    """What a leaf of a traced posture stands for."""
    if name[0] not in ("value", "cos", "sin"):
        return given(posture.dimensions, name)
    return getattr(posture.states[name[1]], name[0])


def enclose_drawn(system: System, centres: dict, halves: dict) -> EnclosedPosture:
    """Bounds of every joint over cells of travel, as drawn.

    Parameters
    ----------
    system : System
    centres, halves : dict
        ``{input: ndarray (n,)}``: middle and half-width of each cell, degrees (mm for a slide);
        an input left out stays at 0.

    Returns
    -------
    EnclosedPosture
        As `linkage.motion.enclose` gives it.
    """
    return still_in_use(system, (None, centres, halves),
                        lambda: _enclosed(system, centres, halves))


def still_in_use(system: System, of: tuple, work: Callable) -> EnclosedPosture:
    """What `work` gives over cells, or what it gave before if that is still in use."""
    alive, (tolerances, *cells) = system.kept("enclosed", WeakValueDictionary), of
    key = (id(system.plan), tolerances, *((name, np.ravel(ends[name]).tobytes())
                                          for ends in cells for name in cells[0]))
    found = alive.get(key)
    if found is None:
        alive[key] = found = work()
    return found


def _enclosed(system, centres, halves) -> EnclosedPosture:
    posture = EnclosedPosture(system.plan, system.dimensions, rows=row_count(len(centres)),
                              inputs=len(centres),
                              count=max((np.size(k) for k in centres.values()), default=1))
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        for steps in _runs(system.plan):
            if isinstance(steps[0], Together):
                close_together(posture, steps[0], system, centres)
            elif _turns_on(system.plan, steps[0]):
                posture.couple(steps[0], unwrapped(posture, steps[0], system, (centres, halves)))
            else:
                _settle(posture, steps, system, (centres, halves))
    return posture


def _runs(plan):
    """Steps in order, those that one tape holds together."""
    alone = [isinstance(step, Together) or _turns_on(plan, step) for step in plan.steps]
    edges = [0, *(i for i in range(1, len(alone)) if alone[i] or alone[i - 1]), len(alone)]
    return [plan.steps[i:j] for i, j in itertools.pairwise(edges) if i < j]


def _turns_on(plan, step) -> bool:
    """Whether a coupling's source may turn past half a turn without its closure telling."""
    if not isinstance(step, Couple) or plan.model.bodies[step.source].slides:
        return False
    driver = next(s for s in plan.steps if step.source in s.joints)
    return not isinstance(driver, (Drive, Couple))


def _settle(posture, steps, system, cells):
    """Settle the joints of some steps by one tape."""
    centres, halves = cells
    other = varied(posture.dimensions, system.dimensions)
    key = "closures", steps, tuple(posture.states), tuple(centres), other
    program, states = system.kept(key, lambda: _traced(posture, steps, system, key))
    shares = posture.rows - row_count(posture.inputs)
    leaves = [_input(system, name[1], cells, shares) if name[0] == "input" else
              leaf_of(posture, name) for name in program.leaves]
    rows = program.enclosures(leaves, (posture.rows, posture.count), posture.inputs)

    def held(value):
        return Enclosure(rows[:, value], posture.inputs) if isinstance(value, int) else value

    for joint, state in states.items():
        posture.states[joint] = Slide(held(state.value)) if isinstance(state, Slide) else \
            Turn(held(state.cos), held(state.sin), held(state.value))


def _traced(posture, steps, system, key):
    """The program of some steps, and the joints' states, each a number or where it ends up."""
    _, _, settled, names, other = key
    traced = TracedPosture.of(posture.plan, system.dimensions, other, settled)
    for step in steps:
        if isinstance(step, Drive):
            scale = system.inputs[step.input].scale
            traced.drive(step, traced.tape.leaf(("input", step.input)) * scale
                         if step.input in names else 0.0)
        elif isinstance(step, Couple):
            traced.couple(step)
        else:
            traced.close(step)
    ends = []

    def end(value):
        if not isinstance(value, Traced):
            return value
        ends.append(value)
        return len(ends) - 1

    states = {joint: Slide(end(state.value)) if isinstance(state, Slide) else
              Turn(end(state.cos), end(state.sin), end(state.value))
              for step in steps for joint in step.joints for state in (traced.states[joint],)}
    return traced.tape.ready(ends), states


def _input(system, name, cells, shares):
    centres, halves = cells
    return Enclosure.of_input(list(centres).index(name), len(centres),
                              np.asarray(centres[name], dtype=float),
                              np.asarray(halves[name], dtype=float), shares)


def unwrapped(posture: EnclosedPosture, step: Couple, system: System, cells: tuple) -> Enclosure:
    """Turn of a coupling's source, whole turns told apart as `System.sweep` tells them.

    The turn is one continuous function over what is in reach of a cell, so the whole turns are the
    same all over it; they are asked for at its middle and corners.  Where no one of these is in
    reach, they differ, or the bound is too wide, the turn may be any.
    """
    value = posture.states[step.source].value
    if not isinstance(value, Enclosure):
        return value
    count = value.inputs
    at = np.array([(0.0,) * count, *itertools.product((-1.0, 1.0), repeat=count)])
    motion = system.only([step.joint]).sweep(**{
        name: centre + np.outer(at[:, i], cells[1][name]).reshape(len(at), -1)
        for i, (name, centre) in enumerate(cells[0].items())})
    bodies = system.model.bodies
    per = step.ratio * mixed(bodies[step.source].slides, bodies[step.joint].slides)
    turn = np.broadcast_to(motion.posture.states[step.joint].value, motion.shape) / per
    rows = np.broadcast_to(value.rows.reshape(len(value.rows), -1),
                           (len(value.rows), motion.shape[1])).copy()
    guess = rows[0] + np.tensordot(at, rows[1:1 + count], 1)
    i, j = np.triu_indices(count)
    guess = guess + np.tensordot(at[:, i] * at[:, j], rows[bend_rows(count)], 1)
    doubt = rows[-1] + np.abs(rows[row_count(count) - 1:-1]).sum(axis=0)
    off = (turn - guess) / (2 * np.pi)
    whole = np.round(off)
    told = np.isfinite(turn)
    same = np.where(told, whole, -np.inf).max(axis=0) == np.where(told, whole, np.inf).min(axis=0)
    near = (np.abs(off - whole) * 2 * np.pi <= doubt + NEAR) | ~told
    sure = told.any(axis=0) & same & near.all(axis=0) & (doubt < LOOSE)
    sure &= ~posture.any_turn.get(step.source, np.zeros(1, bool))
    turns = np.where(sure, np.where(told, whole, -np.inf).max(axis=0), 0.0)
    rows[0] += 2 * np.pi * turns
    rows[-1] += 8 * U * (np.abs(rows[0]) + 2 * np.pi * np.abs(turns))
    rows[-1] = np.where(sure | np.isnan(rows[0]), rows[-1], np.inf)
    return Enclosure(rows, count)


def _closed(a, b, c, sign) -> Enclosure:
    """The turn that closes each loop over each cell; `sign` is that of its branch."""
    tried = _tried(a, b, c, sign)
    cos, sin = np.cos(tried), np.sin(tried)
    missed, steep = a * cos + b * sin - c, b * cos - a * sin
    off = (missed.sizes[2] + missed.rest) * GROW + TINY
    low, high = steep.bounds()
    low = np.where(np.sign(steep.centre) == sign, np.maximum(low, -high), -1.0)
    reach = np.hypot(a.sizes[2] + a.rest, b.sizes[2] + b.rest) * GROW
    trial = 2 * off / low
    sure = (low > 0) & (4 * off * reach * GROW <= low * low) & np.isfinite(trial)
    rest = off / (low - reach * trial) * GROW + TINY
    rows = tried.rows
    rows[-1] = np.where(sure, rest, 0.0)
    if not sure.all():
        rows[:, ~sure] = within_reach(*(Enclosure(k.rows[:, ~sure], k.inputs)
                                         for k in (a, b, c)),
                                       np.broadcast_to(sign, sure.shape)[~sure])
    return Enclosure(rows, a.inputs)


def _tried(a, b, c, sign) -> Enclosure:
    """The polynomial tried for the turn: exact at the centre, with the exact slopes and bends."""
    rows = np.zeros(a.rows.shape)
    cos, sin = kernels.turn_close(a.centre, b.centre, c.centre, sign)
    steep = b.centre * cos - a.centre * sin
    rows[0] = np.arctan2(sin, cos)
    missed = a.rows * cos + b.rows * sin - c.rows
    rows[1:-1] = -missed[1:-1] / steep
    line, bends = Enclosure(rows.copy(), a.inputs), bend_rows(a.inputs)
    line.rows[bends] = 0.0
    left = a * np.cos(line) + b * np.sin(line) - c
    rows[bends] = -left.bends / steep
    lost = ~np.isfinite(rows).all(axis=0)
    rows[:, lost] = 0.0
    return Enclosure(rows, a.inputs)


def within_reach(a: Enclosure, b: Enclosure, c: Enclosure, sign: float) -> np.ndarray:
    """Rows of the turn by the closed form; NaN where nothing is in reach, any turn where unsure."""
    size = np.sqrt(a * a + b * b)
    low, high = _share(c, size)
    out = (low > 1) | (high < -1) | np.isnan(a.centre + b.centre + c.centre)
    least = np.arccos(np.clip(high, -1, 1)) * (1 - 8 * U)
    most = np.arccos(np.clip(low, -1, 1)) * (1 + 8 * U)
    rows = np.arctan2(b, a).rows
    rows[0] -= sign * (least + most) / 2
    rows[-1] += (most - least) / 2 + 16 * U
    found = Enclosure(rows, a.inputs)
    unsure = ~out & ~(sum(found.sizes[:2]) + rows[-1] < np.pi)
    rows[:, unsure] = 0.0
    rows[-1, unsure] = np.pi
    rows[:, out] = np.nan
    return rows


def _share(c, size):
    """Bounds of C / R; infinite where R may be 0."""
    (one, other), (short, long) = c.bounds(), size.bounds()
    short = np.maximum(short, 0.0)
    low, high = (c / size).bounds()
    plain = [np.where(one > 0, one / long, one / short) * (1 - 4 * U * np.sign(one)),
             np.where(other > 0, other / short, other / long) * (1 + 4 * U * np.sign(other))]
    low, high = np.fmax(low, plain[0]), np.fmin(high, plain[1])
    return np.where(np.isnan(low), -np.inf, low), np.where(np.isnan(high), np.inf, high)
