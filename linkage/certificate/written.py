"""The certificate of a clearance table: what is claimed of every pair, and how it is shown."""

from __future__ import annotations

import base64
import gzip
import json
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ..checker.leaves import Book
from ..checker.reading import Refused, read
from ..checker.travel import Travel
from ..checker.verdict import FORMAT, ROUNDED, digest
from ..clearances import scene_of
from ..clearances.table import NEAR
from ..disk import write_bytes
from ..errors import LinkageError
from ..stops.real import real_travel
from .covers import covers
from .nearest import points
from .trees import Grower, Tree

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
        As `linkage.clearance` gives it, as drawn.

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
        book = Book(machine)
        told = covers(system, book, real_travel(system))
        travel = Travel(book, told)
    except Refused as refused:
        raise LinkageError(f"no certificate can be written: {refused}") from refused
    rows = {frozenset(row["pair"].split(" | ")): row for _, row in table.iterrows()}
    far = {frozenset(name.split(" | ")): low for name, low in table.attrs["far"].items()}
    grower = Grower(scene_of(system), book, (system.travel_box(), travel))
    trees = [Tree(pair, claim, tuple(k for k, name in enumerate(book.motion.names)
                                     if name in book.pairs.inputs_of(pair)))
             for pair in book.pairs.all() if None not in book.sides(pair)
             for claim in [_claim(pair, rows, far)] if claim is not None]
    grower.grow(trees, travel.root())
    shown = {tree.pair.names: tree for tree in trees if tree.root is not None}
    met = _met(grower, travel, [p for p in book.pairs.all() if frozenset(p.names) in rows], rows)
    return {"format": FORMAT, "sha256": digest(file), "travel": "real", "build": "as drawn",
            **told, "files": {name: digest(file.parent / name) for name in machine.files},
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
        low = min(rows[key]["real_proven"], np.nan_to_num(rows[key]["real_least"], nan=np.inf))
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


def _met(grower, travel, pairs, rows):
    """Where each pair is least, and a point of each solid that shows it."""
    found, book = {}, grower.book
    for pair in pairs:
        if pair.balls or pair.rule == "stop":
            continue  # what is nearest may be what lies at the joint and is left out
        row = rows[frozenset(pair.names)]
        if np.isfinite(row["real_least"]):
            at = [float(row[f"real_{n}"]) if n in grower.names else 0.0 for n in book.motion.names]
            for back in BACK:
                place = [k * (1 - back) for k in at]
                shown = points(book, pair, place) if travel.holds(place) else None
                if shown is not None:
                    found[pair.names] = {"least": max(float(row["real_least"]), shown[0] + 1e-9),
                                         "place": place, "met": shown[1]}
                    break
    return found
