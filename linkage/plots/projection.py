"""Parts of a system as they lie at one stick position, and their outlines seen from a side."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np
import shapely

from ..clearances import scene_of
from ..gearing import twins as named_twins
from ..model import AIRFRAME, SurfaceShape
from ..motion import Motion, System, body_of

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

ARCS = 8  # straight pieces to a quarter of a circle
STIRRED = 0.05  # mm a point has to move to be drawn as a ghost


def carried(motion: Motion, body: str, points: ArrayLike) -> np.ndarray:
    """Points of a body where one stick position takes them.

    Parameters
    ----------
    motion : Motion
        At one stick position.
    body : str
    points : array_like, shape (n, 3)
        mm, at neutral.

    Returns
    -------
    ndarray, shape (n, 3)
        NaN where out of reach.
    """
    p = tuple(np.asarray(points, dtype=float).T)
    if body != AIRFRAME:
        for joint, outward in motion.system.plan.route(body, AIRFRAME):
            p = motion.posture.crossed(p, joint, outward)
    return np.stack(np.broadcast_arrays(*p), axis=-1)


def placed_pieces(motion: Motion, name: str) -> list:
    """Pieces of a solid where one stick position takes them: ``[(points (n, 3), radius)]``, mm.

    Of a mesh or skin fewer triangles than it has, grown by how far they may lie off it.
    """
    scene = scene_of(motion.system)
    solid, shape = scene.solid(name), scene.placed(name)
    if isinstance(shape, SurfaceShape):
        corners, off = shape.drawn()
        posed = carried(motion, solid.carriers[0], corners.reshape(-1, 3)).reshape(-1, 3, 3)
        return [(part, shape.radius + off) for part in posed]
    if len(solid.carriers) == 1:
        corners = np.concatenate([piece.points for piece in solid.pieces])
        corners = carried(motion, solid.carriers[0], corners)
        cuts = np.cumsum([len(piece.points) for piece in solid.pieces])[:-1]
        parts = np.split(corners, cuts)
    else:
        parts = [np.concatenate([carried(motion, body, point[None]) for body, point in
                                 zip(solid.carriers, piece.points, strict=True)])
                 for piece in solid.pieces]
    return [(part, piece.radius) for part, piece in zip(parts, solid.pieces, strict=True)]


def outline(pieces: Iterable[tuple[np.ndarray, float]], view: tuple[int, int]) -> list:
    """Rings of what some pieces cover, seen along the third station: ``[(n, 2)]``, mm.

    Parameters
    ----------
    pieces : list of (ndarray, float)
        As `placed_pieces` gives them.
    view : (int, int)
        Stations across and up the view: 0 FS, 1 BL, 2 WL.
    """
    seen = [(shapely.multipoints(points[:, list(view)]), radius) for points, radius in pieces
            if np.isfinite(points).all()]
    hulls = shapely.buffer(shapely.convex_hull([spots for spots, _ in seen]),
                           [radius for _, radius in seen], quad_segs=ARCS)
    rings = []
    for part in shapely.get_parts(shapely.union_all(hulls)):
        if part.geom_type == "Polygon" and not part.is_empty:
            rings += [shapely.get_coordinates(ring) for ring in (part.exterior, *part.interiors)]
    return rings


def bones(motion: Motion, bare_only: bool = True) -> dict:
    """Lines that stand for the parts without a solid: ``{part: [(2, 3) ...]}``, mm.

    Arms from a body's pivot to its points, and rods from end to end.
    """
    lines = {part: [np.stack([motion.point(end) for end in both]) for both in ends]
             for part, ends in _bone_ends(motion.system.model, bare_only).items()}
    return {part: each for part, each in lines.items() if each and np.isfinite(each).all()}


def _bone_ends(model, bare_only) -> dict:
    """Names of the two points of every line that stands for a part."""
    arms = {body: [(f"{body}/pivot", f"{body}/{name}") for name in part.points]
            for body, part in model.bodies.items() if not (bare_only and part.solids)}
    return arms | {name: [rod.ends] for name, rod in model.rods.items()
                   if not (bare_only and rod.diameter is not None)}


def hinges(motion: Motion) -> dict:
    """Pivot lines of the bodies that give a second point of theirs: ``{body: (2, 3)}``, mm."""
    bodies = motion.system.model.bodies
    lines = {body: carried(motion, body, [part.pivot, _hinge_end(motion.system.model, body)])
             for body, part in bodies.items() if part.through is not None}
    return {body: line for body, line in lines.items() if np.isfinite(line).all()}


def _hinge_end(model, body):
    """Second point of a hinge line as measured; a twin made by mirror has it turned about."""
    pivot, through = np.array(model.bodies[body].pivot), np.array(model.bodies[body].through)
    turned = 2 * pivot - through
    measured = [np.multiply(part.through, (1, -1, 1)) for part in model.bodies.values()
                if part.through is not None]
    inboard = abs(through[1]) < abs(turned[1])
    return turned if inboard and any(np.allclose(turned, m, atol=1e-6) for m in measured) \
        else through


def ends_of_travel(system: System) -> list:
    """Both ends of every input's wanted travel, the others at 0: ``[(input, Motion)]``."""
    return [(name, system.sweep(**{name: end}))
            for name, travel in system.travel_box().items() for end in travel if end]


def stirred(system: System, motion: Motion) -> set:
    """Bodies and rods that stand elsewhere than at neutral."""
    neutral, moved = system.sweep(), set()
    for body, part in system.model.bodies.items():
        spots = np.array([part.centre, *(p.position for p in part.points.values())])
        spots = np.concatenate([spots, spots + 100.0 * np.eye(3)[:, None].repeat(
            len(spots), axis=1).reshape(-1, 3)[:len(spots)]])
        away = carried(motion, body, spots) - carried(neutral, body, spots)
        if np.abs(away).max() > STIRRED:
            moved.add(body)
    return moved | {name for name, rod in system.model.rods.items()
                    if moved & set(map(body_of, rod.ends))}


def numbered(system: System, parts: list[str] | None = None) -> dict:
    """Hardpoints and their numbers; a point and its mirror image share one.

    Parameters
    ----------
    system : System
    parts : list of str, optional
        Only those of these parts.

    Returns
    -------
    dict
        ``{"part/point": (number, twin or None)}``, twins left out.
    """
    names = [name for name in system.model.points if parts is None or body_of(name) in parts]
    spaced = {name.replace("/", " / "): name for name in names}
    other = {spaced[a]: spaced[b] for a, b in named_twins(system, spaced)}
    numbers, skip = {}, set()
    for name in names:
        if name in skip:
            continue
        twin = other.get(name)
        x, y, z = system.model.position(name)
        if twin is not None and np.allclose((x, -y, z), system.model.position(twin), atol=1e-3):
            skip.add(twin)
        else:
            twin = None
        numbers[name] = (len(numbers) + 1, twin)
    return numbers
