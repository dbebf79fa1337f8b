"""Where every body is and what every surface does on a grid of stick positions, for a screen.

A body is held on a grid of only those inputs that move it, two at most, so that a run driven by
pitch alone takes one line of numbers and not a rectangle.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..model import AIRFRAME
from ..motion import BEYOND, Motion, System

STEP = 2.0  # degrees (mm) between stick positions; a cubic through them is within 0.001 mm
MOST = 41  # positions along an input


@dataclass(frozen=True)
class Axis:
    """Evenly spaced positions of one input.

    Attributes
    ----------
    name : str
    start, step : float
        Degrees (mm for a slide).
    count : int
    """

    name: str
    start: float
    step: float
    count: int

    @property
    def positions(self) -> np.ndarray:
        """Positions, shape (count,)."""
        return self.start + self.step * np.arange(self.count)


@dataclass(frozen=True, eq=False)
class Grid:
    """Placements, deflections and gearing of a system on its grid.

    Attributes
    ----------
    axes : tuple of Axis
        One per input that drives something, in the file's order.
    origins : dict
        ``{body: (x, y, z)}``: its pivot at neutral, mm; places on the body count from it.
    inputs : dict
        ``{body: tuple of int}``: the axes its array has, at most two.
    placements : dict
        ``{body: float32 ndarray (..., 12)}``: rows of [R | t], mm, so that a place x of the body
        is at R (x - origin) + t; NaN out of reach.
    surface_inputs : dict
        ``{surface: tuple of int}``.
    deflections : dict
        ``{surface: float32 ndarray (...)}``, degrees.
    gearings : dict
        ``{surface: {input: float32 ndarray (...)}}``, degrees per degree.
    """

    axes: tuple[Axis, ...]
    origins: dict
    inputs: dict
    placements: dict
    surface_inputs: dict
    deflections: dict
    gearings: dict


def make_grid(system: System, held: dict | None = None, box: dict | None = None) -> Grid:
    """Work out the grid of a system.

    Parameters
    ----------
    system : System
    held : dict, optional
        ``{input: position}`` at which an input is held for a body that more than two move.
    box : dict, optional
        ``{input: (least, greatest)}``; 10 past the wanted travel unless given.

    Returns
    -------
    Grid
    """
    box = system.travel_box(BEYOND) if box is None else box
    axes = axes_over(box)
    model, moved = system.model, _moved_by(system, axes)
    motions = {key: _swept(system, axes, key, held or {}) for key in dict.fromkeys(moved.values())}
    placements = {body: _placement(motions[key], body).astype(np.float32)
                  for body, key in moved.items()}
    on = {name: moved[surface.body] for name, surface in model.surfaces.items()}
    turns = {s: motions[key].deflection(s).astype(np.float32) for s, key in on.items()}
    rates = {s: _rates_along(motions[key].gearing(s), axes, key) for s, key in on.items()}
    return Grid(axes, {body: part.centre for body, part in model.bodies.items()}, moved,
                placements, on, turns, rates)


def _rates_along(gearing, axes, key) -> dict:
    return {axes[k].name: gearing[axes[k].name].astype(np.float32) for k in key}


def held_inputs(system: System) -> tuple[str, ...]:
    """Inputs that a grid can't follow for some body, because two others move it too."""
    axes = [Axis(name, 0.0, 1.0, 1) for name in system.travel_box()]
    whole = _moved_by(system, axes, most=len(axes))
    return tuple(axis.name for k, axis in enumerate(axes)
                 if any(k in needs[2:] for needs in whole.values()))


def axes_over(box: dict) -> tuple[Axis, ...]:
    """Even positions over a box, ``{input: (least, greatest)}``, an axis per input."""
    return tuple(_axis(name, *ends) for name, ends in box.items())


def _axis(name, low, high) -> Axis:
    count = min(MOST, math.ceil((high - low) / STEP) + 1)
    return Axis(name, low, (high - low) / (count - 1), count)


def _moved_by(system, axes, most=2) -> dict:
    needs, model = system.plan.depends_on(), system.model
    moved = {}
    for body in model.bodies:
        chain = (body, *(b for b in model.carriers(body) if b != AIRFRAME))
        whole = frozenset().union(*(needs[b] for b in chain))
        moved[body] = tuple(k for k, axis in enumerate(axes) if axis.name in whole)[:most]
    return moved


def _swept(system, axes, key, held) -> Motion:
    still = {axis.name: held.get(axis.name, 0.0) for axis in axes}
    lines = {axes[k].name: axes[k].positions.reshape([-1 if n == i else 1
                                                      for n in range(len(key))])
             for i, k in enumerate(key)}
    return system.sweep(**(still | lines))


def _placement(motion: Motion, body: str) -> np.ndarray:
    """Rows of [R | t] of a body, shape (..., 12), NaN where what carries it is out of reach."""
    posture, shape = motion.posture, motion.shape
    turned, columns = posture.of_vectors(), []
    route = motion.system.plan.route(body, AIRFRAME)
    with np.errstate(invalid="ignore"):
        for axis in np.eye(3):
            vector = tuple(axis)
            for joint, outward in route:
                vector = turned.crossed(vector, joint, outward)
            columns.append(np.stack([np.broadcast_to(k, shape) for k in vector], axis=-1))
        columns.append(motion.point(f"{body}/pivot"))
    whole = np.stack(columns, axis=-1)
    lost = ~np.isfinite(whole).all(axis=(-2, -1))
    for joint, _ in route:
        if joint in posture.states:
            lost = lost | ~np.isfinite(np.broadcast_to(posture.states[joint].value, shape))
    whole[lost] = np.nan
    return whole.reshape(*shape, 12)
