"""Free play of every joint, felt at each surface with the stick held and at the grip without."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..gearing import driving_input
from ..geometry.vectors import any_square_to
from ..motion import Rates, Seeds, System, body_of, hinge_sign
from ..units import in_house_units

if TYPE_CHECKING:
    import pandas as pd

NOTHING = 1e-9  # degrees or mm: play that moves less has no part in it


@dataclass(frozen=True)
class Joint:
    """A joint with play.

    Attributes
    ----------
    part : str
        Body or rod.
    what : str
        "pivot", or the rod end's address.
    play : float
        Total movement from side to side, mm.
    ways : tuple of Seeds
        Movements of 1 mm it allows: two square to a pivot's axis, one along a rod.
    """

    part: str
    what: str
    play: float
    ways: tuple


def joints_with_play(system: System) -> list[Joint]:
    """Every pivot and rod end that the file gives play.

    Parameters
    ----------
    system : System

    Returns
    -------
    list of Joint
    """
    model, joints = system.model, []
    for name, body in model.bodies.items():
        play = body.play if body.play is not None else model.play.pivot
        if play > 0:
            joints.append(Joint(name, "pivot", play, tuple(
                Seeds(places=_shifted(system, name, way)) for way in _square_to(body.direction))))
    for name, rod in model.rods.items():
        play = rod.play if rod.play is not None else model.play.rod_end
        if play > 0 and not rod.redundant:
            joints += [Joint(name, end, play, (Seeds(lengths={name: 1.0}),)) for end in rod.ends]
    return joints


def _square_to(direction) -> tuple:
    u = np.array(direction)
    across = any_square_to(u[:, None])[:, 0]
    across = across / np.linalg.norm(across)
    return across, np.cross(u, across)


def _shifted(system, body, way) -> dict:
    """Rates of places when a body, and all that it carries, moves in its pivot."""
    model = system.model
    moved = {name for name in model.bodies if body == name or body in model.carriers(name)}
    return {address: tuple(float(k) for k in way) for address in model.points
            if body_of(address) in moved}


@in_house_units(length="play grip_moves", angle="surface_moves")
def free_play(system: System, at: dict | None = None) -> pd.DataFrame:
    """Free play of every joint as it shows at each surface and at the grip.

    Parameters
    ----------
    system : System
    at : dict, optional
        ``{name: {input: degrees (mm)}}``: stick positions; neutral unless given.

    Returns
    -------
    DataFrame
        surface, at, part, what, play (mm, total at the joint), surface_moves (degrees, total,
        the grip held; the input's angle where no grip is named), input, grip_moves (mm, total
        along the way the input moves the grip, the surface held).  All to first order, and
        nothing but the joint named has play.
    """
    import pandas as pd

    joints = joints_with_play(system)
    drivers = {surface: driving_input(system, surface) for surface in system.model.surfaces}
    rows = []
    for name, inputs in (at or {"neutral": {}}).items():
        held = _Held(system, inputs, drivers)
        for joint in joints:
            ways = [held.moved(seeds) for seeds in joint.ways]
            for surface, driver in drivers.items():
                turn = joint.play * float(np.hypot.reduce([way[0][surface] for way in ways]))
                grip = joint.play * float(np.hypot.reduce([way[1][surface] for way in ways]))
                if turn > NOTHING:
                    rows.append([surface, name, joint.part, joint.what, joint.play, turn, driver,
                                 grip])
    return pd.DataFrame(rows, columns=["surface", "at", "part", "what", "play", "surface_moves",
                                       "input", "grip_moves"])


@in_house_units(angle="worst rss", length="grip_worst grip_rss")
def play_bands(shares: pd.DataFrame) -> pd.DataFrame:
    """Worst case and root sum square of free play, per surface and stick position.

    Parameters
    ----------
    shares : DataFrame
        As `free_play` gives it.

    Returns
    -------
    DataFrame
        surface, at, worst, rss (degrees, total), input, grip_worst, grip_rss (mm, total).
    """
    import pandas as pd

    rows = []
    for (surface, name), group in shares.groupby(["surface", "at"], sort=False):
        turn, grip = group["surface_moves"].to_numpy(), group["grip_moves"].to_numpy()
        rows.append([surface, name, turn.sum(), float(np.sqrt(turn @ turn)),
                     group["input"].iloc[0], grip.sum(), float(np.sqrt(grip @ grip))])
    return pd.DataFrame(rows, columns=["surface", "at", "worst", "rss", "input", "grip_worst",
                                       "grip_rss"])


class _Held:
    """A stick position, and how it answers to a movement in a joint."""

    def __init__(self, system: System, inputs: dict, drivers: dict):
        self.system, self.drivers = system, drivers
        self.motion = system.sweep(**inputs)
        self.names = list(system.inputs)
        self.grips = {i: control.grip for i, control in enumerate(system.inputs.values())
                      if control.grip is not None}
        pulls = self.motion.input_rates
        self.pulls = {i: np.array([np.broadcast_to(k, (len(self.names),))
                                   for k in pulls.place(grip)]) for i, grip in self.grips.items()}
        self.ways = {i: pull[:, i] / np.linalg.norm(pull[:, i]) for i, pull in self.pulls.items()}
        self.gearing = {surface: np.array([
            float(np.broadcast_to(pulls.joints.get(part.body, 0.0), (len(self.names),))[i])
            for i in range(len(self.names))]) for surface, part in system.model.surfaces.items()}

    def moved(self, seeds: Seeds):
        """Turn of each surface with the grip held, and movement of the grip with it held.

        Per mm of the movement: ``({surface: degrees}, {surface: mm})``.
        """
        rates = Rates(self.motion.posture, seeds)
        grips = {i: np.array([float(k) for k in rates.place(grip)])
                 for i, grip in self.grips.items()}
        slack = self._given(grips)
        turns, ways = {}, {}
        for surface, part in self.system.model.surfaces.items():
            loose = float(rates.joints.get(part.body, 0.0))
            gearing = self.gearing[surface]
            sign = hinge_sign(self.system.model.bodies[part.body])
            turns[surface] = np.degrees(sign * (loose + gearing @ slack))
            ways[surface] = self._grip_way(self.drivers[surface], loose, gearing, grips)
        return turns, ways

    def _given(self, grips):
        """Way each input gives so that no grip moves along the way its input moves it."""
        count = len(self.names)
        matrix, right = np.eye(count), np.zeros(count)
        for i, way in self.ways.items():
            matrix[i], right[i] = way @ self.pulls[i], -way @ grips[i]
        return np.linalg.solve(matrix, right)

    def _grip_way(self, driver, loose, gearing, grips) -> float:
        """Movement of a grip, mm, when its input makes up for the play with the surface held."""
        i = self.names.index(driver) if driver in self.names else None
        if i not in self.grips or gearing[i] == 0:
            return np.nan
        way = self.ways[i]
        return float(way @ grips[i] - way @ self.pulls[i][:, i] * loose / gearing[i])
