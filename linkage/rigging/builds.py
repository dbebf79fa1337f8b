"""Monte Carlo: many builds with every dimension off by chance, each at many stick positions."""

from __future__ import annotations

import math
import os
from collections.abc import Iterable
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..errors import LinkageError
from ..model import STATIONS
from ..motion import Dimensions, System
from ..stops import dimension_tolerances, judged_box
from .tolerances import chosen_surfaces

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

A_BLOCK = 250  # builds drawn from one seed, so that no result depends on who works them out
IN_CACHE = 24_000  # postures worked at once: their arrays stay in the cache
SIGMAS = 3.0  # standard deviations in a tolerance, where the spread is normal
FEW = 1000  # builds from which it is seen whether most can be put together
SPREADS = ("normal", "uniform")


@dataclass(frozen=True)
class Chance:
    """How builds are drawn.

    Attributes
    ----------
    builds : int
    seed : int
    spread : {"normal", "uniform"}
        Normal: a tolerance is three standard deviations, and 1 in 370 lies outside it.  Uniform:
        every error within the tolerance is as likely as any other.
    rigged : bool
        Whether the rods of each build were then set so that every part stands at neutral as
        drawn, to within each rod's tolerance.
    """

    builds: int = 10_000
    seed: int = 0
    spread: str = "normal"
    rigged: bool = False

    def __post_init__(self):
        if self.spread not in SPREADS:
            raise LinkageError(f'spread is "{self.spread}"; give one of {", ".join(SPREADS)}')
        if not self.builds >= 1:
            raise LinkageError(f"builds is {self.builds}; give 1 or more")


@dataclass(frozen=True, eq=False)
class Builds:
    """Deflections of many builds.

    Attributes
    ----------
    system : System
    deflections : dict
        ``{surface: ndarray (builds, ...)}``, degrees; NaN where a build's rods can't reach.
    drawn : dict
        ``{surface: ndarray (...)}``, degrees, of the system as drawn.
    chance : Chance
    """

    system: System
    deflections: dict
    drawn: dict
    chance: Chance

    @property
    def count(self) -> int:
        """How many builds."""
        return len(next(iter(self.deflections.values())))

    @property
    def lost(self) -> int:
        """How many builds can't be assembled at one of the stick positions or more."""
        bad = np.zeros(self.count, bool)
        for value in self.deflections.values():
            bad |= np.isnan(value).reshape(self.count, -1).any(axis=1)
        return int(bad.sum())

    @property
    def unbuildable(self) -> bool:
        """Whether most of them can't be assembled somewhere."""
        return bool(self.deflections) and 2 * self.lost > self.count

    def errors(self, surface: str) -> np.ndarray:
        """Deflection less that as drawn, degrees, shape (builds, ...)."""
        return self.deflections[surface] - self.drawn[surface]

    def band(self, surface: str, share: float = 0.9973) -> tuple[np.ndarray, np.ndarray]:
        """Least and greatest error of the middle share of the builds that assemble.

        Parameters
        ----------
        surface : str
        share : float
            0.9973 is what lies within three standard deviations of a normal spread.

        Returns
        -------
        (ndarray (...), ndarray (...))
            Degrees; NaN where none assembles.
        """
        errors = self.errors(surface).reshape(self.count, -1)
        tail = (1 - share) / 2
        good = [column[~np.isnan(column)] for column in errors.T]
        ends = np.array([np.quantile(k, [tail, 1 - tail]) if k.size else [np.nan, np.nan]
                         for k in good]).reshape(-1, 2)
        shape = self.drawn[surface].shape
        return ends[:, 0].reshape(shape), ends[:, 1].reshape(shape)


def monte_carlo(system: System, chance: Chance | None = None, *,
                surfaces: Iterable[str] | None = None, executor: Executor | None = None,
                **inputs: ArrayLike) -> Builds:
    """Deflections of many builds, each dimension off by chance within its tolerance.

    Parameters
    ----------
    system : System
    chance : Chance, optional
        10,000 builds of normal spread unless given.
    surfaces : iterable of str, optional
        All unless given; only what they need is solved.
    executor : concurrent.futures.Executor, optional
        Who works the blocks of builds out, such as ``client.get_executor()`` of a Dask cluster;
        the threads of this machine unless given.  The result is the same whoever does.
    **inputs : array_like
        Stick positions held, degrees (mm), broadcast together; inputs left out are 0.

    Returns
    -------
    Builds

    Raises
    ------
    LinkageError
        When a surface or an input is unknown.
    """
    chance = chance or Chance()
    names = chosen_surfaces(system, surfaces)
    pruned = system.only([system.model.surfaces[name].body for name in names])
    drawn = pruned.sweep(**inputs)
    starts = range(0, int(chance.builds), A_BLOCK)
    seeds = np.random.SeedSequence(chance.seed).spawn(len(starts))
    tasks = [_Task(pruned, names, inputs, chance, min(A_BLOCK, chance.builds - start), seed)
             for start, seed in zip(starts, seeds, strict=True)]
    if executor is None:
        with ThreadPoolExecutor(os.cpu_count()) as threads:
            blocks = _all_of(threads, tasks)
    else:
        blocks = _all_of(executor, tasks)
    return Builds(system, {name: np.concatenate([block[i] for block in blocks])
                           for i, name in enumerate(names)},
                  {name: drawn.deflection(name) for name in names}, chance)


def _all_of(executor, tasks):
    return [future.result() for future in [executor.submit(_work, task) for task in tasks]]


@dataclass(frozen=True, eq=False)
class _Task:
    """A block of builds, complete, so that it can be sent to another process."""

    system: System
    surfaces: tuple[str, ...]
    inputs: dict
    chance: Chance
    count: int
    seed: np.random.SeedSequence


def _work(task: _Task) -> list:
    """Deflections of a block, ``[(count, ...)]`` by surface."""
    errors = _errors(task)
    inputs = {name: np.asarray(value, dtype=float) for name, value in task.inputs.items()}
    shape = np.broadcast_shapes(*(np.shape(value) for value in inputs.values()))
    rows = max(1, IN_CACHE // max(1, math.prod(shape)))
    deflections = [np.empty((task.count, *shape)) for _ in task.surfaces]
    for start in range(0, task.count, rows):
        part = slice(start, start + rows)
        varied = {name: value[part].reshape(-1, *(1,) * len(shape))
                  for name, value in errors.items()}
        motion = task.system.sweep_with(
            built_dimensions(task.system, varied, rigged=task.chance.rigged), **inputs)
        for whole, surface in zip(deflections, task.surfaces, strict=True):
            whole[part] = motion.deflection(surface)
    return deflections


def _errors(task) -> dict:
    """Error of every dimension with a tolerance, mm: ``{(name, what): (count,)}``.

    Every dimension of the model is drawn, so that no surface's builds depend on which others
    were asked for.
    """
    known = dimension_tolerances(task.system)
    size = np.array(list(known.values()))[:, None]
    generator = np.random.default_rng(task.seed)
    shape = (len(known), task.count)
    chance = generator.normal(size=shape) / SIGMAS if task.chance.spread == "normal" else \
        generator.uniform(-1, 1, size=shape)
    return {name: value for name, value, tolerance in
            zip(known, chance * size, size[:, 0], strict=True) if tolerance > 0}


def built_dimensions(system: System, errors: dict, *, rigged: bool) -> Dimensions:
    """Dimensions off by given errors, ``{("part/point", "FS"): mm}``, rods set to them if rigged.

    Parameters
    ----------
    system : System
    errors : dict
        Also ``(rod, "length")``; arrays broadcast with the inputs.
    rigged : bool

    Returns
    -------
    Dimensions
    """
    drawn = system.dimensions
    places = {name: tuple(k + errors[name, axis] if (name, axis) in errors else k
                          for k, axis in zip(place, STATIONS, strict=True))
              for name, place in drawn.places.items()}
    lengths = {}
    for rod, length in drawn.lengths.items():
        if rigged:
            ends = system.model.rods[rod].ends
            length = length + _apart(places, ends) - _apart(drawn.places, ends)
        lengths[rod] = length + errors.get((rod, "length"), 0.0)
    return Dimensions(places, drawn.axes, lengths)


def _apart(places, ends):
    return np.sqrt(sum((a - b) ** 2 for a, b in zip(*(places[end] for end in ends), strict=True)))


def trial_builds(system: System) -> Builds:
    """Some builds as their parts come out, at neutral and at both ends of every input.

    Those are the ends of what the stops leave.

    Parameters
    ----------
    system : System

    Returns
    -------
    Builds
    """
    ends = [(name, end) for name, travel in judged_box(system).items() for end in (0.0, *travel)]
    held = {name: np.array([at if name == moved else 0.0 for moved, at in ends])
            for name in system.travel_box()}
    return monte_carlo(system, Chance(builds=FEW), **held)
