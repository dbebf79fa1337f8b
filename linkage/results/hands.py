"""What is judged of grips and hands, and what is not."""

from __future__ import annotations

from collections.abc import Iterator

from .. import loads
from ..model import SENSES
from ..units import shown_length
from .answers import Answers
from .columns import counted, listed, place_words
from .movements import in_builds
from .verdict import Miss


def grip_misses(results: Answers) -> Iterator[Miss]:
    """Grips whose bore is less than their shaft."""
    unit = results.system.model.length
    for row in results.grips.to_dict("records"):
        if not row["ok"]:
            yield Miss("grip", row["body"], f"bore {shown_length(row['bore'], unit)}, shaft "
                       f"{shown_length(row['shaft'], unit)}", short=row["shaft"] - row["bore"])


def grips_judged(results: Answers) -> str:
    """Grips whose bore and shaft are known."""
    known = results.grips[["bore", "shaft"]].notna().all(axis=1)
    return counted(int(known.sum()), "grip", "grips")


def grips_left(results: Answers) -> Iterator[str]:
    """Grips whose bore or shaft isn't."""
    known = results.grips[["bore", "shaft"]].notna().all(axis=1)
    names = list(results.grips["body"][~known])
    if names:
        yield f"grip of {', '.join(names)}: no bore, or no shaft that comes to where it begins"


def hand_misses(results: Answers) -> Iterator[Miss]:
    """Hands that come too near something, or may."""
    unit = results.system.model.length
    for row in results.hands.to_dict("records"):
        if not row["ok"]:
            yield Miss("hand", row["pair"], f"{shown_length(row['least'], unit)} met, "
                       f"{shown_length(row['required'], unit)} required",
                       place_words(results.system, row), row["least"] < row["required"],
                       row["required"] - row["least"])


def hands_cover(results: Answers) -> Iterator[str]:
    """What the room of hands holds for."""
    yield f"Room of hands is proven {in_builds(results)}, over the travel that the stops leave."


def hands_left(results: Answers) -> Iterator[str]:
    """Where a pilot's hand goes and the file gives no room for it."""
    bodies = results.system.model.bodies
    pushed = (place.split("/")[0] for name in results.system.travel_box()
              if name in SENSES for place in loads.grips(results.system, name))
    gripped = (name for name, body in bodies.items() if body.grip is not None)
    bare = [name for name in dict.fromkeys((*pushed, *gripped))
            if name in bodies and not _has_room(bodies[name])]
    if bare:
        yield f"room of the hand at {listed(bare)}: no hand in the file; add grip with hand"


def _has_room(body) -> bool:
    return body.grip is not None and body.grip.hand is not None


def hands_judged(results: Answers) -> str:
    """Hands whose room is proven or missed."""
    count = sum(1 for body in results.system.model.bodies.values()
                if body.grip and body.grip.hand is not None)
    return counted(count, "hand", "hands")
