"""What welds and bolts of plates carry: the loads of the plate's rods, at the plate's root.

All that rods put on a plate goes through what holds it on its hub or tube.  Each weld or set of
bolts is taken to hold the plate alone.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from ..model.fixings import line_spread
from .columns import tube_area, tube_inertia
from .plates import plate_cuts

if TYPE_CHECKING:
    from collections.abc import Iterator

    from ..model import Bolting, Model, TorqueTube, Weld
    from ..motion import System
    from .beams import Beam
    from .free_bodies import FreeBodies

ROUND = 90  # places of a round weld at which its stress is worked out: within 0.3 % of its most
NEAR = 0.1  # mm beside a plate's faces that something on the tube still counts as at the plate


def fixings(model: Model) -> Iterator[tuple[str, Weld | Bolting]]:
    """Every weld and bolting with its name in the tables of loads: ``("weld NAME", part)``."""
    for word, parts in (("weld", model.welds), ("bolting", model.boltings)):
        yield from ((f"{word} {name}", part) for name, part in parts.items())


def fixed_plates(system: System) -> list[tuple[str, Weld | Bolting, str]]:
    """Each fixing at each plate whose loads are known: name, part, ``"body/solid"``."""
    if not (system.model.welds or system.model.boltings):
        return []
    cuts = plate_cuts(system)
    return [(name, part, plate) for name, part in fixings(system.model) for plate in part.plates
            if plate in cuts]


def fixing_loads(statics: FreeBodies, share: np.ndarray, plate: str) -> tuple[np.ndarray, ...]:
    """What a plate's rods put on it together, at its root on the body's axis.

    Returns
    -------
    (ndarray (n, 3), ndarray (n, 3))
        Force, N, and moment, N mm, along the plate's u, v and normal; the root lies in the
        plate's middle plane.
    """
    unit, spots = statics.plates[plate], plate_cuts(statics.system)[plate].spots
    force = np.einsum("ne,nemj->nmj", share, unit)
    arms = spots - np.append(root_of(statics.model, plate), 0.0)
    return force.sum(axis=1), np.cross(arms, force).sum(axis=1)


def root_of(model: Model, plate: str) -> np.ndarray:
    """Where the body's axis meets the plate, [u, v] of its outline, mm."""
    body, name = plate.split("/")
    solid = model.bodies[body].solids[name]
    u, v, _ = solid.axes
    away = np.subtract(model.bodies[body].centre, model.spot(body, solid.at))
    return np.array([away @ u, away @ v])


def weld_stress(weld: Weld, loads: tuple[np.ndarray, ...], root: np.ndarray,
                thickness: float) -> np.ndarray:
    """Greatest stress on the throat of a weld, (n,) N/mm².

    Parameters
    ----------
    weld : Weld
    loads : (ndarray (n, 3), ndarray (n, 3))
        As `fixing_loads` gives them.
    root : ndarray (2,)
        Where they are taken, mm.
    thickness : float
        Of the plate, mm: a weld on one face lies half of it beside the plate's middle plane.

    Returns
    -------
    ndarray
        The weld taken as a line: force a mm by F / L, M r / J and M c / I, added as vectors, over
        the throat, whatever its direction (Shigley, Mechanical Engineering Design, ch. 9, welds
        in torsion and bending, from memory).
    """
    length, centre, spread, points = _line(weld, root)
    force, moment = loads
    off = np.append(root - centre, 0.0)
    moment = moment + np.cross(off, force)
    faces = (0.0,) if weld.both else (thickness / 2, -thickness / 2)
    most = [_most(points, (length, spread), force, moment - np.cross([0.0, 0.0, face], force))
            for face in faces]
    return np.max(most, axis=0) / (weld.depth * (2 if weld.both else 1))


def _line(weld, root):
    """Length of a weld, its middle, the integral of r r, and places r where its force may peak."""
    if weld.round is None:
        length, centre, spread = line_spread(weld.lines)
        # along a line the force is linear, so that its size is greatest at an end
        return length, centre, spread, np.array(weld.lines, float).reshape(-1, 2) - centre
    radius, turn = weld.round / 2, np.arange(ROUND) * (2 * math.pi / ROUND)
    spread = np.eye(2) * math.pi * radius**3
    ring = radius * np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    return 2 * math.pi * radius, root, spread, ring


def _most(points, line, force, moment):
    """Greatest force a mm of a line under a force and a moment at its middle, (n,) N/mm."""
    length, spread = line
    around = np.stack([-points[:, 1], points[:, 0]], axis=-1) / np.trace(spread)
    flat = force[:, None, :2] / length + moment[:, None, 2:] * around
    tilt = np.linalg.solve(spread, np.stack([-moment[:, 1], moment[:, 0]]))
    out = force[:, 2:] / length + (points @ tilt).T
    return np.sqrt((flat**2).sum(axis=-1) + out**2).max(axis=1)


def bolt_loads(bolting: Bolting, loads: tuple[np.ndarray, ...], thickness: float,
               tube: TorqueTube | None) -> tuple[np.ndarray, np.ndarray]:
    """Greatest shear in one cut of a bolt and greatest tension of a bolt, (n,) N each.

    On a circle of n bolts, wherever it starts: F / n + M / (n r) of shear, F / n + 2 M / (n r) of
    tension, the joint tilting about its middle.  Across a tube the torque and the push along the
    axis go through two cuts a bolt, M / (n D) and F / (2 n); all else through the fit of hub and
    tube (Shigley, ch. 8, bolts in eccentric shear; pins in torsion; both from memory).
    """
    force, moment = loads
    count = bolting.count
    if bolting.across:
        turn = np.abs(moment[:, 2]) / (count * tube.diameter)
        return np.hypot(turn, force[:, 2] / (2 * count)), np.zeros(len(turn))
    radius = bolting.circle / 2
    tilts = [np.linalg.norm((moment - np.cross([0.0, 0.0, face], force))[:, :2], axis=-1)
             for face in (thickness / 2, -thickness / 2)]
    sheared = np.linalg.norm(force[:, :2], axis=-1) + np.abs(moment[:, 2]) / radius
    pulled = np.abs(force[:, 2]) + 2 * np.max(tilts, axis=0) / radius
    return sheared / count, pulled / count


def bored_tube(tube: TorqueTube, hole: float) -> tuple[float, float]:
    """Area and second moment of a round tube with a hole right through both walls, mm² and mm⁴.

    The hole lies where it takes most, at the fibres that bending stresses most.

    Notes
    -----
    What lies within half a hole of the middle line of a disc of radius R: 2 (h √(R² - h²) + R²
    asin(h / R)) and, about the axis square to it, (h (5 R² - 2 h²) √(R² - h²) + 3 R⁴ asin(h / R))
    / 6 (calculus).

    Examples
    --------
    >>> from linkage.model import TorqueTube
    >>> tube = TorqueTube(diameter=20.0, wall=1.0)
    >>> [round(k / whole, 3) for k, whole in zip(bored_tube(tube, 5.0), (59.69, 2700.98))]
    [0.83, 0.669]
    """
    h, outer, inner = hole / 2, tube.diameter / 2, tube.diameter / 2 - tube.wall

    def strip(r):
        k = min(h, r)
        root, angle = math.sqrt(r * r - k * k), math.asin(k / r) if r > 0 else 0.0
        return (2 * (k * root + r * r * angle),
                (k * (5 * r * r - 2 * k * k) * root + 3 * r**4 * angle) / 6)

    (area, inertia), (inside, within) = strip(outer), strip(inner)
    return (float(tube_area(tube.diameter, tube.wall)) - area + inside,
            float(tube_inertia(tube.diameter, tube.wall)) - inertia + within)


def stress_beside(beam: Beam, place: tuple[float, float], tube: TorqueTube,
                  hole: float | None) -> np.ndarray:
    """Equivalent stress of a tube at a plate that it carries, (n,) N/mm²; NaN where nothing acts.

    Parameters
    ----------
    beam : Beam
    place : (float, float)
        Station of the plate's middle plane and the plate's thickness, mm.
    tube : TorqueTube
    hole : float or None
        Of a bolt across it, mm: the net section then, shear and torsion too in the ratio of the
        areas; how the hole's edge raises the stress is left out.
    """
    station, thickness = place
    area, inertia = float(tube_area(tube.diameter, tube.wall)), float(
        tube_inertia(tube.diameter, tube.wall))
    net, stiff = (area, inertia) if hole is None else bored_tube(tube, hole)
    outer, inner = tube.diameter / 2, tube.diameter / 2 - tube.wall
    straight = beam.axial / net + beam.bending * outer / stiff
    across = area / net * (beam.torsion * outer / (2 * inertia) + beam.shear * 2 / 3 * (
        outer**3 - inner**3) / (inertia * 2 * tube.wall))
    stress = np.where(np.abs(beam.stations - station) <= thickness / 2 + NEAR,
                      np.sqrt(straight**2 + 3 * across**2), -np.inf)
    most = stress.max(axis=1)
    return np.where(np.isneginf(most), np.nan, most)


def fixing_stress(statics: FreeBodies, share: np.ndarray, beams: dict) -> Iterator[tuple]:
    """What every fixing carries in a load case: ``((what, plate), ndarray (n,))``.

    Parameters
    ----------
    statics : FreeBodies
    share : ndarray (n, loads)
    beams : dict
        ``{body: Beam}`` of that case.

    Notes
    -----
    All are stresses, N/mm²: "weld NAME" on its throat; "bolting NAME" in the bolt, in shear and
    tension together as if all were tension of its material; "bolting NAME bears" of its shear
    over bolt x wall or plate; and "... tube" in the tube there.
    """
    model = statics.model
    for name, part, plate in fixed_plates(statics.system):
        body, solid = plate.split("/")[0], model.solids[plate]
        tube, loads = model.bodies[body].tube, fixing_loads(statics, share, plate)
        if name.startswith("weld "):
            yield (name, plate), weld_stress(part, loads, root_of(model, plate), solid.thickness)
        else:
            sheared, pulled = bolt_loads(part, loads, solid.thickness, tube)
            if part.material is not None and model.material(part.material).ultimate is not None:
                yield (name, plate), bolt_stress(part, model, sheared, pulled)
            wall = tube.wall if part.across else solid.thickness
            yield (f"{name} bears", plate), sheared / (part.bolt * wall)
        if body in beams and not (name.startswith("bolting ") and not part.across):
            station = float(np.dot(np.subtract(model.spot(body, solid.at),
                                               model.bodies[body].centre),
                                   model.bodies[body].direction))
            hole = None if name.startswith("weld ") else part.bolt
            stress = stress_beside(beams[body], (station, solid.thickness), tube, hole)
            yield (f"{name} tube", plate), stress


def bolt_stress(bolting: Bolting, model: Model, sheared: np.ndarray,
                pulled: np.ndarray) -> np.ndarray:
    """Shear and tension of a bolt together, as if all were tension, N/mm².

    √((shear / its strength)² + (tension / its strength)²) is 1 where it breaks (bolt texts, from
    memory); shear over the shank, tension over the root.
    """
    material = model.material(bolting.material)
    shear = sheared / (math.pi / 4 * bolting.bolt**2) / material.breaks_in_shear
    pull = pulled / (math.pi / 4 * bolting.least**2) / material.ultimate
    return np.hypot(shear, pull) * material.ultimate
