"""How far each dimension of the build moves a stop: exact first derivatives of its contact."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..clearances.mesh_gaps import nearest_items
from ..model import AIRFRAME, STATIONS
from ..motion import Dimensions, Posture, Rates, Seeds, body_of
from .faces import Meeting

if TYPE_CHECKING:
    from ..motion.system import System


def stop_rates(made: Meeting, angle: float, thickness: float) -> dict:
    """Change of a stop's angle per mm of each dimension, and the tolerance of that dimension.

    Parameters
    ----------
    made : Meeting
    angle : float
        Where the stop is, degrees (mm).
    thickness : float
        Of its spacer, mm.

    Returns
    -------
    dict
        ``{(part, what): (degrees or mm per mm, mm)}``: every hardpoint coordinate
        (``"part/point", "FS"``), rod length (``rod, "length"``), coordinate of both faces
        (``"part/solid", "face FS"``) and the spacer (``stop, "spacer"``).
    """
    system, model = made.system, made.system.model
    one, other, way = _touching(made, angle, thickness)
    known = dimension_tolerances(system)
    count = 1 + len(known)
    rows = dict(zip(known, np.eye(count)[1:], strict=True))
    per = 1.0 if system.inputs[made.stop.input].unit == "mm" else np.pi / 180
    seeds = Seeds({made.stop.input: np.eye(count)[0] * per}, *seeds_of(rows))
    rate = _gap_rate(made, (one, other), way, angle, seeds)
    rates = {name: (float(-k / rate[0]), known[name])
             for name, k in zip(known, rate[1:], strict=True)}
    for face, sense in ((made.pair.first, -1.0), (made.pair.second, 1.0)):
        rates |= {(face, f"face {axis}"): (float(-sense * k / rate[0]), model.tolerance.hardpoint)
                  for axis, k in zip(STATIONS, way, strict=True)}
    if made.stop.spacer is not None:
        rates[made.name, "spacer"] = float(1 / rate[0]), model.spacer_tolerance(made.name)
    return rates


def dimension_tolerances(system: System) -> dict:
    """Tolerance of every hardpoint coordinate and rod length, mm: ``{(name, what): mm}``."""
    model = system.model
    points = {(name, axis): model.point_tolerance(name) for name in model.points
              for axis in STATIONS}
    return points | {(rod, "length"): model.rod_tolerance(rod) for rod in model.rods}


def seeds_of(rows: dict) -> tuple[dict, dict, dict]:
    """Places, axes and lengths of `Seeds` in which each dimension varies by its own row."""
    places = {name: tuple(rows[name, axis] for axis in STATIONS)
              for name, what in rows if what == "FS"}
    return places, {}, {name: row for (name, what), row in rows.items() if what == "length"}


def _touching(made, angle, thickness):
    """Touching points of both solids and the way between them, in the airframe, at a contact."""
    stage = made.stage(thickness)
    motion = made.system.sweep(**{made.stop.input: [angle]})
    which = nearest_items(stage, motion.posture)
    value, direction, one, other = stage.gap(
        stage.axes(motion.posture, which, np.zeros_like(which)), which)
    n = int(value.argmin())
    return one[:, n], other[:, n], direction[:, n]


def _gap_rate(made, points, way, angle, seeds):
    """Rate of the gap per direction of some seeds: n . (rate of b - rate of a)."""
    system, frame = made.system, made.pair.frame
    motion = system.sweep(**{made.stop.input: angle})
    total = 0.0
    for solid, point, sense in ((made.pair.first, points[0], -1.0),
                                (made.pair.second, points[1], 1.0)):
        body = body_of(solid)
        if body == AIRFRAME or body in system.model.rods:
            continue
        p = tuple(point)
        for joint, outward in system.plan.route(frame, body):
            p = motion.posture.crossed(p, joint, outward)
        address = f"{body}/touching"
        places = system.dimensions.places | {address: tuple(float(k) for k in p)}
        posture = Posture(system.plan, Dimensions(places, system.dimensions.axes,
                                                  system.dimensions.lengths),
                          motion.posture.states)
        rate = Rates(posture, seeds).place(address, frame)
        total = total + sense * sum(n * np.asarray(r) for n, r in zip(way, rate, strict=True))
    return np.broadcast_to(total, np.shape(seeds.inputs[made.stop.input]))
