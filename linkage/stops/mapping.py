"""The pitch and roll rectangle: what is free of contact, and what bounds it where."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from ..clearances import Stage, near_of, prove, scene_of
from ..errors import LinkageError
from ..motion import BEYOND, System
from .faces import meeting, stage_with
from .first import first_contact
from .reach import first_loss
from .ways import Ways

if TYPE_CHECKING:
    import pandas as pd

CLEAR = 1e-3  # mm of proven gap that counts as no contact
RAYS = 120
REACH = "end of reach"


@dataclass(frozen=True, eq=False)
class TravelMap:
    """First contact from neutral in every direction of two inputs.

    Attributes
    ----------
    inputs : (str, str)
        Names of the two inputs, across and up the map.
    wanted, shown : dict
        ``{input: (least, greatest)}``: wanted travel, and what the map shows.
    boundaries : dict
        ``{pair: ndarray (n, 2)}``: where the pair first touches along each ray that meets it.
    free : ndarray (rays, 2)
        How far each ray from neutral is proven free of contact and within reach; between the rays
        nothing is proven.
    limits : tuple of str
        What bounds each ray: a pair's name, the end of reach, or "" for the edge of the map.
    usable : float
        Share of the wanted rectangle that is free.
    sides : dict
        ``{"pitch least": name, "pitch least, roll least": name, ...}``: what first touches on the
        way from neutral to each side and corner of the wanted travel, "" when nothing does.
    """

    inputs: tuple[str, str]
    wanted: dict
    shown: dict
    boundaries: dict
    free: np.ndarray
    limits: tuple[str, ...]
    usable: float
    sides: dict


def travel_map(system: System, beyond: float = BEYOND,
               touching: list[str] | None = None) -> TravelMap:
    """Map what touches over the travel of the first two inputs, the others at 0.

    Pairs are proven clear over the whole map or else followed along rays from neutral; stops are
    shown like any other contact, each with its spacer, and waived pairs are left out.

    Parameters
    ----------
    system : System
    beyond : float
        Degrees (mm) past the wanted travel that the map shows.
    touching : list of str, optional
        Pairs that may touch, when they are known already.

    Returns
    -------
    TravelMap
    """
    wanted = system.travel_box()
    if len(wanted) < 2:
        raise LinkageError("a travel map needs two inputs; this system has "
                           f"{', '.join(wanted) or 'none'}")
    names = ("roll", "pitch") if {"roll", "pitch"} <= set(wanted) else tuple(wanted)[:2]
    wanted = {n: wanted[n] for n in names}
    shown = {n: (low - beyond, high + beyond) for n, (low, high) in wanted.items()}
    touching, aimed = (touching, []) if touching is not None else _touching(system, shown)
    ends = _ways(names, wanted, shown, aimed)
    free, met = _along(system, Ways(names, ends), touching)
    shares = np.stack(list(free.values()))
    least = shares.min(axis=0)
    limits = np.where(least < 1.0, np.array(list(free), dtype=object)[shares.argmin(axis=0)], "")
    order = np.argsort(np.arctan2(ends[:-8, 1], ends[:-8, 0]), kind="stable")
    lines = {pair: ends[order][share[order] <= 1] * share[order][share[order] <= 1][:, None]
             for pair, share in met.items()}
    reached = ends[order] * least[order, None]
    return TravelMap(names, wanted, shown,
                     {pair: line for pair, line in lines.items() if len(line)},
                     reached, tuple(limits[order]), _usable(reached, wanted, names),
                     _sides(names, least[-8:], limits[-8:]))


def _touching(system, box):
    """Pairs not proven clear over the map, and where each comes nearest."""
    scene = scene_of(system)
    pairs = [replace(pair, required=0.0) for pair in near_of(system)
             if pair.rule != "waived" and set(pair.inputs) & set(box)]
    if not pairs:
        return [], []
    thick = _thicknesses(system)
    proof = prove(Stage(scene, pairs), box, 1.0, limit=CLEAR + max(thick.values(), default=0.0))
    close = np.flatnonzero(proof.proven < CLEAR + np.array([thick.get(pair.name, 0.0)
                                                            for pair in pairs]))
    return [pairs[k].name for k in close], list(proof.place[close])


def may_touch(system: System, found: pd.DataFrame) -> list[str]:
    """Pairs of a clearance table that may touch over the wanted travel, spacers counted.

    Parameters
    ----------
    system : System
    found : DataFrame
        What `linkage.clearance` gave.

    Returns
    -------
    list of str
        Waived pairs left out.
    """
    thick = _thicknesses(system)
    room = found["proven"] - [thick.get(pair, 0.0) for pair in found["pair"]]
    return list(found["pair"][(room < CLEAR) & (found["rule"] != "waived")])


def _thicknesses(system) -> dict:
    """Thickness of the spacer between each stop's pair, mm."""
    scene = scene_of(system)
    return {scene.pair_of(*stop.between).name: stop.spacer.thickness
            for stop in system.model.stops.values() if stop.spacer is not None}


def _ways(names, wanted, shown, aimed):
    """Ends of the rays on the edge of the map, then the sides and corners of the wanted travel."""
    corners = itertools.product(*(shown[n] for n in names))
    angle = np.concatenate([np.arange(RAYS) * 2 * np.pi / RAYS,
                            [np.arctan2(y, x) for x, y in (*corners, *aimed) if x or y]])
    way = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    low, high = (np.array([shown[n][k] for n in names]) for k in (0, 1))
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(way > 0, high / way, np.where(way < 0, low / way, np.inf)).min(axis=1)
    marks = [[wanted[names[0]][i] if i is not None else 0.0,
              wanted[names[1]][j] if j is not None else 0.0] for i, j in _MARKS]
    return np.concatenate([way * share[:, None], np.array(marks)])


_MARKS = ((0, None), (1, None), (None, 0), (None, 1), (0, 0), (0, 1), (1, 0), (1, 1))


def _along(system, ways: Ways, touching) -> tuple[dict, dict]:
    """Share of each way up to which each pair is proven free, and at which it was met."""
    free, met = ({REACH: shares} for shares in first_loss(system, ways))
    if touching:
        scene = scene_of(system)
        spaced = _spaced(system)
        stage = stage_with(scene, [(scene.pairs[name], spaced.get(name)) for name in touching])
        contact = first_contact(stage, ways)
        free |= dict(zip(touching, contact.free_to, strict=True))
        met |= dict(zip(touching, contact.met_at, strict=True))
    return free, met


def _spaced(system) -> dict:
    """What gives the solids of each stop's pair, the spacer on its face."""
    made = [meeting(system, name) for name, stop in system.model.stops.items()
            if stop.spacer is not None]
    return {m.pair.name: m.solid(m.thickness) for m in made}


def _usable(free, wanted, names) -> float:
    import shapely

    (left, right), (low, high) = (wanted[n] for n in names)
    rectangle = shapely.box(left, low, right, high)
    region = shapely.make_valid(shapely.Polygon(free))
    return float(region.intersection(rectangle).area / rectangle.area)


def _sides(names, share, limits):
    governing = {}
    for (i, j), limit, part in zip(_MARKS, limits, share, strict=True):
        words = [f"{n} {('least', 'greatest')[k]}"
                 for n, k in zip(names, (i, j), strict=True) if k is not None]
        governing[", ".join(words)] = str(limit) if part < 1.0 else ""
    return governing

