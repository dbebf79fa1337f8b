"""Lost motion and free play against the limits that the file gives."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from .. import gearing, rigging
from .columns import about, counted
from .verdict import Miss

if TYPE_CHECKING:
    from .answers import Answers


def give_misses(results: Answers) -> Iterator[Miss]:
    """Surfaces that give, or move in their play, more than the file allows."""
    for name, size, limit, word, where in _measured(results):
        wide = results.lost_motion.attrs["error"] if word == "lost motion" else 0.0
        if size > limit:
            yield Miss("lost motion", name, f"{word} {size:.2f}°, {limit:.2f}° allowed", where,
                       short=size - limit)
        elif size + wide > limit:
            yield Miss("lost motion", name, f"{word} {size:.4f}°, {size + wide:.4f}° perhaps "
                       f"between the stick positions looked at, {limit:.4f}° allowed", where,
                       decided=False, short=size - limit)


def gives_judged(results: Answers) -> str:
    """How many limits were judged."""
    return counted(sum(1 for _ in _measured(results)), "limit of lost motion or free play",
                   "limits of lost motion or free play")


def gives_left(results: Answers) -> Iterator[str]:
    """What no limit is given for, and what can't be held against one."""
    surfaces = results.system.model.surfaces
    for key, word in (("lost_motion", "lost motion"), ("free_play", "free play")):
        yield from about((name for name, part in surfaces.items() if getattr(part, key) is None),
                         f"{word} of {{}}: no limit in the file")
    yield from _not_measured(results)
    rigid = dict.fromkeys(word for row in _lost(results)
                          if surfaces[row["surface"]].lost_motion is not None
                          for word in row["rigid"].split(", ") if word)
    yield from about(rigid, "stretch of {}: taken as rigid in the lost motion that is judged")


def _not_measured(results):
    """What has a limit and nothing in the file to be held against it."""
    measured = {(name, word) for name, _, _, word, _ in _measured(results)}
    for name, part in results.system.model.surfaces.items():
        if part.lost_motion is not None and (name, "lost motion") not in measured:
            yield f"lost motion of {name}: the file gives nothing that stretches or twists"
        if part.free_play is not None and (name, "free play") not in measured:
            yield f"free play of {name}: the file gives no joint of it play"


def gives_cover(results: Answers) -> Iterator[str]:
    """What the figures hold for."""
    if any(True for _ in _measured(results)):
        yield (f"Lost motion is the greatest found at {results.lost_motion.attrs['positions']} "
               f"positions along each input, the others at neutral, as drawn, at one pilot's limit "
               f"force, and {results.lost_motion.attrs['error']:.2g}° may be missing between them; "
               "free play adds up every joint at "
               "neutral and at the stops, to first order.")


def _measured(results):
    """Name, degrees, limit, word and place of what has a limit and can be worked out."""
    for name, part in results.system.model.surfaces.items():
        if part.lost_motion is not None:
            yield from _lost_motion_of(results, name, part.lost_motion)
        if part.free_play is not None and results.play is not None and len(results.play):
            yield from _free_play_of(results, name, part.free_play)


def _lost_motion_of(results, name, limit):
    mine = [row for row in _lost(results) if row["surface"] == name
            and math.isfinite(row["worst"])]
    if mine:
        row = max(mine, key=lambda row: row["worst"])
        at = gearing.said_input(results.system, row["input"], row["at"])
        yield name, row["worst"], limit, "lost motion", at


def _free_play_of(results, name, limit):
    bands = rigging.play_bands(results.play)
    bands = bands[bands["surface"] == name]
    if len(bands):
        row = bands.iloc[int(np.argmax(bands["worst"]))]
        yield name, float(row["worst"]), limit, "free play", row["at"]


def _lost(results):
    return [] if results.lost_motion is None else results.lost_motion.to_dict("records")
