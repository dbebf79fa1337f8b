"""Rods to make, what a turn does, rod ends and rig pins."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from ...units import shown_length
from ..blocks import Heading, Table, Text, as_read
from ..columns import in_units, in_words
from .stops import stops_table

if TYPE_CHECKING:
    from ...motion.system import System
    from ...rigging.adjustment import Adjustment
    from ..answers import Answers
    from ..blocks import Block

TABLES = ("Rods to make", "Rod ends", "What a turn does", "Rod-end misalignment", "Rig pins",
          "Adjustment", "Surfaces at neutral")
SIZES = {"length": "length tube longer shorter thread_pitch engaged needed most per_turn x y z "
                   "apart within change left",
         "angle": "turn half_turn neutral greatest allowed", "turns": "turns_longer turns_shorter"}
MADE = ["rod", "length", "tube", "longer", "turns_longer", "shorter", "turns_shorter"]
ANSWERS = {"rods": "Rods to make", "rod_ends": "Rod ends", "turns": "What a turn does",
           "misalignment": "Rod-end misalignment", "rig_pins": "Rig pins"}


def blocks(results: Answers) -> Iterator[Block]:
    """Blocks for whoever makes, turns and pins the rods."""
    yield Heading("Rods, rod ends and rig pins")
    for name, title in ANSWERS.items():
        if getattr(results, name) is None:
            yield Text(f"{title} missing: {results.why_not(name)}.", "missing")
    if results.rods is not None:
        yield from _rods(results)
    if results.turns is not None:
        yield from _turns(results)
    if results.misalignment is not None and len(results.misalignment):
        yield from _tilts(results)
    if results.rig_pins is not None:
        data = in_units(results.system, results.rig_pins, **SIZES)
        yield Table("Rig pins", data, "Where the holes are where the pin goes in, how far they are "
                    "apart across it, and the turn that is left.",
                    words=in_words(results.system, data))


def _rods(results):
    rods_to_make = results.rods
    yield Table("Rods to make", in_units(results.system, rods_to_make[MADE], **SIZES),
                "Length centre to centre; tube: between the ends that the rod ends screw into; "
                "longer and shorter: what is left in whole half turns.")
    for words, rods in _alike(rods_to_make, "missing"):
        yield Text(f"Not in the file: {words}: {', '.join(rods)}.", "missing")
    for words, rods in _alike(rods_to_make, "hardware"):
        first, second = words.split("; ")
        each = f"each end {first}" if first == second else f"first end {first}; second end {second}"
        yield Text(f"Hardware of {', '.join(rods)}: {each}.")
    ends = results.rod_ends
    if ends is not None and len(ends):
        yield Table("Rod ends", in_units(results.system, ends, **SIZES),
                    "As fitted: thread, engagement, and what is left to turn.")


def _alike(table, column):
    """Rods that share the words of a column, the words first."""
    together = {}
    for row in table.to_dict("records"):
        if row[column]:
            together.setdefault(row[column], []).append(row["rod"])
    return together.items()


def _turns(results):
    turns = results.turns
    dead = list(dict.fromkeys(turns["rod"][turns["per_turn"] == 0.0]))
    live = in_units(results.system, turns[turns["per_turn"] != 0.0], **SIZES)
    if len(live):
        yield Table("What a turn does", live, "To each surface at neutral, of a rod end turned out "
                    "or of a tube turned between both; the exact derivative times the pitch.",
                    words=in_words(results.system, live))
    elif turns.empty:
        yield Text("No rod of the file has a thread, so what a turn does is not known.", "missing")
    if dead:
        yield Text("Turning the tube alone changes nothing, since both threads are of one hand and "
                   f"pitch: {', '.join(dead)}.")


def _tilts(results):
    tilts = results.misalignment
    data = in_units(results.system, tilts, **SIZES)
    build = "; neutral and greatest as drawn, ok for every build" if results.built else ""
    yield Table("Rod-end misalignment", data, "Of the rod against the ball's middle plane over the "
                f"travel that the stops leave{build}; greatest is rounded up; a fork's cheeks are "
                "checked as solids.", words=in_words(results.system, data),
                rounding=as_read("neutral °") | as_read("greatest °", toward=1)
                | as_read("allowed °", toward=-1))
    blind = [row["end"] for row in tilts.to_dict("records") if not row["bolt"]]
    if blind:
        yield Text(f"No bolt direction in the file: {', '.join(blind)}.", "missing")
    if tilts["allowed"].isna().any():
        yield Text("Allowed: give misalignment, or ball, race and sphere, of the rod end.",
                   "missing")


def adjustment_blocks(system: System, adjustment: Adjustment, settled: bool) -> Iterator[Block]:
    """Blocks on what to turn so that surfaces stand at neutral.

    Parameters
    ----------
    system : System
    adjustment : rigging.Adjustment
    settled : bool
        Whether readings settle what was built, where there are any.
    """
    yield Heading("Adjustment to neutral")
    if not settled:
        yield Text("Mind: the readings don't settle what was built (see above), so these turns "
                   "hold only if the least change that explains them is it.", "note")
    yield from _ends_to_turn(system, adjustment.turns)
    yield _at_neutral(system, adjustment)
    if adjustment.pins:
        yield _pins_turned(system, adjustment)
    if not adjustment.ok:
        yield Text("the rod ends that may be turned do not bring every surface and every rig pin "
                   "within what was asked; these turns come nearest, so find out why first", "miss")
    if not adjustment.least:
        yield Text("Perhaps fewer turns would do: the search was cut short.")
    for why in dict.fromkeys(adjustment.not_turned.values()):
        ends = [end for end, reason in adjustment.not_turned.items() if reason == why]
        yield Text(f"Not turned, {why}: {'; '.join(ends)}.")


def _pins_turned(system, adjustment):
    import pandas as pd

    data = pd.DataFrame([{"pin": name, "before": before, "after": after, "within": within,
                          "ok": after <= within}
                         for name, (before, after, within) in adjustment.pins.items()])
    return Table("Rig pins before and after", in_units(system, data, length="before after within"),
                 "How far the two holes are apart across the pin.")


def turned_blocks(results: Answers) -> Iterator[Block]:
    """Blocks on the aircraft once it is turned: travels and stops, worked out again.

    Parameters
    ----------
    results : Answers
        Of the system with the rods as long as the turns make them.
    """
    system = results.system
    if results.stops is not None:
        data = stops_table(system, results.stops)
        yield Table("Stops once turned", data, "With the rods as long as the turns make them.",
                    words=in_words(system, data))
    elif system.model.stops:
        yield Text(f"Stops once turned missing: {results.why_not('stops')}.", "missing")
    if results.travels is not None and len(results.travels):
        kept = results.travels[["surface", "input", "way", "required", "within", "found",
                                "missed_by", "ok"]]
        yield Table("Travels once turned", in_units(
            system, kept, angle="required within found missed_by"),
            "Worked out again with those rods, up to the stops that govern.")
    elif results.travels is None:
        yield Text(f"Travels once turned missing: {results.why_not('travels')}.", "missing")


def _ends_to_turn(system, turns):
    if turns.empty:
        yield Text("Nothing to turn.")
        return
    unit = system.model.length
    for row in turns.to_dict("records"):
        count, out = abs(row["half_turns"]), row["change"] > 0
        yield Text(f"{row['rod']}: turn the end at {row['end']} {count} half "
                   f"turn{'s' if count > 1 else ''} {'out' if out else 'in'} "
                   f"({shown_length(abs(row['change']), unit)} {'longer' if out else 'shorter'}; "
                   f"{shown_length(row['left'], unit)} of thread above the least stays)")
    yield Table("Adjustment", in_units(system, turns, **SIZES),
                "Of all turns that bring every surface and rig pin within its tolerance: rods "
                "that readings point at first, then fewest rod ends, then fewest half turns; "
                "solved again exactly.")


def _at_neutral(system, adjustment) -> Table:
    import pandas as pd

    stands = pd.DataFrame([{"surface": name, "stands at °": adjustment.before[name],
                            "afterwards °": adjustment.after[name]}
                           for name in system.model.surfaces])
    words = in_words(system, stands.rename(columns={"stands at °": "half turn",
                                                    "afterwards °": "half turn"}))
    shown = words.get("half turn")
    return Table("Surfaces at neutral", stands,
                 words=dict.fromkeys(("stands at °", "afterwards °"), shown) if shown else {})
