"""Grips: whether the shaft goes into the bore, and what the hand comes near."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from ..clearances import Stage, near_pairs, prove, scene_of
from ..motion import System
from ..stops import real_travel
from ..units import in_house_units

if TYPE_CHECKING:
    import pandas as pd

NEAR = 25.0  # mm beyond its required clearance within which a pair is listed
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
        body, bore, shaft (mm; NaN where none is given, or no tube or pipe ends where the grip
        begins), clocking (degrees), ok.
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
    """Largest tube or pipe of a body that ends where its grip begins, mm."""
    body = model.bodies[name]
    start = model.spot(name, body.grip.along[0])
    found = [solid.diameter for solid in body.solids.values() if hasattr(solid, "along")
             and math.dist(model.spot(name, solid.along[-1]), start) < AT_END]
    return max(found, default=math.nan)


@in_house_units(length="least proven required")
def hand_clearance(system: System) -> pd.DataFrame:
    """Least clearance of every hand over the travel that the stops leave, with proof.

    Parameters
    ----------
    system : System

    Returns
    -------
    DataFrame
        pair, least (mm, attained), proven (mm, lower bound), required (mm), one column per input
        (where least), ok; the pairs that come within 25 mm of what is required.
        ``attrs["far"]`` is what every other pair is proven to stay farther apart than, mm; 0
        without one.
    """
    import pandas as pd

    scene, travel = scene_of(system), real_travel(system).travel
    hands = {f"{name}/hand" for name, body in system.model.bodies.items()
             if body.grip is not None and body.grip.hand is not None}
    pairs = [pair for pair in scene.pairs.values() if {pair.first, pair.second} & hands
             and pair.rule != "waived"]
    columns = ["pair", "least", "proven", "required", *travel.names, "ok"]
    near, far = near_pairs(scene, pairs, travel, NEAR) if pairs else ([], {})
    rows = _proven(scene, near, travel) if near else []
    table = pd.DataFrame(rows, columns=columns).sort_values("proven", ignore_index=True)
    table.attrs["far"] = float(min(far.values(), default=0.0))
    return table


def _proven(scene, near, travel):
    proof = prove(Stage(scene, near), travel, WITHIN, limit=NEAR)
    return [[pair.name, float(proof.least[k]), min(float(proof.proven[k]), float(proof.least[k])),
             pair.required, *map(float, proof.place[k]),
             bool(proof.proven[k] >= pair.required and k not in proof.open_at)]
            for k, pair in enumerate(near)]
