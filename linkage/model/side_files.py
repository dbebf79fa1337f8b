"""What stands beside a model file: its table of hardpoints, drawings of plates, and meshes."""

from __future__ import annotations

import copy
import csv
import io
import os
from collections.abc import Iterator, Mapping
from pathlib import Path

from ..disk.names import LONGEST
from ..errors import FileError, LinkageError, counted, nearest
from ..units import LENGTHS
from .document import number_like
from .drawings import DrawnPlate, read_drawing
from .keys import Choice, Text, at, got
from .mesh_files import MeshFile
from .parts import AIRFRAME

MOST_NAME = 1000  # characters of a file's name and of the folders before it
DRAWN = ("outline", "holes")  # keys of a plate that a drawing stands for
OF_A_DRAWING = ("drawing", "layer", "unit")  # keys of a plate whose outline is read from a file


def plain_ends(text: str) -> str:
    """Text without a byte order mark, lines ended alike."""
    return text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")


def hardpoint_rows(text: str, path: Path | str) -> dict:
    """Rows of a table of hardpoints: ``{"part/point": [FS, BL, WL]}``, as written."""
    rows = {}
    try:
        lines = list(csv.reader(io.StringIO(plain_ends(text)), skipinitialspace=True))
    except csv.Error as problem:
        raise FileError(f"{path}: is no table of hardpoints ({problem}); mend it",
                        path=str(path)) from problem
    for number, row in enumerate(lines, 1):
        cells = [cell.strip() for cell in row]
        if _is_remark(cells) or (number == 1 and _is_heading(cells)):
            continue
        try:
            _check_hardpoint(cells, rows)
        except LinkageError as error:
            raise FileError(f"{path}: line {number}: {error.sentence}", path=str(path)) from error
        rows[cells[0]] = [_number_or_text(cell) for cell in cells[1:]]
    return rows


def _is_remark(cells) -> bool:
    return not any(cells) or cells[0].startswith("#")


def _is_heading(cells) -> bool:
    return all(isinstance(_number_or_text(cell), str) for cell in cells)


def _check_hardpoint(cells, rows) -> None:
    if len(cells) != 4:
        raise LinkageError(f"needs part/point, FS, BL, WL, got {counted(len(cells), 'cell')}")
    if cells[0].count("/") != 1 or not all(cells[0].split("/")):
        raise LinkageError(f'needs a name like "stick/grip", got "{cells[0]}"')
    if cells[0] in rows:
        raise LinkageError(f'"{cells[0]}" stands twice; take one out')


def beside(folder: Path | str, name: str) -> Path:
    """Where a file that a model file names lies; refuses what no file can be called."""
    Text().check(name)
    if len(name) > MOST_NAME or any(len(part.encode()) > LONGEST for part in Path(name).parts):
        raise LinkageError(f'"{name[:40]}…" is a name of {len(name)} characters, which no file '
                           f"has; name one beside this file")
    path = Path(folder) / name
    # a folder that is still to be made can't be left by ".."
    return path if path.exists() else Path(os.path.normpath(path))


def seen_from(home: Path | str, path: Path | str) -> str:
    """A path as it is written in a file of a folder."""
    try:
        return Path(os.path.relpath(path, home)).as_posix()
    except ValueError:  # on another drive
        return Path(path).resolve().as_posix()


def put_hardpoints(table: dict, name: str, rows: dict) -> None:
    """Put the points of a CSV file where the model file would have had them."""
    bodies = _table_in(table, "body")
    for address, position in rows.items():
        part, point = address.split("/")
        if part != AIRFRAME and part not in bodies:
            raise LinkageError(f'hardpoints {name}: no body "{part}" for "{address}"; '
                               f"{nearest(part, [*bodies, AIRFRAME])}")
        home = _table_in(table, AIRFRAME) if part == AIRFRAME else _table_in(bodies, part)
        slot = home if point == "pivot" else _table_in(home, "points", part)
        if point in slot:
            raise LinkageError(f'hardpoints {name}: "{address}" is in the model file too; '
                               f"take one out")
        slot[point] = position


def put_drawn(table: dict, unit: str, folder: Path) -> dict:
    """Put outlines of drawings where the model file would have had them; keys that they replace."""
    drawn, read = {}, {}
    for part, name, solid in solids_in(table):
        if "drawing" not in solid:
            continue
        with at(f'{"" if part == AIRFRAME else "body "}"{part}", solid "{name}", drawing'):
            keys = {word: solid.pop(word) for word in OF_A_DRAWING if word in solid}
            _check_drawn(keys, solid)
            named = tuple(keys.get(word) for word in OF_A_DRAWING)
            if named not in read:
                read[named] = _in_unit(read_drawing(beside(folder, named[0]), *named[1:]), unit)
            solid |= copy.deepcopy(read[named])
        drawn[part, name] = keys
    return drawn


def put_meshes(table: dict, folder: Path, unwritten: Mapping[str, MeshFile]) -> None:
    """Let the names of mesh files know where those are, and what is in them.

    Of those still to be written, by their names, it is known.
    """
    for part, name, solid in solids_in(table):
        if solid.get("kind") == "mesh" and isinstance(solid.get("file"), str):
            with at(f'{"" if part == AIRFRAME else "body "}"{part}", solid "{name}", file'):
                solid["file"] = unwritten.get(solid["file"]) or MeshFile.at(
                    solid["file"], beside(folder, solid["file"]))


def with_drawings(table: dict, before: dict, drawn: dict, folder: Path | str,
                  home: Path | str | None) -> dict:
    """A table with drawings in place of the outlines that still hold, files seen from `home`.

    Parameters
    ----------
    table : dict
        Left as it is.
    before : dict
        As it was read, outlines of drawings put in.
    drawn : dict
        The keys that `put_drawn` gave.
    folder : path
        That files are named from.
    home : path, optional
        That they are to be named from; as they are unless given.
    """
    table = copy.deepcopy(table)
    for (part, name), keys in drawn.items():
        solid, old = (_solids_of(each, part).get(name) for each in (table, before))
        if solid and [*map(solid.get, DRAWN)] == [*map(old.get, DRAWN)]:
            for word in DRAWN:
                solid.pop(word, None)
            solid |= keys | {"drawing": keys["drawing"] if home is None else
                             seen_from(home, Path(folder) / keys["drawing"])}
    if home is not None:
        _name_meshes(table, folder, home)
    return table


def _name_meshes(table, folder, home) -> None:
    """Name files of meshes as they are seen from `home`, but for those still to be written."""
    for *_, solid in solids_in(table):
        if getattr(solid.get("file", ""), "data", None) is None and "file" in solid:
            solid["file"] = seen_from(home, Path(folder) / solid["file"])


def _solids_of(table, part) -> dict:
    home = table.get(AIRFRAME, {}) if part == AIRFRAME else table["body"].get(part, {})
    return home.get("solid", {})


def solids_in(table: dict) -> Iterator[tuple]:
    """Every solid of a file that is a table: (part, name, table)."""
    bodies = table.get("body")
    parts = {**(bodies if isinstance(bodies, dict) else {}), AIRFRAME: table.get(AIRFRAME)}
    for part, home in parts.items():
        solids = home.get("solid") if isinstance(home, dict) else None
        for name, solid in solids.items() if isinstance(solids, dict) else ():
            if isinstance(solid, dict):
                yield part, name, solid


def _check_drawn(keys, solid) -> None:
    for word, value in keys.items():
        Text().check(value) if word != "unit" else Choice(tuple(LENGTHS)).check(value)
    if solid.get("kind") != "plate":
        raise LinkageError(f'goes with kind = "plate", {got(solid.get("kind"))}')
    both = [word for word in DRAWN if word in solid]
    if both:
        raise LinkageError(f"says the outline, and so does {' and '.join(both)}; leave one out")


def _in_unit(plate: DrawnPlate, unit: str) -> dict:
    """A drawn plate as the file would have said it."""
    per = LENGTHS[unit].mm

    def scaled(value):
        return [scaled(v) for v in value] if isinstance(value, list) else value / per

    keys = {"outline": scaled(plate.outline),
            "holes": [{word: scaled(value) for word, value in hole.items()}
                      for hole in plate.holes]}
    return {word: value for word, value in keys.items() if value}


def _table_in(table, word, part=None):
    inner = table.setdefault(word, {})
    if not isinstance(inner, dict):
        place = f'body "{part}", {word}' if part else word
        raise LinkageError(f"{place}: needs a table of names, {got(inner)}")
    return inner


def _number_or_text(cell: str):
    try:
        return float(cell)
    except ValueError:
        return cell


def rows_changed(text: str, rows: dict) -> str:
    """The table of hardpoints with other coordinates in some rows; all else as it was.

    Parameters
    ----------
    text : str
    rows : dict
        ``{"part/point": (old, new)}``.

    Raises
    ------
    LinkageError
        When a row can't be said in such a table, or is not found in it.
    """
    lines = text.splitlines(keepends=True)
    for k, line in enumerate(lines):
        cells = line.split(",")
        name = cells[0].strip().strip('"')
        if len(cells) == 4 and name in rows:
            old, new = rows.pop(name)
            if not isinstance(new, list):
                raise LinkageError(f'can\'t say in a table of hardpoints what "{name}" has become')
            cells[1:] = [cell if a == b else _cell_like(cell, b)
                         for cell, a, b in zip(cells[1:], old, new, strict=True)]
            lines[k] = ",".join(cells)
    if rows:
        raise LinkageError(f'finds no plain row for "{next(iter(rows))}" in its table of '
                           f"hardpoints; write the row without quotes that hold commas")
    return "".join(lines)


def _cell_like(cell: str, value) -> str:
    inner = cell.strip()
    text = value if isinstance(value, str) else number_like(inner, value)
    quoted = f'"{text}"' if inner.startswith('"') else text
    return cell.replace(inner, quoted, 1)
