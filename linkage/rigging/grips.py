"""Grips: whether the shaft goes into the bore, and what the hand comes near."""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING

import numpy as np

from ..clearances import NEAR, Stage, near_pairs, prove, scene_of
from ..clearances.scene import Scene
from ..motion import System
from ..stops import real_travel
from ..units import in_house_units

if TYPE_CHECKING:
    import pandas as pd

    from ..model.parts import Tolerance

WITHIN = 0.05  # mm, width of the bracket of the least gap
AT_END = 1.0  # mm within which a tube ends where the grip is put on


@in_house_units(length="bore shaft", angle="clocking")
def grip_table(system: System) -> pd.DataFrame:
    """Bore of every grip against the shaft it is put on.

    Parameters
    ----------
    system : System

    Returns
    -------
    DataFrame
        body, bore, shaft (mm; NaN where none is given, or no tube or pipe comes to where
        the grip begins), clocking (degrees), ok.
    """
    import pandas as pd

    rows = []
    for name, body in system.model.bodies.items():
        if body.grip is None:
            continue
        bore = body.grip.bore if body.grip.bore is not None else math.nan
        shaft = _shaft(system.model, name)
        rows.append([name, bore, shaft, body.grip.clocking, not bore < shaft])
    return pd.DataFrame(rows, columns=["body", "bore", "shaft", "clocking", "ok"])


def _shaft(model, name) -> float:
    """Largest tube or pipe of a body that comes to where its grip begins, or goes on into it, mm.

    A piece counts when its middle line passes where the grip begins and one of its ends lies
    before that: a solid that only lies inside the grip's own length may be the grip itself.
    """
    body = model.bodies[name]
    start, top = (np.array(model.spot(name, place)) for place in body.grip.along)
    along = (top - start) / np.linalg.norm(top - start)
    diameters = []
    for solid in body.solids.values():
        corners = [np.array(model.spot(name, place)) for place in getattr(solid, "along", ())]
        for one, other in itertools.pairwise(corners):
            before = min((one - start) @ along, (other - start) @ along) < -AT_END
            if before and _distance(start, one, other) < AT_END:
                diameters.append(solid.diameter)
    return max(diameters, default=math.nan)


def _distance(point, one, other) -> float:
    """Distance of a point from a straight piece, mm."""
    piece = other - one
    share = np.clip((point - one) @ piece / max(piece @ piece, 1e-12), 0.0, 1.0)
    return float(np.linalg.norm(one + share * piece - point))


@in_house_units(length="least proven required")
def hand_clearance(system: System, tolerances: Tolerance | None = None) -> pd.DataFrame:
    """Least clearance of every hand over the travel that the stops leave, with proof.

    Parameters
    ----------
    system : System
    tolerances : Tolerance, optional
        Build tolerances: it is then of every build within them.

    Returns
    -------
    DataFrame
        pair, least (mm, attained), proven (mm, lower bound), required (mm), one column per input
        (where least), ok; the pairs that come within 25 mm of what is required.
        ``attrs["far"]`` is what every other pair is proven to stay farther apart than, mm; 0
        without one.
    """
    import pandas as pd

    scene = scene_of(system) if tolerances is None else Scene(system, tolerances)
    travel = real_travel(system, tolerances).travel
    hands = {f"{name}/hand" for name, body in system.model.bodies.items()
             if body.grip is not None and body.grip.hand is not None}
    pairs = [pair for pair in scene.pairs.values() if {pair.first, pair.second} & hands
             and pair.rule != "waived"]
    columns = ["pair", "least", "proven", "required", *travel.names, "ok"]
    near, far = near_pairs(scene, pairs, travel, NEAR, tolerances) if pairs else ([], {})
    rows = _proven(scene, near, (travel, tolerances)) if near else []
    table = pd.DataFrame(rows, columns=columns).sort_values("proven", ignore_index=True)
    shown = table["proven"] < table["required"] + NEAR
    table.attrs["far"] = float(min([*far.values(), *table["proven"][~shown]], default=0.0))
    return table[shown].reset_index(drop=True)


def _proven(scene, near, over):
    travel, tolerances = over
    proof = prove(Stage(scene, near), travel, WITHIN, tolerances, limit=NEAR)
    return [[pair.name, float(proof.least[k]), min(float(proof.proven[k]), float(proof.least[k])),
             pair.required, *map(float, proof.place[k]),
             bool(proof.proven[k] >= pair.required and k not in proof.open_at)]
            for k, pair in enumerate(near)]
