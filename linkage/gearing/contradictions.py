"""What contradicts itself about directions: senses, names and sides, twins, and the feel."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from ..motion import System
from .cross_checks import twins
from .kinds import drawn_side, family_of, is_named, kind_of
from .senses import drawn_pedals, side_word, told_pedals, velocity
from .words import Finding, said_end, said_place

if TYPE_CHECKING:
    from .words import Direction

EVEN = 2.0  # degrees that flaps of two sides may differ by; common practice, no source
SAMPLES = 9


def contradictions(system: System, judged: list[Direction]) -> Iterator[Finding]:
    """Findings beside the directions themselves.

    Parameters
    ----------
    system : System
    judged : list of Direction

    Yields
    ------
    Finding
    """
    yield from _senses(system)
    yield from _sides(system)
    yield from _unlike(system, judged)
    yield from _uneven(system)
    yield from _half_moved(system, judged)
    yield from _overbalanced(system)


def _senses(system):
    """Inputs whose positive end is not the one that everything here is said for."""
    for name, control in system.inputs.items():
        if control.body is None:
            continue
        line = {"pitch": 0, "roll": 1}.get(name)
        if line is not None and (control.grip or system.model.bodies[control.body].slides):
            way = velocity(system.model, name, control.grip)
            if -way[line] > 0.5 * np.linalg.norm(way):
                yield Finding(name, f'input "{name}": its positive end moves the hand '
                              f"{('forward', 'left')[line]}, and everything here is said for "
                              f'{("aft", "right")[line]}: give the other positive = "along axis" '
                              f'or "against axis"', miss=True,
                          kind="direction")
        drawn, stated = drawn_pedals(system.model, name), told_pedals(system.model, name)
        if drawn * stated < 0:
            yield Finding(name, f'input "{name}": ways says that its greatest end is '
                          f'"{system.model.inputs[name].ways[1]}", and as drawn it moves the other '
                          f"pedal forward: swap the two ways, or turn its axis", miss=True,
                          kind="direction")
        if not is_named(system, name):
            yield Finding(name, f'input "{name}": which way is plus is not said, so its positions '
                          f'are printed with a bare sign: give it ways = ["lever up", "lever '
                          f'down"], its least end first', kind="direction")


def _sides(system):
    """Surfaces named for one side and drawn on the other."""
    for surface, part in system.model.surfaces.items():
        drawn, words = drawn_side(system, surface), {side_word(surface), side_word(part.body)}
        words.discard(0)
        if drawn and words and words != {drawn}:
            where = "right" if drawn > 0 else "left"
            yield Finding(surface, f'surface "{surface}" (body "{part.body}") has its hinge on the '
                          f"{where}, so its name and its points do not agree: check the sign of "
                          f"BL, or which body it is", miss=True,
                          kind="direction")
        edge = system.model.bodies[part.body].points.get("trailing edge")
        if edge is not None and edge.position[0] < system.model.bodies[part.body].pivot[0]:
            yield Finding(surface, f'surface "{surface}": its trailing edge lies ahead of its '
                          f"hinge, and up and down are said for one that lies aft", miss=True,
                          kind="direction")


def _unlike(system, judged):
    """Flaps of two sides that go different ways."""
    moved = {(each.surface, each.input): each for each in judged if _by_a_lever(system, each)}
    for one, other in twins(system, system.model.surfaces):
        if kind_of(system, one) not in ("flap", "flaperon", "spoiler"):
            continue
        for name in [name for surface, name in moved if surface == one]:
            each, twin = moved[one, name], moved.get((other, name))
            if twin is not None and each.goes != twin.goes:
                yield Finding(one, f'{each.end}: "{one}" goes {each.goes} and "{other}" '
                              f"{twin.goes}: both sides have to go alike", miss=True,
                          kind="direction")


def _uneven(system):
    """Flaps of two sides that do not go as far."""
    for one, other in twins(system, system.model.surfaces):
        if kind_of(system, one) != "flap" or kind_of(system, other) != "flap":
            continue
        for name, control in system.inputs.items():
            if control.body is None:
                continue
            motion = system.sweep(**{name: np.linspace(*control.travel, SAMPLES)})
            turned = [motion.deflection(surface) for surface in (one, other)]
            apart = np.nan_to_num(np.abs(turned[0] - turned[1]))
            k = int(np.argmax(apart))
            if (np.sign(turned[0]) == np.sign(turned[1]))[k] and apart[k] > EVEN:
                yield Finding(one, f'{said_end(system, name, True)}: "{one}" goes '
                              f'{abs(turned[0][k]):.1f}° and "{other}" {abs(turned[1][k]):.1f}° '
                              f"({said_place(system, {name: motion.inputs[name][k]})}): both sides "
                              f"have to go alike, within {EVEN:g}°", miss=True, kind="direction")


def _by_a_lever(system, each) -> bool:
    """Whether a way that no rule judged belongs to a lever, or to an input of no known kind."""
    return each.outcome == "not judged" and bool(each.input) and \
        family_of(system, each.input) in ("lever", None)


def _half_moved(system, judged):
    """Surfaces that nothing moves while their twin of the other side moves."""
    still = {each.surface for each in judged if not each.input}
    for pair in twins(system, system.model.surfaces):
        lame = [surface for surface in pair if surface in still]
        if len(lame) == 1:
            other = next(surface for surface in pair if surface not in still)
            yield Finding(lame[0], f'"{lame[0]}" is moved by nothing, and "{other}" moves: a rod '
                                   f"on its run ends at the wrong place", miss=True,
                          kind="direction")


def _overbalanced(system):
    """Surfaces whose air load pushes the stick away from neutral."""
    for surface, part in system.model.surfaces.items():
        if part.hinge is not None and part.hinge.slope > 0:
            yield Finding(surface, f'surface "{surface}" is overbalanced: its hinge moment grows '
                          f"with the deflection ({part.hinge.slope / 1000:.3g} N·m per degree, "
                          f"{part.hinge.at}), so the air pushes the stick away from neutral; a "
                          f"slope below 0 brings it back", miss=True, kind="feel")
