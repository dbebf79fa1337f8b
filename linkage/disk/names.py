"""What is written has plain names, and cells that a spreadsheet leaves alone."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

LONGEST = 255  # bytes of one name that common file systems take


def file_stems(names: Iterable[str], blank: str = " ") -> dict:
    """A file name for each of several names: one that any file system takes, no two alike.

    Parameters
    ----------
    names : iterable of str
    blank : str
        What stands for a blank.

    Returns
    -------
    dict
        ``{name: stem}``; capitals don't tell two apart, since some file systems don't.

    Examples
    --------
    >>> file_stems(["airframe/pan (a)", "airframe/pan [a]", "a b"])
    {'airframe/pan (a)': 'airframe pan a', 'airframe/pan [a]': 'airframe pan a 2', 'a b': 'a b'}
    """
    stems, taken = {}, set()
    for name in dict.fromkeys(names):
        words = "".join(c if c.isalnum() or c in " -_." else " " for c in name).split()
        short = " ".join(words).strip(" .").encode()[:LONGEST - 55].decode(errors="ignore")
        plain = (short.strip(" .") or "plate").replace(" ", blank)
        stem, count = plain, 1
        while stem.casefold() in taken:
            count += 1
            stem = f"{plain}{blank}{count}"
        taken.add(stem.casefold())
        stems[name] = stem
    return stems


def csv_text(table: pd.DataFrame) -> str:
    """CSV of a table in which no cell begins a formula.

    Parameters
    ----------
    table : DataFrame

    Returns
    -------
    str
        Text that a spreadsheet would work out stands behind an apostrophe; `cell_text` takes it
        off again.
    """
    safe = table.rename(columns=_harmless)
    for k, kind in enumerate(safe.dtypes):
        if kind.kind not in "biuf":
            safe.isetitem(k, safe.iloc[:, k].map(_harmless))
    return safe.to_csv(index=False, lineterminator="\n")


def _harmless(cell):
    if not isinstance(cell, str) or cell.lstrip()[:1] not in ("=", "+", "-", "@", "'"):
        return cell
    try:
        float(cell)
    except ValueError:
        return f"'{cell}"
    return cell


def cell_text(cell: str) -> str:
    """A cell as it was before `csv_text` made it harmless.

    Examples
    --------
    >>> cell_text("'=flap"), cell_text("flap")
    ('=flap', 'flap')
    """
    return cell[1:] if cell[:1] == "'" and cell[1:].lstrip()[:1] in tuple("=+-@'") else cell
