"""What is printed: the sheet of all results, plates cut, dimensions chosen."""

from .chosen_sizes import size_sheet
from .cut_plates import relief_sheet, template_sheet
from .opening import heading, sheet_of

__all__ = ["heading", "relief_sheet", "sheet_of", "size_sheet", "template_sheet"]
