"""Arithmetic traced once and then run over whole arrays: all operations of a kind at once.

A closure of a chain of rods is hundreds of small operations, one after the other.  What each takes
is the same every time, so they are written down once: sums are put together symbolically until
something must be multiplied or taken a function of, what is asked twice is kept once, and what is
ready at the same time is worked out in one array operation, over numbers as over enclosures.
"""

from __future__ import annotations

import operator
from collections import Counter, defaultdict
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np

from ..intervals import GROW, TINY, Enclosure, U

BLOCK = 1 << 22  # numbers held at once while a tape runs, so that they stay in the cache
WHOLE = (1.0, 0.0)  # a weight of 1, exact


class Traced:
    """A weighted sum of what stands on a tape, and a number.

    Every weight goes with how far rounding may have put it off, so that a sum may be put together
    in any order and still be bounded.

    Parameters
    ----------
    tape : Tape
    terms : dict
        ``{node: (weight, doubt)}``.
    number : (float, float)
    """

    __slots__ = ("number", "tape", "terms")

    def __init__(self, tape: Tape, terms: dict, number=(0.0, 0.0)):
        self.tape, self.terms, self.number = tape, terms, number

    def __array_ufunc__(self, ufunc, method, *values, **options):
        rule = _OPERATORS.get(ufunc.__name__)
        if method != "__call__" or options:
            return NotImplemented
        return rule(*values) if rule else self.tape.applied(ufunc, *values)

    def __neg__(self):
        return _scaled(self, WHOLE, -1.0)

    def __add__(self, other):
        return _sum(self, other)

    __radd__ = __add__

    def __sub__(self, other):
        return _sum(self, -other)

    def __rsub__(self, other):
        return _sum(-self, other)

    def __mul__(self, other):
        return _product(self, other)

    __rmul__ = __mul__

    def __truediv__(self, other):
        if isinstance(other, Traced):
            return self.tape.applied(np.divide, self, other)
        return _product(self, 1.0 / other)

    def __rtruediv__(self, other):
        return self.tape.applied(np.divide, other, self)

    def __pow__(self, power):
        if power != 2:
            raise NotImplementedError("only squares")
        return _product(self, self)


def _added(one, other):
    value = one[0] + other[0]
    return value, one[1] + other[1] + U * abs(value)


def _times(one, other):
    value = one[0] * other[0]
    return value, abs(one[0]) * other[1] + (abs(other[0]) + other[1]) * one[1] + U * abs(value)


def _scaled(traced, weight, sign=1.0):
    """A sum times a number; exactly if that is 1 or -1."""
    if weight == WHOLE:
        terms = traced.terms if sign > 0 else {n: (-w, d) for n, (w, d) in traced.terms.items()}
        return Traced(traced.tape, terms, (sign * traced.number[0], traced.number[1]))
    return Traced(traced.tape, {n: _times(w, weight) for n, w in traced.terms.items()},
                  _times(traced.number, weight))


def _sum(one, other):
    if not isinstance(one, Traced):
        one, other = other, one
    if not isinstance(other, Traced):
        if other == 0.0:
            return one
        return Traced(one.tape, one.terms, _added(one.number, (float(other), 0.0)))
    terms = dict(one.terms)
    for node, weight in other.terms.items():
        if node in terms:
            weight = _added(terms[node], weight)
            if weight == (0.0, 0.0):
                del terms[node]
                continue
        terms[node] = weight
    return Traced(one.tape, terms, _added(one.number, other.number))


def _product(one, other):
    if not isinstance(one, Traced):
        one, other = other, one
    if not isinstance(other, Traced):
        other = float(other)
        if other in (0.0, 1.0):
            return one if other else 0.0
        return _scaled(one, (other, 0.0))
    for value, factor in ((one, other), (other, one)):
        if not value.terms:
            return _scaled(factor, value.number)
    (a, share), (b, more) = one.tape.factored(one), one.tape.factored(other)
    weight = WHOLE if share == more == WHOLE else _times(share, more)
    return Traced(one.tape, {one.tape.node(operator.mul, (min(a, b), max(a, b))): weight})


_OPERATORS = {
    "add": _sum, "multiply": _product, "negative": operator.neg,
    "subtract": lambda one, other: _sum(one, -other), "divide": lambda a, b: b.__rtruediv__(a),
    "square": lambda value: value * value,
}


@dataclass(frozen=True)
class _Step:
    """Operations of one kind, whose results stand next to each other.

    Of sums the longest comes first, so that each row of `nodes` is the next term of the first few.
    """

    made: slice
    function: Callable | None  # None of sums
    nodes: tuple  # of ndarray (n,): one for each thing that it takes, or for each term
    more: tuple = ()  # ndarray (n, 1): numbers of its own; the number that a sum has, and its doubt
    weights: tuple = ()  # ndarray (n, 1): of each term
    doubts: tuple = ()
    grow: float = GROW  # covers the roundings of the sums of rests
    taken: bool = True  # whether any other step takes what it made


class _Node(NamedTuple):
    function: Callable | None  # None of a sum
    nodes: tuple
    more: tuple  # of a sum: its weights, and its number


class Tape:
    """Operations written down, to be put in order by `ready`."""

    def __init__(self):
        self._nodes, self._known, self._leaves, self._still = [], {}, {}, set()

    def leaf(self, name: Hashable, *, still: bool = False) -> Traced:
        """What is given at each run; `still` if it is the same in all cells."""
        if name not in self._leaves:
            self._leaves[name] = self.node(name, ())
            if still:
                self._still.add(self._leaves[name])
        return Traced(self, {self._leaves[name]: WHOLE})

    def node(self, function: Any, nodes: tuple, more: tuple = ()) -> int:
        """Where an operation stands; the same one stands once."""
        node = _Node(function, nodes, more)
        if node not in self._known:
            self._known[node] = len(self._nodes)
            self._nodes.append(node)
        return self._known[node]

    def applied(self, function: Callable, *values: Any, more: tuple = ()) -> Traced:
        """A function of sums and numbers; `more` are numbers of its own."""
        nodes = tuple(self.alone(value) for value in values)
        return Traced(self, {self.node(function, nodes, more): WHOLE})

    def alone(self, value: Any) -> int:
        """The node that a sum or number is."""
        if not isinstance(value, Traced):
            value = Traced(self, {}, (float(value), 0.0))
        if len(value.terms) == 1 and value.number == (0.0, 0.0):
            (node, weight), = value.terms.items()
            if weight == WHOLE:
                return node
        terms = sorted(value.terms.items())
        return self.node(None, tuple(n for n, _ in terms), (tuple(w for _, w in terms),
                                                            value.number))

    def factored(self, value: Traced) -> tuple:
        """A node and the weight by which it is a sum."""
        if len(value.terms) == 1 and value.number == (0.0, 0.0):
            return next(iter(value.terms.items()))
        return self.alone(value), WHOLE

    def ready(self, outputs: Sequence) -> Program:
        """What gives some sums or numbers, in an order in which much is done at once."""
        ends = [self.alone(value) for value in outputs]
        names = {node: name for name, node in self._leaves.items()}
        needed, still = self._needed(ends), set(self._still)
        for node in sorted(needed):
            if node not in names and still.issuperset(self._nodes[node].nodes):
                still.add(node)
        used = {n for node in needed - still for n in self._nodes[node].nodes} | set(ends)
        before = sorted(used & still)
        leaves = [node for node in sorted(needed - still) if node in names]
        program = self._program(ends, leaves + before)
        first = self._program(before, [n for n in sorted(self._needed(before)) if n in names])
        return replace(program, before=first, leaves=tuple(names[n] for n in leaves) + tuple(
            names[n] for n in first.leaves))

    def _needed(self, ends) -> set:
        """The nodes that some nodes follow from, and they themselves."""
        needed, todo = set(), list(ends)
        while todo:
            node = todo.pop()
            if node not in needed:
                needed.add(node)
                todo += self._nodes[node].nodes
        return needed

    def _program(self, ends, leaves) -> Program:
        place = {node: i for i, node in enumerate(leaves)}
        steps, needed = [], set()
        todo = [node for node in ends if node not in place]
        while todo:
            node = todo.pop()
            if node not in needed:
                needed.add(node)
                todo += [n for n in self._nodes[node].nodes if n not in place]
        used = {n for node in needed for n in self._nodes[node].nodes}
        for last, function, nodes in self._batches(needed, used):
            start = len(place)
            place.update(zip(nodes, range(start, start + len(nodes)), strict=True))
            made = self._step(function, nodes, place, slice(start, start + len(nodes)))
            steps.append(replace(made, taken=not last))
        return Program(tuple(leaves), tuple(steps), np.array([place[n] for n in ends], int),
                       len(place))

    def _batches(self, needed, used):
        """Nodes in an order in which each follows what it takes, those of a kind together."""
        users, missing, waiting = defaultdict(list), Counter(), defaultdict(list)

        def kind(node):
            return node not in used, self._nodes[node].function

        for node in sorted(needed):
            taken = set(self._nodes[node].nodes) & needed
            missing[node] = len(taken)
            for other in taken:
                users[other].append(node)
            if not taken:
                waiting[kind(node)].append(node)
        while waiting:
            last, function = min(waiting, key=_cost)
            nodes = sorted(waiting.pop((last, function)), key=lambda n: -len(self._nodes[n].nodes))
            yield last, function, nodes
            for user in (user for node in nodes for user in users[node]):
                missing[user] -= 1
                if not missing[user]:
                    waiting[kind(user)].append(user)

    def _step(self, function, nodes, place, made):
        taken = [[place[n] for n in self._nodes[node].nodes] for node in nodes]
        more = [self._nodes[node].more for node in nodes]
        if function is not None:
            return _Step(made, function, tuple(np.array(taken, int).T),
                         tuple(np.array(k)[:, None] for k in zip(*more, strict=True)))
        terms = [list(zip(at, weights, strict=True)) or [(-1, (0.0, 0.0))]  # -1 is a node of zeros
                 for at, (weights, _) in zip(taken, more, strict=True)]
        columns = [[each[j] for each in terms if j < len(each)] for j in range(len(terms[0]))]
        numbers = np.array([number for _, number in more])[..., None]
        slack = (len(columns) + 3) * U
        weights = [np.array([w for _, (w, _) in column])[:, None] for column in columns]
        doubts = [np.array([d + slack * abs(w) for _, (w, d) in column])[:, None]
                  for column in columns]
        return _Step(made, None, tuple(np.array([n for n, _ in column]) for column in columns),
                     (numbers[:, 0], numbers[:, 1] + slack * np.abs(numbers[:, 0])),
                     tuple(weights), tuple(doubts), GROW + slack)


def _cost(kind) -> int:
    """What is worked out sooner while both are ready: what waits longest is done with most."""
    last, function = kind
    return 4 if last else 1 if function is None else 2 if function is operator.mul else \
        0 if isinstance(function, np.ufunc) else 3


@dataclass(frozen=True)
class Program:
    """Operations in order.

    Attributes
    ----------
    leaves : tuple
        Names of what is given; those that are the same in all cells come last.
    steps : tuple
    ends : ndarray of int
        Where what is asked for stands.
    size : int
        Nodes of all steps.
    before : Program, optional
        What is the same in all cells, and so worked out once.
    """

    leaves: tuple
    steps: tuple
    ends: np.ndarray
    size: int
    before: Program | None = None

    def _parted(self, given):
        own = len(self.leaves) - len(self.before.leaves)
        return given[:own], given[own:]

    def numbers(self, given: Sequence, count: int) -> np.ndarray:
        """Run over numbers.

        Parameters
        ----------
        given : sequence
            A number or ndarray (count,) for each of the leaves.
        count : int

        Returns
        -------
        ndarray (ends, count)
        """
        if self.before is not None:
            own, given = self._parted(given)
            given = [*own, *self.before.numbers(given, count)]
        made = np.empty((len(self.ends), count))
        for part in _parts(count, self.size):
            values = np.empty((self.size + 1, part.stop - part.start))
            values[-1] = 0.0
            for row, value in zip(values, given, strict=False):
                row[:] = _cut(value, part)
            for step in self.steps:
                terms = [values[nodes] for nodes in step.nodes]
                if step.function is not None:
                    values[step.made] = step.function(*terms, *step.more)
                    continue
                total = step.more[0] + step.weights[0] * terms[0]
                for term, weight in zip(terms[1:], step.weights[1:], strict=True):
                    total[:len(term)] += weight * term
                values[step.made] = total
            made[:, part] = values[self.ends]
        return made

    def enclosures(self, given: Sequence, shape: tuple, inputs: int) -> np.ndarray:
        """Run over enclosures.

        Parameters
        ----------
        given : sequence
            A number or enclosure for each of the leaves.
        shape : (int, int)
            Rows of an enclosure, and cells.
        inputs : int
            Inputs that they follow.

        Returns
        -------
        ndarray (rows, ends, cells)
        """
        if self.before is not None:
            own, given = self._parted(given)
            still = self.before.enclosures(given, (shape[0], 1), inputs)
            given = [*own, *(Enclosure(rows, inputs) for rows in still.swapaxes(0, 1))]
        made = np.empty((shape[0], len(self.ends), shape[1]))
        for part in _parts(shape[1], shape[0] * self.size):
            held = _Held.of(self.size, given, (shape[0], part), inputs)
            for step in self.steps:
                if step.function is None:
                    found = held.sums(step)
                else:
                    found = step.function(*map(held.some, step.nodes), *step.more)
                held.put(step.made, found, sizes=step.taken)
            made[..., part] = held.rows[:, self.ends]
        return made


class _Held:
    """Enclosures of the nodes of a program, and the sizes of their parts."""

    def __init__(self, rows, inputs):
        self.rows, self.inputs = rows, inputs
        self.sizes = np.zeros((3, *rows.shape[1:]))

    @classmethod
    def of(cls, size, given, shape, inputs) -> _Held:
        """With what is given, and a 0 at the end."""
        count, part = shape
        held = cls(np.empty((count, size + 1, part.stop - part.start)), inputs)
        held.rows[:, :len(given)] = held.rows[:, -1:] = 0.0
        for i, value in enumerate(given):
            if isinstance(value, Enclosure):
                whole = value.rows.reshape(count, -1)
                held.rows[:, i] = whole if whole.shape[1] == 1 else whole[:, part]
            else:
                held.rows[0, i] = _cut(value, part)
        held.put(slice(0, len(given)), Enclosure(held.rows[:, :len(given)], inputs))
        return held

    def some(self, nodes) -> Enclosure:
        """Of some nodes."""
        return Enclosure(self.rows[:, nodes], self.inputs, tuple(self.sizes[:, nodes]))

    def put(self, made, found: Enclosure, *, sizes=True):
        """Keep what a step made, with its sizes if another takes it."""
        self.rows[:, made] = found.rows
        if sizes:
            for kept, size in zip(self.sizes, found.sizes, strict=True):
                kept[made] = size

    def sums(self, step) -> Enclosure:
        """Weighted sums, every rounding and every doubt about a weight counted."""
        total, off = 0.0, step.more[1]
        for j, (nodes, weight) in enumerate(zip(step.nodes, step.weights, strict=True)):
            term = self.rows[:, nodes]
            term *= weight
            np.abs(term[-1], out=term[-1])
            more = self.sizes[2, nodes] * step.doubts[j]
            if j:
                total[:, :len(nodes)] += term
                off[:len(nodes)] += more
            else:
                total, off = term, off + more
        total[0] += step.more[0]
        total[-1] = (total[-1] + off) * step.grow + TINY
        return Enclosure(total, self.inputs)


def _cut(value, part):
    return value if np.ndim(value) == 0 or np.size(value) == 1 else np.ravel(value)[part]


def _parts(count, size):
    """Even parts of some cells, so small that all nodes of one fit a block."""
    step = max(8, BLOCK // max(1, size))
    return [slice(k, min(count, k + step)) for k in range(0, count, step)]


def varied(dimensions: Any, drawn: Any) -> tuple:
    """Which entries of dimensions are other than drawn, by the table and name of each."""
    if dimensions is drawn:
        return ()
    found = []
    for table in ("places", "axes", "lengths"):
        here, there = getattr(dimensions, table), getattr(drawn, table)
        found += [(table, name) for name, value in here.items() if not _same(value, there[name])]
    return tuple(found)


def _same(value, other) -> bool:
    if value is other:
        return True
    entries = zip(value, other, strict=True) if isinstance(other, tuple) else ((value, other),)
    return all(a is b or (isinstance(a, float) and a == b) for a, b in entries)


def on_tape(tape: Tape, drawn: Any, other: Sequence) -> Any:
    """Dimensions as drawn, with leaves for the entries that are other than that.

    A leaf is named by its table, its name, and which of the three numbers of a point or axis it is.
    """
    tables = {"places": {}, "axes": {}, "lengths": {}}
    for table, name in other:
        entry = getattr(drawn, table)[name]
        tables[table][name] = tape.leaf((table, name, None), still=True) \
            if table == "lengths" else tuple(tape.leaf((table, name, i), still=True)
                                             for i in range(len(entry)))
    return replace(drawn, **{table: getattr(drawn, table) | leaves
                             for table, leaves in tables.items()})


def given(dimensions: Any, leaf: tuple) -> Any:
    """What a leaf of `on_tape` stands for."""
    table, name, i = leaf
    entry = getattr(dimensions, table)[name]
    return entry if i is None else entry[i]
