"""The report of a system: HTML and PDF to print, sign and keep, and every table as data."""

from .changes import changes_page, check_page
from .files import begun, report_files
from .written import PROOF, READINGS, check_place, write_report

__all__ = ["PROOF", "READINGS", "begun", "changes_page", "check_page", "check_place",
           "report_files", "write_report"]
