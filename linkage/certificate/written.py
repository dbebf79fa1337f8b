"""The certificate of a clearance table: what is claimed of every pair, and how it is shown."""

from __future__ import annotations

import base64
import gzip
import itertools
import json
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ..checker.leaves import Book, OutOfReach
from ..checker.reading import Refused, read
from ..checker.solids import Line
from ..checker.verdict import FORMAT, ROUNDED, digest
from ..clearances import scene_of
from ..clearances.table import NEAR
from ..disk import write_bytes
from ..errors import LinkageError
from .trees import Grower, Tree

if TYPE_CHECKING:
    import pandas as pd

    from ..motion import System

MOST_PAIRS = 400  # pairs of pieces looked at for the nearest two points
BACK = (0.0, 1e-6, 1e-4, 1e-2)  # shares of the way back to neutral where nothing is shown
UNSURE = 1e-6  # mm of a place that the checker has no closer
WEIGHT = 1e4  # of the shares' sum against distances


def certificate(system: System, file: Path | str, table: pd.DataFrame) -> dict:
    """What a table of clearances claims, with the leaves that show it.

    Parameters
    ----------
    system : System
    file : path
        The model file that it was loaded from.
    table : DataFrame
        As `linkage.clearance` gives it for the wanted travel, as drawn.

    Returns
    -------
    dict
        As the checker reads it.

    Raises
    ------
    LinkageError
        When the checker does not know something that the file holds.
    """
    file = Path(file)
    try:
        machine = read(file.read_text("utf-8-sig"), file.parent)
        book, travel = Book(machine), system.travel_box()
    except Refused as refused:
        raise LinkageError(f"no certificate can be written: {refused}") from refused
    rows = {frozenset(row["pair"].split(" | ")): row for _, row in table.iterrows()}
    far = {frozenset(name.split(" | ")): low for name, low in table.attrs["far"].items()}
    root = tuple(travel.get(name, (0.0, 0.0)) for name in book.motion.names)
    grower = Grower(scene_of(system), book, travel)
    trees = [Tree(pair, claim, tuple(k for k, name in enumerate(book.motion.names)
                                     if name in book.pairs.inputs_of(pair)))
             for pair in book.pairs.all() if None not in book.sides(pair)
             for claim in [_claim(pair, rows, far)] if claim is not None]
    grower.grow(trees, root)
    shown = {tree.pair.names: tree for tree in trees if tree.root is not None}
    met = _met(grower, book, [p for p in book.pairs.all() if frozenset(p.names) in rows], rows)
    return {"format": FORMAT, "sha256": digest(file), "travel": "wanted", "build": "as drawn",
            "files": {name: digest(file.parent / name) for name in machine.files},
            "pairs": [_entry(pair, shown.get(pair.names), met.get(pair.names))
                      for pair in book.pairs.all()]}


def write_certificate(made: dict, path: Path | str, *, replace: bool = False) -> int:
    """Write a certificate; how many bytes it has."""
    data = gzip.compress(json.dumps(made, separators=(",", ":")).encode(), 9, mtime=0)
    write_bytes(path, data, replace=replace)
    return len(data)


def _claim(pair, rows, far):
    """What of a pair is to be shown, mm; None where nothing above 0 is proven."""
    key, most = frozenset(pair.names), pair.required + NEAR
    if key in rows:
        low = min(rows[key]["proven"], np.nan_to_num(rows[key]["least"], nan=np.inf))
    else:  # of a far pair nothing is printed but that it keeps what is required
        low = pair.required + min(far[key] - pair.required, NEAR) / 2 if key in far else \
            pair.required + 2 * ROUNDED if pair.balls else np.nan
    low = min(float(low), most) - ROUNDED
    if low < 0 and pair.required == 0 and low > -ROUNDED - 1e-12:
        low = 0.0
    return low if low >= 0 else None


def _entry(pair, tree, met):
    entry = {"pair": list(pair.names), "claim": None}
    if tree is not None:
        words, planes = tree.root.text()
        flat = np.array(planes, dtype="<f4").reshape(-1)
        entry |= {"claim": tree.claim, "tree": words,
                  "planes": base64.b64encode(flat.tobytes()).decode()}
    return entry | (met or {})


def _met(grower, book, pairs, rows):
    """Where each pair is least, and a point of each solid that shows it."""
    found = {}
    for pair in pairs:
        if pair.balls:  # what is nearest may be what lies at the joint and is left out
            continue
        row = rows[frozenset(pair.names)]
        if np.isfinite(row["least"]):
            at = [float(row[n]) if n in grower.names else 0.0 for n in book.motion.names]
            for back in BACK:
                place = [k * (1 - back) for k in at]
                shown = _points(book, pair, place)
                if shown is not None:
                    found[pair.names] = {"least": max(float(row["least"]), shown[0] + 1e-9),
                                         "place": place, "met": shown[1]}
                    break
    return found


def _points(book, pair, place):
    """Gap, least it can be shown to be, and the point of each solid, at a place."""
    try:
        hulls = [_hulls(book, pair.frame, side, place) for side in book.sides(pair)]
    except OutOfReach:
        return None
    if None in hulls:
        return None
    both = sorted(itertools.product(*map(enumerate, hulls)), key=lambda k: np.linalg.norm(
        k[0][1][1].mean(axis=1) - k[1][1][1].mean(axis=1)))
    best = None
    for (i, (one, a)), (j, (other, b)) in both[:MOST_PAIRS]:
        radius = sum(p.radius for p in (one, other) if isinstance(p, Line))
        apart, shares = _nearest(a, b)
        if best is None or apart - radius < best[0]:
            best = apart - radius, [[i, shares[0].tolist()], [j, shares[1].tolist()]]
    return best


def _hulls(book, frame, side, place):
    """Pieces of a side and their corners at a place, seen from a frame: (3, corners) each."""
    seat = book.motion.seat(side.solid.carriers, frame, tuple((k, k) for k in place))
    if any(not k.rest < UNSURE for p in seat for k in p):
        return None
    held = np.array([[float(k.centre.mid()) for k in p] for p in seat])
    return [(p, held.T @ np.array([side.solid.row(c) for c in p.corners]).T) for p in side.pieces]


def _nearest(one, other):
    """Distance of two hulls, and shares of the corners of each that show it."""
    from scipy.optimize import nnls

    # least |one.a - other.b| with shares that sum to 1, held to that by a weight
    middle, count = one.mean(axis=1)[:, None], one.shape[1]
    one, other = one - middle, other - middle
    size = WEIGHT * max(1.0, float(np.abs(one).max()), float(np.abs(other).max()))
    rows = np.zeros((5, count + other.shape[1]))
    rows[:3, :count], rows[:3, count:] = one, -other
    rows[3, :count] = rows[4, count:] = size
    both = nnls(rows, np.array([0.0, 0.0, 0.0, size, size]))[0]
    shares = both[:count] / both[:count].sum(), both[count:] / both[count:].sum()
    return float(np.linalg.norm(one @ shares[0] - other @ shares[1])), shares
