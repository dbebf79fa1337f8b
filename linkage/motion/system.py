"""A system that can be moved, and its motion over any array of stick positions."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from .. import kernels
from ..errors import MotionError, nearest
from ..model import AIRFRAME, Model, is_rudder
from .plan import Close, Couple, Drive, Together, body_of, make_plan
from .posture import Dimensions, Posture, Slide, Turn
from .rates import Rates, Seeds
from .together import follow

BLOCK = 16384  # stick positions worked at once: the arrays of a block stay in the cache
FOLLOW_STEP = math.radians(4.0)  # first stride of rods solved together, along the way from neutral


@dataclass(frozen=True)
class Control:
    """An input as it drives the system.

    Attributes
    ----------
    name : str
    body : str or None
        The body it drives; None when the file drives none with it.
    travel : (float, float)
        Wanted travel, degrees (mm for a slide).
    grip : str or None
        Point the hand moves, when one is named "grip" on what it drives.
    unit : {"°", "mm"}
    """

    name: str
    body: str | None
    travel: tuple[float, float]
    grip: str | None
    unit: str


class System:
    """A control system ready to move.

    Parameters
    ----------
    model : Model

    Raises
    ------
    MotionError
        When two things drive one joint, a rod stands at a dead centre, or one can't reach with
        every input at 0.

    Examples
    --------
    >>> from linkage.files import parse_model
    >>> system = System(parse_model('''
    ... length = "mm"
    ... [input.pitch]
    ... travel = [-15, 20]
    ... [body.stick]
    ... pivot = [0, 0, 0]
    ... axis = "lateral"
    ... input = "pitch"
    ... points = { grip = [0, 0, 500] }
    ... '''))
    >>> system.sweep(pitch=[0, 90]).point("stick/grip").round(6).tolist()
    [[0.0, 0.0, 500.0], [500.0, 0.0, 0.0]]
    """

    def __init__(self, model: Model):
        self.model = model
        self.plan = make_plan(model)
        self.dimensions = Dimensions.of(model)
        self.inputs = {name: _control(model, name) for name in model.inputs}
        self._neutral = self._settled({name: 0.0 for name in self.inputs}, self.dimensions)
        self._check_neutral()

    def sweep(self, **inputs) -> Motion:
        """Move the system.

        Parameters
        ----------
        **inputs : array_like
            Degrees (mm for a slide) by input name, broadcast together; inputs left out are 0.

        Returns
        -------
        Motion

        Raises
        ------
        LinkageError
            When an input is unknown, no number, or the shapes don't broadcast.
        """
        return self.sweep_with(self.dimensions, **inputs)

    def sweep_with(self, dimensions: Dimensions, **inputs) -> Motion:
        """Move the system with other dimensions, whose arrays broadcast with the inputs.

        Parameters
        ----------
        dimensions : Dimensions
        **inputs : array_like

        Returns
        -------
        Motion
        """
        values = {name: self._input_value(name, value) for name, value in inputs.items()}
        full = {name: values.get(name, np.float64(0.0)) for name in self.inputs}
        varied = set() if dimensions is self.dimensions else dimensions.shapes()
        try:
            shape = np.broadcast_shapes(*(np.shape(v) for v in full.values()), *varied)
        except ValueError as problem:
            raise MotionError(f"inputs of shapes {[np.shape(v) for v in full.values()]} don't "
                              f"broadcast; give arrays of one shape, or add axes") from problem
        if varied - {()} or math.prod(shape) <= BLOCK:
            states = self._settled(full, dimensions).states
        else:
            states = self._by_blocks(full, shape)
        return Motion(self, full, dimensions, states, shape)

    def _input_value(self, name, value):
        if name not in self.inputs:
            raise MotionError(f'no input "{name}"; {nearest(name, self.inputs)}', input=name)
        try:
            value = np.asarray(value, dtype=float)
        except (TypeError, ValueError) as problem:
            raise MotionError(f'input "{name}": needs numbers in {self.inputs[name].unit}',
                              input=name) from problem
        if not np.all(np.isfinite(value)):
            raise MotionError(f'input "{name}": holds NaN or infinity; give finite numbers',
                              input=name)
        return value

    def _by_blocks(self, inputs, shape):
        """States over a large array, worked in blocks along its first long axis."""
        axis = next(i for i, n in enumerate(shape) if n > 1)
        rows = max(1, BLOCK * shape[axis] // math.prod(shape))
        states = {}
        for start in range(0, shape[axis], rows):
            cut = {name: _rows(value, axis - len(shape), start, rows)
                   for name, value in inputs.items()}
            for joint, state in self._settled(cut, self.dimensions).states.items():
                _put(states, joint, state, (axis - len(shape), start, shape[axis]))
        return states

    def _settled(self, inputs, dimensions, until=None) -> Posture:
        """Posture with the joints of every step before `until` settled."""
        posture = Posture(self.plan, dimensions)
        with np.errstate(invalid="ignore", divide="ignore"):
            for step in self.plan.steps:
                if step is until:
                    break
                if isinstance(step, Drive):
                    slides = self.model.bodies[step.joint].slides
                    value = inputs[step.input]
                    posture.drive(step, value if slides else np.radians(value))
                elif isinstance(step, Couple):
                    posture.couple(step, self._unwrapped(step.source, posture, inputs))
                elif isinstance(step, Close):
                    posture.close(step)
                else:
                    self._follow(posture, step, inputs)
        return posture

    def _follow(self, posture, step: Together, inputs):
        shape = np.broadcast_shapes(*(np.shape(value) for value in inputs.values()),
                                    *posture.dimensions.shapes())
        flat = {name: np.ravel(np.broadcast_to(value, shape)) for name, value in inputs.items()}
        dimensions = posture.dimensions

        def at_share(share, index):
            return self._settled({name: value[index] * share for name, value in flat.items()},
                                 _at_index(dimensions, shape, index), until=step)

        steps = np.zeros(shape)
        for name, value in inputs.items():
            span = self.inputs[name].travel[1] - self.inputs[name].travel[0]
            reach = np.radians(value) if self.inputs[name].unit == "°" else value / span
            steps = np.maximum(steps, np.ceil(np.abs(reach) / FOLLOW_STEP))
        follow(posture, step, at_share, steps)

    def _unwrapped(self, source, posture, inputs):
        """Angle of a coupling's source, unwrapped along the straight line from neutral."""
        value = posture.states[source].value
        driver = next(step for step in self.plan.steps
                      if source in getattr(step, "joints", (getattr(step, "joint", None),)))
        if not isinstance(driver, (Close, Together)) or \
                not np.any(np.abs(value) > math.pi / 2):
            return value
        along = [self._settled({n: v * share for n, v in inputs.items()}, posture.dimensions,
                               until=_after(self.plan.steps, driver)).states[source].value
                 for share in np.linspace(0, 1, 65)]
        return np.unwrap(np.stack(np.broadcast_arrays(*along)), axis=0)[-1]

    def _check_neutral(self):
        for step in self.plan.steps:
            joints = getattr(step, "joints", None) or (step.joint,)
            if all(np.isfinite(self._neutral.states[j].value) for j in joints):
                continue
            rods = getattr(step, "rods", None) or (step.rod,)
            told = []
            for rod in rods:
                ends = self.model.rods[rod].ends
                apart = math.dist(*(self.model.position(end) for end in ends))
                told.append(f'rod "{rod}": {self.model.rod_length(rod):.3f} mm long, can\'t reach '
                            f'from "{ends[0]}" to "{ends[1]}" with every input at 0')
                told[-1] += f" (they are {apart:.3f} mm apart as given)"
            raise MotionError("; ".join(told) + "; check its length and points", rods=rods)

    @cached_property
    def offsets(self) -> dict:
        """Angle (mm) of each joint at zero inputs: not 0 where a given rod length differs."""
        return {joint: math.degrees(state.value) if isinstance(state, Turn) else float(state.value)
                for joint, state in self._neutral.states.items()}


class Motion:
    """Where every part of a system goes over an array of stick positions.

    Made by `System.sweep`; every result keeps the broadcast shape of the inputs.
    """

    def __init__(self, system, inputs, dimensions, states, shape):
        self.system, self.inputs, self.shape = system, inputs, shape
        self.posture = Posture(system.plan, dimensions, states)

    def flat_posture(self) -> Posture:
        """The posture with every joint's state along one axis of positions, or alone."""
        def flat(k):
            return np.broadcast_to(k, self.shape).ravel() if np.size(k) > 1 else np.ravel(k)[0]

        states = {joint: Slide(flat(s.value)) if isinstance(s, Slide) else
                  Turn(flat(s.cos), flat(s.sin), flat(s.value))
                  for joint, s in self.posture.states.items()}
        return Posture(self.system.plan, self.posture.dimensions, states)

    def angle(self, body: str) -> np.ndarray:
        """Angle of a body from neutral about its axis as written.

        Parameters
        ----------
        body : str

        Returns
        -------
        ndarray, shape (...)
            Degrees in (-180, 180], mm for a slide; NaN where out of reach.
        """
        self._known(body, self.system.model.bodies, "body")
        state = self.posture.states.get(body)
        if state is None:
            return np.zeros(self.shape)
        value = state.value if isinstance(state, Slide) else wrapped(np.degrees(state.value))
        return self._full(value)

    def deflection(self, surface: str) -> np.ndarray:
        """Deflection of a surface about its hinge line.

        Parameters
        ----------
        surface : str

        Returns
        -------
        ndarray, shape (...)
            Degrees, trailing edge down positive (left for a rudder); NaN where out of reach.
        """
        self._known(surface, self.system.model.surfaces, "surface")
        body = self.system.model.surfaces[surface].body
        return self.angle(body) * hinge_sign(self.system.model.bodies[body])

    def point(self, address: str) -> np.ndarray:
        """Where a point is.

        Parameters
        ----------
        address : str
            ``"part/point"``; "pivot" is a point of every body.

        Returns
        -------
        ndarray, shape (..., 3)
            Stations FS, BL, WL in mm; NaN where out of reach.
        """
        self._known(address, self.system.model.points, "point")
        return np.stack([self._full(k) for k in self.posture.place(address)], axis=-1)

    @property
    def reachable(self) -> np.ndarray:
        """Where every rod reaches: bool, shape (...)."""
        good = np.ones((), bool)
        for state in self.posture.states.values():
            good = good & np.isfinite(state.value)
        return self._full(good)

    def gearing(self, surface: str) -> dict:
        """Local gearing: turn of a surface per degree (mm) of each input.

        Parameters
        ----------
        surface : str

        Returns
        -------
        dict
            ``{input: ndarray (...)}``, degrees per degree, exact derivatives.
        """
        self._known(surface, self.system.model.surfaces, "surface")
        body = self.system.model.surfaces[surface].body
        sign = hinge_sign(self.system.model.bodies[body])
        return {name: self._full(sign * rate) for name, rate in self.body_gearing(body).items()}

    def body_gearing(self, body: str) -> dict:
        """Rate of a body's angle (mm) per degree (mm) of each input, shape (...)."""
        self._known(body, self.system.model.bodies, "body")
        rate = self.input_rates.joints.get(body, 0.0)
        slides = self.system.model.bodies[body].slides
        found = {}
        for i, name in enumerate(self.system.inputs):
            each = rate[i] if np.ndim(rate) else rate
            per = 1.0 if slides == (self.system.inputs[name].unit == "mm") else (
                math.radians(1.0) if slides else math.degrees(1.0))
            found[name] = self._full(each * per)
        return found

    @cached_property
    def input_rates(self) -> Rates:
        """Rates of every joint and point per radian (mm) of each input, in the inputs' order."""
        count = len(self.system.inputs)
        seeds = {name: np.eye(count)[i].reshape(count, *(1,) * len(self.shape))
                 for i, name in enumerate(self.system.inputs)}
        with np.errstate(invalid="ignore", divide="ignore"):
            return Rates(self.posture, Seeds(inputs=seeds))

    def margins(self, rod: str) -> dict:
        """Over-centre margin of both ends of a rod: 0 at dead centre, 90 square.

        Parameters
        ----------
        rod : str

        Returns
        -------
        dict
            ``{"part/point": ndarray (...)}`` degrees, for the ends on a joint.
        """
        self._known(rod, self.system.model.rods, "rod")
        ends = self.system.model.rods[rod].ends
        found = {}
        for end, other in (ends, ends[::-1]):
            body = body_of(end)
            if body == AIRFRAME or body not in self.posture.states:
                continue
            frame = self.system.model.bodies[body].on
            here, there = self.posture.place(end, frame), self.posture.place(other, frame)
            e = [b - a for a, b in zip(here, there, strict=True)]
            u = self.posture.dimensions.axes[body]
            with np.errstate(invalid="ignore", divide="ignore"):
                if self.system.model.bodies[body].slides:
                    sine = kernels.slide_margin(u, e)
                else:
                    centre = self.posture.dimensions.places[f"{body}/pivot"]
                    sine = kernels.turn_margin(here, centre, u, e)
                found[end] = self._full(np.degrees(np.arcsin(np.clip(np.abs(sine), 0, 1))))
        return found

    def stretch(self, rod: str) -> np.ndarray:
        """Distance between a rod's ends less its length: 0 but for a redundant rod.

        Parameters
        ----------
        rod : str

        Returns
        -------
        ndarray, shape (...)
            mm.
        """
        self._known(rod, self.system.model.rods, "rod")
        p, q = (self.posture.place(end) for end in self.system.model.rods[rod].ends)
        apart = np.sqrt(sum((a - b) ** 2 for a, b in zip(p, q, strict=True)))
        return self._full(apart - self.posture.dimensions.lengths[rod])

    def _known(self, name, known, what):
        if name not in known:
            raise MotionError(f'no {what} "{name}"; {nearest(name, known)}', name=name)

    def _full(self, value):
        return np.array(np.broadcast_to(value, self.shape))


def wrapped(degrees):
    """Angles in (-180, 180].

    Examples
    --------
    >>> wrapped(np.array([190.0, -180.0, 12.0])).tolist()
    [-170.0, 180.0, 12.0]
    """
    return -((-np.asarray(degrees) + 180.0) % 360.0 - 180.0)


def hinge_sign(body) -> float:
    """+1 when a positive turn about a hinge as written is trailing edge down (rudder: left)."""
    u = body.direction
    if is_rudder(body):
        return 1.0 if u[2] < 0 else -1.0
    return 1.0 if u[1] > 0 else -1.0


def _control(model: Model, name: str) -> Control:
    item = model.inputs[name]
    body = next((b for b, part in model.bodies.items() if part.input == name), None)
    grip, travel = item.grip, item.travel
    if body is None:
        return Control(name, None, travel, grip, "mm" if item.in_mm else "°")
    if grip is None:
        riders = [b for b in model.bodies if body in (b, *model.carriers(b))]
        grip = next((f"{b}/grip" for b in riders if "grip" in model.bodies[b].points), None)
    if item.in_mm and not model.bodies[body].slides:
        travel = tuple(_angle_of_movement(model, name, body, way) for way in travel)
    return Control(name, body, travel, grip, "mm" if model.bodies[body].slides else "°")


def _angle_of_movement(model, name, body, way) -> float:
    """Angle at which the grip has moved `way` mm straight from neutral: way = 2 r sin(angle/2)."""
    grip = model.inputs[name].grip
    x = np.subtract(model.position(grip), model.bodies[body].centre)
    radius = float(np.linalg.norm(np.cross(model.bodies[body].direction, x)))
    if not abs(way) < 2 * radius:
        raise MotionError(f'input "{name}", travel: the grip is {radius:.1f} mm from its axis and '
                          f"can't move {abs(way):.1f} mm; give less, or travel in degrees")
    return math.degrees(2 * math.asin(way / (2 * radius)))


def _rows(value, axis, start, rows):
    if np.ndim(value) < -axis or np.shape(value)[axis] == 1:
        return value
    cut = [slice(None)] * np.ndim(value)
    cut[axis] = slice(start, start + rows)
    return value[tuple(cut)]


def _put(states, joint, state, where):
    """Put the state of a block into the whole."""
    axis, start, count = where
    parts = {"value": state.value} if isinstance(state, Slide) else \
        {"cos": state.cos, "sin": state.sin, "known": state.value}
    if joint not in states:
        whole = {}
        for part, value in parts.items():
            shape = list(np.shape(value))
            if len(shape) >= -axis and shape[axis] > 1:
                shape[axis] = count
            whole[part] = np.empty(shape) if shape != list(np.shape(value)) else value
        states[joint] = Slide(**whole) if isinstance(state, Slide) else Turn(**whole)
    for part, value in parts.items():
        whole = getattr(states[joint], part)
        if np.shape(whole) != np.shape(value):
            cut = [slice(None)] * np.ndim(value)
            cut[axis] = slice(start, start + np.shape(value)[axis])
            whole[tuple(cut)] = value


def _at_index(dimensions: Dimensions, shape, index) -> Dimensions:
    """Dimensions at some positions of a flattened array."""
    def pick(k):
        return k if np.ndim(k) == 0 else np.ravel(np.broadcast_to(k, shape))[index]

    return replace(dimensions,
                   places={n: tuple(pick(k) for k in p) for n, p in dimensions.places.items()},
                   axes={n: tuple(pick(k) for k in u) for n, u in dimensions.axes.items()},
                   lengths={n: pick(k) for n, k in dimensions.lengths.items()})


def _after(steps, step):
    """The step after one, or None at the end."""
    later = steps[steps.index(step) + 1:]
    return later[0] if later else None
