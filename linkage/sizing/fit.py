"""Choosing the dimensions: several starts, then either every target met or the best compromise.

1. Least squares of what is missed, in shares of each tolerance, from several seeded starts.
2. Where some start meets every target: of all such dimensions those nearest to the drawn ones.
3. Elsewhere the greatest share of a tolerance is made as small as it can be: at most 1 when every
   target is met within its tolerance, and above 1 the answer says how far the targets conflict.
   Then the rest comes as near as it can, and every change that no target needs is taken back.

The multipliers of 2 and 3 say which target holds the result by how much.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from ..errors import LinkageError
from ..motion import System
from .dimensions import Layout
from .targets import Aim, Places, Trial

LOST = 1e3  # shares that count where a rod is out of reach
EXACT = 1e-7  # shares below which a target is met to the last figures that count
ALIKE = 1e-6  # share of the largest slope below which one target follows from the others
ACTIVE = 1e-5  # shares, and of a dimension's range, within which a limit is reached
REBUILT = 4  # times a fit is taken up again after the system was assembled anew


@dataclass(frozen=True)
class Cut:
    """A pair's gap at one stick position, as it changes with the dimensions to first order."""

    aim: Aim
    position: tuple
    value: float
    rate: np.ndarray
    at: np.ndarray

    def give(self, values: np.ndarray) -> tuple[float, np.ndarray]:
        """Gap and rates at some dimensions."""
        return self.value + float(self.rate @ (values - self.at)), self.rate


@dataclass(frozen=True)
class Fit:
    """Dimensions found.

    Attributes
    ----------
    values : ndarray (k,)
    system : System
        Assembled with them.
    shares : ndarray (m,)
        How much of its tolerance each aim uses; 0 for a least that is met, else 1 and more.
    rates : ndarray (m, k)
        Change of each aim's value per mm or degree of each dimension.
    found : ndarray (m,)
    weights : ndarray (m,)
        How much each aim holds the result, together 1 (0 where nothing has to give).
    limits : ndarray (k,)
        -1 where the least of a dimension holds it, +1 the greatest, else 0.
    """

    values: np.ndarray
    system: System
    shares: np.ndarray
    rates: np.ndarray
    found: np.ndarray
    weights: np.ndarray
    limits: np.ndarray

    @property
    def worst(self) -> float:
        """Greatest share of a tolerance that is used; 1 is just met."""
        return float(self.shares.max(initial=0.0))


class Problem:
    """Aims as functions of the dimensions, each as a share of its range.

    Parameters
    ----------
    layout : Layout
    aims : tuple of Aim
    cuts : tuple of Cut
    places : Places
        Where it is looked at.
    held : dict
        ``{index of a dimension: value}`` that stays.
    """

    def __init__(self, layout: Layout, aims: Iterable[Aim], cuts: Iterable[Cut],
                 places: Places, held: Mapping[int, float] | None = None):
        self.layout, self.aims, self.cuts = layout, tuple(aims), tuple(cuts)
        self.places = places
        self.held = dict(held or {})
        self.every = (*self.aims, *(cut.aim for cut in self.cuts))
        self.least = np.array([aim.least for aim in self.every], dtype=bool)
        self.turns = np.array([aim.kind == "direction" for aim in self.every], dtype=bool)
        self.scale = np.array([aim.scale for aim in self.every])
        self.low, high, drawn = np.array(
            [(each.least, each.greatest, each.drawn) for each in layout.named]).reshape(-1, 3).T
        self.span = high - self.low
        self.free = [k for k in range(len(self.low)) if k not in self.held]
        self.drawn = ((np.clip(drawn, self.low, high) - self.low) / self.span)[self.free]
        self._last = None

    def values(self, z: np.ndarray) -> np.ndarray:
        """Dimensions in mm and degrees from the shares of their ranges that are free."""
        values = self.low.astype(float)
        values[self.free] += self.span[self.free] * np.asarray(z, dtype=float)
        for k, value in self.held.items():
            values[k] = value
        return values

    def holding(self, held: Mapping[int, float]) -> Problem:
        """The same with some dimensions held."""
        return Problem(self.layout, self.aims, self.cuts, self.places, held)

    def assembled(self, z: np.ndarray) -> System | None:
        """The system with these dimensions; None where it can't be assembled."""
        try:
            return System(self.layout.model_at(self.values(z)))
        except LinkageError:
            return None

    def give(self, system: System, z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Found values (m,) and their rates (m, k) per mm and degree."""
        values = self.values(z)
        trial = Trial(system, self.layout, values, self.places)
        pairs = [*(trial.give(aim) for aim in self.aims),
                 *(cut.give(values) for cut in self.cuts)]
        gaps = np.array([value for value, _ in pairs])
        return gaps, np.array([rate for _, rate in pairs]).reshape(len(gaps), len(values))

    def shares(self, system: System, z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Shares (m,) that are missed, and their rates (m, free) per share of each range."""
        key = (id(system), np.asarray(z).tobytes())
        if self._last is None or self._last[0] != key:
            values, rates = self.give(system, z)
            share = np.array([aim.share(v) for aim, v in zip(self.every, values, strict=True)])
            sense = np.where(self.least, -1.0, 1.0) / self.scale
            slope = (rates * sense[:, None])[:, self.free] * self.span[self.free]
            lost = ~np.isfinite(share) | ~np.isfinite(slope).all(axis=1)
            share, slope = np.where(lost, LOST, share), np.where(lost[:, None], 0.0, slope)
            self._last = key, (share, slope)
        return self._last[1]

    def used(self, system: System, z: np.ndarray) -> np.ndarray:
        """Shares (m,) of the tolerances that are used; a least that is missed uses 1 and more."""
        share = self.shares(system, z)[0]
        return np.where(self.least, np.where(share > EXACT, 1 + share, 0.0), np.abs(share))

    def wrong_way(self, system: System, z: np.ndarray) -> bool:
        """Whether a surface goes the wrong way, which no choice may bring about."""
        share = self.shares(system, z)[0][self.turns]
        return bool(((share > EXACT) & (share < LOST)).any())

    def missed(self, system: System, z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """As `shares`, with a least that is met counting 0."""
        share, slope = self.shares(system, z)
        idle = self.least & (share < 0)
        return np.where(idle, 0.0, share), np.where(idle[:, None], 0.0, slope)


def fit(problem: Problem, starts: int, seed: int, begin: np.ndarray | None = None) -> Fit:
    """The best dimensions from several starts.

    Parameters
    ----------
    problem : Problem
    starts : int
        The drawn dimensions and spread ones.
    seed : int
    begin : ndarray (k,), optional
        Dimensions to start from besides.

    Returns
    -------
    Fit

    Raises
    ------
    LinkageError
        When the system can't be assembled from any start, or moves a surface the wrong way from
        all of them.
    """
    fits = _fitted_starts(problem, starts, seed, begin)
    costs = np.array([_cost(problem, system, z) for system, z in fits])
    order = np.argsort(costs, kind="stable")
    exact = [fits[n] for n in order if _worst(problem, *fits[n]) <= EXACT]
    if exact:
        nearest = [_reassembled(problem, start, _nearest) for start in exact[:3]]
        best = min(nearest, key=lambda s: float(np.sum((s[1] - problem.drawn) ** 2)))
        return _fit(problem, *best, _pulled)
    balanced = [_reassembled(problem, fits[n], _minimax) for n in order[:3]]
    best = min(balanced, key=lambda s: (round(_worst(problem, *s), 5),
                                        float(np.sum((s[1] - problem.drawn) ** 2))))
    return _fit(problem, *best, _balanced)


def _fitted_starts(problem, starts, seed, begin) -> list:
    """Least squares from every start that can be assembled and moves nothing the wrong way."""
    begun = list(_starts(problem, starts, seed, begin))
    fits = [fitted for z in begun
            if (fitted := _rebuilt(problem, z, _least_squares)) is not None]
    if not fits:
        raise LinkageError(f"no choice of the dimensions, of {len(begun)} tried, gives a "
                           f"system that can be assembled; check the limits of each against the "
                           f"drawing", tried=len(begun))
    right = [start for start in fits if not problem.wrong_way(*start)]
    if not right:
        raise LinkageError(f"no choice of the dimensions, of {len(begun)} tried, moves "
                           f"every surface the right way ({_wrong_names(problem, *fits[0])}); mend "
                           f"the drawing first: swap an arm to the other side of its pivot")
    return right


def _wrong_names(problem, system, z) -> str:
    share = problem.shares(system, z)[0]
    return ", ".join(aim.name for aim, more, turns in zip(problem.every, share, problem.turns,
                                                          strict=True) if turns and more > EXACT)


def _starts(problem, starts, seed, begin):
    """The drawn dimensions, and the most promising of four times as many spread ones."""
    yield problem.drawn
    if begin is not None:
        yield ((begin - problem.low) / problem.span)[problem.free]
    if starts < 2 or not problem.free:
        return
    rng, count = np.random.default_rng(seed), 4 * (starts - 1)
    ranks = rng.permuted(np.tile(np.arange(count), (len(problem.free), 1)), axis=1)
    spread = ((ranks + rng.random(ranks.shape)) / count).T  # a Latin hypercube
    systems = [problem.assembled(z) for z in spread]
    costs = np.array([np.inf if s is None else _cost(problem, s, z)
                      for s, z in zip(systems, spread, strict=True)])
    for n in np.argsort(costs, kind="stable")[:starts - 1]:
        if np.isfinite(costs[n]):
            yield spread[n]


def _cost(problem, system, z) -> float:
    return float(np.sum(problem.missed(system, z)[0] ** 2))


def _worst(problem, system, z) -> float:
    return float(problem.used(system, z).max(initial=0.0))


def _rebuilt(problem, z, solve):
    """Solve, assemble anew, and solve again while the new assembly gives something else."""
    system = problem.assembled(z)
    if system is None:
        return None
    for _ in range(REBUILT):
        z = solve(problem, system, z) if problem.free else z
        before, anew = problem.shares(system, z)[0], problem.assembled(z)
        if anew is None:
            return None
        system = anew
        if np.allclose(before, problem.shares(system, z)[0], rtol=0, atol=1e-9):
            break
    return system, z


def _reassembled(problem, start, solve):
    """A refinement of a start, or the start itself where that is better."""
    tried = _rebuilt(problem, start[1], solve)
    slack = max(_worst(problem, *start), EXACT)
    if tried is None or problem.wrong_way(*tried) or not _worst(problem, *tried) <= slack:
        return start
    return tried


def _least_squares(problem, system, z):
    from scipy.optimize import least_squares

    return least_squares(lambda x: problem.missed(system, x)[0], np.clip(z, 0, 1),
                         lambda x: problem.missed(system, x)[1], bounds=(0.0, 1.0), ftol=1e-15,
                         xtol=1e-15, gtol=1e-15, max_nfev=100).x


def _nearest(problem, system, z):
    """Of the dimensions that meet every target those nearest to the drawn ones."""
    from scipy.optimize import minimize

    alike = _independent(problem, problem.shares(system, z)[1])
    rules = [{"type": "eq", "fun": lambda x: problem.shares(system, x)[0][alike],
              "jac": lambda x: problem.shares(system, x)[1][alike]},
             {"type": "ineq", "fun": lambda x: -problem.shares(system, x)[0][problem.least],
              "jac": lambda x: -problem.shares(system, x)[1][problem.least]}]
    solution = minimize(lambda x: 0.5 * float(np.sum((x - problem.drawn) ** 2)), z,
                        jac=lambda x: x - problem.drawn, bounds=[(0.0, 1.0)] * len(z),
                        method="SLSQP", constraints=[rule for rule, any_ in zip(
                         rules, (alike.size, problem.least.any()), strict=True) if any_],
                        options={"ftol": 1e-14, "maxiter": 100})
    return _least_squares(problem, system, np.clip(solution.x, 0.0, 1.0))


def _independent(problem, slope):
    """Targets met exactly without those that follow from others, as one of two twins does."""
    from scipy.linalg import qr

    alike = np.flatnonzero(~problem.least)
    if not alike.size:
        return alike
    triangle, order = qr(slope[alike].T, mode="r", pivoting=True)
    size = np.abs(np.diag(triangle))
    return alike[np.sort(order[:len(size)][size > ALIKE * max(size[0], 1e-12)])]


def _minimax(problem, system, z):
    """Dimensions that make the greatest share of a tolerance as small as it can be.

    A least may give way like a tolerance only where not everything can be met; what is not held
    by the greatest share comes as near to its target as it can then.
    """
    z = _squeezed(problem, system, z, firm=False)
    firm = _worst(problem, system, z) <= 1
    if firm:
        z = _squeezed(problem, system, z, firm=True)
    return _undone(problem, system, _settled(problem, system, z, firm), firm)


def _squeezed(problem, system, z, firm):
    from scipy.optimize import minimize

    def room(y):
        levels, _, soft = _levels(problem, system, y[:-1], firm)
        return soft * y[-1] - levels

    def slope(y):
        _, rows, soft = _levels(problem, system, y[:-1], firm)
        return np.hstack([-rows, soft[:, None]])

    top = _levels(problem, system, z, firm)[0].max(initial=0.0)
    solution = minimize(lambda y: y[-1], np.append(z, top), method="SLSQP",
                        jac=lambda y: np.eye(len(y))[-1],
                        bounds=[(0.0, 1.0)] * len(z) + [(None, None)],
                        constraints=[{"type": "ineq", "fun": room, "jac": slope}],
                        options={"ftol": 1e-12, "maxiter": 200})
    tried = np.clip(solution.x[:-1], 0.0, 1.0)
    return tried if _worst(problem, system, tried) <= _worst(problem, system, z) + EXACT else z


def _settled(problem, system, z, firm):
    """The least squares of what is missed, the greatest share kept."""
    from scipy.optimize import minimize

    levels, _, soft = _levels(problem, system, z, firm)
    top = np.where(soft > 0, levels[soft > 0].max(initial=0.0), np.maximum(levels, 0.0)) + EXACT

    def cost(x):
        share, slope = problem.missed(system, x)
        return 0.5 * float(share @ share), share @ slope

    kept_below = {"type": "ineq", "fun": lambda x: top - _levels(problem, system, x, firm)[0],
                  "jac": lambda x: -_levels(problem, system, x, firm)[1]}
    solution = minimize(cost, z, jac=True, method="SLSQP", bounds=[(0.0, 1.0)] * len(z),
                        constraints=[kept_below], options={"ftol": 1e-12, "maxiter": 100})
    tried = np.clip(solution.x, 0.0, 1.0)
    slack = 1e-6 * (1 + _worst(problem, system, z))
    return tried if _worst(problem, system, tried) <= _worst(problem, system, z) + slack else z


def _undone(problem, system, z, firm):
    """Every change taken back that no target needs: nearest to drawn with none of them worse."""
    from scipy.optimize import minimize

    top = np.maximum(_levels(problem, system, z, firm)[0], 0.0) + EXACT
    solution = minimize(lambda x: 0.5 * float(np.sum((x - problem.drawn) ** 2)), z,
                        jac=lambda x: x - problem.drawn, bounds=[(0.0, 1.0)] * len(z),
                        method="SLSQP", constraints=[
                         {"type": "ineq",
                          "fun": lambda x: top - _levels(problem, system, x, firm)[0],
                          "jac": lambda x: -_levels(problem, system, x, firm)[1]}],
                        options={"ftol": 1e-12, "maxiter": 100})
    tried = np.clip(solution.x, 0.0, 1.0)
    none_worse = (_levels(problem, system, tried, firm)[0] <= top + 10 * EXACT).all()
    return tried if none_worse else z


def _levels(problem, system, z, firm):
    """What the greatest share is the greatest of; slopes; 1, or 0 where nothing may give way.

    A least that is just met counts 1, or stays outside the greatest share where it is firm.
    """
    share, slope = problem.shares(system, z)
    alike = ~problem.least
    soft = np.append(np.ones(2 * alike.sum()), np.full((~alike).sum(), 0.0 if firm else 1.0))
    levels = np.concatenate([share[alike], -share[alike], share[~alike] + (not firm)])
    return levels, np.vstack([slope[alike], -slope[alike], slope[~alike]]), soft


def _fit(problem, system, z, weigh) -> Fit:
    values, rates = problem.give(system, z)
    at_least, at_most = z <= ACTIVE, z >= 1 - ACTIVE
    limits = np.zeros(len(problem.low))
    limits[problem.free] = np.where(at_least, -1.0, np.where(at_most, 1.0, 0.0))
    weights, holding = weigh(problem, system, z, (at_least, at_most))
    limits[problem.free] = np.where(holding, limits[problem.free], 0.0)
    return Fit(problem.values(z), system, problem.used(system, z), rates, values, weights, limits)


def _pulled(problem, system, z, ends):
    """Multipliers of the nearest dimensions: which target moves them away from the drawn ones."""
    share, slope = problem.shares(system, z)
    held = ~problem.least | (share > -ACTIVE)
    sides = np.eye(len(z))[ends[0] | ends[1]]
    columns = np.vstack([slope[held], sides]).T
    multipliers = np.linalg.lstsq(columns, z - problem.drawn, rcond=ALIKE)[0] if columns.size \
        else np.zeros(columns.shape[1])
    weights = np.zeros(len(share))
    weights[held] = np.abs(multipliers[:held.sum()])
    holding = np.zeros(len(z), bool)
    holding[ends[0] | ends[1]] = np.abs(multipliers[held.sum():]) > 1e-6
    return weights / (weights.sum() or 1.0), holding


def _balanced(problem, system, z, ends):
    """Multipliers of the best compromise: nothing can give without another target losing."""
    from scipy.optimize import nnls

    levels, slope, soft = _levels(problem, system, z, _worst(problem, system, z) <= 1 + 1e-6)
    top = np.where(soft > 0, levels[soft > 0].max(initial=0.0), 0.0)
    held = levels > top - 1e-4 * (1 + np.abs(top))
    sides = np.vstack([-np.eye(len(z))[ends[0]], np.eye(len(z))[ends[1]]])
    size = np.abs(slope[held]).max(initial=1e-12)
    columns = np.vstack([np.vstack([slope[held] / size, sides]).T,
                         np.append(soft[held], np.zeros(len(sides)))])
    multipliers = nnls(columns, np.append(np.zeros(len(z)), 1.0))[0]
    each = np.zeros(len(levels))
    each[held] = multipliers[:held.sum()]
    alike, count = ~problem.least, int((~problem.least).sum())
    weights = np.zeros(len(problem.every))
    weights[alike] = each[:count] + each[count:2 * count]
    weights[~alike] = each[2 * count:]
    holding = np.zeros(len(z), bool)
    order = np.append(np.flatnonzero(ends[0]), np.flatnonzero(ends[1]))
    holding[order[multipliers[held.sum():] > 1e-6]] = True
    return weights / (weights.sum() or 1.0), holding
