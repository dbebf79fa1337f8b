"""Triangles as a file has them made into a surface to prove with: what is mended is told."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..errors import LinkageError, counted, mm
from ..geometry.crossings import crossings
from ..geometry.triangles import connected, welded, winding
from .keys import MOST_MM

WELD = 1e-3  # mm within which corners of open edges count as one
FLAT = 1e-9  # of its longest side: a triangle no higher has no area
ASKED = 300  # corners of a part that are asked whether others enclose them
MOST_CROSSING = 250_000  # triangles of a surface that is looked through for crossings
MOST_NESTED = 64  # connected parts of a solid that are asked which lie within which


@dataclass(frozen=True, eq=False)
class Surface:
    """A surface of triangles, in its file's own place.

    Attributes
    ----------
    corners : ndarray (n, 3, 3)
        mm; those of a solid turn outwards.
    told : tuple of str
        What was mended, and what else there is to tell.
    unit : float
        mm of the unit in which its file has its numbers.
    """

    corners: np.ndarray
    told: tuple[str, ...]
    unit: float = 1.0

    @cached_property
    def crossing(self) -> tuple[int, np.ndarray | None] | None:
        """How many pairs of its triangles cross, and where; None where that was not looked for."""
        if len(self.corners) > MOST_CROSSING:
            return None
        return crossings(self.corners, welded(self.corners))


def mended(corners: np.ndarray, solid: bool, told: tuple[str, ...] = ()) -> Surface:
    """A surface of triangles that can be proven with.

    Parameters
    ----------
    corners : ndarray (n, 3, 3)
        mm.
    solid : bool
        Whether it has to be closed.
    told : tuple of str

    Raises
    ------
    LinkageError
        Where it can't be mended without losing material, or a solid is not closed.
    """
    if not len(corners):
        raise LinkageError("has no triangle with an area; name places that span one")
    bad = ~np.isfinite(corners).all(axis=(1, 2))
    if bad.any():
        raise LinkageError(f"has {counted(int(bad.sum()), 'triangle')} with a corner that is no "
                           f"number; save it again")
    most = float(np.abs(corners).max())
    if most > MOST_MM:
        raise LinkageError(f"reaches to {mm(most)} from its zero, more than {MOST_MM / 1e6:g} km; "
                           f"check its unit")
    faces, told = welded(corners), list(told)
    flat = _flat(corners)
    keep = _kept(corners, faces, flat, told)
    corners, faces, flat = corners[keep], faces[keep], flat[keep]
    if flat.all():
        raise LinkageError("has no triangle with an area; save it as a mesh")
    if solid:  # slivers without area count where it has to be closed
        corners = _closed(corners, faces, told)
    return Surface(np.ascontiguousarray(corners[~flat]), tuple(told))


def _flat(corners):
    """Which triangles have no area."""
    sides = corners[:, [1, 2, 0]] - corners
    area = np.linalg.norm(np.cross(sides[:, 0], sides[:, 1]), axis=1)
    return area <= FLAT * np.maximum((sides**2).sum(axis=2).max(axis=1), 1e-300)


def _kept(corners, faces, flat, told):
    """Which triangles have three corners and stand once."""
    if flat.any():
        _check_bounded(corners, faces, flat)
        told.append(f"{counted(int(flat.sum()), 'triangle')} without area left out")
    keep = np.flatnonzero((faces != np.roll(faces, 1, axis=1)).all(axis=1))
    _, first = np.unique(np.sort(faces[keep], axis=1), axis=0, return_index=True)
    if len(first) < len(keep):
        told.append(f"{counted(len(keep) - len(first), 'triangle')} that stood twice taken once")
    return keep[np.sort(first)]


def _check_bounded(corners, faces, flat):
    """Refuse triangles without area that are all there is along their longest side."""
    known = _keys(faces[~flat])[0].ravel()
    sides = (np.roll(corners[flat], -1, axis=1) - corners[flat])
    long = (sides**2).sum(axis=2)
    some = faces[flat]
    place, at = np.arange(len(some)), long.argmax(axis=1)
    key = _keys(some)[0][place, at]
    alone = ~np.isin(key, known) & (long.max(axis=1) > 0)
    # a chain of them along one side is bounded where their ends are corners of what is kept
    held = np.isin(some, faces[~flat]).all(axis=1)
    if (alone & ~held).any():
        spot = corners[flat][alone & ~held][0, 0]
        raise LinkageError(f"has a triangle without area at {mm(*spot)} that no other bounds; take "
                           f"it out or save it again")


def _keys(faces):
    """A number for every side of triangles, the same for both ways along it; and the way."""
    one, other = faces, np.roll(faces, -1, axis=1)
    low, high = np.minimum(one, other).astype(np.int64), np.maximum(one, other)
    return low * (np.int64(faces.max(initial=0)) + 1) + high, one < other


def _closed(corners, faces, told):
    """Triangles of a closed surface, all turned outwards."""
    faces = _sewn(corners, faces, told)
    key, _ = _keys(faces)
    sides, place, count = np.unique(key.ravel(), return_inverse=True, return_counts=True)
    open_ = count[place] == 1
    if open_.any():
        spot = corners.reshape(-1, 3)[np.flatnonzero(open_)[0]]
        raise LinkageError(f"has a hole at {mm(*spot)}: {counted(int(open_.sum()), 'open edge')}, "
                           f"and a solid has none; close it, or give it a thickness to take it as "
                           f"a skin")
    turned = _turned_alike(corners, faces, (place, count), told)
    return _outwards(turned, faces, told)


def _sewn(corners, faces, told):
    """Numbers of corners, those of open edges that lie within a hair's breadth taken as one."""
    key, _ = _keys(faces)
    _, place, count = np.unique(key.ravel(), return_inverse=True, return_counts=True)
    loose = (count[place] == 1).reshape(faces.shape)
    if not loose.any():
        return faces
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    ends = np.unique(np.concatenate([faces[loose], np.roll(faces, -1, axis=1)[loose]]))
    spots = np.empty((int(faces.max()) + 1, 3))
    spots[faces.ravel()] = corners.reshape(-1, 3)
    near = cKDTree(spots[ends]).query_pairs(WELD, output_type="ndarray")
    if not len(near):
        return faces
    links = coo_matrix((np.ones(len(near), bool), (ends[near[:, 0]], ends[near[:, 1]])),
                       shape=(len(spots),) * 2)
    joined = connected_components(links, directed=False)[1][faces]
    told.append(f"corners of open edges within {WELD:g} mm of each other taken as one")
    return joined


def _turned_alike(corners, faces, sides, told):
    """Triangles turned so that neighbours run along their common side in opposite ways."""
    place, count = sides
    if (count > 2).any():
        _check_balanced(corners, faces, place)
        return corners
    order = np.argsort(place, kind="stable")
    one, other = order[::2], order[1::2]  # both triangles at every side
    way = _keys(faces)[1].ravel()
    alike = way[one] == way[other]
    if not alike.any():
        return corners
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    # each triangle stands twice, as it is and turned; what has to go together is linked
    n = len(faces)
    a, b = one // 3, other // 3
    links = (np.concatenate([a, a + n]), np.concatenate([np.where(alike, b + n, b),
                                                         np.where(alike, b, b + n)]))
    part = connected_components(coo_matrix((np.ones(2 * len(a), bool), links), shape=(2 * n,) * 2),
                                directed=False)[1]
    if (part[:n] == part[n:]).any():
        spot = corners[np.flatnonzero(part[:n] == part[n:])[0], 0]
        raise LinkageError(f"has one side only about {mm(*spot)}, as a twisted band has, and a "
                           f"solid has two; mend it, or give it a thickness to take it as a skin")
    turn = part[:n] > part[n:]
    parts = connected(faces)[1]
    mostly = np.bincount(parts, turn) > np.bincount(parts) / 2
    turn ^= mostly[parts]
    told.append(f"{counted(int(turn.sum()), 'face')} turned as their neighbours are")
    return np.where(turn[:, None, None], corners[:, ::-1], corners)


def _check_balanced(corners, faces, place):
    """Refuse a surface more than two of whose triangles meet at a side, unless it closes there."""
    way = np.where(_keys(faces)[1].ravel(), 1, -1)
    off = np.flatnonzero(np.bincount(place, way)[place] != 0)
    if off.size:
        spot = corners.reshape(-1, 3)[off[0]]
        raise LinkageError(f"has more than two faces at an edge at {mm(*spot)}, so that it has no "
                           f"inside; mend it, or give it a thickness to take it as a skin")


def _outwards(corners, faces, told):
    """Every connected part turned outwards, or inwards where it is the wall of a cavity."""
    count, parts = connected(faces)
    volume = np.bincount(parts, np.einsum(
        "ni,ni->n", corners[:, 0] - corners[0, 0],
        np.cross(corners[:, 1] - corners[0, 0], corners[:, 2] - corners[0, 0])))
    turn = volume < 0
    if count <= MOST_NESTED:
        for k in np.flatnonzero(turn) if count > 1 else ():
            turn[k] = not _is_within(corners[parts == k], corners[parts != k])
    if turn.any():
        told.append("faces that all looked inwards turned outwards" if turn.all() else
                    f"faces of {counted(int(turn.sum()), 'part')} that looked inwards turned "
                    f"outwards")
    return np.where(turn[parts][:, None, None], corners[:, ::-1], corners)


def _is_within(part, others) -> bool:
    """Whether a part that looks inwards lies within the others: the wall of a cavity."""
    spots = part.reshape(-1, 3)
    spots = spots[::max(1, len(spots) // ASKED)]
    return bool((np.abs(winding(others, spots)) > 0.5).all())
