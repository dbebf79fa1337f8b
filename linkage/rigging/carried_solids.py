"""Solids where they are at many stick positions, and how far straight parts are from them."""

from __future__ import annotations

import numpy as np

from ..clearances.scene import Solid
from ..geometry import approach, piece_gap, sphere, tube, tube_gap
from ..model import AIRFRAME
from ..motion import Motion

SETTLED = 1e-10  # mm between found and proven distance, above which it is worked out by itself
FEW = 2  # corners of a piece without faces
POINT, LINE = sphere((0.0, 0.0, 0.0), 0.0), tube((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 0.0)


class Frames:
    """Where bodies are at every stick position of a motion along one axis.

    Parameters
    ----------
    motion : Motion
        Over n stick positions.
    """

    def __init__(self, motion: Motion):
        self.posture, self.count, self._known = motion.posture, int(np.prod(motion.shape)), {}

    def of(self, body: str) -> tuple[np.ndarray, np.ndarray]:
        """Where a body's zero is, (n, 3) mm, and its three axes, (n, 3, 3)."""
        if body not in self._known:
            turning = self.posture.of_vectors()
            self._known[body] = self._carried(self.posture, body, (0.0, 0.0, 0.0)), np.stack(
                [self._carried(turning, body, tuple(axis)) for axis in np.eye(3)], axis=1)
        return self._known[body]

    def _carried(self, posture, body, p):
        for joint, outward in posture.plan.route(body, AIRFRAME):
            p = posture.crossed(p, joint, outward)
        return np.stack([np.broadcast_to(k, (self.count,)) for k in p], axis=-1)


class CarriedSolid:
    """A solid at every stick position of a motion along one axis.

    Parameters
    ----------
    frames : Frames
        Of the motion, over n stick positions.
    solid : Solid

    Attributes
    ----------
    middles : ndarray (n, pieces, 3)
        Of each piece, mm.
    about : ndarray (pieces,)
        Radius of a ball about it that holds the piece, mm.
    """

    def __init__(self, frames: Frames, solid: Solid):
        self.frames, self.solid = frames, solid
        points = [piece.points for piece in solid.pieces]
        middles = np.array([p.mean(axis=0) for p in points])
        self.about = np.array([np.linalg.norm(p - m, axis=1).max() + piece.radius for p, m, piece
                               in zip(points, middles, solid.pieces, strict=True)])
        self.radii = np.array([piece.radius for piece in solid.pieces])
        self.few = np.array([len(p) <= FEW for p in points])
        rows = np.arange(frames.count)
        if len(solid.carriers) == 1:
            self.middles = self._posed(rows[:, None], middles[None, :, None])[:, :, 0]
        else:
            self.middles = np.stack([self._posed(rows, p[None]).mean(axis=1) for p in points], 1)

    def least(self, parts: np.ndarray, radius: float, most: float = np.inf) -> np.ndarray:
        """Least gap of straight parts of a radius from the solid at each stick position.

        Parameters
        ----------
        parts : ndarray (n, parts, 1 or 2, 3)
            Points, or both ends of each, mm.
        radius : float
            mm.
        most : float
            Where it is more, a lower bound of it will do.

        Returns
        -------
        ndarray (n,)
            mm; NaN out of reach.
        """
        middle = parts.mean(axis=2)
        half = np.linalg.norm(parts - middle[:, :, None], axis=-1).max(axis=2)
        low = np.linalg.norm(middle[:, :, None] - self.middles[:, None], axis=-1) - (
            half[..., None] + radius + self.about)
        flat = np.where(np.isnan(low), np.inf, low).reshape(len(low), -1)
        first = flat.argmin(axis=1)
        rows = np.arange(len(low))
        least = self._gaps(parts, radius, (rows, *np.unravel_index(first, low.shape[1:])))
        asked = flat < np.minimum(least, most)[:, None]
        asked[rows, first] = False
        row, which = np.nonzero(asked)
        np.fmin.at(least, row, self._gaps(parts, radius,
                                          (row, *np.unravel_index(which, low.shape[1:]))))
        asked[rows, first] = True
        return np.fmin(least, np.where(asked, np.inf, flat).min(axis=1))

    def _gaps(self, parts, radius, which):
        """Gap of a part from a piece at a stick position each: (m,) mm."""
        row, part, k = which
        value = np.empty(len(row))
        for few in (True, False):
            here = np.flatnonzero(self.few[k] == few)
            if here.size:
                posed = self._posed(row[here], self._padded(k[here]))
                one = parts[row[here], part[here]]
                value[here] = self._apart(one.transpose(2, 1, 0), posed.transpose(2, 1, 0),
                                          k[here])
        return value - radius - self.radii[k]

    def _padded(self, chosen):
        """Corners of chosen pieces, filled up with the last one: (m, corners, 3)."""
        kinds, back = np.unique(chosen, return_inverse=True)
        points = [self.solid.pieces[k].points for k in kinds]
        most = max(map(len, points))
        return np.stack([np.concatenate([p, np.repeat(p[-1:], most - len(p), axis=0)])
                         for p in points])[back]

    def _apart(self, one, other, pieces):
        """Distance of parts (3, 1 or 2, m) from hulls of pieces (3, corners, m), signed."""
        if other.shape[1] <= FEW:
            return tube_gap(one, other)[0]
        seen = approach(one, other, other.mean(axis=1) - one.mean(axis=1))
        value = np.sqrt((seen.between**2).sum(axis=0))
        unsure = np.flatnonzero(~(value - seen.proven <= SETTLED))
        for k in np.unique(pieces[unsure]):
            here, piece = unsure[pieces[unsure] == k], self.solid.pieces[k]
            part = POINT if one.shape[1] == 1 else LINE
            value[here] = piece.radius + piece_gap(
                one[..., here].transpose(2, 1, 0), part,
                other[:, :len(piece.points), here].transpose(2, 1, 0), piece).value
        return value

    def _posed(self, rows, points):
        """Points (..., corners, 3) of the solid at stick positions (...); of a rod its two ends."""
        carriers = self.solid.carriers
        if carriers == (AIRFRAME,):
            return np.broadcast_to(points, (*np.broadcast_shapes(rows.shape, points.shape[:-2]),
                                            *points.shape[-2:]))
        frames = [self.frames.of(body) for body in carriers]
        if len(frames) == 1:
            origin, axes = frames[0]
            return origin[rows][..., None, :] + points @ axes[rows]
        return np.stack([origin[rows] + (points[..., i, None, :] @ axes[rows])[..., 0, :]
                         for i, (origin, axes) in enumerate(frames)], axis=-2)
