"""Triangles through cross-sections, as fine as it takes to stay within a band of the surface."""

from __future__ import annotations

import numpy as np

from ..errors import LinkageError

MOST = 400_000  # triangles
STEEPEST = 4096  # parts of one patch along one side


def loft(places: np.ndarray, within: float, *, curved: bool) -> np.ndarray:
    """Triangles through places on sections.

    Parameters
    ----------
    places : ndarray (sections, places, 3)
        mm; place k of every section lies on one line along the surface.
    within : float
        mm that no point of the surface lies farther from the triangles than.
    curved : bool
        Whether the surface is the cubic spline through them, both along the sections (by their
        mean length) and from one to the next (by their station); else it is straight between.

    Returns
    -------
    ndarray (n, 3, 3)

    Notes
    -----
    A surface S over a cell of sides g and h lies within (g² max|Suu| + 2 g h max|Suv| + h²
    max|Svv|) / 8 of the triangles through its corners (D. Filip, R. Magedson and R. Markot,
    "Surface algorithms using bounds on derivatives", 1986, from memory); the derivatives of a
    patch are bounded by the differences of its Bézier points.
    """
    patches = _curved(places) if curved else _straight(places)
    second, mixed, across = _bends(patches)
    parts = _parts(second, mixed, across, within)
    along, around = parts
    count = 2 * int(along.sum()) * int(around.sum())
    if count > MOST:
        raise LinkageError(f"takes {count:,} triangles to lie within {within:g} mm, and at most "
                           f"{MOST:,} are made; give it a wider band: within")
    grid = _grid(patches, along, around)
    one, two, three, four = grid[:-1, :-1], grid[1:, :-1], grid[1:, 1:], grid[:-1, 1:]
    made = np.concatenate([np.stack(k, axis=2).reshape(-1, 3, 3) for k in (
        (one, two, three), (one, three, four))])
    sides = made[:, [1, 2, 0]] - made
    area = np.linalg.norm(np.cross(sides[:, 0], sides[:, 1]), axis=1)
    return made[area > 1e-9 * (sides**2).sum(axis=2).max(axis=1)]  # a keel is one line, no band


def _straight(places):
    """Bézier points (2, sections - 1, 2, places - 1, 3) of bilinear patches."""
    return np.stack([np.stack([places[:-1, :-1], places[:-1, 1:]], axis=1),
                     np.stack([places[1:, :-1], places[1:, 1:]], axis=1)])


def _curved(places):
    """Bézier points (4, sections - 1, 4, places - 1, 3) of the cubic spline."""
    stations = places[:, 0, 0]
    steps = np.linalg.norm(np.diff(places, axis=1), axis=2).mean(axis=0)
    lengths = np.concatenate([[0.0], np.cumsum(np.maximum(steps, 1e-9))])
    rows = _bezier(stations, places)
    return np.moveaxis(_bezier(lengths, np.moveaxis(rows, 2, 0)), (2, 3), (0, 1))


def _bezier(knots, values):
    """Bézier points (4, n - 1, ...) of the cubic spline through values (n, ...)."""
    from scipy.interpolate import CubicSpline

    spline = CubicSpline(knots, values, axis=0, bc_type="natural")
    size = np.diff(knots).reshape(-1, *[1] * (values.ndim - 1))
    third, second, first, start = (spline.c[k] * size**(3 - k) for k in range(4))
    return np.stack([start, start + first / 3, start + 2 * first / 3 + second / 3,
                     start + first + second + third])


def _bends(patches):
    """Bounds of the second derivatives of each patch over its unit square: (n, m) each."""
    degree = len(patches) - 1

    def most(points):
        size = np.linalg.norm(points, axis=-1)
        return size.max(axis=(0, 2)) if points.size else np.zeros(
            (patches.shape[1], patches.shape[3]))

    high = degree * (degree - 1)
    return (high * most(np.diff(patches, 2, axis=0)),
            degree**2 * most(np.diff(np.diff(patches, axis=0), axis=2)),
            high * most(np.diff(patches, 2, axis=2)))


def _parts(second, mixed, across, within):
    """Parts of every row and every column of patches, halved where most is gained."""
    along, around = np.ones(second.shape[0], int), np.ones(second.shape[1], int)
    while True:
        g, h = 1 / along[:, None], 1 / around[None]
        terms = g * g * second, 2 * g * h * mixed, h * h * across
        off = sum(terms) / 8
        bad = off > within
        if not bad.any():
            return along, around
        first = terms[0] >= terms[2]
        rows = (bad & first).any(axis=1)
        columns = (bad & ~first).any(axis=0)
        along[rows] += np.maximum(along[rows] // 4, 1)
        around[columns] += np.maximum(around[columns] // 4, 1)
        if max(along.max(), around.max()) > STEEPEST:
            raise LinkageError(f"can't be laid within {within:g} mm in {STEEPEST} parts; give it a "
                               f"wider band: within")


def _grid(patches, along, around):
    """Places of all corners of all parts: (rows, columns, 3)."""
    degree = len(patches) - 1
    rows = []
    for i, count in enumerate(along):
        share = np.linspace(0.0, 1.0, count + 1)[:None if i == len(along) - 1 else -1]
        weights = _weights(degree, share)
        rows.append(np.einsum("ku,kvmc->uvmc", weights, patches[:, i]))
    rows = np.concatenate(rows)
    columns = []
    for j, count in enumerate(around):
        share = np.linspace(0.0, 1.0, count + 1)[:None if j == len(around) - 1 else -1]
        columns.append(np.einsum("kv,ukc->uvc", _weights(degree, share), rows[:, :, j]))
    return np.concatenate(columns, axis=1)


def _weights(degree, share):
    """Bernstein's weights (degree + 1, n)."""
    from math import comb

    return np.stack([comb(degree, k) * share**k * (1 - share)**(degree - k)
                     for k in range(degree + 1)])
