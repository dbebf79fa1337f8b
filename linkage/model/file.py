"""Model files: TOML to model and back, hardpoints from CSV, and the JSON Schema of the file."""

from __future__ import annotations

import copy
import dataclasses
import tomllib
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType

from ..disk import digest, write_text
from ..errors import FileError, LinkageError, ModelError
from ..units import LENGTHS, lengths_said_in
from .keys import OneOfRecords, Record, at, file_keys, got, read_keys, write_keys
from .mirroring import with_twins
from .shapes import Point
from .side_files import (
    beside,
    hardpoint_rows,
    plain_ends,
    put_drawn,
    put_hardpoints,
    put_meshes,
    solids_in,
)
from .whole import Model

MOST_BYTES = 4_000_000  # a model file is a few kB; this keeps a slip from filling the memory


def read_model(path: Path | str) -> Model:
    """Read a model file.

    Parameters
    ----------
    path : path
        A TOML file; every length bare in its own unit, or with one.

    Returns
    -------
    Model
        In mm and degrees, twins of `mirror` and hardpoints of a CSV file included.

    Raises
    ------
    LinkageError
        One sentence that names the file, the place in it and the mend.
    """
    try:
        return parse_model(_text_of(path), folder=Path(path).parent)
    except FileError:
        raise
    except LinkageError as error:
        raise ModelError(f"{path}: {error.sentence}",
                         **{"place": "the file", **error.facts, "path": str(path)}) from error


def parse_model(text: str, *, folder: Path | str = ".") -> Model:
    """Model from the text of a model file.

    Parameters
    ----------
    text : str
    folder : path
        Where a relative `hardpoints` file is looked for.

    Returns
    -------
    Model

    Examples
    --------
    >>> model = parse_model('''
    ... length = "in"
    ... [body.stick]
    ... pivot = [61, 0, 9]
    ... axis = "lateral"
    ... ''')
    >>> model.position("stick/pivot")
    (1549.3999999999999, 0.0, 228.6)
    """
    return model_of(read_source(text, folder))


@dataclasses.dataclass(frozen=True)
class Source:
    """What a model file says, before its twins are made.

    Attributes
    ----------
    table : dict
        As the TOML has it.
    full : dict
        The same with the rows of its table of hardpoints in their places, and without its name;
        of a plate with a drawing, with the outline and holes of that.
    parts : dict
        What that means: attributes of a `Model`, in mm and degrees.
    unit : {"mm", "in"}
    rows : dict
        ``{"part/point": [FS, BL, WL]}`` of the table of hardpoints, as written.
    csv_text : str
        Of that table.
    drawn : dict
        ``{(part, solid): {key: value}}``: of each plate with a drawing the keys `OF_A_DRAWING`.
    """

    table: dict
    full: dict
    parts: dict
    unit: str
    rows: dict
    csv_text: str
    drawn: dict


def read_source(text: str, folder: Path | str = ".", csv_text: str | None = None,
                unwritten: Mapping = MappingProxyType({})) -> Source:
    """What the text of a model file says.

    Parameters
    ----------
    text : str
    folder : path
        Where a relative `hardpoints` file is looked for.
    csv_text : str, optional
        Of the table of hardpoints, in place of what the file on disk holds.
    unwritten : dict
        ``{name: MeshFile}``, meshes that are still to be written.

    Returns
    -------
    Source
    """
    try:
        table = tomllib.loads(text)
    except (ValueError, RecursionError) as problem:  # too many digits or brackets, too
        raise LinkageError(f"is no valid TOML: {problem}; mend that line") from problem
    if not table:
        raise LinkageError('is empty; start one with "linkage new side-by-side --out FILE"')
    unit, full, rows = table.get("length"), copy.deepcopy(table), {}
    if not isinstance(unit, str) or unit not in LENGTHS:
        raise LinkageError('length must say what a bare length means: length = "in" or '
                           f'length = "mm", {got(unit) if "length" in table else "got none"}')
    name = full.pop("hardpoints", None)
    if name is not None:
        if not isinstance(name, str):
            raise LinkageError(f'hardpoints: needs the name of a CSV file, like "points.csv", '
                               f"{got(name)}")
        with at("hardpoints"):
            place = beside(folder, name)
        csv_text = exact_text(place) if csv_text is None else csv_text
        rows = hardpoint_rows(csv_text, place)
        put_hardpoints(full, name, rows)
    with lengths_said_in(unit):
        drawn = put_drawn(full, unit, Path(folder))
        put_meshes(full, Path(folder), unwritten)
        parts = read_keys(Model, full, unit)
    return Source(table, full, parts, unit, rows, csv_text or "", drawn)


def model_of(source: Source) -> Model:
    """The model that a file means, twins included."""
    with lengths_said_in(source.unit):
        return Model(**with_twins(source.parts))


def write_model(model: Model, path: Path | str) -> None:
    """Write a model so that reading it back gives an equal one.

    Parameters
    ----------
    model : Model
    path : path
        Replaced whole or not at all.
    """
    write_text(path, format_model(model), replace=True)


def format_model(model: Model) -> str:
    """Text of the model file that reads back as `model`; twins are written out.

    Parameters
    ----------
    model : Model

    Returns
    -------
    str
    """
    import tomli_w

    return tomli_w.dumps(write_keys(model, model.length))


def side_files(path: Path | str) -> list[Path]:
    """Files that a model file uses: its table of hardpoints, drawings of plates, and meshes.

    Parameters
    ----------
    path : path
        A model file; one that can't be read uses none.
    """
    try:
        text = _text_of(path)
        table = tomllib.loads(text) if any(word in text for word in (
            "hardpoints", "drawing", "mesh")) else {}
    except (LinkageError, ValueError, RecursionError):
        return []
    names = [table.get("hardpoints"), *(solid.get(word) for *_, solid in solids_in(table)
                                        for word in ("drawing", "file"))]
    return [Path(path).parent / name for name in dict.fromkeys(names) if isinstance(name, str)]


def drawings_of(path: Path | str) -> dict:
    """Drawings that plates of a model file are read from: ``{"part/solid": (path, unit)}``.

    Parameters
    ----------
    path : path
        A model file that can be read.
    """
    source = read_source(_text_of(path), Path(path).parent)
    return {f"{part}/{name}": (Path(path).parent / keys["drawing"], keys.get("unit"))
            for (part, name), keys in source.drawn.items()}


def model_digest(path: Path | str) -> str:
    """Digest by which a sheet is matched to its model: of the file, and of the files it uses."""
    return digest(path, *side_files(path))


def hardpoints_name(path: Path | str) -> str | None:
    """What a model file calls its table of hardpoints, if it has one."""
    return tomllib.loads(_text_of(path)).get("hardpoints")


def read_hardpoints(path: Path | str) -> dict:
    """Hardpoints of a CSV file with the columns name, FS, BL, WL.

    Parameters
    ----------
    path : path
        One ``part/point, FS, BL, WL`` a line; a line of headings is passed over.

    Returns
    -------
    dict
        ``{"part/point": [FS, BL, WL]}``, as written.
    """
    return hardpoint_rows(_text_of(path), path)


def schema() -> dict:
    """JSON Schema of the model file, made from the model classes.

    Returns
    -------
    dict
    """
    classes, parts = [Model], []
    while classes:
        cls = classes.pop()
        if cls not in parts:
            parts.append(cls)
            classes += [inner for field in file_keys(cls).values()
                        for inner in _classes_in(field.metadata["kind"])]
    parts.sort(key=lambda cls: cls.__name__)
    described = {cls.__name__: _class_schema(cls) for cls in parts}
    whole = described.pop("Model")
    whole["properties"]["hardpoints"] = {"type": "string", "description":
                                         "CSV file of hardpoints: part/point, FS, BL, WL"}
    plate = described["Plate"]
    plate["required"].remove("outline")
    plate |= {"oneOf": [{"required": ["outline"]}, {"required": ["drawing"]}]}
    plate["properties"] |= {
        "drawing": {"type": "string", "description":
                    "DXF file that holds the outline and the holes, beside the model file"},
        "layer": {"type": "string", "description": "layer of the drawing that is cut; its only one "
                  "unless said"},
        "unit": {"enum": list(LENGTHS), "description": "unit of a drawing that says none"}}
    return {"$schema": "https://json-schema.org/draft/2020-12/schema",
            "title": "linkage model file", **whole, "$defs": described}


def _class_schema(cls) -> dict:
    properties = {word: field.metadata["kind"].schema() | {"description": field.metadata["doc"]}
                  for word, field in file_keys(cls).items()}
    kind = getattr(cls, "kind", None)
    if isinstance(kind, str):
        properties = {"kind": {"const": kind}} | properties
    required = [word for word, field in file_keys(cls).items()
                if field.default is dataclasses.MISSING
                and field.default_factory is dataclasses.MISSING]
    return {"type": "object", "description": (cls.__doc__ or "").split("\n")[0],
            "properties": properties, "required": (["kind"] if isinstance(kind, str) else [])
            + required, "additionalProperties": False}


def _classes_in(kind):
    if isinstance(kind, Record):
        yield kind.cls
    elif isinstance(kind, OneOfRecords):
        yield from kind.classes
    else:
        for inner in [getattr(kind, "kind", None), *getattr(kind, "kinds", ())]:
            if inner is not None and not isinstance(inner, str):
                yield from _classes_in(inner)
    if type(kind).__name__ == "_PointKind":
        yield Point


def _text_of(path) -> str:
    return plain_ends(exact_text(path))


def exact_text(path: Path | str) -> str:
    """Text of a file as it is: its line ends and its byte order mark too."""
    path = Path(path)
    try:
        if path.is_dir():
            raise FileError(f"{path}: is a folder; name the model file in it", path=str(path))
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise FileError(f"{path}: has {size / 1e6:.0f} MB, and a model file is text of at "
                            f"most {MOST_BYTES / 1e6:.0f} MB; name the right file", path=str(path))
        if not path.is_file():
            raise FileError(f"{path}: is a device or a pipe; name a model file", path=str(path))
        return path.read_bytes().decode("utf-8")
    except FileError:
        raise
    except UnicodeDecodeError as problem:
        raise FileError(f"{path}: is no text file in UTF-8; name the model file, or save it as "
                        f"UTF-8", path=str(path)) from problem
    except (OSError, ValueError) as problem:
        raise FileError(f"{path}: can't be read "
                        f"({getattr(problem, 'strerror', None) or problem}); check the name",
                        path=str(path)) from problem
