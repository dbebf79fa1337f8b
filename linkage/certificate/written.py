"""The certificate of a clearance table: what is claimed of every pair, and how it is shown."""

from __future__ import annotations

import base64
import gzip
import io
import itertools
import json
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ..checker.lengths import Refused
from ..checker.reading import read
from ..checker.travel import Travel
from ..checker.verdict import BUILDS, FORMAT, LEFT, ROUNDED, check, digest
from ..clearances import scene_of
from ..clearances.table import NEAR
from ..errors import LinkageError
from ..stops.real import real_travel
from .covers import covers
from .nearest import points
from .off_joints import off_joints
from .trees import Grower, Thrifty, Tree
from .ways import directions

if TYPE_CHECKING:
    import pandas as pd

    from ..motion import System

BACK = (0.0, 1e-6, 1e-4, 1e-2)  # shares of the way back to neutral where nothing is shown


def certificate(system: System, file: Path | str, table: pd.DataFrame) -> dict:
    """What a table of clearances claims, with the leaves that show it.

    Parameters
    ----------
    system : System
    file : path
        The model file that it was loaded from.
    table : DataFrame
        As `linkage.clearance` gives it over the real travel, as drawn or as built.

    Returns
    -------
    dict
        As the checker reads it.

    Raises
    ------
    LinkageError
        When the checker does not know something that the file holds.
    """
    file, built = Path(file), "builds" in table.attrs
    try:
        machine = read(file.read_text("utf-8-sig"), file.parent)
        book = Thrifty(machine, built)
        told = covers(system, book, real_travel(system, system.model.tolerance if built else None))
        travel = Travel(book, told)
    except Refused as refused:
        raise LinkageError(f"no certificate can be written: {refused}") from refused
    rows = {frozenset(row["pair"].split(" | ")): row for _, row in table.iterrows()}
    grower = Grower(scene_of(system), book, (system.travel_box(), travel))
    listed = [p for p in book.pairs.all() if frozenset(p.names) in rows]
    if built:
        shown = _shown(grower, lambda pair: _kept(pair, rows, table.attrs["far"]), rows)
        met = _met_in_builds(grower, travel, listed, (rows, table.attrs["builds"]))
    else:
        met = _met(grower, travel, listed, rows)
        unsure = _unsure(table, listed, met)
        shown = _shown(grower, lambda pair: _claim(pair, rows, table.attrs["far"], unsure))
    return {"format": FORMAT, "sha256": digest(file), "travel": "real", "build": BUILDS[built],
            **told, "directions": directions(book, travel),
            "files": {name: digest(file.parent / name) for name in machine.files},
            "pairs": [_entry(pair, shown.get(pair.names), met.get(pair.names))
                      for pair in book.pairs.all()]}


def _shown(grower, claim_of, rows=None):
    """Trees of what is claimed of each pair, where they could be grown.

    `rows` say where each is least, if that is asked first.
    """
    book, trees = grower.book, []
    for pair in book.pairs.all():
        sides = tuple(book.sides(pair))
        claim = None if None in sides else claim_of(pair)
        if claim is not None:
            row = (rows or {}).get(frozenset(pair.names))
            trees.append(Tree(pair, claim, _inputs_of(book, pair), sides,
                              place=_least_at(grower, row)))
    grower.grow(trees, grower.travel.root())
    return {tree.pair.names: tree for tree in trees if tree.root is not None}


def _inputs_of(book, pair):
    """Numbers of the inputs that move a pair."""
    needs = book.pairs.inputs_of(pair)
    return tuple(k for k, name in enumerate(book.motion.names) if name in needs)


def _least_at(grower, row):
    """Where a pair is least, as `_place_of`; None where that is not known."""
    if row is None or not np.isfinite(row["real_least"]):
        return None
    return _place_of(grower, row)


def _place_of(grower, row):
    """Where a pair is least over the real travel, as the checker counts inputs."""
    return [float(row[f"real_{n}"]) if n in grower.names else 0.0
            for n in grower.book.motion.names]


def packed(made: dict) -> bytes:
    """A certificate as it is written to disk."""
    return gzip.compress(json.dumps(made, separators=(",", ":")).encode(), 9, mtime=0)


def checked(file: Path | str, proof: bytes) -> str:
    """What the checker says of a certificate and its model file, and which way surfaces go."""
    verdict = check(file, io.BytesIO(proof))
    return "; ".join([verdict.sentence, *verdict.directions])


def _unsure(table, listed, met):
    """Pairs that nothing shows to come nearer than required, though the search does not keep them.

    It left them open somewhere, or it takes too much of their parts at a joint.
    """
    found, left_open = set(), {frozenset(pair.split(" | ")) for pair in table.attrs["open"]}
    for pair in listed:
        key, least = frozenset(pair.names), met.get(pair.names, {}).get("least", np.nan)
        if not least < pair.required and (key in left_open or pair.balls and least == least):
            found.add(key)
    return found


def _claim(pair, rows, far, unsure):
    """What of a pair is to be shown, mm; None where nothing above 0 is proven."""
    key, most = frozenset(pair.names), pair.required + NEAR
    if key in rows:
        low = np.fmin(rows[key]["real_proven"], rows[key]["real_least"])
        if key in unsure:
            low = pair.required if pair.balls else min(low, pair.required)
    else:  # of a far pair nothing is printed but that it keeps what is required
        known = _far(far, key)
        low = pair.required + min(known - pair.required, NEAR) / 2 if known == known else \
            pair.required + 2 * ROUNDED if pair.balls else np.nan
    low = min(float(low), most) - ROUNDED
    if low < 0 and pair.required == 0 and low > -ROUNDED - 1e-12:
        low = 0.0
    return low if low >= 0 else None


def _kept(pair, rows, far):
    """What is required of a pair that keeps it as built; None of one that doesn't."""
    key = frozenset(pair.names)
    low = rows[key]["real_proven"] if key in rows else _far(far, key)
    if pair.rule in LEFT or not (low >= pair.required or np.isnan(low) and pair.balls):
        return None
    return max(pair.required - ROUNDED, 0.0)


def _far(far, key):
    return next((far[name] for name in (" | ".join(k) for k in itertools.permutations(key))
                 if name in far), np.nan)


def _entry(pair, tree, met):
    entry = {"pair": list(pair.names), "claim": None}
    if tree is not None:
        words, planes = tree.root.text()
        flat = np.array(planes, dtype="<f4").reshape(-1)
        entry |= {"claim": tree.claim, "tree": words,
                  "planes": base64.b64encode(flat.tobytes()).decode()}
    return entry | (met or {})


def _met(grower, travel, pairs, rows):
    """Where each pair is least, and a point of each solid that shows it."""
    found, book = {}, grower.book
    for pair in pairs:
        row = rows[frozenset(pair.names)]
        # at a joint it only matters where the pair comes too near
        wanted = row["real_least"] < (pair.required if pair.balls else np.inf)
        if wanted and pair.rule != "stop":
            found[pair.names] = _met_near(book, travel, pair, _place_of(grower, row),
                                          float(row["real_least"]))
    return found


def _met_in_builds(grower, travel, pairs, known):
    """Where, and in which build, each pair that misses what it requires does so."""
    found, book, (rows, builds) = {}, grower.book, known
    for pair in pairs if builds else ():
        row = rows[frozenset(pair.names)]
        if row["real_least"] < pair.required and pair.rule not in LEFT:
            build = _as_numbered(book.built.dimensions, builds["all"],
                                 builds["shares"][row["pair"]])
            at = _place_of(grower, row)
            shown = _points(book, pair, at, book.in_build(build)) if travel.holds(at) \
                else None
            if shown is not None:
                entry = {"place": at, "met": shown[1], "build": build}
                least = book.met(pair, at, shown[1], build)
                found[pair.names] = {"least": least + 1e-9} | entry
    return found


def _points(book, pair, place, motion=None):
    """Nearest points of a pair at a place, neither at a joint that it shares."""
    if not pair.balls:
        return points(book, pair, place, motion)
    return off_joints(book, pair, tuple((k, k) for k in place), motion)


def _as_numbered(dimensions, builds, shares):
    """How far each dimension is off, as the checker numbers them."""
    made = [0.0] * dimensions.count
    for mine, theirs, size in ((dimensions.places, builds.places, 3),
                               (dimensions.throughs, builds.throughs, 3),
                               (dimensions.lengths, builds.lengths, 1)):
        for name, at in mine.items():
            if name in theirs:
                made[at:at + size] = shares[theirs[name]:theirs[name] + size].tolist()
    return made


def _met_near(book, travel, pair, at, least):
    """What shows a least gap, at a place or just short of it."""
    for back in BACK:
        place = [k * (1 - back) for k in at]
        shown = _points(book, pair, place) if travel.holds(place) else None
        if shown is not None:
            return {"least": max(least, shown[0] + 1e-9), "place": place, "met": shown[1]}
    return {}
