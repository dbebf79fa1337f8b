"""The order in which joints are found: which rod or coupling settles which joint."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

import numpy as np

from ..errors import MotionError, counted
from ..model import AIRFRAME, SENSES, Model
from . import kernels

DEAD_CENTRE = 1e-6  # least share of its reach that a rod must turn or push its joint by


class Single:
    """A step that settles one joint: the joints it settles and the rods that do it."""

    @property
    def joints(self) -> tuple[str, ...]:
        """The one joint."""
        return (self.joint,)

    @property
    def rods(self) -> tuple[str, ...]:
        """No rod, unless one closes it."""
        return ()


@dataclass(frozen=True)
class Drive(Single):
    """An input sets a joint."""

    input: str
    joint: str
    sign: float


@dataclass(frozen=True)
class Close(Single):
    """One rod settles one joint; `near` rides on the joint, `far` doesn't."""

    rod: str
    joint: str
    near: str
    far: str
    sign: float

    @property
    def rods(self) -> tuple[str, ...]:
        """The one rod."""
        return (self.rod,)


@dataclass(frozen=True)
class Couple(Single):
    """A coupling settles `joint` from `source`: degrees (mm) per degree (mm)."""

    coupling: str
    joint: str
    source: str
    ratio: float


@dataclass(frozen=True)
class Together:
    """Several rods settle as many joints at once."""

    rods: tuple[str, ...]
    joints: tuple[str, ...]


@dataclass(frozen=True)
class Plan:
    """Steps in order, and what no step settles.

    Attributes
    ----------
    model : Model
    steps : tuple
        `Drive`, `Close`, `Couple` and `Together`, each using only joints settled before it.
    undriven : tuple of str
        Bodies that nothing drives; they stay at neutral.
    open_rods : tuple of str
        Rods that hang between joints nothing settles; they hold nothing.
    redundant : tuple of str
        Second load paths, whose misfit is a finding.
    """

    model: Model
    steps: tuple
    undriven: tuple[str, ...]
    open_rods: tuple[str, ...]
    redundant: tuple[str, ...]
    routes: dict = field(default_factory=dict, init=False, repr=False, compare=False)

    def route(self, body: str, frame: str) -> tuple[tuple[str, bool], ...]:
        """Joints crossed from `body` to `frame`: ``(joint, outward)``, in order."""
        if (body, frame) not in self.routes:  # asked for with every point that is carried
            self.routes[body, frame] = _route(self.model, body, frame)
        return self.routes[body, frame]

    def depends_on(self) -> dict:
        """Inputs that each body's joint depends on: ``{body: frozenset of inputs}``."""
        needs = {name: frozenset() for name in (*self.model.bodies, AIRFRAME)}
        for step in self.steps:
            if isinstance(step, Drive):
                needs[step.joint] = frozenset([step.input])
            elif isinstance(step, Couple):
                needs[step.joint] = needs[step.source]
            else:
                along = {j for rod in step.rods for j in path(self.model, rod)}
                inputs = frozenset().union(*(needs[j] for j in along.difference(step.joints)))
                needs.update(dict.fromkeys(step.joints, inputs))
        return needs

    def only(self, bodies: Iterable[str]) -> Plan:
        """The plan with only the steps that settle some bodies and what they ride on."""
        wanted, steps = self.with_carriers(bodies), []
        for step in reversed(self.steps):
            if wanted.isdisjoint(step.joints):
                continue
            steps.insert(0, step)
            if isinstance(step, Couple):
                wanted.add(step.source)
            wanted |= self.with_carriers(body_of(end) for rod in step.rods
                                          for end in self.model.rods[rod].ends)
        return replace(self, steps=tuple(steps))

    def with_carriers(self, bodies: Iterable[str]) -> set:
        """Bodies and what carries them, but for the airframe."""
        return {b for body in bodies if body != AIRFRAME
                for b in (body, *self.model.carriers(body))}


def body_of(address: str) -> str:
    """The part that a point or solid belongs to."""
    return address.partition("/")[0]


def path(model: Model, rod: str) -> tuple[str, ...]:
    """Joints between the two ends of a rod, through their nearest common carrier."""
    first, second = (body_of(end) for end in model.rods[rod].ends)
    return tuple(joint for joint, _ in _route(model, first, second))


def _route(model: Model, body: str, frame: str):
    down = (frame, *(model.carriers(frame) if frame != AIRFRAME else ()))
    crossed, at_body = [], body
    while at_body not in down:
        crossed.append((at_body, True))
        at_body = model.bodies[at_body].on
    inward = down[:down.index(at_body)]
    return (*crossed, *((joint, False) for joint in reversed(inward)))


def make_plan(model: Model) -> Plan:
    """Order the rods and couplings of a model.

    Parameters
    ----------
    model : Model

    Returns
    -------
    Plan

    Raises
    ------
    MotionError
        When two things drive one joint, or a rod stands at a dead centre at neutral.
    """
    steps = [Drive(body.input, name, input_sign(model, body.input, name))
             for name, body in model.bodies.items() if body.input is not None]
    settled = {step.joint: f'input "{step.input}"' for step in steps}
    rods = {name: path(model, name) for name, rod in model.rods.items() if not rod.redundant}
    couplings = dict(model.couplings)
    while True:
        step = _ready_coupling(couplings, settled) or _ready_rod(model, rods, settled) \
            or _ready_group(model, rods, settled)
        if step is None:
            return _finished(model, steps, settled, rods)
        steps.append(step)


def _finished(model, steps, settled, open_rods) -> Plan:
    undriven = tuple(name for name in model.bodies if name not in settled)
    redundant = tuple(name for name, rod in model.rods.items() if rod.redundant)
    return Plan(model, tuple(steps), undriven, tuple(open_rods), redundant)


def input_sign(model: Model, input_name: str, body_name: str) -> float:
    """+1 when the input's positive sense is the right-hand turn about the body's axis as written.

    Pitch is positive with the grip aft (u.y > 0), roll with the grip right (u.x < 0); on a slide
    (a wheel's shaft) pitch is positive aft (u.x > 0), roll to the right (u.y > 0).
    """
    sense = model.inputs[input_name].positive
    if sense is not None:
        return 1.0 if sense == "along axis" else -1.0
    body = model.bodies[body_name]
    if input_name not in SENSES:
        return 1.0
    x, y, _ = body.direction
    lead, line = ((x, "fore-aft") if body.slides else (y, "lateral")) if input_name == "pitch" \
        else (y, "lateral") if body.slides else (-x, "fore-aft")
    if abs(lead) < 0.5:
        raise MotionError(
            f'input "{input_name}": the {"slide" if body.slides else "axis"} of "{body_name}" lies '
            f'more than 60° off {line}; say which way is positive with positive = "along axis" or '
            f'"against axis"', body=body_name)
    return 1.0 if lead > 0 else -1.0


def _ready_coupling(couplings, settled):
    for name, coupling in list(couplings.items()):
        first, second = coupling.bodies
        if first in settled and second in settled:
            raise MotionError(f'coupling "{name}": {settled[first]} and {settled[second]} drive '
                              f"both its bodies already; take one of the three out", coupling=name)
        if first in settled or second in settled:
            del couplings[name]
            source, joint, ratio = (first, second, coupling.ratio) if first in settled \
                else (second, first, 1 / coupling.ratio)
            settled[joint] = f'coupling "{name}"'
            return Couple(name, joint, source, ratio)
    return None


def _ready_rod(model, rods, settled):
    for name, joints in list(rods.items()):
        unknown = [joint for joint in joints if joint not in settled]
        if not unknown:
            raise MotionError(_second_driver(model, name, joints, settled), rod=name)
        if len(unknown) == 1:
            del rods[name]
            settled[unknown[0]] = f'rod "{name}"'
            return _closing(model, name, unknown[0])
    return None


def _second_driver(model, name, joints, settled) -> str:
    last = [joint for joint in joints if settled[joint].startswith("rod")] or list(joints)
    if not last:
        return (f'rod "{name}": joins two points of the same part, so it drives nothing; '
                f"name a point of another part")
    return (f'rod "{name}": the joint of "{last[-1]}" is driven by {settled[last[-1]]} already; '
            f"take one out, or write redundant = true for a second load path")


def _closing(model, rod, joint) -> Close:
    ends = model.rods[rod].ends
    near, far = ends if _rides_on(model, ends[0], joint) else ends[::-1]
    body = model.bodies[joint]
    r, q = model.position(near), model.position(far)
    if body.slides:
        lead, reach = float(kernels.slide_lead(r, body.direction, q)), model.rod_length(rod)
    else:
        a, lead, _ = (float(k) for k in kernels.turn_parts(r, body.centre, body.direction, q,
                                                           model.rod_length(rod)))
        reach = float(np.hypot(a, lead))
    if not abs(lead) >= DEAD_CENTRE * reach or reach == 0:
        raise MotionError(
            f'rod "{rod}": stands at a dead centre of "{joint}" at neutral, where it can '
            f"{'push it' if body.slides else 'turn it'} neither way; move \"{near}\" or \"{far}\"",
            rod=rod, joint=joint)
    return Close(rod, joint, near, far, float(np.sign(lead)))


def _rides_on(model, address, joint) -> bool:
    body = body_of(address)
    return body == joint or (body != AIRFRAME and joint in model.carriers(body))


def _ready_group(model, rods, settled):
    """The smallest set of rods whose unknown joints are as many as they are."""
    unknown = {name: frozenset(j for j in joints if j not in settled)
               for name, joints in rods.items()}
    for size in range(2, len(rods) + 1):
        for names in itertools.combinations(rods, size):
            joints = frozenset().union(*(unknown[name] for name in names))
            if len(joints) < size:
                raise MotionError(
                    f"rods {', '.join(names)}: are {size} for {counted(len(joints), 'joint')} "
                    f"({', '.join(sorted(joints))}); take one out, or write redundant = true for "
                    f"a second load path", rods=names)
            if len(joints) == size:
                return _settled_together(model, rods, settled, names, joints)
    return None


def _settled_together(model, rods, settled, names, joints):
    for name in names:
        del rods[name]
    ordered = tuple(name for name in model.bodies if name in joints)
    settled.update({j: f'rods {", ".join(names)} together' for j in ordered})
    return Together(tuple(names), ordered)
