"""What goes to the shop: templates of plates and their twins, and the model with its reliefs."""

from __future__ import annotations

import os
from pathlib import Path

from ..errors import FileError
from ..model import Model, Plate, Washer
from ..model.file import format_model, refuse_taken, write_bytes, write_text
from ..units import CAUTION, shown_length
from .cut import said_area, said_width
from .drawing import draw, notes_of_faces
from .flat import flat_of, plates_named
from .formats import as_dxf, as_pdf, as_svg, sheets
from .reliefs import Relief


def both_sides(model: Model, name: str) -> tuple[str, ...]:
    """Plates that a name stands for, and their twins on the other side, each once.

    Parameters
    ----------
    model : Model
    name : str
        ``"part/solid"``, or ``"part"``.

    Returns
    -------
    tuple of str
    """
    found = []
    for address in plates_named(model, name):
        found += [address, *([twin] if (twin := twin_of(model, address)) else [])]
    return tuple(dict.fromkeys(found))


def twin_of(model: Model, name: str) -> str | None:
    """The plate of the other side, or None."""
    words = list((model.mirror or {"left": "right"}).items())
    swap = dict([*words, *((there, here) for here, there in words)])
    twin = "/".join(_swapped(field, swap) for field in name.split("/"))
    return twin if twin != name and isinstance(model.solids.get(twin), (Plate, Washer)) else None


def _swapped(text, swap):
    for here, there in swap.items():
        if f" {here} " in f" {text} ":
            return f" {text} ".replace(f" {here} ", f" {there} ")[1:-1]
    return text


def templates(model: Model, name: str, *, paper: str | None = None, mirrored: bool = False,
              notes=(), regions=None) -> dict:
    """Contents of the template files of a plate as it stands.

    Parameters
    ----------
    model : Model
    name : str
        ``"part/solid"``.
    paper : {"A4", "Letter"}, optional
        Of the PDF; by the file's length unit unless given.
    mirrored : bool
        The part for the other side, where the file has no twin of it.
    notes : sequence of str
        Lines to print besides.
    regions : dict, optional
        ``{layer: shapely geometry}`` to outline besides, mm.

    Returns
    -------
    dict
        ``{file name: str or bytes}``, and under ``None`` the `Drawing`.
    """
    drawing = draw(model, flat_of(model, name), (*notes_of_faces(model, name), *notes),
                   regions, mirrored=mirrored)
    stem = file_stem(f"{name}{' mirrored' if mirrored else ''}")
    return {f"{stem}.dxf": as_dxf(drawing), f"{stem}.svg": as_svg(drawing),
            f"{stem}.pdf": as_pdf(drawing, paper), None: drawing}


def file_stem(name: str) -> str:
    """A name that any file system takes.

    Examples
    --------
    >>> file_stem("airframe/seat pan left")
    'airframe seat pan left'
    """
    return "".join(c if c.isalnum() or c in " -_." else " " for c in name).strip(" .") or "plate"


def page_count(drawing, paper: str | None = None) -> int:
    """Pages of the PDF."""
    _, columns, rows = sheets(drawing, paper)
    return columns * rows


def relief_templates(relief: Relief, paper: str | None = None) -> dict:
    """Template files of a relieved plate, with what to keep clear and what to take away outlined.

    Parameters
    ----------
    relief : Relief
    paper : {"A4", "Letter"}, optional

    Returns
    -------
    dict
        As from `templates`.
    """
    unit, notes, regions = relief.model.length, [], {}
    for row in relief.pairs:
        notes.append(f"{row['pair']}: required {shown_length(row['required'], unit)}, proven "
                     f"{shown_length(row['after'], unit, 4)}")
    if relief.needed:
        notes.append(f"To take away: {said_area(relief.cut.removed.area, unit)}; narrowest left "
                     f"by it {said_width(relief.cut.ligament, unit)}")
        regions = {"keep clear": relief.swept, "taken away": relief.cut.removed}
    return templates(relief.model, relief.name, paper=paper, notes=notes, regions=regions)


def relieved_file(source, reliefs) -> dict:
    """Text of the model with its reliefs, by a name after that of the file it came from.

    Parameters
    ----------
    source : path
    reliefs : sequence of Relief
        Each made in the system with those before.

    Returns
    -------
    dict
        ``{file name: text}``.
    """
    source = Path(source)
    cut = ", ".join(relief.name for relief in reliefs if relief.needed) or "nothing"
    head = "".join(f"# {line}\n" for line in (f"{source.name} with relief cut in: {cut}.",
                                              *CAUTION.split("\n")))
    return {f"{source.stem} relieved.toml": head + format_model(reliefs[-1].model)}


def write_all(folder, files: dict, replace: bool = False) -> None:
    """Write files into a folder, which is made where it is missing; each whole or not at all.

    Parameters
    ----------
    folder : path
    files : dict
        ``{file name: str or bytes}``; other keys are passed over.
    replace : bool
        Whether files that are there may be replaced.

    Raises
    ------
    FileError
        When the folder can't be made or written to, or holds one of the files.
    """
    folder = Path(folder)
    for name in filter(None, files):
        refuse_taken(folder / name, replace)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise FileError(f"{folder}: can't be made a folder ({problem.strerror}); choose another",
                        path=str(folder)) from problem
    for name, data in files.items():
        if isinstance(data, bytes):
            write_bytes(folder / name, data)
        elif isinstance(data, str):
            write_text(folder / name, data)


def check_folder(folder) -> None:
    """Refuse a folder that can't be written to, before any work is done.

    Parameters
    ----------
    folder : path
    """
    folder = Path(folder)
    there = next(place for place in (folder, *folder.absolute().parents) if place.exists())
    if not there.is_dir() or not os.access(there, os.W_OK | os.X_OK):
        why = "may not be written to" if there.is_dir() else "is a file"
        raise FileError(f"{folder}: can't be made or filled, as {there} {why}; choose another "
                        f"folder", path=str(folder))
