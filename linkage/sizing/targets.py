"""What is asked for, what a choice of dimensions gives of it, and the exact derivatives of that.

Rates of turns come from implicit differentiation.  What is computed from a posture (over-centre
margin, gearing) is differentiated by giving every joint and point its rate as a tiny imaginary
part: the generated kernels are analytic, so that the imaginary part of the result is its
derivative to the last digit (complex step; Squire & Trapp, SIAM Review 40, 1998, from memory).
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np

from .. import gearing
from ..errors import LinkageError
from ..gearing.travels import SIGNS
from ..model import is_rudder
from ..motion import Posture, Rates, Seeds, Slide, System, Turn, body_of, hinge_sign, kernels
from ..stops import drawn_ends
from .dimensions import Layout

TINY = 1e-30  # imaginary part of a complex step: far below the last digit
SCALE = {"over-centre": 1.0, "clearance": 0.25,
         "direction": 0.1}  # degrees, mm, and degrees per degree that weigh like one tolerance
TURNS = 0.02  # degrees per degree (mm) by which a surface at least goes the right way, everywhere
FINEST = 0.01  # degrees; a tolerance of 0 still needs a scale
SQUARE = 1e-6  # sine short of 1 within which a margin's rate is taken from there


@dataclass(frozen=True)
class Aim:
    """One thing asked for.

    Attributes
    ----------
    kind : {"travel", "differential", "gearing", "direction", "over-centre", "clearance"}
    of : str
        Surface, rod end or pair.
    way : str
        Of a travel: up, down, left or right; of an end: its rod; of a direction: which way the
        surface's deflection has to turn for the positive end of the input, "+" or "-".
    input : str
        Empty where nothing moves the surface.
    wanted, within : float
        Degrees, ratio, degrees per degree or mm; `within` is what counts as one share.
    """

    kind: str
    of: str
    way: str
    input: str
    wanted: float
    within: float

    @property
    def least(self) -> bool:
        """Whether more than wanted is as good."""
        return self.kind in SCALE

    @property
    def name(self) -> str:
        """What it is called in a table."""
        if self.kind == "direction":
            return f"{self.of} direction by {self.input}"
        return f"{self.of} {self.way if self.kind == 'travel' else self.kind}"

    @property
    def turn(self) -> float:
        """Sign of a direction."""
        return 1.0 if self.way == "+" else -1.0

    @property
    def scale(self) -> float:
        """What counts as one share of the tolerance."""
        return SCALE[self.kind] if self.least else max(self.within, FINEST)

    def share(self, value: float) -> float:
        """How far off in shares of the tolerance; of a least, what is missing."""
        return (self.wanted - value if self.least else value - self.wanted) / self.scale

    def met(self, value: float) -> bool:
        """Whether a value does."""
        if self.least:
            return bool(value >= self.wanted - 1e-6)
        return bool(abs(value - self.wanted) <= self.within + 1e-6)


def aims_of(system: System) -> tuple[Aim, ...]:
    """Everything asked for but clearance, in the file's order.

    Parameters
    ----------
    system : System

    Returns
    -------
    tuple of Aim
    """
    return (*_travels(system), *_ratios(system), *_directions(system), *_margins(system))


def _travels(system):
    for surface, part in system.model.surfaces.items():
        for require in part.require:
            name = require.input or gearing.driving_input(system, surface)
            for way in SIGNS:
                if getattr(require, way) is not None:
                    yield Aim("travel", surface, way, name or "", getattr(require, way),
                              require.within)


def _ratios(system):
    """Gearings and differentials."""
    for part in system.model.size.targets.values():
        name = part.input or gearing.driving_input(system, part.surface)
        kind = "gearing" if part.differential is None else "differential"
        yield Aim(kind, part.surface, "", name or "", part.wanted, part.within)


def _margins(system):
    least = system.model.size.over_centre
    if least is not None:
        for rod in system.model.rods:
            for end in system.sweep().margins(rod):
                yield Aim("over-centre", end, rod, "", least, 0.0)


def _directions(system):
    """Directions that hold along a whole input; a spoiler's one side and what may turn back not."""
    for surface in system.model.surfaces:
        moved = gearing.moved_by(system, surface)
        for name, most in moved.items():
            due = gearing.expected(system, surface, name)
            if gearing.commands(most, moved) and not isinstance(due, str) and \
                    not due.one_sided and not due.back:
                yield Aim("direction", surface, "+" if due.sign > 0 else "-", name, TURNS, 0.0)


@dataclass(frozen=True)
class Places:
    """Where a choice of dimensions is looked at.

    Attributes
    ----------
    ends : dict
        ``{input: (least, greatest)}``: the drawn stops that govern, else the wanted travel.
    between : tuple of (str, float)
        Inputs and positions within where a surface may go farther than at an end.
    """

    ends: dict
    between: tuple = ()


def judged_ends(system: System) -> dict:
    """Ends between which travels are judged: ``{input: (least, greatest)}``.

    Where the stops can't be found, as while dimensions are tried, the wanted travel.
    """
    if not system.model.stops:
        return system.travel_box()
    try:
        return drawn_ends(system)
    except LinkageError:
        return system.travel_box()


class Trial:
    """What a choice of dimensions gives, with rates.

    Parameters
    ----------
    system : System
        Near the choice, so that every rod is assembled the right way round.
    layout : Layout
    values : ndarray, shape (k,)
        mm and degrees.
    places : Places, optional
        The wanted travel unless given.
    """

    def __init__(self, system: System, layout: Layout, values: np.ndarray,
                 places: Places | None = None):
        self.system = system
        dimensions, seeds = layout.dimensions(values)
        self.index, positions = _positions(places or Places(system.travel_box()))
        self.motion = system.sweep_with(dimensions, **positions)
        with np.errstate(invalid="ignore", divide="ignore"):
            self.rates = Rates(self.motion.posture, seeds)
            self.dual = _dual(self.motion.posture, self.rates, seeds, len(values))
        self._by_input = {}

    def give(self, aim: Aim) -> tuple[float, np.ndarray]:
        """Value and rates of one aim.

        Parameters
        ----------
        aim : Aim

        Returns
        -------
        (float, ndarray (k,))
            NaN where out of reach.
        """
        if aim.kind != "over-centre" and not aim.input:
            return np.nan, np.zeros(self.dual.count)
        if aim.kind == "travel":
            return self._travel(aim.of, self.index[aim.input], SIGNS[aim.way])
        if aim.kind == "differential":
            return self._differential(aim)
        if aim.kind == "gearing":
            return self._gearing(aim)
        if aim.kind == "direction":
            return self._direction(aim)
        return self._margin(aim)

    def _travel(self, surface, places, sign):
        body = self.system.model.surfaces[surface].body
        turned = sign * self.motion.deflection(surface)[places]
        if not np.isfinite(turned).all():
            return np.nan, np.zeros(self.dual.count)
        best = int(turned.argmax())
        rate = np.broadcast_to(self.rates.joints.get(body, 0.0),
                               (self.dual.count, *self.motion.shape))[:, places[best]]
        sense = sign * hinge_sign(self.system.model.bodies[body])
        return float(turned[best]), np.degrees(rate) * sense

    def _differential(self, aim):
        rudder = is_rudder(self.system.model.bodies[self.system.model.surfaces[aim.of].body])
        ends, ways = self.index[aim.input][:2], ("left", "right") if rudder else ("up", "down")
        (up, d_up), (down, d_down) = (self._travel(aim.of, ends, SIGNS[way]) for way in ways)
        if not down > 0:
            return np.nan, d_up * 0
        return up / down, (d_up - up / down * d_down) / down

    def _gearing(self, aim):
        values, rates = self._signed_gearings(aim)
        return abs(float(values[0])), rates[:, 0] * np.sign(values[0])

    def _direction(self, aim):
        """Gearing the right way where it is least: at neutral and at every place looked at."""
        sign = aim.turn * hinge_sign(self.system.model.bodies[
            self.system.model.surfaces[aim.of].body])
        values, rates = (part * sign for part in self._signed_gearings(aim))
        if not np.isfinite(values).all():
            return np.nan, np.zeros(self.dual.count)
        worst = int(values.argmin())
        return float(values[worst]), rates[:, worst]

    def _signed_gearings(self, aim):
        """Gearing about the body's axis as written, at neutral first and at its input's places.

        Values (places,) and their rates (k, places).
        """
        system, name = self.system, aim.input
        places = [0, *self.index[name]]
        if name not in self._by_input:
            with np.errstate(invalid="ignore", divide="ignore"):
                self._by_input[name] = Rates(self.dual.at(places), Seeds(inputs={name: 1.0}))
        rate = np.broadcast_to(
            self._by_input[name].joints.get(system.model.surfaces[aim.of].body, 0.0),
            (self.dual.count, len(places)))
        per = np.degrees(1.0) if system.inputs[name].slides else 1.0
        return rate[0].real * per, rate.imag / TINY * per

    def _margin(self, aim):
        model, end = self.system.model, aim.of
        other = next(e for e in model.rods[aim.way].ends if e != end)
        body = body_of(end)
        frame, u = model.bodies[body].on, self.motion.posture.dimensions.axes[body]
        here, there = (self.dual.posture.place(e, frame) for e in (end, other))
        e = [b - a for a, b in zip(here, there, strict=True)]
        with np.errstate(invalid="ignore", divide="ignore"):  # an arm of no length has none
            if model.bodies[body].slides:
                sine = kernels.slide_margin(u, e)
            else:
                centre = self.dual.posture.place(f"{body}/pivot", frame)
                sine = kernels.turn_margin(here, centre, u, e)
        sine = np.broadcast_to(sine, (self.dual.count, *self.motion.shape))
        size = np.abs(sine[0].real)
        if not np.isfinite(size).all():
            return np.nan, np.zeros(self.dual.count)
        worst = int(size.argmin())
        slope = np.sign(sine[0, worst].real) / np.sqrt(max(1 - size[worst] ** 2, SQUARE))
        return (float(np.degrees(np.arcsin(min(size[worst], 1.0)))),
                np.degrees(sine[:, worst].imag / TINY * slope))


def _positions(places):
    """Neutral, both ends of every input, places between, and a grid of all inputs together.

    And which of them are an input's own, its two ends first.
    """
    box, between = places.ends, places.between
    rows, index = [dict.fromkeys(box, 0.0)], {name: [] for name in box}
    ends = [(name, end) for name, travel in box.items() for end in travel]
    for name, position in [*ends, *between]:
        index[name].append(len(rows))
        rows.append(dict.fromkeys(box, 0.0) | {name: position})
    rows += _all_together(box)
    return index, {name: np.array([row[name] for row in rows]) for name in box}


def _all_together(box) -> list[dict]:
    """Ends, and of two inputs half-way to them too, of every input with those of every other."""
    shares = (1.0, 0.5) if len(box) < 3 else (1.0,)
    sides = [[*(end * share for end in travel for share in shares), 0.0]
             for travel in box.values()]
    return [dict(zip(box, row, strict=True)) for row in itertools.product(*sides)]


@dataclass(frozen=True)
class _Dual:
    """A posture with its rates as imaginary parts, shape (count, positions)."""

    posture: Posture
    count: int

    def at(self, positions: list[int]) -> Posture:
        """The posture at some of the positions, shape (count, positions)."""
        def pick(k):
            return k[..., positions] if np.ndim(k) and np.shape(k)[-1] > 1 else k

        states = {j: Slide(pick(s.value)) if isinstance(s, Slide) else
                  Turn(pick(s.cos), pick(s.sin), pick(s.value))
                  for j, s in self.posture.states.items()}
        held = self.posture.dimensions
        picked = replace(held, places={n: tuple(pick(k) for k in p)
                                       for n, p in held.places.items()},
                         lengths={n: pick(k) for n, k in held.lengths.items()})
        return replace(self.posture, states=states, dimensions=picked, _seen={})


def _dual(posture, rates, seeds, count) -> _Dual:
    def grown(value, rate):
        return value + 1j * TINY * rate

    held = posture.dimensions
    places = {n: tuple(grown(k, r) for k, r in zip(p, seeds.places[n], strict=True))
              if n in seeds.places else p for n, p in held.places.items()}
    lengths = {n: grown(k, seeds.lengths[n]) if n in seeds.lengths else k
               for n, k in held.lengths.items()}
    states = {}
    for joint, state in posture.states.items():
        rate = rates.joints[joint]
        states[joint] = Slide(grown(state.value, rate)) if isinstance(state, Slide) else \
            Turn(grown(state.cos, -state.sin * rate), grown(state.sin, state.cos * rate),
                 grown(state.value, rate))
    return _Dual(Posture(posture.plan, replace(held, places=places, lengths=lengths), states),
                 count)
