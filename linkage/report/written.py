"""A report on disk: written aside first, then moved into place, and never in half."""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from pathlib import Path

from ..errors import FileError
from ..model.file import write_bytes, write_text
from ..relief import check_folder, file_stem
from .as_html import as_html
from .as_pdf import as_pdf
from .blocks import Grid, is_number

READINGS = "readings {}.csv"  # of the model with this digest


def check_place(folder, replace: bool) -> None:
    """Refuse a folder that can't be written to, or that holds a report already.

    Parameters
    ----------
    folder : path
    replace : bool
        Whether a report there may be replaced.
    """
    check_folder(folder)
    there = Path(folder) / "report.html"
    if there.exists() and not replace:
        raise FileError(f"{there}: is there already and stays as it is; choose another folder, or "
                        f"say --replace", path=str(there))


def report_files(title: str, blocks, digest: str, paper: str) -> dict:
    """Contents of the files of a report.

    Parameters
    ----------
    title : str
    blocks : list
    digest : str
    paper : {"A4", "Letter"}

    Returns
    -------
    dict
        ``{path in the folder: str or bytes}``.
    """
    grids = {block.name: block.data for block in blocks if isinstance(block, Grid)}
    files = {"report.html": as_html(title, blocks),
             "report.pdf": as_pdf(title, blocks, paper, f"Model digest {digest}"),
             "tables.json": as_json(title, grids, digest)}
    return files | {f"tables/{file_stem(name)}.csv": data.to_csv(index=False, lineterminator="\n")
                    for name, data in grids.items()}


def as_json(title: str, grids: dict, digest: str) -> str:
    """JSON text of tables: a list of rows each, numbers in full, null where there is none.

    Parameters
    ----------
    title : str
    grids : dict
        ``{name: DataFrame}``.
    digest : str

    Returns
    -------
    str
    """
    told = {name: [{str(column): _plain(value) for column, value in row.items()}
                   for row in data.to_dict("records")] for name, data in grids.items()}
    return json.dumps({"title": title, "model digest": digest, "tables": told},
                      ensure_ascii=False, indent=1) + "\n"


def _plain(value):
    if hasattr(value, "item") and not getattr(value, "shape", None):
        value = value.item()
    if is_number(value) and abs(value) == float("inf"):
        return str(value)
    return None if is_number(value) and value != value else value


def write_report(folder, files: dict) -> None:
    """Write every file aside, then move them into place; a form of readings there stays.

    Parameters
    ----------
    folder : path
    files : dict
        As `report_files` gives them.

    Raises
    ------
    FileError
        When the folder can't be made or filled; what was there is as it was.
    """
    folder = Path(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        aside = Path(tempfile.mkdtemp(prefix=".new-", dir=folder))
    except OSError as problem:
        raise FileError(f"{folder}: can't be made or filled ({problem.strerror}); choose another "
                        f"folder", path=str(folder)) from problem
    try:
        for name, data in files.items():
            (aside / name).parent.mkdir(parents=True, exist_ok=True)
            (write_bytes if isinstance(data, bytes) else write_text)(aside / name, data)
        for name in files:
            if name.startswith(READINGS.split("{")[0]) and (folder / name).exists():
                continue  # what was filled in by hand
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            os.replace(aside / name, folder / name)
    except (OSError, FileError) as problem:
        why = getattr(problem.__cause__ or problem, "strerror", None) or problem
        raise FileError(f"{folder}: can't be filled ({why}); the report that was there is as it "
                        f"was", path=str(folder)) from problem
    finally:
        shutil.rmtree(aside, ignore_errors=True)
