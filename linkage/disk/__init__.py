"""Writing to disk: whole or not at all, and nothing that is there is lost without a word."""

from .files import (
    check_file,
    check_folder,
    check_read,
    fill_folder,
    write_bytes,
    write_files,
    write_text,
)
from .folders import SUMS, check_report_folder, digest, replace_folder
from .names import cell_text, csv_text, file_stems

__all__ = ["SUMS", "cell_text", "check_file", "check_folder", "check_read", "check_report_folder",
           "csv_text", "digest", "file_stems", "fill_folder", "replace_folder", "write_bytes",
           "write_files", "write_text"]
