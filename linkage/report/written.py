"""A report on disk: put in the place of the one before as a whole, and never in half."""

from __future__ import annotations

from pathlib import Path

from ..disk import check_report_folder, replace_folder

READINGS = "readings {}.csv"  # of the model with this digest
PROOF = "proof.json.gz"  # the certificate of its clearance proof


def check_place(folder: Path | str, replace: bool) -> None:
    """Refuse a folder that can't be written to, or that holds a report already.

    Parameters
    ----------
    folder : path
    replace : bool
        Whether a report there may be replaced.
    """
    check_report_folder(folder, replace)


def write_report(folder: Path | str, files: dict, replace: bool = False) -> None:
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
                   stays=lambda name: name.startswith(READINGS.split("{")[0]))
