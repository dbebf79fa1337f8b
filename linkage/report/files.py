"""The files of a report: HTML, PDF, every table as data, templates, and a form of readings."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from ..disk import csv_text
from ..results import (
    CHAPTERS,
    Picture,
    Results,
    Table,
    Text,
    as_html,
    blocks_of,
    is_number,
    opening,
    readings_form,
    tables_of,
)
from ..results.csv_files import csv_files
from ..results.second_core import SecondCore
from ..units import CAUTION, LENGTHS
from .as_pdf import as_pdf
from .written import READINGS

if TYPE_CHECKING:
    from ..relief.reliefs import Relief
    from ..results.blocks import Block

CARDS = "test-cards"  # their chapter, and the name of their pages
# Answers that only a report shows, and the chapters they are for: worked out beside all the rest.
SECOND_CORE = {"drawn_map": "stops", "reliefs": "reliefs", "cures": "contact-sheets"}
LAST = ("contact-sheets", "reliefs", "assumptions")  # chapters that show what is worked out there
HERE = 4  # every so many pictures are drawn on the first core


def report_files(results: Results, paper: str | None = None,
                 settle: Callable[[], None] = lambda: None) -> dict:
    """Contents of the files of a report.

    Parameters
    ----------
    results : Results
    paper : {"A4", "Letter"}, optional
        By the file's length unit unless given.
    settle : callable
        Called before the chapters that show what is worked out beside all this.

    Returns
    -------
    dict
        ``{path in the folder: str or bytes}``.
    """
    paper = paper or LENGTHS[results.system.model.length].paper
    title = f"{results.system.model.title}: control system as computed"
    names = chapters_of(results)
    chapters = _chapters(results, names, settle)
    blocks = [Text(CAUTION, "caution"), *(
        block for name in names for block in _opened(results, name, chapters[name]))]
    with _drawn_beside(blocks):
        files = {"report.html": "", "report.pdf": b"", **_table_files(results, title, blocks),
                 **_test_cards(results, chapters.get(CARDS), paper)}
        if "reliefs" in names and results.reliefs is not None:
            files |= template_files(results.reliefs[0], paper, results.digest)
    files["report.html"] = as_html(title, blocks)
    files["report.pdf"] = as_pdf(title, blocks, paper, f"Model digest {results.digest}")
    return files


def _chapters(results, names, settle) -> dict:
    """Blocks of each chapter; those that rest on what settles are written last."""
    later = [name for name, chapter in SECOND_CORE.items() if chapter in names]
    with results.beside(later):
        made = {name: blocks_of(results, [name]) for name in names if name not in LAST}
    settle()
    return made | {name: blocks_of(results, [name]) for name in names if name in LAST}


def _opened(results, name, blocks) -> Iterator[Block]:
    """A chapter's blocks, opened with what of it is not in order."""
    yield from blocks[:1]
    if blocks:
        yield from opening(results, name)
    yield from blocks[1:]


def _table_files(results, title, blocks) -> dict:
    """The tables of a report, to be read by a machine, and the one that readings go into."""
    tables = {block.name: block.data for block in blocks if isinstance(block, Table)}
    form = readings_form(results.system, results.digest, results.stops)
    return {"tables.json": as_json(title, tables, results.digest),
            **{f"tables/{name}": text for name, text in csv_files(tables_of(blocks)).items()},
            READINGS.format(results.digest): csv_text(form)}


@contextmanager
def _drawn_beside(blocks):
    """While what is within runs, draw most of the pictures on the second core."""
    there = [block for block in blocks if isinstance(block, Picture)]
    here = there[::HERE]
    del there[::HERE]
    core = SecondCore((lambda: [each.drawn for each in there]) if there else None)
    try:
        yield
    except BaseException:
        core.end()
        raise
    for each in here:
        each.drawn  # noqa: B018
    for each, drawn in zip(there, core.join() or (), strict=False):
        each.keep(drawn)


def chapters_of(results: Results) -> list[str]:
    """Chapters of a report: page one in place of the sheet's answer."""
    asked = results.chapters if results.only else [chapter.name for chapter in CHAPTERS
                                                   if chapter.name != "revision"]
    names = ["page-one" if name == "answer" else name for name in asked]
    if "clearance" in names:
        names.insert(1, "contact-sheets")
    return list(dict.fromkeys(names))


def _test_cards(results, chapter, paper):
    """The test cards on pages of their own, to take to the aircraft."""
    if chapter is None or results.worst_loads is None:
        return {}
    title = f"{results.system.model.title}: test cards"
    blocks = [Text(CAUTION, "caution"), *chapter]
    return {f"{CARDS}.html": as_html(title, blocks),
            f"{CARDS}.pdf": as_pdf(title, blocks, paper, f"Model digest {results.digest}")}


def template_files(reliefs: Iterable[Relief], paper: str, digest: str) -> dict:
    """Templates of relieved plates: ``{path in the folder: str or bytes}``."""
    from ..relief import relief_templates

    return {f"templates/{name}": data for each in reliefs
            for name, data in relief_templates(each, paper, digest).items() if name}


def as_json(title: str, tables: dict, digest: str) -> str:
    """JSON text of tables: a list of rows each, numbers in full, null where there is none.

    Parameters
    ----------
    title : str
    tables : dict
        ``{name: DataFrame}``.
    digest : str

    Returns
    -------
    str
    """
    rows = {name: [{str(column): _plain(value) for column, value in row.items()}
                   for row in data.to_dict("records")] for name, data in tables.items()}
    return json.dumps({"title": title, "model digest": digest, "tables": rows},
                      ensure_ascii=False, indent=1) + "\n"


def _plain(value):
    if hasattr(value, "item") and not getattr(value, "shape", None):
        value = value.item()
    if is_number(value) and abs(value) == float("inf"):
        return str(value)
    return None if is_number(value) and value != value else value
