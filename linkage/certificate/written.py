"""The certificate of a clearance table: what is claimed of every pair, and how it is shown."""

from __future__ import annotations

import base64
import gzip
import json
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ..checker.verdict import FORMAT, ROUNDED, digest
from ..checker.leaves import Book
from ..checker.reading import Refused, read
from ..clearances import scene_of
from ..clearances.stage import Stage
from ..clearances.table import NEAR
from ..disk import write_bytes
from ..errors import LinkageError
from .trees import Grower, Tree

if TYPE_CHECKING:
    import pandas as pd

    from ..motion import System


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
        row = rows[frozenset(pair.names)]
        if np.isfinite(row["least"]):
            place = [float(row[n]) if n in grower.names else 0.0 for n in book.motion.names]
            shown = _points(grower, book, pair, place)
            if shown is not None and shown[0] <= max(row["least"], shown[1]) + 1e-7:
                found[pair.names] = {"least": max(float(row["least"]), shown[1]), "place": place,
                                     "met": shown[2]}
    return found


def _points(grower, book, pair, place):
    """Gap, least it can be shown to be, and the point of each solid, at a place."""
    singles = [[type(side)([p], side.solid) for p in side.pieces] for side in book.sides(pair)]
    both = [(i, j) for i in range(len(singles[0])) for j in range(len(singles[1]))]
    stage = Stage(grower.scene, [grower.scene_pair(pair, (singles[0][i], singles[1][j]))
                                 for i, j in both], grower.solids.__getitem__)
    named = {n: np.array([place[k]]) for n, k in zip(grower.names, grower.place, strict=True)}
    posture = stage.system.sweep(**named).posture
    best = None
    for here, _ in stage.by_corners(np.arange(len(both))):
        hulls = stage.hulls(posture, here, np.zeros(len(here), int))
        value, _, one, other = stage.gap(hulls, here)
        k = int(np.argmin(value))
        if best is None or value[k] < best[0]:
            best = float(value[k]), both[here[k]], [(h[..., k], f[:, k]) for h, f in
                                                    zip(hulls, (one, other), strict=True)]
    value, index, sides = best
    if not np.isfinite(value):
        return None
    pieces = [singles[k][i].pieces[0] for k, i in enumerate(index)]
    counts = [len(dict.fromkeys(p.corners)) for p in pieces]
    hulls = [hull[:, :count] for (hull, _), count in zip(sides, counts, strict=True)]
    solid = any(count > 2 for count in counts)
    shares = _common(hulls) if value <= 0 and solid else [
        _shares(hull, foot) for hull, (_, foot) in zip(hulls, sides, strict=True)]
    radius = sum(p.radius for p, c in zip(pieces, counts, strict=True) if c > 2)
    least = 0.0 if solid and value <= 0 else value + radius
    return value, least + 1e-9, [[int(i), list(map(float, s))]
                                 for i, s in zip(index, shares, strict=True)]


def _shares(hull, foot):
    """Shares of corners that make a point of their hull."""
    from scipy.optimize import nnls

    size = max(1.0, float(np.abs(hull).max()))
    middle = hull.mean(axis=1)
    rows = np.vstack([hull - middle[:, None], np.full(hull.shape[1], size)])
    return nnls(rows, np.append(foot - middle, size))[0]


def _common(hulls):
    """Shares of the corners of two hulls that overlap, which make one point."""
    from scipy.optimize import nnls

    one, other = hulls
    size = max(float(np.abs(h).max()) for h in hulls)
    rows = np.vstack([np.hstack([one, -other]),
                      np.append(np.full(one.shape[1], size), np.zeros(other.shape[1])),
                      np.append(np.zeros(one.shape[1]), np.full(other.shape[1], size))])
    both = nnls(rows, np.array([0, 0, 0, size, size]))[0]
    return both[:one.shape[1]], both[one.shape[1]:]
