"""How thick a spacer has to be, what stock makes it, and how sure the stop is then."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from ..errors import LinkageError
from ..motion import System
from ..search import crossings
from ..units import in_house_units, shown_length
from .contact_rates import stop_rates
from .faces import Meeting, meeting

if TYPE_CHECKING:
    import pandas as pd

MOST_STACKED = 4  # washers or sheets in one stack
SAME = 1e-6  # mm within which two thicknesses are one
STEPS = 81


@in_house_units(length="thickness made_of", position="angle band")
def size_spacer(system: System, *, stop: str, deflection: dict | None = None,
                input: dict | None = None) -> pd.DataFrame:
    """Spacer thickness that stops the stick, or a surface, where it should.

    Parameters
    ----------
    system : System
    stop : str
    deflection : dict, optional
        ``{surface: degrees}`` wanted at the stop, trailing edge down (left) positive.
    input : dict, optional
        ``{input: degrees}`` wanted instead.

    Returns
    -------
    DataFrame
        Rows exact, below and above (the nearest thicknesses the stock makes): choice, thickness
        (mm), made_of (tuple of stock, mm), angle (of the stop's input), one column per surface
        (degrees), band (plus or minus on the angle, degrees, worst case of spacer, hardpoint and
        rod tolerances to first order) and one ``band SURFACE`` column each.

    Raises
    ------
    LinkageError
        When the wish is unclear, or no thickness of 0 or more stops it there.
    """
    import pandas as pd

    made = meeting(system, stop)
    if made.stop.spacer is None:
        raise LinkageError(f'stop "{stop}" has no spacer to size; give it '
                           f'spacer = {{ on = "part/solid", thickness = ... }}', stop=stop)
    angle = _wanted_angle(made, deflection, input)
    exact = thickness_for(made, angle)
    rows = [_choice(made, "exact", exact, (exact,))]
    for choice, stack in zip(("below", "above"), stock_about(made.stop.spacer.stock, exact),
                             strict=True):
        if stack is not None:
            rows.append(_choice(made, choice, sum(stack), stack))
    return pd.DataFrame(rows)


def _wanted_angle(made: Meeting, deflection, wanted) -> float:
    name = made.stop.input
    if (deflection is None) == (wanted is None) or len(deflection or wanted) != 1:
        raise LinkageError(f'stop "{made.name}": give either deflection = {{surface: degrees}} or '
                           f"input = {{{name!r}: degrees}}, one of them")
    if wanted is not None:
        if name not in wanted:
            raise LinkageError(f'stop "{made.name}" ends the travel of "{name}"; give input = '
                               f"{{{name!r}: degrees}}")
        return float(wanted[name])
    (surface, value), = deflection.items()
    places = crossings(lambda x: made.system.sweep(**{name: x}).deflection(surface),
                       np.sort(np.linspace(0.0, made.limit, STEPS)), float(value))
    if not places.size:
        ends = made.system.sweep(**{name: [0.0, made.limit]}).deflection(surface)
        raise LinkageError(f'stop "{made.name}": "{surface}" does not come to {value:+.1f}° there '
                           f"(it goes from {ends[0]:+.1f}° to {ends[1]:+.1f}°); ask for less",
                           surface=surface)
    return float(places[np.argmin(np.abs(places))])


def thickness_for(made: Meeting, angle: float) -> float:
    """Spacer thickness at which the faces meet just at an angle of the input, mm.

    Parameters
    ----------
    made : Meeting
    angle : float
        Degrees (mm for a slide).

    Returns
    -------
    float

    Raises
    ------
    LinkageError
        When the faces meet before that even without a spacer.
    """
    unit = made.system.model.length
    free = float(made.gap([angle], 0.0)[0])
    if not free > -SAME:
        bare = made.contact(0.0)
        raise LinkageError(f'stop "{made.name}": its faces meet at {bare:+.2f}° without any '
                           f"spacer, so none stops it as late as {angle:+.2f}°; move a face, or "
                           f"ask for less", stop=made.name)
    neutral = float(made.gap([0.0], 0.0)[0])
    reach = 4 * max(free, neutral) + 1.0
    thicknesses = crossings(
        lambda t: np.array([made.gap([angle], k)[0] if k > 0 else free for k in t]),
        np.linspace(0.0, reach, 9))
    if not thicknesses.size:
        raise LinkageError(f'stop "{made.name}": no spacer up to {shown_length(reach, unit)} makes '
                           f"its faces meet at {angle:+.2f}°; ask for another position",
                           stop=made.name)
    return float(thicknesses[0])


def stock_about(stock: Sequence[float], exact: float) -> tuple:
    """Nearest stacks of stock not thicker and not thinner than a thickness.

    Parameters
    ----------
    stock : sequence of float
        mm; each may be used again, up to four in a stack.
    exact : float
        mm.

    Returns
    -------
    (tuple or None, tuple or None)
        Below and above, fewest pieces first among equals.

    Examples
    --------
    >>> stock_about((1.0, 1.6), 2.1)
    ((1.0, 1.0), (1.6, 1.0))
    """
    stacks = [(), *(s for n in range(1, MOST_STACKED + 1)
                    for s in itertools.combinations_with_replacement(
                        sorted(stock, reverse=True), n))]
    below = [s for s in stacks if sum(s) <= exact + SAME]
    above = [s for s in stacks if sum(s) >= exact - SAME]
    best_below = max(below, key=lambda s: (round(sum(s), 6), -len(s)), default=None)
    best_above = min(above, key=lambda s: (round(sum(s), 6), len(s)), default=None)
    return (best_below if stock else None), (best_above if stock else None)


def _choice(made, choice, thickness, stack):
    angle = made.contact(thickness)
    motion = made.system.sweep(**{made.stop.input: angle})
    band = angle_band(made, angle, thickness)
    row = {"choice": choice, "thickness": thickness, "made_of": tuple(stack), "angle": angle}
    row |= {s: float(motion.deflection(s)) for s in made.system.model.surfaces}
    row["band"] = band
    for surface in made.system.model.surfaces:
        row[f"band {surface}"] = abs(float(motion.gearing(surface)[made.stop.input])) * band
    return row


def angle_band(made: Meeting, angle: float, thickness: float) -> float:
    """Worst-case change of a stop's angle within the build tolerances, to first order.

    Parameters
    ----------
    made : Meeting
    angle : float
        Where the stop is, degrees (mm).
    thickness : float
        Of its spacer, mm.

    Returns
    -------
    float
        Plus or minus, degrees (mm): the sum over every hardpoint coordinate, rod length, both
        faces and the spacer of how far each moves the stop times its tolerance.
    """
    return sum(abs(rate) * tolerance for rate, tolerance in
               stop_rates(made, angle, thickness).values())


def side_play(first_face: float, second_face: float, between: float) -> tuple[float, float]:
    """End float of a pivot between two faces, and the shim that takes it out.

    Parameters
    ----------
    first_face, second_face : float
        Where the two faces stand along the pivot, mm.
    between : float
        Length of what turns between them, washers included, mm.

    Returns
    -------
    (float, float)
        End float, mm, and the shim to add, mm; both negative when it does not fit.

    Examples
    --------
    >>> side_play(0.0, 40.0, 39.4)[0].__round__(9)
    0.6
    """
    free = abs(second_face - first_face) - between
    return free, free
