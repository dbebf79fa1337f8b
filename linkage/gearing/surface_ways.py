"""Which way every surface goes, against which way it has to go.

Stick aft raises the trailing edge of elevator, stabilator and elevons and of both sides of a
V-tail, and lowers a canard's; stick right raises the right aileron, elevon or flaperon and lowers
the left one, and raises a spoiler on the right alone; a pedal turns rudder, nosewheel and
tailwheel to its own side.  Sources stand beside the checks in tests/test_directions.py.

A direction is judged at neutral, at both ends of the travel, and by the proven sign of the
gearing over every cell of it: of the travel that the stops leave, where that is given; with build
tolerances by its proven sign in every build.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

from ..errors import counted
from ..model import is_rudder
from ..motion import System
from .built_sign import built_senses
from .contradictions import contradictions
from .gearing_sign import (
    NARROW,
    cells_of,
    enclosed_deflection,
    enclosed_gearing,
    projected,
    prove_sign,
)
from .kinds import (
    NEEDED,
    OPPOSITE,
    Expected,
    expected,
    family_of,
    is_crossed,
    kind_of,
    said_way,
    sign_of,
)
from .words import Direction, Finding, said_end, said_place, said_surface

if TYPE_CHECKING:
    from ..model.parts import Tolerance

COMMANDS = 0.1  # share of what the strongest input moves a surface by, above which one commands it
STILL = 1e-6  # degrees; a surface that an input moves less it does not move
# shares of a spoiler's rise that the other end of the stick may raise and lower it by: a crank that
# passes its dead centre on that side, 10 of 20 degrees from neutral, lowers it by 0.13
RISES, LOWERS = 0.1, 0.2
NEUTRAL = 1e-9  # degrees (mm) by which the rounding of a cover goes past a travel that ends at 0
SAMPLES = 21
OUTCOMES = ("wrong", "turns back", "not decided", "exception", "not judged", "right")


def directions(system: System, cells: tuple[dict, dict] | None = None,
               surfaces: Iterable[str] | None = None,
               tolerances: Tolerance | None = None) -> list[Direction]:
    """Every surface and every input that commands it, the worst first.

    Parameters
    ----------
    system : System
    cells : (dict, dict), optional
        Centres and halves, ``{input: ndarray (n,)}`` over all inputs that drive something: a
        cover of the travel that is judged.  The box of wanted travels unless given.
    surfaces : iterable of str, optional
        All unless given.
    tolerances : Tolerance, optional
        Build tolerances: the sign of the gearing is then proven in every build.

    Returns
    -------
    list of Direction
    """
    ways, ends = [], travel_ends(system, cells)
    for surface in system.model.surfaces if surfaces is None else surfaces:
        moved = moved_by(system, surface, ends)
        strongest = max(moved.values(), default=0.0)
        for name, most in moved.items():
            if commands(most, moved):
                ways.append(_judged(system, surface, name, (ends[name], cells, tolerances)))
        ways += _idle(system, surface, moved, strongest)
    return sorted(ways, key=lambda each: OUTCOMES.index(each.outcome))


def commands(most: float, moved: dict) -> bool:
    """Whether an input that moves a surface so far commands it, beside what `moved_by` gave."""
    return most > max(COMMANDS * max(moved.values()), STILL)


def travel_ends(system: System, cells: tuple[dict, dict] | None = None) -> dict:
    """Both ends of every input with the others at 0: ``{input: (least, greatest)}``.

    Parameters
    ----------
    system : System
    cells : (dict, dict), optional
        As `directions` takes them; the wanted travel unless given.
    """
    if cells is None:
        return system.travel_box()
    low, high = ({name: cells[0][name] + way * cells[1][name] for name in cells[0]}
                 for way in (-1, 1))
    inside = {name: (low[name] <= 0) & (high[name] >= 0) for name in low}
    both_ends = {}
    for name in low:
        held = np.logical_and.reduce([inside[name] | True, *(inside[n] for n in low if n != name)])
        ends = float(low[name][held].min()), float(high[name][held].max())
        both_ends[name] = tuple(0.0 if abs(end) < NEUTRAL else end for end in ends)
    return both_ends


def moved_by(system: System, surface: str, ends: dict | None = None) -> dict:
    """How far each input moves a surface over its travel, others at 0: degrees.

    Parameters
    ----------
    system : System
    surface : str
    ends : dict, optional
        ``{input: (least, greatest)}``; the wanted travel unless given.

    Returns
    -------
    dict
    """
    ends = system.travel_box() if ends is None else ends
    needs = system.plan.depends_on()[system.model.surfaces[surface].body]
    turns = {}
    for name, control in system.inputs.items():
        if name in needs and control.body is not None:
            turned = system.sweep(**{name: np.linspace(*ends[name], SAMPLES)}
                                  ).deflection(surface)
            turned = turned[np.isfinite(turned)]
            turns[name] = float(np.ptp(turned)) if turned.size else 0.0
    return turns


def direction_findings(system: System, judged: list[Direction]) -> list[Finding]:
    """Findings of the directions, wrong ones first, and of what else makes one doubtful.

    Parameters
    ----------
    system : System
    judged : list of Direction

    Returns
    -------
    list of Finding
    """
    findings = [Finding(each.surface, each.text, each.miss, "direction") for each in judged
                if each.outcome != "right"]
    wrong = [f for f in findings if f.miss]
    return [*wrong, *contradictions(system, judged), *(f for f in findings if not f.miss)]


def expected_steps(system: System) -> list[str]:
    """What to see at each end of each input, one sentence an input: the first thing to sign.

    Parameters
    ----------
    system : System

    Returns
    -------
    list of str
        Such as "stick right: aileron right trailing edge up, aileron left trailing edge down".
        Surfaces whose direction nothing says are left out.
    """
    steps = []
    for name, control in system.inputs.items():
        if control.body is None:
            continue
        surfaces = []
        for surface in system.model.surfaces:
            moved = moved_by(system, surface)
            due = expected(system, surface, name)
            if isinstance(due, Expected) and name in moved and \
                    commands(moved[name], moved):
                stays = due.one_sided and due.sign != sign_of(system, surface, "up")
                surfaces.append(f"{surface} {'stays down' if stays else said_way(due.way)}")
        if surfaces:
            words = ", ".join(sorted(surfaces, reverse=True))
            steps.append(f"{said_end(system, name, True)}: {words}")
    return steps


def flipped(before: System, after: System) -> list[Finding]:
    """Surfaces that an input moves the other way round after a change.

    Parameters
    ----------
    before, after : System

    Returns
    -------
    list of Finding
    """
    findings = []
    for surface in after.model.surfaces:
        if surface not in before.model.surfaces:
            continue
        moved = [moved_by(system, surface) for system in (before, after)]
        for name in moved[1]:
            if name not in moved[0] or not all(commands(each[name], each) for each in moved):
                continue
            old, new = (_goes(system, surface, name) for system in (before, after))
            if old != new:
                text = (f'{said_end(after, name, True)}: "{surface}" went {old} before the change '
                        f"and goes {new} after it")
                findings.append(Finding(surface, text, kind="direction"))
    return findings


def _judged(system, surface, name, over) -> Direction:
    """One surface and input; `over`: the input's two ends, cells of travel, build tolerances."""
    due = expected(system, surface, name)
    end, goes = said_end(system, name, True), _goes(system, surface, name)
    if isinstance(due, str):
        return _unexpected(system, surface, name, due)
    base = (surface, name, end, goes, said_way(due.way))
    if due.exception == "":
        return Direction(*base, "wrong", f'{end}: "{surface}" is to go {base[4]}, which is not '
                         f"what its kind does: give the reason, reason = \"...\"", {})
    outcome, text, place = (_one_sided if due.one_sided else _two_sided)(
        system, surface, name, due, over)
    if outcome == "right" and due.exception is not None:
        turns = ", and may turn back before the end (judged at neutral and at both ends alone)" \
            if due.back else ""
        return Direction(*base, "exception", f'exception: {end}: "{surface}" goes {base[4]}'
                                             f"{turns}: {due.exception}", {})
    return Direction(*base, outcome, text, place)


def _unexpected(system, surface, name, why) -> Direction:
    """An input that no rule expects to command the surface, or a rule that can't be applied."""
    end, goes = said_end(system, name, True), _goes(system, surface, name)
    way = "left" if is_rudder(system.model.bodies[system.model.surfaces[surface].body]) else "up"
    say = f'say kind = "..." or moves = {{ {_key(name)} = "{way}" }} or the other way'
    if is_crossed(system, surface, name):
        return Direction(surface, name, end, goes, "", "wrong",
                         f'{end}: "{surface}" goes {goes} with an input that has no business with '
                         f"a kind of {kind_of(system, surface)}: check for crossed runs, or {say} "
                         f"with its reason", {})
    return Direction(surface, name, end, goes, "", "not judged",
                     f'direction of "{surface}" for {end} not judged, {why}: {say}', {})


def _key(name: str) -> str:
    return name if name.replace("-", "").replace("_", "").isalnum() else f'"{name}"'


def _two_sided(system, surface, name, due, over):
    """Both ends, neutral, and every cell between."""
    wrong = _wrong_end(system, surface, name, due, over[0])
    if wrong is not None:
        return wrong
    if due.back:
        return "right", "", {}
    neutral = float(system.sweep().gearing(surface)[name]) * due.sign
    if not neutral > 0:
        what = "stands still" if neutral == 0 else "starts the wrong way"
        return "turns back", (f'{said_end(system, name, True)}: "{surface}" {what} at neutral and '
                              f"has to go {said_way(due.way)}"), {name: 0.0}
    return _proven(system, surface, name, due, over[2], _cells(system, surface, over[1]))


def _proven(system, surface, name, due, tolerances, cells):
    """The sign of the gearing over cells, as drawn; then in every build where these are asked."""
    drawn = prove_sign(_signed(system, surface, name, due.sign), *cells)
    outcome = _told(system, surface, name, drawn)
    if outcome[0] != "right" or tolerances is None:
        return outcome

    def bounds(centres, halves):
        low, high = built_senses(system, surface, name, (centres, halves), tolerances)
        return (low, high) if due.sign > 0 else (-high, -low)

    return _told(system, surface, name, prove_sign(bounds, *cells), " in every build")


def _wrong_end(system, surface, name, due, travel):  # noqa: PLR0913
    """The first end of the travel at which the surface stands on the wrong side of neutral."""
    turned = system.sweep(**{name: [*travel, 0.0]}).deflection(surface)
    for which, way in ((1, 1.0), (0, -1.0)):
        if travel[which] == 0:
            continue
        moved = float(turned[which] - turned[2]) * due.sign * way
        end = said_end(system, name, bool(which))
        if not np.isfinite(moved):
            return "not decided", (f'{end}: direction of "{surface}" not decided, since a rod '
                                   f"can't reach {said_place(system, {name: travel[which]})}"), \
                {name: travel[which]}
        if not moved > STILL:
            right = said_way(due.way if which else OPPOSITE[due.way])
            back = _edge(system, surface, due, not which) if moved < -STILL else "nowhere"
            return "wrong", (f'{end}: "{surface}" goes {back} '
                             f"({said_surface(system, surface, float(turned[which]))} at "
                             f"{said_place(system, {name: travel[which]})}) and has to go "
                             f"{right}"), {name: travel[which]}
    return None


def _edge(system, surface, due, positive):
    """Where the surface is for the positive end in words if it goes as due, or the other way."""
    return said_way(due.way if positive else OPPOSITE[due.way])


def _one_sided(system, surface, name, due, over):
    """A spoiler: rises for its own end all the way, and stays where it is for the other."""
    (low, high), cells, tolerances = over
    up = sign_of(system, surface, "up")
    own, other = (high, low) if due.sign == up else (low, high)
    turned = system.sweep(**{name: [own, other, 0.0]}).deflection(surface)
    rise, fall = (float(up * (k - turned[2])) for k in turned[:2])
    ends = [said_end(system, name, end > 0) for end in (own, other)]
    if not rise > STILL:
        return "wrong", (f'{ends[0]}: "{surface}" goes {_lowered(rise)} and has to go trailing '
                         f"edge up"), {name: own}
    if not -LOWERS * rise <= fall <= RISES * rise:
        return "wrong", (f'{ends[1]}: "{surface}" goes {_lowered(fall)} and has to stay down, '
                         "where it is at neutral"), {name: other}
    outcome = _proven(system, surface, name, due, tolerances,
                      _half(_cells(system, surface, cells), name, own > 0))
    if outcome[0] != "right":
        return outcome

    def room(centres, halves):
        low, high = enclosed_deflection(system, surface, centres, halves)
        low, high = (low, high) if up > 0 else (-high, -low)
        low, high = low - up * turned[2], high - up * turned[2]
        return (np.minimum(RISES * rise - high, LOWERS * rise + low),
                np.minimum(RISES * rise - low, LOWERS * rise + high))

    down = prove_sign(room, *_half(_cells(system, surface, cells), name, own < 0))
    if len(down.wrong):
        place = down.nearest("wrong")
        moved = up * (float(system.sweep(**place).deflection(surface)) - float(turned[2]))
        return "wrong", (f'{ends[1]}: "{surface}" goes {_lowered(moved)} and has to stay down, '
                         f"where it is at neutral ({said_place(system, place)})"), place
    return _told(system, surface, name, down)


def _lowered(rise):
    if abs(rise) <= STILL:
        return "nowhere"
    return "trailing edge up" if rise > 0 else "trailing edge down"


def _half(cells, name, positive):
    """The part of some cells on one side of neutral of an input."""
    low, high = cells[0][name] - cells[1][name], cells[0][name] + cells[1][name]
    low, high = (np.maximum(low, 0.0), high) if positive else (low, np.minimum(high, 0.0))
    wide = high > low
    return tuple({n: (k if n == name else each[n])[wide] for n in each}
                 for each, k in zip(cells, ((low + high) / 2, (high - low) / 2), strict=True))


def _signed(system, surface, name, sign):
    def bounds(centres, halves):
        low, high = enclosed_gearing(system, surface, name, centres, halves)
        return (low, high) if sign > 0 else (-high, -low)

    return bounds


def _cells(system, surface, cells):
    """Cells of travel seen along the inputs that the surface depends on."""
    needs = system.plan.depends_on()[system.model.surfaces[surface].body]
    if cells is not None:
        return projected(cells, needs)
    return cells_of({n: control.travel for n, control in system.inputs.items()
                     if n in needs and control.body is not None})


def _told(system, surface, name, proof, builds=""):
    end = said_end(system, name, True)
    if len(proof.wrong):
        place = proof.nearest("wrong")
        return "turns back", (f'{end}: "{surface}" turns back within the travel, near '
                              f"{said_place(system, place)}"), place
    if len(proof.open):
        place = proof.nearest("open")
        return "not decided", (f'{end}: direction of "{surface}" not decided{builds} near '
                               f"{said_place(system, place)}, in "
                               f"{counted(len(proof.open), 'cell')} of {NARROW:g} or what was left "
                               f"of {proof.looked}"), place
    return "right", "", {}


def _goes(system, surface, name) -> str:
    """What a surface does at neutral for the positive end of an input."""
    rate = float(system.sweep().gearing(surface)[name])
    if not abs(rate) > 1e-9:
        return "nowhere"
    words = ("right", "left") if is_rudder(
        system.model.bodies[system.model.surfaces[surface].body]) else ("up", "down")
    if kind_of(system, surface) == "nosewheel":
        return f"points {words[rate < 0]}"
    return said_way(words[rate > 0])


def _idle(system, surface, moved, strongest):
    """Inputs that have to command a surface and don't, where something else does."""
    kind = kind_of(system, surface)
    if strongest <= STILL:
        yield Direction(surface, "", "", "nowhere", "", "not judged",
                        f'direction of "{surface}" not judged: no input moves it', {})
        return
    for family in NEEDED.get(kind, ()):
        names = [name for name, control in system.inputs.items()
                 if control.body is not None and family_of(system, name) == family]
        if names and not any(moved.get(name, 0.0) > COMMANDS * strongest for name in names):
            end = said_end(system, names[0], True)
            most = moved.get(names[0], 0.0)
            how = "not at all" if most <= STILL else f"by {most:.1f}° of {strongest:.1f}° only"
            yield Direction(surface, names[0], end, "nowhere", "", "wrong",
                            f'{end}: moves "{surface}" {how}, and has to command a kind of {kind}',
                            {})
