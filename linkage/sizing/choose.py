"""Fit, prove, and take up again what the proof finds missing; round, and prove again."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from .. import gearing
from ..errors import LinkageError
from ..model import steps_within
from ..motion import System
from ..stops import judged_box, judged_travel
from .clearance_terms import cuts, proven, too_near
from .dimensions import Layout, named_dimensions
from .fit import Fit, Problem, fit
from .targets import Places, Trial, aims_of, judged_ends

if TYPE_CHECKING:
    from .targets import Aim

LOOKED = 41  # places along an input at which a direction's least gearing is looked for
ROUNDS = 8  # fits with what the last proof found missing
SEEN = 1e-7  # degrees (mm) within which the fit and the whole analysis are one
MOST_COMBINED = 8  # dimensions whose neighbouring steps are combined; the rest go to the nearest
REFITTED = 12  # combinations whose free dimensions are fitted again
PROVEN = 6  # combinations whose clearance is proven before the best is taken as it is


@dataclass(frozen=True)
class Check:
    """What the whole analysis says of a system.

    Attributes
    ----------
    found : ndarray (m,)
        Value of each aim: extremes over the whole travel, not only where the fit looked.
    at : tuple of float or None
        Position of the input at a travel.
    clearance : DataFrame or None
    """

    found: np.ndarray
    at: tuple
    clearance: object

    def met(self, aims: Sequence[Aim]) -> np.ndarray:
        """Which aims are met, bool (m,)."""
        return np.array([aim.met(v) for aim, v in zip(aims, self.found, strict=True)], dtype=bool)

    @property
    def clear(self) -> bool:
        """Whether every pair keeps its required clearance, where the file asks for it."""
        return self.clearance is None or bool(self.clearance["ok"].astype(bool).all())


def check(system: System, aims: Sequence[Aim], *, apart: bool = True,
          after: Check | None = None) -> Check:
    """Aims and clearances of a system, worked out by the rooms that report them elsewhere.

    Parameters
    ----------
    system : System
    aims : sequence of Aim
    apart : bool
        Whether clearances are proven too.
    after : Check, optional
        Of a like system, whose proof is taken up.

    Returns
    -------
    Check
    """
    ends = judged_ends(system)
    travels = {(row["surface"], row["way"], row["input"]): row for row in
               gearing.required_travels(system, ends).fillna({"input": ""}).to_dict("records")}
    margins = _margins(system) if any(aim.kind == "over-centre" for aim in aims) else {}

    def value_of(aim):
        if aim.kind == "travel":
            return travels[aim.of, aim.way, aim.input]["found"]
        return margins[aim.of, aim.way] if aim.kind == "over-centre" else \
            _value(system, aim, ends)

    at = tuple(travels[aim.of, aim.way, aim.input]["at"] if aim.kind == "travel" else None
               for aim in aims)
    clearances = proven(system, after and after.clearance) if apart else None
    return Check(np.array([value_of(aim) for aim in aims], dtype=float), at, clearances)


def _margins(system) -> dict:
    return {(row["end"], row["rod"]): row["margin"]
            for row in gearing.margins(system, judged_box(system)).to_dict("records")}


def _value(system, aim, ends) -> float:
    """Value of a direction, gearing or differential; NaN where nothing moves the surface."""
    if not aim.input:
        return np.nan
    if aim.kind == "direction":
        return _turned(system, aim, ends[aim.input])
    if aim.kind == "gearing":
        return abs(float(system.sweep().gearing(aim.of)[aim.input]))
    return _differential(system, aim, ends[aim.input])


def _turned(system, aim, ends):
    """Least gearing the right way along the input; below 0 where the direction isn't right."""
    x = np.linspace(*ends, LOOKED)
    least = float((system.sweep(**{aim.input: x}).gearing(aim.of)[aim.input] * aim.turn).min())
    judged = gearing.directions(system, judged_travel(system).spread, [aim.of])
    right = all(not each.miss for each in judged if each.input == aim.input)
    return least if right else min(least, -SEEN)


def _differential(system, aim, ends):
    ends = system.sweep(**{aim.input: list(ends)}).deflection(aim.of)
    words = gearing.deflection_words(system, aim.of)
    up = -1.0 if words[0] == "TEU" else 1.0
    over, under = (sign * ends for sign in (up, -up))
    return float(over.max() / under.max()) if under.max() > 0 else np.nan


@dataclass(frozen=True)
class Chosen:
    """Dimensions chosen and everything said of them.

    Attributes
    ----------
    layout : Layout
    aims : tuple of Aim
        What was asked for.
    moving : ndarray (m,) of bool
        Which of it any dimension changes.
    fit : Fit
    check, drawn : Check
        Of the found system and of the one as drawn.
    exact : ndarray (k,)
        Dimensions before rounding.
    exact_met : bool
        Whether they met what dimensions can change.
    minded : tuple of str
        Pairs that the fit had to mind, in the order of its weights.
    still : tuple of str
        Pairs that come too near and that no dimension changes.
    """

    layout: Layout
    aims: tuple
    moving: np.ndarray
    fit: Fit
    check: Check
    drawn: Check
    exact: np.ndarray
    exact_met: bool
    minded: tuple
    still: tuple


def choose(system: System, starts: int, seed: int, rounded: bool) -> Chosen:
    """Choose the dimensions that a file names.

    Parameters
    ----------
    system : System
    starts, seed : int
    rounded : bool

    Returns
    -------
    Chosen
    """
    layout = Layout(system.model, named_dimensions(system.model))
    aims = aims_of(system)
    _refuse_nothing(system, layout, aims)
    moving = _moving(system, layout, aims)
    wanted = tuple(aim for aim, any_ in zip(aims, moving, strict=True) if any_)
    problem, fitted, checked, still = _rounds(system, layout, wanted, starts, seed)
    exact, exact_met = fitted.values, checked.clear and bool(checked.met(wanted).all())
    if rounded:
        fitted, checked = _rounded(problem, fitted, checked, wanted)
    return Chosen(layout, aims, moving, fitted, _whole(fitted.system, aims, checked),
                  check(system, aims, after=checked), exact, exact_met,
                  tuple(cut.aim.of for cut in problem.cuts), still)


def _whole(system, aims, checked):
    """The check of the wanted aims grown to all of them."""
    return replace(check(system, aims, apart=False), clearance=checked.clearance)


def _refuse_nothing(system, layout, aims):
    if not layout.named:
        raise LinkageError('the file names no dimension to choose; add one, like '
                           '[size.arm."elevator horn"] with point, least and greatest')
    if not aims and not (system.model.size.clearance and system.model.solids):
        raise LinkageError("the file asks for nothing that dimensions could meet; give a surface "
                           "require = { up = ..., down = ... }, or the size table a target")


def _moving(system, layout, aims) -> np.ndarray:
    """Which aims any dimension changes, tried as drawn and at two places within the limits."""
    drawn = np.array([each.drawn for each in layout.named])
    low, high = (np.array([getattr(each, word) for each in layout.named])
                 for word in ("least", "greatest"))
    moving = np.zeros(len(aims), bool)
    for values in (drawn, low + 0.37 * (high - low), low + 0.61 * (high - low)):
        trial = Trial(system, layout, values, Places(judged_ends(system)))
        moving |= [bool(np.abs(np.nan_to_num(trial.give(aim)[1])).max(initial=0.0) > 1e-9)
                   for aim in aims]
    return moving


def _rounds(system, layout, wanted, starts, seed):
    """Fit until the whole analysis finds nothing that the fit did not see."""
    lifts, watched, still, begin, cut, between = np.zeros(len(wanted)), {}, (), None, (), set()
    tries, ends, checked = starts, judged_ends(system), None
    for _ in range(ROUNDS):
        problem = Problem(layout, _lifted(wanted, lifts), cut,
                          Places(ends, tuple(sorted(between))))
        fitted = fit(problem, tries, seed, begin)
        checked = check(fitted.system, wanted, after=checked)
        unseen = np.abs(np.nan_to_num(checked.found - fitted.found[:len(wanted)])) > SEEN
        near = too_near(fitted.system, checked.clearance)
        nothing_new = not unseen.any() and not set(near) - set(still)
        if nothing_new or _stands(fitted, begin):
            break
        lifts = lifts + np.where(unseen, list(map(_short, wanted, checked.found)), 0.0)
        between |= {(wanted[n].input, checked.at[n]) for n in np.flatnonzero(unseen)
                    if wanted[n].kind == "travel"}
        for name, (pair, position) in near.items():
            watched[name, tuple(round(v, 1) for v in position.values())] = pair, position
        begin, ends = fitted.values, judged_ends(fitted.system)
        tries = starts if unseen.any() else 1  # what was not seen may have led the search astray
        cut, still = cuts(layout, begin, watched.values())
    return problem, fitted, checked, still


def _stands(fitted: Fit, begin) -> bool:
    """Whether a fit has come back to the dimensions it began with."""
    return begin is not None and not np.abs(fitted.values - begin).max() > SEEN


def _lifted(aims, lifts) -> list[Aim]:
    return [replace(aim, wanted=aim.wanted + lift)
            for aim, lift in zip(aims, lifts, strict=True)]


def _short(aim, value) -> float:
    """What a margin is short by where the fit did not look."""
    return max(aim.wanted - value, 0.0) + SEEN if aim.kind in ("over-centre", "direction") and \
        aim.share(value) > SEEN else 0.0


def _rounded(problem, fitted: Fit, checked: Check, wanted) -> tuple[Fit, Check]:
    """The best combination of neighbouring steps, checked again."""
    stepped = [k for k, each in enumerate(problem.layout.named) if each.step is not None]
    if not stepped:
        return fitted, checked
    combined = list(itertools.product(*_neighbours(problem, fitted, stepped)))
    ranked = _ranked(_with(problem, fitted, dict(zip(stepped, values, strict=True)), refit=False)
                     for values in combined)
    if len(stepped) < len(problem.layout.named):
        ranked = _ranked(_with(problem, fitted, {k: each.values[k] for k in stepped}, refit=True)
                         for each in ranked[:REFITTED])
    if not ranked:
        raise LinkageError(f"no combination of neighbouring steps, of {len(combined)} tried, can "
                           f"be assembled; make the steps smaller", tried=len(combined))
    return _first_proven(ranked[:PROVEN], wanted, checked)


def _first_proven(fits, wanted, after) -> tuple[Fit, Check]:
    """The first fit that meets all that is wanted by the whole analysis; else the first."""
    first = None
    for each in fits:
        again = check(each.system, wanted, after=after)
        after = again
        first = first or (each, again)
        if again.clear and again.met(wanted).all():
            return each, again
    return first


def _ranked(fits) -> list[Fit]:
    """The fits that can be assembled, the best first."""
    return sorted((each for each in fits if each is not None), key=_rank)


def _rank(fitted: Fit):
    return round(fitted.worst, 9), round(float(fitted.shares @ fitted.shares), 9)


def _neighbours(problem, fitted, stepped):
    """Values each stepped dimension may be rounded to: the step below and the step above."""
    choices, pull = {}, {}
    for k in stepped:
        each = problem.layout.named[k]
        allowed = steps_within(each)
        value = fitted.values[k]
        below = int(np.clip(np.floor(value / each.step + 1e-9), allowed[0], allowed[-1]))
        above = min(below + 1, allowed[-1])
        values = sorted({below * each.step, above * each.step},
                        key=lambda v, value=value: abs(v - value))
        exact = abs(values[0] - value) < 1e-9 * each.step
        choices[k] = values[:1] if exact else values
        pull[k] = np.abs(fitted.rates[:, k]).max(initial=0.0) * each.step
    few = sorted(stepped, key=pull.get, reverse=True)[:MOST_COMBINED]
    return [choices[k] if k in few else choices[k][:1] for k in stepped]


def _with(problem, fitted, held, *, refit) -> Fit | None:
    """The fit with some dimensions held, the others fitted again or left where they were."""
    if refit:
        try:
            again = fit(problem.holding(held), 1, 0, fitted.values)
        except LinkageError:
            return None
        return replace(again, weights=fitted.weights, limits=fitted.limits)
    values = fitted.values.copy()
    values[list(held)] = list(held.values())
    every = problem.holding(dict(enumerate(values)))
    system = every.assembled(np.zeros(0))
    if system is None:
        return None
    if every.wrong_way(system, np.zeros(0)):
        return None
    aims, rates = every.give(system, np.zeros(0))
    return replace(fitted, values=values, system=system, found=aims, rates=rates,
                   shares=every.used(system, np.zeros(0)))


