"""Columns of tables in the file's own units, which their headings say, and how people read them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import partial
from typing import TYPE_CHECKING, Any

from .. import errors, gearing
from ..model import STATIONS
from ..motion import System
from ..units import LENGTHS, Shared
from .blocks import READ, bare, unit_of

if TYPE_CHECKING:
    import pandas as pd

AT = ("found_at", "reached_at", "worst_at", "stick")  # positions of the input of their row
SMALL = 2  # decimals of an angle between two, too small for a level
RENAMED = {"ok": "met", "x": STATIONS[0], "y": STATIONS[1], "z": STATIONS[2]}


def in_units(system: System, data: pd.DataFrame, *, at: bool = True,
             **columns: str) -> pd.DataFrame:
    r"""A table in the file's own units, each said in the heading of its column.

    Parameters
    ----------
    system : System
    data : DataFrame
        In the house units: mm, N, N mm, degrees.
    at : bool
        Whether a column named after an input is the place where something is.
    **columns : str
        Names of columns apart by blanks, by what they hold: length, force, moment, angle, turns,
        stress or share.

    Returns
    -------
    DataFrame
        Underscores of headings made blanks.

    Examples
    --------
    >>> import pandas as pd
    >>> from linkage import parse_model
    >>> system = System(parse_model('length = "in"\n[input.pitch]\ntravel = [-15, 20]'))
    >>> rods = pd.DataFrame({"rod": ["tie"], "cut_length": [254.0], "pitch": [12.0]})
    >>> list(in_units(system, rods, length="cut_length"))
    ['rod', 'cut length in', 'at pitch °']
    """
    unit = system.model.length
    own = LENGTHS[unit]
    sizes = {"length": (unit, own.mm), "force": (own.force, own.newton),
             "moment": (own.moment, own.newton_mm), "angle": ("°", 1.0),
             "turns": ("turns", 1.0), "speed": ("rpm", 1.0),
             "stress": (own.stress, own.megapascal), "share": ("%", 0.01)}
    done, names = data.copy(), {}
    for kind, words in columns.items():
        for name in words.split():
            word, size = sizes[kind]
            if name in done:
                done[name] = done[name].astype(float) / size
                names[name] = f"{RENAMED.get(name, name)} {word}"
    names |= _positions_in_units(system, done, at)
    if "ok" in done and None not in set(done["ok"]):
        done["ok"] = done["ok"].astype(bool)
    done = done.rename(columns=lambda c: str(names.get(c, RENAMED.get(c, c))).replace("_", " "))
    done.attrs["units"] = Shared({heading: unit_of(heading) for heading in done})
    return done


def _positions_in_units(system, done, at) -> dict:
    """Put positions of inputs into their own units; gives the headings of these columns."""
    names = {}
    for name, control in system.inputs.items():
        word, size = gearing.position_unit(system, control)
        names[name] = f"{'at ' if at else ''}{name} {word}"
        if name in done and size != 1.0:
            done[name] = done[name].astype(float) / size
    return names | (_places_in_units(system, done) if "input" in done else {})


def _places_in_units(system, done) -> dict:
    """The same of places along the input that a row names."""
    names = {}
    for name in set(AT) & set(done):
        shown = [gearing.position_unit(system, system.inputs[k]) if k in system.inputs
                 else ("°", 1.0) for k in done["input"]]  # a surface that no input moves has none
        done[name] = done[name].astype(float) / [size for _, size in shown]
        names[name] = f"{name} {'/'.join(sorted({word for word, _ in shown})) or '°'}"
    return names


def in_words(system: System, data: pd.DataFrame, surface: str | None = None) -> dict:
    """How positions and deflections of a table are said: TEU and aft, never a bare sign.

    Parameters
    ----------
    system : System
    data : DataFrame
        With its headings as they are shown.
    surface : str, optional
        That a column named deflection is of.

    Returns
    -------
    dict
        As `Table.words` takes it.
    """
    words = {column: _words_of(system, column, data.columns, surface) for column in data.columns}
    return {column: said for column, said in words.items() if said is not None}


def _words_of(system, column, columns, surface) -> partial | None:
    """How the cells of one column are said, from its row and value; None of a plain number."""
    name = bare(str(column)).removeprefix("at ").removesuffix(" deflection")
    if name in system.inputs:
        return partial(_input_words, system, name)
    if name in system.model.surfaces:
        return partial(_surface_words, system, name)
    if name == "deflection" and surface:
        return partial(_surface_words, system, surface)
    if name.replace(" ", "_") in AT and "input" in columns:
        return partial(_input_words, system, None)
    if name in ("drawn", "half turn") and "surface" in columns:
        return partial(_surface_words, system, None, digits=READ if name == "drawn" else SMALL)
    return None


def _input_words(system, name, row, value):
    name = name or row["input"]
    if not name:
        return f"{value:.1f}"
    _, size = gearing.position_unit(system, system.inputs[name])
    return gearing.said_input(system, name, value * size)


def _surface_words(system, name, row, value, digits=READ):
    return gearing.said_surface(system, name or row["surface"], value, digits)


def place_of(system: System, row: Mapping[str, Any] | pd.Series) -> dict:
    """The stick position in a row that has a column per input."""
    return {name: row[name] for name in system.travel_box()}


def place_words(system: System, row: Mapping[str, Any] | pd.Series) -> str:
    """The same in words, such as "17.0° aft, 21.0° left"."""
    return gearing.said_place(system, place_of(system, row))


def counted(count: int, one: str, many: str) -> str:
    """How many of what, "" for none."""
    return errors.counted(count, one, many) if count else ""


def listed(names: Iterable[str], most: int = 4) -> str:
    """Names in a row, and how many more."""
    names = list(names)
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return f"{', '.join(names[:most])}{more}"


def about(names: Iterable[str], sentence: str) -> Iterator[str]:
    """A sentence of some parts, their names in place of {}; none where there are no parts."""
    names = list(names)
    if names:
        yield sentence.format(listed(names))
