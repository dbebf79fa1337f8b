"""Points and vectors of a body carried to where a posture, or an enclosed one, puts them."""

from __future__ import annotations

import numpy as np

from ..intervals import Enclosure, unknown
from ..motion import Posture


def carried_points(posture: Posture, body: str, points, frame: str, vectors=False):
    """Points or vectors (3, n) of a body as a frame sees them: ([rows,] 3, n, cells)."""
    p = tuple(points[axis][:, None] for axis in range(3))
    here = posture if not vectors else posture.of_vectors()
    for joint, outward in posture.plan.route(body, frame):
        p = here.crossed(p, joint, outward)
    return stacked(posture, p)


def stacked(posture, p):
    """Coordinates of q points, ([q,] [cells]) each, as one array: ([rows,] 3, q, cells)."""
    if posture.rows is None:
        whole = np.stack(np.broadcast_arrays(*p))
        return whole.reshape(3, *(1,) * (3 - whole.ndim), *whole.shape[1:])
    shapes = [k.rows.shape[1:] if isinstance(k, Enclosure) else np.shape(k) for k in p]
    shape = np.broadcast_shapes((1, 1), *shapes)
    made = np.zeros((posture.rows, 3, *shape))
    for axis, k in enumerate(p):
        if isinstance(k, Enclosure):
            made[:, axis] = k.rows.reshape(len(k.rows), *(1,) * (3 - k.rows.ndim),
                                           *k.rows.shape[1:])
        else:
            made[0, axis] = k
    return made


def product(n, axes, inputs):
    """Direction (rows, 3, m) along carried vectors (rows, 3, q, m): enclosures (rows, q, m)."""
    total = 0.0
    for c in range(3):
        total = total + Enclosure(n[:, c, None], inputs) * Enclosure(axes[:, c], inputs)
    return total.rows


def held_product(n, axes):
    """Direction (3, m) held over the cell along carried vectors (rows, 3, q, m)."""
    rows = np.einsum("rcqm,cm->rqm", axes, n)
    rows[-1] = unknown((axes[-1] * np.abs(n)[:, None]).sum(axis=0), rows[0])
    return rows


def combined(axes, x):
    """Origin plus coordinates along three vectors: (rows, 4, m) and (3, corners, m)."""
    whole = axes[:, :1] + sum(axes[:, 1 + i, None] * x[i] for i in range(3))
    rest = axes[-1, :1] + sum(axes[-1, 1 + i] * np.abs(x[i]) for i in range(3))
    whole[-1] = unknown(rest, whole[0])
    return whole
