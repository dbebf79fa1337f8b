"""The workbook as one file that works from disk without a network."""

from __future__ import annotations

from html import escape

from ..motion import System
from ..results import Answers
from .cures import CHAPTERS, load_rows, relief_rows, stock_rows, verdict_row
from .forces import force_tables
from .page_tables import (
    direction_rows,
    governing,
    limits_of,
    map_of,
    proof_of,
    required_rows,
    spacer_chart,
    stop_row,
)
from .payload import as_json, as_plain, make_payload
from .program import script, style
from .sized import dimension_rows, target_rows

START = """
const data = JSON.parse(document.getElementById("linkage-data").textContent);
const model = { get: (name) => data[name], on() {}, off() {}, set() {}, save_changes() {} };
render({ model, el: document.getElementById("linkage-page") });
"""


def state_from_disk(system: System, results: Answers | None = None, *, stock: bool = True) -> dict:
    """Everything a page says when no kernel answers it, worked out now.

    Parameters
    ----------
    system : System
    results : Answers, optional
        Of the system, where they are there already.
    stock : bool
        Prove what comes of each spacer made of other stock, too.
    """
    results = results or Answers(system, only=CHAPTERS)
    stops = [stop_row(system, name) for name in system.model.stops]
    known, (done, _) = governing(results), results.reliefs or ([], [])
    for row in stops:
        row["governs"], row["reason"] = known.get(row["name"], (None, ""))
        if row["on"] and not row["error"]:
            row["chart"] = spacer_chart(system, row["name"])
    return {"serial": 0, "heard": 0, "busy": [], "failed": "", "ages": {},
            "limits": limits_of(system), "wanted": limits_of(system),
            "directions": direction_rows(results), "required": required_rows(results),
            "stops": stops, "verdict": verdict_row(results),
            "cures": relief_rows(done, system.model.length),
            "stock": stock_rows(results) if stock and results.clearance is not None else [],
            "loads": load_rows(results) if stock else {}, "forces": force_tables(system),
            "sizes": dimension_rows(system.model, system.model), "targets": target_rows(results),
            "proof": proof_of(results), "map": map_of(results)}


def write_page(system: System, source: str = "", *, stock: bool = True) -> str:
    """The live view of a system as one self-contained HTML file.

    Parameters
    ----------
    system : System
    source : str
        Name of the model file.
    stock : bool
        Ship a proof for each spacer made of other stock.

    Returns
    -------
    str
        HTML; it asks nothing of any other file or machine.
    """
    results = Answers(system, source, only=CHAPTERS)
    state = state_from_disk(system, results, stock=stock)
    payload = as_plain(make_payload(system, reliefs=(results.reliefs or ([], []))[0]))
    data = payload | {"state": state | {"source": source}, "live": False, "moved_to": {},
                      "exact": None, "note": {}}
    title = escape(system.model.title)
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy"
 content="default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'">
<title>{title}</title>
<style>
body {{ margin: 0; background: #eef0ee; }}
@media screen and (prefers-color-scheme: dark) {{ body {{ background: #0d1319; }} }}
{style()}
</style>
</head>
<body>
<main id="linkage-page"><h1 class="lw-hidden">{title}</h1></main>
<script type="application/json" id="linkage-data">{as_json(data)}</script>
<script type="module">
{script()}
{START}</script>
</body>
</html>
"""
