"""What a revision did, as a page."""

from __future__ import annotations

from pathlib import Path

from ..errors import LinkageError
from ..results import Results, as_html, blocks_of
from ..units import LENGTHS
from .as_pdf import as_pdf

KINDS = (".html", ".pdf")


def check_page(path: Path | str) -> None:
    """Refuse a page of a kind that is not written."""
    if Path(path).suffix.lower() not in KINDS:
        raise LinkageError(f"{path}: can't be written; let its name end in {' or '.join(KINDS)}")


def changes_page(results: Results, path: Path | str, paper: str | None = None) -> bytes:
    """The page of a revision against the one before, HTML or PDF by the name of its file.

    Parameters
    ----------
    results : Results
        With `before`.
    path : path
    paper : {"A4", "Letter"}, optional

    Returns
    -------
    bytes
    """
    title = f"{results.system.model.title}: what the revision did"
    blocks = blocks_of(results, ["revision"])
    if Path(path).suffix.lower() == ".html":
        return as_html(title, blocks).encode()
    return as_pdf(title, blocks, paper or LENGTHS[results.system.model.length].paper,
                  f"Model digest {results.before.digest} to {results.digest}")
