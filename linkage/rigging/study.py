"""Tolerances, free play, wires and grips of a system, worked out once for sheet and tables."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..gearing import driving_input
from ..motion import System
from .builds import Builds, Chance, monte_carlo
from .grips import grip_table, hand_clearance
from .play import free_play, play_bands
from .tolerances import error_bands, sensitivities, spots
from .wires import chafe, wire_table


@dataclass(frozen=True, eq=False)
class Study:
    """Everything of one system; see the functions of the same words for the columns.

    Attributes
    ----------
    system : System
    at : dict
        ``{"neutral" or stop: {input: degrees (mm)}}``, in the order of `builds`.
    drivers : dict
        ``{surface: input that moves it most, or None}``.
    drilled, rigged : DataFrame
        Sensitivities of a build as its parts come out, and once its rods were set.
    builds : Builds
        Rigged builds with the stick held at each of `at`.
    play : DataFrame
    wires : DataFrame
    chafing : dict
        ``{wire: DataFrame}``.
    grips, hands : DataFrame
    """

    system: System
    at: dict
    drivers: dict
    drilled: object
    rigged: object
    builds: Builds
    play: object
    wires: object
    chafing: dict
    grips: object
    hands: object

    def bands(self):
        """Error bands side by side: surface, at, drawn, worst, rss, rigged_worst, rigged_rss.

        Also low and high, between which lie 99.73 % of the builds with the stick held.
        Degrees.
        """
        table = error_bands(self.drilled).merge(
            error_bands(self.rigged), on=["surface", "at"], suffixes=("", "_rigged"))
        table = table.rename(columns={"worst_rigged": "rigged_worst", "rss_rigged": "rigged_rss"})
        where = {name: i for i, name in enumerate(self.at)}
        ends = {surface: (self.builds.drawn[surface], *self.builds.band(surface))
                for surface in self.builds.drawn}
        for i, word in enumerate(("drawn", "low", "high")):
            table[word] = [float(ends[surface][i][where[at]]) for surface, at in
                           zip(table["surface"], table["at"], strict=True)]
        return table

    def tells(self, surface: str, at: str) -> bool:
        """Whether a spot is neutral or moves a surface by the input that drives it."""
        return not self.at[at] or self.drivers[surface] in self.at[at]

    def play_bands(self):
        """Worst case and root sum square of free play."""
        return play_bands(self.play)

    @property
    def missed(self) -> int:
        """How many of what builds, wires, grips and hands have to keep is missed."""
        tables = [self.wires, self.grips, self.hands, *self.chafing.values()]
        return self.unbuildable + sum(int((~table["ok"].astype(bool)).sum()) for table in tables)

    @property
    def unbuildable(self) -> bool:
        """Whether most builds within the tolerances can't be put together."""
        return 2 * self.builds.lost > self.builds.count


def study(system: System, chance: Chance | None = None, executor=None) -> Study:
    """Tolerances, free play, wires and grips of a system.

    Parameters
    ----------
    system : System
    chance : Chance, optional
        How builds are drawn; 10,000 rigged ones unless given.
    executor : concurrent.futures.Executor, optional
        As `monte_carlo` takes it.

    Returns
    -------
    Study
    """
    places = spots(system)
    at = {spot.name: spot.inputs for spot in places}
    held = {name: np.array([inputs.get(name, 0.0) for inputs in at.values()])
            for name in system.inputs}
    drivers = {surface: driving_input(system, surface) for surface in system.model.surfaces}
    return Study(system, at, drivers, sensitivities(system, places),
                 sensitivities(system, places, rigged=True),
                 monte_carlo(system, chance or Chance(rigged=True), executor=executor, **held),
                 free_play(system, at), wire_table(system),
                 {name: chafe(system, name) for name in system.model.wires},
                 grip_table(system), hand_clearance(system))
