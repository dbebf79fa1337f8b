"""Meshes for tests, made by the arithmetic written here alone, and a brute-force oracle."""

import itertools
from pathlib import Path

import numpy as np

MODEL = """
length = "mm"
[input.pitch]
travel = [-20, 20]
[input.roll]
travel = [-20, 20]
[body.cross]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
[body.stick]
on = "cross"
pivot = [0, 0, 0]
axis = "fore-aft"
input = "roll"
points = {{ grip = [0, 0, 300] }}
solid.tube = {{ kind = "tube", along = ["pivot", "grip"], diameter = 20 }}
{stick}
[airframe]
points = {{ a = [80, -10, 200], b = [120, -10, 200], c = [80, 10, 200] }}
{fixed}
"""


def write_stl(path, corners):
    """A binary STL file."""
    rows = np.zeros(len(corners), np.dtype([("n", "<f4", 3), ("c", "<f4", (3, 3)), ("r", "<u2")]))
    rows["c"] = corners
    Path(path).write_bytes(bytes(80) + np.uint32(len(corners)).tobytes() + rows.tobytes())


def box(low, high, parts=1):
    """A closed block, its faces outwards, each of 2 parts² triangles."""
    low, high = np.array(low, float), np.array(high, float)
    at, made = np.linspace(0, 1, parts + 1), []
    for axis, side in itertools.product(range(3), (0, 1)):
        u, v = (axis + 1) % 3, (axis + 2) % 3
        grid = np.zeros((parts + 1, parts + 1, 3))
        grid[..., axis] = side
        grid[..., u], grid[..., v] = np.meshgrid(at, at, indexing="ij")
        faces = _quads(low + grid * (high - low))
        made.append(faces if side else faces[:, ::-1])
    return np.concatenate(made)


def ball(centre, radius, rings):
    """A closed ball of corners on the surface: 4 rings (rings - 1) triangles and more."""
    up = np.linspace(0, np.pi, rings + 1)[:, None]
    around = np.linspace(0, 2 * np.pi, 2 * rings + 1)[None]
    grid = np.stack([np.sin(up) * np.cos(around), np.sin(up) * np.sin(around),
                     np.cos(up) + 0 * around], axis=-1)
    grid[:, -1] = grid[:, 0]
    grid[0], grid[-1] = grid[0, :1], grid[-1, :1]
    made = _quads(grid)
    return np.array(centre, float) + radius * made[_wide(made)]


def bar(length, radius, sides):
    """A closed square-ended round bar along z from 0, its flats' edges on the surface."""
    turn = np.linspace(0, 2 * np.pi, sides + 1)
    turn[-1] = 0.0
    rim = np.stack([np.cos(turn), np.sin(turn)], axis=1) * radius
    rows = [np.column_stack([rim * k, np.full(sides + 1, z)]) for k, z in (
        (0, 0.0), (1, 0.0), (1, length), (0, length))]
    made = _quads(np.stack(rows, axis=0))
    return made[_wide(made)][:, ::-1]


def _quads(grid):
    one, two, three, four = grid[:-1, :-1], grid[1:, :-1], grid[1:, 1:], grid[:-1, 1:]
    return np.concatenate([np.stack(k, axis=2).reshape(-1, 3, 3) for k in (
        (one, two, three), (one, three, four))])


def _wide(made):
    return np.linalg.norm(np.cross(made[:, 1] - made[:, 0], made[:, 2] - made[:, 0]), axis=1) > 1e-9


def segment_gaps(corners, start, end):
    """Distances of a segment from triangles (n, 3, 3), by all their features one by one.

    Segment against each side, each end against the face, and 0 where the segment goes through it.
    """
    a, b, c = (corners[:, k] for k in range(3))
    best = np.min([_segments(p, q, start, end) for p, q in ((a, b), (b, c), (c, a))], axis=0)
    normal = np.cross(b - a, c - a)
    size = np.linalg.norm(normal, axis=1)
    normal = normal / np.where(size > 0, size, 1)[:, None]
    heights = []
    for point in (start, end):
        height = ((point - a) * normal).sum(axis=1)
        foot = point - height[:, None] * normal
        best = np.where(_within(foot, a, b, c, normal), np.minimum(best, np.abs(height)), best)
        heights.append(height)
    low, high = heights
    with np.errstate(divide="ignore", invalid="ignore"):
        share = low / (low - high)
    spot = start + share[:, None] * (end - start)
    through = (low * high < 0) & _within(spot, a, b, c, normal)
    return np.where(through, 0.0, best)


def _within(p, a, b, c, normal):
    return np.all([(np.cross(y - x, p - x) * normal).sum(axis=1) >= 0
                   for x, y in ((a, b), (b, c), (c, a))], axis=0)


def _segments(p, q, r, s):
    """Distances of segments p to q (n, 3) from one from r to s: interior feet and the four ends."""
    d, e, w = q - p, s - r, p - r
    dd, de, ee = (d * d).sum(1), (d * e).sum(1), (e * e).sum()
    dw, ew = (d * w).sum(1), (e * w).sum(1)
    det = dd * ee - de * de
    with np.errstate(divide="ignore", invalid="ignore"):
        t, u = (de * ew - ee * dw) / det, (dd * ew - de * dw) / det
    inner = (det > 1e-12 * dd * ee) & (t >= 0) & (t <= 1) & (u >= 0) & (u <= 1)
    best = np.where(inner, np.linalg.norm(w + t[:, None] * d - u[:, None] * e, axis=1), np.inf)
    for point in (r, s):
        k = np.clip(((point - p) * d).sum(1) / np.maximum(dd, 1e-300), 0, 1)
        best = np.minimum(best, np.linalg.norm(p + k[:, None] * d - point, axis=1))
    for point in (p, q):
        k = np.clip(((point - r) * e).sum(1) / ee, 0, 1)
        best = np.minimum(best, np.linalg.norm(r + k[:, None] * e - point, axis=1))
    return best
