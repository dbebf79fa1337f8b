"""Lengths with units and shop fractions, other quantities, and angles said as people say them."""

from __future__ import annotations

import functools
import math
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Context, Decimal
from typing import Any

from .errors import LinkageError

ROUNDING = 1e-14  # of a size, by which a half may have come out too small
_EXACT = Context(prec=400)  # holds any float to its last decimal
LBF = 4.4482216152605  # N, by definition


@dataclass(frozen=True)
class LengthUnit:
    """A unit that a file counts lengths in, and all that a shop using it expects beside it.

    Attributes
    ----------
    name : str
        As the file writes it.
    words : str
        As a sentence says it.
    mm : float
        Size, mm.
    digits, area_digits : int
        Decimals that a person is shown of a length and of an area.
    written_digits : int
        Decimals of a corner that is written to a file.
    force, moment, stress : str
        Units of force, moment and stress that go with it.
    newton, newton_mm, megapascal : float
        Their sizes.
    paper : str
        Sheet that a printer there holds.
    cutter : float
        Radius of a common cutter, mm.
    bar, tick : float
        Length of a scale bar and distance of station ticks, mm.
    bar_parts : int
        Divisions of the bar.
    dxf : int
        `$INSUNITS` of the DXF reference (group code 70).
    """

    name: str
    words: str
    mm: float
    digits: int
    area_digits: int
    written_digits: int
    force: str
    newton: float
    moment: str
    newton_mm: float
    stress: str
    megapascal: float
    paper: str
    cutter: float
    bar: float
    tick: float
    bar_parts: int
    dxf: int

    @property
    def metric(self) -> bool:
        """Whether it belongs to the metric system, by the force that goes with it."""
        return self.force == "N"


LENGTHS = {unit.name: unit for unit in (
    LengthUnit("in", "inches", 25.4, 3, 3, 5, "lbf", LBF, "in·lbf", 25.4 * LBF,
               "ksi", 1e3 * LBF / 25.4**2, "Letter", cutter=3.175, bar=101.6, tick=12.7,
               bar_parts=4, dxf=1),
    LengthUnit("mm", "mm", 1.0, 2, 1, 4, "N", 1.0, "N·m", 1000.0,
               "N/mm²", 1.0, "A4", cutter=3.0, bar=100.0, tick=10.0, bar_parts=10, dxf=4))}
MM_PER = {name: unit.mm for name, unit in LENGTHS.items()}
HOUSE = {"length": "mm", "force": "N", "moment": "N*mm", "stress": "N/mm**2",
         "density": "kg/mm**3", "angle": "deg", "mass": "kg",
         "area": "mm**2", "spring rate": "N/mm", "torsional rate": "N*mm/deg"}
UNITS = """
    kilo- = 1e3 = k-
    mega- = 1e6 = M-
    giga- = 1e9 = G-
    deca- = 10 = da-
    centi- = 1e-2 = c-
    milli- = 1e-3 = m-
    micro- = 1e-6 = µ- = u-
    meter = [length] = m = metre
    second = [time] = s
    gram = [mass] = g
    radian = [] = rad
    degree = 3.141592653589793 / 180 * radian = deg = °
    turn = 360 * degree
    inch = 25.4 * millimeter = in
    foot = 304.8 * millimeter = ft
    thou = 1e-3 * inch = mil
    pound = 0.45359237 * kilogram = lb
    ounce = pound / 16 = oz
    standard_gravity = 9.80665 * meter / second ** 2 = g_0
    slug = pound * standard_gravity * second ** 2 / foot
    newton = kilogram * meter / second ** 2 = N
    pound_force = pound * standard_gravity = lbf
    ounce_force = ounce * standard_gravity = ozf
    kilogram_force = kilogram * standard_gravity = kgf
    pascal = newton / meter ** 2 = Pa
    bar = 1e5 * pascal
    psi = pound_force / inch ** 2
    ksi = 1e3 * psi
"""  # those of the shop alone: the registry is ready in milliseconds; SP 811 App. B has the factors
POUND = 0.45359237  # kg, by definition
PLAIN_UNITS = {
    "force": {"N": 1.0, "kN": 1e3, "lbf": LBF},
    "moment": {"N*mm": 1.0, "N*m": 1e3, "in*lbf": 25.4 * LBF, "ft*lbf": 304.8 * LBF},
    "stress": {"MPa": 1.0, "N/mm**2": 1.0, "GPa": 1e3, "psi": LBF / 25.4**2,
               "ksi": 1e3 * LBF / 25.4**2},
    "density": {"kg/m**3": 1e-9, "g/cm**3": 1e-6, "lb/in**3": POUND / 25.4**3},
    "mass": {"kg": 1.0, "g": 1e-3, "lb": POUND},
    "area": {"mm**2": 1.0, "m**2": 1e6, "in**2": 645.16, "ft**2": 92903.04},
    "angle": {"deg": 1.0},
    "spring rate": {"N/mm": 1.0, "N/m": 1e-3, "lbf/in": LBF / 25.4},
    "torsional rate": {"N*mm/deg": 1.0, "N*m/deg": 1e3, "in*lbf/deg": 25.4 * LBF},
}  # what most files have is read before the unit library is loaded, which takes 0.2 s
CAUTION = ("Computed from the file alone.  It supports, and never replaces, physical checks on the "
           "aircraft,\nlocal regulations and the licensed people who sign for it.")

_NUMBER = r"[+-]?[0-9]+(?:\.[0-9]*)?(?:[eE][+-]?[0-9]+)?"
_PLAIN = re.compile(rf"\s*({_NUMBER})\s*(mm|in)\s*")
_SHOP = re.compile(r"\s*([+-]?)(?:([0-9]+)(?:\s+|-))?([0-9]+)\s*/\s*([1-9][0-9]*)\s*([a-z]+)\s*")
_SINGLE = re.compile(rf"\s*({_NUMBER})\s*([a-zA-Z*/23]+)\s*")
_TERM = r"[A-Za-zµ°]+(?:\*\*-?[0-9]+)?"
_WRITTEN = re.compile(rf"\s*{_NUMBER}\s*{_TERM}(?:\s*[*/]\s*{_TERM})*\s*")


def length_mm(value: float | str, unit: str) -> float:
    """A length as written in a file, in mm.

    Parameters
    ----------
    value : float or str
        A bare number in `unit`, or text with its own unit; shop fractions are welcome.
    unit : {"mm", "in"}
        What a bare number means.

    Returns
    -------
    float
        Length, mm.

    Raises
    ------
    LinkageError
        When the text is no length.

    Examples
    --------
    >>> length_mm(2, "in"), length_mm("3.2 mm", "in")
    (50.8, 3.2)
    >>> round(length_mm("1-1/8 in", "mm"), 4)
    28.575
    """
    if isinstance(value, str):
        plain, shop = _PLAIN.fullmatch(value), _SHOP.fullmatch(value)
        if plain and math.isfinite(float(plain[1])):
            return float(plain[1]) * LENGTHS[plain[2]].mm
        if shop:  # a shop fraction, which no unit library reads
            sign, whole, top, bottom, own = shop.groups()
            size = int(whole or 0) + int(top) / int(bottom)
            if own not in LENGTHS:
                return (-size if sign == "-" else size) * quantity(f"1 {own}", "length")
            return (-size if sign == "-" else size) * LENGTHS[own].mm
        return quantity(value, "length")
    return as_float(value) * LENGTHS[unit].mm


def as_float(value: Any) -> float:
    """A number as a float, infinite where it is too long for one."""
    try:
        return float(value)
    except OverflowError:
        return math.inf if value > 0 else -math.inf


@functools.lru_cache(maxsize=4096)
def quantity(text: str, kind: str) -> float:
    """A quantity with its unit, in the house unit of its kind (see `HOUSE`).

    Parameters
    ----------
    text : str
        Such as ``"29e6 psi"`` or ``"1/8 in"``.
    kind : str
        One of the keys of `HOUSE`.

    Returns
    -------
    float
        The value in mm, N, N mm, N/mm², kg/mm³, kg or degrees.

    Raises
    ------
    LinkageError
        When the text is no such quantity.

    Examples
    --------
    >>> round(quantity("1 lbf", "force"), 4)
    4.4482
    >>> quantity("5 parsnips", "length")
    Traceback (most recent call last):
        ...
    linkage.errors.LinkageError: "5 parsnips" is no length; write it like "3.2 mm" or "1/8 in"
    """
    single = _SINGLE.fullmatch(text)
    plain = PLAIN_UNITS.get(kind, {}).get(single[2]) if single else None
    if plain is not None and math.isfinite(float(single[1]) * plain):
        return float(single[1]) * plain
    import pint

    try:
        if not _WRITTEN.fullmatch(text):
            raise ValueError(text)
        read = float(_registry()(text).to(HOUSE[kind]).magnitude)
        if not math.isfinite(read):
            raise ValueError(text)
    except (pint.PintError, ArithmeticError, AttributeError, TypeError, ValueError,
            AssertionError, SyntaxError) as problem:
        like = {"length": '3.2 mm" or "1/8 in', "force": "67 lbf",
                "moment": "120 in*lbf", "mass": "0.2 kg",
                "stress": "75e3 psi", "density": "0.284 lb/in**3", "angle": "12 deg",
                "area": "4 ft**2", "spring rate": "5 lbf/in",
                "torsional rate": "2 in*lbf/deg"}[kind]
        raise LinkageError(f'"{text[:60]}" is no {kind}; write it like "{like}"',
                           text=text, kind=kind) from problem
    return read


@functools.cache
def _registry():
    import pint

    registry = pint.UnitRegistry(None)
    registry.load_definitions([line.strip() for line in UNITS.strip().splitlines()])
    return registry


def rounded_down(value: float, digits: int) -> float:
    """A lower bound rounded so that it stays one, roundings of a unit's own size aside.

    Examples
    --------
    >>> rounded_down(0.98425, 2), rounded_down(0.5, 3), rounded_down(-0.1051, 2)
    (0.98, 0.5, -0.11)
    """
    return math.floor(value * 10**digits + 1e-6) / 10**digits if math.isfinite(value) else value


def rounded_up(value: float, digits: int) -> float:
    """An upper bound rounded so that it stays one, as `rounded_down` does a lower one.

    Examples
    --------
    >>> rounded_up(0.98425, 2), rounded_up(0.5, 3)
    (0.99, 0.5)
    """
    return -rounded_down(-value, digits)


def file_length(mm: float, unit: str) -> float | str:
    """A length in mm as it is written to a file, so that reading gives it back exactly.

    Parameters
    ----------
    mm : float
    unit : {"mm", "in"}

    Returns
    -------
    float or str
        The shortest number in `unit` that reads back equal, else text in mm.

    Examples
    --------
    >>> file_length(61 * 25.4, "in"), file_length(0.1, "mm")
    (61.0, 0.1)
    """
    size = LENGTHS[unit].mm
    guess = mm / size
    for digits in range(12):
        short = round(guess, digits)
        if short * size == mm:
            return short
    for near in (guess, math.nextafter(guess, math.inf), math.nextafter(guess, -math.inf)):
        if near * size == mm:
            return near
    return f"{mm!r} mm"


def shown_length(mm: float, unit: str, digits: int | None = None) -> str:
    """A length for a person, in the file's unit.

    Examples
    --------
    >>> shown_length(25.4, "in"), shown_length(25.4, "mm")
    ('1.000 in', '25.40 mm')
    """
    size = LENGTHS[unit]
    return f"{rounded_text(mm / size.mm, size.digits if digits is None else digits)} {unit}"


def rounded_text(value: float, digits: int) -> str:
    """A number with so many decimals as a shop rounds it: a half away from zero, and no -0.

    Examples
    --------
    >>> rounded_text(0.0625, 3), rounded_text(-0.0004, 3), rounded_text(0.15, 1)
    ('0.063', '0.000', '0.2')
    """
    if not math.isfinite(value):
        return f"{value}"
    size = Decimal(abs(value) * (1 + ROUNDING)).quantize(Decimal(1).scaleb(-digits), ROUND_HALF_UP,
                                                         _EXACT)
    return f"{'-' if value < 0 and size else ''}{size:f}"


@contextmanager
def lengths_said_in(unit: str) -> Iterator[None]:
    """Let errors from within say their lengths in the unit of the file they are about."""
    try:
        yield
    except LinkageError as error:
        error.say_lengths(LENGTHS[unit].mm, unit)
        raise


def said_deflection(degrees: float, words: tuple[str, str], digits: int = 1) -> str:
    """A deflection as people say it: never a bare sign.

    Parameters
    ----------
    degrees : float
    words : (str, str)
        What a negative and a positive deflection are called, such as ``("TEU", "TED")``.
    digits : int

    Returns
    -------
    str

    Examples
    --------
    >>> said_deflection(-12.43, ("TEU", "TED"))
    '12.4° TEU'
    >>> said_deflection(-0.001, ("TEU", "TED"))
    '0.0°'
    """
    if not math.isfinite(degrees):
        return "out of reach"
    size = f"{rounded_text(abs(degrees), digits)}°"
    if float(size[:-1]) == 0.0:
        return size
    return f"{size} {words[0] if degrees < 0 else words[1]}"


COLUMN_UNITS = {"length": "mm", "angle": "°", "force": "N", "moment": "N·mm", "stress": "N/mm²",
                "angle_per_length": "°/mm", "angle_per_angle": "°/°", "angle_per_inch": "°/in",
                "by_row": "as its row says", "position": "of the input", "turns": "turns",
                "speed": "rpm", "force_per_position": "N per ° or mm"}


class Shared(dict):
    """A dict that the copies and rows of a table share; pandas would copy it for each."""

    def __deepcopy__(self, memo):
        return self


def in_house_units(**columns: str) -> Callable:
    """Make a function's table say the unit of every column in ``attrs["units"]``.

    Parameters
    ----------
    **columns : str
        Names of columns apart by blanks, by what they hold: one of `COLUMN_UNITS`.  A column named
        after an input or a surface holds its position or deflection; what is not named has no
        unit.  Of two levels of headings the last counts.

    Examples
    --------
    >>> import pandas as pd
    >>> @in_house_units(length="tube")
    ... def rods():
    ...     return pd.DataFrame({"rod": ["tie"], "tube": [254.0]})
    >>> rods().attrs["units"]
    {'rod': '', 'tube': 'mm'}
    """
    words = {name: kind for kind, names in columns.items() for name in names.split()}

    def told(function):
        @functools.wraps(function)
        def with_units(*args, **options):
            table = function(*args, **options)
            system = next((a for a in (*args, *options.values()) if hasattr(a, "inputs")), None)
            inputs = {} if system is None else system.inputs
            table.attrs["units"] = Shared({column: _column_unit(column, words, system, inputs)
                                           for column in table.columns})
            return table
        return with_units
    return told


def _column_unit(column, words, system, inputs) -> str:
    kind = _kind_of_column(column, words)
    if kind == "position":
        return " or ".join(sorted({control.unit for control in inputs.values()}, reverse=True))
    if kind:
        return COLUMN_UNITS[kind]
    plain = str(column).removeprefix("real_")
    if plain in inputs:
        return inputs[plain].unit
    surface = str(column).removeprefix("band ")
    return "°" if system is not None and surface in system.model.surfaces else ""


def _kind_of_column(column, words) -> str | None:
    """Kind of quantity that a column's last word, or what it begins with, stands for."""
    last = str(column[-1] if isinstance(column, tuple) else column).replace(" ", "_")
    beginnings = (word for word in words if word.endswith("*") and last.startswith(word[:-1]))
    return words.get(last) or words.get(next(beginnings, None))
