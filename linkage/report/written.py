"""A report on disk: written aside first, then moved into place, and never in half."""

from __future__ import annotations

import json

from ..disk import check_report_folder, csv_text, file_stems, replace_folder
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
    check_report_folder(folder, replace)


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
    stems = file_stems(grids)
    return files | {f"tables/{stems[name]}.csv": csv_text(data) for name, data in grids.items()}


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


def write_report(folder, files: dict, replace: bool = False) -> None:
    """Put a report in the place of the one that is there, whole or not at all.

    A form of readings that was filled in stays, and so does what others put there.

    Parameters
    ----------
    folder : path
    files : dict
        As `report_files` gives them.
    replace : bool
        Whether a report there may be replaced.

    Raises
    ------
    FileError
        When the folder can't be made or filled; what was there is as it was.
    """
    replace_folder(folder, files, replace=replace,
                   kept=lambda name: name.startswith(READINGS.split("{")[0]))
