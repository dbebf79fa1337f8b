"""Sums that are put together while arithmetic is traced: weights of what stands on a tape."""

from __future__ import annotations

import operator
from typing import Any

import numpy as np

from ..intervals import U

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

    def __init__(self, tape: Any, terms: dict, number: tuple[float, float] = (0.0, 0.0)):
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
