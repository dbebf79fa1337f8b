"""The live workbook: one page that shows a control system at any stick position."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from .grid import Axis, Grid, make_grid
from .payload import Payload, as_json, as_plain, make_payload

if TYPE_CHECKING:
    from ..motion.system import System
    from .live import Workbook

__all__ = ["Axis", "Grid", "Payload", "as_json", "as_plain", "make_grid", "make_payload", "open"]


def open(source: System | Path | str, path: Path | str | None = None) -> Workbook:
    """Open the live workbook on a system or a model file.

    Parameters
    ----------
    source : System or path
    path : path, optional
        The file a `System` came from, so that it is never written over unasked.

    Returns
    -------
    Workbook
        Show it as the last line of a cell.  Its page saves below the folder the kernel was
        started in, unless the workbook's `folder` is set to another.

    Raises
    ------
    LinkageError
        One sentence that names the file.
    """
    from ..errors import LinkageError
    from ..model.file import read_model
    from ..motion import System
    from .live import Workbook

    if isinstance(source, System):
        return Workbook(source, path)
    model = read_model(source)
    try:
        return Workbook(System(model), source)
    except LinkageError as error:
        raise type(error)(f"{source}: {error.sentence}", **error.facts, path=str(source)) from error
