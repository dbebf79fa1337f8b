"""The shop sheet: findings as aligned plain text, in the file's own length unit."""

from .contact_part import clearance_sheet, stops_sheet
from .loads_part import loads_sheet
from .motion_part import gearing_sheet
from .relief_part import relief_sheet, template_sheet
from .rig_part import rig_sheet
from .size_part import size_sheet
from .text import CAUTION, heading, number, section, table
from .tolerance_part import tolerance_sheet

__all__ = ["CAUTION", "clearance_sheet", "gearing_sheet", "heading", "loads_sheet", "number",
           "relief_sheet", "rig_sheet", "section", "size_sheet", "stops_sheet", "table",
           "template_sheet", "tolerance_sheet"]
