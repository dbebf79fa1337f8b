"""Where a load may be greater than on a grid of stick positions: looked at closer, halving on.

Whatever may rise above the greatest value known (`linkage.search.may_rise`) is looked at with half
the step; what may be missing in the end is told, an estimate and no proof.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable

import numpy as np

from ..search import SAFETY

MOST = 100  # places of one load case looked at with one step; what is left counts as missing


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
            ``loads_at(case, places)`` gives ``{key: values (n,)}``.
        steps : ndarray (inputs,)
        """
        waiting, self.waiting = self.waiting, {}
        for case, keys in waiting.items():
            chosen = {key: self._promising(key, some) for key, some in keys.items()}
            chosen = {key: places for key, places in chosen.items() if len(places)}
            if chosen:
                self._look(case, chosen, (loads_at, steps))

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

    def _look(self, case, chosen, how):
        loads_at, steps = how
        offsets = np.array(list(itertools.product((-1, 0, 1), repeat=len(steps)))) * steps
        centres = {key: np.clip(places, self.box[:, 0] + steps, self.box[:, 1] - steps)
                   for key, places in chosen.items()}
        about = {key: places[:, None] + offsets for key, places in centres.items()}
        every = np.concatenate([p.reshape(-1, len(steps)) for p in about.values()])
        every, where = np.unique(every.round(12), axis=0, return_inverse=True)
        loads, first = loads_at(case, every), 0
        self.note(case, loads, every)
        shape = (3,) * len(steps)
        for key, places in about.items():
            count = places.shape[0] * places.shape[1]
            values = loads[key][where.reshape(-1)[first:first + count]].reshape(-1, *shape)
            first += count
            bends = [np.abs(np.diff(values, 2, axis=1 + k)).reshape(len(values), -1)
                     for k in range(len(steps))]
            rise = sum(np.nan_to_num(b).max(axis=1, initial=0.0) for b in bends) * SAFETY / 8
            bounds = values.reshape(len(values), -1) + rise[:, None]
            bounds, flat = np.nan_to_num(bounds, nan=-np.inf).ravel(), places.reshape(
                -1, len(steps))
            _, once = np.unique(flat.round(12), axis=0, return_index=True)
            self.add(case, key, flat[once], bounds[once])
