"""First contact along one input, by steps that shrink where the gap does."""

import numpy as np

from .closing import close

FIRST = 240  # steps of the way at least
NEVER = np.inf


def gap_along(case, pair, name, at):
    """Upper end of the gap along one input, the others at 0; away from shared joints."""
    at = np.atleast_1d(np.asarray(at, dtype=float))
    inputs = {n: np.zeros(len(at)) for n in case.box} | {name: at}
    scene = case.scene_of(pair)
    return np.full(len(at), np.inf) if scene is None else \
        scene.gap(close(case.machine, inputs), pair)[1]


def first_contact(case, pair, name, limit):
    """Where two solids first meet on the way from neutral to a limit; inf when they don't.

    Every step whose gaps could hide a contact, were the gap to fall at twice the steepest rate
    seen, is halved down to 1e-7 of the way.
    """
    x = np.linspace(0.0, limit, FIRST + 1)
    gap = gap_along(case, pair, name, x)
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
        new = gap_along(case, pair, name, middle)
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
