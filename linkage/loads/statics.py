"""Free bodies: what every rod, body and pivot carries for unit loads, at many stick positions.

A load is a force at a point of a body or a moment on it.  Rods carry forces along their line,
couplings a moment about each of their two axes, and the inputs are held.  One equation a joint,
that the loads on all it carries do no work as it moves, gives the rods and couplings in one linear
solve; the pivots follow from the balance of each free body.  Weights and accelerations are left
out.
"""

from __future__ import annotations

import copy
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from ..model import AIRFRAME
from ..motion import Couple, Drive, Motion, Turn, body_of, hinge_sign, mixed
from .arms import plate_offset
from .pilot_forces import grip_rate, grips
from .plates import plate_cuts, plate_loads
from .shafts import shaft_cuts, shafts
from .springs import spring_forces
from .supports import between_bearings, on_bearings

if TYPE_CHECKING:
    from collections.abc import Iterable

FOLLOW = ("_own", "reactions", "arms", "bearings", "beams", "shafts", "plates")  # from the forces
SINGULAR = 1e-6  # least singular value of the scaled equations, below which nothing is told


@dataclass(frozen=True, eq=False)
class Push:
    """A load on a body: a force at a point and a moment, in the airframe's frame.

    Attributes
    ----------
    body : str
    point : ndarray (n, 3), mm
    force : ndarray (n, 3)
    moment : ndarray (n, 3)
    joint : bool
        Whether what carries the body gives the moment or force, as a held joint or a coupling
        does: it then acts across the body's own joint alone.
    place : str
        Address of the hardpoint it acts at, "" at none.
    """

    body: str
    point: np.ndarray
    force: np.ndarray
    moment: np.ndarray
    joint: bool = False
    place: str = ""

    def at(self, positions: np.ndarray) -> Push:
        """The load at some of its positions."""
        return replace(self, point=self.point[positions], force=self.force[positions],
                       moment=self.moment[positions])

    def times(self, share: np.ndarray) -> Push:
        """The load as many times as large at each of its positions, (n,)."""
        return replace(self, force=share[:, None] * self.force,
                       moment=share[:, None] * self.moment)


class Statics:
    """What each part carries for unit loads, at n stick positions.

    Parameters
    ----------
    motion : Motion
        Over any shape of stick positions; here they lie along one axis.
    contacts : dict, optional
        ``{name: tuple of Push}``: further unit loads, such as of a stop.

    Attributes
    ----------
    loads : dict
        ``{key: tuple of Push}``: unit loads, ``("grip", point, input)`` of 1 N along the grip's
        movement, ``("hinge", surface)`` of 1 N mm signed like the deflection, ``("hold", input)``
        of 1 N mm (N) on the driven joint, ``("spring", name)`` of 1 N of pull (N mm on its body),
        of 1 N mm (N) on the driven joint, ``("servo", name)`` of 1 N mm about its arm's axis,
        ``("stop", name)``.
    rods, couplings : tuple of str
        Those that carry load; redundant and open ones are taken to carry none.
    """

    def __init__(self, motion: Motion, contacts: dict | None = None):
        self.motion, self.system = motion, motion.system
        self.model, plan = motion.system.model, motion.system.plan
        self.posture = motion.flat_posture()
        self.count = int(np.prod(motion.shape))
        self.drives = {s.input: s for s in plan.steps if isinstance(s, Drive)}
        self.couplings = {s.coupling: s for s in plan.steps if isinstance(s, Couple)}
        self.rods = tuple(_without(self.model.rods, {*plan.open_rods, *plan.redundant}))
        self.bodies = tuple(self.model.bodies)
        driven = {step.joint for step in self.drives.values()}
        self.inner = tuple(j for j in _without(self.bodies, driven) if j in self.posture.states)
        self.loads = self._unit_loads() | {("stop", k): v for k, v in (contacts or {}).items()}

    def at(self, positions: np.ndarray) -> Statics:
        """The same at some of its positions: what is known of them isn't worked out again."""
        part = copy.copy(self)
        part.motion, part.posture = self.motion.at(positions), self.posture.at(positions)
        part.count = len(positions)
        part.loads = {key: tuple(push.at(positions) for push in pushes)
                      for key, pushes in self.loads.items()}
        for name in ("_rod_pushes", "_coupling_pushes", "_inner_loads", "springs", *FOLLOW):
            part.__dict__.pop(name, None)
        part.inner_forces = self.inner_forces[positions]
        for name in ("axes", "pivots", "hold"):
            setattr(part, name, {k: values[positions] for k, values in getattr(self, name).items()})
        return part

    def under(self, share: np.ndarray) -> Statics:
        """The same with one load: what a load case holds of each, (n, loads), all together."""
        part = copy.copy(self)
        for name in ("hold", *FOLLOW):
            part.__dict__.pop(name, None)
        part.inner_forces = np.einsum("ne,nec->nc", share, self.inner_forces)[:, None]
        part.loads = {("case",): tuple(
            push.times(share[:, k]) for k, pushes in enumerate(self.loads.values())
            if share[:, k].any() for push in pushes)}
        return part

    # --- geometry ---------------------------------------------------------------------------

    def place(self, address: str) -> np.ndarray:
        """A point at every position, (n, 3) mm."""
        return self._full(self.posture.place(address))

    @cached_property
    def axes(self) -> dict:
        """Axis of every body's joint in the airframe's frame, ``{body: (n, 3)}``."""
        return {body: self._full(self.posture.direction(body)) for body in self.bodies}

    @cached_property
    def pivots(self) -> dict:
        """Pivot of every body, ``{body: (n, 3)}`` mm."""
        return {body: self.place(f"{body}/pivot") for body in self.bodies}

    def _full(self, vector):
        return np.stack([np.broadcast_to(k, (self.count,)) for k in vector], axis=-1)

    def carriers(self, body: str) -> tuple[str, ...]:
        """A body and all that carries it, without the airframe."""
        if body == AIRFRAME:
            return ()
        return body, *self.model.carriers(body)[:-1]

    # --- unit loads ---------------------------------------------------------------------------

    def _unit_loads(self) -> dict:
        loads = {}
        for name, step in self.drives.items():
            loads["hold", name] = (self.on_joint(step.joint, step.sign),)
            for grip in grips(self.system, name):
                rate = grip_rate(self.motion, grip, name).reshape(-1, 3)
                with np.errstate(invalid="ignore", divide="ignore"):
                    along = rate / np.linalg.norm(rate, axis=-1, keepdims=True)
                loads["grip", grip, name] = (self.at_point(grip, along),)
        for name, surface in self.model.surfaces.items():
            sign = hinge_sign(self.model.bodies[surface.body])
            if surface.body in self.posture.states:
                push = self.on_joint(surface.body, sign)
                loads["hinge", name] = (Push(push.body, push.point, push.force, push.moment),)
        for name, spring in self.model.springs.items():
            loads["spring", name] = (self.on_joint(spring.pivot, 1.0),) if spring.pivot else \
                self._pull(*spring.ends)
        for name, servo in self.model.servos.items():
            if servo.body in self.posture.states:
                loads["servo", name] = (self.on_joint(servo.body, 1.0),)
        return loads

    @cached_property
    def springs(self) -> dict:
        """What every spring pulls or turns with, ``{spring: (n,)}`` N or N mm."""
        return {name: force.ravel() for name, force in spring_forces(self.motion).items()}

    def _pull(self, one: str, other: str) -> tuple[Push, Push]:
        """What 1 N of tension between two points does to them: it pulls them together."""
        p, q = self.place(one), self.place(other)
        e = (q - p) / np.linalg.norm(q - p, axis=-1, keepdims=True)
        return self.at_point(one, e), self.at_point(other, -e)

    def at_point(self, address: str, force: np.ndarray) -> Push:
        """A force at a hardpoint of a body."""
        point = self.place(address)
        return Push(body_of(address), point, force, np.zeros_like(point), place=address)

    def on_joint(self, joint: str, size: float | np.ndarray) -> Push:
        """A moment (of a slide a force) of a size across a body's joint, about its axis."""
        u, still = size * self.axes[joint], np.zeros((self.count, 3))
        slides = self.model.bodies[joint].slides
        return Push(joint, self.pivots[joint], u if slides else still, still if slides else u, True)

    @cached_property
    def _rod_pushes(self) -> dict:
        """What each rod does to its ends per newton of tension."""
        return {rod: self._pull(*self.model.rods[rod].ends) for rod in self.rods}

    @cached_property
    def _coupling_pushes(self) -> dict:
        """What a coupling does to its joints per N mm (N) on the one it drives."""
        pushes, bodies = {}, self.model.bodies
        for name, step in self.couplings.items():
            ratio = step.ratio * mixed(bodies[step.source].slides, bodies[step.joint].slides)
            pushes[name] = (self.on_joint(step.joint, 1.0), self.on_joint(step.source, -ratio))
        return pushes

    # --- balance --------------------------------------------------------------------------------

    def work(self, pushes: Iterable[Push], joint: str) -> np.ndarray:
        """Work of loads per radian (mm) of a joint, (n,)."""
        total = np.zeros(self.count)
        for push in pushes:
            if push.body == joint or (not push.joint and joint in self.carriers(push.body)):
                total += _dot(self.axes[joint], push.force if self.model.bodies[joint].slides else
                              self._moment_about(push, self.pivots[joint]))
        return total

    def _moment_about(self, push, centre):
        return np.cross(push.point - centre, push.force) + push.moment

    @cached_property
    def _inner_loads(self) -> list:
        return [*self._rod_pushes.values(), *self._coupling_pushes.values()]

    @cached_property
    def inner_forces(self) -> np.ndarray:
        """Rod tensions (N) and coupling moments (N mm, N) per unit load: (n, loads, rods + ...).

        NaN where a rod can't reach, or the equations are singular (a dead centre).
        """
        loads = list(self.loads.values())
        size = len(self.inner)
        if not size:
            return np.zeros((self.count, len(loads), 0))
        matrix = np.stack([np.stack([self.work(p, j) for p in self._inner_loads], -1)
                           for j in self.inner], -2)
        right = -np.stack([np.stack([self.work(p, j) for p in loads], -1)
                           for j in self.inner], -2)
        good = np.isfinite(matrix).all(axis=(-1, -2)) & np.isfinite(right).all(axis=(-1, -2))
        matrix = np.where(good[:, None, None], matrix, np.eye(size))
        rows = np.stack([1 / self._reach(j) for j in self.inner], axis=-1)[..., None]
        rows = np.where(good[:, None, None], rows, 1.0)
        scaled = matrix * rows
        columns = np.ones((self.count, 1, size))
        columns[..., len(self.rods):] = 1 / np.maximum(np.linalg.norm(
            scaled[..., len(self.rods):], axis=-2, keepdims=True), 1e-300)
        scaled = scaled * columns
        good &= np.linalg.svd(scaled, compute_uv=False)[..., -1] > SINGULAR
        scaled = np.where(good[:, None, None], scaled, np.eye(size))
        forces = np.linalg.solve(scaled, np.nan_to_num(right) * rows) * columns.swapaxes(-1, -2)
        return np.where(good[:, None, None], forces, np.nan).swapaxes(-1, -2)

    def _reach(self, joint: str) -> np.ndarray:
        """Longest arm of a rod about a joint, (n,) mm: a rod square to it has a lever of 1."""
        if self.model.bodies[joint].slides:
            return np.ones(self.count)
        ends = [end for rod in self.rods for end in self.model.rods[rod].ends
                if joint in self.carriers(body_of(end))]
        arms = [np.linalg.norm(np.cross(self.axes[joint], self.place(end) - self.pivots[joint]),
                               axis=-1) for end in ends]
        return np.maximum(np.max(arms, axis=0), 1e-9) if arms else np.ones(self.count)

    @cached_property
    def hold(self) -> dict:
        """Work of each unit load per radian (mm) of each input, rods carrying: {input: (n, loads)}.

        By virtual work it is the load times the movement of where it acts.
        """
        forces = {}
        for name, step in self.drives.items():
            outer = np.stack([self.work(p, step.joint) for p in self.loads.values()], -1)
            through = np.stack([self.work(p, step.joint) for p in self._inner_loads], -1) \
                if self._inner_loads else np.zeros((self.count, 0))
            forces[name] = step.sign * (outer + np.einsum("nec,nc->ne", self.inner_forces, through))
        return forces

    @cached_property
    def _own(self) -> dict:
        """Loads on each body itself per unit load: ``{body: [(point, force, moment, address)]}``.

        Force and moment are (n, loads, 3).
        """
        count, kinds = self.count, len(self.loads)
        own = {body: [] for body in (*self.bodies, AIRFRAME)}
        for k, pushes in enumerate(self.loads.values()):
            for push in pushes:
                share = np.zeros((count, kinds, 1))
                share[:, k] = 1.0
                self._enter(own, push, share)
        for c, pushes in enumerate(self._inner_loads):
            for push in pushes:
                self._enter(own, push, self.inner_forces[:, :, c, None])
        return own

    def _enter(self, own, push, share):
        own[push.body].append((push.point, share * push.force[:, None],
                               share * push.moment[:, None], push.place))
        if push.joint:
            below = self.model.bodies[push.body].on
            own[below].append((push.point, -share * push.force[:, None],
                               -share * push.moment[:, None], ""))

    @cached_property
    def reactions(self) -> dict:
        """What each body's carrier does to it at its pivot, per unit load.

        Returns
        -------
        dict
            ``{body: (force, moment)}``, each (n, loads, 3), N and N mm in the airframe's frame.
            The moment a held joint or a coupling puts across the pivot is not in it.
        """
        reactions = {}
        for body in sorted(self.bodies, key=lambda b: -len(self.carriers(b))):
            force, moment = 0.0, 0.0
            for point, f, m in self.pushed(body, reactions):
                force = force + f
                moment = moment + m + np.cross((point - self.pivots[body])[:, None], f)
            shape = (self.count, len(self.loads), 3)
            reactions[body] = (-np.broadcast_to(force, shape), -np.broadcast_to(moment, shape))
        return reactions

    def pushed(self, body: str, reactions: dict) -> list:
        """All that acts on a body but its carrier: ``[(point, force, moment)]``."""
        acting = [load[:3] for load in self._own[body]]
        for child in self._riding(body):
            force, moment = reactions[child]
            acting.append((self.pivots[child], -force, -moment))
        return acting

    def _riding(self, body):
        return [child for child in self.bodies if self.model.bodies[child].on == body]

    def handed(self, body: str) -> np.ndarray:
        """How far along a body's axis each of what `pushed` gives is handed on to its tube, mm.

        From the hardpoint to the plate that takes it; 0 where no plate square to the axis is drawn.
        """
        places = [*(load[3] for load in self._own[body]),
                  *(f"{child}/pivot" for child in self._riding(body))]
        return np.array([plate_offset(self.system, body, place) if place else 0.0
                         for place in places])

    @cached_property
    def arms(self) -> dict:
        """Moments about each turning body's own axis, load by load along it.

        Returns
        -------
        dict
            ``{body: (stations, moments)}``: stations (m,) in mm from the pivot along the axis at
            neutral, of the plate that takes a load where one is drawn; moments (n, loads, m) in
            N mm.  They sum to 0 in equilibrium.
        """
        arms = {}
        for body in self.bodies:
            if self.model.bodies[body].slides or not isinstance(self.posture.states.get(body),
                                                                Turn):
                continue
            centre, u = self.pivots[body][:, None], self.axes[body]
            acting = self.pushed(body, self.reactions)
            stations = [float(np.nanmean(_dot(p - self.pivots[body], u))) if np.isfinite(p).any()
                        else 0.0 for p, _, _ in acting]
            stations = np.array(stations) + self.handed(body)
            moments = [np.einsum("nej,nj->ne", np.cross(p[:, None] - centre, f) + m, u)
                       for p, f, m in acting]
            if moments:
                arms[body] = stations, np.stack(moments, axis=-1)
        return arms

    @cached_property
    def bearings(self) -> dict:
        """What the bearings of each body that has some do to it, per unit load.

        Returns
        -------
        dict
            ``{body: (n, loads, bearings, 3)}`` N; of more than two as `on_bearings` gives it.
        """
        held = {}
        for body, part in self.model.bodies.items():
            if part.bearings is None or body not in self.axes:
                continue
            if len(part.bearings) == 2:
                held[body] = np.stack(between_bearings(
                    *self.reactions[body], self.axes[body][:, None], part.bearing_stations), axis=2)
            else:
                held[body] = on_bearings(self._along(body), self.axes[body], part.bearing_stations)
        return held

    def _along(self, body) -> tuple[np.ndarray, ...]:
        """What acts on a body but its carrier, at its middle line: stations, forces, moments."""
        pivot, u = self.pivots[body], self.axes[body]
        points, forces, moments = (np.stack(k, axis=-2) for k in zip(
            *self.pushed(body, self.reactions), strict=True))
        stations = np.einsum("nmi,ni->nm", points - pivot[:, None], u) + self.handed(body)
        off = points - pivot[:, None] - stations[..., None] * u[:, None]
        return stations, forces, moments + np.cross(off[:, None], forces)

    @cached_property
    def beams(self) -> dict:
        """What acts along the tube of each body that turns in bearings, these included.

        Returns
        -------
        dict
            ``{body: (stations, forces, moments)}``: stations (n, m) in mm from the pivot along the
            axis, forces (n, loads, m, 3) in N at the middle line, moments about there in N mm.
        """
        beams = {}
        for body, held in self.bearings.items():
            part = self.model.bodies[body]
            if part.tube is None or not self.pushed(body, self.reactions):
                continue
            stations, forces, moments = self._along(body)
            own = np.broadcast_to(part.bearing_stations, (self.count, held.shape[2]))
            beams[body] = (np.concatenate([stations, own], axis=1),
                           np.concatenate([forces, held], axis=2),
                           np.concatenate([moments, np.zeros_like(held)], axis=2))
        return beams

    @cached_property
    def shafts(self) -> dict:
        """What the shafts of bodies carry per unit load, as `shaft_cuts` gives it."""
        return {shaft: shaft_cuts(self, shaft) for shaft, body in shafts(self.model).items()
                if body in self.posture.states}

    @cached_property
    def plates(self) -> dict:
        """Forces on the plates of bodies per unit load, as `plate_loads` gives them."""
        return {plate: plate_loads(self, plate) for plate in plate_cuts(self.system)}

    def force_at(self, body: str, address: str) -> np.ndarray:
        """Force on a body at one of its hardpoints per unit load, (n, loads, 3) N."""
        total = np.zeros((self.count, len(self.loads), 3))
        for _, force, _, place in self._own[body]:
            if place == address:
                total = total + force
        return total

    def way_of(self, body: str, way: np.ndarray) -> np.ndarray:
        """A direction of a body at neutral as it stands at every position, (n, 3)."""
        posture, p = self.posture.of_vectors(), tuple(np.full(self.count, k) for k in way)
        for joint, outward in posture.plan.route(body, AIRFRAME):
            p = posture.crossed(p, joint, outward)
        return self._full(p)


def _dot(a, b):
    return np.einsum("...i,...i->...", a, b)


def _without(names, left_out) -> list:
    return [name for name in names if name not in left_out]
