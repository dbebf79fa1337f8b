"""Servos: dead centre of their arms, overpowering them, and travel they take away."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from .. import gearing, loads
from ..model import SENSES
from ..units import LENGTHS
from .columns import about, counted
from .verdict import Miss

if TYPE_CHECKING:
    from .answers import Answers

LEFT_OUT = (  # what of a servo is not judged, and, by its row of the table and the file, of which
    ("how near its arm may come to dead centre: no over_centre in the file",
     lambda row, servo: servo.over_centre is None),
    ("how near its arm comes to dead centre: no rod that reaches is linked to it",
     lambda row, servo: servo.over_centre is not None and math.isnan(row["over_centre"])),
    ("force that overpowers it: no clutch and no shear_pin in the file",
     lambda row, servo: math.isnan(row["gives_way"])),
    ("force that overpowers it: no grip",
     lambda row, servo: not math.isnan(row["gives_way"]) and math.isnan(row["overpower"])),
    ("what its clutch or pin still holds once it gave way, a run that is cut between it and the "
     "stick, and how it is fixed: not worked out", lambda row, servo: True))


def servo_misses(results: Answers) -> Iterator[Miss]:
    """Servos that come too near dead centre, are too strong, or end the travel."""
    system = results.system
    for row in results.servos.to_dict("records"):
        servo = system.model.servos[row["servo"]]
        yield from _over_centre(system, row, servo)
        limit = _limit(system, row, servo)
        if limit is not None and math.isfinite(row["overpower"]):
            yield from _too_strong(system, row, *limit)
        for end, side in enumerate(("lost_least", "lost_greatest")):
            if row[side] > 0:
                words = SENSES.get(row["input"], ("-", "+"))[end]
                yield Miss("servo", row["servo"], f"ends {row['input']} {words} {row[side]:.1f} "
                           f"before its travel does: its arm or its link goes no further",
                           short=row[side])


def _over_centre(system, row, servo):
    least, error = row["over_centre"], row["over_error"]
    if servo.over_centre is None or not math.isfinite(least):
        return
    if least - error < servo.over_centre:
        yield Miss("servo", row["servo"], f"its arm comes within {least:.2f}° of dead centre"
                   + ("" if least < servo.over_centre else f", {least - error:.2f}° perhaps "
                      f"between the stick positions looked at")
                   + f", {servo.over_centre:g}° required", gearing.said_place(
                       system, row["over_at"]), least < servo.over_centre,
                   servo.over_centre - least)


def _limit(system, row, servo):
    """The force that may be needed at the grip, N, and what says so."""
    if servo.overpower is not None:
        return servo.overpower, "allowed"
    pilot = loads.pilot_force(system, row["input"]) if row["input"] else None
    return None if pilot is None else (pilot.most, "limit pilot force")


def _too_strong(system, row, limit, what):
    own, most = LENGTHS[system.model.length], row["overpower"] + row["force_error"]
    if most > limit:
        sure = row["overpower"] > limit
        yield Miss("servo", row["servo"], f"overpowering it takes "
                   f"{row['overpower'] / own.newton:.1f} {own.force} at {row['grip']}"
                   + ("" if sure else f", {most / own.newton:.1f} perhaps between the stick "
                      f"positions looked at") + f", {limit / own.newton:.1f} {own.force} {what}",
                   gearing.said_place(system, row["force_at"]), sure,
                   row["overpower"] / limit - 1)


def servos_judged(results: Answers) -> str:
    """How many limits of servos were judged."""
    count = 0
    for row in results.servos.to_dict("records"):
        servo = results.system.model.servos[row["servo"]]
        count += servo.over_centre is not None and math.isfinite(row["over_centre"])
        count += math.isfinite(row["overpower"]) and bool(_limit(results.system, row, servo))
        count += math.isfinite(row["lost_least"])
    return counted(count, "limit of a servo", "limits of servos")


def servos_left(results: Answers) -> Iterator[str]:
    """What the file says too little of."""
    rows, servos = results.servos.to_dict("records"), results.system.model.servos
    yield from about((row["servo"] for row in rows if not row["input"]),
                     "servo {}: no input moves its arm, so nothing of it is judged")
    for words, applies in LEFT_OUT:
        yield from about((row["servo"] for row in rows if row["input"]
                          and applies(row, servos[row["servo"]])), f"servo {{}}, {words}")


def servos_cover(results: Answers) -> Iterator[str]:
    """How servos were looked at."""
    rows = results.servos.to_dict("records")
    if rows:
        yield (f"Servos are looked at as drawn at {rows[0]['positions']} stick positions within "
               f"the real travel: searched, not proven; by the curves' second differences the "
               f"margin from dead centre may be up to {max(row['over_error'] for row in rows):.2g}°"
               f" less between them.  Disconnected a servo loads nothing: the other cases are "
               f"without it.")
