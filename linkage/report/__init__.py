"""The report of a system: HTML and PDF to print, sign and keep, and every table as data."""

from .blocks import Grid, Heading, Picture, Text, shown
from .chapters import relief_chapter, relief_files, reliefs
from .compare import compared, comparison
from .contents import contents
from .results import Results, can_map, work_out
from .sequence import readings_form, rigging_sequence
from .written import READINGS, check_place, report_files, write_report

__all__ = ["Grid", "Heading", "Picture", "READINGS", "Results", "Text", "can_map", "check_place",
           "compared", "comparison", "contents", "readings_form", "relief_chapter", "relief_files",
           "reliefs", "report_files", "rigging_sequence", "shown", "work_out", "write_report"]
