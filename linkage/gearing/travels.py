"""What each surface does for each stick position, against what it is required to do."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..errors import LinkageError
from ..model import is_rudder
from ..motion import BEYOND, System
from ..search import crossings
from ..units import in_house_units

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import ArrayLike

    from ..motion.moved import Motion

SAMPLES = 241
SIGNS = {"up": -1.0, "down": 1.0, "left": 1.0, "right": -1.0}


def driving_input(system: System, surface: str) -> str | None:
    """The input that moves a surface most over its wanted travel, others at 0.

    Parameters
    ----------
    system : System
    surface : str

    Returns
    -------
    str or None
        None when no input moves it.
    """
    return system.kept(("driving input", surface), lambda: _driving_input(system, surface))


def _driving_input(system, surface):
    spans = {}
    for name, control in system.inputs.items():
        if control.body is not None:
            moved = system.sweep(**{name: np.linspace(*control.travel, 21)}).deflection(surface)
            spans[name] = np.ptp(moved[np.isfinite(moved)]) if np.isfinite(moved).any() else 0.0
    best = max(spans, key=spans.get, default=None)
    return best if best is not None and spans[best] > 1e-9 else None


@in_house_units(angle="required within found missed_by", position="at reached_at")
def required_travels(system: System, ends: dict | None = None) -> pd.DataFrame:
    """Required travels against found ones.

    Parameters
    ----------
    system : System
    ends : dict, optional
        ``{input: (least, greatest)}`` between which they are found, as the drawn stops leave them;
        the wanted travel unless given.

    Returns
    -------
    DataFrame
        One row per surface and way: surface, input, way, required, within, found (degrees
        between the ends, others at 0), missed_by (degrees, + too much), ok, at (input where found)
        and reached_at (input where the required deflection is reached, up to 10 past the wanted
        travel; NaN when it is not).
    """
    import pandas as pd

    rows, ends = [], ends or {}
    for surface, part in system.model.surfaces.items():
        for require in part.require:
            name = require.input or driving_input(system, surface)
            for way in ("up", "down", "left", "right"):
                wanted = getattr(require, way)
                if wanted is not None:
                    rows.append({"surface": surface, "input": name, "way": way,
                                 "required": wanted, "within": require.within,
                                 **_found(system, surface, name, way, require,
                                          ends.get(name))})
    return pd.DataFrame(rows, columns=["surface", "input", "way", "required", "within", "found",
                                       "missed_by", "ok", "at", "reached_at"])


def ways_moved(system: System, surface: str) -> list[str]:
    """Ways a surface goes at an end of an input that its required travels are found along.

    Parameters
    ----------
    system : System
    surface : str

    Returns
    -------
    list of str
        Among up, down, left and right; one by which it moves less than its band is left out.
    """
    part = system.model.surfaces[surface]
    words = ("left", "right") if is_rudder(system.model.bodies[part.body]) else ("up", "down")
    ends = [(require.within, _at_ends(system, surface, require)) for require in part.require]
    return [way for way in words
            if any((SIGNS[way] * turned > within).any() for within, turned in ends)]


def _at_ends(system, surface, require) -> np.ndarray:
    """Deflections at both ends of the input that a required travel is found along, if any."""
    name = require.input or driving_input(system, surface)
    if name is None or system.inputs[name].body is None:
        return np.array([])
    return system.sweep(**{name: [*system.inputs[name].travel]}).deflection(surface)


def _found(system, surface, name, way, require, ends):  # noqa: PLR0913
    nothing = {"found": np.nan, "missed_by": np.nan, "ok": False, "at": np.nan,
               "reached_at": np.nan}
    if name is None:
        return nothing
    sign, control = SIGNS[way], system.inputs[name]
    wanted, within = getattr(require, way), require.within

    def along(x):
        return sign * system.sweep(**{name: x}).deflection(surface)

    x, deflection = _extremes(system, surface, name, sign, ends or control.travel)
    if not np.isfinite(deflection).any():
        return nothing
    best = int(np.nanargmax(deflection))
    angle = float(deflection[best])
    wide = np.linspace(control.travel[0] - BEYOND, control.travel[1] + BEYOND, SAMPLES)
    where = crossings(along, wide, wanted)
    reached = float(where[np.argmin(np.abs(where - x[best]))]) if where.size else np.nan
    return {"found": angle, "missed_by": angle - wanted, "ok": abs(angle - wanted) <= within + 1e-9,
            "at": float(x[best]), "reached_at": reached}


def _extremes(system, surface, name, sign, ends):
    """Both ends, and every place between where the gearing is 0."""
    low, high = ends

    def gearing(x):
        return system.sweep(**{name: x}).gearing(surface)[name]

    x = np.unique([low, 0.0, high, *crossings(gearing, np.linspace(low, high, SAMPLES))])
    return x, sign * system.sweep(**{name: x}).deflection(surface)


@in_house_units(angle="deflection level",
                length="movement edge",
                angle_per_angle="gearing",
                angle_per_length="per_mm",
                angle_per_inch="per_in")
def gearing_table(system: System, name: str, positions: ArrayLike | None = None) -> pd.DataFrame:
    """Deflection and gearing of every surface along one input, the others at 0.

    Parameters
    ----------
    system : System
    name : str
        The input.
    positions : array_like, shape (n,), optional
        Degrees (mm for a slide); round steps of the wanted travel and its ends unless given.

    Returns
    -------
    DataFrame
        Indexed by position: ``grip movement`` (mm, straight from neutral) where a grip is known;
        per surface that moves ``deflection`` (degrees), ``edge`` (trailing-edge movement in mm as
        a rule shows it, 2 chord sin(deflection/2)), ``gearing`` (degrees per degree),
        ``per mm`` and ``per in`` of grip movement; per levelled part ``level`` (degrees a
        digital level reads, up from level toward the second point).
    """
    import pandas as pd

    if name not in system.inputs or system.inputs[name].body is None:
        raise LinkageError(f'input "{name}" drives nothing; give it to a body with '
                           f'input = "{name}"', input=name)
    low, high = system.inputs[name].travel
    x = round_positions(low, high) if positions is None else np.asarray(positions, dtype=float)
    motion = system.sweep(**{name: x})
    columns = {}
    movement, speed = grip_movement(system, motion, name)
    if movement is not None:
        columns["grip", "movement"] = movement
    for surface in system.model.surfaces:
        columns |= _surface_columns(system, motion, surface, name, speed)
    for body, part in system.model.bodies.items():
        if part.level is not None:
            columns[body, "level"] = level_reading(motion, body)
    table = pd.DataFrame(columns, index=pd.Index(x, name=name))
    table.columns = pd.MultiIndex.from_tuples(table.columns, names=["part", "what"])
    return table


def round_positions(low: float, high: float, most: int = 9) -> np.ndarray:
    """Round steps from neutral within a travel, and its two ends.

    Examples
    --------
    >>> round_positions(-13, 17).tolist()
    [-13.0, -10.0, -5.0, 0.0, 5.0, 10.0, 15.0, 17.0]
    """
    sizes = [m * 10.0**k for k in range(-3, 4) for m in (1, 2, 5)]
    step = next(s for s in sizes if (high - low) / s <= most)
    inside = np.arange(np.ceil(low / step), np.floor(high / step) + 1) * step
    clear = inside[(np.abs(inside - low) > step / 4) & (np.abs(inside - high) > step / 4)
                   | (inside == 0)]
    return np.unique(np.concatenate([[low], clear, [high]]))


def _surface_columns(system, motion, surface, name, speed):
    deflection = motion.deflection(surface)
    gearing = motion.gearing(surface)[name]
    if not (np.nanmax(np.abs(deflection), initial=0) > 1e-9):
        return {}
    columns = {(surface, "deflection"): deflection}
    chord = system.model.surfaces[surface].chord
    if chord is not None:
        columns[surface, "edge"] = edge_movement(deflection, chord)
    columns[surface, "gearing"] = gearing
    if speed is not None:
        columns[surface, "per mm"] = gearing / speed
        columns[surface, "per in"] = gearing / speed * 25.4
    return columns


def grip_movement(system: System, motion: Motion,
                  name: str) -> tuple[np.ndarray | None, np.ndarray | None]:
    """Straight movement of the grip from neutral, mm, and its speed in mm per degree of input.

    Parameters
    ----------
    system : System
    motion : Motion
    name : str
        The input whose grip it is.

    Returns
    -------
    (ndarray or None, ndarray or None)
        Both of the motion's shape; signed like the input.
    """
    grip = system.inputs[name].grip
    if grip is None:
        return None, None
    away = motion.point(grip) - system.sweep().point(grip)
    sign = np.sign(np.broadcast_to(motion.inputs[name], motion.shape))
    index = list(system.inputs).index(name)
    rate = [np.asarray(k)[index] if np.ndim(k) else 0.0 for k in motion.input_rates.place(grip)]
    speed = np.sqrt(sum(np.square(k) for k in rate)) * system.inputs[name].scale
    return sign * np.linalg.norm(away, axis=-1), np.broadcast_to(speed, motion.shape)


def edge_movement(deflection: ArrayLike, chord: float) -> np.ndarray:
    """Trailing-edge movement a rule shows: straight across, 2 chord sin(deflection / 2).

    Parameters
    ----------
    deflection : array_like, degrees
    chord : float
        Hinge line to trailing edge, square to the hinge, mm.

    Returns
    -------
    ndarray
        mm, signed like the deflection.

    Examples
    --------
    >>> float(edge_movement(60.0, 100.0).round(9))
    100.0
    """
    return 2 * chord * np.sin(np.radians(deflection) / 2)


def level_reading(motion: Motion, body: str) -> np.ndarray:
    """What a digital level laid on a part's level line reads.

    Parameters
    ----------
    motion : Motion
    body : str

    Returns
    -------
    ndarray, shape (...)
        Degrees from level, positive when the line rises toward its second point.
    """
    first, second = (motion.point(f"{body}/{p}") for p in motion.system.model.bodies[body].level)
    line = second - first
    return np.degrees(np.arctan2(line[..., 2], np.hypot(line[..., 0], line[..., 1])))
