"""Gaps at given stick positions, and the proven clearance table of a system."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from ..errors import LinkageError
from ..model import AIRFRAME
from ..motion import BEYOND, System
from ..units import Shared, in_house_units
from .mesh_gaps import mesh_gaps
from .proof import Proof, earlier, near_pairs, prove
from .scene import Scene
from .stage import Stage, measure, spine_gaps
from .travel import Travel
from .valleys import LEAST_WITHIN, near_pieces, polish, take_least

if TYPE_CHECKING:
    import pandas as pd

    from ..model.parts import Tolerance
    from ..motion.moved import Motion
    from .scene import Pair

NEAR = 25.0  # mm beyond its required clearance within which a pair is listed
MOST = 400_000  # distances of spines worked at once


def scene_of(system: System) -> Scene:
    """The scene of a system, made once."""
    return system.kept("scene", lambda: Scene(system))


def first_signs(motion: Motion, stage: Stage) -> np.ndarray:
    """Gap of a pair where it may touch, and elsewhere a lower bound above 0.

    Parameters
    ----------
    motion : Motion
    stage : Stage
        Of the one pair.

    Returns
    -------
    ndarray (...)
        mm; cheaper than the gap where only its sign is asked for.
    """
    return _pair_gap(motion, stage, signs=True)


def gaps(motion: Motion, pairs: Iterable[str] | None = None) -> dict:
    """Gap of every pair that can come near, at exactly the stick positions of a motion.

    Parameters
    ----------
    motion : Motion
    pairs : iterable of str, optional
        Names of pairs; those that may come near within 10 past the wanted travel, and the stops',
        unless given.

    Returns
    -------
    dict
        ``{pair name: ndarray (...)}``, mm: positive is the exact distance, 0 or less contact or
        overlap; NaN out of reach.
    """
    scene = scene_of(motion.system)
    chosen = near_of(motion.system) if pairs is None else [_named(scene, name) for name in pairs]
    return {pair.name: _pair_gap(motion, stage_of(scene, pair)) for pair in chosen}


def pair_gap(motion: Motion, pair: Pair) -> np.ndarray:
    """Gap of one pair in a system of the same parts, nothing kept.

    Parameters
    ----------
    motion : Motion
    pair : Pair
        Of this system, or of one whose parts have other dimensions.

    Returns
    -------
    ndarray (...)
        mm, as from `gaps`.
    """
    return _pair_gap(motion, Stage(Scene(motion.system), [pair]))


def stage_of(scene: Scene, pair: Pair) -> Stage:
    """Stage of one pair alone, laid out once."""
    return scene.system.kept(("stage", scene, pair.name), lambda: Stage(scene, [pair]))


def _named(scene, name):
    if name not in scene.pairs:
        from ..errors import nearest

        raise LinkageError(f'no pair "{name}"; {nearest(name, scene.pairs)}', pair=name)
    return scene.pairs[name]


def near_of(system: System) -> tuple:
    """Pairs that may come near within 10 past the wanted travel, and the stops' pairs.

    Parameters
    ----------
    system : System

    Returns
    -------
    tuple of Pair
    """
    return _sorted_out(system)[0]


def _sorted_out(system):
    """Near pairs and the lower bounds of the far ones over the widened travel, worked out once."""
    return system.kept("near pairs", lambda: _near_and_far(scene_of(system)))


def _near_and_far(scene):
    box = scene.system.travel_box(BEYOND)
    held, far = near_pairs(scene, list(scene.pairs.values()), box, NEAR)
    held = {pair.name for pair in held}
    near = tuple(pair for pair in scene.pairs.values() if pair.name in held or pair.rule == "stop")
    names = {pair.name for pair in near}
    return near, {n: low for n, low in far.items() if n not in names}


def _pair_gap(motion, stage, *, signs=False):
    """Gap of a stage's one pair at every position, far pieces left out."""
    if stage.trees is not None:
        count = int(np.prod(motion.shape))
        return mesh_gaps(stage, np.zeros(count, int), motion.flat_posture(),
                         np.arange(count))[0].reshape(motion.shape)
    which = np.flatnonzero(~stage.rough)
    count = int(np.prod(motion.shape))
    found = np.full(count, np.nan)
    if not count:
        return found.reshape(motion.shape)
    step = max(1, MOST // len(which))
    posture = motion.flat_posture()
    for start in range(0, count, step):
        here = np.arange(start, min(count, start + step))
        low, most = _about_apart(stage, which, posture.at(here), len(here))
        least = low.min(axis=0) if signs else np.full(len(here), -np.inf)
        item, place = np.nonzero((low <= most.min(axis=0) + 1e-9) & ~(least > 0))
        value = measure(stage, posture, which[item], here[place])
        least = np.where(least > 0, least, np.inf)
        np.fmin.at(least, place, value)
        found[here] = np.where(np.isinf(least), np.nan, least)
    return found.reshape(motion.shape)


def _about_apart(stage, which, posture, count):
    """Bounds of the gap from a round tube about each piece: low and high, (m, count) each."""
    pieces, back = np.unique(stage.sides[which], return_inverse=True)
    a, b = back.reshape(-1, 2).T
    apart = spine_gaps(stage.spines(posture, pieces, np.arange(count)), a, b)
    about, reach = stage.around(pieces), stage.reach[pieces]
    # a spine is nowhere farther outside its piece than the piece's corners are from the spine
    most = apart + (reach[a] + reach[b] - stage.radii[which])[:, None]
    return apart - (about[a] + about[b])[:, None], most


@in_house_units(length="least proven required real_least real_proven first second")
def clearance(system: System, tolerance_mm: float = 0.05, *, built: bool = False,
              after: pd.DataFrame | None = None, real: Travel | None = None) -> pd.DataFrame:
    """Least clearance of every pair that can come near, over the whole travel, with proof.

    Parameters
    ----------
    system : System
    tolerance_mm : float
        Wanted width of the bracket, mm.
    built : bool
        Prove it for every build within the file's tolerances instead of as drawn: least is then
        the gap of the worst build met, and `tolerance_mm` counts only where tolerances cost less.
    after : DataFrame, optional
        What this gave for a like system, as drawn: what holds of that proof is not worked out
        again; the bracket is then no narrower than `tolerance_mm` asks.
    real : Travel, optional
        The travel that the stops leave, on which `ok` is then judged.

    Returns
    -------
    DataFrame
        One row per pair: pair, least (mm, attained), proven (mm, lower bound over the whole
        wanted travel), required (mm), one column per input (where least), ok, rule, and first and
        second (the two closest points, stations in mm).  With `real` also real_least, real_proven
        and one column ``real_INPUT`` each (where that is least, and where the closest points
        are).  ``attrs["far"]`` holds the lower bounds of the pairs left out, which stay farther
        apart than required and 25 mm more; ``attrs["open"]`` the places near which nothing could
        be proven.
    """
    import pandas as pd

    if not tolerance_mm > 0:
        raise LinkageError(f"tolerance_mm is {tolerance_mm:g}; give a width above 0 mm")
    wanted = Travel.of(system.travel_box())
    judged, names = real or wanted, list(wanted.names)
    tolerances = system.model.tolerance if built else None
    scene = Scene(system, tolerances) if built else scene_of(system)
    near, far = _near_over(scene, wanted, judged, tolerances)
    stage = Stage(scene, near)
    first = _least_over(stage, wanted, (tolerance_mm, tolerances),
                        None if after is None else after.attrs.get("earlier"))
    known = earlier(stage, wanted, first, (tolerance_mm, tolerances, NEAR))
    proof = first if real is None else _over_real(known, real, (tolerance_mm, tolerances))
    points = closest_points(stage, proof, names, tolerances)
    rows = [_row(pair, proof, k, names, points[k]) for k, pair in enumerate(stage.pairs)]
    table = pd.DataFrame(rows, columns=["pair", "least", "proven", "required", *names, "ok", "rule",
                                        "first", "second"])
    bound = table["proven"]
    if real is not None:
        table = _beside(table, first, names)
        bound = np.fmin(table["proven"], table["real_proven"])
    shown = bound < table["required"] + NEAR
    far = far | dict(zip(table["pair"][~shown], bound[~shown], strict=True))
    table = table[shown].reset_index(drop=True)
    table.attrs = {"far": Shared(far), "earlier": replace(known, judged=judged),
                   "visited": int(proof.visited.sum()), "open": _open_places(stage, proof, names)}
    if built:
        table.attrs["builds"] = _builds_met(stage, proof)
    return table


def _builds_met(stage, proof) -> Shared:
    """All builds, and the build in which each pair is least, as shares of its dimensions."""
    return Shared() if proof.builds is None else Shared(
        all=proof.builds, shares={p.name: proof.shares[k] for k, p in enumerate(stage.pairs)})


def _open_places(stage, proof, names) -> dict:
    return {stage.pairs[k].name: dict(zip(names, place.tolist(), strict=True))
            for k, place in proof.open_at.items()}


def proven_apart(system: System, table: pd.DataFrame) -> list[tuple[Travel, dict]]:
    """What a table of `clearance` proves: over each travel the lower bound of every pair's gap.

    Parameters
    ----------
    system : System
    table : DataFrame

    Returns
    -------
    list of (Travel, dict)
        ``{pair: mm}``; empty of a table of another system, or from another process.
    """
    known = table.attrs.get("earlier")
    if known is None or known.stage.system.model is not system.model:
        return []
    judged = "real_proven" if "real_proven" in table else "proven"
    return [(travel, dict(table.attrs["far"]) | dict(zip(table["pair"], table[column],
                                                          strict=True)))
            for travel, column in ((known.travel, "proven"), (known.judged, judged))]


def _near_over(scene, wanted, judged, tolerances):
    """Pairs that may come near over either travel, and lower bounds of the others."""
    ends = {name: (min(low, judged.box[name][0]), max(high, judged.box[name][1]))
            for name, (low, high) in wanted.box.items()}
    looked_at = scene.system.travel_box(BEYOND)
    if tolerances is None and all(looked_at[n][0] <= low and high <= looked_at[n][1]
                                  for n, (low, high) in ends.items()):
        return _sorted_out(scene.system)
    near, far = near_pairs(scene, list(scene.pairs.values()), ends, NEAR, tolerances)
    return tuple(near), far


def _least_over(stage, travel, how, after=None) -> Proof:
    tolerance_mm, tolerances = how
    proof = prove(stage, travel, tolerance_mm, tolerances, NEAR, within=LEAST_WITHIN, after=after)
    if tolerances is None:
        polish(stage, proof, travel,
               np.array([pair.required for pair in stage.pairs]) + NEAR)
    else:
        take_least(stage, proof, travel.names, np.flatnonzero(np.isfinite(proof.least)), tolerances)
    return proof


def _over_real(known, real, how) -> Proof:
    """The proof over the real travel of each pair, from the cells of that over the wanted one.

    Where the wanted travel holds the real one, its bound holds there too, and its least is that
    of the real travel if it was met there.
    """
    stage, wanted = known.stage, known.travel
    found = replace(known.proof, open_at=dict(known.proof.open_at), **{
        name: None if value is None else value.copy() for name, value in (
            (name, getattr(known.proof, name)) for name in ("least", "place", "proven", "visited",
                                                            "shares"))})
    moves = np.array([[name in pair.inputs for name in wanted.names] for pair in stage.pairs],
                     dtype=bool).reshape(len(stage.pairs), len(wanted.names))
    held = np.zeros(len(moves), bool)
    for row in np.unique(moves, axis=0):
        low, high = real.seen_along(row)
        held[(moves == row).all(axis=1)] = ((np.where(row, wanted.low, 0.0) <= low) & (
            high <= np.where(row, wanted.high, 0.0))).all()
    held &= np.isfinite(found.least) & real.holds_each(found.place, moves)
    todo = np.flatnonzero(~held)
    if todo.size:
        part = Stage(stage.scene, [stage.pairs[k] for k in todo])
        again = _least_over(part, real, how, None if how[1] is not None else known)
        _put(found, todo, again)
    return found


def _put(proof, pairs, other):
    """Put what another proof found of some pairs in place of what this one has, in place."""
    for name in ("least", "place", "proven", "visited", "shares"):
        if getattr(proof, name) is not None:
            getattr(proof, name)[pairs] = getattr(other, name)
    for k in pairs:
        proof.open_at.pop(int(k), None)
    proof.open_at.update({int(pairs[k]): place for k, place in other.open_at.items()})


def _beside(table, wanted, names):
    """The table over the real travel with what is met and proven over the wanted one beside it."""
    table = table.rename(columns={"least": "real_least", "proven": "real_proven",
                                  **{name: f"real_{name}" for name in names}})
    table["least"] = np.where(np.isfinite(wanted.least), wanted.least, np.nan)
    table["proven"] = np.minimum(wanted.proven, wanted.least)
    for i, name in enumerate(names):
        table[name] = wanted.place[:, i]
    return table[["pair", "least", "proven", "real_least", "real_proven", "required", *names,
                  *(f"real_{name}" for name in names), "ok", "rule", "first", "second"]]


def _row(pair, proof, k, names, points):
    free = pair.rule in ("stop", "waived")
    proven = min(float(proof.proven[k]), float(proof.least[k]))
    return {"pair": pair.name, "least": float(proof.least[k]) if np.isfinite(proof.least[k])
            else np.nan, "proven": proven, "required": pair.required,
            **dict(zip(names, proof.place[k].tolist(), strict=True)),
            "ok": bool(free or (proven >= pair.required and k not in proof.open_at)),
            "rule": pair.rule, "first": points[0], "second": points[1]}


def closest_points(stage: Stage, proof: Proof, names: Sequence[str],
                   tolerances: Tolerance | None = None) -> list[tuple[np.ndarray, np.ndarray]]:
    """The two closest points of every pair at its least gap: stations in mm, NaN out of reach."""
    found = [(np.full(3, np.nan), np.full(3, np.nan))] * len(stage.pairs)
    known = np.flatnonzero(np.isfinite(proof.least))
    if not known.size:
        return found
    which, cell, _ = near_pieces(stage, proof, names, known, tolerances)
    motion = proof.motion(stage.system, names, known)
    value, _, one, other = stage.gap(stage.axes(motion.posture, which, cell), which)
    best = np.full(len(stage.pairs), np.inf)
    for n, k in enumerate(stage.pair_index[which]):
        if value[n] < best[k]:
            best[k] = value[n]
            found[k] = tuple(_in_stations(motion.posture, stage.pairs[k].frame, p[:, n], cell[n])
                             for p in (one, other))
    return found


def _in_stations(posture, frame, point, cell):
    p = tuple(point)
    for joint, outward in posture.plan.route(frame, AIRFRAME) if frame != AIRFRAME else ():
        p = tuple(np.broadcast_to(k, (cell + 1,))[cell] if np.ndim(k) == 0 or np.shape(k)[-1] == 1
                  else k[cell] for k in posture.crossed(p, joint, outward))
    return np.array(p, dtype=float)
