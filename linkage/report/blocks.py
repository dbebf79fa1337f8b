"""What a report is made of, before it is HTML or PDF."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from typing import Any

from ..units import rounded_down

DIGITS = {"in": 3, "mm": 2, "°": 2, "lbf": 1, "N": 0, "in·lbf": 0, "N·m": 2, "turns": 1, "°/°": 3}


@dataclass(frozen=True)
class Heading:
    """A chapter's title."""

    text: str

    @property
    def anchor(self) -> str:
        """Its name as a link's target."""
        return re.sub(r"[^a-z0-9]+", "-", self.text.lower()).strip("-")


@dataclass(frozen=True)
class Text:
    """A paragraph; its kind is plain, caution, missing or miss."""

    text: str
    kind: str = "plain"


@dataclass(frozen=True, eq=False)
class Grid:
    """A table; a column's name ends with its unit, and numbers are rounded by it to be read.

    Attributes
    ----------
    name : str
        What it is of; also the name of its CSV file.
    data : DataFrame
    note : str
        A sentence on how to read it.
    blank : tuple of str
        Columns to be filled in by hand.
    said : dict
        ``{column: function}`` for numbers that people read in words, from the row and the value.
    """

    name: str
    data: Any
    note: str = ""
    blank: tuple[str, ...] = ()
    said: dict = field(default_factory=dict)

    def told(self, row: dict, column: str) -> str:
        """A cell as it is read."""
        value = row[column]
        if column in self.said and is_number(value) and math.isfinite(value):
            return self.said[column](row, value)
        return shown(column, value)


@dataclass(frozen=True, eq=False)
class Picture:
    """A figure with the sentence that stands for it where it can't be seen."""

    figure: Any
    words: str


def unit_of(column: str) -> str:
    """The unit that a column's name ends with, "" where it names none."""
    for unit in sorted(DIGITS, key=len, reverse=True):
        if column.endswith(f" {unit}"):
            return unit
    return ""


def bare(column: str) -> str:
    """A column's name without its unit.

    Examples
    --------
    >>> bare("joint needs lbf"), bare("rod")
    ('joint needs', 'rod')
    """
    return column.removesuffix(f" {unit_of(column)}")


def is_missed(row: dict) -> bool:
    """Whether a row of a table tells of something missed: not met, or a margin below 0."""
    return any((name == "met" and str(value) == "False")
               or (bare(str(name)).endswith("margin") and is_number(value) and value < 0)
               for name, value in row.items())


def is_number(value) -> bool:
    """Whether a cell holds a number, and no truth or text."""
    return (isinstance(value, int | float) and not isinstance(value, bool)) or (
        hasattr(value, "dtype") and value.dtype.kind in "fiu" and not value.shape)


def shown(column: str, value) -> str:
    """A cell as it is read: numbers rounded by their column's unit, a dash where there is none.

    Examples
    --------
    >>> shown("least in", 0.30283), shown("met", True), shown("met", False), shown("at °", None)
    ('0.303', 'met', 'MISSED', '–')
    """
    if isinstance(value, bool) or type(value).__name__ == "bool":
        return {"met": ("MISSED", "met"), "governs": ("no", "governs")}.get(
            column, ("no", "yes"))[bool(value)]
    if value is None or (is_number(value) and not math.isfinite(value)):
        return "–"
    if not is_number(value):
        return str(value)
    if isinstance(value, int) or getattr(value, "dtype", None) is not None and \
            value.dtype.kind in "iu":
        return str(int(value))
    if bare(column).startswith("proven"):
        value = rounded_down(value, DIGITS.get(unit_of(column), 3))
    text = f"{value:.{DIGITS.get(unit_of(column), 3)}f}"
    return text[1:] if float(text) == 0 and text.startswith("-") else text
