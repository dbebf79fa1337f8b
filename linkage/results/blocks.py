"""What a chapter is made of, before it is text, HTML or PDF: each thing is described once."""

from __future__ import annotations

import functools
import io
import math
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property, wraps
from typing import TYPE_CHECKING, Any

from ..units import LENGTHS, Shared, rounded_down, rounded_text, rounded_up

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

DIGITS = {"°": 2, "lbf": 1, "N": 0, "in·lbf": 0, "N·m": 2, "turns": 1, "°/°": 3, "N/mm²": 0,
          "ksi": 1, "lb": 2, "kg": 3,
          **{name: own.digits for name, own in LENGTHS.items()},
          **{f"°/{name}": 3 for name in LENGTHS}}
NARROW = 5.0  # inches, below which two pictures stand beside each other
READ = 1  # decimals of an angle that a level reads
TRUTH = {"met": ("MISSED", "met"), "governs": ("no", "governs")}  # of columns of these names


@dataclass(frozen=True)
class Heading:
    """A chapter's title; one that is handed out by itself begins a page."""

    text: str
    new_page: bool = False

    @property
    def anchor(self) -> str:
        """Its name as a link's target."""
        return re.sub(r"[^a-z0-9]+", "-", self.text.lower()).strip("-")


@dataclass(frozen=True)
class Text:
    """A paragraph; its kind is plain, met, miss, undecided, note, missing or caution."""

    text: str
    kind: str = "plain"


@dataclass(frozen=True, eq=False)
class Table:
    """A table; a column's name ends with its unit, and numbers are rounded by it to be read.

    Attributes
    ----------
    name : str
        What it is of; its name everywhere, also of its CSV file.
    data : DataFrame
    note : str
        A sentence on how to read it.
    blank : tuple of str
        Columns to be filled in by hand.
    words : dict
        ``{column: function}`` for numbers that people read in words, from the row and the value.
    rounding : dict
        ``{column: function}`` for numbers that are rounded otherwise than by their unit.
    cards : bool
        Whether each row is a card to fill in on paper, not a line of it.
    """

    name: str
    data: Any
    note: str = ""
    blank: tuple[str, ...] = ()
    words: dict = field(default_factory=dict)
    rounding: dict = field(default_factory=dict)
    cards: bool = False

    def __post_init__(self):
        object.__setattr__(self, "data", with_units(self.data))

    def cell(self, row: dict, column: str) -> str:
        """A cell as it is read."""
        value = row[column]
        if column in self.words and is_number(value) and math.isfinite(value):
            return self.words[column](row, value)
        if column in self.rounding and is_number(value) and math.isfinite(value):
            return self.rounding[column](value)
        return shown(column, value)


@dataclass(frozen=True, eq=False)
class DataTable:
    """A table too long to be read: made when it is written as data, and shown nowhere.

    Attributes
    ----------
    name : str
        Also the name of its CSV file.
    make : callable
        Gives the DataFrame.
    """

    name: str
    make: Callable

    @cached_property
    def data(self) -> pd.DataFrame:
        """The DataFrame."""
        return with_units(self.make())


@dataclass(frozen=True)
class Drawn:
    """A figure as SVG and as a PDF page, and how wide and tall it is, inches."""

    inches: tuple[float, float]
    svg: bytes
    pdf: bytes

    @property
    def narrow(self) -> bool:
        """Whether another stands beside it."""
        return self.inches[0] < NARROW


def _saved(figure, kind, dated) -> bytes:
    data = io.BytesIO()
    figure.savefig(data, format=kind, metadata={dated: None})
    return data.getvalue()


@dataclass(frozen=True, eq=False)
class Picture:
    """A figure, drawn when it is first looked at, and the sentence that stands for it in text.

    Attributes
    ----------
    draw : callable
        Gives the axes.
    words : str
    """

    draw: Callable
    words: str

    @cached_property
    def figure(self) -> Figure:
        """The Matplotlib figure."""
        axes = self.draw()
        return (axes.flat[0] if hasattr(axes, "flat") else axes).figure

    @cached_property
    def drawn(self) -> Drawn:
        """The figure as it is put into a page."""
        return Drawn(tuple(self.figure.get_size_inches()),
                     *(_saved(self.figure, kind, dated) for kind, dated in
                       (("svg", "Date"), ("pdf", "CreationDate"))))

    @property
    def is_drawn(self) -> bool:
        """Whether it was put into a page's form."""
        return "drawn" in self.__dict__

    def keep(self, drawn: Drawn) -> None:
        """Take what was drawn elsewhere."""
        self.__dict__["drawn"] = drawn


Block = Heading | Text | Table | DataTable | Picture


def with_units(data: pd.DataFrame) -> pd.DataFrame:
    """A table that says in ``attrs["units"]`` the unit that each of its headings ends with."""
    units = Shared({heading: unit_of(heading) for heading in data})
    if data.attrs.get("units") == units:
        return data
    table = data.copy(deep=False)
    table.attrs = {**data.attrs, "units": units}
    return table


def units_in_headings(function: Callable) -> Callable:
    """Make a function's table say the units of its headings; see `with_units`."""
    @wraps(function)
    def with_units_said(*args, **options):
        return with_units(function(*args, **options))
    return with_units_said


@functools.lru_cache(maxsize=4096)
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
    """Whether a row of a table shows something missed: not met, or a margin below 0."""
    return any((name == "met" and str(value) == "False")
               or (bare(str(name)).endswith("margin") and is_number(value) and value < 0)
               for name, value in row.items())


def is_number(value: Any) -> bool:
    """Whether a cell holds a number, and no truth or text."""
    return (isinstance(value, int | float) and not isinstance(value, bool)) or (
        hasattr(value, "dtype") and value.dtype.kind in "fiu" and not value.shape)


def shown(column: str, value: Any) -> str:
    """A cell as it is read: numbers rounded by their column's unit, a dash where there is none.

    Examples
    --------
    >>> shown("least in", 0.30283), shown("met", True), shown("met", False), shown("at °", None)
    ('0.303', 'met', 'MISSED', '–')
    >>> shown("column margin", float("inf")), shown("share %", 61.2)
    ('no load', '61')
    """
    if isinstance(value, bool) or type(value).__name__ == "bool":
        return TRUTH.get(column, ("no", "yes"))[bool(value)]
    if value is None:
        return "–"
    if not is_number(value):
        return str(value)
    if not math.isfinite(value):
        return "no load" if value > 0 and bare(column).endswith("margin") else "–"
    return str(int(value)) if _is_whole(value) else rounded(column, value)


def as_read(*columns: str, toward: int = 0) -> dict:
    """How angles of columns are shown to a tenth, as a level reads; `Table` takes it as rounding.

    Parameters
    ----------
    *columns : str
    toward : int
        -1: a bound from below, never rounded up; 1: one from above, or how far off something is,
        never rounded down in size; 0: to the nearest.

    Examples
    --------
    >>> [as_read("a", toward=k)["a"](12.34) for k in (-1, 0, 1)]
    ['12.3', '12.3', '12.4']
    >>> as_read("a", toward=1)["a"](-0.71)
    '-0.8'
    """
    def shown_angle(value):
        if toward == 1:
            value = math.copysign(rounded_up(abs(value), READ), value)
        return rounded_text(rounded_down(value, READ) if toward == -1 else value, READ)

    return dict.fromkeys(columns, shown_angle)


def as_typed(*columns: str) -> dict:
    """How numbers that the file gives are shown: with all their decimals, one at least."""
    return dict.fromkeys(columns, lambda value: f"{value:.10g}" if value % 1 else f"{value:.1f}")


def _is_whole(value) -> bool:
    """Whether a number is of a kind that counts."""
    return isinstance(value, int) or \
        getattr(getattr(value, "dtype", None), "kind", None) in ("i", "u")


def rounded(column: str, value: float) -> str:
    """A number to the digits of its column's unit; a proven bound is rounded down."""
    digits = 0 if column.endswith(" %") else DIGITS.get(unit_of(column), 3)
    if bare(column).endswith("margin"):
        return f"{value:+.2f}"
    if re.search(r"\bproven\b", column):
        value = rounded_down(value, digits)
    text = f"{value:.{digits}f}"
    return text[1:] if float(text) == 0 and text.startswith("-") else text
