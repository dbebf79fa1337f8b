"""The result of sizing as tables, a verdict in one sentence, and a model file."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ..model import STATIONS
from ..model.mirroring import twin_name
from ..model.save import save_model
from ..motion import System
from ..units import CAUTION, in_house_units, rounded_text, shown_length
from .choose import choose
from .targets import SCALE

HOLDS = 0.02  # share of all weight from which a target is named as one that holds the result


@dataclass(frozen=True, eq=False)
class Sizing:
    """Dimensions chosen, and what they give.

    Attributes
    ----------
    system : System
        With the chosen dimensions.
    dimensions : DataFrame
        Columns dimension, kind, of, unit, drawn, exact (before rounding), found, least, greatest,
        step (mm, or degrees for a clocking) and limit ("least" or "greatest" where that limit
        holds the result, else "").
    targets : DataFrame
        Columns target, kind, of, way, input, wanted, within, unit, drawn, found, missed_by, ok,
        changes (whether any dimension changes it) and weight (how much it holds the result;
        together 1, all 0 where nothing has to give).  A direction that is right has no row.
    tradeoffs : DataFrame
        Indexed by target, a column per dimension: change of the target per mm (degree).
    clearance : DataFrame or None
        As from `clearance`, of the chosen system, when the file holds sizing to it.
    ok : bool
        Whether everything asked for is met.
    verdict : str
        One sentence: what is met or conflicts, how near it came, and which target is the tight one.
    """

    system: System
    dimensions: object
    targets: object
    tradeoffs: object
    clearance: object
    ok: bool
    verdict: str


def size(system: System, *, starts: int = 8, seed: int = 0, rounded: bool = False) -> Sizing:
    """Choose the dimensions that the file names so that its targets are met.

    Parameters
    ----------
    system : System
        Its model's `size` table names the dimensions, their limits and the targets; required
        travels of surfaces are targets too.
    starts : int
        Places the search starts from: the drawn dimensions and spread ones.
    seed : int
        Of the spread ones; the same seed gives the same result.
    rounded : bool
        Round each dimension that has a step to a multiple of it, and check again.

    Returns
    -------
    Sizing
        Where every target can be met exactly, the dimensions nearest to the drawn ones that do;
        elsewhere those whose greatest miss, in shares of its tolerance, is least.

    Raises
    ------
    LinkageError
        When the file names no dimension, or nothing to meet.
    """
    chosen = choose(system, max(1, starts), seed, rounded)
    targets = _targets(chosen)
    ok = bool(targets["ok"].all()) and chosen.check.clear
    return Sizing(chosen.fit.system, _dimensions(chosen), targets, _tradeoffs(chosen),
                  chosen.check.clearance, ok, _verdict(chosen, targets, ok))


def write_sized(sizing: Sizing, source: Path | str, path: Path | str) -> None:
    """Write the file that was sized, with its chosen dimensions in it, to a file of its own.

    Parameters
    ----------
    sizing : Sizing
    source : path
        The file that was sized, which stays as it is.
    path : path

    Raises
    ------
    FileError
        When there is a file already, or the place can't be written.
    """
    rows = [f"{row['dimension']}: {said(row['found'], row['unit'], sizing.system.model.length)}"
            for row in sizing.dimensions.to_dict("records")]
    note = (f"{Path(source).name} with these dimensions chosen:", *rows, *CAUTION.split("\n"))
    save_model(source, sizing.system.model, path, note=note)


def said(value: float, unit: str, length: str) -> str:
    """A dimension or target with its unit, lengths in the file's own.

    Parameters
    ----------
    value : float
    unit : {"mm", "°", "°/°", "°/mm", ""}
    length : {"mm", "in"}

    Returns
    -------
    str

    Examples
    --------
    >>> said(25.4, "mm", "in"), said(12.3456, "°", "in"), said(0.8, "", "in")
    ('1.000 in', '12.35°', '0.800')
    """
    if not np.isfinite(value):
        return "out of reach"
    if unit == "mm":
        return shown_length(value, length)
    if unit == "°":
        return f"{rounded_text(value, 2)}°"
    return f"{rounded_text(value, 3)}{f' {unit}' if unit else ''}"


@in_house_units(by_row="drawn exact found least greatest step")
def _dimensions(chosen):
    import pandas as pd

    limits = {-1.0: "least", 0.0: "", 1.0: "greatest"}
    rows = [{"dimension": each.name, "kind": each.kind,
             "of": f"{each.of} {STATIONS[each.along]}" if each.along is not None else each.of,
             "unit": each.unit, "drawn": each.drawn, "exact": float(exact), "found": float(value),
             "least": each.least, "greatest": each.greatest,
             "step": np.nan if each.step is None else each.step, "limit": limits[limit]}
            for each, exact, value, limit in zip(chosen.layout.named, chosen.exact,
                                                 chosen.fit.values, chosen.fit.limits.tolist(),
                                                 strict=True)]
    return pd.DataFrame(rows)


def _unit(chosen, aim) -> str:
    if aim.kind in ("gearing", "direction") and aim.input:
        return f"°/{chosen.fit.system.inputs[aim.input].unit}"
    return {"gearing": "", "differential": "", "clearance": "mm"}.get(aim.kind, "°")


@in_house_units(by_row="wanted within drawn found missed_by")
def _targets(chosen):
    import pandas as pd

    weights = iter(chosen.fit.weights.tolist())
    rows = []
    for n, aim in enumerate(chosen.aims):
        value, moves = float(chosen.check.found[n]), bool(chosen.moving[n])
        rows.append({"target": aim.name, "kind": aim.kind, "of": aim.of, "way": aim.way,
                     "input": aim.input, "wanted": aim.wanted, "within": aim.within,
                     "unit": _unit(chosen, aim), "drawn": float(chosen.drawn.found[n]),
                     "found": value, "missed_by": _missed_by(aim, value), "ok": aim.met(value),
                     "changes": moves, "weight": next(weights) if moves else 0.0})
    rows = [row for row in rows if row["kind"] != "direction" or not row["ok"]]
    return pd.DataFrame([*rows, *_pairs(chosen, list(weights))])


def _missed_by(aim, value) -> float:
    return min(value - aim.wanted, 0.0) if aim.least else value - aim.wanted


def _pairs(chosen, weights):
    """A row per pair that the fit had to mind, or that still is too near."""
    if chosen.check.clearance is None:
        return []
    weight = {}
    for name, each in zip(chosen.minded, weights, strict=True):
        weight[name] = weight.get(name, 0.0) + each
    before = dict(zip(chosen.drawn.clearance["pair"], chosen.drawn.clearance["real_proven"],
                      strict=True))
    return [{"target": f"{row['pair']} clearance", "kind": "clearance", "of": row["pair"],
             "way": "", "input": "", "wanted": row["required"], "within": 0.0, "unit": "mm",
             "drawn": before.get(row["pair"], np.nan), "found": row["real_proven"],
             "missed_by": min(row["real_proven"] - row["required"], 0.0), "ok": bool(row["ok"]),
             "changes": row["pair"] not in chosen.still,
             "weight": weight.get(row["pair"], 0.0)}
            for row in chosen.check.clearance.to_dict("records")
            if not row["ok"] or row["pair"] in weight]


def _tradeoffs(chosen):
    import pandas as pd

    names = [each.name for each in chosen.layout.named]
    rates, rows, gaps = iter(chosen.fit.rates), {}, {}
    for aim, moves in zip(chosen.aims, chosen.moving, strict=True):
        rows[aim.name] = next(rates) if moves else np.zeros(len(names))
        if aim.kind == "direction":
            del rows[aim.name]
    values = chosen.fit.found[int(chosen.moving.sum()):]
    for pair, gap, rate in zip(chosen.minded, values, rates, strict=True):
        if gap < gaps.get(pair, np.inf):  # where the pair is nearest
            gaps[pair], rows[f"{pair} clearance"] = gap, rate
    table = pd.DataFrame(rows, index=names).T.rename_axis("target")
    table.attrs["units"] = {each.name: f"of the target per {each.unit}"
                            for each in chosen.layout.named}
    return table


def _verdict(chosen, targets, ok) -> str:
    rows = list(_without_twins(chosen, targets))
    held = _holding(rows)
    if ok:
        return _met_verdict(chosen, held)
    missed = [row for row in rows if not row["ok"]]
    fixed = [row for row in missed if not row["changes"]]
    start = ("Rounded to its steps it misses what the dimensions before rounding met; make the "
             "steps smaller") if chosen.exact_met and not fixed else _conflict(chosen, held)
    end = "".join(f'; none of the dimensions changes "{row["target"]}"' for row in fixed[:2])
    return f"{start}; the nearest: {_nearest(chosen, missed)}{end}."


def _nearest(chosen, missed) -> str:
    parts = [_come(chosen, row) for row in missed[:3]]
    if len(missed) > 3:
        parts.append(f"{len(missed) - 3} more missed")
    return ", ".join(parts)


def _holding(rows) -> list:
    """Targets that hold the result, the one that holds it most first."""
    return sorted((row for row in rows if row["weight"] > HOLDS), key=lambda row: -row["weight"])


def _met_verdict(chosen, held) -> str:
    if not held:
        return "Everything asked for is met, and nothing asks for a change."
    tight = f'"{held[0]["target"]}" is the tight one'
    return f"Everything asked for is met, as computed; {tight}{_with(_limits(chosen))}."


def _conflict(chosen, held) -> str:
    """Which targets can't be met together, or which one not alone."""
    names, limits = " and ".join(f'"{row["target"]}"' for row in held[:4]), _with(_limits(chosen))
    if len(held) > 1:
        return (f"No choice was found within the limits that meets everything: {names} conflict"
                f"{limits}")
    if held:
        return f"No choice was found within the limits that meets {names}{limits}"
    return "Not everything is met"


def _limits(chosen):
    length = chosen.layout.model.length
    return [f'"{each.name}" at its {"least" if limit < 0 else "greatest"} of '
            f"{said(each.least if limit < 0 else each.greatest, each.unit, length)}"
            for each, limit in zip(chosen.layout.named, chosen.fit.limits, strict=True) if limit]


def _with(limits) -> str:
    return f", with {' and '.join(limits)}" if limits else ""


def _come(chosen, row) -> str:
    """How near a target came: what it is, and what was wanted."""
    length = chosen.layout.model.length
    if row["kind"] not in SCALE and not row["input"]:
        return f'"{row["target"]}" is moved by nothing'
    reached, wanted = (said(row[word], row["unit"], length) for word in ("found", "wanted"))
    if row["within"] == 0:
        return f'"{row["target"]}" comes to {reached} (at least {wanted})'
    return (f'"{row["target"]}" comes to {reached} '
            f"(wanted {wanted} within {said(row['within'], row['unit'], length)})")


def _without_twins(chosen, targets):
    """Targets, of each pair of twins the one that comes first."""
    mirror, firsts = chosen.layout.model.mirror, set()
    swaps = {"left": "right", "right": "left"}
    for row in targets.to_dict("records"):
        way = swaps.get(row["way"], row["way"])
        twin = (" | ".join(twin_name(side, mirror) for side in row["of"].split(" | ")),
                twin_name(way, mirror) if row["kind"] == "over-centre" else way, row["kind"])
        if twin in firsts:
            continue
        firsts.add((row["of"], row["way"], row["kind"]))
        yield row
