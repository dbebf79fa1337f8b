"""What the page says in words and tables: stops, spacers, required travels, proof, travel map."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

import numpy as np

from ..clearances import NEAR, Stage, near_pairs, prove, scene_of
from ..errors import LinkageError
from ..gearing import WAYS, direction_findings, directions, required_travels, said_place
from ..gearing.travels import SIGNS
from ..motion import System
from ..results import Answers
from ..stops import judged_travel, meeting, travel_map
from ..stops.mapping import REACH
from ..units import shown_length

if TYPE_CHECKING:
    from ..model.parts import Spacer
    from ..stops.faces import Meeting

CHARTED = 9  # thicknesses of a spacer chart
MARGIN = 3.0  # degrees (mm) past the wanted travel that the travel map is worked out for
WITHIN = 0.05  # mm between the least gap met and the bound, of the quick proof


def limits_of(system: System) -> dict:
    """Wanted travel of every input that drives something: ``{input: [least, greatest]}``."""
    return {name: [float(end) for end in travel] for name, travel in system.travel_box().items()}


def required_rows(results: Answers, *, stopped: bool = True) -> list[dict]:
    """Required travels against found ones, ready for the page.

    Parameters
    ----------
    results : Answers
    stopped : bool
        Up to the drawn stops that govern, as on the sheet; else over the wanted travel, which is
        sooner known.

    Returns
    -------
    list of dict
        surface, input, word, required, within, found, ok, value (signed), end ("least" or
        "greatest": where on the input), at (the position there).
    """
    rows = []
    table = results.travels if stopped else required_travels(results.system)
    for row in [] if table is None else table.to_dict("records"):
        end = "greatest" if row["at"] > 0 else "least"
        moved_by = row["input"] if isinstance(row["input"], str) else ""  # no input moves it
        rows.append({"surface": row["surface"], "input": moved_by, "word": WAYS[row["way"]],
                     "required": row["required"], "within": row["within"],
                     "found": _number(row["found"]), "ok": bool(row["ok"]), "end": end,
                     "at": _number(row["at"]),
                     "value": SIGNS[row["way"]] * row["required"]})
    return rows


def direction_rows(results: Answers, *, stopped: bool = True) -> list[dict]:
    """Which way every surface goes, the wrong ones first and each by itself, ready for the page.

    Parameters
    ----------
    results : Answers
    stopped : bool
        Over what the stops leave, as on the sheet; else over the wanted travel, sooner known.

    Returns
    -------
    list of dict
        text, miss and place (``{input: position}``, empty for the whole travel); all that go the
        right way in one.
    """
    judged = results.directions if stopped else directions(results.system)
    places = {way.text: _place(way.place) for way in judged}
    rows = [{"text": finding.text, "miss": finding.miss, "place": places.get(finding.text, {})}
            for finding in direction_findings(results.system, judged)]
    right = "; ".join(f"{way.end}: {way.surface} {way.goes}" for way in judged
                      if way.outcome == "right")
    return [*rows, *([{"text": f"Directions right: {right}.", "miss": False, "place": {}}]
                     if right else [])]


def known_at_once(results: Answers) -> dict:
    """What can be said before the stops are found: wrong directions, and what is required."""
    wrong = [row for row in direction_rows(results, stopped=False) if row["miss"]]
    known = {"required": [{**row, "found": None}
                          for row in required_rows(results, stopped=False)]}
    return known | {"directions": wrong} if wrong else known


def waiting_row(system: System, name: str) -> dict:
    """A stop of which nothing has been found yet.

    Returns
    -------
    dict
        angle None, and whether it governs is not known: None.
    """
    stop, spacer = system.model.stops[name], system.model.stops[name].spacer
    return {"name": name, "input": stop.input, "side": stop.side, "angle": None, "error": "",
            "on": spacer.on if spacer else None, "thickness": spacer.thickness if spacer else 0.0,
            "stock": list(spacer.stock) if spacer else [], "most": most_thickness(spacer),
            "chart": None, "deflections": {}, "governs": None, "reason": ""}


def stop_row(system: System, name: str, faces: Meeting | None = None) -> dict:
    """A stop as it stands: where it is reached and what the surfaces do there.

    Parameters
    ----------
    system : System
    name : str
    faces : Meeting, optional
        The stop made ready before, when nothing but its spacer has changed.

    Returns
    -------
    dict
        As `waiting_row` gives it; whether it governs stays open.
    """
    row = waiting_row(system, name)
    try:
        faces = faces or meeting(system, name)
        row["angle"] = float(faces.contact(row["thickness"]))
    except LinkageError as error:
        return row | {"error": error.sentence}
    motion = system.sweep(**{row["input"]: row["angle"]})
    return row | {"deflections": {s: _number(motion.deflection(s)) for s in system.model.surfaces}}


def most_thickness(spacer: Spacer | None) -> float:
    """How thick a slider lets a spacer become, mm."""
    if spacer is None:
        return 0.0
    return max(2 * max(spacer.stock, default=0.0), 2 * spacer.thickness, 6.35)


def spacer_chart(system: System, name: str) -> list:
    """Where a stop is reached against the thickness of its spacer: ``[[mm], [angle or None]]``."""
    faces = meeting(system, name)
    thickness = np.linspace(0.0, most_thickness(faces.stop.spacer), CHARTED)
    angles = []
    for t in sorted({*thickness.tolist(), faces.thickness, *faces.stop.spacer.stock}):
        try:
            angles.append((t, float(faces.contact(t))))
        except LinkageError:
            angles.append((t, None))
    return [list(column) for column in zip(*angles, strict=True)]


def governing(results: Answers) -> dict:
    """Whether each stop governs, and why: ``{stop: (bool, reason)}``; empty where one never meets.

    Parameters
    ----------
    results : Answers
    """
    return {} if results.stops is None else {
        row["stop"]: (bool(row["governs"]), row["reason"])
        for row in results.stops.to_dict("records")}


def proof_of(results: Answers) -> dict | None:
    """The proven clearance table over the travel that the stops leave; None without solids."""
    system, gaps = results.system, results.clearance
    if gaps is None:
        return None
    names = list(system.travel_box())
    rows = {row["pair"]: _proof_row(
        system, row | {word: row[f"real_{word}"] for word in ("least", "proven")},
        {n: row[f"real_{n}"] for n in names}) for row in gaps.to_dict("records")}
    return _proof(system, rows, gaps.attrs["far"], gaps.attrs["open"])


def quick_proof(results: Answers) -> dict | None:
    """The same bounds sooner: the least gap met is within 0.05 mm of the least there is.

    Parameters
    ----------
    results : Answers

    Returns
    -------
    dict or None
        As `proof_of` gives it.
    """
    system = results.system
    if not system.model.solids:
        return None
    scene, travel = scene_of(system), judged_travel(system)
    box = {name: (min(low, travel.box[name][0]), max(high, travel.box[name][1]))
           for name, (low, high) in system.travel_box().items()}
    near, far = near_pairs(scene, list(scene.pairs.values()), box, NEAR)
    stage = Stage(scene, near)
    proof = prove(stage, travel, WITHIN, limit=NEAR,
                  after=None if results.after is None else results.after.attrs.get("earlier"))
    rows, unsure = {}, {}
    for k, pair in enumerate(stage.pairs):
        place = dict(zip(box, proof.place[k].tolist(), strict=True))
        proven, free = float(proof.proven[k]), pair.rule in ("stop", "waived")
        if proven >= pair.required + NEAR:
            far[pair.name] = proven
            continue
        if k in proof.open_at:
            unsure[pair.name] = dict(zip(box, proof.open_at[k].tolist(), strict=True))
        rows[pair.name] = _proof_row(system, {
            "least": proof.least[k], "proven": min(proven, float(proof.least[k])),
            "required": pair.required, "rule": pair.rule,
            "ok": free or (proven >= pair.required and k not in proof.open_at)}, place)
    return _proof(system, rows, far, unsure)


def _proof_row(system, row, place) -> dict:
    return {"least": _number(row["least"]), "proven": _number(row["proven"]),
            "required": row["required"], "ok": bool(row["ok"]), "rule": row["rule"],
            "at": said_place(system, place), "place": _place(place)}


def _proof(system, rows, far, unsure) -> dict:
    missed = sum(not row["ok"] for row in rows.values())
    words = f"{missed} of {len(rows)} near pairs missed" if missed else \
        f"all {len(rows)} near pairs keep what is required, as computed"
    if far:
        words += (f"; {len(far)} more stay {shown_length(NEAR, system.model.length)} farther apart "
                 "than that")
    for pair, place in unsure.items():
        words += f"; not proven near {said_place(system, place)}: {pair}"
    return {"rows": rows, "said": f"{words}.", "for": said_limits(system), "old": False,
            "limits": limits_of(system)}


def said_limits(system: System) -> str:
    """What the proof is over, such as "all that the stops leave of pitch 13.0° forward to …"."""
    box = judged_travel(system).box
    words = ", ".join(f"{name} {said_place(system, {name: low})} to "
                      f"{said_place(system, {name: high})}" for name, (low, high) in box.items())
    return f"all that the stops leave of {words}" if system.model.stops else words


def map_of(results: Answers) -> dict | None:
    """The travel map a little past the wanted travel; None with less than two inputs."""
    system = results.system
    if len(system.travel_box()) < 2 or not system.model.solids:
        return None
    travel = travel_map(system, MARGIN)
    touching = [name for name in travel.boundaries if name != REACH]
    wanted = travel_map(system, 0.0, touching)  # its share is that of the sheet
    return {"usable": wanted.usable,
            "boundaries": {pair: np.round(line, 3).tolist()
                           for pair, line in travel.boundaries.items()},
            "free": np.round(travel.free, 3).tolist(), "old": False}


def exact_at(system: System, position: dict, pairs: Iterable[str], gaps: Callable) -> dict:
    """Exact deflections, gearing and gaps at one stick position.

    Parameters
    ----------
    system : System
    position : dict
        ``{input: position}``.
    pairs : iterable of str
        Pairs to measure.
    gaps : callable
        `linkage.gaps`, or what remembers it.

    Returns
    -------
    dict
        position, surfaces ({name: {deflection, gearing}}) and gaps ({pair: mm}).
    """
    motion = system.sweep(**position)
    surfaces = {s: {"deflection": _number(motion.deflection(s)),
                    "gearing": {n: _number(v) for n, v in motion.gearing(s).items()}}
                for s in system.model.surfaces}
    return {"position": position, "surfaces": surfaces,
            "gaps": {pair: _number(gap) for pair, gap in gaps(motion, pairs).items()}}


def _place(place) -> dict:
    return {name: number for name, value in place.items()
            if (number := _number(value)) is not None}


def _number(value):
    value = float(value)
    return value if math.isfinite(value) else None
