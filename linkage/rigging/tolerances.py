"""What build tolerances do to every surface: exact first-order figures, ranked by what moves it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..errors import MotionError, nearest
from ..model import STATIONS
from ..motion import Dimensions, Rates, Seeds, System, hinge_sign
from ..stops import dimension_tolerances, meeting, seeds_of, stop_rates
from ..units import in_house_units

if TYPE_CHECKING:
    import pandas as pd

NEUTRAL = "neutral"
NOTHING = 1e-12  # degrees per mm: a dimension that moves a surface less has no part in it


@dataclass(frozen=True)
class Spot:
    """A stick position at which tolerances are asked for.

    Attributes
    ----------
    name : str
        "neutral", or the name of a stop.
    inputs : dict
        ``{input: degrees (mm)}``; inputs left out are 0.
    shifts : dict
        ``{(part, what): (degrees or mm per mm, tolerance in mm)}``: how far each dimension moves
        the stick's own position there; empty where the stick is held.
    """

    name: str
    inputs: dict
    shifts: dict


def spots(system: System) -> list[Spot]:
    """Neutral with the stick held, and every stop with the stick against it.

    Parameters
    ----------
    system : System

    Returns
    -------
    list of Spot

    Raises
    ------
    LinkageError
        When a stop never meets.
    """
    places = [Spot(NEUTRAL, {}, {})]
    for name in system.model.stops:
        faces = meeting(system, name)
        angle = faces.contact(faces.thickness)
        places.append(Spot(name, {faces.stop.input: angle},
                           stop_rates(faces, angle, faces.thickness)))
    return places


def dimension_rates(system: System, names: Iterable[str], dimensions: Dimensions | None = None,
                    **inputs: float) -> dict:
    """Change of every surface per mm of some dimensions, the stick held.

    Parameters
    ----------
    system : System
    names : sequence of (str, str)
        ``("part/point", "FS")``, BL or WL, with all three of a point, and ``(rod, "length")``.
    dimensions : Dimensions, optional
        Of a build; as drawn unless given.
    **inputs : float
        Degrees (mm) by input name.

    Returns
    -------
    dict
        ``{surface: ndarray (names,)}``, degrees per mm: exact, by implicit differentiation of
        each rod's closure.
    """
    motion = system.sweep_with(dimensions or system.dimensions, **inputs)
    seeds = Seeds({}, *seeds_of(dict(zip(names, np.eye(len(names)), strict=True))))
    with np.errstate(invalid="ignore", divide="ignore"):
        joints = Rates(motion.posture, seeds).joints
    rates = {}
    for surface, part in system.model.surfaces.items():
        sign = hinge_sign(system.model.bodies[part.body])
        rate = np.broadcast_to(joints.get(part.body, 0.0), (len(names),))
        rates[surface] = np.degrees(sign * rate)
    return rates


@in_house_units(angle_per_length="per_mm", length="tolerance", angle="moves")
def sensitivities(system: System, at: list[Spot] | None = None, *,
                  rigged: bool = False) -> pd.DataFrame:
    """How far each dimension of the build moves each surface, the most first.

    Parameters
    ----------
    system : System
    at : list of Spot, optional
        As `spots` gives them, unless given.
    rigged : bool
        Of a build whose rods were then set so that every part stands at neutral as drawn: only
        the tolerance of each rod is left of what is off there.

    Returns
    -------
    DataFrame
        surface, at, part, what ("FS", "BL", "WL" of a hardpoint, "length" of a rod, "face FS" of
        a stop's face, "spacer" of a stop), per_mm (degrees per mm, exact), tolerance (mm), moves
        (degrees, plus or minus).  At a stop the stick rests against it, wherever the build puts
        that.  Directions of axes are taken as drawn.
    """
    import pandas as pd

    drawn = dimension_tolerances(system)
    rows = []
    for spot in spots(system) if at is None else at:
        tolerance = drawn | {name: size for name, (_, size) in spot.shifts.items()}
        for surface, rates in _rates_at(system, spot, list(drawn)).items():
            if rigged:
                rates = set_by_rods(system, rates)
            rows += [{"surface": surface, "at": spot.name, "part": part, "what": what,
                      "per_mm": rate, "tolerance": tolerance[part, what],
                      "moves": abs(rate) * tolerance[part, what]}
                     for (part, what), rate in rates.items() if not abs(rate) < NOTHING]
    table = pd.DataFrame(rows, columns=["surface", "at", "part", "what", "per_mm", "tolerance",
                                        "moves"])
    order = {name: i for i, name in enumerate(dict.fromkeys(table["at"]))}
    return table.sort_values(["surface", "at", "moves"], ascending=[True, True, False],
                             key=lambda k: k.map(order) if k.name == "at" else k,
                             kind="stable", ignore_index=True)


def _rates_at(system, spot, names) -> dict:
    """``{surface: {dimension: degrees per mm}}`` at a spot, the shift of a stop's face among it."""
    motion = system.sweep(**spot.inputs)
    rates = {}
    for surface, per in dimension_rates(system, names, **spot.inputs).items():
        rates[surface] = dict(zip(names, per.tolist(), strict=True))
        gearing = motion.gearing(surface)
        for name, (shift, _) in spot.shifts.items():
            (driver,) = spot.inputs
            rates[surface][name] = rates[surface].get(name, 0.0) + float(gearing[driver]) * shift
    return rates


def set_by_rods(system: System, rates: dict) -> dict:
    """Rates once every rod follows its own two ends: its length as the build has them apart."""
    done = dict(rates)
    places = system.dimensions.places
    for rod, part in system.model.rods.items():
        ends = [np.array(places[end]) for end in part.ends]
        along = (ends[0] - ends[1]) / np.linalg.norm(ends[0] - ends[1])
        for end, sense in zip(part.ends, (1.0, -1.0), strict=True):
            for axis, share in zip(STATIONS, along, strict=True):
                done[end, axis] += rates[rod, "length"] * sense * float(share)
    return done


@in_house_units(angle="worst rss")
def error_bands(table: pd.DataFrame) -> pd.DataFrame:
    """Worst case and root sum square of every surface at every spot.

    Parameters
    ----------
    table : DataFrame
        As `sensitivities` gives it.

    Returns
    -------
    DataFrame
        surface, at, worst, rss: degrees, plus or minus, to first order.  Root sum square holds
        when the tolerances are independent and each is the same number of standard deviations.
    """
    groups = table.groupby(["surface", "at"], sort=False)["moves"]
    return groups.agg(worst="sum", rss=lambda k: float(np.sqrt(np.sum(np.square(k))))).reset_index()


def chosen_surfaces(system: System, surfaces: Iterable[str] | None) -> tuple[str, ...]:
    """Surfaces asked for, all of them unless named; an unknown one is refused."""
    known = system.model.surfaces
    for name in surfaces or ():
        if name not in known:
            raise MotionError(f'no surface "{name}"; {nearest(name, known)}', name=name)
    return tuple(surfaces or known)
