"""What a stick that is let go, its friction and its trim are held against, and what is left out."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from .. import gearing, loads
from ..motion import System
from ..stops import judged_box
from ..units import LENGTHS
from .columns import about, counted, listed
from .verdict import Miss

if TYPE_CHECKING:
    from .answers import Answers


def feel_misses(results: Answers) -> Iterator[Miss]:
    """Sticks that do not come back, rub too much, or that trim does not hold."""
    for name, part in results.system.model.inputs.items():
        if part.feel is None:
            continue
        if name not in results.feel:
            yield Miss("hands off", name, "no grip that moves with it, so nothing is felt there",
                       decided=False)
            continue
        if part.feel.returns is not None:
            yield from _return(results, name, part.feel.returns)
        if part.feel.friction is not None:
            yield from _friction(results, name, part.feel.friction)
        if part.feel.hands_off is not None:
            yield from _trimmed(results, name, part.feel.hands_off)


def _force(system: System, newtons: float, digits: int = 2) -> str:
    own = LENGTHS[system.model.length]
    return f"{newtons / own.newton:.{digits}f} {own.force}"


def _range(system, name, ends) -> str:
    return " to ".join(gearing.said_input(system, name, end) for end in ends)


def _shown(system, name, value) -> str:
    """A size along an input with its unit and no way."""
    unit, size = gearing.position_unit(system, system.inputs[name])
    return f"{value / size:g}{'' if unit == '°' else ' '}{unit}"


def _return(results, name, within):
    system = results.system
    margin, at, wide = loads.return_margin(results.feel[name], within)
    words = f"comes back to within {_shown(system, name, within)} of neutral when let go"
    where = gearing.said_input(system, name, at) if math.isfinite(at) else ""
    if math.isnan(margin):
        yield Miss("hands off", name, f"whether it {words} is open: out of reach there, or "
                   "friction that grows with the load that it makes itself", where, decided=False)
    elif margin < 0:
        yield Miss("hands off", name, f"does not {words.replace('comes', 'come')}: nothing drives "
                   f"it there, friction holds it, or it goes on, by {_force(system, -margin)} at "
                   f"the grip", where, short=-margin)
    elif margin - wide < 0:
        yield Miss("hands off", name, f"{words} with {_force(system, margin, 4)} to spare, and "
                   f"{_force(system, wide, 4)} may be missing between the positions looked at",
                   where, decided=False, short=-margin)


def _friction(results, name, limit):
    system = results.system
    most, at, wide = loads.most_friction(results.feel[name])
    words = (f"friction {_force(system, most, 4 if most <= limit else 2)} at the grip, "
             f"{_force(system, limit)} allowed")
    where = gearing.said_input(system, name, at)
    if math.isnan(most):
        yield Miss("hands off", name, f"whether friction at the grip keeps to "
                   f"{_force(system, limit)} is open: out of reach there, or friction that grows "
                   f"with the load that it makes itself", where, decided=False)
    elif most <= limit < most + wide:
        yield Miss("hands off", name, f"{words}, {_force(system, wide, 4)} more perhaps between "
                   f"the positions looked at", where, decided=False, short=most - limit)
    elif most > limit:
        yield Miss("hands off", name, words, where, short=most - limit)


def _trimmed(results, name, ends):
    system = results.system
    (margin, at, wide), trim = _best_trim(system, name, ends)
    words = f"held hands off from {_range(system, name, ends)} by {trim}"
    where = gearing.said_input(system, name, at)
    falls = loads.falling(system, trim, *ends)
    box = judged_box(system)[name]
    if ends[0] < box[0] - 1e-9 or ends[1] > box[1] + 1e-9:
        yield Miss("hands off", name, f"not {words}: the stick goes no farther than "
                   f"{_range(system, name, box)}")
    yield from _creeping(results, trim)
    if math.isnan(margin) or 0 <= margin < wide:
        yield Miss("hands off", name, f"whether it is {words} is not shown", where, decided=False)
    elif margin < 0:
        yield Miss("hands off", name, f"not {words}: {_force(system, -margin)} is left in the hand",
                   where, short=-margin)
    elif falls:
        yield Miss("hands off", name, f"not {words}: with trim at "
                   f"{gearing.said_input(system, trim, falls[0])} it runs away from where the "
                   f"forces balance")


def _best_trim(system, name, ends):
    """What `loads.trimmed_margin` gives of the input that trims another best, and that input."""
    margins = [(loads.trimmed_margin(system, trim, *ends), trim)
               for trim, of in loads.trimmers(system).items() if of == name]
    return max(margins, key=lambda one: (not math.isnan(one[0][0]), one[0][0]))


def _creeping(results, trim):
    """A trim that moves on its own: what it trims then holds no longer."""
    creeps = [part for part in (results.releases or {}).get(trim, ()) if part.does != 0]
    if creeps:
        yield Miss("hands off", trim, "does not stay where it is put when let go, all else at "
                   "neutral", gearing.said_input(
                       results.system, trim, (creeps[0].least + creeps[0].greatest) / 2))


def feels_judged(results: Answers) -> str:
    """How many limits were judged."""
    feels = [part.feel for part in results.system.model.inputs.values() if part.feel]
    count = sum(value is not None for feel in feels
                for value in (feel.returns, feel.friction, feel.hands_off))
    return counted(count, "limit of what is felt", "limits of what is felt")


def feels_left(results: Answers) -> Iterator[str]:
    """What no limit is given for, and what of springs and friction can't be worked out."""
    model = results.system.model
    yield from about((name for name in results.feel if model.inputs[name].feel is None),
                     "return, friction and trim of {} when let go: no limit in the file")
    if model.springs:
        names = listed(f"spring {name}" for name in model.springs)
        yield f"strength, wear and set of {names} and of what they hang on: not worked out"
    yield from about([*(_balls_without_radius(model) if model.friction.rod_end else ()),
                      *(_pivots_without_bolt(model) if model.friction.pivot else ())],
                     "friction that grows with load at {}: the file gives no diameter of a ball or "
                     "bolt there")
    yield from about((name for name, part in model.bodies.items()
                      if part.slides and model.bolt_arm(f"{name}/pivot")),
                     "friction of {} from what tilts it in its guide: only the force across is in "
                     "it")


def _balls_without_radius(model):
    return [end for rod, part in model.rods.items() for k, end in enumerate(part.ends)
            if not model.ball_arm(rod, k) and not model.bolt_arm(end)]


def _pivots_without_bolt(model):
    bolted = {place for joint in model.joints.values() if joint.bolt for place in joint.places}
    return [name for name in model.bodies if f"{name}/pivot" not in bolted]


def feels_cover(results: Answers) -> Iterator[str]:
    """What the figures hold for."""
    if any(part.feel for part in results.system.model.inputs.values()):
        count = max((len(felt.x) for felt in results.feel.values()), default=0)
        yield (f"What is felt is worked out as drawn, moved slowly, at {count} positions along "
               f"each input with the others at neutral (trim at positions of its own): searched, "
               f"not proven; a limit within what the curves' second differences may miss counts "
               f"as not decided.  Weight, inertia, and whether it swings past where it stays are "
               f"left out; trim is taken to stay where it is put.")
