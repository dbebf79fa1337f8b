"""Motion with other rod lengths, and how surfaces answer to them: exact derivatives."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..model import Model
from ..motion import Dimensions, Motion, Rates, Seeds, System, hinge_sign


def with_lengths(system: System, changes: dict) -> Dimensions:
    """Dimensions of a system with some rods longer.

    Parameters
    ----------
    system : System
    changes : dict
        ``{rod: mm}``, minus for shorter; arrays broadcast with the inputs.

    Returns
    -------
    Dimensions
    """
    drawn = system.dimensions
    return replace(drawn, lengths=drawn.lengths | {
        rod: drawn.lengths[rod] + change for rod, change in changes.items()})


def model_with_lengths(model: Model, changes: dict) -> Model:
    """A model with some rods longer, ``{rod: mm}``, minus for shorter."""
    return replace(model, rods=model.rods | {
        rod: replace(model.rods[rod], length=model.rod_length(rod) + change)
        for rod, change in changes.items() if change})


def length_rates(motion: Motion, rods: Sequence[str]) -> Rates:
    """Rates of every joint and point per mm of each rod's length, in the rods' order.

    Parameters
    ----------
    motion : Motion
    rods : sequence of str

    Returns
    -------
    Rates
        Along a first axis of the rods.
    """
    unit = np.eye(len(rods)).reshape(len(rods), len(rods), *(1,) * len(motion.shape))
    with np.errstate(invalid="ignore", divide="ignore"):
        return Rates(motion.posture, Seeds(lengths=dict(zip(rods, unit, strict=True))))


def deflection_per_length(motion: Motion, rates: Rates, surface: str) -> np.ndarray:
    """Change of a surface's deflection, degrees per mm of each rod of `length_rates`.

    Parameters
    ----------
    motion : Motion
    rates : Rates
    surface : str

    Returns
    -------
    ndarray, shape (rods, ...)
    """
    body = motion.system.model.surfaces[surface].body
    turn = np.degrees(hinge_sign(motion.system.model.bodies[body]) *
                      np.asarray(rates.joints.get(body, 0.0)))
    rods = next(iter(rates.seeds.lengths.values())).shape[0]
    return np.array(np.broadcast_to(turn, (rods, *motion.shape)))


def rods_in_play(system: System) -> tuple[str, ...]:
    """Rods whose length moves something: all but redundant ones and those that drive nothing."""
    idle = {*system.plan.redundant, *system.plan.open_rods}
    return tuple(rod for rod in system.model.rods if rod not in idle)
