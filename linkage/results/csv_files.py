"""Tables as CSV files, each named after its table."""

from __future__ import annotations


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
    files = {}
    for name, data in tables.items():
        plain = "".join(c if c.isalnum() or c in "-." else " " for c in name.lower())
        stem = "_".join(plain.split()).strip("._") or "table"
        numbered, count = stem, 1
        while f"{numbered}.csv" in files:
            count += 1
            numbered = f"{stem}_{count}"
        files[f"{numbered}.csv"] = data.to_csv(index=False, lineterminator="\n")
    return files
