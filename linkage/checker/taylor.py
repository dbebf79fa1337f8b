"""Polynomials of degree two over a cell, in balls, and a rest that holds all else.

The variables run from -1 to 1.  Each coefficient is a ball that holds what was rounded; the rest
is a size, counted upwards at every step.
"""

from flint import arb, ctx

ctx.prec = 80
UP = 1 + 2.0**-40  # makes a sum or product of a few dozen sizes an upper bound
TINY = 1e-280


def above(x):
    """A float no less than the size of a ball; infinite where it has none."""
    size = float(x.abs_upper()) * UP
    return size if size == size else float("inf")


class Table:
    """Which monomials there are in some variables, and what each two of them make."""

    def __init__(self, count):
        self.count = count
        self.names = [(), *((i,) for i in range(count)),
                      *((i, j) for i in range(count) for j in range(i, count))]
        place = {n: k for k, n in enumerate(self.names)}
        self.product = [[place.get(tuple(sorted(a + b))) for b in self.names] for a in self.names]
        self.lines = range(1, 1 + count)
        self.squares = [place[i, i] for i in range(count)]
        self.mixed = [k for n, k in place.items() if len(n) == 2 and n[0] != n[1]]


class Taylor:
    """Coefficients by monomial, those that are 0 left out, and a rest."""

    __slots__ = ("c", "rest", "table", "_sizes")

    def __init__(self, table, c, rest=0.0):
        self.table, self.c, self.rest, self._sizes = table, c, rest, None

    @property
    def sizes(self):
        """Upper bounds of the constant, of the lines and of the bends."""
        if self._sizes is None:
            found = [0.0, 0.0, 0.0]
            for k, x in self.c.items():
                found[len(self.table.names[k])] += above(x)
            self._sizes = [s * UP for s in found]
        return self._sizes

    @property
    def size(self):
        return (sum(self.sizes) + self.rest) * UP

    @property
    def spread(self):
        """Upper bound of how far it is anywhere from its constant."""
        return (self.sizes[1] + self.sizes[2] + self.rest) * UP

    @property
    def centre(self):
        return self.c.get(0, arb(0))

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
            other = arb(other)
            return Taylor(self.table, {k: x * other for k, x in self.c.items()},
                          self.rest * above(other) * UP)
        c, product = {}, self.table.product
        for i, x in self.c.items():
            row = product[i]
            for j, y in other.c.items():
                k = row[j]
                if k is not None:
                    z = x * y
                    c[k] = c[k] + z if k in c else z
        (_, p, q), (_, s, t) = self.sizes, other.sizes
        rest = p * t + q * s + q * t
        if self.rest or other.rest:
            rest += self.size * other.rest + self.rest * sum(other.sizes)
        return Taylor(self.table, c, rest * UP + TINY if rest else 0.0)

    def low(self):
        """A lower bound over the cell."""
        found = self.floats()
        return lowest(self.table, found, (self.rest + found[-1]) * UP)

    def floats(self):
        """Its coefficients as floats, and last the size of what is lost by that."""
        values, lost = [0.0] * len(self.table.names), 0.0
        for k, x in self.c.items():
            values[k] = float(x.mid())
            lost += float(x.rad()) * UP + abs(values[k]) * 2.0**-50
        return [*values, lost if lost == lost else float("inf")]

    def high(self):
        return -(-self).low()


def lowest(table, c, rest):
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


def constant(table, value):
    return Taylor(table, {0: arb(value)})


def turn(x):
    """Cos and sin of a Taylor."""
    table, whole = x.table, x.centre
    cos, sin = whole.cos(), whole.sin()
    p = Taylor(table, {k: v for k, v in x.c.items() if k}, x.rest)
    if not p.c and not p.rest:
        return constant(table, cos), constant(table, sin)
    far = p.spread
    half = p * p * arb(-0.5)
    near = Taylor(table, half.c, (half.rest + far**4 / 24) * UP) + 1  # cos p
    odd = Taylor(table, p.c, (p.rest + far**3 / 6) * UP)  # sin p
    return near * cos - odd * sin, near * sin + odd * cos


def dot(a, b):
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
