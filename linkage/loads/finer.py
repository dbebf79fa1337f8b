"""Where a load may be greater than on a grid of stick positions: looked at closer, halving on.

Whatever may rise above the greatest value known (`linkage.search.may_rise`) is looked at with half
the step; what may be missing in the end is told, an estimate and no proof.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable

import numpy as np

from ..search import SAFETY

TOGETHER = 60_000  # places of several cases, counted each, that are looked at in one go
MOST = 100  # places of one load case looked at with one step; what is left counts as missing


def distinct(places: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Places that differ, in rising order.

    NumPy's `unique` along an axis gives the same five times slower.

    Parameters
    ----------
    places : ndarray (n, inputs)

    Returns
    -------
    tuple of ndarray
        The m that differ (m, inputs), where each stands first (m,), and which of them each is (n,).

    Examples
    --------
    >>> [k.tolist() for k in distinct(np.array([[2.0, 1.0], [0.0, 3.0], [2.0, 1.0]]))]
    [[[0.0, 3.0], [2.0, 1.0]], [1, 0], [1, 0, 1]]
    """
    order = np.lexsort(places.T[::-1])
    new = np.ones(len(order), bool)
    new[1:] = (np.diff(places[order], axis=0) != 0).any(axis=1)
    which = np.empty(len(order), int)
    which[order] = np.cumsum(new) - 1
    once = order[new]
    return places[once], once, which


class Finer:
    """Candidates for the greatest of each load, in one load case each.

    Parameters
    ----------
    best : dict
        ``{key: greatest value so far}``; kept up to date by `note`.
    note : callable
        ``note(case, loads, places)`` takes in what was looked at.
    box : ndarray (inputs, 2)
    """

    def __init__(self, best: Callable, note: Callable, box: np.ndarray):
        self.best, self.note, self.box = best, note, box
        self.waiting = {}  # {case: {key: [places (n, inputs), bounds (n,)]}}
        self.missing = {}

    def add(self, case: object, key: tuple, places: np.ndarray, bounds: np.ndarray) -> None:
        """Places about which a load may come up to some bounds."""
        mine = self.waiting.setdefault(case, {}).setdefault(key, [])
        mine.append((places, bounds))

    def halve(self, loads_at: Callable, steps: np.ndarray) -> None:
        """Look about all that wait with other steps.

        Parameters
        ----------
        loads_at : callable
            ``loads_at(cases, places)`` yields for each case in turn ``{key: values (n,)}`` at
            its own places.
        steps : ndarray (inputs,)
        """
        waiting, self.waiting = self.waiting, {}
        about = {case: self._about(keys, steps) for case, keys in waiting.items()}
        about = {case: places for case, places in about.items() if places}
        for some in _together(about):
            every = [np.concatenate([p.reshape(-1, len(steps)) for p in about[case].values()])
                     for case in some]
            every, _, where = zip(*(distinct(places.round(12)) for places in every), strict=True)
            for case, places, of, loads in zip(some, every, where, loads_at(some, every),
                                               strict=True):
                self.note(case, loads, places)
                self._look(case, about[case], (loads, of, len(steps)))

    def finish(self) -> dict:
        """``{key: how much a load may be greater than the greatest known}``."""
        for keys in self.waiting.values():
            for key, some in keys.items():
                self._left(key, np.concatenate([bounds for _, bounds in some]))
        return self.missing

    def _promising(self, key, some):
        places, bounds = (np.concatenate(part) for part in zip(*some, strict=True))
        above = bounds > self.best(key)
        places, bounds = places[above], bounds[above]
        order = np.argsort(-bounds)
        self._left(key, bounds[order[MOST:]])
        return places[order[:MOST]]

    def _left(self, key, bounds):
        more = float(np.max(bounds, initial=-np.inf)) - self.best(key)
        if more > self.missing.get(key, 0.0):
            self.missing[key] = more

    def _about(self, keys, steps):
        """Places about the promising ones of a case: ``{key: (m, 3^inputs, inputs)}``."""
        offsets = np.array(list(itertools.product((-1, 0, 1), repeat=len(steps)))) * steps
        chosen = {key: self._promising(key, some) for key, some in keys.items()}
        return {key: np.clip(places, self.box[:, 0] + steps, self.box[:, 1] - steps)[:, None]
                + offsets for key, places in chosen.items() if len(places)}

    def _look(self, case, about, what):
        loads, where, inputs = what
        first, shape = 0, (3,) * inputs
        for key, places in about.items():
            count = places.shape[0] * places.shape[1]
            values = loads[key][where[first:first + count]].reshape(-1, *shape)
            first += count
            bends = [np.abs(np.diff(values, 2, axis=1 + k)).reshape(len(values), -1)
                     for k in range(inputs)]
            rise = sum(np.nan_to_num(b).max(axis=1, initial=0.0) for b in bends) * SAFETY / 8
            bounds = values.reshape(len(values), -1) + rise[:, None]
            bounds, flat = np.nan_to_num(bounds, nan=-np.inf).ravel(), places.reshape(-1, inputs)
            _, once, _ = distinct(flat.round(12))
            self.add(case, key, flat[once], bounds[once])


def _together(about):
    """Cases in groups that are looked at in one go, a group of no more than so many places."""
    group, size = [], 0
    for case, keys in about.items():
        count = sum(places.shape[0] * places.shape[1] for places in keys.values())
        if group and size + count > TOGETHER:
            yield group
            group, size = [], 0
        group, size = [*group, case], size + count
    if group:
        yield group
