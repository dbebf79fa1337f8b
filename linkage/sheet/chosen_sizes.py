"""Dimensions chosen, what they give, and what each would change, as text."""

from __future__ import annotations

from ..results import aligned, number, section
from ..sizing import LEASTS, Sizing, said
from ..units import LENGTHS


def size_sheet(sizing: Sizing) -> str:
    """Chosen dimensions, targets against found, and trade-offs.

    Parameters
    ----------
    sizing : Sizing

    Returns
    -------
    str
    """
    length = sizing.system.model.length
    parts = [section("Dimensions chosen", _dimensions(sizing, length)),
             section("What was asked for", _targets(sizing, length)),
             section(f"What a dimension changes (per {length}, per degree of a clocking)",
                     _tradeoffs(sizing, length))]
    return "\n\n".join([*parts, sizing.verdict])


def _dimensions(sizing, length) -> str:
    rounded = bool((sizing.dimensions["exact"] != sizing.dimensions["found"]).any())
    rows = []
    for row in sizing.dimensions.to_dict("records"):
        words = ["drawn", *(["exact"] if rounded else []), "found", "least", "greatest"]
        rows.append([row["dimension"], row["kind"], row["of"],
                     *(said(row[word], row["unit"], length) for word in words),
                     f"at its {row['limit']}" if row["limit"] else ""])
    return aligned(["dimension", "", "of", "drawn", *(["before rounding"] if rounded else []),
                  "chosen", "least", "greatest", ""], rows)


def _targets(sizing, length) -> str:
    rows = []
    for row in _shown(sizing).to_dict("records"):
        least = row["kind"] in LEASTS
        wanted = said(row["wanted"], row["unit"], length)
        within = "or more" if least else f"± {said(row['within'], row['unit'], length)}"
        rows.append([row["target"], wanted, within,
                     *(said(row[word], row["unit"], length) for word in ("drawn", "found")),
                     "pass" if row["ok"] else "MISS", f"{row['weight']:.0%}",
                     "" if row["changes"] else "no dimension changes it"])
    return aligned(["target", "wanted", "", "drawn", "found", "", "holds", ""], rows)


def _shown(sizing):
    """Targets without the rod ends that stay well away from dead centre."""
    rows = sizing.targets
    idle = (rows["kind"] == "over-centre") & rows["ok"] & (rows["weight"] == 0)
    least = rows[idle]["found"].idxmin() if idle.any() else None
    return rows[~idle | (rows.index == least)]


def _tradeoffs(sizing, length) -> str:
    rows_shown, per = _shown(sizing), LENGTHS[length].mm
    units = dict(zip(sizing.dimensions["dimension"], sizing.dimensions["unit"], strict=True))
    rows = []
    for target in rows_shown[rows_shown["target"].isin(sizing.tradeoffs.index)].to_dict("records"):
        row, is_gap = sizing.tradeoffs.loc[target["target"]], target["unit"] == "mm"
        rows.append([target["target"], length if is_gap else target["unit"] or "ratio",
                     *(number(row[name] * (per if units[name] == "mm" else 1.0)
                              / (per if is_gap else 1.0), 3)
                       for name in sizing.tradeoffs.columns)])
    return aligned(["target", "", *sizing.tradeoffs.columns], rows)
