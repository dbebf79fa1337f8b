"""Bounds of a posture over whole cells of stick travel, to second order in the inputs, proven.

A joint closed by a rod satisfies F(theta) = A cos theta + B sin theta - C = 0 on the branch where
dF/dtheta keeps its sign.  With a polynomial of degree 2 tried for theta, what F misses by over the
cell, over the least |dF/dtheta| near it, bounds how far the true turn is from the polynomial
(interval Newton; Moore, Kearfott & Cloud, Introduction to Interval Analysis, 2009, ch. 8, from
memory).  Where that fails, near a dead centre or out of reach, the closed form itself is enclosed,
clipped to the part of the cell that the rod can reach.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..intervals import GROW, TINY, Enclosure, fitted, row_count
from . import kernels
from .plan import Close, Couple, Drive, Together
from .posture import Dimensions, Posture, Slide, Turn
from .rates import pull


@dataclass
class EnclosedPosture(Posture):
    """A posture whose numbers are enclosures over cells.

    Attributes
    ----------
    rows : int
        Rows of each enclosure.
    blur : float
        Build tolerance of every point of a solid, mm.
    """

    rows: int = 2
    blur: float = 0.0

    def close(self, step: Close) -> None:
        """Settle a joint from the rod that reaches across it, over whole cells."""
        if self.plan.model.bodies[step.joint].slides:
            super().close(step)
            return
        r, q = self.ends(step)
        a, b, c = kernels.turn_parts(r, self.dimensions.places[f"{step.joint}/pivot"],
                                     self.dimensions.axes[step.joint], q,
                                     self.dimensions.lengths[step.rod])
        if not any(isinstance(k, Enclosure) for k in (a, b, c)):
            self.states[step.joint] = Turn(*kernels.turn_close(a, b, c, step.sign))
            return
        theta = _closed(*_as_enclosures(a, b, c), step.sign)
        self.states[step.joint] = Turn(np.cos(theta), np.sin(theta), theta)


def enclose(system, centres: dict, halves: dict, tolerances=None) -> EnclosedPosture:
    """Bounds of every joint over cells of travel.

    Parameters
    ----------
    system : System
    centres, halves : dict
        ``{input: ndarray (n,)}``: middle and half-width of each cell, degrees (mm for a slide);
        an input left out stays at 0.
    tolerances : Tolerance, optional
        Build tolerances that every bound then holds for.

    Returns
    -------
    EnclosedPosture
        Its states and places are enclosures over the n cells, their inputs in the order given.
    """
    dimensions = system.dimensions if tolerances is None else \
        _loose(system, tolerances, len(centres))
    posture = EnclosedPosture(system.plan, dimensions, rows=row_count(len(centres)),
                              blur=0.0 if tolerances is None else _blur(system, tolerances))
    for step in system.plan.steps:
        if isinstance(step, Drive):
            posture.drive(step, _input(system, step.input, centres, halves))
        elif isinstance(step, Couple):
            posture.couple(step)
        elif isinstance(step, Close):
            posture.close(step)
        else:
            _close_together(posture, step, system.sweep(**centres), halves)
    return posture


def _loose(system, tolerances, count) -> Dimensions:
    """Dimensions with the build tolerances in their rests."""
    flat = [0.0] * (row_count(count) - 2)

    def blurred(value, by):
        return Enclosure(np.array([value, *flat, by])) if by > 0 else value

    model = system.model
    return Dimensions(
        {name: tuple(blurred(k, model.point_tolerance(name, tolerances)) for k in place)
         for name, place in system.dimensions.places.items()},
        system.dimensions.axes,
        {name: blurred(length, model.rod_tolerance(name, tolerances))
         for name, length in system.dimensions.lengths.items()})


def _blur(system, tolerances) -> float:
    """Tolerance that holds for every point of every solid, mm."""
    model = system.model
    return max([tolerances.hardpoint, *(model.point_tolerance(n, tolerances)
                                        for n in model.points)])


def _input(system, name, centres, halves):
    if name not in centres:
        return 0.0
    per = 1.0 if system.inputs[name].unit == "mm" else np.pi / 180
    index = list(centres).index(name)
    cell = Enclosure.of_input(index, len(centres), np.asarray(centres[name], dtype=float),
                              np.asarray(halves[name], dtype=float))
    return cell if per == 1.0 else cell * per


def _close_together(posture, step: Together, motion, halves) -> None:
    """Settle rods solved together over whole cells (Krawczyk's operator; same source, ch. 8).

    With straight lines tried for the joints and the inverse of the Jacobian at the centre, a box
    about the lines that the operator maps into itself holds one root for every position of the
    cell: the one followed from neutral, which the box holds at the centre.
    """
    lines = _lines(posture, step, motion, halves)
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        tried = _held(posture, step, lines)
        middle = np.stack([[np.broadcast_to(_pull(motion.posture, rod, joint), lines[0].shape[1:])
                            for joint in step.joints] for rod in step.rods]).transpose(2, 0, 1)
        lost = ~(np.abs(np.linalg.det(middle)) > 0)
        inverse = np.linalg.inv(np.where(lost[:, None, None], np.eye(len(step.joints)), middle))
        missed = [_misfit(tried, rod) for rod in step.rods]
        off = _sizes([sum(inverse[:, i, j] * missed[j] for j in range(len(missed)))
                      for i in range(len(lines))])
        trial = 2 * off + TINY
        for rows, reach in zip(lines, trial, strict=True):
            rows[-1] = reach
        wide = _held(posture, step, lines)
        spread = [[_pull(wide, rod, joint) for joint in step.joints] for rod in step.rods]
        found = off + sum(_sizes([sum(inverse[:, i, j] * spread[j][k] for j in range(len(missed)))
                                  - float(i == k) for i in range(len(lines))]) * trial[k]
                          for k in range(len(lines)))
        sure = (found <= trial).all(axis=0) & ~lost
    for joint, rows, rest in zip(step.joints, lines, found, strict=True):
        rows[-1] = np.where(sure, rest * GROW + TINY, np.inf)
        posture.states[joint] = _joint(posture, joint, Enclosure(rows))


def _lines(posture, step, motion, halves):
    """Rows of the straight line tried for each joint of a group, over cells (n,)."""
    lines = []
    for joint in step.joints:
        value = np.atleast_1d(np.broadcast_to(motion.posture.states[joint].value, motion.shape))
        rows = np.zeros((posture.rows, len(value)))
        rows[0] = value
        for i, (name, half) in enumerate(halves.items()):
            per = 1.0 if motion.system.inputs[name].unit == "mm" else np.pi / 180
            rate = motion.input_rates.joints[joint][list(motion.system.inputs).index(name)]
            rows[1 + i] = np.broadcast_to(rate, value.shape) * half * per
        rows[:, ~np.isfinite(rows).all(axis=0)] = np.nan
        lines.append(rows)
    return lines


def _held(posture, step, lines):
    """The posture with the joints of a group held on given rows."""
    states = dict(posture.states)
    for joint, rows in zip(step.joints, lines, strict=True):
        states[joint] = _joint(posture, joint, Enclosure(rows.copy()))
    return replace(posture, states=states, _seen={})


def _joint(posture, joint, value):
    if posture.plan.model.bodies[joint].slides:
        return Slide(value)
    return Turn(np.cos(value), np.sin(value), value)


def _pull(posture, rod, joint):
    """Rate of `_misfit` per turn of a joint."""
    return pull(posture, rod, joint) * (1.0 / posture.plan.model.rod_length(rod))


def _misfit(posture, rod):
    """Half the excess of a rod's squared length over its length: its stretch, to first order."""
    p, q = (posture.place(end) for end in posture.plan.model.rods[rod].ends)
    length = posture.dimensions.lengths[rod]
    square = sum((a - b) * (a - b) for a, b in zip(p, q, strict=True))
    return (square - length * length) * (0.5 / posture.plan.model.rod_length(rod))


def _sizes(values):
    """Largest size of enclosures over their cells, (values, n)."""
    return np.stack([(v.sizes[2] + v.rest) * GROW for v in values])


def _as_enclosures(*values):
    known = [v for v in values if isinstance(v, Enclosure)]
    ndim = max(k.rows.ndim for k in known) - 1
    shape = np.broadcast_shapes(*(fitted(k.rows, ndim).shape for k in known))
    made = []
    for value in values:
        rows = np.zeros(shape)
        if isinstance(value, Enclosure):
            rows[...] = fitted(value.rows, ndim)
        else:
            rows[0] = value
        made.append(Enclosure(rows))
    return made


def _closed(a, b, c, sign) -> Enclosure:
    """The turn that closes the loop over each cell."""
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        tried = _tried(a, b, c, sign)
        cos, sin = np.cos(tried), np.sin(tried)
        missed, steep = a * cos + b * sin - c, b * cos - a * sin
        off = (missed.sizes[2] + missed.rest) * GROW + TINY
        low, high = steep.bounds()
        low = np.where(np.sign(steep.centre) == sign, np.maximum(low, -high), -1.0)
        reach = np.hypot(a.sizes[2] + a.rest, b.sizes[2] + b.rest) * GROW
        trial = 2 * off / low
        sure = (low > 0) & (4 * off * reach * GROW <= low * low) & np.isfinite(trial)
        rest = off / (low - reach * trial) * GROW + TINY
    rows = tried.rows
    rows[-1] = np.where(sure, rest, 0.0)
    if not sure.all():
        rows[:, ~sure] = _clipped(*(Enclosure(k.rows[:, ~sure]) for k in (a, b, c)), sign).rows
    return Enclosure(rows)


def _tried(a, b, c, sign) -> Enclosure:
    """The polynomial tried for the turn: exact at the centre, with the exact slopes and bends."""
    rows = np.zeros(a.rows.shape)
    cos, sin = kernels.turn_close(a.centre, b.centre, c.centre, sign)
    steep = b.centre * cos - a.centre * sin
    rows[0] = np.arctan2(sin, cos)
    missed = a.rows * cos + b.rows * sin - c.rows
    rows[1:-1] = -missed[1:-1] / steep
    line = Enclosure(rows.copy())
    line.rows[1 + len(line.slopes):-1] = 0.0
    left = a * np.cos(line) + b * np.sin(line) - c
    rows[1 + len(line.slopes):-1] = -left.bends / steep
    lost = ~np.isfinite(rows).all(axis=0)
    rows[:, lost] = 0.0
    return Enclosure(rows)


def _clipped(a, b, c, sign) -> Enclosure:
    """The closed form itself; NaN where the whole cell is out of reach, any turn where unsure."""
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        room = a * a + b * b - c * c
        out = (room.bounds()[1] < 0) | np.isnan(room.centre)
        rows = np.arctan2(*kernels.turn_close(a, b, c, sign)[::-1]).rows
    unsure = ~out & ~np.isfinite(rows).all(axis=0)
    rows[:, unsure] = 0.0
    rows[-1, unsure] = np.pi
    rows[:, out] = np.nan
    return Enclosure(rows)
