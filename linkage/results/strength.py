"""What is missed, judged and left out of strength: margins of rods, tubes and joints."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from .. import loads
from ..model import STATIONS
from ..stops import judged_box
from ..units import LENGTHS, shown_length
from .blocks import DIGITS
from .columns import counted
from .movements import travel_words
from .verdict import Miss

if TYPE_CHECKING:
    from .answers import Answers

BETWEEN_CUTS = 0.02  # share by which a plate may be stressed more: random plates gave 0.007 at most
MARGINS = {"column_margin": "as a column", "tube_margin": "as a tube", "joint_margin": "end joint",
           "shank_margin": "of the shanks of its ends",
           "thread_margin": "of the threads engaged"}


def load_misses(results: Answers) -> Iterator[Miss]:
    """Margins below 0, and those that the grid of stick positions does not decide."""
    error = results.worst_loads.attrs["error"]
    for row in results.rod_margins.to_dict("records"):
        wide = max(error.get((row["rod"], what), 0.0) for what in ("tension", "compression"))
        for column, words in MARGINS.items():
            yield from _margin_miss(row["rod"], f"margin {words}", row[column], wide)
    for row in results.tube_margins.to_dict("records"):
        wide = max(error.get((row["body"], what), 0.0) for what in ("tube", "stress", "buckling"))
        word = section_word(results, row["body"]).removeprefix("torque ")
        wide += BETWEEN_CUTS if word == "plate" else 0.0
        yield from _margin_miss(row["body"], f"margin of its {word}{_tube_words(results, row)}",
                                row["margin"], wide)
    yield from _joint_misses(results, error)
    yield from _fixing_misses(results, error)


def weakest(results: Answers, most: int = 5) -> list[dict]:
    """The parts that have least to spare.

    Returns
    -------
    list of dict
        ``part``, ``check``, ``margin``, ``case`` and one entry per input, the least margin first;
        of a part only its least.
    """
    least = {}
    rows = [row for row in _every_margin(results) if math.isfinite(row[2]) and row[3] is not None]
    for part, check, margin, at in sorted(rows, key=lambda row: row[2]):
        if part not in least:
            places = {name: at[name] for name in results.system.travel_box()}
            least[part] = {"part": part, "check": check, "margin": margin, "case": at["case"],
                           **places}
    return list(least.values())[:most]


def _every_margin(results) -> Iterator[tuple]:
    """Part, check, margin and the row of the load it is at, None where there is none."""
    worst = {(row["part"], row["what"]): row for row in results.worst_loads.to_dict("records")}
    yield from _rod_margins(results, worst)
    for row in results.tube_margins.to_dict("records"):
        yield row["body"], section_word(results, row["body"]), row["margin"], row
    for row in results.joint_margins.to_dict("records"):
        yield (row["at"], f"{row['check']} (joint {row['joint']})", row["margin"],
               _borne(results, worst, row["at"]))
    for row in results.fixing_margins.to_dict("records"):
        yield (row["plate"], f"{row['check']} ({row['fixing']})", row["margin"],
               row if row["case"] else None)


def _rod_margins(results, worst) -> Iterator[tuple]:
    """Of each rod: a column fails in compression, all else under the greater load."""
    for row in results.rod_margins.to_dict("records"):
        pull, push = (worst.get((row["rod"], what)) for what in ("tension", "compression"))
        greater = max((k for k in (pull, push) if k), key=lambda k: k["force"], default=None)
        for column, words in MARGINS.items():
            yield row["rod"], words, row[column], push if column == "column_margin" else greater


def section_word(results: Answers, name: str) -> str:
    """What a row of the tube margins is of: torque tube, shaft or plate."""
    if "/" not in name:
        return "torque tube"
    return "plate" if name in loads.plate_cuts(results.system) else "shaft"


def borne(what: str) -> bool:
    """Whether a kind of load is what a joint holds: of a rod's end, a pivot or a bearing."""
    return what in ("tension", "compression", "pivot") or what.startswith("bearing ")


def _borne(results, worst, place):
    """The greatest load of what a joint holds."""
    held = {name for name, rod in results.system.model.rods.items() if place in rod.ends}
    if place.endswith("/pivot"):
        held = {place.removesuffix("/pivot")}
    rows = [row for (part, what), row in worst.items() if part in held and borne(what)]
    return max(rows, key=lambda row: row["force"], default=None)


def _joint_misses(results, error):
    """Each bolt, bearing and plate, the load of what it holds as wide as that may be."""
    rods = results.system.model.rods
    for row in results.joint_margins.to_dict("records"):
        held = {name for name, rod in rods.items() if row["at"] in rod.ends}
        held.add(row["at"].split("/")[0])
        wide = max((share for (part, what), share in error.items() if part in held and
                    borne(what)), default=0.0)
        yield from _margin_miss(row["at"], f"margin of {row['check']}, joint {row['joint']}, "
                                f"x {row['factor']:.4g} ({row['reason']}),", row["margin"], wide)


def _fixing_misses(results, error):
    """Each weld and set of bolts, as wide as the load of its plate may be."""
    for row in results.fixing_margins.to_dict("records"):
        wide = BETWEEN_CUTS + max((share for (part, _), share in error.items()
                                   if part in (row["plate"], row["plate"].split("/")[0])),
                                  default=0.0)
        yield from _margin_miss(row["plate"], f"margin of {row['check']}, {row['fixing']}, "
                                f"x {row['factor']:.4g} ({row['reason']}), under {row['case']},",
                                row["margin"], wide)


def _tube_words(results, row) -> str:
    """Where a tube is worst, at which stress, and under which load."""
    own = LENGTHS[results.system.model.length]
    at = "" if math.isnan(row["x"]) else " at " + ", ".join(
        f"{word} {row[k] / own.mm:.{own.digits}f}" for word, k in zip(STATIONS, "xyz", strict=True))
    return (f"{at}, {row['stress'] / own.megapascal:.{DIGITS[own.stress]}f} {own.stress} under "
            f"{row['case']},")


def _margin_miss(part, words, margin, wide):
    """A margin below 0, or one that the grid of stick positions does not decide.

    With a load that may be greater by the share `wide` it is (1 + margin) / (1 + wide) - 1.
    """
    if margin < 0:
        yield Miss("load", part, f"{words} {margin:+.2f}, 0 required", short=-margin)
    elif (1 + margin) / (1 + wide) - 1 < 0:
        yield Miss("load", part, f"{words} {margin:+.5f}, 0 required, and the load may be "
                   f"{wide:.3%} greater between the stick positions and cuts looked at",
                   decided=False,
                   short=-margin)


def load_covers(results: Answers) -> Iterator[str]:
    """How the worst loads were searched, and what the search may have missed."""
    attrs, box = results.worst_loads.attrs, travel_words(results.system, judged_box(results.system))
    most = max(attrs["error"].values(), default=0.0)
    step = f"{attrs['step']:.2g}°"
    if any(control.slides for control in results.system.inputs.values()):
        step += f" or {shown_length(attrs['step'], results.system.model.length)}"
    yield (f"Loads are the greatest found as drawn for the load cases listed, on a grid of "
           f"{attrs['grid']} stick positions within {box} and, wherever one may be greater between "
           f"them, down to steps of {step}: searched, not proven; by the "
           f"curves' second differences up to {most:.3%} may be missing, and a margin within that "
           f"of 0 counts as not decided; a peak narrower than the grid's steps would not be seen.")
    if results.system.model.stops:
        others = len(results.system.travel_box()) - 1
        yield (f"With a stop in contact they are the greatest at "
               f"{loads.AT_STOPS.get(others, 3) if others else 1} positions of each other input, "
               f"each at the first contact from there on, proven"
               + "".join(f", but at {count} of stop {name}, whose faces may graze sooner"
                         for name, count in attrs["grazing"].items()) + ".")


def margins_judged(results: Answers) -> str:
    """How many margins there are."""
    margins = [*results.rod_margins[list(MARGINS)].to_numpy(dtype=float).ravel(),
               *results.tube_margins["margin"], *results.joint_margins["margin"],
               *results.fixing_margins["margin"]]
    return counted(sum(map(math.isfinite, margins)), "margin", "margins")


def cases_switched(results: Answers) -> Iterator[str]:
    """Load cases that the file leaves out or changes, each with its reason."""
    for name, words in loads.left_out(results.system).items():
        yield f"load case {name}: {words}"
