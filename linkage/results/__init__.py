"""Everything found of a system, once: the answers, the verdict, and chapters that show them."""

from .answers import Answers, NothingAsked
from .blocks import DataTable, Heading, Picture, Table, Text, is_missed, is_number, shown
from .chapters import CHAPTERS, Chapter, blocks_of, chapter_named
from .chapters.standing import opening
from .comparison import compared
from .html import as_fragment, as_html
from .questions import QUESTIONS, Question, verdict_of
from .results import Results, Shown, tables_of
from .revisions import file_changes, log_entry
from .sequence import readings_form, rigging_sequence
from .text import aligned, as_text, number, section, wrapped
from .verdict import Miss, Verdict

__all__ = ["CHAPTERS", "QUESTIONS", "Answers", "Chapter", "DataTable", "Heading", "Miss",
           "NothingAsked", "Picture", "Question", "Results", "Shown", "Table", "Text", "Verdict",
           "aligned", "as_fragment", "as_html", "as_text", "blocks_of", "chapter_named",
           "compared", "file_changes", "is_missed", "is_number", "log_entry", "number",
           "opening", "readings_form", "rigging_sequence", "section", "shown", "tables_of",
           "verdict_of", "wrapped"]
