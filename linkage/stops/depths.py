"""How far pieces are apart or how deep they overlap, where only an axis of an overlap is asked."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ..clearances import Stage
from ..clearances.stage import SETTLED, in_reach
from ..geometry import approach, piece_gap, tube_gap, widest_space
from ..motion import Posture

PUSHED = 1.0  # mm of clear space that an overlapping piece is pushed out to


class Depths(NamedTuple):
    """What is known of piece pairs at a position each.

    Attributes
    ----------
    gap : ndarray (m,)
        Signed gap, mm; NaN out of reach.
    way : ndarray (3, m)
        Direction from the first to the second along which it is measured; NaN out of reach.
    feet : tuple of two ndarray (3, m)
        Closest points of the two hulls without their radii; where these overlap, those that would
        touch last as they are parted, if asked for.
    """

    gap: np.ndarray
    way: np.ndarray
    feet: tuple[np.ndarray, np.ndarray]


def depths(stage: Stage, posture: Posture, which: np.ndarray, cells: np.ndarray, *,
           feet: bool = False) -> Depths:
    """Gaps of piece pairs at positions of a posture, to the same number as `Stage.gap` gives.

    Parameters
    ----------
    stage : Stage
    posture : Posture
        Settled at n positions along one axis.
    which, cells : ndarray of int (m,)
        Piece pairs, and the position of each.
    feet : bool
        Whether feet of overlapping hulls are asked for.

    Returns
    -------
    Depths
    """
    depths = Depths(np.full(len(which), np.nan), np.full((3, len(which)), np.nan),
                    tuple(np.full((3, len(which)), np.nan) for _ in range(2)))
    axes = stage.axes(posture, which, cells)
    good, thin = in_reach(axes), stage.round[which]
    for here in (np.flatnonzero(good & thin), np.flatnonzero(good & ~thin)):
        if here.size:
            gap, way, *points = _between(stage, [k[..., here] for k in axes], which[here], feet)
            depths.gap[here], depths.way[:, here] = gap, way
            for whole, part in zip(depths.feet, points, strict=True):
                whole[:, here] = part
    return depths


@np.errstate(all="ignore")  # parallel edges have no axis of their own
def _between(stage, axes, items, feet):
    """The same of pieces that are all in reach, and all of round tubes or none."""
    hulls = [stage.posed(k, pieces) for k, pieces in zip(axes, stage.sides[items].T, strict=True)]
    if stage.round[items[0]]:
        value, way, one, other = tube_gap(*(hull.parts[0][1] for hull in hulls))
        return value - stage.radii[items], way, one, other
    seen = approach(*hulls, stage.between_middles(axes, items))
    value = np.sqrt((seen.between**2).sum(axis=0))
    way, one, other = seen.direction.copy(), seen.foot.copy(), seen.foot + seen.between
    unsure = np.flatnonzero(~(value - seen.proven <= SETTLED) & ~stage.rough[items])
    for item in np.unique(items[unsure]):
        here = unsure[items[unsure] == item]
        pieces = [stage.pieces[k] for k in stage.sides[item]]
        posed = [hull.at(here)[:, :len(piece.points)]
                 for hull, piece in zip(hulls, pieces, strict=True)]
        space, axis = widest_space(posed[0], pieces[0], posed[1], pieces[1])
        value[here], way[:, here] = space, axis
        if feet:
            push = (PUSHED - space) * axis
            pushed = approach(posed[0], posed[1] + push[:, None], axis)
            one[:, here], other[:, here] = pushed.foot, pushed.foot + pushed.between - push
        apart = here[space > 0]
        if apart.size:
            posed = [hull[..., space > 0].transpose(2, 1, 0) for hull in posed]
            gap = piece_gap(posed[0], pieces[0], posed[1], pieces[1])
            value[apart] = gap.value + stage.radii[item]
            way[:, apart] = gap.direction.T
            one[:, apart] = (gap.point_a - pieces[0].radius * gap.direction).T
            other[:, apart] = (gap.point_b + pieces[1].radius * gap.direction).T
    return value - stage.radii[items], way, one, other
