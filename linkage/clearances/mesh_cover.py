"""Whether pairs that have a mesh are proven apart over cells, going down their trees."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .cell_bounds import bounds
from .stage import Stage

if TYPE_CHECKING:
    from ..model.parts import Tolerance
    from ..motion import Posture

MOST = 40_000  # items of all cells at once beyond which those left are not decided


def leading_items(stage: Stage, pairs: np.ndarray,
                  posture: Posture) -> tuple[np.ndarray, np.ndarray]:
    """Single items likely nearest of pairs that have a mesh, at a position of a posture each.

    Returns
    -------
    (ndarray of int (k,), ndarray of int (k,))
        Which of `pairs`, and the items.
    """
    of, items = stage.trees.roots_of(pairs)
    back, items = stage.trees.leading(items, posture, of)
    return of[back], items


def meshes_apart(stage: Stage, pairs: np.ndarray, cells: tuple,
                 tolerances: Tolerance | None = None) -> np.ndarray:
    """Whether pairs that have a mesh are proven apart over a cell each.

    Parameters
    ----------
    stage : Stage
    pairs : ndarray of int (m,)
    cells : (list of str, ndarray (m, inputs), ndarray (m, inputs))
        Names of the inputs, middles and half-widths, degrees (mm).
    tolerances : Tolerance, optional

    Returns
    -------
    ndarray of bool (m,)
        False too where halving the cell promises more than finer triangles.
    """
    apart = np.ones(len(pairs), bool)
    cell, items = stage.trees.roots_of(pairs)
    while items.size:
        if len(items) > MOST:
            apart[cell] = False
            break
        here, cell = np.unique(cell, return_inverse=True)
        some = cells[0], cells[1][here], cells[2][here]
        found = bounds(stage, (items, cell), some, tolerances, np.zeros(len(items)))
        cell = here[cell]
        left = ~(found.low > 0) & ~np.isnan(found.low)
        rough = stage.rough[items]
        deep = stage.to_open(items, (found.value, found.low), np.zeros(len(items), bool))
        apart[cell[left & ~(rough & deep)]] = False
        keep = left & rough & deep & apart[cell]
        back, parts = stage.parts_of(items[keep])
        items, cell = parts, cell[keep][back]
    return apart
