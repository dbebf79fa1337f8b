"""The live workbook: one page that shows a control system at any stick position."""

from .grid import Axis, Grid, make_grid
from .payload import Payload, as_json, as_plain, make_payload

__all__ = ["Axis", "Grid", "Payload", "as_json", "as_plain", "make_grid", "make_payload"]
