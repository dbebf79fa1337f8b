"""What would cure a missed clearance, each worked out with its effect: relief, spacer, stop."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .. import gearing, relief, stops
from ..clearances import Stage, gaps, prove, scene_of
from ..errors import LinkageError
from ..model import Plate, Spacer, Washer
from ..units import LENGTHS, rounded_down, shown_length

if TYPE_CHECKING:
    from ..model import Stop
    from .answers import Answers

GRID = 41  # stick positions along each input at which an end is looked for
STEP = 0.1  # degrees (mm) to which the end of a travel is rounded, towards neutral
SEEN = 0.15  # degrees of a surface, below which a change is not told where no travel is missed
SAME = 1e-6  # degrees of a surface that are rounding
TRIES = 5  # ends tried, each a step nearer to neutral, until the pair is proven


@dataclass(frozen=True)
class Cure:
    """One way to cure a miss.

    Attributes
    ----------
    kind : {"relief", "spacer", "moved stop"}
    do : str
        What to make, with its numbers.
    effect : str
        What that does, as worked out.
    works : bool
        Whether the pair is proven to keep its clearance with it.
    """

    kind: str
    do: str
    effect: str
    works: bool


def cures_of(results: Answers, pair: str, place: dict) -> list[Cure]:
    """Cures of one missed pair, worked out once; one that was not found says why.

    Parameters
    ----------
    results : Answers
    pair : str
    place : dict
        ``{input: position}`` where the pair is nearest.
    """
    return results.system.kept(("cures", pair, results.built), lambda: [
        *_reliefs(results, pair), *_ends(results, pair, place)])


def _reliefs(results, pair) -> Iterator[Cure]:
    plates, unit = _plates_of(results.system.model, pair), results.system.model.length
    if not plates:
        yield Cure("relief", "none: neither part is a plate or washer",
                   "a relief is worked out of plates alone", works=False)
        return
    done, refused = results.reliefs or ([], [])
    for each in done:
        yield from (_relieved(each, row, unit) for row in each.pairs if row["pair"] == pair)
    for name in plates:
        for sentence in refused:
            if f'"{name}"' in sentence:
                yield Cure("relief", f"not found on {name}", sentence, works=False)


def _plates_of(model, pair) -> list[str]:
    return [name for name in pair.split(" | ") if isinstance(model.solids[name], Plate | Washer)]


def _relieved(each, row, unit) -> Cure:
    return Cure("relief", f"cut {relief.said_area(each.cut.removed.area, unit)} from {each.name} "
                f"by its template", f"proven {_down(row['after'], unit)} with it, "
                f"{shown_length(row['required'], unit)} required, over the travel that the stops "
                f"leave; narrowest left by it {relief.said_width(each.cut.ligament, unit)}; no "
                f"travel is lost", works=bool(row["after"] >= row["required"]))


def _down(mm, unit):
    """A proven length, never rounded up."""
    own = LENGTHS[unit]
    return f"{rounded_down(mm / own.mm, own.digits):.{own.digits}f} {unit}"


def _ends(results, pair, place) -> Iterator[Cure]:
    """A nearer end of each input that the pair depends on, by spacer or stop."""
    system, near_pair = results.system, scene_of(results.system).pairs[pair]
    if results.built:
        yield Cure("moved stop", "not looked for as built",
                   "run it as drawn for spacers and stops", works=False)
        return
    grid = _grid(system, near_pair)
    for name in near_pair.inputs:
        if abs(place.get(name, 0.0)) < STEP:
            continue
        greatest = place[name] > 0
        way = f"{name} {gearing.sense_word(system, name, greatest)}"
        try:
            yield _end(system, near_pair, grid, (name, greatest, way))
        except LinkageError as error:
            yield Cure("moved stop", f"not found toward {way}", error.sentence, works=False)


def _grid(system, pair):
    """Positions over the real travel's box, and the pair's gap there."""
    box = stops.real_travel(system).box
    ends = {name: box[name] for name in pair.inputs}
    sides = np.meshgrid(*(np.unique([0.0, *np.linspace(*both, GRID)]) for both in ends.values()),
                        indexing="ij")
    held = dict(zip(ends, sides, strict=True))
    return held, gaps(system.sweep(**held), [pair.name])[pair.name]


def _end(system, pair, grid, which) -> Cure:
    name, greatest, way = which
    governing = _governing(system, name, greatest)
    sign = 1.0 if greatest else -1.0
    held, gap = grid
    far = sign * held[name]
    short = far[gap < pair.required]
    end = np.floor((float(short.min()) if short.size else float(far.max())) / STEP) * STEP
    if end <= 0:
        raise LinkageError(f"the pair is too near at neutral of {name} too")
    if governing is None:
        raise LinkageError(f"no stop of the file governs {way}; the travel would have to end at "
                           f"{gearing.said_input(system, name, sign * end)}")
    for _ in range(TRIES):
        made = _tried(system, pair, governing, sign * end)
        if made.works or end <= STEP:
            break
        end -= 2 * STEP
    return made


def _governing(system, name, greatest):
    table = stops.find_stops(system)
    for row in table[table["governs"] & (table["input"] == name)].to_dict("records"):
        if (system.model.stops[row["stop"]].side == "greatest") == greatest:
            return row["stop"]
    return None


def _tried(system, pair, name, end) -> Cure:
    """A stop and its twins moved to end a travel earlier, and the pair proven over the rest."""
    unit = system.model.length
    made = [_moved(system, each, end) for each in (name, *_twins_of(system, name))]
    fresh = stops.with_stops(system, system.model.stops | {each.name: each.stop for each in made})
    proof = prove(Stage(scene_of(fresh), [scene_of(fresh).pairs[pair.name]]),
                  stops.real_travel(fresh).travel, 0.05, limit=0.0)
    proven = min(float(proof.proven[0]), float(proof.least[0]))
    works = proven >= pair.required and not proof.open_at
    angle = min((stops.meeting(fresh, each.name).contact(each.thick) for each in made), key=abs)
    do = made[0].do(unit) + "".join(
        f"; so that both stop it, the same on its twin: {each.do(unit)}" for each in made[1:])
    return Cure("spacer" if made[0].had else "moved stop", do,
                f"{_effect(system, fresh, made[0].stop.input, angle)}; proven "
                f"{_down(proven, unit)} over the travel then left, "
                f"{shown_length(pair.required, unit)} required", works)


def _twins_of(system, name) -> list[str]:
    """Stops of the other side that end the same travel of the same input."""
    known, mine = system.model.stops, system.model.stops[name]
    both = {other for pair in gearing.twins(system, known) if name in pair for other in pair}
    return [other for other in known if other in both and other != name
            and (known[other].input, known[other].side) == (mine.input, mine.side)]


@dataclass(frozen=True)
class _Moved:
    """A stop with the spacer that ends its travel where it should, and what stood there."""

    name: str
    stop: Stop
    old: float
    thick: float
    stack: tuple | None
    had: bool

    def do(self, unit) -> str:
        """What to make."""
        stack = " + ".join(shown_length(k, unit) for k in self.stack or ())
        made = f" = {stack}" if self.stack and len(self.stack) > 1 else ""
        if self.had:
            return (f"spacer of {self.name} from {shown_length(self.old, unit)} to "
                    f"{shown_length(self.thick, unit)}{made}")
        return (f"move the face of {self.stop.spacer.on} by {shown_length(self.thick, unit)} "
                f"towards the other, or put a spacer so thick on it ({self.name})")


def _moved(system, name, end) -> _Moved:
    """A stop that ends its travel no later than at `end`, by stock where the file lists it."""
    model, stop = system.model, system.model.stops[name]
    spaced = stop if stop.spacer else dataclasses.replace(
        stop, spacer=Spacer(on=stop.between[1], thickness=0.0))
    plain = system if stop.spacer else stops.with_stops(system, model.stops | {name: spaced})
    thick = stops.thickness_for(stops.meeting(plain, name), end)
    stack = stops.stock_about(spaced.spacer.stock, thick)[1]
    thick = float(np.ceil(thick * 1e3) / 1e3) if stack is None else float(sum(stack))
    return _Moved(name, dataclasses.replace(spaced, spacer=dataclasses.replace(
        spaced.spacer, thickness=thick)), spaced.spacer.thickness, thick, stack,
        stop.spacer is not None)


def _effect(system, fresh, name, angle) -> str:
    """Where the stop then is, and what each surface loses."""
    table = stops.find_stops(system)
    side = "greatest" if angle > 0 else "least"
    rows = table[(table["input"] == name) & table["governs"]]
    rows = rows[[system.model.stops[stop].side == side for stop in rows["stop"]]]
    before = float(rows["angle"].iloc[0])
    motion, words = fresh.sweep(**{name: angle}), []
    travels = system.kept("wanted travels", lambda: gearing.required_travels(system))
    travels = travels[travels["input"] == name]
    for surface in system.model.surfaces:
        old, new = float(rows[surface].iloc[0]), float(motion.deflection(surface))
        judged = _judged(system, surface, travels[travels["surface"] == surface], new)
        if abs(old - new) > SEEN or (judged.endswith("missed)") and abs(old - new) > SAME):
            words.append(f"{surface} {gearing.said_surface(system, surface, new)} for "
                         f"{gearing.said_surface(system, surface, old)}{judged}")
    return (f"{name} ends at {gearing.said_input(system, name, angle)} for "
            f"{gearing.said_input(system, name, before)}" + (f"; {', '.join(words)}" if words
                                                               else ""))


def _judged(system, surface, travels, deflection) -> str:
    """Whether a required travel of a surface is still kept at a deflection."""
    way = gearing.deflection_words(system, surface)[int(deflection > 0)]
    for row in travels.to_dict("records"):
        if gearing.WAYS[row["way"]] == way:
            off = abs(abs(deflection) - row["required"])
            met = "kept" if off <= row["within"] else "missed"
            return f" (required {row['required']:g}° ± {row['within']:g}°: {met})"
    return ""
