"""The workbook as one file that works from disk without a network."""

from __future__ import annotations

from html import escape

from ..motion import System
from ..results import Answers
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

START = """
const data = JSON.parse(document.getElementById("linkage-data").textContent);
const model = { get: (name) => data[name], on() {}, off() {}, set() {}, save_changes() {} };
render({ model, el: document.getElementById("linkage-page") });
"""


def state_from_disk(system: System) -> dict:
    """Everything a page says when no kernel answers it, worked out now."""
    results = Answers(system)
    stops = [stop_row(system, name) for name in system.model.stops]
    known = governing(results)
    for row in stops:
        row["governs"], row["reason"] = known.get(row["name"], (None, ""))
        if row["on"] and not row["error"]:
            row["chart"] = spacer_chart(system, row["name"])
    return {"serial": 0, "heard": 0, "busy": [], "failed": "", "ages": {},
            "limits": limits_of(system), "wanted": limits_of(system),
            "directions": direction_rows(results), "required": required_rows(results),
            "stops": stops,
            "proof": proof_of(results), "map": map_of(results)}


def write_page(system: System) -> str:
    """The live view of a system as one self-contained HTML file.

    Parameters
    ----------
    system : System

    Returns
    -------
    str
        HTML; it asks nothing of any other file or machine.
    """
    payload = as_plain(make_payload(system))
    data = payload | {"state": state_from_disk(system), "live": False, "moved_to": {},
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
body {{ margin: 0; background: #fbfaf7; }}
@media screen and (prefers-color-scheme: dark) {{ body {{ background: #171b1d; }} }}
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
