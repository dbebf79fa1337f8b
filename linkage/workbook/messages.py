"""What a page may ask of the kernel, checked: whatever else arrives is refused in one sentence."""

from __future__ import annotations

import numbers
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ..errors import LinkageError, nearest
from ..units import shown_length

LONGEST = 1000  # signs of one text
MOST_NAMES = 2000  # entries of one list or table
WORDED = 1e5  # degrees or mm beyond which a number is not said with all of its digits
NEWEST = 2**53  # a page counts its requests in whole numbers
KINDS = {"limits": {"limits": "travels"}, "spacers": {"spacers": "numbers"}, "undo": {},
         "dimension": {"address": "text", "what": "text", "text": "text", "twin": "yes or no"},
         "save": {"path": "text", "over": "yes or no"},
         "exact": {"position": "numbers", "pairs": "texts"}, "cut": {"solid": "text"}, "reread": {},
         "patch": {"on": "yes or no"}, "turn": {"rod": "text", "halves": "number"},
         "size": {"name": "text", "value": "number"},
         "add": {"kind": "text", "fields": "words"}, "ping": {}}


@dataclass(frozen=True)
class Request:
    """One request of a page.

    Attributes
    ----------
    kind : str
        One of `KINDS`.
    number : int
        Which of the page's requests it is, 0 where it doesn't say.
    where : str
        The control it comes from, beside which an answer in words belongs.
    fields : dict
        What the kind needs, each of its own type.
    """

    kind: str
    number: int = 0
    where: str = ""
    fields: dict = field(default_factory=dict)


def number_of(content: Any) -> int:
    """The number that a page's message carries, 0 where it carries none."""
    number = content.get("n", 0) if isinstance(content, dict) else 0
    return number if _whole(number) else 0


def place_of(content: Any) -> str:
    """The control that a page's message comes from, "" where it doesn't say."""
    where = content.get("where", "") if isinstance(content, dict) else ""
    return where if _text(where) else ""


def read_request(content: object) -> Request:
    """A page's message as a request.

    Parameters
    ----------
    content : object
        Whatever has arrived.

    Raises
    ------
    LinkageError
        When it is none.
    """
    if not isinstance(content, dict):
        raise LinkageError("the page sent no request; run the cell again to have a new page")
    kind = content.get("do")
    if not _text(kind) or kind not in KINDS:
        raise LinkageError(f'the page asked for "{str(kind)[:40]}", which this workbook '
                           "doesn't know; run the cell again to have a new page")
    if not _whole(content.get("n", 0)) or not _text(content.get("where", "")):
        raise LinkageError(f'the page\'s request "{kind}" carries no number of its own; run the '
                           "cell again to have a new page")
    fields = {}
    for name, what in KINDS[kind].items():
        value = content.get(name, _DEFAULTS.get(name))
        if not _CHECKS[what](value):
            raise LinkageError(f'the page\'s request "{kind}" needs {name} as {what}; nothing '
                               "was changed")
        fields[name] = value
    return Request(kind, number_of(content), place_of(content), fields)


_DEFAULTS = {"twin": False, "over": False, "pairs": []}


def _whole(value) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= NEWEST


def _text(value) -> bool:
    return isinstance(value, str) and len(value) <= LONGEST and "\0" not in value


def _number(value) -> bool:
    if isinstance(value, bool) or not isinstance(value, numbers.Real):
        return False
    return abs(value) < 1e300  # NaN is not


def _table(value, check) -> bool:
    return (isinstance(value, dict) and len(value) <= MOST_NAMES
            and all(_text(name) and check(each) for name, each in value.items()))


_CHECKS = {"text": _text, "number": _number,
           "words": lambda value: _table(value, _text),
           "yes or no": lambda value: isinstance(value, bool),
           "numbers": lambda value: _table(value, _number),
           "travels": lambda value: _table(value, lambda ends: isinstance(ends, (list, tuple))
                                           and len(ends) == 2 and all(map(_number, ends))),
           "texts": lambda value: (isinstance(value, (list, tuple)) and len(value) <= MOST_NAMES
                                   and all(map(_text, value)))}


def check_limits(limits: dict, box: dict, in_words: Callable) -> None:
    """Refuse limits that the workbook doesn't reach.

    Parameters
    ----------
    limits, box : dict
        ``{input: (least, greatest)}``; the box is as far as limits may go.
    in_words : callable
        A position in words, from an input's name and a number.
    """
    for name, (least, greatest) in limits.items():
        if name not in box:
            raise LinkageError(f'no input "{name[:40]}" to limit; {nearest(name, box)}')
        low, high = box[name]
        if not low - 1e-9 <= least <= 0 <= greatest <= high + 1e-9:
            raise LinkageError(f"limits of {name}: {_said(least, in_words, name)} to "
                               f"{_said(greatest, in_words, name)} is out of range; the least "
                               f"lies from {in_words(name, low)} to neutral, the greatest "
                               f"from neutral to {in_words(name, high)}")


def check_position(position: dict, limits: dict, in_words: Callable) -> None:
    """Refuse a stick position outside the limits; `said` as of `check_limits`."""
    for name, value in position.items():
        if name not in limits:
            raise LinkageError(f'no input "{name[:40]}"; {nearest(name, limits)}')
        low, high = limits[name]
        if not low - 1e-6 <= value <= high + 1e-6:
            raise LinkageError(f"{name}: {_said(value, in_words, name)} is out of range; its "
                               f"limits are {in_words(name, low)} to {in_words(name, high)}")


def _said(value, in_words, *words) -> str:
    """A number in words; one that no control has, not with all of its digits."""
    if abs(value) > WORDED:
        return f"{value:g}"
    return in_words(value, *words) if in_words is shown_length else in_words(*words, value)


def check_spacers(spacers: dict, most: dict, unit: str) -> None:
    """Refuse thicknesses out of range.

    Parameters
    ----------
    spacers, most : dict
        ``{stop: mm}``; `most` has every stop with a spacer.
    unit : {"mm", "in"}
    """
    for name, thickness in spacers.items():
        if name not in most:
            raise LinkageError(f'no stop "{name[:40]}" with a spacer; {nearest(name, most)}')
        if not 0 <= thickness <= most[name] + 1e-9:
            raise LinkageError(f"spacer {name}: {_said(thickness, shown_length, unit)} is out of "
                               f"range; from {shown_length(0.0, unit)} to "
                               f"{shown_length(most[name], unit)}")


def place_to_save(text: str, folder: Path) -> Path:
    """Where a page may save: a model file below the notebook's folder.

    Parameters
    ----------
    text : str
        As typed; a relative name counts from the folder.
    folder : path

    Returns
    -------
    Path

    Raises
    ------
    LinkageError
    """
    if not text.strip():
        raise LinkageError("name the file to save to, such as mine.toml")
    folder = folder.resolve()
    try:
        path = (folder / Path(text.strip()).expanduser()).resolve()
    except (OSError, RuntimeError, ValueError) as problem:  # no such home, a circle of links
        raise LinkageError(f"{text.strip()[:80]} is no file name ({problem}); write one such as "
                           "mine.toml") from problem
    if not path.is_relative_to(folder):
        raise LinkageError(f"{path} lies outside {folder}, below which the page saves; write a "
                           "name there, or save from Python: book.save(path)")
    if path.suffix != ".toml" or path.is_dir():
        raise LinkageError(f"{path} is no model file; end its name with .toml")
    return path
