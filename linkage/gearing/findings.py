"""What a builder should know before trusting the numbers: the findings of a system."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from ..model.mirroring import differing_twins
from ..motion import System, body_of
from ..search import extremes
from ..units import in_house_units, shown_length
from .cross_checks import SAMPLES, ZOOMS, greatest_over_box
from .plausible import implausible
from .surface_notes import surface_notes
from .surface_ways import direction_findings, directions
from .words import Finding, said_place

if TYPE_CHECKING:
    import pandas as pd

    from .words import Direction

LOW_MARGIN = 15.0  # degrees from dead centre below which a rod end is told of; common practice
GRID = 41
MOST_TWINS = 4  # pairs that are named


def find(system: System, least_margins: pd.DataFrame | None = None,
         judged: list[Direction] | None = None) -> list[Finding]:
    """Everything found about a system before its clearances, wrong directions first.

    Parameters
    ----------
    system : System
    least_margins : DataFrame, optional
        What `margins` gave, when it is known already.
    judged : list of Direction, optional
        What `directions` gave, when it is known already.

    Returns
    -------
    list of Finding
    """
    directed = direction_findings(system, directions(system) if judged is None else judged)
    return [*as_meant(system, [*directed, *implausible(system)]), *_undriven(system),
            *_differing(system), *_offsets(system), *_misfits(system), *_out_of_reach(system),
            *_low_margins(system, margins(system) if least_margins is None else least_margins),
            *surface_notes(system)]


def as_meant(system: System, findings: list[Finding]) -> list[Finding]:
    """Findings in which what the file says is meant is no miss but keeps its reason.

    A direction is never meant this way: its surface says `moves` and the reason.
    """
    return [replace(f, miss=False, text=f"{f.text}; meant: {system.model.meant[f.part]}")
            if f.kind in ("size", "feel") and f.part in system.model.meant else f for f in findings]


def _undriven(system):
    for body in system.plan.undriven:
        yield Finding(body, f'"{body}" is driven by nothing and stays at neutral')
    for rod in system.plan.open_rods:
        yield Finding(rod, f'rod "{rod}" ends on a part that nothing settles, so it drives nothing '
                           f"yet")
    for name, control in system.inputs.items():
        if control.body is None:
            yield Finding(name, f'input "{name}" drives no part; give it to one with '
                                f'input = "{name}"')


def _differing(system):
    unlike = differing_twins(system.model)
    if unlike:
        each = [f'"{one}" and "{other}" ({", ".join(keys)})' for one, other, keys in
                unlike[:MOST_TWINS]]
        more = f" and {len(unlike) - MOST_TWINS} more" if len(unlike) > MOST_TWINS else ""
        yield Finding(unlike[0][0], f"written for both sides and no mirror image of each other, "
                                    f"so each is taken as written: {', '.join(each)}{more}")


def _offsets(system):
    for joint, offset in system.offsets.items():
        if abs(offset) > 1e-6:
            apart = f"{offset:+.3f}°" if not system.model.bodies[joint].slides else \
                f"{'+' if offset > 0 else ''}{shown_length(offset, system.model.length)}"
            yield Finding(joint, f'"{joint}" stands {apart} from the drawn neutral '
                                 f"with every input at 0, since {_given_rods(system)}: rigging "
                                 f"to do")


def _given_rods(system) -> str:
    """Rods whose given length is not that between their points, with both."""
    model, sentences = system.model, []
    for name, rod in model.rods.items():
        apart = math.dist(*(model.position(end) for end in rod.ends))
        if rod.length is not None and abs(rod.length - apart) > 1e-6:
            given, drawn = (shown_length(mm, model.length) for mm in (rod.length, apart))
            sentences.append(f'rod "{name}" is given {given} long and its points lie {drawn} apart')
    return " and ".join(sentences) if sentences else "a given rod length differs from its points"


def _misfits(system):
    unit = system.model.length
    for rod in system.plan.redundant:
        value, place = greatest_over_box(system, lambda m, r=rod: np.abs(m.stretch(r)),
                                         _inputs_of_rod(system, rod))
        yield Finding(rod, f'redundant rod "{rod}" is off its length by up to '
                           f"{shown_length(value, unit)} ({said_place(system, place)}): it would "
                           f"have to give that much")


def _grid(system):
    box = system.travel_box()
    sides = np.meshgrid(*(np.linspace(*travel, GRID) for travel in box.values()), indexing="ij",
                        sparse=True)
    return dict(zip(box, sides, strict=True))


def _out_of_reach(system):
    grid = _grid(system)
    if not grid or len(grid) > 3:
        return
    motion = system.sweep(**grid)
    good = motion.reachable
    if good.all():
        return
    blamed = [rod for rod in system.model.rods if _first_lost(motion, rod)]
    share = 1 - good.mean()
    yield Finding(", ".join(blamed), f"rod {', '.join(blamed)} can't reach at {share:.0%} of the "
                                     f"wanted travel, first near "
                                     f"{said_place(system, _nearest_lost(grid, good))}", miss=True)
    cut_off = good & ~_joined(good, grid)
    if cut_off.any():
        yield Finding("travel", f"{cut_off.mean():.0%} of the wanted travel closes but is cut off "
                                f"from neutral by positions out of reach", miss=True)


def _first_lost(motion, rod) -> bool:
    """Whether a rod's own joint is lost somewhere although its ends are where they should be."""
    for step in motion.system.plan.steps:
        if getattr(step, "rod", None) == rod:
            lost = ~np.isfinite(motion.angle(step.joint))
            ends = motion.posture.ends(step)
            known = np.ones((), bool)
            for end in ends:
                known = known & np.isfinite(end[0])
            return bool(np.any(lost & known))
        if rod in getattr(step, "rods", ()):
            return bool(np.any(~np.isfinite(motion.angle(step.joints[0]))))
    return False


def _nearest_lost(grid, good):
    """The lost position nearest to neutral, as a share of the travel."""
    spans = {name: np.ptp(side) or 1.0 for name, side in grid.items()}
    far = sum((side / spans[name]) ** 2 for name, side in grid.items())
    index = np.unravel_index(np.argmin(np.where(good, np.inf, far)), good.shape)
    return {name: float(np.broadcast_to(side, good.shape)[index]) for name, side in grid.items()}


def _joined(good, grid):
    """Positions of a grid that a path of good ones joins to neutral."""
    spans = {name: np.ptp(side) or 1.0 for name, side in grid.items()}
    far = sum((side / spans[name]) ** 2 for name, side in grid.items())
    joined = np.zeros(good.shape, bool)
    joined[np.unravel_index(np.argmin(far), good.shape)] = True
    while True:
        grown = joined.copy()
        for axis in range(good.ndim):
            for shift in (1, -1):
                moved = np.roll(joined, shift, axis)
                edge = [slice(None)] * good.ndim
                edge[axis] = 0 if shift == 1 else -1
                moved[tuple(edge)] = False
                grown |= moved
        grown &= good
        if (grown == joined).all():
            return joined
        joined = grown


@in_house_units(angle="margin")
def margins(system: System, box: dict | None = None) -> pd.DataFrame:
    """Least over-centre margin of both ends of every rod over a whole travel, searched.

    Parameters
    ----------
    system : System
    box : dict, optional
        ``{input: (least, greatest)}``; the wanted travel unless given.

    Returns
    -------
    DataFrame
        Columns rod, end, margin (degrees; 0 dead centre, 90 square), and one column per input.
    """
    import pandas as pd

    neutral, rows = system.sweep(), {}
    ends = {(rod, end): _inputs_of_rod(system, rod) for rod in system.model.rods
            for end in neutral.margins(rod)}
    for among in set(ends.values()):
        group = [each for each, inputs in ends.items() if inputs == among]
        rows |= _least_margins(system, group, among, box or system.travel_box())
    return pd.DataFrame([rows[each] for each in ends],
                        columns=["rod", "end", "margin", *system.travel_box()])


def _least_margins(system, ends, among, whole) -> dict:
    """Rows of rod ends that some inputs move."""
    box = {name: travel for name, travel in whole.items() if name in among}

    def values(*sides):
        motion = system.sweep(**dict(zip(box, sides, strict=True)))
        margins = {rod: motion.margins(rod) for rod in dict.fromkeys(rod for rod, _ in ends)}
        each = [np.broadcast_to(margins[rod][end], motion.shape) for rod, end in ends]
        return np.stack([k[min(n, len(k) - 1)] if k.ndim else k for n, k in enumerate(each)])

    least, places = extremes(values, list(box.values()), len(ends), SAMPLES, ZOOMS) if box else (
        values(), np.zeros((len(ends), 0)))
    return {(rod, end): {"rod": rod, "end": end, "margin": float(low)}
            | dict.fromkeys(whole, 0.0) | dict(zip(box, place.tolist(), strict=True))
            for (rod, end), low, place in zip(ends, least, places, strict=True)}


def _inputs_of_rod(system, rod):
    needs = system.plan.depends_on()
    joints = system.plan.route(*(body_of(end) for end in system.model.rods[rod].ends))
    return frozenset().union(*(needs[joint] for joint, _ in joints))


def _low_margins(system, least_margins):
    for row in least_margins.to_dict("records"):
        if row["margin"] < LOW_MARGIN:
            place = {name: row[name] for name in system.travel_box()}
            yield Finding(row["rod"], f'rod "{row["rod"]}" comes within {row["margin"]:.1f}° of '
                                      f'dead centre at "{row["end"]}" '
                                      f"({said_place(system, place)})")
