"""Where every part of a system goes: angles, points, gearing and margins over any positions."""

from __future__ import annotations

import math
from functools import cached_property
from html import escape
from typing import TYPE_CHECKING, Any

import numpy as np

from ..errors import MotionError, nearest
from ..model import AIRFRAME, is_rudder
from . import kernels
from .plan import body_of
from .posture import Posture, Slide, Turn
from .rates import Rates, Seeds

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from ..model.parts import Body
    from .posture import Dimensions


class Motion:
    """Where every part of a system goes over an array of stick positions.

    Made by `System.sweep`; every result keeps the broadcast shape of the inputs.
    """

    def __init__(self, system: Any, inputs: dict, dimensions: Dimensions, states: dict,
                 shape: tuple[int, ...]):
        self.system, self.inputs, self.shape = system, inputs, shape
        self.posture = Posture(system.plan, dimensions, states)

    def __repr__(self):
        return f"Motion(shape {self.shape}: {', '.join(self._ranges())})"

    def _repr_html_(self):
        rows = "".join(f"<tr><td>{escape(line)}</td></tr>" for line in self._ranges())
        return f"<table><caption>Motion of shape {self.shape}</caption>{rows}</table>"

    def _ranges(self):
        """Least and greatest of every input and surface, and how much is out of reach."""
        of_inputs = [(name, control.unit, self._full(self.inputs[name]))
                     for name, control in self.system.inputs.items()]
        of_surfaces = [(name, "°", self.deflection(name)) for name in self.system.model.surfaces]
        for name, unit, values in (*of_inputs, *of_surfaces):
            known = values[np.isfinite(values)]
            yield f"{name} {known.min():.4g} to {known.max():.4g}{unit}" if known.size else \
                f"{name} out of reach"
        lost = int(np.size(self.reachable) - np.count_nonzero(self.reachable))
        yield f"{lost} of {np.size(self.reachable)} positions out of reach" if lost else \
            "every position in reach"

    def at(self, positions: np.ndarray) -> Motion:
        """The motion at some of its positions, which are counted along one axis."""
        inputs = {name: self._full(value).ravel()[positions]
                  for name, value in self.inputs.items()}
        posture = self.flat_posture().at(positions)
        return Motion(self.system, inputs, posture.dimensions, posture.states, np.shape(positions))

    def flat_posture(self) -> Posture:
        """The posture with every joint's state along one axis of positions, or alone."""
        def flat(k):
            return np.broadcast_to(k, self.shape).ravel() if np.size(k) != 1 else np.ravel(k)[0]

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
        return self._full(value) + 0.0  # no minus zero on a sheet

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
        return self.angle(body) * hinge_sign(self.system.model.bodies[body]) + 0.0

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
        gearing = {}
        for i, name in enumerate(self.system.inputs):
            each = rate[i] if np.ndim(rate) else rate
            per = 1.0 if slides == self.system.inputs[name].slides else (
                math.radians(1.0) if slides else math.degrees(1.0))
            gearing[name] = self._full(each * per)
        return gearing

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
        margins = {}
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
                margins[end] = self._full(np.degrees(np.arcsin(np.clip(np.abs(sine), 0, 1))))
        return margins

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


def wrapped(degrees: ArrayLike) -> np.ndarray:
    """Angles in (-180, 180].

    Examples
    --------
    >>> wrapped(np.array([190.0, -180.0, 12.0])).tolist()
    [-170.0, 180.0, 12.0]
    """
    return -((-np.asarray(degrees) + 180.0) % 360.0 - 180.0)


def hinge_sign(body: Body) -> float:
    """+1 when a positive turn about a hinge as written is trailing edge down (rudder: left)."""
    u = body.direction
    if is_rudder(body):
        return 1.0 if u[2] < 0 else -1.0
    return 1.0 if u[1] > 0 else -1.0
