"""A system that can be moved: it solves any array of stick positions."""

from __future__ import annotations

import copy
import math
from collections.abc import Callable, Hashable, Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from html import escape
from typing import TYPE_CHECKING, Any

import numpy as np

from ..errors import MotionError, mm, nearest
from ..model import AIRFRAME, Model
from ..units import lengths_said_in, shown_length
from .moved import Motion
from .plan import DEAD_CENTRE, Close, Couple, Drive, Together, body_of, make_plan
from .posture import Dimensions, Posture, Slide, Turn
from .rates import jacobian
from .together import follow

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

BLOCK = 12288  # positions worked at once: arrays stay in the cache and below 128 KiB, from which on
# malloc may take the pages of each one anew
BEYOND = 10.0  # degrees (mm) past the wanted travel in which travels, gaps and stops are looked for
WAY_STEPS = 64  # along the way from neutral on which whole turns are counted; more where
WAY_STRIDE = 0.1  # radians would be passed in one by what moves on it
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

    @property
    def slides(self) -> bool:
        """Whether it is counted in mm along a slide rather than in degrees."""
        return self.unit == "mm"

    @property
    def scale(self) -> float:
        """What one of its unit is inside the kernels: radians per degree, or 1 for a slide."""
        return 1.0 if self.slides else math.radians(1.0)


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
    >>> from linkage import parse_model
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
        self.model, self._kept = model, {}
        with lengths_said_in(model.length):
            self.plan = make_plan(model)
            self.dimensions = Dimensions.of(model)
            self.inputs = {name: _control(model, name) for name in model.inputs}
            self._neutral = self._settled({name: 0.0 for name in self.inputs}, self.dimensions)
            self._check_neutral()

    def __repr__(self):
        return f'System("{self.model.title}": {"; ".join(self._travels())})'

    def _repr_html_(self):
        rows = "".join(f"<tr><td>{escape(line)}</td></tr>" for line in self._travels())
        return f"<table><caption>{escape(self.model.title)}</caption>{rows}</table>"

    def _travels(self):
        for name, control in self.inputs.items():
            yield f"{name} {control.travel[0]:g} to {control.travel[1]:g}{control.unit}"
        yield f"surfaces {', '.join(self.model.surfaces) or 'none'}"

    def sweep(self, **inputs: ArrayLike) -> Motion:
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

    def sweep_with(self, dimensions: Dimensions, **inputs: ArrayLike) -> Motion:
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
            states = self._by_blocks(full, shape, dimensions)
        return Motion(self, full, dimensions, states, shape)

    def travel_box(self, beyond: float = 0.0) -> dict:
        """Wanted travel of every input that drives something, widened at both ends.

        Parameters
        ----------
        beyond : float
            Degrees (mm) added at each end.

        Returns
        -------
        dict
            ``{input: (least, greatest)}``.
        """
        return {name: (control.travel[0] - beyond, control.travel[1] + beyond)
                for name, control in self.inputs.items() if control.body is not None}

    def kept(self, key: Hashable, work: Callable[[], Any]) -> Any:
        """Work something out of this system once, and keep it as long as the system is there."""
        if key not in self._kept:
            self._kept[key] = work()
        return self._kept[key]

    def __getstate__(self):
        return {**self.__dict__, "_kept": {}}  # a copy may be changed, another process starts anew

    def only(self, bodies: Iterable[str]) -> System:
        """The system solving only what some bodies need; every other body stays at neutral."""
        pruned = copy.copy(self)
        pruned.plan = self.plan.only(bodies)
        return pruned

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

    def _by_blocks(self, inputs, shape, dimensions):
        """States over a large array, worked in blocks along its first long axis."""
        axis = next(i for i, n in enumerate(shape) if n > 1)
        rows = max(2, BLOCK * shape[axis] // math.prod(shape))
        states = {}
        for start in range(0, shape[axis], rows):
            cut = {name: _rows(value, axis - len(shape), start, rows)
                   for name, value in inputs.items()}
            for joint, state in self._settled(cut, dimensions).states.items():
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
                      if source in step.joints)
        if not isinstance(driver, (Close, Together)):
            return value
        far, steps = _far_turned(posture.states, source)
        if not np.any(far):
            return value
        along = [self._settled({n: v * share for n, v in inputs.items()}, posture.dimensions,
                               until=_after(self.plan.steps, driver)).states[source].value
                 for share in np.linspace(0, 1, steps + 1)]
        turned = np.unwrap(np.stack(np.broadcast_arrays(*along)), axis=0)[-1]
        return np.where(far, turned, value)

    def _check_neutral(self):
        for step in self.plan.steps:
            if isinstance(step, Together):
                self._check_together(step)
            if not all(np.isfinite(self._neutral.states[j].value) for j in step.joints):
                short = "; ".join(self._out_of_reach(rod) for rod in step.rods)
                raise MotionError(f"{short}; check its length and points", rods=step.rods)

    def _out_of_reach(self, rod) -> str:
        ends, unit = self.model.rods[rod].ends, self.model.length
        apart = math.dist(*(self.model.position(end) for end in ends))
        return (f'rod "{rod}": {shown_length(self.model.rod_length(rod), unit)} long, can\'t reach '
                f'from "{ends[0]}" to "{ends[1]}" with every input at 0 (they are '
                f"{shown_length(apart, unit)} apart as given)")

    def _check_together(self, step):
        still = {name: Slide(0.0) if body.slides else Turn(1.0, 0.0, 0.0)
                 for name, body in self.model.bodies.items()}
        matrix = jacobian(Posture(self.plan, self.dimensions, still), step)
        size = np.linalg.norm(matrix, axis=0)
        if not np.all(size > 0) or not np.linalg.svd(matrix / size)[1][-1] > DEAD_CENTRE:
            raise MotionError(f"rods {', '.join(step.rods)}: stand at a dead centre of "
                              f"{', '.join(step.joints)} at neutral; move one of their points",
                              rods=step.rods)

    @property
    def neutral(self) -> Posture:
        """Its posture with every input at 0."""
        return self._neutral

    @cached_property
    def offsets(self) -> dict:
        """Angle (mm) of each joint at zero inputs: not 0 where a given rod length differs."""
        return {joint: math.degrees(state.value) if isinstance(state, Turn) else float(state.value)
                for joint, state in self._neutral.states.items()}


def _control(model: Model, name: str) -> Control:
    item = model.inputs[name]
    body = next((b for b, part in model.bodies.items() if part.input == name), None)
    if body is None:
        return Control(name, None, item.travel, item.grip, "mm" if item.in_mm else "°")
    slides, travel = model.bodies[body].slides, item.travel
    if item.in_mm and not slides:
        travel = tuple(_angle_of_movement(model, name, body, way) for way in travel)
    return Control(name, body, travel, _grip_of(model, name, body), "mm" if slides else "°")


def _grip_of(model, name, body):
    """The point that the hand holds: the file's, else the first named grip that rides on `body`."""
    grip = model.inputs[name].grip
    if grip is None:
        riders = [b for b in model.bodies if body in (b, *model.carriers(b))]
        return next((f"{b}/grip" for b in riders if "grip" in model.bodies[b].points), None)
    if body not in (body_of(grip), *_carriers(model, body_of(grip))):
        raise MotionError(f'input "{name}", grip: "{grip}" does not ride on "{body}", which the '
                          f"input drives; name the point that the hand holds", input=name)
    return grip


def _carriers(model, body):
    return model.carriers(body) if body != AIRFRAME else ()


def _angle_of_movement(model, name, body, way) -> float:
    """Angle at which the grip has moved `way` mm straight from neutral: way = 2 r sin(angle/2)."""
    grip = model.inputs[name].grip
    x = np.subtract(model.position(grip), model.bodies[body].centre)
    radius = float(np.linalg.norm(np.cross(model.bodies[body].direction, x)))
    if not abs(way) < 2 * radius:
        raise MotionError(f'input "{name}", travel: the grip is {mm(radius)} from its axis and '
                          f"can't move {mm(abs(way))}; give less, or travel in degrees")
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
    parts = _numbers_of(state)
    if joint not in states:
        whole = {}
        for part, value in parts.items():
            shape = list(np.shape(value))
            if len(shape) >= -axis and shape[axis] > 1:
                shape[axis] = count
            whole[part] = np.empty(shape) if shape != list(np.shape(value)) else value
        states[joint] = type(state)(**whole)
    for part, value in parts.items():
        whole = getattr(states[joint], part)
        if np.shape(whole) != np.shape(value):
            cut = [slice(None)] * np.ndim(value)
            cut[axis] = slice(start, start + np.shape(value)[axis])
            whole[tuple(cut)] = value


def _numbers_of(state) -> dict:
    """What a state is made from, by name; a turn's angle only where it is known already."""
    if isinstance(state, Slide):
        return {"value": state.value}
    known = {} if state.known is None else {"known": state.known}
    return {"cos": state.cos, "sin": state.sin, **known}


def _at_index(dimensions: Dimensions, shape, index) -> Dimensions:
    """Dimensions at some positions of a flattened array."""
    def pick(k):
        return k if np.ndim(k) == 0 else np.ravel(np.broadcast_to(k, shape))[index]

    return replace(dimensions,
                   places={n: tuple(pick(k) for k in p) for n, p in dimensions.places.items()},
                   axes={n: tuple(pick(k) for k in u) for n, u in dimensions.axes.items()},
                   lengths={n: pick(k) for n, k in dimensions.lengths.items()})


def _far_turned(states, source):
    """Where a joint is past 90°, or any other is, and steps from neutral that follow it there."""
    far, steps = np.abs(states[source].value) > math.pi / 2, WAY_STEPS
    for joint, state in states.items():
        if joint == source:
            continue
        turns = isinstance(state, Turn)
        far = far | (np.abs(state.value) > (math.pi / 2 if turns else 0.0))
        if turns and np.isfinite(state.value).any():
            steps = max(steps, math.ceil(float(np.nanmax(np.abs(state.value))) / WAY_STRIDE))
    return far, steps


def _after(steps, step):
    """The step after one, or None at the end."""
    later = steps[steps.index(step) + 1:]
    return later[0] if later else None
