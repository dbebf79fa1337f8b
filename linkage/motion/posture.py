"""One posture, or a million: joints found in the plan's order, and points carried by them.

The numbers may be floats, arrays of any broadcast shape, complex arrays or enclosures over cells
of travel: the kernels are the same.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from ..model import AIRFRAME, Model
from . import kernels
from .plan import Close, Couple, Drive, Plan, body_of

if TYPE_CHECKING:
    from numpy.typing import ArrayLike


@dataclass(frozen=True)
class Turn:
    """State of a turning joint; the angle is in radians and worked out when first asked for."""

    cos: object
    sin: object
    known: object = None

    @cached_property
    def value(self) -> Any:
        """Turn from neutral, radians."""
        return np.arctan2(self.sin, self.cos) if self.known is None else self.known


@dataclass(frozen=True)
class Slide:
    """State of a sliding joint: way from neutral, mm."""

    value: object


@dataclass(frozen=True)
class Dimensions:
    """Every length the motion depends on; an entry may be an array or an enclosure.

    Attributes
    ----------
    places : dict
        ``{"part/point": (x, y, z)}``, pivots included, mm.
    axes : dict
        ``{body: (x, y, z)}``, unit vectors.
    lengths : dict
        ``{rod: mm}``.
    """

    places: dict
    axes: dict
    lengths: dict

    def shapes(self) -> set:
        """Shapes of the entries that are arrays."""
        entries = [k for table in (self.places, self.axes) for entry in table.values()
                   for k in entry]
        return {() if isinstance(k, float) else np.shape(k)
                for k in (*entries, *self.lengths.values())}

    @classmethod
    def of(cls, model: Model) -> Dimensions:
        """The dimensions as described."""
        return cls({name: model.position(name) for name in model.points},
                   {name: body.direction for name, body in model.bodies.items()},
                   {name: model.rod_length(name) for name in model.rods})


@dataclass
class Posture:
    """Joints of a system settled so far, and where they carry its points.

    Attributes
    ----------
    plan : Plan
    dimensions : Dimensions
    states : dict
        ``{body: Turn or Slide}``; a body without a state stays at neutral.
    """

    plan: Plan
    dimensions: Dimensions
    states: dict = field(default_factory=dict)
    rows = None  # rows of its enclosures; plain numbers have none
    _seen: dict = field(default_factory=dict)

    def place(self, address: str, frame: str = AIRFRAME) -> Any:
        """A point as seen from a body: where it is in the frame that turns with it, mm."""
        return self.remembered((address, frame), lambda: self._carried(address, frame))

    def _carried(self, address, frame):
        p = self.dimensions.places[address]
        for joint, outward in self.plan.route(body_of(address), frame):
            p = self.crossed(p, joint, outward)
        return p

    def remembered(self, key: Hashable, work: Callable[[], Any]) -> Any:
        """What `work` gives for this posture, worked out once."""
        if key not in self._seen:
            self._seen[key] = work()
        return self._seen[key]

    def crossed(self, p: Any, joint: str, outward: bool) -> Any:
        """A point carried across one joint, from the body to its carrier or back."""
        state = self.states.get(joint)
        if state is None:
            return p
        if isinstance(state, Slide):
            way = state.value if outward else -state.value
            return kernels.slide_point(p, self.dimensions.axes[joint], way)
        sin = state.sin if outward else -state.sin
        return kernels.turn_point(p, self.dimensions.places[f"{joint}/pivot"],
                                  self.dimensions.axes[joint], state.cos, sin)

    def at(self, positions: ArrayLike) -> Posture:
        """The posture at some of its positions, which lie along one axis."""
        def pick(k):
            return k[positions] if np.ndim(k) and np.shape(k)[-1] > 1 else k

        states = {joint: Slide(pick(s.value)) if isinstance(s, Slide) else
                  Turn(pick(s.cos), pick(s.sin), pick(s.value)) for joint, s in self.states.items()}
        return replace(self, states=states, _seen={})

    def of_vectors(self) -> Posture:
        """The same turns about joints at the origin: carries vectors instead of points."""
        still = (0.0, 0.0, 0.0)
        places = {name: still for name in self.dimensions.places}
        states = {joint: state for joint, state in self.states.items() if isinstance(state, Turn)}
        return replace(self, dimensions=replace(self.dimensions, places=places), states=states,
                       _seen={})

    def sizes(self) -> list:
        """What its joints' values are kept in, whose last axis is the cells or positions."""
        return [getattr(state.value, "rows", state.value) for state in self.states.values()]

    def direction(self, joint: str) -> Any:
        """Axis of a joint as it lies in the airframe's frame."""
        u = self.dimensions.axes[joint]
        for below, _ in self.plan.route(self.plan.model.bodies[joint].on, AIRFRAME):
            state = self.states.get(below)
            if isinstance(state, Turn):
                u = kernels.turn_point(u, (0.0, 0.0, 0.0), self.dimensions.axes[below],
                                       state.cos, state.sin)
        return u

    def drive(self, step: Drive, value: Any) -> None:
        """Set a joint from its input, radians or mm in the input's own sense."""
        value = value * step.sign
        if self.plan.model.bodies[step.joint].slides:
            self.states[step.joint] = Slide(value)
        else:
            self.states[step.joint] = Turn(np.cos(value), np.sin(value), value)

    def couple(self, step: Couple, source_value: Any = None) -> None:
        """Set a joint from the one it is coupled to."""
        bodies = self.plan.model.bodies
        value = self.states[step.source].value if source_value is None else source_value
        value = value * (step.ratio * mixed(bodies[step.source].slides, bodies[step.joint].slides))
        if bodies[step.joint].slides:
            self.states[step.joint] = Slide(value)
        else:
            self.states[step.joint] = Turn(np.cos(value), np.sin(value), value)

    def close(self, step: Close) -> None:
        """Settle a joint from the one rod that reaches across it; NaN where it can't reach."""
        r, q = self.ends(step)
        u, length = self.dimensions.axes[step.joint], self.dimensions.lengths[step.rod]
        if self.plan.model.bodies[step.joint].slides:
            self.states[step.joint] = Slide(kernels.slide_close(r, u, q, length, step.sign))
        else:
            parts = kernels.turn_parts(r, self.dimensions.places[f"{step.joint}/pivot"], u, q,
                                       length)
            self.states[step.joint] = Turn(*kernels.turn_close(*parts, step.sign))

    def ends(self, step: Close) -> tuple[Any, Any]:
        """Near end before the joint moves, and far end, both as the joint's carrier sees them."""
        return (self.place(step.near, step.joint),
                self.place(step.far, self.plan.model.bodies[step.joint].on))


def mixed(source_slides: bool, joint_slides: bool) -> float:
    """A ratio counts degrees, the states radians: what turns one into the other."""
    if source_slides == joint_slides:
        return 1.0
    return np.pi / 180 if source_slides else 180 / np.pi
