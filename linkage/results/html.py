"""Blocks as HTML: a page that needs nothing beside it, or a cell of a notebook."""

from __future__ import annotations

import base64
import math
import re
from collections.abc import Iterable
from html import escape
from typing import TYPE_CHECKING

from .blocks import DataTable, Heading, Picture, Table, Text, is_missed, is_number

if TYPE_CHECKING:
    from .blocks import Block

STYLE = """
:root { color-scheme: light dark; --ink: #16202a; --paper: #fff; --rule: #b8c0c8; }
@media screen and (prefers-color-scheme: dark) {
  :root { --ink: #e6e9ec; --paper: #14181c; --rule: #4a545d; } a { color: #9cc7ff; }
  img { filter: invert(0.92) hue-rotate(180deg); } }
body { font: 11pt/1.45 Georgia, "Times New Roman", serif; color: var(--ink);
       background: var(--paper);
       margin: 0 auto; padding: 1.5rem; max-width: 62rem; }
h1 { font-size: 1.7rem; margin: 0 0 .3rem; }
h2 { font-size: 1.25rem; margin: 2rem 0 .5rem; border-bottom: 2px solid var(--ink);
     break-after: avoid; }
table { border-collapse: collapse; font: 9pt/1.3 "Segoe UI", Arial, sans-serif; }
caption { text-align: left; font-weight: bold; padding: .6rem 0 .2rem; }
caption small { display: block; font-weight: normal; max-width: 60rem; }
th, td { text-align: left; vertical-align: top; padding: .18rem .45rem;
         border-bottom: 1px solid var(--rule); }
th { border-bottom: 2px solid var(--ink); vertical-align: bottom; position: sticky; top: 0;
     background: var(--paper); }
th.n, td.n { text-align: right; }
td.n, td.w { font-variant-numeric: tabular-nums; white-space: nowrap; }
th button { all: unset; cursor: pointer; font: inherit; }
th button:focus-visible { outline: 2px solid; }
th[aria-sort=ascending] button::after { content: " \\2191"; }
th[aria-sort=descending] button::after { content: " \\2193"; }
td.blank { border: 1px solid var(--ink); min-width: 5.5rem; height: 1.6rem; }
tr.missed td { font-weight: bold; }
thead { display: table-header-group; }
tr, figure { break-inside: avoid; }
.scroll { overflow: auto; max-height: 75vh; }
figure { margin: 1rem 0; }
figure.half { display: inline-block; width: min(49%, 27rem); min-width: min(100%, 20rem);
              vertical-align: top; }
img { max-width: 100%; height: auto; background: #fff; }
.caution { border: 3px double var(--ink); padding: .6rem .9rem; font-weight: bold; }
.miss, .met { font-weight: bold; }
.miss::before { content: "MISS  "; }
.undecided::before { content: "UNDECIDED  "; font-weight: bold; }
.note::before { content: "Note  "; font-weight: bold; }
.missing { border-left: .4rem solid #6b7680; padding-left: .8rem; font-style: italic; }
nav ol { columns: 16rem 2; padding-left: 1.5rem; }
.find { position: sticky; top: 0; z-index: 2; background: var(--paper); padding: .4rem 0; }
.find input { font: inherit; width: min(22rem, 60vw); min-height: 2rem; }
@page { margin: 14mm 12mm; }
@media print { body { max-width: none; padding: 0; }
               .scroll { overflow: visible; max-height: none; }
               th { position: static; } tr[hidden] { display: table-row !important; }
               div[hidden] { display: block !important; } .find { display: none; }
               nav { break-after: page; } h2.page { break-before: page; } }
"""
PROGRAM = """
const tables = [...document.querySelectorAll("main table")];
const find = document.querySelector("#find");
find.addEventListener("input", () => {
  const words = find.value.toLowerCase().split(/\\s+/).filter(Boolean);
  let shown = 0;
  for (const table of tables) {
    let mine = 0;
    for (const row of table.tBodies[0].rows) {
      const text = row.textContent.toLowerCase();
      row.hidden = !words.every((word) => text.includes(word));
      mine += row.hidden ? 0 : 1;
    }
    table.closest(".scroll").hidden = words.length > 0 && !mine;
    shown += mine;
  }
  document.querySelector("#count").textContent = words.length ? `${shown} rows` : "";
});
const worth = (cell) => {
  const data = cell.querySelector("data");
  return data ? Number(data.value) : cell.textContent;
};
const order = (a, b) => typeof a === "number" && typeof b === "number" ? a - b :
  typeof a === "number" ? -1 : typeof b === "number" ? 1 : 
  a.localeCompare(b, "en", {numeric: true});
for (const table of tables) {
  [...table.tHead.rows[0].cells].forEach((head, k) => {
    const button = document.createElement("button");
    button.type = "button";
    button.title = "sort by this column";
    button.append(...head.childNodes);
    head.append(button);
    button.addEventListener("click", () => {
      const sense = head.ariaSort === "ascending" ? -1 : 1;
      for (const other of table.tHead.rows[0].cells) other.removeAttribute("aria-sort");
      head.setAttribute("aria-sort", sense > 0 ? "ascending" : "descending");
      const rows = [...table.tBodies[0].rows];
      rows.sort((a, b) => sense * order(worth(a.cells[k]), worth(b.cells[k])));
      table.tBodies[0].append(...rows);
    });
  });
}
"""
FIND = ('<p class="find"><label>Find in tables: <input type="search" id="find"></label> '
        '<span id="count" role="status"></span></p>')
UNITS = "in|mm|lbf|in·lbf|N|N·m|ksi|N/mm²|turns?|rpm|lb|kg|in²|mm²|kt"
KEPT_TOGETHER = re.compile(rf"(?<=\d) (?=(?:{UNITS})\b)|(?<=±) (?=\d)")


def as_html(title: str, blocks: Iterable[Block]) -> str:
    """HTML text of a report.

    Parameters
    ----------
    title : str
    blocks : sequence of Heading, Text, Table, Picture

    Returns
    -------
    str
        Every number of a table stands in a ``data`` element whose value has all its digits.
    """
    chapters = [block for block in blocks if isinstance(block, Heading)]
    links = "".join(f'<li><a href="#{block.anchor}">{escape(block.text)}</a></li>'
                    for block in chapters)
    body = as_fragment(blocks)
    return (f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
            f'<meta name="viewport" content="width=device-width">\n'
            f'<title>{escape(title)}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n<main>\n'
            f'<h1>{escape(title)}</h1>\n{FIND}\n<nav aria-label="Chapters"><ol>{links}</ol></nav>\n'
            f'{body}\n</main>\n<script>{PROGRAM}</script>\n</body>\n</html>\n')


def told(text: str) -> str:
    """Words as HTML, a number never parted from its unit."""
    return KEPT_TOGETHER.sub("\N{NO-BREAK SPACE}", escape(text))


def as_fragment(blocks: Iterable[Block]) -> str:
    """HTML of blocks alone, without a page about them.

    Parameters
    ----------
    blocks : iterable of Heading, Text, Table, Picture

    Returns
    -------
    str
    """
    return "\n".join(_block(block) for block in blocks
                     if not isinstance(block, DataTable))


def _block(block) -> str:
    if isinstance(block, Heading):
        page = ' class="page"' if block.new_page else ""
        return f'<h2 id="{block.anchor}"{page}>{escape(block.text)}</h2>'
    if isinstance(block, Text):
        return f'<p class="{block.kind}">{told(block.text)}</p>'
    if isinstance(block, Picture):
        half = ' class="half"' if block.drawn.narrow else ""
        return (f'<figure{half}><img alt="{escape(block.words)}" src="data:image/svg+xml;base64,'
                f'{base64.b64encode(block.drawn.svg).decode("ascii")}"></figure>')
    return _table(block)


def _table(block: Table) -> str:
    note = f"<small>{told(block.note)}</small>" if block.note else ""
    records = block.data.to_dict("records")
    heads = "".join(f'<th scope="col"{_side(block, records, name)}>{escape(str(name))}</th>'
                    for name in block.data.columns)
    rows = "\n".join(_row(block, row) for row in records)
    return (f'<div class="scroll" tabindex="0" role="region" aria-label="{escape(block.name)}">'
            f"<table><caption>{escape(block.name)}{note}</caption>\n<thead><tr>{heads}</tr></thead>"
            f"\n<tbody>\n{rows}\n</tbody></table></div>")


def _side(block, records, name) -> str:
    """A heading stands over its numbers."""
    numbers = name not in block.words and any(is_number(row[name]) for row in records)
    return ' class="n"' if numbers else ""


def _row(block: Table, row: dict) -> str:
    missed = ' class="missed"' if is_missed(row) else ""
    return f"<tr{missed}>{''.join(_cell(block, row, name) for name in row)}</tr>"


def _cell(block, row, name) -> str:
    if name in block.blank:
        return '<td class="blank"></td>'
    text, value = told(block.cell(row, name)), row[name]
    if is_number(value) and math.isfinite(value):
        exact = value.item() if hasattr(value, "item") else value
        side = "w" if name in block.words else "n"
        return f'<td class="{side}"><data value="{exact!r}">{text}</data></td>'
    return f"<td>{text}</td>"
