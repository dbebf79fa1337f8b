"""Test cards: limit load static test and operation test, to fill in and sign."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import TYPE_CHECKING

from ... import loads
from ..blocks import Heading, Table, Text
from ..columns import in_units, in_words

if TYPE_CHECKING:
    from ..answers import Answers
    from ..blocks import Block

TABLES = ("Limit load test", "Operation test")
BLANK = ("held load", "deflection seen", "after unloading", "by")
SEEN = ("jamming", "friction seen", "deflection seen", "by")


def blocks(results: Answers) -> Iterator[Block]:
    """Blocks on what to load and what to look for."""
    yield Heading("Test cards")
    if results.worst_loads is None:
        yield Text(f"Missing: {results.why_not('worst_loads')}.", "missing")
        return
    yield from _limit_load(results)
    yield from _operation(results)
    yield Text("Tested by ____________________   date __________   witnessed by "
               "____________________   signature ____________________")


def _limit_load(results):
    system = results.system
    card = loads.limit_load_card(system, results.worst_loads)
    if not len(card):
        return
    data = in_units(system, card, force="force weight")
    yield Table("Limit load test", data.assign(**dict.fromkeys(BLANK, "")),
                "14 CFR 23.681, 1-1-14 edition: the surfaces or the stop under held are held fast, "
                "and each pilot's force is pulled at its grip, aft, right and up being the parts "
                "of 1 that point there.  A dead weight only pulls down: where the force does not, "
                "use a pulley.  No part may fail, nor be bent for good.", blank=BLANK,
                words=in_words(system, data), cards=True)


def _operation(results):
    system = results.system
    card = loads.operation_card(system)
    left = [name for name in system.model.surfaces if name not in set(card["surface"])]
    if left:
        yield Text(f"Operation test of {', '.join(left)} left out: it needs a chord of the surface "
                   f"and an input with a grip and a limit pilot force that loads it", "missing")
    if not len(card):
        return
    data = in_units(system, card.rename(columns={"position": "stick"}), moment="moment",
                    length="arm", force="weight", angle="deflection")
    yield Table("Operation test", data.assign(**dict.fromkeys(SEEN, "")),
                "14 CFR 23.683, 1-1-14 edition: work the control through its whole travel with the "
                "surface under the lesser of air load and pilot force, and look for jamming, "
                "excessive friction and excessive deflection.  A weight at the trailing edge has "
                "to change with the position, since its moment follows the cosine; where it has to "
                "lift, turn the surface over or use a pulley.", blank=SEEN,
                words=in_words(system, data) | {"deflection °": partial(_turned, system, data)})
    yield from _expected(results)


def _turned(system, data, row, value):
    """A deflection said for the surface of its row."""
    return in_words(system, data, row["surface"])["deflection °"](row, value)


def _expected(results):
    """What stretch, twist and friction are to be expected."""
    for row in () if results.lost_motion is None else results.lost_motion.to_dict("records"):
        if row["worst"] == row["worst"]:
            yield Text(f"{row['surface']}: with the grip at {row['grip']} held it is expected to "
                       f"give {row['worst']:.2f}° at the limit pilot force, most of it in "
                       f"{row['most_from']}.")
    for name in () if results.friction is None else dict.fromkeys(results.friction["input"]):
        rows = results.friction[results.friction["input"] == name]
        own = results.system.model.unit
        yield Text(f"{name}: friction at the grip is expected up to "
                   f"{rows['most'].sum() / own.newton:.1f} {own.force} without load.")
