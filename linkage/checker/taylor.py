"""Polynomials of degree two over a cell, in balls, and a rest that holds all else.

The variables run from -1 to 1.  Each coefficient is a ball that holds what was rounded; the rest
is a size, counted upwards at every step.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from itertools import combinations_with_replacement

from flint import arb, arb_mat, ctx

ctx.prec = 80
ALL = arb_mat(3, 3, 1)  # changes nothing
UP = 1 + 2.0**-40  # makes a sum or product of a few dozen sizes an upper bound
TINY = 1e-280


def above(x: arb) -> float:
    """A float no less than the size of a ball; infinite where it has none."""
    size = float(x.abs_upper()) * UP
    return size if size == size else float("inf")


class Table:
    """Which monomials there are in some variables, and what each two of them make."""

    def __init__(self, count: int):
        self.count = count
        self.names = [name for degree in (0, 1, 2)
                      for name in combinations_with_replacement(range(count), degree)]
        place = dict(zip(self.names, range(len(self.names)), strict=True))
        self.product = self.of_each_two(place.get)
        self.third = self.of_each_two(lambda name: cubic(name, place))
        self.lines = range(1, 1 + count)
        self.squares = [place[i, i] for i in range(count)]
        self.mixed = [k for n, k in place.items() if len(set(n)) == 2]

    def of_each_two(self, work: Callable) -> list[list]:
        """What comes of the product of each two monomials."""
        return [[work(tuple(sorted(a + b))) for b in self.names] for a in self.names]


def cubic(name: tuple, place: dict) -> tuple | None:
    """The line that comes nearest to a monomial of degree 3, its share, and what is left."""
    if len(name) != 3 or len(set(name)) == 3:
        return None
    if len(set(name)) == 1:  # x^3 = 3/4 x + T3/4
        return place[name[:1]], arb(0.75), 0.25
    single = name[0] if name[1] == name[2] else name[2]
    return place[single,], arb(0.5), 0.5  # x^2 y = y/2 + T2 y/2


class Taylor:
    """Coefficients by monomial, those that are 0 left out, and a rest."""

    __slots__ = ("c", "rest", "table", "_sizes")

    def __init__(self, table: Table, c: dict, rest: float = 0.0):
        self.table, self.c, self.rest, self._sizes = table, c, rest, None

    @property
    def sizes(self) -> list[float]:
        """Upper bounds of the constant, of the lines and of the bends."""
        if self._sizes is None:
            found = [0.0, 0.0, 0.0]
            for k, x in self.c.items():
                found[len(self.table.names[k])] += above(x)
            self._sizes = [s * UP for s in found]
        return self._sizes

    @property
    def size(self) -> float:
        """Upper bound of how large it is anywhere."""
        return (sum(self.sizes) + self.rest) * UP

    @property
    def spread(self) -> float:
        """Upper bound of how far it is anywhere from its constant."""
        return (self.sizes[1] + self.sizes[2] + self.rest) * UP

    @property
    def centre(self) -> arb:
        """Its constant."""
        return self.c.get(0, arb(0))

    @property
    def ball(self) -> arb:
        """A ball that holds it all over the cell."""
        return self.centre + arb(0, self.spread)

    @property
    def is_number(self) -> bool:
        """Whether it is the same all over, but for a ball."""
        return self.c.keys() == {0} and not self.rest

    def __add__(self, other):
        if not isinstance(other, Taylor):
            other = Taylor(self.table, {0: arb(other)})
        c = dict(self.c)
        for k, x in other.c.items():
            c[k] = c[k] + x if k in c else x
        return Taylor(self.table, c, (self.rest + other.rest) * UP)

    def __neg__(self):
        return Taylor(self.table, {k: -x for k, x in self.c.items()}, self.rest)

    def __sub__(self, other):
        return self + (-other)

    def __mul__(self, other):
        if not isinstance(other, Taylor):
            return self.scaled(arb(other))
        return self.scaled(other.centre) if other.is_number else self.product(other)

    __radd__, __rmul__ = __add__, __mul__

    def product(self, other: Taylor) -> Taylor:
        """Both multiplied, what is of a higher degree brought down or left to the rest."""
        c, table, rest = {}, self.table, 0.0
        for i, x in self.c.items():
            row, third = table.product[i], table.third[i]
            for j, y in other.c.items():
                k, z = row[j], x * y
                if k is None:
                    if third[j] is None:
                        rest += above(z)
                        continue
                    k, share, left = third[j]
                    rest += above(z) * left
                    z *= share
                c[k] = c[k] + z if k in c else z
        if self.rest or other.rest:
            rest += self.size * other.rest + self.rest * sum(other.sizes)
        return Taylor(self.table, c, rest * UP + TINY if rest else 0.0)

    def scaled(self, factor: arb) -> Taylor:
        """The same times a number."""
        if factor.is_zero():
            return Taylor(self.table, {})
        return Taylor(self.table, {k: x * factor for k, x in self.c.items()},
                      self.rest * above(factor) * UP)

    def low(self) -> float:
        """A lower bound over the cell."""
        found = self.floats()
        return lowest(self.table, found, (self.rest + found[-1]) * UP)

    def floats(self) -> list[float]:
        """Its coefficients as floats, and last the size of what is lost by that."""
        values, lost = [0.0] * len(self.table.names), 0.0
        for k, x in self.c.items():
            values[k] = float(x.mid())
            lost += float(x.rad()) * UP + abs(values[k]) * 2.0**-50
        return [*values, lost if lost == lost else float("inf")]

    def high(self) -> float:
        """An upper bound over the cell."""
        return -(-self).low()


def lowest(table: Table, c: Sequence, rest: float) -> float:
    """A lower bound of a polynomial with floats for coefficients, less its rest."""
    low, total = c[0] - rest, abs(c[0]) + rest
    for i, square in zip(table.lines, table.squares, strict=True):
        b, bend = abs(c[i]), c[square]
        low += -b * b / (4 * bend) if 2 * bend > b else bend - b
        total += b + abs(bend)
    for k in table.mixed:
        low -= abs(c[k])
        total += abs(c[k])
    low -= total * 2.0**-44
    return low if low == low else float("-inf")


def constant(table: Table, value: object) -> Taylor:
    """A Taylor that is the same all over."""
    return Taylor(table, {0: arb(value)})


def turn(x: Taylor) -> tuple[Taylor, Taylor]:
    """Cos and sin of a Taylor."""
    table, whole = x.table, x.centre
    cos, sin = whole.cos(), whole.sin()
    p = Taylor(table, {k: v for k, v in x.c.items() if k}, x.rest)
    if not p.c and not p.rest:
        return constant(table, cos), constant(table, sin)
    far = p.spread
    if not far < 1.5:
        return Taylor(table, {}, 1.0), Taylor(table, {}, 1.0)
    half = p * p * arb(-0.5)
    # p^3 is 3/4 far^2 p and p^4 is far^2 p^2 - far^4/8, but for far^3/4 and far^4/8 (Chebyshev)
    near = half * arb(1 - far**2 / 12) + arb(1 - far**4 / 192)  # cos p
    near = Taylor(table, near.c, (near.rest + far**4 / 192 + far**6 / 720) * UP)
    odd = p * arb(1 - far**2 / 8)  # sin p
    odd = Taylor(table, odd.c, (odd.rest + far**3 / 24 + far**5 / 120) * UP)
    return near * cos - odd * sin, near * sin + odd * cos


# ---------------------------------------------------------------- columns of balls


def middles(p: Sequence) -> list[float]:
    """Middles of some Taylors in floats."""
    return [float(k.centre.mid()) for k in p]


def column(p: Sequence) -> arb_mat:
    """Three Taylors (balls) as a column of balls."""
    return arb_mat([[k.ball if isinstance(k, Taylor) else arb(k)] for k in p])


def cross_matrix(u: arb_mat) -> arb_mat:
    """The matrix that takes the vector product of a column of balls with another."""
    x, y, z = u.entries()
    return arb_mat([[0, -z, y], [z, 0, -x], [-y, x, 0]])


def sizes(row: Iterable) -> list:
    """Upper bounds of the sizes of some balls."""
    return [float(k.abs_upper()) * UP for k in row]
