"""What goes to the shop: templates of plates and their twins, and the model with its reliefs."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import shapely

from ..disk import file_stems, fill_folder
from ..model import Box, Model, Plate, Washer
from ..model.save import saved_files, saved_names
from ..model.surfaces import Mesh, Skin
from ..units import CAUTION, shown_length
from .arcs import BAND
from .cut import said_area, said_width
from .drawing import draw, notes_of_faces
from .flat import Flat, flat_of, plates_named
from .formats import as_dxf, as_svg, with_cut, with_cut_svg
from .marks import outline_after
from .panels import Panel
from .reliefs import Relief
from .tiles import as_pdf, pages_of

if TYPE_CHECKING:
    from .drawing import Drawing


ALIKE = 1e-3  # of its area, by which a plate may differ from its mirror image
CUT = Plate, Washer, Box, Mesh, Skin


def both_sides(model: Model, name: str, skins: bool = False) -> tuple[str, ...]:
    """Plates that a name stands for, and their twins on the other side, each once.

    Parameters
    ----------
    model : Model
    name : str
        ``"part/solid"``, or ``"part"``.
    skins : bool
        Whether a mesh or a skin may be named, too.

    Returns
    -------
    tuple of str
    """
    addresses = []
    for address in plates_named(model, name, skins):
        addresses += [address, *([twin] if (twin := twin_of(model, address)) else [])]
    return tuple(dict.fromkeys(addresses))


def twin_of(model: Model, name: str) -> str | None:
    """The solid of the other side of a plate, box or skin, or None."""
    words = list((model.mirror or {"left": "right"}).items())
    swap = dict([*words, *((there, here) for here, there in words)])
    twin = "/".join(_swapped(field, swap) for field in name.split("/"))
    return twin if twin != name and isinstance(model.solids.get(twin), CUT) else None


def _swapped(text, swap):
    for here, there in swap.items():
        if f" {here} " in f" {text} ":
            return f" {text} ".replace(f" {here} ", f" {there} ")[1:-1]
    return text


def templates(model: Model, name: str | Flat, *, paper: str | None = None, mirrored: bool = False,
              notes: Sequence[str] = (), regions: dict | None = None) -> dict:
    """Contents of the template files of a plate as it stands.

    Parameters
    ----------
    model : Model
    name : str or Flat
        ``"part/solid"``, or what is drawn for it.
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
    flat = name if isinstance(name, Flat) else flat_of(model, name)
    drawing = draw(model, flat, (*notes_of_faces(model, flat.name),
                                 *_note_of_twin(model, flat.name), *notes),
                   regions, mirrored=mirrored)
    stem = template_stem(model, flat.name, mirrored)
    return {f"{stem}.dxf": as_dxf(drawing), f"{stem}.svg": as_svg(drawing),
            f"{stem}.pdf": as_pdf(drawing, paper), None: drawing}


def identity(model: Model, digest: str) -> str:
    """Which revision of which file a template is of."""
    words = [f"revision {model.revision}" if model.revision else "no revision in the file",
             f"approved by {model.approved_by}, as the file says" if model.approved_by else
             "the file names nobody who approved it"]
    return f"Of the model file with digest {digest}: {'; '.join(words)}." if digest else \
        f"{'; '.join(words).capitalize()}."


def _note_of_twin(model, name) -> tuple[str, ...]:
    """What the plate of the other side is to this one."""
    twin = twin_of(model, name)
    if twin is None or not all(isinstance(model.solids[each], (Plate, Washer, Box))
                               for each in (name, twin)):
        return ()
    here, there = flat_of(model, name), flat_of(model, twin)

    def seen(places):
        spots = here.origin + places @ here.axes[:2]
        return (spots * (1.0, -1.0, 1.0) - there.origin) @ there.axes[:2].T

    apart = shapely.transform(here.material, seen).symmetric_difference(there.material).area
    if apart < ALIKE * here.material.area:
        return (f"Mirror pair with {twin}: make one of each, this one turned over is the other.",)
    return (f"The other side, {twin}, is not its mirror image: it has a template of its own.",)


def template_stem(model: Model, name: str, mirrored: bool = False) -> str:
    """How the template files of a plate begin: of no two solids of a model alike."""
    names = [*model.solids, *(f"{each} mirrored" for each in model.solids)]
    return file_stems(names)[f"{name} mirrored" if mirrored else name]


def template_names(model: Model, names: Iterable[str], mirrored: bool = False) -> list[str]:
    """Names of the template files of plates, before they are drawn."""
    return [f"{template_stem(model, name, mirrored)}.{kind}" for name in names
            for kind in ("dxf", "svg", "pdf")]


def page_count(drawing: Drawing, paper: str | None = None) -> int:
    """Pages of the PDF."""
    return len(pages_of(drawing, paper))


def relief_templates(relief: Relief, paper: str | None = None, digest: str = "") -> dict:
    """Template files of a relieved plate, with what to keep clear and what to take away outlined.

    Parameters
    ----------
    relief : Relief
    paper : {"A4", "Letter"}, optional
    digest : str
        Of the model file that the plate is cut for.

    Returns
    -------
    dict
        As from `templates`.
    """
    unit, notes, regions = relief.model.length, [identity(relief.model, digest)], {}
    for row in relief.pairs:
        notes.append(f"{row['pair']}: required {shown_length(row['required'], unit)}, proven "
                     f"{shown_length(row['after'], unit, 4)}")
    if relief.pairs:
        build = ("For every build within the file's tolerances" if relief.built else
                 "For the drawn geometry, not for every build" + (
                     " within the file's tolerances (linkage relief cuts for these)"
                     if relief.model.has_tolerances else ""))
        notes.append(f"{build}; at every position that the stops leave, and to the wanted travel "
                     f"where an end has none")
    if relief.needed:
        notes.append(f"To take away: {said_area(relief.cut.removed.area, unit)}; narrowest left "
                     f"by it {said_width(relief.cut.ligament, unit)}")
        notes.append(f"New edges are arcs and lines, at most {shown_length(BAND, unit, 4)} beyond "
                     f"the line that was proven first and never short of it; proven again as they "
                     f"are")
        old = relief.flat.material.boundary.difference(relief.cut.left.buffer(0.02))
        new = shapely.MultiLineString(list(outline_after(relief.flat, relief.cut.left)))
        regions = {"keep clear": relief.swept, "old edge": old, "new edge": new}
    return templates(relief.model, relief.drawn, paper=paper, notes=notes + _notes_of_skin(relief),
                     regions=regions)


def _notes_of_skin(relief) -> list[str]:
    """What to say of a skin that is drawn flat."""
    panel = relief.flat
    if not isinstance(panel, Panel):
        return []
    unit = relief.model.length
    notes = ["A curved skin seen square to one plane: mark it off by its stations, and do not lay "
             "this sheet round it; areas and widths are those seen"]
    if panel.part:
        notes.append("What lies about the cut is drawn, and a straight edge to it is none of the "
                     "part")
    if relief.needed:
        low, high, steep = panel.band(relief.cut.removed)
        more = shown_length(panel.marked_off(relief.cut.removed), unit)
        notes.append(f"What is taken away lies within {shown_length(high - low, unit)} of height "
                     f"over this sheet and leans up to {steep:.0f}° to it; cut its edge square to "
                     f"the skin, marked on either face: {more} more is cut all round for that")
    return notes


def relieved_file(source: Path | str, reliefs: Sequence[Relief], folder: Path | str) -> dict:
    """The model file with its reliefs cut in: the source file with what has changed in it.

    Parameters
    ----------
    source : path
    reliefs : sequence of Relief
        Each made in the system with those before.
    folder : path
        Where it is to be written.

    Returns
    -------
    dict
        ``{file name: bytes}``, the model file last: by a name after that of the source.
    """
    source = Path(source)
    cut = ", ".join(relief.name for relief in reliefs if relief.needed) or "nothing"
    note = (f"{source.name} with relief cut in: {cut}.", *CAUTION.split("\n"))
    files = saved_files(source, reliefs[-1].model, Path(folder) / relieved_name(source), note)
    return {path.name: data for path, data in files.items()}


def relieved_names(source: Path | str, folder: Path | str) -> list[str]:
    """Names of the files that `relieved_file` makes, to be checked before the work."""
    return [path.name for path in saved_names(source, Path(folder) / relieved_name(source))]


def relieved_name(source: Path | str) -> str:
    """Name of the model file with its reliefs, after that of the file it came from."""
    return f"{Path(source).stem} relieved.toml"


def write_all(folder: Path | str, files: dict, replace: bool = False) -> None:
    """Write files into a folder, which is made where it is missing: all of them or none.

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
    fill_folder(folder, {name: data for name, data in files.items() if name}, replace=replace)


def cut_drawings(drawn: dict, reliefs: Sequence[Relief]) -> dict:
    """Drawings that plates are cut from, as copies with the new edges on a layer of their own.

    Parameters
    ----------
    drawn : dict
        As `linkage.model.file.drawings_of` gives it of the model file.
    reliefs : sequence of Relief

    Returns
    -------
    dict
        ``{file name: str}``, of plates of that file that are cut.
    """
    files = {}
    for relief in reliefs:
        if relief.needed and relief.name in drawn:
            plate = flat_of(relief.model, relief.name)
            path, unit = drawn[relief.name]
            edges = plate.outside, *plate.inside
            files[cut_name(relief.model, relief.name, path)] = with_cut_svg(path, edges) \
                if path.suffix.lower() == ".svg" else with_cut(path, unit, edges)
    return files


def cut_name(model: Model, name: str, path: Path) -> str:
    """Name of the copy of a plate's own drawing with its relief."""
    return f"{template_stem(model, name)} cut{path.suffix.lower()}"
