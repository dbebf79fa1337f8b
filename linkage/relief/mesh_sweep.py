"""What a plate has to keep clear of a mesh: its triangles, all of them at once."""

from __future__ import annotations

import numpy as np
import shapely

from .swept import COARSE, FIRST, MOST_POSITIONS, MOST_SIDE, STEPS, Sweep, circle, finer_and_finer

MOST_HULLS = 20_000  # triangles at a position each, worked at once
TILES = 64  # polygons joined at once


class MeshSweep(Sweep):
    """As `Sweep`, of a solid that is a mesh: of those triangles that come near the plate."""

    def region(self) -> shapely.Geometry:
        """The union over the whole travel, a shapely geometry in mm."""
        sides = [np.linspace(*ends, COARSE) for ends in self.travel.values()]
        grid = np.meshgrid(*sides, indexing="ij")
        inputs = dict(zip(self.travel, (side.ravel() for side in grid), strict=True))
        hulls = posed_triangles(self, inputs, self.solid.pieces.corners)
        shaped = hulls.reshape(len(hulls), *grid[0].shape, 3, 3)
        moved = [np.linalg.norm(np.diff(shaped, axis=1 + i), axis=-1) for i in range(len(sides))]
        slack = sum(k.reshape(len(hulls), -1).max(axis=1, initial=0.0) for k in moved)
        self._near = self.solid.pieces.corners[self._comes_near(hulls, slack)]
        region = shapely.Polygon()
        if not len(self._near):
            return region
        counts = self._counts_of(moved, self._comes_near(hulls, slack))
        self.spacing = {name: min(wide, (ends[1] - ends[0]) / (count - 1)) for (name, ends), wide,
                        count in zip(self.travel.items(), self.spacing.values(), counts,
                                     strict=True)}
        ways = [np.linspace(*ends, count) for ends, count in zip(self.travel.values(), counts,
                                                                  strict=True)]
        for rows in finer_and_finer(counts):
            places = [way[k] for way, k in zip(ways, rows.T, strict=True)]
            region = self._with(region, self._reachable(dict(zip(self.travel, places, strict=True)),
                                                        self.spacing))
        return self._with(region, dict(zip(self.travel, self._corners.T, strict=True)))

    def near(self, place: dict, level: int) -> shapely.Geometry:
        """The union over one position and a few more about it, closer together at every level."""
        return self._with(shapely.Polygon(), self._about(place, level))

    def _comes_near(self, hulls, slack):
        """Which triangles may come within what is to be kept clear of the plate's material."""
        big, half = self._sizes(0)
        u1, v1, u2, v2 = self.flat.material.bounds
        low, high = np.array([u1, v1, -half]) - big, np.array([u2, v2, half]) + big
        off = slack[:, None, None]
        return ((hulls.min(axis=2) - off <= high) & (hulls.max(axis=2) + off >= low)).all(
            axis=2).any(axis=1)

    def _counts_of(self, moved, near):
        """Stick positions per input that keep neighbours a step apart."""
        step = self.step if self.step is not None else np.clip(0.3, *STEPS)
        most = [float(np.nanmax(k[near], initial=0.0)) for k in moved]
        counts = np.array([min(MOST_SIDE, int(np.ceil((COARSE - 1) * m / step)) + 2) for m in most])
        while counts.prod() > MOST_POSITIONS // 8:
            counts = np.maximum(2, (counts * 0.9).astype(int))
        return counts.tolist()

    def _with(self, region, inputs):
        """A region and what of the near triangles sticks out of it at some more positions."""
        count = len(next(iter(inputs.values()), ()))
        step = max(1, MOST_HULLS // max(1, len(self._near)))
        for start in range(0, count, step):
            some = {name: side[start:start + step] for name, side in inputs.items()}
            hulls = posed_triangles(self, some, self._near).reshape(-1, 3, 3)
            self.positions += len(next(iter(some.values())))
            hulls = hulls[self._unseen(region, hulls)]
            polygons = self._polygons(0, hulls)
            region = shapely.union_all([region, *(shapely.union_all(polygons[k:k + TILES])
                                                  for k in range(0, len(polygons), TILES))])
        return region

    def _unseen(self, region, hulls):
        """Which triangles at their positions reach out of a region, and over the plate's slab."""
        place, _ = self._reached(0, hulls, circle(FIRST // 2))
        near = np.isfinite(place).all(axis=(1, 2))
        if region.is_empty or not near.any():
            return near
        return near & ~self._held(region, place, near)


def posed_triangles(sweep: Sweep, inputs: dict, corners: np.ndarray) -> np.ndarray:
    """Triangles (n, 3, 3) of a solid at positions (m,) as the plate sees them: (n, m, 3, 3) mm."""
    motion = sweep.system.sweep(**inputs)
    posture = motion.flat_posture()
    count = int(np.prod(motion.shape))
    p = tuple(axis.reshape(-1, 1) for axis in np.moveaxis(corners.reshape(-1, 3), -1, 0))
    for joint, outward in sweep.system.plan.route(sweep.solid.carriers[0], sweep.flat.body):
        p = posture.crossed(p, joint, outward)
    spots = np.stack([np.broadcast_to(k, (3 * len(corners), count)) for k in p], axis=-1)
    local = (spots - sweep.flat.origin) @ sweep.flat.axes.T
    return local.reshape(len(corners), 3, count, 3).transpose(0, 2, 1, 3)
