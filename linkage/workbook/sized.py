"""The dimensions of a file's size table moved by hand within their limits, and what they meet."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..errors import LinkageError, nearest
from ..model import STATIONS
from ..model.mirroring import twin_name
from ..sizing import Layout, named_dimensions, said
from ..sizing.choose import check
from ..sizing.targets import aims_of

if TYPE_CHECKING:
    from ..model import Model
    from ..results import Answers


def dimension_rows(first: Model, model: Model) -> list[dict]:
    """The dimensions that may be chosen, ready for the page.

    Parameters
    ----------
    first, model : Model
        As in the file, and as it is now.

    Returns
    -------
    list of dict
        name, of (what it changes), unit ("mm" or "°"), drawn, now, least, greatest, step (or
        None); mm and degrees, a clocking from as drawn in the file.
    """
    was = {each.name: each for each in named_dimensions(first)}
    return [{"name": each.name, "unit": each.unit, "drawn": was[each.name].drawn,
             "of": " ".join([each.kind, each.of, *([STATIONS[each.along]]
                                                   if each.along is not None else [])]),
             "now": _clocked(first, model, each.of) if each.kind == "clocking" else each.drawn,
             "least": each.least, "greatest": each.greatest, "step": each.step}
            for each in named_dimensions(model)]


def _clocked(first, model, point) -> float:
    """How far a point has been clocked from the file's, degrees, right-hand about its axis."""
    body = model.bodies[point.split("/")[0]]
    axis = np.array(body.direction)
    there, here = (np.subtract(m.position(point), m.bodies[point.split("/")[0]].centre)
                   for m in (first, model))
    sine = axis @ np.cross(there, here)
    cosine = there @ here - (axis @ there) * (axis @ here)
    return float(np.degrees(np.arctan2(sine, cosine)))


def with_sized(first: Model, model: Model, name: str, value: float) -> Model:
    """The model with one dimension of its size table, and its twin's, made another.

    Parameters
    ----------
    first, model : Model
        As in the file, and as it is now.
    name : str
    value : float
        mm, or degrees of a clocking from as drawn in the file.

    Raises
    ------
    LinkageError
        When there is no such dimension, or the number lies past its limits.
    """
    named = named_dimensions(model)
    names = [each.name for each in named]
    if name not in names:
        raise LinkageError(f'no dimension "{name[:60]}" to choose; {nearest(name, names)}')
    each = named[names.index(name)]
    if not each.least - 1e-9 <= value <= each.greatest + 1e-9:
        ends = " to ".join(said(end, each.unit, model.length)
                           for end in (each.least, each.greatest))
        raise LinkageError(f"{name}: {said(value, each.unit, model.length)} is out of range; "
                           f"from {ends}")
    values = np.array([one.drawn for one in named])
    here = _clocked(first, model, each.of) if each.kind == "clocking" else 0.0
    values[names.index(name)] = value - here
    return Layout(model, named).model_at(values)


def target_rows(results: Answers) -> list[dict]:
    """What the dimensions have to meet, and what they give as they are, ready for the page.

    Parameters
    ----------
    results : Answers

    Returns
    -------
    list of dict
        target, wanted, found (in words) and ok; of twins the first; a direction that is right has
        none; empty without a size table.
    """
    system = results.system
    if not named_dimensions(system.model):
        return []
    aims, rows, seen = aims_of(system), {}, set()
    try:
        found = check(system, aims, apart=False).found
    except LinkageError:  # out of reach as it is
        return []
    for aim, value in zip(aims, found, strict=True):
        twin = twin_name(aim.of, system.model.mirror)
        if (twin, aim.way, aim.kind) in seen or (twin, twin_name(aim.way, system.model.mirror),
                                                 aim.kind) in seen:
            continue
        seen.add((aim.of, aim.way, aim.kind))
        if aim.kind == "direction" and aim.met(float(value)):
            continue
        unit = {"gearing": "", "differential": "", "direction": ""}.get(aim.kind, "°")
        wanted = said(aim.wanted, unit, system.model.length)
        within = "" if aim.least else f" within {said(aim.within, unit, system.model.length)}"
        rows[aim.name] = {"target": aim.name, "ok": aim.met(float(value)),
                          "wanted": f"{'at least ' if aim.least else ''}{wanted}{within}",
                          "found": said(float(value), unit, system.model.length)}
    return list(rows.values())
