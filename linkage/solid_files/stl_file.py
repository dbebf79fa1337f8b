"""Parts as binary STL, where they stand at one stick position or as they are described."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..clearances import scene_of
from ..errors import LinkageError, nearest
from ..motion import body_of
from ..rigging.carried_solids import Frames
from .facets import tessellated

if TYPE_CHECKING:
    from ..motion import Motion, System

HEAD = b"triangles in mm, FS BL WL; an STL file names no unit"
ROW = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("rest", "<u2")])


def part_names(system: System) -> list[str]:
    """Parts that have a solid, the airframe among them."""
    return list(dict.fromkeys(body_of(name) for name in system.model.solids))


def stl(motion: Motion, part: str) -> bytes:
    """The solids of a part as a binary STL file, in stations, mm.

    Parameters
    ----------
    motion : Motion
        At one stick position.
    part : str
        A body, a rod or the airframe.

    Raises
    ------
    LinkageError
        When there is no such part with a solid, or it is out of reach.
    """
    system = motion.system
    if part not in part_names(system):
        raise LinkageError(f'no part "{part}" with a solid; {nearest(part, part_names(system))}')
    corners = np.concatenate([posed(motion, name) for name in system.model.solids
                              if body_of(name) == part])
    if not np.isfinite(corners).all():
        raise LinkageError(f'"{part}" is out of reach at that stick position; choose another',
                           part=part)
    rows = np.zeros(len(corners), ROW)
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(normal, axis=1, keepdims=True)
    rows["normal"] = normal / np.where(size > 0, size, 1.0)
    rows["corners"] = corners
    return HEAD.ljust(80) + np.uint32(len(rows)).astype("<u4").tobytes() + rows.tobytes()


def posed(motion: Motion, name: str) -> np.ndarray:
    """Triangles of a solid at one stick position, (n, 3, 3) mm."""
    scene, frames = scene_of(motion.system), Frames(motion)
    shape, carriers = scene.placed(name), scene.carriers(name)
    if len(carriers) > 1:
        ends = np.array([_carried(frames, body, end[None])[0]
                         for body, end in zip(carriers, scene.solid(name).ends, strict=True)])
        return np.full((1, 3, 3), np.nan) if not np.isfinite(ends).all() else along(
            tessellated(shape), scene.solid(name).ends, ends)
    corners = tessellated(shape)
    return _carried(frames, carriers[0], corners.reshape(-1, 3)).reshape(-1, 3, 3)


def _carried(frames, body, points):
    """Points of a body (n, 3) where the one stick position takes them, mm."""
    (zero,), (axes,) = frames.of(body)
    return zero + points @ axes


def along(corners: np.ndarray, drawn: np.ndarray, ends: np.ndarray) -> np.ndarray:
    """Triangles of a rod moved with its two ends (2, 3), mm; it may spin about its own line."""
    from scipy.spatial.transform import Rotation

    turn = Rotation.from_quat(least_turn(drawn[1] - drawn[0], (ends[1] - ends[0])[None])[0])
    return (turn.apply((corners - drawn[0]).reshape(-1, 3)) + ends[0]).reshape(corners.shape)


def least_turn(way: np.ndarray, ways: np.ndarray) -> np.ndarray:
    """The least turns of a direction (3,) into others (n, 3), as unit quaternions x, y, z, w."""
    way = way / np.linalg.norm(way)
    ways = ways / np.linalg.norm(ways, axis=1, keepdims=True)
    turn = np.concatenate([np.cross(way, ways), 1.0 + ways @ way[:, None]], axis=1)
    return turn / np.linalg.norm(turn, axis=1, keepdims=True)
