"""What was measured on the aircraft: stick against surface, from a table a builder writes."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from .. import gearing
from ..disk import cell_text
from ..errors import FileError, LinkageError, counted, nearest
from ..model.parts import MOST_TURN
from ..motion import System
from ..search import crossings
from ..units import length_mm, shown_length

STICK = ("stick angle", "stick level")
SURFACE = ("surface angle", "surface level", "edge")
MOST_BYTES = 4_000_000
LOOK = 15.0  # degrees past the wanted travel in which a stick level is looked for
_CELL = re.compile(r"(.*?)\s*°?\s*([A-Za-z]*)")


@dataclass(frozen=True)
class Readings:
    """Measured pairs.

    Attributes
    ----------
    input : tuple of str
        The input that was moved, the others at neutral.
    stick : ndarray, shape (n,)
        Where it stood by the instrument, degrees (mm) from neutral.
    surface : tuple of str
    level : ndarray of bool, shape (n,)
        Whether the surface was read as a level's own angle, not from neutral.
    angle : ndarray, shape (n,)
        What the surface read, degrees.
    names : tuple of str
        How a reading is called in a complaint.
    """

    input: tuple[str, ...]
    stick: np.ndarray
    surface: tuple[str, ...]
    level: np.ndarray
    angle: np.ndarray
    names: tuple[str, ...]


def read_readings(system: System, path: Path | str, digest: str | None = None) -> Readings:
    """Readings from a CSV file.

    Parameters
    ----------
    system : System
    path : path
        Headings input, stick angle or stick level, surface, and one or more of surface angle,
        surface level and edge; see `readings_of`.
    digest : str, optional
        Of the model file, against which the column model, where there is one, is held.

    Returns
    -------
    Readings

    Raises
    ------
    LinkageError
        One sentence that names the file and the line.
    """
    try:
        if Path(path).stat().st_size > MOST_BYTES:
            raise FileError(f"{path}: is too big for a table of readings; name the right file",
                            path=str(path))
        if Path(path).exists() and not Path(path).is_file():
            raise FileError(f"{path}: is a folder, a device or a pipe; name a table of readings",
                            path=str(path))
        text = Path(path).read_text(encoding="utf-8-sig")
    except FileError:
        raise
    except UnicodeDecodeError as problem:
        raise FileError(f"{path}: is no text file in UTF-8; save the table as CSV",
                        path=str(path)) from problem
    except (OSError, ValueError) as problem:
        raise FileError(f"{path}: can't be read ({getattr(problem, 'strerror', None) or problem}); "
                        f"check the name", path=str(path)) from problem
    try:
        return _from_csv(system, csv.DictReader(io.StringIO(text), skipinitialspace=True), digest)
    except csv.Error as problem:
        raise FileError(f"{path}: is no table of readings ({problem}); mend it",
                        path=str(path)) from problem
    except LinkageError as error:
        raise type(error)(f"{path}: {error.sentence}", **error.facts) from error


def readings_of(system: System, rows: Iterable[dict]) -> Readings:
    """Readings from rows of a table.

    Parameters
    ----------
    system : System
    rows : iterable of dict
        Each has ``input`` and ``surface`` (names); ``stick angle`` (degrees from neutral) or
        ``stick level`` (what a level on the part's level line reads); and ``surface angle``
        (degrees from neutral), ``surface level``, or ``edge`` (trailing-edge movement by rule,
        2 chord sin(angle / 2); bare in the file's unit).  A cell is signed, or says its way:
        ``"12.4 TEU"``, ``"9.5 aft"``.  A row of a report's form names the ``model`` file it
        belongs to, by its digest; one without a measure is passed over.

    Returns
    -------
    Readings
    """
    return _from_rows(system, ((f"reading {k}", row) for k, row in enumerate(rows, 1)))


def _from_csv(system, reader, digest):
    headings = [str(word).strip().lower() for word in reader.fieldnames or ()]
    for word in ("input", "surface"):
        if headings and word not in headings:
            raise LinkageError(f'has no heading "{word}" in its first line; write input, '
                               f"{STICK[0]}, surface, {SURFACE[0]} there, with commas between")
    return _from_rows(system, ((f"line {reader.line_num}", row) for row in reader), digest)


def _from_rows(system, rows, digest=None) -> Readings:
    readings = []
    for name, row in rows:
        cells = _cells_of(row)
        if _is_remark(cells):
            continue
        _check_digest(cells.get("model"), digest, name)
        if _is_form(cells):
            continue
        try:
            readings.append((*_one(system, cells), name))
        except LinkageError as error:
            raise LinkageError(f"{name}: {error.sentence}", **error.facts) from error
    if not readings:
        raise LinkageError(f"holds no readings; write lines under the headings input, {STICK[0]}, "
                           f"surface, {SURFACE[0]}")
    name, stick, surface, level, angle, names = zip(*readings, strict=True)
    return Readings(name, np.array(stick), surface, np.array(level), np.array(angle), names)


def _cells_of(row) -> dict:
    return {str(word).strip().lower(): cell_text(str(cell).strip())
            for word, cell in row.items() if cell is not None and word is not None}


def _is_form(cells) -> bool:
    """Whether a row of a form names its model and was not filled in."""
    return bool(cells.get("model")) and not any(cells.get(word) for word in SURFACE)


def _is_remark(cells) -> bool:
    return not any(cells.values()) or next(iter(cells.values())).startswith("#")


def _check_digest(model, digest, name) -> None:
    if model and digest and model != digest:
        raise LinkageError(f"{name}: belongs to the model file with digest {model}, "
                           f"and this one has {digest}; name the file it was taken by")


def _one(system, cells):
    name, surface = (_named(cells, word, known) for word, known in (
        ("input", [n for n, control in system.inputs.items() if control.body is not None]),
        ("surface", system.model.surfaces)))
    stick_word = _only(cells, STICK, "the stick")
    surface_word = _only(cells, SURFACE, "the surface")
    ways = [gearing.sense_word(system, name, end) for end in (False, True)]
    if system.inputs[name].slides:
        stick = _signed_length(system, cells[stick_word], ways, stick_word)
    else:
        stick = signed_angle(cells[stick_word], ways, stick_word)
    if stick_word == "stick level":
        stick = _stick_at(system, name, stick)
    words = gearing.deflection_words(system, surface)
    if surface_word == "edge":
        return name, stick, surface, False, _angle_of_edge(system, surface, cells["edge"], words)
    angle = signed_angle(cells[surface_word], words, surface_word)
    if surface_word == "surface level" and \
            system.model.bodies[system.model.surfaces[surface].body].level is None:
        raise LinkageError(f'surface "{surface}" has no level line; give its body '
                           f'level = [two of its points], or read its angle from neutral')
    return name, stick, surface, surface_word == "surface level", angle


def _named(cells, word, known):
    name = cells.get(word, "")
    if name not in known:
        raise LinkageError(f'no {word} "{name[:40]}"; {nearest(name, known)}')
    return name


def _only(cells, words, what):
    present = [word for word in words if cells.get(word)]
    if len(present) != 1:
        raise LinkageError(f"needs one measure of {what}: {', '.join(words)}; got "
                           f"{' and '.join(present) or 'none'}")
    return present[0]


def _split(cell, words, what):
    """The size and the sense of a cell; a word for the way stands for the sign."""
    size, way = _CELL.fullmatch(cell).groups()
    known = [word.lower() for word in words if word]
    if way.lower() in known and size and size[0] not in "+-":
        return size, -1.0 if way.lower() == known[0] else 1.0
    if way.lower() in known:
        raise LinkageError(f'{what}: "{cell[:40]}" has a sign and a way; give one of the two')
    return cell, 1.0


def signed_angle(cell: str, words: str, what: str) -> float:
    """Degrees of a cell that is signed or says its way.

    Parameters
    ----------
    cell : str
    words : (str, str)
        What minus and plus are called.
    what : str
        How the cell is called in a complaint.

    Returns
    -------
    float

    Examples
    --------
    >>> signed_angle("12.4 TEU", ("TEU", "TED"), "surface angle"), signed_angle("-3", ("", ""), "")
    (-12.4, -3.0)
    """
    size, sense = _split(cell, words, what)
    try:
        value = float(size.rstrip("° "))
    except ValueError as problem:
        ways = " or ".join(word for word in words if word)
        raise LinkageError(f'{what}: "{cell[:40]}" is no angle; write degrees'
                           f'{", with " + ways + " behind" if ways else ""}') from problem
    if not abs(value) <= MOST_TURN:
        raise LinkageError(f"{what}: {cell[:40]} is more than {MOST_TURN:g}° either way, or no "
                           f"number; write degrees")
    return sense * value


def _angle_of_edge(system, surface, cell, words) -> float:
    chord = system.model.surfaces[surface].chord
    if chord is None:
        raise LinkageError(f'surface "{surface}" has no chord, so a rule says nothing of its '
                           f"angle; give its chord, or read the angle")
    way = _signed_length(system, cell, words, "edge")
    if not abs(way) < 2 * chord:
        unit = system.model.length
        raise LinkageError(f"edge: moved {shown_length(way, unit)}, and a chord of "
                           f"{shown_length(chord, unit)} allows {shown_length(2 * chord, unit)}; "
                           f"check the unit")
    return math.degrees(2 * math.asin(way / (2 * chord)))


def _signed_length(system, cell, words, what) -> float:
    """Length of a cell, mm; bare in the file's unit."""
    size, sense = _split(cell, words, what)
    bare = re.fullmatch(r"[+-]?\d+(\.\d*)?", size.strip())
    return sense * length_mm(float(size) if bare else size, system.model.length)


def _stick_at(system, name, level) -> float:
    """Where an input stands when the level on its part reads so."""
    control = system.inputs[name]
    riders = [body for body, part in system.model.bodies.items() if part.level is not None
              and control.body in (body, *system.model.carriers(body))]
    if not riders:
        raise LinkageError(f'input "{name}" drives no part with a level line; give its part '
                           f"level = [two of its points], or write the stick angle from neutral")
    low, high = control.travel

    def read(x):
        return gearing.level_reading(system.sweep(**{name: x}), riders[0])

    at = crossings(read, np.linspace(low - LOOK, high + LOOK, 721), level)
    if len(at) != 1:
        raise LinkageError(f'a level on "{riders[0]}" reads {level:g}° at '
                           f"{counted(len(at), 'position')} of {name}; zero the level at neutral "
                           f"and write the stick angle instead")
    return float(at[0])
