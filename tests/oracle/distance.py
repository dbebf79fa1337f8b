"""Distance of convex hulls, many at once: the nearest point of their difference to the origin.

Own writing of the walk of Gilbert, Johnson and Keerthi (1988, from memory); of up to four corners
every subset with the newest is tried (without it nothing is nearer than before) and the nearest
point kept, so that nothing depends on a choice of case.
Every answer has two ends: what a pair of points of the hulls has, and what a plane between proves.
"""

import itertools

import numpy as np

WALK = 80
CLOSE = 1e-11  # of the distance
# the newest corner stands first
SUBSETS = [(0, *k) for n in range(4) for k in itertools.combinations(range(1, 4), n)]
KEPT = [np.isin(np.arange(4), subset) for subset in SUBSETS]


def hull_distance(a, b, enough=np.inf):
    """Bounds (low, high) of the distance of hulls a (n, p, 3) and b (n, q, 3).

    What is proven to be more than `enough` is walked no further.
    """
    enough = np.broadcast_to(enough, len(a))
    shift = a.mean(axis=1, keepdims=True)
    a, b = a - shift, b - shift
    count = len(a)
    simplex = np.repeat((b[:, :1] - a[:, :1]), 4, axis=1)
    held = np.zeros((count, 4), bool)
    held[:, 0] = True
    near = simplex[:, 0].copy()
    low, high = np.zeros(count), np.linalg.norm(near, axis=1)
    active = np.arange(count)
    for _ in range(WALK):
        v = near[active]
        size = np.linalg.norm(v, axis=1)
        corner = support(a[active], b[active], v)
        with np.errstate(invalid="ignore", divide="ignore"):
            proven = np.where(size > 0, (corner * v).sum(axis=1) / size, 0.0)
        low[active] = np.maximum(low[active], proven)
        high[active] = np.minimum(high[active], size)
        repeated = (np.abs(simplex[active] - corner[:, None]).max(axis=2) == 0) & held[active]
        go = (high[active] - low[active] > CLOSE * (1 + high[active])) & (size > 0) \
            & ~repeated.any(axis=1) & ~(low[active] > enough[active])
        active, corner = active[go], corner[go]
        if not active.size:
            break
        free = held[active].argmin(axis=1)
        simplex[active, free], held[active, free] = simplex[active, 0], held[active, 0]
        simplex[active, 0], held[active, 0] = corner, True
        near[active], held[active] = nearest(simplex[active], held[active])
    return low, high


def support(a, b, v):
    """The corner of b - a that is foremost against v."""
    rows = np.arange(len(a))
    one = np.einsum("npi,ni->np", a, v).argmax(axis=1)
    other = np.einsum("npi,ni->np", b, v).argmin(axis=1)
    return b[rows, other] - a[rows, one]


def nearest(simplex, held):
    """Point nearest to the origin of the held corners of a simplex, and the corners it needs."""
    best = np.full(len(simplex), np.inf)
    point, kept = np.zeros((len(simplex), 3)), np.zeros(held.shape, bool)
    for subset, keeps in zip(SUBSETS, KEPT, strict=True):
        rows = np.flatnonzero(held[:, subset].all(axis=1))
        if not rows.size:
            continue
        corners = simplex[rows][:, subset]
        with np.errstate(all="ignore"):
            weights = affine(corners)
            usable = (weights >= -1e-13).all(axis=1) & np.isfinite(weights).all(axis=1)
        weights = np.where(usable[:, None], np.clip(weights, 0, None), 0.0)
        weights = weights / np.maximum(weights.sum(axis=1, keepdims=True), 1e-300)
        found = (weights[..., None] * corners).sum(axis=1)
        size = np.where(usable, (found**2).sum(axis=1), np.inf)
        better = size < best[rows] * (1 - 1e-15)
        rows = rows[better]
        best[rows], point[rows] = size[better], found[better]
        kept[rows] = keeps
    full = kept.all(axis=1)
    point[full] = 0.0  # the origin lies inside
    return point, kept


def affine(corners):
    """Weights of the point of the corners' flat that is nearest to the origin."""
    count, size = corners.shape[:2]
    if size == 1:
        return np.ones((count, 1))
    sides = corners[:, 1:] - corners[:, :1]
    if size == 4:
        matrix, right = sides.transpose(0, 2, 1), -corners[:, 0]
    else:
        matrix = sides @ sides.transpose(0, 2, 1)
        right = -np.einsum("nki,ni->nk", sides, corners[:, 0])
    share = solve(matrix, right)
    return np.concatenate([1 - share.sum(axis=1, keepdims=True), share], axis=1)


def solve(matrix, right):
    """Cramer's rule for one to three unknowns."""
    size = right.shape[1]
    if size == 1:
        return right / matrix[:, 0]
    if size == 2:
        (a, b), (c, d) = matrix[:, 0].T, matrix[:, 1].T
        det = a * d - b * c
        return np.stack([d * right[:, 0] - b * right[:, 1],
                         a * right[:, 1] - c * right[:, 0]], axis=1) / det[:, None]
    columns = matrix.transpose(2, 0, 1)
    x, y, z = columns
    det = (x * np.cross(y, z)).sum(axis=1)
    return np.stack([(right * np.cross(y, z)).sum(axis=1), (x * np.cross(right, z)).sum(axis=1),
                     (x * np.cross(y, right)).sum(axis=1)], axis=1) / det[:, None]
