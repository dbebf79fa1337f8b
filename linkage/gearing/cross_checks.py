"""Left against right, stick against stick, and what an input moves that it should not."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

import numpy as np

from ..motion import System
from ..search import extreme
from ..units import in_house_units
from .travels import driving_input

if TYPE_CHECKING:
    import pandas as pd

SAMPLES = 21
ZOOMS = 5  # each to 3/8: places to a hundredth of a degree, values far closer


def twins(system: System, names: Iterable[str]) -> list[tuple[str, str]]:
    """Pairs of names that differ by a mirrored word, left and right unless the file says others.

    Parameters
    ----------
    system : System
    names : iterable of str

    Returns
    -------
    list of (str, str)
    """
    words = list((system.model.mirror or {"left": "right"}).items())
    names, pairs = list(names), []
    for name in names:
        for here, there in words:
            other = f" {name} ".replace(f" {here} ", f" {there} ")[1:-1]
            if other != name and other in names:
                pairs.append((name, other))
    return pairs


def greatest_over_box(system: System, function: Callable, among: Iterable[str] | None,
                      ends: dict | None = None) -> tuple[float, dict]:
    """Greatest value over a whole travel, and where.

    Parameters
    ----------
    system : System
    function : callable
        From a `Motion` to values (...).
    among : collection of str
        The inputs it can depend on; the others stay at 0.
    ends : dict, optional
        ``{input: (least, greatest)}``; the wanted travel unless given.

    Returns
    -------
    (float, dict)
        The value and ``{input: position}``.
    """
    whole = system.travel_box() if ends is None else ends
    box = {name: travel for name, travel in whole.items() if name in among}
    if not box:
        return float(function(system.sweep())), dict.fromkeys(whole, 0.0)

    def negative(*sides):
        return -function(system.sweep(**dict(zip(box, sides, strict=True))))

    value, place = extreme(negative, list(box.values()), SAMPLES, ZOOMS)
    position = dict(zip(box, (float(x) for x in place), strict=True))
    return -value, {name: position.get(name, 0.0) for name in whole}


def inputs_of(system: System, *bodies: str) -> frozenset:
    """Inputs that move any of some bodies against the airframe.

    Parameters
    ----------
    system : System
    *bodies : str

    Returns
    -------
    frozenset of str
    """
    needs = system.plan.depends_on()
    chain = {b for body in bodies for b in (body, *system.model.carriers(body))}
    return frozenset().union(*(needs[b] for b in chain))


@in_house_units(position="position", angle="up down")
def differential(system: System, count: int = 9) -> pd.DataFrame:
    """Up against down of each left and right pair over the input that drives them.

    Parameters
    ----------
    system : System
    count : int
        Positions from neutral to the end of the travel.

    Returns
    -------
    DataFrame
        Columns pair, input, position, up, down (degrees, positive sizes) and ratio up / down.
    """
    import pandas as pd

    rows = []
    for left, right in twins(system, system.model.surfaces):
        name = driving_input(system, left)
        if name is None:
            continue
        x = np.linspace(0, system.inputs[name].travel[1], count)[1:]
        motion = system.sweep(**{name: x})
        both = np.stack([motion.deflection(left), motion.deflection(right)])
        up, down = -both.min(axis=0), both.max(axis=0)
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = up / down
        rows += [{"pair": f"{left} | {right}", "input": name, "position": p, "up": u, "down": d,
                  "ratio": r} for p, u, d, r in zip(x, up, down, ratio, strict=True)]
    return pd.DataFrame(rows, columns=["pair", "input", "position", "up", "down", "ratio"])


@in_house_units(angle="greatest")
def cross_talk(system: System) -> pd.DataFrame:
    """What the other inputs do to each surface over the whole wanted travel.

    An input that a required travel of the surface names is meant to move it and is left out.

    Parameters
    ----------
    system : System

    Returns
    -------
    DataFrame
        Columns surface, input (the one that drives it), other, greatest (degrees that the other
        input moves it by), and one column per input: the position where.
    """
    import pandas as pd

    rows, box = [], system.travel_box()
    for surface in system.model.surfaces:
        own = driving_input(system, surface)
        meant = {own, *(r.input for r in system.model.surfaces[surface].require)}
        for other in box:
            if other in meant or own is None:
                continue
            body = system.model.surfaces[surface].body

            def moved(motion, surface=surface, other=other):
                held = {n: v for n, v in motion.inputs.items() if n != other}
                return np.abs(motion.deflection(surface)
                              - system.sweep(**held).deflection(surface))

            value, place = greatest_over_box(system, moved, inputs_of(system, body))
            rows.append({"surface": surface, "input": own, "other": other, "greatest": value,
                         **place})
    return pd.DataFrame(rows, columns=["surface", "input", "other", "greatest", *box])


@in_house_units(angle="angle", length="movement")
def stick_difference(system: System) -> pd.DataFrame:
    """How far the sticks differ over the whole wanted travel.

    Parameters
    ----------
    system : System

    Returns
    -------
    DataFrame
        Columns first, second (grips), angle (greatest difference of the two bodies' turns in
        degrees), movement (greatest difference of the two grips' movements from neutral, mm, the
        mirrored or carried stick moving alike), and one column per input: where the movement
        differs most.
    """
    import pandas as pd

    grips = [f"{body}/grip" for body, part in system.model.bodies.items() if "grip" in part.points]
    rows, neutral = [], system.sweep()
    for i, first in enumerate(grips):
        for second in grips[i + 1:]:
            def movement(motion, first=first, second=second):
                one, two = (motion.point(g) - neutral.point(g) for g in (first, second))
                return np.linalg.norm(one - two, axis=-1)

            def angle(motion, first=first, second=second):
                one, two = (g.split("/")[0] for g in (first, second))
                alike = np.dot(*(system.model.bodies[b].direction for b in (one, two)))
                return np.abs(motion.angle(one) - np.sign(alike) * motion.angle(two))

            among = inputs_of(system, *(g.split("/")[0] for g in (first, second)))
            far, place = greatest_over_box(system, movement, among)
            rows.append({"first": first, "second": second, "movement": far, **place,
                         "angle": greatest_over_box(system, angle, among)[0]})
    columns = ["first", "second", "angle", "movement", *system.travel_box()]
    return pd.DataFrame(rows, columns=columns)


@in_house_units(angle="greatest")
def symmetry(system: System) -> pd.DataFrame:
    """Left surface with the stick left against right surface with the stick right.

    Parameters
    ----------
    system : System

    Returns
    -------
    DataFrame
        Columns left, right, greatest (degrees), and one column per input: where.
    """
    import pandas as pd

    rows = []
    for left, right in twins(system, system.model.surfaces):
        def apart(motion, left=left, right=right):
            other = {n: -v if _flips(system, n) else v for n, v in motion.inputs.items()}
            return np.abs(motion.deflection(left) - system.sweep(**other).deflection(right))

        bodies = (system.model.surfaces[s].body for s in (left, right))
        value, place = greatest_over_box(system, apart, inputs_of(system, *bodies))
        rows.append({"left": left, "right": right, "greatest": value, **place})
    return pd.DataFrame(rows, columns=["left", "right", "greatest", *system.travel_box()])


def _flips(system, name) -> bool:
    """Whether the mirror image of an input's motion is the opposite motion (roll, yaw)."""
    body = system.inputs[name].body
    if body is None:
        return False
    x, y, z = system.model.bodies[body].direction
    twin = (x, -y, z) if system.model.bodies[body].slides else (-x, y, -z)
    return float(np.dot((x, y, z), twin)) < 0
