"""A report on disk: written aside first, then moved into place, and never in half."""

from __future__ import annotations

import os
import shutil
import tempfile
from pathlib import Path

from ..errors import FileError
from ..model.file import write_bytes, write_text
from ..relief import check_folder

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
