"""The report that `linkage FILE --out DIR` writes, and the comparison with another file."""

from __future__ import annotations

from .. import load, report, sheet, travel_map
from ..model.file import digest
from .beside import beside


def write_out(said, system, tell) -> tuple[list[str], int]:
    """Write the report of a file and of what it is compared with.

    Parameters
    ----------
    said : Namespace
        Words of the command: file, out, against, paper.
    system : System
    tell : callable
        Told the name of each phase.

    Returns
    -------
    (list of str, int)
        Paths written, in the folder, and how many requirements are missed in all.
    """
    mapping = beside(travel_map, system) if report.can_map(system) else None
    results = report.work_out(system, said.file, tell, mapping)
    before = report.work_out(load(said.against), said.against) if said.against else None
    done, refused = report.reliefs(results)
    more = [lambda found: report.relief_chapter(found, done, refused)]
    if said.against:
        more.append(lambda after: report.comparison(before, after))
    tell("report")
    title = f"{system.model.title}: control system as computed"
    blocks = report.contents(results, more)
    paper = said.paper or {"in": "Letter", "mm": "A4"}[system.model.length]
    files = report.report_files(title, blocks, results.digest, paper)
    files |= report.relief_files(done, paper)
    form = report.readings_form(system, results.digest)
    files[report.READINGS.format(results.digest)] = form.to_csv(index=False, lineterminator="\n")
    report.write_report(said.out, files)
    return list(files), results.missed


def said_comparison(said, system) -> str:
    """The comparison as text.

    Parameters
    ----------
    said : Namespace
    system : System

    Returns
    -------
    str
    """
    before, after = (report.work_out(each, file) for each, file in (
        (load(said.against), said.against), (system, said.file)))
    heads = f"before: {said.against}, digest {digest(said.against)}\n" \
            f"after:  {said.file}, digest {after.digest}"
    parts = [sheet.section(name, sheet.table(data.columns, [
        [report.shown(column, value) for column, value in row.items()]
        for row in data.to_dict("records")])) for name, data in
        report.compared(before, after).items()]
    return "\n\n".join([heads, *parts])
