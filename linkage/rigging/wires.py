"""Wires that cross from one part to another: how long, how closely bent, what they chafe on."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from ..clearances import scene_of
from ..errors import LinkageError, nearest
from ..geometry.triangles import Triangles
from ..model import AIRFRAME
from ..model.keys import unit_vector
from ..motion import System, body_of, enclose
from ..search import extreme, may_rise
from ..stops import judged_box
from ..units import in_house_units
from .carried_solids import CarriedSolid, Frames
from .loops import arc_chain, bend_radius, length_needed

if TYPE_CHECKING:
    import pandas as pd

WITHIN = 1e-3  # mm between the extreme met and the one proven, when enough is proven
MOST_CELLS = 20_000
ROUNDS = 20
STEPS = (7, 13, 25, 49)  # stick positions per input at which a loop is measured, till decided
HELD = 600  # pieces about a mesh or skin, which wires are held away from
MOST_LOOPS = 3000  # stick positions of a grid with however many inputs
PIECES = 24  # of the chain that stands for a loop


@dataclass(frozen=True)
class Chord:
    """Distance of a wire's two clamps over the whole wanted travel, mm.

    Attributes
    ----------
    least, greatest : float
        Met at a stick position each.
    least_at, greatest_at : dict
        ``{input: degrees (mm)}``.
    never_less, never_more : float
        Proven for every position of the travel.
    """

    least: float
    greatest: float
    least_at: dict
    greatest_at: dict
    never_less: float
    never_more: float


def chord(system: System, wire: str) -> Chord:
    """Exact extremes of the distance between a wire's clamps over the whole wanted travel.

    Parameters
    ----------
    system : System
    wire : str

    Returns
    -------
    Chord
    """
    clamps = _wire(system, wire).clamps
    box = _box(system, *(body_of(clamp) for clamp in clamps))
    pruned = system.only([body_of(c) for c in clamps if body_of(c) != AIRFRAME])

    def apart(*sides):
        motion = pruned.sweep(**dict(zip(box, sides, strict=True)))
        return np.linalg.norm(motion.point(clamps[0]) - motion.point(clamps[1]), axis=-1)

    extremes = []
    for sense in (1.0, -1.0):
        value, place = extreme(lambda *s, k=sense: k * apart(*s), list(box.values())) if box \
            else (sense * float(apart()), [])
        proven = _proven_least(pruned, clamps, box, sense, value)
        extremes.append((sense * value, dict(zip(box, map(float, place), strict=True)),
                         sense * proven))
    (least, least_at, low), (greatest, greatest_at, high) = extremes
    return Chord(least, greatest, least_at, greatest_at, low, high)


def _wire(system, name):
    wires = system.model.wires
    if name not in wires:
        raise LinkageError(f'no wire "{name}"; {nearest(name, wires)}', wire=name)
    return wires[name]


def _box(system, one: str, other: str) -> dict:
    """Travel, as the stops leave it, of the inputs that move one part against another."""
    needs = system.plan.depends_on()
    joints = [joint for joint, _ in system.plan.route(one, other)]
    moving = frozenset().union(*(needs[joint] for joint in joints))
    return {name: travel for name, travel in judged_box(system).items() if name in moving}


def _proven_least(system, clamps, box, sense, met) -> float:
    """Lower bound of the signed chord over the box, by ever smaller cells about what is open."""
    if not box:
        return met
    sides = np.array(list(box.values()))
    centres, halves = sides.mean(axis=1)[None], np.ptp(sides, axis=1)[None] / 2
    closed = np.inf
    for _ in range(ROUNDS):
        low = _bound(system, clamps, box, centres, halves, sense)
        open_ = low < met - WITHIN
        closed = min(closed, low[~open_].min(initial=np.inf))
        if not open_.any() or open_.sum() * 2 ** len(box) > MOST_CELLS:
            return float(min(met, closed, low.min()))
        centres, halves = _split(centres[open_], halves[open_])
    return float(min(met, closed, low.min()))


def _bound(system, clamps, box, centres, halves, sense):
    posture = enclose(system, {n: centres[:, i] for i, n in enumerate(box)},
                      {n: halves[:, i] for i, n in enumerate(box)})
    one, other = (posture.place(clamp) for clamp in clamps)
    low, high = sum((a - b) * (a - b) for a, b in zip(one, other, strict=True)).bounds()
    with np.errstate(invalid="ignore"):
        bound = np.sqrt(np.maximum(low, 0.0)) if sense > 0 else -np.sqrt(high)
    lost = np.isnan(bound)  # out of reach all over: there is no such stick position
    return np.where(lost, np.inf, bound)


def _split(centres, halves):
    for axis in range(centres.shape[1]):
        halves = halves.copy()
        halves[:, axis] /= 2
        step = np.zeros_like(halves)
        step[:, axis] = halves[:, axis]
        centres = np.concatenate([centres - step, centres + step])
        halves = np.concatenate([halves, halves])
    return centres, halves


@in_house_units(length="least greatest never_more needed to_exit length spare bend bend_limit")
def wire_table(system: System) -> pd.DataFrame:
    """Free length, slack and bend of every wire over the whole wanted travel.

    Parameters
    ----------
    system : System

    Returns
    -------
    DataFrame
        wire, least, greatest (mm between the clamps), least_at, greatest_at (dict of stick
        positions), never_more (mm, proven), needed (mm of free length: the greatest distance, the
        wire's slack, and as much more as its bend limit asks), to_exit (mm from the exit hole to
        the clamp on the same part, NaN without one), length (mm, as given; NaN if not), spare (mm
        at the greatest distance), bend (mm, least radius of the loop taken as an arc), bend_limit
        (mm), ok.
    """
    import pandas as pd

    rows = []
    for name, wire in system.model.wires.items():
        span = chord(system, name)
        needed = length_needed((span.least, span.never_more), wire.slack, wire.bend_limit)
        length = wire.length if wire.length is not None else math.nan
        bend = float(bend_radius(span.least, wire.length or needed))
        spare = length - span.greatest
        ok = wire.length is None or bool(length - span.never_more >= wire.slack - 1e-9
                                         and bend >= wire.bend_limit - 1e-9)
        rows.append([name, span.least, span.greatest, span.least_at, span.greatest_at,
                     span.never_more, needed, _to_exit(system, wire), length, spare, bend,
                     wire.bend_limit, ok])
    return pd.DataFrame(rows, columns=["wire", "least", "greatest", "least_at", "greatest_at",
                                       "never_more", "needed", "to_exit", "length", "spare",
                                       "bend", "bend_limit", "ok"])


def _to_exit(system, wire) -> float:
    runs = [math.dist(system.model.position(clamp), system.model.position(wire.exit))
            for clamp in wire.clamps if wire.exit and body_of(clamp) == body_of(wire.exit)]
    return runs[0] if runs else math.nan


@in_house_units(length="gap may_be reach required")
def chafe(system: System, wire: str) -> pd.DataFrame:
    """What the loop of a wire comes near, at a grid of stick positions over the wanted travel.

    Parameters
    ----------
    system : System
    wire : str
        Of its given length, or as long as it has to be.

    Returns
    -------
    DataFrame
        One row per solid within reach: solid, gap (mm, least of the loop taken as an arc that
        lies its own way), may_be (mm, what it may come to between those positions, by second
        differences), reach (mm, no shape of the wire comes nearer: its points lie in an ellipsoid
        about the clamps; between the positions by second differences too), required (mm), one
        column per input (where gap is least), ok (may_be is enough).  Solids whose reach is what
        is required or more are left out, and so are those a clamp sits on.  Sampled in stick
        positions, more of them where few decide nothing; not proven between them.
        ``attrs["steps"]``: positions of each input.
    """
    item = _wire(system, wire)
    for steps in STEPS:
        table = _looked_at(system, item, steps)
        open_ = (table["gap"] >= table["required"]) & ~table["ok"].astype(bool)
        if not open_.any() or (2 * steps) ** len(judged_box(system)) > MOST_LOOPS:
            break
    return table


def _looked_at(system, wire, steps):
    """What a wire comes near at a grid of stick positions, as `chafe` gives it."""
    import pandas as pd

    loop, rows = _Loop(system, wire, steps), []
    required, frames = system.model.clearance.wire, Frames(loop.motion)
    for name in system.model.solids:
        solid = CarriedSolid(frames, _held(scene_of(system).solid(name)))
        reach = loop.reach(solid, required)
        if reach is not None and reach < required:
            gap, may_be, at = loop.gap(solid)
            rows.append([name, gap, may_be, reach, required, *at, bool(may_be >= required)])
    table = pd.DataFrame(rows, columns=["solid", "gap", "may_be", "reach", "required", *loop.box,
                                        "ok"])
    table.attrs["steps"] = steps
    return table.sort_values("gap", kind="stable", ignore_index=True)


def _held(solid):
    """A solid itself, or of a mesh a few hundred pieces that hold it: never farther off."""
    if not isinstance(solid.pieces, Triangles):
        return solid
    return replace(solid, pieces=solid.pieces.held(HELD))


class _Loop:
    """A wire's loop at a grid of stick positions."""

    def __init__(self, system, wire, steps):
        self.system, self.wire = system, wire
        self.box = judged_box(system)
        self.sides = [np.linspace(*travel, steps) for travel in self.box.values()]
        grid = [side.ravel() for side in np.meshgrid(*self.sides, indexing="ij")]
        self.grid = np.stack(grid, axis=-1) if grid else np.zeros((1, 0))
        self.motion = system.sweep(**dict(zip(self.box, grid, strict=True)))
        count = len(self.grid)
        self.clamps = [np.broadcast_to(self.motion.point(c), (count, 3)) for c in wire.clamps]
        apart = np.linalg.norm(self.clamps[0] - self.clamps[1], axis=-1)
        self.length = wire.length if wire.length is not None else length_needed(
            (np.nanmin(apart), np.nanmax(apart)), wire.slack, wire.bend_limit)
        self.corners, self.stray = arc_chain(self.clamps, self.length,
                                                unit_vector(wire.sag), PIECES)

    def reach(self, solid: CarriedSolid, required: float) -> float | None:
        """Least gap that any shape of the wire leaves, mm; None where a clamp sits on the solid.

        A point w of the wire has |w - f| + |w - g| <= length for the clamps f and g; the gap is
        then at least half of what the two clamps' own gaps have over the length.  Where that is
        surely `required` or more, None too.
        """
        away = [np.linalg.norm(clamp[:, None] - solid.middles, axis=-1) - solid.about
                for clamp in self.clamps]
        if self._least_reach(*(np.fmin.reduce(k, axis=1) for k in away)) >= required:
            return None
        far = self.length + self.wire.diameter
        away = [solid.least(clamp[:, None, None], 0.0, far) for clamp in self.clamps]
        if any(np.nanmin(k) <= self.wire.diameter for k in away):
            return None
        return self._least_reach(*away)

    def _least_reach(self, one, other) -> float:
        return self._least_between((one + other - self.length) / 2 - self.wire.diameter / 2)

    def _least_between(self, values) -> float:
        """What values (n,) at the positions may come to between them, by second differences."""
        shape = [len(side) for side in self.sides]
        return float(np.nanmin(values - may_rise(values.reshape(shape), self.sides).ravel()))

    def gap(self, solid: CarriedSolid):
        """Least gap of the arc from a solid, mm, what it may be, and where it is met."""
        parts = np.stack([self.corners[:, :-1], self.corners[:, 1:]], axis=2)
        least = solid.least(parts, self.wire.diameter / 2) - self.stray
        n = int(np.nanargmin(least))
        return float(least[n]), self._least_between(least), self.grid[n].tolist()
