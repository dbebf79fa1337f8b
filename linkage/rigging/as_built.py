"""Rod lengths and instrument zeros that best explain what was measured on the aircraft."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from .. import gearing
from ..errors import LinkageError, counted, nearest
from ..model import Model
from ..model.save import save_model
from ..motion import System
from ..units import CAUTION, in_house_units
from .lengths import (
    deflection_per_length,
    length_rates,
    model_with_lengths,
    rods_in_play,
    with_lengths,
)
from .readings import Readings

ERROR = 0.1  # degrees a digital level can be trusted to; common practice, no source
OFF = 5.0  # times that beyond which a reading contradicts the others
MIXED = 0.01  # share of an unknown in what is not determined, above which it is said so
SURE = 2.0  # standard errors beyond which a rod is known to be off
SLIGHT = 0.05  # mm that no rod is turned for
LOST = 1e3  # degrees: stands for a posture that does not close


@dataclass(frozen=True)
class AsBuilt:
    """What best explains some readings.

    Attributes
    ----------
    table : DataFrame
        A row per unknown: unknown, kind ("stick zero", "surface zero", "rod"), value (to add to
        what the instrument on the stick reads; what one on a surface reads too much; what a rod is
        longer than the file says), error (standard error, from the scatter of the readings or the
        trust in them, whichever is greater), unit of both ("°" or "mm") and determined.
    residuals : ndarray, shape (n,)
        Read less explained, degrees.
    together : tuple of tuple of str
        Unknowns of which only some sum is determined: a change of one hides in the others.
    unseen : tuple of str
        Rods that no reading depends on.
    changes : dict
        ``{rod: mm}``: determined as far as the readings go, else as little as will do.
    """

    table: object
    residuals: np.ndarray
    together: tuple[tuple[str, ...], ...]
    unseen: tuple[str, ...]
    changes: dict

    @property
    def rods_off(self) -> tuple[str, ...]:
        """Rods that the readings say are not as long as the file says, beyond what they err by."""
        return tuple(row["unknown"] for row in self.table.to_dict("records")
                     if row["kind"] == "rod" and row["determined"]
                     and abs(row["value"]) > max(SURE * row["error"], SLIGHT))


def fit_as_built(system: System, readings: Readings, *, zeroed: Iterable[str] = (),
                 rods: Iterable[str] | None = None, error: float = ERROR) -> AsBuilt:
    """Instrument zeros and rod lengths that best explain some readings.

    Least squares with exact derivatives (SciPy's trust-region reflective), in the directions of
    the unknowns that the readings determine to better than a degree or one turn of a rod end; the
    others stay as the file has them and are named.

    Parameters
    ----------
    system : System
    readings : Readings
    zeroed : collection of str
        Inputs and surfaces whose instrument is known to read 0 at neutral (set on a rig pin or a
        template), so that its zero is no unknown.
    rods : collection of str, optional
        Rods whose length is in doubt; the others are as the file says.  All unless given.
    error : float
        Degrees that a reading can be trusted to.

    Returns
    -------
    AsBuilt

    Raises
    ------
    LinkageError
        When there are too few readings, or one contradicts the others.
    """
    if not error > 0:
        raise LinkageError(f"needs an error of a reading above 0°, got {error:g}")
    known = {*readings.input, *readings.surface}
    for name in zeroed:
        if name not in known:
            raise LinkageError(f'nothing was read on "{name}", so its zero can\'t be set; '
                               f"{nearest(name, known)}")
    _refuse_out_of_reach(system, readings)
    fit = _Fit(system, readings, (frozenset(zeroed), _in_doubt(system, rods)), error)
    ways = fit.ways(np.zeros(len(fit.names)))
    if len(readings.angle) <= ways.shape[1]:
        raise LinkageError(f"{counted(len(readings.angle), 'reading')} for "
                           f"{counted(ways.shape[1], 'unknown')}: "
                           f"nothing is left to check the fit with; measure at least "
                           f"{ways.shape[1] + 1} positions", readings=len(readings.angle))
    best = fit.best(ways)
    _refuse_contradictions(readings, fit.misfit(best), error)
    return _explained(fit, best)


def as_built_model(system: System, fit: AsBuilt) -> Model:
    """The model with the rods as long as a fit found them.

    Parameters
    ----------
    system : System
    fit : AsBuilt

    Returns
    -------
    Model
        Clearance, stops and travels of it are those of the aircraft as it is; the thread engaged
        stays as the file has it.
    """
    return model_with_lengths(system.model, fit.changes)


def write_as_built(system: System, fit: AsBuilt, sources: Sequence[Path | str],
                   path: Path | str) -> None:
    """Write the aircraft as built: the model file with the lengths of the rods changed in it.

    Parameters
    ----------
    system : System
    fit : AsBuilt
    sources : (path, path)
        The model file and the table of readings.
    path : path
        A file of its own, whole or not at all.

    Raises
    ------
    FileError
        When there is a file already, or the place can't be written.
    """
    model_file, readings = sources
    note = [f"{Path(model_file).name} as built, by the readings in {Path(readings).name}.",
            *CAUTION.split("\n"), *(f"Only together determined by the readings: "
                                    f"{', '.join(names)}." for names in fit.together)]
    save_model(model_file, as_built_model(system, fit), path, note=note)


def _refuse_out_of_reach(system, readings):
    for k, (name, at) in enumerate(zip(readings.input, readings.stick, strict=True)):
        if not system.sweep(**{name: at}).reachable:
            raise LinkageError(f"{readings.names[k]}: the rods can't reach at {name} {at:g}; "
                               f"check its unit and sign", reading=k)


def _in_doubt(system, rods):
    whole = rods_in_play(system)
    for rod in rods or ():
        if rod not in whole:
            raise LinkageError(f'no rod "{rod}" that moves a surface; {nearest(rod, whole)}')
    return tuple(rod for rod in whole if rods is None or rod in rods)


class _Fit:
    """Readings as a function of the unknowns, with its derivative; unknowns are scaled to 1."""

    def __init__(self, system, readings, doubts, error):
        zeroed, rods = doubts
        self.system, self.readings, self.error = system, readings, error
        self.sticks = [n for n in dict.fromkeys(readings.input) if n not in zeroed]
        pairs = zip(readings.surface, readings.level, strict=True)
        self.zeros = [pair for pair in dict.fromkeys(pairs) if pair[0] not in zeroed]
        first = len(self.sticks) + len(self.zeros)
        self.rods, self.scale, self.names = rods, np.ones(first + len(rods)), []
        slope = self._slope(np.zeros(first + len(rods)))
        moving = np.abs(slope[:, first:]).max(axis=0, initial=0.0) > 1e-9
        self.unseen = tuple(itertools.compress(rods, ~moving))
        self.rods = tuple(itertools.compress(rods, moving))
        self.names = [*(f"{n} zero" for n in self.sticks),
                      *(f"{s} {'level ' if lv else ''}zero" for s, lv in self.zeros), *self.rods]
        self.scale = np.array([1.0] * first + [_turn(system.model, rod) for rod in self.rods])

    def ways(self, p):
        """Directions of the scaled unknowns that the readings determine, shape (unknowns, m)."""
        _, size, ways = np.linalg.svd(self._slope(p) / self.error)
        return ways[:len(size)][size > 1.0].T

    def best(self, ways):
        """The scaled unknowns that explain the readings best, in the directions told."""
        from scipy.optimize import least_squares

        if not ways.shape[1]:
            raise LinkageError(f"{counted(len(self.readings.angle), 'reading')} can't "
                               f"settle any of {counted(len(ways), 'unknown')}; move the "
                               f"stick through its travel and read more positions",
                               readings=len(self.readings.angle))
        done = least_squares(lambda y: self.misfit(ways @ y) / self.error, np.zeros(ways.shape[1]),
                             lambda y: -self._slope(ways @ y) @ ways / self.error,
                             xtol=1e-13, ftol=1e-13, gtol=1e-13)
        return ways @ done.x

    def misfit(self, p):
        """Read less explained, degrees."""
        motion, zero = self._motion(p), self._zero(p)
        explained = np.empty(len(zero))
        for i, surface, level in self._rows():
            body = self.system.model.surfaces[surface].body
            explained[i] = gearing.level_reading(motion, body)[i] if level else \
                motion.deflection(surface)[i]
        return np.nan_to_num(self.readings.angle - explained - zero, nan=LOST)

    def _motion(self, p):
        sticks = dict(zip(self.sticks, p, strict=False))
        input_of, x = np.array(self.readings.input), self.readings.stick
        inputs = {name: np.where(input_of == name, x + sticks.get(name, 0.0), 0.0)
                  for name in dict.fromkeys(self.readings.input)}
        lengths = (p * self.scale)[len(p) - len(self.rods):]
        return self.system.sweep_with(
            with_lengths(self.system, dict(zip(self.rods, map(float, lengths), strict=True))),
            **inputs)

    def _zero(self, p):
        first = len(self.sticks)
        zeros = dict(zip(self.zeros, p[first:], strict=False))
        return np.array([zeros.get(pair, 0.0) for pair in
                         zip(self.readings.surface, self.readings.level, strict=True)])

    def _rows(self):
        pairs = list(zip(self.readings.surface, map(bool, self.readings.level), strict=True))
        for surface, level in dict.fromkeys(pairs):
            yield np.array([pair == (surface, level) for pair in pairs]), surface, level

    def _slope(self, p):
        """Rate of what is explained per unknown, degrees per scaled unit: (readings, unknowns)."""
        motion, count = self._motion(p), len(self.readings.angle)
        slope = np.zeros((count, len(p)))
        rates = length_rates(motion, self.rods) if self.rods else None
        first, input_of = len(self.sticks), np.array(self.readings.input)
        for i, surface, level in self._rows():
            per_input, per_rod = _level_rates(motion, rates, surface) if level else \
                _surface_rates(motion, rates, surface)
            for k, name in enumerate(self.sticks):
                slope[i, k] = np.where(input_of == name, per_input[name], 0.0)[i]
            for k, pair in enumerate(self.zeros):
                slope[i, first + k] = float(pair == (surface, level))
            if self.rods:
                slope[i, first + len(self.zeros):] = per_rod[:, i].T
        return np.nan_to_num(slope) * self.scale


def _surface_rates(motion, rates, surface):
    return motion.gearing(surface), \
        deflection_per_length(motion, rates, surface) if rates else None


def _level_rates(motion, rates, surface):
    """Rates of what a level on a surface reads: d atan2(z, h) = (h dz - z dh) / (h² + z²)."""
    system = motion.system
    body = system.model.surfaces[surface].body
    ends = [f"{body}/{point}" for point in system.model.bodies[body].level]
    line = motion.point(ends[1]) - motion.point(ends[0])
    h, z = np.hypot(line[..., 0], line[..., 1]), line[..., 2]

    def per(posture):
        places = (posture.place(end) for end in ends)
        dx, dy, dz = (np.asarray(b) - a for a, b in zip(*places, strict=True))
        dh = (line[..., 0] * dx + line[..., 1] * dy) / h
        return np.degrees((h * dz - z * dh) / (h**2 + z**2))

    moved = per(motion.input_rates)
    per_input = {name: moved[k] * control.scale
                 for k, (name, control) in enumerate(system.inputs.items())}
    return per_input, per(rates) if rates else None


def _turn(model, rod) -> float:
    """What an unknown rod length is counted in: a turn of its rod end, or 1 mm."""
    thread = model.fitting(rod, 0)[2]
    return thread.pitch if thread else 1.0


def _refuse_contradictions(readings, misfit, error):
    worst = int(np.argmax(np.abs(misfit)))
    if abs(misfit[worst]) > OFF * error:
        raise LinkageError(
            f"{readings.names[worst]} ({readings.input[worst]} {readings.stick[worst]:.1f}, "
            f"{readings.surface[worst]} {readings.angle[worst]:.1f}°) is {misfit[worst]:+.2f}° off "
            f"the best that zeros and rod lengths explain together with the others, and "
            f"{OFF * error:g}° would do; measure it again, or trust the readings less",
            reading=worst, off=float(misfit[worst]))


def _explained(fit, best) -> AsBuilt:
    """What the best values of a fit's unknowns say, and how far each is determined."""
    ways, misfit = fit.ways(best), fit.misfit(best)
    slope = fit._slope(best) @ ways / fit.error
    free = len(misfit) - ways.shape[1]
    scatter = float(np.sum((misfit / fit.error)**2)) / free if free > 0 else 1.0
    cover = ways @ np.linalg.inv(slope.T @ slope) @ ways.T * max(1.0, scatter)
    lost = np.eye(len(best)) - ways @ ways.T
    value, error = best * fit.scale, np.sqrt(np.diag(cover)) * fit.scale
    table = _table(fit, value, error, np.diag(lost) < MIXED)
    changes = dict(zip(fit.rods, map(float, value[len(value) - len(fit.rods):]), strict=True))
    return AsBuilt(table, misfit, _mixed(fit.names, lost), fit.unseen, changes)


@in_house_units(by_row="value error")
def _table(fit, value, error, determined):
    import pandas as pd

    kinds = [("stick zero", fit.system.inputs[name].unit) for name in fit.sticks]
    kinds += [("surface zero", "°")] * len(fit.zeros) + [("rod", "mm")] * len(fit.rods)
    return pd.DataFrame({"unknown": fit.names, "kind": [kind for kind, _ in kinds],
                         "value": value + 0.0, "error": np.where(determined, error, np.nan),
                         "unit": [unit for _, unit in kinds], "determined": determined})


def _mixed(names, lost):
    """Unknowns that hide in each other: joined where the projection on what is lost joins them."""
    from scipy.sparse.csgraph import connected_components

    inside = np.flatnonzero(np.diag(lost) >= MIXED)
    count, label = connected_components(np.abs(lost[np.ix_(inside, inside)]) > MIXED)
    return tuple(tuple(names[i] for i in inside[label == k]) for k in range(count))
