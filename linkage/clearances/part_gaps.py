"""What of a part that has solids is not drawn: arms to its joints, and what holds it together."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np

from ..geometry import Piece, piece_gap, sphere
from ..geometry.triangles import Triangles, coarser
from ..model.mirroring import twin_name
from ..motion import body_of
from .joints import BALL
from .scene import Scene, corners_of

HALF = 0.5  # of the way from the hinge line to the trailing edge that solids have to reach
FEW = 400  # triangles of a mesh that are asked whether another mesh is near
BRIDGED = 12.7  # mm between two solids of a part that a fillet or a lug may fill; common practice


def undrawn(scene: Scene) -> list[str]:
    """Gaps in how parts are drawn, where there is metal that no solid of the file stands for.

    A part whose solids do not hang together, or which has a joint away from all of them, is not
    drawn whole, nor is a surface of which only the horn is there; and of two sides one may be
    forgotten: nothing is proven about what is missing.

    Parameters
    ----------
    scene : Scene

    Returns
    -------
    list of str
        A few words each, such as "the arm of stick to stick/tie".
    """
    found, model = [], scene.system.model
    for name, body in model.bodies.items():
        if body.solids:
            solids = {solid: scene.solid(f"{name}/{solid}").pieces for solid in body.solids}
            found += _of_part(name, solids, _joints(model, name))
    return [*found, *_horns_alone(scene), *_one_sided(model)]


def _horns_alone(scene):
    """Surfaces of which no solid comes half as far from the hinge line as the trailing edge."""
    model = scene.system.model
    for name, surface in model.surfaces.items():
        body = model.bodies[surface.body]
        if not body.solids or body.slides:
            continue
        edge = max([surface.chord or 0.0, *(float(_off_axis(body, point.position))
                                            for point in body.points.values())])
        drawn = max(float(_off_axis(body, corners_of(pieces)).max()) + pieces[0].radius
                    for pieces in (scene.solid(f"{surface.body}/{solid}").pieces
                                   for solid in body.solids))
        if drawn < HALF * edge:
            yield f"{name} towards its trailing edge"


def _off_axis(body, points):
    """How far points are from a part's axis, mm."""
    return np.linalg.norm(np.cross(np.subtract(points, body.centre), body.direction), axis=-1)


def _one_sided(model) -> list[str]:
    """Solids of one side that the other side has none of."""
    words = model.mirror or {"left": "right"}
    twins = {name: twin_name(name, words) for name in model.solids}
    return [f"{twin}, the other side of {name}" for name, twin in twins.items()
            if twin not in model.solids]


def _joints(model, name) -> dict:
    """Where a part meets others, by what each place is called."""
    places = {f"{name}/pivot": model.bodies[name].centre}
    for end in (end for rod in model.rods.values() for end in rod.ends):
        if body_of(end) == name:
            places[end] = model.position(end)
    for rider, part in model.bodies.items():
        if part.on == name:
            places[f"{rider}/pivot"] = part.centre
    return places


def _of_part(name, solids, joints):
    groups = _groups(solids)
    far = [joint for joint, place in joints.items() if not any(
        _apart((sphere(place, 0.0),), pieces) <= BALL for pieces in solids.values())]
    if far:
        yield f"the arm of {name} to {', '.join(far)}"
    if len(groups) > 1:
        yield f"what joins {' to '.join(', '.join(group) for group in groups)} of {name}"


def _groups(solids) -> list[list[str]]:
    """Solids that hang together."""
    names = list(solids)
    near = np.eye(len(names), dtype=bool)
    for (i, one), (k, other) in itertools.combinations(enumerate(names), 2):
        near[i, k] = near[k, i] = _apart(solids[one], solids[other]) <= BRIDGED
    for _ in range(len(names).bit_length()):
        near = near @ near  # each time twice as many steps from neighbour to neighbour
    first = near.argmax(axis=1)  # a group goes by its first solid
    return [[name for name, mine in zip(names, first, strict=True) if mine == k]
            for k in dict.fromkeys(first.tolist())]


def _apart(one: Sequence[Piece], other: Sequence[Piece]) -> float:
    """How far two solids of a part are apart where they are near, mm."""
    if isinstance(one, Triangles):
        one, other = other, one
    if isinstance(other, Triangles):
        held = Triangles(coarser(one.corners, FEW)[0], one.radius, False) \
            if isinstance(one, Triangles) else one
        return min(other.apart(piece, BRIDGED) for piece in held)
    return min(float(piece_gap(a.points, a, b.points, b).value)
               for a, b in itertools.product(one, other))
