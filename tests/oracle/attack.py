"""Gaps of solids at stick positions, and the search for the least of them."""

import itertools
from dataclasses import dataclass
from functools import cache

import numpy as np

from .closing import built, close, dimensions
from .distance import hull_distance
from .solids import pieces

STEPS = (0.2, 0.05, 0.012, 3e-3, 6e-4, 1e-4, 1e-5)  # shares of travel tried about the best
BLOCK = 600_000


class Scene:
    """The solids of a machine, cut into hulls once."""

    def __init__(self, machine):
        self.machine = machine
        self.hulls = {name: pieces(shape) for name, shape in machine.solids.items()
                      if shape["kind"] != "rod"}

    def posed(self, posture, name, grown=0.0):
        """Hulls of a solid at n positions: list of ((n, m, 3), radius)."""
        shape = self.machine.solids[name]
        body = name.split("/")[0]
        if shape["kind"] == "rod":
            ends = [posture.point(p) for p in self.machine.rods[body][0]]
            return [(np.stack(ends, axis=1), shape["diameter"] / 2 + grown)]
        turned, moved = posture.seat(body)
        return [(np.einsum("nij,mj->nmi", turned, p.points) + moved[:, None], p.radius + grown)
                for p in self.hulls[name]]

    def gap(self, posture, pair, grown=(0.0, 0.0)):
        """Bounds (low, high) of a pair's gap at every position, NaN out of reach."""
        sides = [self.posed(posture, name, by) for name, by in zip(pair, grown, strict=True)]
        balls = [bounding(side) for side in sides]
        (one, reach), (other, far) = balls
        apart = np.linalg.norm(one[:, :, None] - other[:, None], axis=-1)
        radii = np.array([[p[1] + q[1] for q in sides[1]] for p in sides[0]])
        lowest = apart - reach[:, :, None] - far[:, None] - radii
        ceiling = (apart - radii).min(axis=(1, 2))
        every = np.arange(posture.count)
        first = lowest.reshape(posture.count, -1)
        best = np.argmin(np.where(np.isfinite(first), first, np.inf), axis=1)
        i, j = np.unravel_index(best, radii.shape)
        low, high = self._closest(sides, (every, i, j), ceiling)
        ceiling = np.fmin(ceiling, high)
        with np.errstate(invalid="ignore"):
            n, i, j = np.nonzero(lowest <= ceiling[:, None, None])
        new = best[n] != i * radii.shape[1] + j
        near, met = self._closest(sides, (n[new], i[new], j[new]), ceiling)
        low, high = np.minimum(low, near), np.minimum(high, met)
        lost = ~np.isfinite(apart).all(axis=(1, 2))
        low[lost] = high[lost] = np.nan
        return low, high

    def _closest(self, sides, items, ceiling):
        """Least (low, high) at every position over items: position, hull, hull."""
        n, i, j = items
        low, high = np.full(len(ceiling), np.inf), np.full(len(ceiling), np.inf)
        sizes = [corners(side) for side in sides]
        radii = [np.array([p[1] for p in side]) for side in sides]
        kinds = sizes[0][i] * 10_000 + sizes[1][j]
        for kind in np.unique(kinds):
            here = np.flatnonzero(kinds == kind)
            for part in np.array_split(here, 1 + len(here) * (kind // 10_000 + kind % 10_000)
                                       // BLOCK):
                by = radii[0][i[part]] + radii[1][j[part]]
                near, met = hull_distance(stacked(sides[0], i[part], n[part]),
                                          stacked(sides[1], j[part], n[part]),
                                          ceiling[n[part]] + by)
                np.fmin.at(low, n[part], near - by)
                np.fmin.at(high, n[part], met - by)
        return low, high


def corners(side):
    return np.array([p[0].shape[1] for p in side])


def stacked(side, which, position):
    """Corners of hulls of one size at positions, (m, corners, 3)."""
    made = np.empty((len(which), side[which[0]][0].shape[1], 3))
    for k in np.unique(which):
        here = which == k
        made[here] = side[k][0][position[here]]
    return made


def bounding(side):
    middles = np.stack([p[0].mean(axis=1) for p in side], axis=1)
    reach = np.stack([np.linalg.norm(p[0] - m[:, None], axis=-1).max(axis=1)
                      for p, m in zip(side, middles.transpose(1, 0, 2), strict=True)], axis=1)
    return middles, reach


@cache
def ways(count):
    return np.array([w for w in itertools.product((-1.0, 0.0, 1.0), repeat=count) if any(w)])


def samples(box, rng, count):
    """Random stick positions, among them sides, corners and the middle: {name: (n,)}."""
    low, high = np.array(list(box.values()), dtype=float).T
    share = rng.random((count, len(box)))
    share = np.where(rng.random(share.shape) < 0.2, share.round(), share)
    grid = np.array(list(itertools.product((0.0, 0.5, 1.0), repeat=len(box))))[:count]
    share[:len(grid)] = grid
    at = np.clip(low + share * (high - low), low, high)
    return {name: at[:, k] for k, name in enumerate(box)}


@dataclass
class Hunt:
    """Pairs whose least gaps are looked for side by side.

    Attributes
    ----------
    targets : list of (Scene, (str, str))
    box : dict
    grown : list of (float, float)
        How much each solid of a pair is larger.
    share : ndarray (pairs, dimensions) or None
        The build of each pair; as drawn when None.
    """

    targets: list
    box: dict
    grown: list
    share: object = None

    def gaps(self, at, share=None):
        """Gaps (pairs, n) at positions (pairs, n, inputs); inf out of reach."""
        machine, (count, n, _) = self.targets[0][0].machine, at.shape
        share, build = self.share if share is None else share, None
        if share is not None:
            rows = share.reshape(-1, share.shape[-1])
            build = built(machine, rows).at(np.repeat(np.arange(len(rows)), count * n // len(rows)))
        flat = at.reshape(-1, at.shape[-1])
        posture = close(machine, {k: flat[:, i] for i, k in enumerate(self.box)}, build)
        found = [scene.gap(posture.some(slice(k * n, (k + 1) * n)), pair, grown)[1]
                 for k, ((scene, pair), grown) in enumerate(zip(self.targets, self.grown,
                                                                strict=True))]
        return np.nan_to_num(np.array(found), nan=np.inf)

    def down(self, at):
        """Least gaps (pairs,) and places (pairs, inputs) that a search from (pairs, s, inputs) has.

        Places all round are tried at steps that shrink, so that no slope is asked for.
        """
        low, high = np.array(list(self.box.values()), dtype=float).T
        met, count = self.gaps(at), at.shape[-1]
        for step in STEPS:
            for _ in range(3):
                around = np.clip(at[:, :, None] + step * (high - low) * ways(count), low, high)
                tried = self.gaps(around.reshape(len(at), -1, count)).reshape(*met.shape, -1)
                best = tried.argmin(axis=2)[..., None]
                value = np.take_along_axis(tried, best, 2)[..., 0]
                better = value < met
                if not better.any():
                    break
                place = np.take_along_axis(around, best[..., None], 2)[:, :, 0]
                at, met = np.where(better[..., None], place, at), np.where(better, value, met)
        rows, best = np.arange(len(at)), met.argmin(axis=1)
        return met[rows, best], at[rows, best]

    def sided(self, at):
        """Builds with every dimension on the side that alone brings a pair nearer."""
        pairs, count = self.share.shape
        both = np.tile(self.share[:, None], (1, 2 * count, 1))
        each = np.arange(count)
        both[:, each, each], both[:, count + each, each] = 1.0, -1.0
        met = self.gaps(np.tile(at[:, None], (1, 2 * count, 1)), both).reshape(pairs, 2, count)
        with np.errstate(invalid="ignore"):
            moved = np.abs(met[:, 0] - met[:, 1]) > 1e-12
        return np.where(moved, np.where(met[:, 0] < met[:, 1], 1.0, -1.0), self.share)


def worst_builds(targets, box, rng, **more):
    """Least gaps of any build that a search comes to: (gaps (pairs,), places, shares).

    Random corners of the tolerances at random positions first; then every dimension is put to
    the side that brings a pair nearer, and the position is searched again.
    """
    machine = targets[0][0].machine
    grown = [grown_by(machine, pair, more.get("growth", 1.0)) for _, pair in targets]
    builds, places = more.get("builds", 40), more.get("places", 40)
    share = rng.choice([-1.0, 1.0], (builds, len(dimensions(machine))))
    share[0] = 0.0
    at = samples(box, rng, builds * places)
    posture = close(machine, at, built(machine, share).at(np.repeat(np.arange(builds), places)))
    met = np.nan_to_num([scene.gap(posture, pair, by)[1]
                         for (scene, pair), by in zip(targets, grown, strict=True)], nan=np.inf)
    best = met.argmin(axis=1)
    gap, place = met.min(axis=1), np.stack(list(at.values()), axis=1)[best]
    hunt = Hunt(targets, box, grown, share[best // places])
    for _ in range(more.get("turns", 4) if share.shape[1] else 0):
        tried = Hunt(targets, box, grown, hunt.sided(place))
        found, spot = tried.down(place[:, None])
        better = found < gap - 1e-7
        if not better.any():
            break
        gap = np.where(better, found, gap)
        place = np.where(better[:, None], spot, place)
        hunt.share = np.where(better[:, None], tried.share, hunt.share)
    return gap, place, hunt.share


def grown_by(machine, pair, growth):
    """How much each solid of a pair is larger as built: shares of its tolerance, of a rod all."""
    general = machine.tolerance["hardpoint"]
    return tuple(general if machine.solids[name]["kind"] == "rod" else growth *
                 machine.tolerance.get(name.split("/")[0], general) for name in pair)
