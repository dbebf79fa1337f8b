"""The pitch and roll rectangle: what is free of contact, and what bounds it where."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..clearance import Stage, gaps, near_of, prove, scene_of, travel_box
from ..errors import LinkageError
from ..motion import System

BEYOND = 10.0  # degrees (mm) past the wanted travel that the map shows
CLEAR = 1e-3  # mm of proven gap that counts as no contact
RAYS = 120
STEPS = 41
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
        ``{pair: ndarray (n, 2)}``: where the pair first touches along each ray that meets it; by
        root finding.
    free : ndarray (rays, 2)
        Corners of what can be reached from neutral along straight lines without contact.
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


def travel_map(system: System) -> TravelMap:
    """Map what touches over the travel of the first two inputs, the others at 0.

    Pairs are proven clear over the whole map or else followed along rays from neutral; stops are
    shown like any other contact, waived pairs are left out.

    Parameters
    ----------
    system : System

    Returns
    -------
    TravelMap
    """
    wanted = travel_box(system)
    if len(wanted) < 2:
        raise LinkageError("a travel map needs two inputs; this system has "
                           f"{', '.join(wanted) or 'none'}")
    names = ("roll", "pitch") if {"roll", "pitch"} <= set(wanted) else tuple(wanted)[:2]
    shown = {n: (wanted[n][0] - BEYOND, wanted[n][1] + BEYOND) for n in names}
    touching = _touching(system, shown)
    ways = _ways(names, wanted, shown)
    first = {pair: _along(system, names, ways, pair) for pair in touching}
    first[REACH] = _out_of_reach(system, names, ways)
    shares = np.stack([np.minimum(first[pair], 1.0) for pair in first])
    nearest = shares.argmin(axis=0)
    limits = np.where(shares.min(axis=0) < 1.0, np.array(list(first), dtype=object)[nearest], "")
    free = ways[:RAYS] * shares.min(axis=0)[:RAYS, None]
    wanted = {n: wanted[n] for n in names}
    return TravelMap(names, wanted, shown,
                     {pair: ways[:RAYS][share[:RAYS] <= 1] * share[:RAYS, None][share[:RAYS] <= 1]
                      for pair, share in first.items() if (share[:RAYS] <= 1).any()},
                     free, tuple(limits[:RAYS]), _usable(free, wanted, names),
                     _sides(names, wanted, ways[RAYS:], shares[:, RAYS:].min(axis=0),
                            limits[RAYS:]))


def _touching(system, box):
    """Pairs not proven clear over the map."""
    scene = scene_of(system)
    pairs = [replace(pair, required=0.0) for pair in near_of(system)
             if pair.rule != "waived" and set(pair.inputs) & set(box)]
    if not pairs:
        return []
    proof = prove(Stage(scene, pairs), box, 1.0, limit=CLEAR)
    return [pair.name for pair, low in zip(pairs, proof.proven, strict=True) if low < CLEAR]


def _ways(names, wanted, shown):
    """Ends of the rays on the edge of the map, then the sides and corners of the wanted travel."""
    angle = np.arange(RAYS) * 2 * np.pi / RAYS
    way = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    low, high = (np.array([shown[n][k] for n in names]) for k in (0, 1))
    with np.errstate(divide="ignore"):
        share = np.where(way > 0, high / way, np.where(way < 0, low / way, np.inf)).min(axis=1)
    marks = [[wanted[names[0]][i] if i is not None else 0.0,
              wanted[names[1]][j] if j is not None else 0.0] for i, j in _MARKS]
    return np.concatenate([way * share[:, None], np.array(marks)])


_MARKS = ((0, None), (1, None), (None, 0), (None, 1), (0, 0), (0, 1), (1, 0), (1, 1))


def _along(system, names, ways, pair):
    """Share of each way at which a pair first touches; inf where it does not."""
    share = np.linspace(0, 1, STEPS)

    def gap(at, rays):
        place = ways[rays] * at[..., None]
        motion = system.sweep(**{n: place[..., i] for i, n in enumerate(names)})
        return gaps(motion, [pair])[pair]

    rays = np.arange(len(ways))
    value = gap(np.broadcast_to(share[:, None], (STEPS, len(ways))), rays[None].repeat(STEPS, 0))
    with np.errstate(invalid="ignore"):
        hit = value <= 0
    first = np.where(hit.any(axis=0), hit.argmax(axis=0), -1)
    found = np.full(len(ways), np.inf)
    found[first == 0] = 0.0
    inside = np.flatnonzero(first > 0)
    if inside.size:
        found[inside] = _refined(lambda at: gap(at, inside), share[first[inside] - 1],
                                 share[first[inside]])
    return found


def _refined(gap, low, high):
    """Crossings between brackets, all rays together: a unit bracket each, found as one array."""
    width = high - low
    for _ in range(40):
        middle = 0.5 * (low + high)
        free = gap(middle) > 0
        low, high = np.where(free, middle, low), np.where(free, high, middle)
        if np.all(high - low < 1e-9 * width):
            break
    return high


def _out_of_reach(system, names, ways):
    share = np.linspace(0, 1, STEPS)
    place = ways[None] * share[:, None, None]
    lost = ~system.sweep(**{n: place[..., i] for i, n in enumerate(names)}).reachable
    return np.where(lost.any(axis=0), share[lost.argmax(axis=0)], np.inf)


def _usable(free, wanted, names) -> float:
    import shapely

    (left, right), (low, high) = (wanted[n] for n in names)
    rectangle = shapely.box(left, low, right, high)
    region = shapely.make_valid(shapely.Polygon(free))
    return float(region.intersection(rectangle).area / rectangle.area)


def _sides(names, wanted, ways, share, limits):
    said = {}
    for (i, j), limit, part in zip(_MARKS, limits, share, strict=True):
        words = [f"{n} {('least', 'greatest')[k]}"
                 for n, k in zip(names, (i, j), strict=True) if k is not None]
        said[", ".join(words)] = str(limit) if part < 1.0 else ""
    return said

