"""Arithmetic traced once and then run over whole arrays: all operations of a kind at once.

A closure of a chain of rods is hundreds of small operations, one after the other.  What each takes
is the same every time, so they are written down once: sums are put together symbolically until
something must be multiplied or taken a function of, what is asked twice is kept once, and what is
ready at the same time is worked out in one array operation, over numbers as over enclosures.
"""

from __future__ import annotations

import itertools
import operator
from collections import Counter, defaultdict
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np

from ..intervals import GROW, TINY, Enclosure, U
from .traced import WHOLE, Traced

BLOCK = 1 << 22  # numbers held at once while a tape runs, so that they stay in the cache


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
        needed = self._above(ends)
        still = self._same_in_all_cells(needed)
        used = self._taken(needed - still) | set(ends)
        before, names = sorted(used & still), {node: name for name, node in self._leaves.items()}
        moving, given = (sorted(nodes & names.keys())
                         for nodes in (needed - still, self._above(before)))
        return replace(self._program(ends, moving + before), before=self._program(before, given),
                       leaves=tuple(names[node] for node in moving + given))

    def _above(self, ends, known=frozenset()) -> set:
        """The nodes that some follow from, and they themselves, up to those that are known."""
        needed, todo = set(), [node for node in ends if node not in known]
        while todo:
            node = todo.pop()
            if node not in needed:
                needed.add(node)
                todo += [n for n in self._nodes[node].nodes if n not in known]
        return needed

    def _same_in_all_cells(self, needed) -> set:
        """Those that follow from still leaves alone."""
        still, leaves = set(self._still), set(self._leaves.values())
        for node in sorted(needed - leaves):
            if still.issuperset(self._nodes[node].nodes):
                still.add(node)
        return still & needed

    def _taken(self, nodes) -> set:
        return {n for node in nodes for n in self._nodes[node].nodes}

    def _program(self, ends, leaves) -> Program:
        place, steps = {node: i for i, node in enumerate(leaves)}, []
        needed = self._above(ends, place.keys())
        for last, function, nodes in self._batches(needed, self._taken(needed)):
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
        if function is None:
            return _sums(taken, more, made)
        return _Step(made, function, tuple(np.array(taken, int).T),
                     tuple(np.array(k)[:, None] for k in zip(*more, strict=True)))


def _sums(taken, more, made) -> _Step:
    """The step of sums of terms with weights, the longest first, and a number each."""
    terms = [_terms(at, weights) for at, (weights, _) in zip(taken, more, strict=True)]
    columns = [np.array([term for term in column if term]).T
               for column in itertools.zip_longest(*terms)]
    slack = (len(columns) + 3) * U
    number, off = np.array([number for _, number in more]).T[..., None]
    return _Step(made, None, tuple(at.astype(int) for at, _, _ in columns),
                 (number, off + slack * np.abs(number)),
                 tuple(weight[:, None] for _, weight, _ in columns),
                 tuple((doubt + slack * np.abs(weight))[:, None] for _, weight, doubt in columns),
                 GROW + slack)


def _terms(taken, weights):
    """Terms of a sum; one of nothing but its number has a 0, which stands last, as its one term."""
    return [(n, *weight) for n, weight in zip(taken, weights, strict=True)] or [(-1, 0.0, 0.0)]


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
