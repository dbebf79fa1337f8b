"""The files of a report: HTML, PDF, every table as data, templates, and a form of readings."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from contextlib import nullcontext
from functools import partial
from typing import TYPE_CHECKING, Protocol

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
from ..results.second_core import Beside, SecondCore, shared_out
from ..units import CAUTION, LENGTHS
from .as_pdf import as_pdf, sheet_of
from .setting import set_ahead
from .written import READINGS

if TYPE_CHECKING:
    from ..relief.reliefs import Relief
    from ..results.blocks import Block

CARDS = "test-cards"  # their chapter, and the name of their pages
# Answers that only a report shows, and the chapters they are for: worked out beside all the rest,
# first what takes longest.
SECOND_CORE = {"cures": "contact-sheets", "reliefs": "reliefs", "drawn_map": "stops"}
CURED = ("contact-sheets", "reliefs")  # chapters that wait for what is worked out there
SETTLED = "assumptions"  # and for what the checker says


class Checker(Protocol):
    """What the checker says, under way on the second core."""

    @property
    def done(self) -> bool:
        """Whether nothing has to be waited for."""

    def join(self) -> object:
        """Wait until the results hold it."""


def begun(results: Results) -> Beside:
    """Begin on the second core what only a report shows; for `report_files`."""
    names = chapters_of(results)
    return Beside(results, [answer for answer, chapter in SECOND_CORE.items()
                            if chapter in names])


def report_files(results: Results, paper: str | None = None,
                 checker: Checker | None = None, beside: Beside | None = None) -> dict:
    """Contents of the files of a report.

    Parameters
    ----------
    results : Results
    paper : {"A4", "Letter"}, optional
        By the file's length unit unless given.
    checker : Checker, optional
        Joined before the chapter that says what the answer rests on.
    beside : Beside, optional
        What `begun` gave; all is worked out when it is asked for unless given.

    Returns
    -------
    dict
        ``{path in the folder: str or bytes}``.
    """
    paper = paper or LENGTHS[results.system.model.length].paper
    title = f"{results.system.model.title}: control system as computed"
    names, sheet = chapters_of(results), sheet_of(paper)
    chapters = _chapters(results, names, sheet, beside)
    drawn = _drawn_and_made(results, chapters, paper, checker)
    if checker is not None:
        checker.join()
    chapters |= _blocks_of(results, names, {SETTLED})
    blocks = [Text(CAUTION, "caution"), *(
        block for name in names for block in _opened(results, name, chapters[name]))]
    core = SecondCore(rest := partial(_html_and_tables, results, title, blocks))
    try:
        pdf = as_pdf(title, blocks, paper, f"Model digest {results.digest}", sheet)
        html, tables = core.join() or rest()
    except BaseException:
        core.end()
        raise
    return {"report.html": html, "report.pdf": pdf, **tables, **drawn}


def _chapters(results, names, sheet, beside) -> dict:
    """Blocks of each chapter but the last that is known; tables set and some pictures drawn."""
    with beside or nullcontext():
        made = _blocks_of(results, names, set(names) - {*CURED, SETTLED})
        set_ahead(_all_of(made), sheet)
        waiting = [block for name, blocks in made.items() if name not in SECOND_CORE.values()
                   for block in blocks if isinstance(block, Picture)]
        _draw_until(beside, waiting)
    made |= _blocks_of(results, names, CURED)
    set_ahead(_all_of(made), sheet)
    return made


def _blocks_of(results, names, wanted) -> dict:
    return {name: blocks_of(results, [name]) for name in names if name in wanted}


def _all_of(chapters) -> list:
    return [block for blocks in chapters.values() for block in blocks]


def _drawn_and_made(results, chapters, paper, checker) -> dict:
    """Draw what pictures are left, and make test cards and templates, on what cores are free."""
    by_cost = sorted(chapters, key=lambda name: name != SECOND_CORE["drawn_map"])
    pictures = [block for name in by_cost for block in chapters[name]
                if isinstance(block, Picture) and not block.is_drawn]
    _draw_until(checker, pictures)
    making = [partial(_test_cards, results, chapters.get(CARDS), paper),
              *(partial(template_files, [each], paper, results.digest)
                for each in _reliefs(results, chapters))]
    made = shared_out([*making, *(partial(getattr, each, "drawn") for each in pictures)])
    for picture, drawn in zip(pictures, made[len(making):], strict=True):
        picture.keep(drawn)
    return {name: data for files in made[:len(making)] for name, data in files.items()}


def _draw_until(other, pictures):
    """Draw pictures, and take them off the list, until what is done on the other core is done."""
    while pictures and other is not None and not other.done:
        pictures.pop(0).drawn  # noqa: B018


def _reliefs(results, chapters):
    return (results.reliefs or ([],))[0] if "reliefs" in chapters else []


def _opened(results, name, blocks) -> Iterator[Block]:
    """A chapter's blocks, opened with what of it is not in order."""
    yield from blocks[:1]
    if blocks:
        yield from opening(results, name)
    yield from blocks[1:]


def _html_and_tables(results, title, blocks) -> tuple[str, dict]:
    """The report as a page, and its tables to be read by a machine with the one for readings."""
    tables = {block.name: block.data for block in blocks if isinstance(block, Table)}
    form = readings_form(results.system, results.digest, results.stops)
    return as_html(title, blocks), {
        "tables.json": as_json(title, tables, results.digest),
        **{f"tables/{name}": text for name, text in csv_files(tables_of(blocks)).items()},
        READINGS.format(results.digest): csv_text(form)}


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
