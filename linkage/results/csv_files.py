"""Tables as CSV files, each named after its table."""

from __future__ import annotations

import functools

from ..disk import csv_text, file_stems
from .chapters import TABLES


def csv_files(tables: dict) -> dict:
    r"""Contents of CSV files, numbers in full.

    Parameters
    ----------
    tables : dict
        ``{name: DataFrame}``.

    Returns
    -------
    dict
        ``{file name: text}``; names that would come to the same file get a number.

    Examples
    --------
    >>> import pandas as pd
    >>> rows = pd.DataFrame({"rod": ["tie"]})
    >>> csv_files({"Rods to make": rows, "rods/to make": rows})
    {'rods_to_make.csv': 'rod\ntie\n', 'rods_to_make_2.csv': 'rod\ntie\n'}
    """
    stems = file_stems(tables, "_")
    return {f"{stems[name].lower()}.csv": csv_text(data) for name, data in tables.items()}


def is_table(name: str) -> bool:
    """Whether a file may be one of these tables, by its name.

    Examples
    --------
    >>> is_table("gearing_over_pitch.csv"), is_table("my readings.csv")
    (True, False)
    """
    return name.endswith(".csv") and name.startswith(_beginnings())


@functools.cache
def _beginnings() -> tuple[str, ...]:
    return tuple(f"{stem.lower()}{'_' if name.endswith(' ') else '.'}"
                 for name, stem in file_stems(TABLES, "_").items())
