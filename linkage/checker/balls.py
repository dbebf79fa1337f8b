"""Columns and rows of balls: numbers with how far they may be off."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flint import arb, arb_mat

from .motion import EYE
from .taylor import UP, Taylor

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

ALL = arb_mat([[arb(k) for k in row] for row in EYE])


def hull(x: Taylor) -> arb:
    """A ball that holds a Taylor all over its cell."""
    return x.centre + arb(0, x.spread)


def column(p: Sequence) -> arb_mat:
    """Three Taylors (balls) as a column of balls."""
    return arb_mat([[hull(k) if isinstance(k, Taylor) else arb(k)] for k in p])


def cross(u: arb_mat) -> arb_mat:
    """The matrix that takes the vector product of a column of balls with another."""
    x, y, z = u.entries()
    return arb_mat([[0, -z, y], [z, 0, -x], [-y, x, 0]])


def sizes(row: Iterable) -> list:
    """Upper bounds of the sizes of some balls."""
    return [float(k.abs_upper()) * UP for k in row]
