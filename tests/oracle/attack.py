"""Gaps of solids at stick positions, and the search for the least of them."""

import itertools
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


def least(scene, pair, box, start, **more):
    """Least gap that a search from some positions comes to, and where: (gap, (inputs,)).

    Places all round the best ones are tried at steps that shrink, so that no slope is asked for.
    """
    names = list(box)
    low, high = np.array(list(box.values()), dtype=float).T
    build, grown = more.get("build"), more.get("grown", (0.0, 0.0))

    def value(at):
        posture = close(scene.machine, {n: at[:, k] for k, n in enumerate(names)}, build)
        return np.nan_to_num(scene.gap(posture, pair, grown)[1], nan=np.inf)

    at = np.stack([start[n] for n in names], axis=1)
    met = value(at)
    best = np.argsort(met)[:more.get("starts", 2)]
    at, met = at[best], met[best]
    for step in STEPS:
        for _ in range(3):
            around = np.clip(at[:, None] + step * (high - low) * ways(len(names)), low, high)
            tried = value(around.reshape(-1, len(names))).reshape(len(at), -1)
            k = tried.argmin(axis=1)
            rows = np.arange(len(at))
            better = tried[rows, k] < met
            if not better.any():
                break
            at[better], met[better] = around[rows, k][better], tried[rows, k][better]
    k = met.argmin()
    return met[k], at[k]


def worst_build(scene, pair, box, rng, **more):
    """Least gap of any build that a search comes to, and where: (gap, (inputs,), build).

    Random corners of the tolerances at random positions first; then every dimension is put to
    the side that brings the two nearer, and the position is searched again.
    """
    machine, names = scene.machine, list(box)
    every = dimensions(machine)
    grown = grown_by(machine, pair, more.get("growth", 1.0))
    builds, places = more.get("builds", 40), more.get("places", 40)
    share = rng.choice([-1.0, 1.0], (builds, len(every)))
    share[0] = 0.0
    at = samples(box, rng, builds * places)
    many = built(machine, share).at(np.repeat(np.arange(builds), places))
    met = gap_of(scene, (pair, grown), at, many)
    k = int(np.argmin(met))
    gap, place, share = met[k], {n: v[k] for n, v in at.items()}, share[k // places]
    for _ in range(more.get("turns", 4)):
        tried = sided(scene, (pair, grown), place, share)
        one = built(machine, tried[None]).at(0)
        start = {n: np.array([v]) for n, v in place.items()}
        found, spot = least(scene, pair, box, start, build=one, grown=grown)
        if not found < gap - 1e-7:
            break
        gap, share, place = found, tried, dict(zip(names, spot, strict=True))
    return gap, np.array(list(place.values())), share


def gap_of(scene, grown_pair, at, build):
    pair, grown = grown_pair
    return np.nan_to_num(scene.gap(close(scene.machine, at, build), pair, grown)[1], nan=np.inf)


def sided(scene, grown_pair, place, share):
    """A build with every dimension on the side that alone brings the pair nearer."""
    count = len(share)
    both = np.concatenate([np.tile(share, (count, 1)), np.tile(share, (count, 1))])
    rows = np.arange(count)
    both[rows, rows], both[count + rows, rows] = 1.0, -1.0
    at = {n: np.full(len(both), v) for n, v in place.items()}
    met = gap_of(scene, grown_pair, at, built(scene.machine, both)).reshape(2, -1)
    way = np.where(met[0] < met[1], 1.0, -1.0)
    return np.where(np.abs(met[0] - met[1]) > 1e-12, way, share)


def grown_by(machine, pair, growth):
    """How much each solid of a pair is larger as built: shares of its tolerance, of a rod all."""
    general = machine.tolerance["hardpoint"]
    return tuple(general if machine.solids[name]["kind"] == "rod" else growth *
                 machine.tolerance.get(name.split("/")[0], general) for name in pair)
