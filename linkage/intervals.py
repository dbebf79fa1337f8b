"""Enclosures: arrays of bounds over cells of travel that follow the inputs to second order.

Over a cell every input runs from its centre by plus or minus a half-width: ``x = centre +
half * d`` with ``|d| <= 1``.  An enclosure holds, for each cell,

    | f(x, t) - (centre + sum slope_i d_i + sum bend_ij d_i d_j + sum share_k e_k) |  <=  rest

for every |d_i| <= 1 and every |e_k| <= 1, where the e_k are the build tolerances, so two values
that move together cancel, and what is lost is of third order in the cell, or a product of a
tolerance with a travel or with another tolerance.  Every rounding of double precision is counted
into `rest`.  The rules are Taylor's theorem with
Lagrange's remainder (Moore, Kearfott & Cloud, Introduction to Interval Analysis, 2009, ch. 9,
from memory).
"""

from __future__ import annotations

import functools
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

U = 2.0**-53  # unit roundoff of a double
GROW = 1 + 64 * U  # covers the roundings of a sum of a few terms that are not negative
TINY = 1e-290  # covers underflow
WIDE = 0.3  # radians about an angle beyond which its cosine is also asked for its plain range


class Enclosure:
    """Second-order enclosure over an array of cells, of first order in the build tolerances.

    Parameters
    ----------
    rows : ndarray, shape (rows, ...)
        Centre, a slope per input, a bend per pair of inputs (11, 12, ..., 22, ...), a share per
        build tolerance, and rest.
    inputs : int
        How many inputs it follows; the shares are what rows are left over.
    sizes : tuple of ndarray (...), optional
        What `sizes` gives, where it is known.
    """

    __slots__ = ("_sizes", "inputs", "rows")

    def __init__(self, rows: np.ndarray, inputs: int, sizes: tuple | None = None):
        self.rows, self.inputs = rows, inputs
        self._sizes = sizes

    @classmethod
    def of_input(cls, index: int, count: int, centre: np.ndarray, half: np.ndarray,
                 shares: int = 0) -> Enclosure:
        """The input itself over cells.

        Parameters
        ----------
        index, count : int
            Which of how many inputs.
        centre, half : ndarray, shape (...)
            Middle and half-width of the cells.
        shares : int
            Build tolerances followed.

        Examples
        --------
        >>> x = Enclosure.of_input(0, 1, np.array([3.0]), np.array([0.5]))
        >>> low, high = (x * x).bounds()
        >>> bool(2.5**2 - 1e-9 < low[0] <= 2.5**2), bool(3.5**2 <= high[0] < 3.5**2 + 1e-9)
        (True, True)
        """
        rows = np.zeros((row_count(count) + shares, *np.shape(centre)))
        rows[0], rows[1 + index] = centre, half
        return cls(rows, count)

    @property
    def centre(self) -> np.ndarray:
        """Middle value, shape (...)."""
        return self.rows[0]

    @property
    def slopes(self) -> np.ndarray:
        """Change over half a cell per input, shape (inputs, ...)."""
        return self.rows[1:1 + self.inputs]

    @property
    def bends(self) -> np.ndarray:
        """Second-order change per pair of inputs, shape (pairs, ...)."""
        return self.rows[bend_rows(self.inputs)]

    @property
    def rest(self) -> np.ndarray:
        """What the other rows leave out, at most, shape (...)."""
        return self.rows[-1]

    @property
    def sizes(self) -> np.ndarray:
        """Sums of the sizes of slopes, of bends and shares, and of all with the centre."""
        if self._sizes is None:
            known = np.abs(self.rows[:-1])
            last = 1 + self.inputs
            spread, bend = known[1:last].sum(axis=0), known[last:].sum(axis=0)
            self._sizes = spread, bend, known[0] + spread + bend
        return self._sizes

    def bounds(self) -> tuple[np.ndarray, np.ndarray]:
        """Least and greatest value over each cell, rounded outward: two arrays (...)."""
        low, high = extent(self.rows, self.inputs)
        slack = (self.rows[-1] + 16 * U * self.sizes[2]) * GROW + TINY
        return low - slack, high + slack

    def __array_ufunc__(self, ufunc, method, *inputs, **options):
        rule = _RULES.get(ufunc.__name__)
        if rule is None or method != "__call__" or options:
            return NotImplemented
        return rule(*inputs)

    def __neg__(self):
        rows = -self.rows
        rows[-1] = self.rows[-1]
        return Enclosure(rows, self.inputs)

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
        return _multiply(self, _reciprocal(other) if isinstance(other, Enclosure) else 1.0 / other)

    def __rtruediv__(self, other):
        return _multiply(_reciprocal(self), other)

    def __pow__(self, power):
        if power != 2:
            raise NotImplementedError("only squares")
        return _multiply(self, self)


def row_count(inputs: int) -> int:
    """Rows of an enclosure that follows so many inputs.

    Examples
    --------
    >>> [row_count(n) for n in range(4)]
    [2, 4, 7, 11]
    """
    return 2 + inputs + inputs * (inputs + 1) // 2


def bend_rows(inputs: int) -> slice:
    """Where the bends of an enclosure stand."""
    return slice(1 + inputs, row_count(inputs) - 1)


@functools.cache
def _index_pairs(inputs: int):
    """First and second input of each bend, and which bends are of one input with itself."""
    pairs = [(i, j) for i in range(inputs) for j in range(i, inputs)]
    one, other = (np.array(k, dtype=int) for k in zip(*pairs, strict=True)) if pairs else (
        np.zeros(0, int), np.zeros(0, int))
    return one, other, np.flatnonzero(one == other), np.flatnonzero(one != other)


def extent(rows: np.ndarray, inputs: int) -> tuple[np.ndarray, np.ndarray]:
    """Least and greatest of rows over their cells, the rest left out.

    Each input's own slope and bend are taken together: the least of L d + Q d^2 is at an end, or
    at its bottom -L^2/(4Q).
    """
    _, _, own, mixed = _index_pairs(inputs)
    bends = rows[bend_rows(inputs)]
    size, bend = np.abs(rows[1:1 + inputs]), bends[own]
    mix = np.abs(bends[mixed]).sum(axis=0)
    if len(rows) > row_count(inputs):
        mix = mix + np.abs(rows[row_count(inputs) - 1:-1]).sum(axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        turn = -size * size / (4 * bend)
    inside = size < 2 * np.abs(bend)
    low = np.where(inside & (bend > 0), turn, bend - size).sum(axis=0)
    high = np.where(inside & (bend < 0), turn, bend + size).sum(axis=0)
    return rows[0] + low - mix, rows[0] + high + mix


def fitted(rows: np.ndarray, ndim: int) -> np.ndarray:
    """Rows with axes put in after the first, so that they broadcast with `ndim` axes of cells."""
    missing = ndim - (rows.ndim - 1)
    return rows.reshape(rows.shape[0], *(1,) * missing, *rows.shape[1:]) if missing > 0 else rows


def _rounded(rows, inputs):
    """Count a rounding of each row into the rest, in place."""
    found = Enclosure(rows, inputs)
    rows[-1] = (rows[-1] + U * found.sizes[2]) * GROW + TINY
    return found


def _products(one, other, inputs):
    """Bends that the product of two sets of slopes makes, shape (pairs, ...)."""
    i, j, _, mixed = _index_pairs(inputs)
    made = one[i] * other[j]
    made[mixed] += one[j[mixed]] * other[i[mixed]]
    return made


def _add(one, other):
    if not isinstance(one, Enclosure):
        one, other = other, one
    if isinstance(other, Enclosure):
        ndim = max(one.rows.ndim, other.rows.ndim) - 1
        return _rounded(fitted(one.rows, ndim) + fitted(other.rows, ndim), one.inputs)
    if np.ndim(other) == 0 and other == 0.0:
        return one
    rows = fitted(one.rows, np.ndim(other))
    rows = np.array(np.broadcast_to(
        rows, (len(rows), *np.broadcast_shapes(rows.shape[1:], np.shape(other)))))
    rows[0] += other
    return _rounded(rows, one.inputs)


def _multiply(one, other):
    if not isinstance(one, Enclosure):
        one, other = other, one
    if not isinstance(other, Enclosure):
        if np.ndim(other) == 0 and other in (0.0, 1.0):
            return one if other == 1.0 else 0.0
        rows = fitted(one.rows, np.ndim(other)) * other
        rows[-1] = unknown(np.abs(rows[-1]), rows[0])
        return _rounded(rows, one.inputs)
    ndim = max(one.rows.ndim, other.rows.ndim) - 1
    a, b = fitted(one.rows, ndim), fitted(other.rows, ndim)
    rows = a * b[0]
    rows += b * a[0]
    rows[0] = a[0] * b[0]
    inputs = one.inputs
    if inputs:
        rows[bend_rows(inputs)] += _products(a[1:1 + inputs], b[1:1 + inputs], inputs)
    (spread_a, bend_a, size_a), (spread_b, bend_b, size_b) = one.sizes, other.sizes
    rest = size_a * b[-1] + (size_b + b[-1]) * a[-1]
    rest += spread_a * bend_b + bend_a * (spread_b + bend_b)
    rest += 8 * U * (size_a * size_b)
    rows[-1] = unknown(rest, rows[0]) * GROW + TINY
    return Enclosure(rows, inputs)


def unknown(rest: np.ndarray, centre: np.ndarray) -> np.ndarray:
    """Rest in which 0 times infinity counts as infinite; what has no centre keeps none."""
    return np.where(np.isnan(rest) & ~np.isnan(centre), np.inf, rest)


def _through(x, value, slopes, third):
    """A smooth function of x by its Taylor polynomial of degree 2 at the centre.

    `slopes` are its first and second derivative there, `third` bounds the third over the cell.
    """
    first, second = slopes
    spread, bend, _ = x.sizes
    more = bend + x.rows[-1]
    rows = x.rows * first
    rows[0] = value
    inputs = x.inputs
    if inputs:
        own = x.rows[1:1 + inputs]
        rows[bend_rows(inputs)] += 0.5 * second * _products(own, own, inputs)
    rest = np.abs(first) * x.rows[-1] + np.abs(second) * (spread + 0.5 * more) * more
    rest += third / 6 * ((spread + more) * GROW) ** 3
    rest += 16 * U * (np.abs(value) + np.abs(first) * (np.abs(x.rows[0]) * U + spread + bend)
                      + np.abs(second) * spread * spread)
    rows[-1] = unknown(rest, rows[0]) * GROW + TINY
    return Enclosure(rows, inputs)


def _reciprocal(x):
    """1/x; no bound where the cell holds 0."""
    low, high = x.bounds()
    c = x.rows[0]
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        nearest = np.where(low > 0, low, np.where(high < 0, -high, 0.0))
        found = _through(x, 1 / c, (-1 / c**2, 2 / c**3), 6 / nearest**4)
    lost = ~(nearest > 0) & ~np.isnan(c)
    found.rows[:, lost] = 0.0
    found.rows[-1] = np.where(lost, np.inf, unknown(found.rows[-1], found.rows[0]))
    return Enclosure(found.rows, x.inputs)


def _sqrt(x):
    """Root; where a cell holds 0 it is clipped to its part above, [0, sqrt(high)].

    A cell wholly below 0 has no root: NaN.
    """
    low, high = x.bounds()
    c = x.rows[0]
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        root = np.sqrt(c)
        found = _through(x, root, (0.5 / root, -0.25 / (c * root)), 0.375 / (low**2 * np.sqrt(low)))
        clipped = ~(low > 0)
        if clipped.any():
            top = np.sqrt(high) * (1 + 4 * U)
            found.rows[:, clipped] = 0.0
            middle = np.where(np.isinf(top), 0.0, 0.5 * top)
            found.rows[0] = np.where(clipped, middle, found.rows[0])
            found.rows[-1] = np.where(clipped, 0.5 * top * (1 + 4 * U), found.rows[-1])
    return Enclosure(found.rows, x.inputs)


def _cos(x):
    cos, sin = np.cos(x.rows[0]), np.sin(x.rows[0])
    away = sum(x.sizes[:2]) + x.rows[-1]
    found = _through(x, cos, (-sin, -cos), np.minimum(1.0, np.abs(sin) + away))
    return _no_wider(found, x.rows[0], away)


def _sin(x):
    cos, sin = np.cos(x.rows[0]), np.sin(x.rows[0])
    away = sum(x.sizes[:2]) + x.rows[-1]
    found = _through(x, sin, (cos, -sin), np.minimum(1.0, np.abs(cos) + away))
    return _no_wider(found, x.rows[0] - np.pi / 2, away)


def _no_wider(found, angle, away):
    """A cosine held to its plain range over angles, where a wide cell makes that the narrower."""
    if not (away > WIDE).any():
        return found
    with np.errstate(invalid="ignore"):
        low, high = cosines(angle - away, angle + away)
        wide = (away > WIDE) & ~np.isnan(angle) & ~(
            sum(found.sizes[:2]) + found.rows[-1] <= (high - low) / 2)
    found.rows[:, wide] = 0.0
    found.rows[0, wide] = ((low + high) / 2)[wide]
    found.rows[-1, wide] = ((high - low) / 2 * GROW + 4 * U)[wide]
    return Enclosure(found.rows, found.inputs)


def cosines(low: ArrayLike, high: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    """Least and greatest cosine of the angles between two, radians.

    Examples
    --------
    >>> [round(float(k), 4) for k in cosines(-1.0, 0.5)], cosines(3.0, np.inf)[1] >= 1
    ([0.5403, 1.0], np.True_)
    """
    reach = 8 * U * (1 + np.maximum(np.abs(low), np.abs(high)))
    low, high = low - reach, high + reach
    any_turn = ~(high - low < 2 * np.pi)
    low, high = np.where(any_turn, 0.0, low), np.where(any_turn, 0.0, high)
    ends = np.cos(low), np.cos(high)
    peak = np.floor(high / (2 * np.pi)) * 2 * np.pi >= low
    trough = np.floor((high - np.pi) / (2 * np.pi)) * 2 * np.pi + np.pi >= low
    return (np.where(any_turn | trough, -1.0, np.minimum(*ends) - 4 * U),
            np.where(any_turn | peak, 1.0, np.maximum(*ends) + 4 * U))


def _arctan2(y, x):
    """Angle: that of the centre, and the arc tangent of what is left, whose third is at most 2."""
    c, s = x.rows[0], y.rows[0]
    with np.errstate(divide="ignore", invalid="ignore"):
        size = np.hypot(c, s)
        ahead, aside = x * (c / size) + y * (s / size), y * (c / size) - x * (s / size)
        low, _ = ahead.bounds()
        ratio = aside * _reciprocal(ahead)
        t = ratio.rows[0]
        found = _through(ratio, np.arctan2(s, c) + np.arctan(t),
                         (1 / (1 + t * t), -2 * t / (1 + t * t) ** 2), 2.0)
        found.rows[-1] += 8 * U
        found.rows[-1] = np.where(low > 0, found.rows[-1], np.inf)
    return found


_RULES = {
    "add": _add, "multiply": _multiply, "sqrt": _sqrt, "cos": _cos, "sin": _sin,
    "arctan2": _arctan2, "negative": Enclosure.__neg__,
    "subtract": lambda one, other: _add(one, -other),
    "divide": lambda one, other: one * _reciprocal(other),
}
