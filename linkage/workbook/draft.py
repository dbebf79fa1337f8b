"""A model being changed: what may be typed, what has changed from the file, and the way back."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from ..disk import write_text
from ..errors import FileError, LinkageError, nearest
from ..gearing import said_input, twins
from ..model import AIRFRAME, Model
from ..model.file import format_model
from ..model.save import reads_as, save_model
from ..motion import System
from ..units import shown_length

STATIONS = ("FS", "BL", "WL")
ALIKE = 1e-6  # mm within which a part and its twin are mirror images
ADDED = "new"  # not in the file
MOST_UNDONE = 200
MOST_HALVES = 100
# How far a changed dimension may go, mm: more than any light aircraft has, little enough to catch a
# slip of the point or of the unit (common practice, no source).  What a file has already goes on.
FARTHEST_PLACE, LONGEST_ARM, LONGEST_ROD = 30_000.0, 3_000.0, 10_000.0


@dataclass(frozen=True, eq=False)
class Draft:
    """A model on its way from the file to something better.

    Attributes
    ----------
    original, model : Model
        As in the file, and as it is now.
    past : tuple of Model
        The way back, the latest last.
    """

    original: Model
    model: Model
    past: tuple = ()

    def changed(self, model: Model) -> Draft:
        """The draft after a change; the same change again is no new step back."""
        if model == self.model:
            return self
        return Draft(self.original, model, (*self.past, self.model)[-MOST_UNDONE:])

    def undone(self) -> Draft:
        """The draft before the last change."""
        if not self.past:
            raise LinkageError("there is nothing to undo; the model is as it was opened")
        return Draft(self.original, self.past[-1], self.past[:-1])


def save(model: Model, source: Path | str, path: Path | str, over: bool) -> list:
    """Write the model as it stands: the file it came from with what has changed in it.

    Parameters
    ----------
    model : Model
    source : (path or None, Model)
        The file the model was opened from, and what it said when last read or written; without a
        file the model is written plainly.
    path : path
        Whole or not at all.
    over : bool
        Whether a file that is there may be replaced, the source among them.

    Returns
    -------
    list of path
        What was written.

    Raises
    ------
    FileError
        When the source has changed since, or the place can't be written.
    """
    file, text = source
    if file is None or not file.exists():
        write_text(path, format_model(model), replace=over)
        return [path]
    if not reads_as(file, text):
        raise FileError(f"{file}: has changed since it was opened, and would have to be changed "
                        f"in place; open it again, or put the file back as it was",
                        path=str(file))
    return save_model(file, model, path, replace=over)


def with_limits(system: System, limits: dict) -> Model:
    """The model with other wanted travels.

    Parameters
    ----------
    system : System
    limits : dict
        ``{input: (least, greatest)}``, degrees (mm for a slide).

    Returns
    -------
    Model
    """
    model, inputs = system.model, dict(system.model.inputs)
    for name, ends in limits.items():
        if name not in inputs or system.inputs[name].body is None:
            raise LinkageError(f'no input "{name}" to limit; {nearest(name, inputs)}')
        ends = tuple(float(end) for end in ends)
        if ends != tuple(system.inputs[name].travel):
            travel = ends
            if inputs[name].in_mm and system.inputs[name].unit == "°":
                travel = tuple(_movement(system, name, end) for end in ends)
            inputs[name] = replace(inputs[name], travel=travel)
    return replace(model, inputs=inputs)


def _movement(system, name, angle) -> float:
    """How far the grip goes straight from neutral at an angle: way = 2 r sin(angle / 2), mm."""
    body = system.model.bodies[system.inputs[name].body]
    x = np.subtract(system.model.position(system.model.inputs[name].grip), body.centre)
    radius = float(np.linalg.norm(np.cross(body.direction, x)))
    return 2 * radius * math.sin(math.radians(angle) / 2)


def with_spacers(model: Model, spacers: dict) -> Model:
    """The model with other spacers: ``{stop: thickness in mm}``."""
    stops = dict(model.stops)
    for name, thickness in spacers.items():
        if name not in stops or stops[name].spacer is None:
            raise LinkageError(f'no stop "{name}" with a spacer; '
                               f"{nearest(name, [s for s in stops if stops[s].spacer])}")
        spacer = replace(stops[name].spacer, thickness=float(thickness))
        stops[name] = replace(stops[name], spacer=spacer)
    return replace(model, stops=stops)


def with_dimension(model: Model, address: str, what: str, mm: float) -> Model:
    """The model with one coordinate, arm or rod length changed.

    Parameters
    ----------
    model : Model
    address : str
        ``"part/point"``, ``"part/pivot"``, ``"part/through"`` or a rod.
    what : {"FS", "BL", "WL", "arm", "length"}
        An arm is the distance from the part's pivot axis; the point keeps its direction from it.
    mm : float

    Returns
    -------
    Model
    """
    if what == "length":
        if address not in model.rods:
            raise LinkageError(f'no rod "{address[:60]}"; {_hint(address, model.rods)}')
        _check_range(model, f"{address} length", mm, 0.0, LONGEST_ROD, model.rod_length(address))
        rod = replace(model.rods[address], length=mm)
        return replace(model, rods={**model.rods, address: rod})
    here = _written(model, address)
    part, point = address.split("/")
    if what == "arm":
        _check_range(model, f"{address} arm", mm, 0.0, LONGEST_ARM, arm_of(model, address) or 0.0)
        there = _at_arm(model, part, here, mm)
    elif what in STATIONS:
        at = STATIONS.index(what)
        _check_range(model, f"{address} {what}", mm, -FARTHEST_PLACE, FARTHEST_PLACE, here[at])
        there = tuple(mm if k == at else x for k, x in enumerate(here))
    else:
        raise LinkageError(f'no dimension "{what[:40]}"; '
                           f'{nearest(what, (*STATIONS, "arm", "length"))}')
    return _with_place(model, part, point, there)


def _check_range(model, what, mm, least, greatest, now):
    low, high = min(least, 2 * now), max(greatest, 2 * now)
    if not low <= mm <= high or (least == 0 and mm == 0):
        from_ = "above 0" if least == 0 else f"from {shown_length(low, model.length)}"
        raise LinkageError(f"{what}: {shown_length(mm, model.length)} is out of range; {from_} to "
                           f"{shown_length(high, model.length)}")


def with_half_turns(model: Model, rod: str, halves: int) -> Model:
    """The model with one end of a rod turned: half a turn is half its thread's pitch, mm."""
    if rod not in model.rods:
        raise LinkageError(f'no rod "{rod[:60]}"; {_hint(rod, model.rods)}')
    if not abs(halves) <= MOST_HALVES:
        raise LinkageError(f"{rod}: turn an end by at most {MOST_HALVES} half turns at a time")
    thread = next((thread for i in (0, 1) if (thread := model.fitting(rod, i)[2])), None)
    if thread is None:
        raise LinkageError(f"{rod}: the file gives no thread, so a half turn has no length; add "
                           "thread, such as \"1/4-28\"")
    return with_dimension(model, rod, "length", model.rod_length(rod) + halves * thread.pitch / 2)


def mirrored_too(system: System, address: str, what: str, mm: float) -> tuple | None:
    """The same change, (address, what, mm), for the twin where the two are mirror images now."""
    model = system.model
    fields = {f for name in (*model.points, *model.rods) for f in name.split("/")}
    swap = dict(twins(system, sorted(fields)))
    swap |= {there: here for here, there in swap.items()}
    twin = "/".join(swap.get(field, field) for field in address.split("/"))
    alike = _rods_alike if what == "length" else _points_alike
    if twin == address or not alike(model, address, twin):
        return None
    return twin, what, -mm if what == "BL" else mm


def _rods_alike(model, rod, twin) -> bool:
    return twin in model.rods and abs(model.rod_length(twin) - model.rod_length(rod)) < ALIKE


def _points_alike(model, point, twin) -> bool:
    """Whether two points as written are mirror images."""
    one, other = (_written(model, name, default=None) for name in (point, twin))
    return one is not None and other is not None and math.dist(
        (one[0], -one[1], one[2]), other) < ALIKE


def _written(model, address, default=...):
    """A place as the file has it: of a built-up point, its bolt hole."""
    part, _, point = address.partition("/")
    if part == AIRFRAME:
        points = model.airframe.points
    elif part in model.bodies:
        body = model.bodies[part]
        if point in ("pivot", "through"):
            place = body.centre if point == "pivot" else body.through
            if place is not None:
                return place
        points = body.points
    else:
        points = {}
    if point in points:
        return points[point].at
    if default is ...:
        raise LinkageError(f'no point "{address[:60]}"; {_hint(address, model.points)}')
    return default


def _hint(name, known) -> str:
    hint = nearest(name, known)
    return hint if len(hint) < 200 else "the part table lists them"


def _with_place(model, part, point, there) -> Model:
    if part == AIRFRAME:
        points = {**model.airframe.points, point: replace(model.airframe.points[point], at=there)}
        return replace(model, airframe=replace(model.airframe, points=points))
    body = model.bodies[part]
    if point in ("pivot", "through"):
        body = replace(body, **{point: there})
    else:
        body = replace(body, points={**body.points, point: replace(body.points[point], at=there)})
    return replace(model, bodies={**model.bodies, part: body})


def arm_of(model: Model, address: str) -> float | None:
    """Distance of a point from its part's pivot axis, mm; None where it has no arm to change."""
    part, point = address.split("/")
    if part == AIRFRAME or point in ("pivot", "through"):
        return None
    body = model.bodies[part]
    if body.slides or body.points[point].stack:
        return None
    return float(np.linalg.norm(np.cross(body.direction,
                                         np.subtract(body.points[point].at, body.centre))))


def _at_arm(model, part, here, mm):
    body = model.bodies.get(part)
    if body is None or body.slides or not mm > 0:
        raise LinkageError(f"{part}: an arm needs a part that turns, and a length above 0")
    u, x = np.array(body.direction), np.subtract(here, body.centre)
    along = u * (u @ x)
    size = np.linalg.norm(x - along)
    if not size > ALIKE:
        raise LinkageError(f"{part}: the point lies on the pivot axis, so its arm has no "
                           "direction; change its place instead")
    return tuple(float(k) for k in np.array(body.centre) + along + (x - along) * (mm / size))


def part_rows(draft: Draft) -> list[dict]:
    """Every part with its places and lengths, ready for the part table.

    Returns
    -------
    list of dict
        name, kind ("body" or "rod"), rows: address, label, values (text in the file's unit, None
        where there is none), changed (from the file, in words; "" where nothing is).
    """
    model, rows = draft.model, []
    for name, body in (*model.bodies.items(), (AIRFRAME, model.airframe)):
        places = _places(name, body)
        if places:
            rows.append({"name": name, "kind": "body", "rows": [_place_row(draft, p)
                                                                for p in places]})
    return rows + [{"name": name, "kind": "rod", "rows": [_rod_row(draft, name)]}
                   for name in model.rods]


def _places(name, body) -> list[str]:
    """Addresses of the places that the file gives of a body or of the structure."""
    own = ("pivot", "through") if name != AIRFRAME else ()
    return [f"{name}/{p}" for p in (*(p for p in own if getattr(body, p) is not None),
                                    *body.points)]


def _rod_row(draft, name):
    now, unit = draft.model.rod_length(name), draft.model.length
    before = draft.original.rod_length(name) if name in draft.original.rods else None
    return {"address": name, "label": name, "values": [_bare(now, unit)],
            "changed": ADDED if before is None else _moved(before, now, unit)}


def _place_row(draft, address):
    model, unit = draft.model, draft.model.length
    here, before = _written(model, address), _written(draft.original, address, default=None)
    arm = arm_of(model, address)
    moved = [ADDED] if before is None else [
        f"{word} {text}" for word, a, b in zip(STATIONS, before, here, strict=True)
        if (text := _moved(a, b, unit))]
    return {"address": address, "label": address.split("/")[1],
            "values": [*(_bare(k, unit) for k in here), None if arm is None else _bare(arm, unit)],
            "changed": ", ".join(moved)}


def _bare(mm, unit) -> str:
    return shown_length(mm, unit).removesuffix(f" {unit}")


def _moved(before, now, unit) -> str:
    if abs(now - before) < ALIKE:
        return ""
    return f"{'+' if now > before else ''}{shown_length(now - before, unit)}".replace(
        "-", "\N{MINUS SIGN}")


def changes(draft: Draft, rows: list[dict], before: System, now: System) -> list[str]:
    """What differs from the file, one line each.

    Parameters
    ----------
    draft : Draft
    rows : list of dict
        Of `part_rows`.
    before, now : System
        Of the original and of the model.
    """
    lines = [*_changed_limits(before, now), *_changed_spacers(draft)]
    old, new = draft.original.solids, draft.model.solids
    lines += [f"{name}: another shape" for name in new if old.get(name) not in (None, new[name])]
    lines += [f"{name}: new" for name in (*new.keys() - old.keys(),
                                          *draft.model.stops.keys() - draft.original.stops.keys())]
    for part in rows:
        lines += [f"{row['address']}{' length' if part['kind'] == 'rod' else ''}: {row['changed']}"
                  for row in part["rows"] if row["changed"]]
    return lines


def _changed_limits(before, now):
    for name, control in now.inputs.items():
        old = before.inputs.get(name)
        if old is None:  # added on the page
            yield f"{name}: a new input"
            continue
        for word, a, b in zip(("least", "greatest"), old.travel, control.travel, strict=True):
            if a != b:
                yield (f"{name} limit, {word}: {said_input(before, name, a, 2)} to "
                       f"{said_input(now, name, b, 2)}")


def _changed_spacers(draft):
    unit = draft.model.length
    for name, stop in draft.model.stops.items():
        if stop.spacer is not None:
            before = draft.original.stops.get(name)
            a = before.spacer.thickness if before else stop.spacer.thickness
            b = stop.spacer.thickness
            if a != b:  # 1/16 in and 0.063 in are told apart
                in_words = [[shown_length(t, unit, digits) for t in (a, b)]
                            for digits in (None, 4, 5, 6)]
                old, new = next((pair for pair in in_words if pair[0] != pair[1]), in_words[-1])
                yield f"{name} spacer: {old} to {new}"


def same_shape(one: Model, other: Model) -> bool:
    """Whether two models have the same bodies, rods and structure, whatever limits and spacers."""
    return (one.bodies, one.rods, one.airframe, one.couplings) == (
        other.bodies, other.rods, other.airframe, other.couplings)


