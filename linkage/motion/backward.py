"""Rates of quantities by every dimension at once, over whole cells of travel and many builds.

The arithmetic of a posture is written down as it is done, and gone through backwards from a
quantity: what each step is multiplied by in it, by the chain rule, sums up to the rate of each
dimension.  The rates are enclosures as the quantity is, so that a sign that they have, they have
in every build and at every place of the cell.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from ..intervals import Enclosure, U, row_count
from . import kernels
from .builds_bounds import BuiltPosture, input_over, layout
from .builds_rows import BuiltEnclosure
from .plan import Close, Couple, Drive
from .posture import Dimensions, Posture, Slide, Turn

if TYPE_CHECKING:
    from collections.abc import Iterable

    from .builds import Builds
    from .plan import Plan
    from .system import System


class Written:
    """An enclosure, and what it was made of: each other one with the rate that it has in it."""

    __slots__ = ("made_of", "value", "varies")

    def __init__(self, value: Enclosure, made_of: tuple = (), *, varies: bool = False):
        self.value = value
        self.made_of = tuple((part, rate) for part, rate in made_of if part.varies)
        self.varies = varies or bool(self.made_of)

    def __array_ufunc__(self, ufunc, method, *inputs, **options):
        rule = _RULES.get(ufunc.__name__)
        if rule is None or method != "__call__" or options:
            return NotImplemented
        return rule(*inputs)

    def __neg__(self):
        return Written(-self.value, ((self, -1.0),))

    def __add__(self, other):
        return _add(self, other)

    __radd__ = __add__

    def __sub__(self, other):
        return _add(self, -other)

    def __rsub__(self, other):
        return _add(-self, other)

    def __mul__(self, other):
        return _multiply(self, other)

    __rmul__ = __mul__

    def __truediv__(self, other):
        return _multiply(self, _reciprocal(other) if isinstance(other, Written) else 1.0 / other)

    def __rtruediv__(self, other):
        return _multiply(_reciprocal(self), other)

    def __pow__(self, power):
        if power != 2:
            raise NotImplementedError("only squares")
        return _multiply(self, self)

    def rates(self, by: Iterable[Written]) -> list:
        """Rate of this by each of some that it is made of; 0 of those that it is not."""
        found = {id(self): 1.0}
        for step in reversed(_in_order(self)):
            own = found[id(step)]
            for part, rate in step.made_of:
                more = own * rate
                found[id(part)] = found[id(part)] + more if id(part) in found else more
        return [found.get(id(k), 0.0) for k in by]


def _in_order(end):
    """All that something is made of, each after what it is made of itself."""
    order, seen, todo = [], set(), [(end, False)]
    while todo:
        step, ready = todo.pop()
        if ready:
            order.append(step)
        elif id(step) not in seen:
            seen.add(id(step))
            todo.append((step, True))
            todo += [(part, False) for part, _ in step.made_of if id(part) not in seen]
    return order


def _add(one, other):
    if not isinstance(one, Written):
        one, other = other, one
    if isinstance(other, Written):
        return Written(one.value + other.value, ((one, 1.0), (other, 1.0)))
    if np.ndim(other) == 0 and other == 0.0:
        return one
    return Written(one.value + other, ((one, 1.0),))


def _multiply(one, other):
    if not isinstance(one, Written):
        one, other = other, one
    if isinstance(other, Written):
        return Written(one.value * other.value, ((one, other.value), (other, one.value)))
    if np.ndim(other) == 0 and other in (0.0, 1.0):
        return one if other == 1.0 else 0.0
    return Written(one.value * other, ((one, other),))


def _reciprocal(x):
    value = 1.0 / x.value
    return Written(value, ((x, -(value * value)),))


def _sqrt(x):
    value = np.sqrt(x.value)
    return Written(value, ((x, 0.5 / value),))


def _cos(x):
    return Written(np.cos(x.value), ((x, -np.sin(x.value)),))


def _sin(x):
    return Written(np.sin(x.value), ((x, np.cos(x.value)),))


_RULES = {"add": _add, "multiply": _multiply, "sqrt": _sqrt,
          "cos": _cos, "sin": _sin,
          "subtract": lambda one, other: _add(one, -other)}


@dataclass
class WrittenPosture(Posture):
    """A posture over cells and builds, written down.

    Attributes
    ----------
    plain : BuiltPosture
        What its numbers are bounded by.
    varied : list of Written
        The dimensions, by their number.
    """

    plain: BuiltPosture | None = None
    varied: list = field(default_factory=list)

    def settle(self, step: Drive | Couple | Close, value: Any = None) -> None:
        """Settle a joint by an input, by a coupling or by a rod, both as bounds and written down.

        The rate of the turn that closes a loop is that of what the squared length is short by, the
        turn held, over that by the turn.
        """
        if isinstance(step, Close):
            ends = (step.near, step.joint), (step.far, self.plan.model.bodies[step.joint].on)
            for address, frame in ends:
                seen = tuple(_value(k) for k in self.place(address, frame))
                self.plain.remembered((address, frame), lambda seen=seen: seen)
            self.plain.close(step)
        elif isinstance(step, Couple):
            self.plain.couple(step)
        else:
            self.plain.drive(step, value)
        state = self.plain.states[step.joint]
        moved = state.value
        if isinstance(moved, Enclosure):
            missed = self._missed(step, state) if isinstance(step, Close) else ()
            moved = Written(moved, missed)
        self.states[step.joint] = Slide(moved) if isinstance(state, Slide) else _turn(state, moved)

    def _missed(self, step, state):
        """What a squared length is short by where the joint is held, with the rate of the joint."""
        (near, far), u = self.ends(step), self.dimensions.axes[step.joint]
        if isinstance(state, Slide):
            at, way = kernels.slide_point(near, u, Written(state.value)), u
        else:
            pivot = self.dimensions.places.get(f"{step.joint}/pivot", (0.0, 0.0, 0.0))
            held = _turn(state, Written(state.value))
            at = kernels.turn_point(near, pivot, u, held.cos, held.sin)
            arm = [k - c for k, c in zip(at, pivot, strict=True)]
            way = (u[1] * arm[2] - u[2] * arm[1], u[2] * arm[0] - u[0] * arm[2],
                   u[0] * arm[1] - u[1] * arm[0])
        run = [k - q for k, q in zip(at, far, strict=True)]
        length = self.dimensions.lengths[step.rod]
        missed = length * length - sum(k * k for k in run)
        steep = _value(-2.0 * sum(k * e for k, e in zip(run, way, strict=True)))
        return ((missed, -1.0 / steep),)


def _value(k):
    return k.value if isinstance(k, Written) else k


def _turn(state, value):
    """Cosine and sine of a turn, written down as they follow from it."""
    if not isinstance(state.cos, Enclosure):
        return Turn(state.cos, state.sin, value)
    return Turn(Written(state.cos, ((value, -state.sin),)),
                Written(state.sin, ((value, state.cos),)), value)


def can_be_written(plan: Plan) -> bool:
    """Whether a plan's postures can be: of rods solved together, or whole turns, they can't."""
    drives = {step.joint for step in plan.steps if isinstance(step, Drive)}
    return all(isinstance(step, Drive | Close) or (isinstance(step, Couple) and step.source in
                                                   drives) for step in plan.steps)


def written(system: System, cells: tuple, builds: Builds, within: tuple) -> WrittenPosture:
    """A posture over cells in some builds of each, written down.

    Parameters
    ----------
    system : System
        Of which `can_be_written` holds.
    cells : (sequence of str, ndarray (n, inputs), ndarray (n, inputs))
        Names of the inputs, middles and half-widths, degrees (mm).
    builds : Builds
    within : (ndarray (dimensions, n), ndarray (dimensions, n))
        How far each dimension is off in the middle, and plus or minus, as shares of its size.
    """
    (names, *ends), count = cells, len(builds.sizes)
    rows, own = layout(system, len(names), builds)
    first, leaves = row_count(len(names)) - 1, {}

    def varied(value, number):
        if number not in leaves:
            leaves[number] = Written(_leaf((value, builds.sizes[number]), [
                k[number] for k in within], (rows, first + number), len(names)), varies=True)
        return leaves[number]

    sizes = builds.made(varied)
    plain = BuiltPosture(system.plan, _values(sizes), rows=rows, inputs=len(names), own=own,
                         dimension_count=count, count=len(ends[0]))
    posture = WrittenPosture(system.plan, sizes, plain=plain,
                             varied=[leaves[number] for number in range(count)])
    named = [{n: k[:, i] for i, n in enumerate(names)} for k in ends]
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        for step in system.plan.steps:
            posture.settle(step, input_over(system, step.input, named, rows)
                           if isinstance(step, Drive) else None)
    return posture


def _values(sizes):
    """Dimensions as enclosures alone."""
    return Dimensions(*({name: tuple(_value(k) for k in entry) for name, entry in table.items()}
                        for table in (sizes.places, sizes.axes)),
                      {name: _value(length) for name, length in sizes.lengths.items()})


def _leaf(of, within, row, inputs):
    (value, size), (middle, half), (width, number) = of, within, row
    rows = np.zeros((width, len(middle)))
    rows[0], rows[number] = value + middle * size, half * size
    rows[-1] = 4 * U * (abs(value) + size)
    return BuiltEnclosure(rows, inputs)
