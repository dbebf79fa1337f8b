"""Enclosures that follow the builds as closely as the travel: a tolerance times an input is kept.

As `linkage.intervals` has them, with more rows: for each share e_k and each input d_i the size of
d_i e_k.  To whatever takes no notice these are shares like any other, of numbers between -1 and 1.
"""

from __future__ import annotations

import numpy as np

from ..intervals import GROW, TINY, Enclosure, U, bend_rows, extent, fitted, row_count, unknown


class BuiltEnclosure(Enclosure):
    """Second-order enclosure over cells, of first order in the builds at every place of a cell."""

    __slots__ = ()

    @property
    def shares(self) -> np.ndarray:
        """Sizes of the shares at the middle of the cell, (shares, ...)."""
        return self.rows[share_rows(self.rows, self.inputs)]

    def __array_ufunc__(self, ufunc, method, *inputs, **options):
        if ufunc is np.multiply and method == "__call__" and not options:
            return _multiply(*inputs)
        found = super().__array_ufunc__(ufunc, method, *inputs, **options)
        return _kept(found)

    def __neg__(self):
        return _kept(super().__neg__())

    def __add__(self, other):
        return _kept(super().__add__(other))

    __radd__ = __add__

    def __sub__(self, other):
        return _kept(super().__sub__(other))

    def __rsub__(self, other):
        return _kept(super().__rsub__(other))

    def __mul__(self, other):
        return _multiply(self, other)

    __rmul__ = __mul__

    def __truediv__(self, other):
        return _kept(super().__truediv__(other))

    def __rtruediv__(self, other):
        return _kept(super().__rtruediv__(other))

    def __pow__(self, power):
        if power != 2:
            raise NotImplementedError("only squares")
        return _multiply(self, self)


def share_rows(rows: np.ndarray, inputs: int) -> slice:
    """Where the shares at the middle of the cell stand; the rows of each times an input follow."""
    first = row_count(inputs) - 1
    return slice(first, first + (len(rows) - 1 - first) // (1 + inputs))


def _kept(value):
    return BuiltEnclosure(value.rows, value.inputs) if isinstance(value, Enclosure) else value


def parted(rows: np.ndarray, inputs: int) -> tuple:
    """Shares (shares, ...) of rows, and these per input (inputs, shares, ...)."""
    here = share_rows(rows, inputs)
    return rows[here], rows[here.stop:-1].reshape(inputs, here.stop - here.start, *rows.shape[1:])


def _sums(rows, inputs):
    """Sums of the sizes of slopes, bends, shares and shares per input."""
    size, here = np.abs(rows), share_rows(rows, inputs)
    return (size[1:1 + inputs].sum(axis=0), size[bend_rows(inputs)].sum(axis=0),
            size[here].sum(axis=0), size[here.stop:-1].sum(axis=0))


def _multiply(one, other):
    if not isinstance(one, Enclosure):
        one, other = other, one
    if not isinstance(other, Enclosure):
        return _kept(Enclosure.__mul__(one, other))
    return BuiltEnclosure(product_rows(one.rows, other.rows, one.inputs), one.inputs)


def product_rows(a: np.ndarray, b: np.ndarray, inputs: int) -> np.ndarray:
    """Rows of the product of two enclosures given by their rows."""
    ndim = max(a.ndim, b.ndim) - 1
    a, b = fitted(a, ndim), fitted(b, ndim)
    spread_a, bend_a, share_a, cross_a = _sums(a, inputs)
    spread_b, bend_b, share_b, cross_b = _sums(b, inputs)
    rows = a * b[0]
    rows += b * a[0]
    rows[0] = a[0] * b[0]
    _bent(rows, a[1:1 + inputs], b[1:1 + inputs], inputs)
    (own, _), (more, _), (_, crossed) = (parted(k, inputs) for k in (a, b, rows))
    for i in range(inputs):
        crossed[i] += a[1 + i] * more
        crossed[i] += b[1 + i] * own
    size_a = np.abs(a[0]) + spread_a + bend_a + share_a + cross_a
    size_b = np.abs(b[0]) + spread_b + bend_b + share_b + cross_b
    high_a, high_b = bend_a + cross_a, bend_b + cross_b
    rest = size_a * b[-1] + (size_b + b[-1]) * a[-1]
    rest += (spread_a + share_a) * high_b + high_a * (spread_b + share_b + high_b)
    rest += share_a * share_b + 16 * U * size_a * size_b
    rows[-1] = unknown(rest, rows[0]) * GROW + TINY
    return rows


def _bent(rows, one, other, inputs):
    """Add the bends that the product of two sets of slopes makes, in place."""
    at = 1 + inputs
    for i in range(inputs):
        rows[at] += one[i] * other[i]
        for j in range(i + 1, inputs):
            rows[at + j - i] += one[i] * other[j] + one[j] * other[i]
        at += inputs - i


def built_extent(rows: np.ndarray, inputs: int) -> np.ndarray:
    """Least of rows over their cells and builds, the rest left out.

    What the builds cost, the sum of the sizes of all shares, is a convex function of the place in
    the cell, so that it is greatest at a corner.
    """
    drawn = np.concatenate([rows[:row_count(inputs) - 1], rows[-1:]])
    share, crossed = parted(rows, inputs)
    most = None
    for signs in np.array(np.meshgrid(*[(-1.0, 1.0)] * inputs)).reshape(inputs, -1).T:
        at = share + sum(sign * crossed[i] for i, sign in enumerate(signs))
        size = np.abs(at).sum(axis=0)
        most = size if most is None else np.maximum(most, size)
    return extent(drawn, inputs)[0] - (0.0 if most is None else most)
