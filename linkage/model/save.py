"""A model saved as the builder's own file, changed only where the model has changed."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from ..disk import check_file, write_files
from ..errors import FileError, LinkageError, shown_text
from .file import exact_text, hardpoints_name, model_of, read_source
from .patch import NEAR, patched, same
from .whole import Model


def saved_files(source: Path | str, wanted: Model, path: Path | str,
                note: Sequence[str] = ()) -> dict:
    """What a model saved after its source file holds: that file with what has changed in it.

    A changed row of a table of hardpoints goes into a table of the new file's own, since other
    model files may refer to the surveyed one; a file that goes to another folder takes its table
    along.

    Parameters
    ----------
    source : path
        The model file that the model came from.
    wanted : Model
    path : path
        The file to be written.
    note : sequence of str
        Remarks for its head, a line each.

    Returns
    -------
    dict
        ``{path: bytes}``: the file, before it its table of hardpoints where that is new, and
        meshes that are not on disk yet.

    Raises
    ------
    LinkageError
        When the source can't be read, or changed so that it reads as the model.
    """
    source, path = Path(source), Path(path)
    text = exact_text(source)
    try:
        name = read_source(text.removeprefix("\ufeff"), source.parent).table.get("hardpoints")
        own = _own_table(name, path) if name else None
        away = source.parent.resolve() != path.parent.resolve()
        moved = bool(name) and _moved(name, source, path)
        done = patched(text, wanted, folder=source.parent, table=own, moved=moved,
                       home=path.parent if away else None)
    except FileError:
        raise
    except LinkageError as error:
        raise FileError(f"{source}: {error.sentence}", path=str(source)) from error
    files = {} if done.hardpoints is None else {path.parent / own: done.hardpoints.encode("utf-8")}
    files |= {path.parent / name: data for name, data in done.meshes.items()}
    return files | {path: _with_note(done.text, note).encode("utf-8")}


def saved_names(source: Path | str, path: Path | str, *, points: bool = False) -> list[Path]:
    """Files that a model saved after its source file may be made of, to be checked before the work.

    Parameters
    ----------
    source : path
        The model file that the model comes from, one that can be read.
    path : path
        The file to be written.
    points : bool
        Whether points may have changed, and with them rows of a table of hardpoints.
    """
    source, path, name = Path(source), Path(path), hardpoints_name(source)
    if not name or not (points or _moved(name, source, path)):
        return [path]
    return [path.parent / _own_table(name, path), path]


def save_model(source: Path | str, wanted: Model, path: Path | str, *, note: Sequence[str] = (),
               replace: bool = False) -> list[Path]:
    """Write a model as its source file with what has changed in it; see `saved_files`.

    Parameters
    ----------
    source : path
    wanted : Model
    path : path
    note : sequence of str
    replace : bool
        Whether a file that is there may be replaced, the source among them.

    Returns
    -------
    list of Path
        The files written, all of them or none.
    """
    files = saved_files(source, wanted, path, note)
    for each in files:
        check_file(each, replace)
    write_files(files, replace=replace)
    return list(files)


def _moved(name: str, source: Path, path: Path) -> bool:
    """Whether a table named beside the source is not beside the file to be written."""
    return not Path(name).is_absolute() and source.parent.resolve() != path.parent.resolve()


def _own_table(name: str, path: Path) -> str:
    """Name of the table of hardpoints of a model file's own, beside it."""
    last = Path(name).name
    return last if last.startswith(f"{path.stem} ") else f"{path.stem} {last}"


def reads_as(source: Path | str, model: Model) -> bool:
    """Whether a model file still says what a model opened from it says."""
    try:
        text = exact_text(source).removeprefix("\ufeff")
        return same(model_of(read_source(text, Path(source).parent)), model, NEAR)
    except LinkageError:
        return False


def _with_note(text: str, note) -> str:
    newline = "\r\n" if "\r\n" in text else "\n"
    mark = "\ufeff" if text.startswith("\ufeff") else ""
    lines = (shown_text(" ".join(line.splitlines())) for line in note)
    return mark + "".join(f"# {line}{newline}" for line in lines) + text.removeprefix(mark)
