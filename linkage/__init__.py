"""Control-system motion, clearance, stops and spacers for a stick-and-rod light aircraft.

The results support, and never replace, physical checks on the aircraft, local regulations and the
licensed people who sign for it.
"""

from __future__ import annotations

from pathlib import Path

from .clearances import gaps
from .errors import LinkageError
from .model.file import parse_model, read_model, write_model
from .motion import Motion, System
from .stops import clearance, find_stops, size_spacer, travel_map

__version__ = "0.1.0"
__all__ = ["LinkageError", "Motion", "System", "clearance", "find_stops", "gaps", "load",
           "parse_model", "read_model", "size_spacer", "travel_map", "write_model"]
_ROOMS = ("gearing", "loads", "plots", "relief", "results", "rigging", "sizing",
          "workbook")


def __getattr__(name):
    """Rooms that a script asks for by name, loaded when it does."""
    if name in _ROOMS:
        from importlib import import_module

        return import_module(f".{name}", __name__)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__():
    return sorted([*__all__, *_ROOMS])


def load(path: Path | str) -> System:
    """Read a model file and make it ready to move.

    Parameters
    ----------
    path : path
        A TOML model file.

    Returns
    -------
    System

    Raises
    ------
    LinkageError
        One sentence that names the file, the place and the mend.
    """
    model = read_model(path)
    try:
        return System(model)
    except LinkageError as error:
        raise type(error)(f"{path}: {error.sentence}", **error.facts, path=str(path)) from error
