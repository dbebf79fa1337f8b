"""Vectors of numbers, balls or polynomials over a cell, and outlines."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence


def dot(a: Sequence, b: Sequence) -> object:
    """Scalar product in space."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def cross(a: Sequence, b: Sequence) -> tuple:
    """Vector product."""
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


def minus(a: Sequence, b: Sequence) -> tuple:
    """One point less another."""
    return tuple([p - q for p, q in zip(a, b, strict=True)])  # half of the time of a generator


def plus(a: Sequence, b: Sequence, share: object = 1) -> tuple:
    """A point and a share of a way from there."""
    return tuple(p + share * q for p, q in zip(a, b, strict=True))


def spans(points: Iterable) -> list[tuple]:
    """Least and greatest of each coordinate of some points."""
    return [(min(k), max(k)) for k in zip(*points, strict=True)]


def edges(outline: Sequence) -> Iterator[tuple]:
    """Each corner of an outline with the next."""
    return zip(outline, (*outline[1:], outline[0]), strict=True)
