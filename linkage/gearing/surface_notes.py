"""What there is to tell of the meshes and skins of a system."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import numpy as np

from ..errors import counted
from ..model import Mesh, SurfaceShape
from ..model.surfaces import matched
from ..motion import System, body_of
from ..units import shown_length
from .words import Finding

MISFIT = 0.01  # mm by which the places of a mesh may miss their hardpoints without a word


def surface_notes(system: System) -> Iterator[Finding]:
    """What was mended of each mesh, how large it is, and how well its named places fit.

    Parameters
    ----------
    system : System

    Yields
    ------
    Finding
        No misses.
    """
    unit, seen = system.model.length, {}
    for name, solid in system.model.solids.items():
        if not isinstance(solid, SurfaceShape):
            continue
        surface = solid.surface()
        what = f"{name} ({solid.file})" if isinstance(solid, Mesh) else name
        if seen.setdefault(surface, name) == name:
            size = " x ".join(shown_length(float(k), unit) for k in np.ptp(
                surface.corners.reshape(-1, 3), axis=0))
            drawn, off = solid.drawn()
            if off:
                size += (f"; drawn by {len(drawn):,}, which it was seen to lie "
                         f"{shown_length(off, unit)} off at most, so that gaps a page samples are "
                         f"smaller by as much; all are proven with")
            told = "".join(f"; {each}" for each in (*surface.told, *_crossing(solid, unit)))
            yield Finding(name, f"{what} has {len(surface.corners):,} triangles over "
                          f"{size}{told}")
        miss = _misfit(system, name, solid)
        if miss > MISFIT:
            yield Finding(name, f"{what}: its named places miss their hardpoints by up to "
                          f"{shown_length(miss, unit)}, which nothing allows for but its within")


def _crossing(solid, unit) -> tuple[str, ...]:
    """What there is to tell of a surface that may cross itself."""
    if solid.surface().crossing is None:
        return "whether it crosses itself is not looked for in so many triangles",
    count, spot = solid.surface().crossing
    if not count:
        return ()
    where = " ".join(shown_length(float(k), unit) for k in spot)
    within = "" if solid.thickness else ", but what lies wholly within such a solid may be missed"
    return (f"it crosses itself: {counted(count, 'pair')} of its triangles run through each other, "
            f"the first at {where} in its own place; clearance counts every triangle{within}"),


def _misfit(system, name, solid) -> float:
    if getattr(solid, "match", None) is None:
        return 0.0
    return matched(solid, partial(system.model.spot, body_of(name))).placement()[2]
