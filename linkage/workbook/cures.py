"""The verdict as the page shows it, and what may cure a miss: reliefs, and spacers from stock."""

from __future__ import annotations

from ..errors import LinkageError
from ..gearing import said_place
from ..motion import System
from ..relief import relieve, said_area
from ..results import Answers
from ..results.questions import bare_parts, verdict_of
from ..results.strength import weakest
from .draft import with_spacers
from .page_tables import governing, proof_of, required_rows

WORST = 15  # rows that a page lists of a proof
CHAPTERS = ("findings", "gearing", "clearance", "stops")  # what the page works out


def verdict_row(results: Answers) -> dict:
    """The verdict on directions, motion, travels, clearance and stops, ready for the page.

    Parameters
    ----------
    results : Answers
        Of `CHAPTERS`.

    Returns
    -------
    dict
        sentence, build, missed (a list of kind, what, text, where, decided), unknown, met, covers,
        aside (what is left out on purpose), pairs (how many clearances were judged), ways ([right,
        judged]) and bare (parts without a shape).
    """
    verdict, gaps = verdict_of(results), results.clearance
    judged = [way for way in results.directions or [] if way.outcome != "not judged"]
    free = 0 if gaps is None else int((~gaps["rule"].isin(["stop", "waived"])).sum())
    return {"sentence": verdict.sentence, "build": verdict.build, "old": False,
            "missed": [{"kind": miss.kind, "what": miss.what, "text": miss.how_much,
                        "where": miss.where, "decided": miss.decided} for miss in verdict.missed],
            "unknown": list(verdict.unknown), "met": list(verdict.met),
            "covers": list(verdict.covers), "aside": list(verdict.set_aside),
            "pairs": 0 if gaps is None else free + len(gaps.attrs["far"]),
            "ways": [sum(way.outcome == "right" for way in judged), len(judged)],
            "bare": bare_parts(results.system)}


def relief_rows(reliefs: list, unit: str) -> list[dict]:
    """Reliefs that cure a miss, ready for the page.

    Parameters
    ----------
    reliefs : list of Relief
    unit : {"mm", "in"}

    Returns
    -------
    list of dict
        solid, area (in words), pairs: pair, required and after (proven with it, mm) of each.
    """
    return [{"solid": each.name, "area": said_area(each.cut.removed.area, unit),
             "pairs": [{"pair": row["pair"], "required": float(row["required"]),
                        "after": float(row["after"])} for row in each.pairs]} for each in reliefs]


def cut_away(system: System, name: str) -> System:
    """The system with a plate relieved.

    Parameters
    ----------
    system : System
    name : str
        ``"part/solid"``.

    Raises
    ------
    LinkageError
        Where it can't be relieved, or needs no relief.
    """
    done = relieve(system, name)
    if not done.needed:
        raise LinkageError(f'"{name}": every clearance of it is kept; there is nothing to cut')
    return System(done.model)


def stock_rows(results: Answers) -> list[dict]:
    """What comes of each spacer made of other stock, one at a time: proven, ready for the page.

    Parameters
    ----------
    results : Answers
        Of the system as it stands.

    Returns
    -------
    list of dict
        stop, thickness (mm), and the verdict, proof (its worst rows), required travels and which
        stops govern then.
    """
    rows = []
    for name, stop in results.system.model.stops.items():
        spacer = stop.spacer
        for thickness in sorted({*spacer.stock} - {spacer.thickness}) if spacer else ():
            try:
                system = System(with_spacers(results.system.model, {name: thickness}))
                then = Answers(system, only=CHAPTERS, after=results.clearance)
                rows.append({"stop": name, "thickness": thickness, "verdict": verdict_row(then),
                             "proof": _worst_of(proof_of(then)), "required": required_rows(then),
                             "governs": {stop: row[0] for stop, row in governing(then).items()}})
            except LinkageError:  # it stays sampled
                continue
    return rows


def _worst_of(proof: dict | None) -> dict | None:
    """A proof with the rows alone that a page lists."""
    if proof is None:
        return None
    by_margin = sorted(proof["rows"].items(), key=lambda item: item[1]["proven"]
                       - item[1]["required"] if item[1]["rule"] not in ("stop", "waived")
                       and item[1]["proven"] is not None else float("inf"))
    return proof | {"rows": dict(by_margin[:WORST])}


def load_rows(results: Answers) -> dict:
    """What each part carries at its worst and its least margin: ``{part: sentence}``.

    Parameters
    ----------
    results : Answers
    """
    if results.worst_loads is None or results.rod_margins is None or \
            results.tube_margins is None or results.joint_margins is None:
        return {}
    return {row["part"].split("/")[0]:
            f"least margin {row['margin']:+.2f} ({row['check']}), {row['case']}, "
            f"{said_place(results.system, {n: row[n] for n in results.system.travel_box()})}"
            for row in reversed(weakest(results, most=1000))}
