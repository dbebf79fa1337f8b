"""Names that lead nowhere are refused: of wires, springs, trim, and dimensions to choose."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from typing import Any, Protocol

from ..errors import ModelError, mm, nearest
from .parts import AIRFRAME, Wire
from .solids import Plate


class Named(Protocol):
    """What a model names; it refuses with these as it is made."""

    bodies: dict
    boltings: dict
    inputs: dict
    points: dict
    position: Callable
    rods: dict
    size: dict
    solids: dict
    springs: dict
    surfaces: dict
    welds: dict


def refer(place: str, name: str | None, known: Iterable[str], what: str) -> None:
    """Refuse a name that is not known."""
    if name is not None and name not in known:
        raise ModelError(f'{place}: no {what} "{name}"; {nearest(name, known)}', place=place)


def check_wire(model: Named, name: str, wire: Wire) -> None:
    """What a wire is clamped to, and where it leaves."""
    place = f'wire "{name}"'
    for point in (*wire.clamps, *([wire.exit] if wire.exit else [])):
        refer(place, point.split("/")[0], [*model.bodies, AIRFRAME], "part")
        refer(place, point, model.points, "hardpoint")
    one, other = (clamp.split("/")[0] for clamp in wire.clamps)
    if one == other:
        raise ModelError(f'{place}: both clamps are on "{one}", so it crosses to no other part; '
                         f"clamp one end elsewhere", place=place)


def check_springs(model: Named) -> None:
    """What springs are hung between."""
    for name, spring in model.springs.items():
        place = f'spring "{name}"'
        for end in spring.ends or ():
            refer(f"{place}, ends", end, model.points, "hardpoint")
        refer(f"{place}, pivot", spring.pivot, model.bodies, "body")
        if spring.pivot is not None and model.bodies[spring.pivot].slides:
            raise ModelError(f'{place}, pivot: "{spring.pivot}" slides; hang the spring between '
                             f"two points, with ends", place=place)
        if spring.ends and not math.dist(*map(model.position, spring.ends)) > 1e-6:
            raise ModelError(f"{place}: its two ends are at the same place, so it has no line to "
                             f"pull along; move one of the points", place=place)


def check_trim(model: Named) -> None:
    """What trims what, and which surfaces are tabs of others."""
    for name, item in model.inputs.items():
        refer(f'input "{name}", trims', item.trims, [k for k in model.inputs if k != name],
               "other input")
        if item.feel and item.feel.hands_off and name not in {k.trims for k in
                                                              model.inputs.values()}:
            raise ModelError(f'input "{name}", feel, hands_off: no input trims it; add trims = '
                             f'"{name}" to the trim lever\'s input', place=f'input "{name}"')
    _check_tabs(model)


def _check_tabs(model):
    for name, surface in model.surfaces.items():
        for tab in surface.hinge.tabs if surface.hinge else ():
            refer(f'surface "{name}", hinge, tabs', tab, [k for k in model.surfaces if k != name],
                   "other surface")


def check_fixings(model: Named) -> None:
    """What welds and bolts hold: plates, and a tube to go across."""
    plates = [name for name, solid in model.solids.items() if isinstance(solid, Plate)]
    for word, parts in (("weld", model.welds), ("bolting", model.boltings)):
        for name, part in parts.items():
            for plate in part.plates:
                refer(f'{word} "{name}", plate', plate, plates, "plate")
                _check_fixing(model, f'{word} "{name}"', part, plate)


def _check_fixing(model: Named, place: str, part: Any, plate: str) -> None:
    """A leg no longer than its plate is thick, and bolts narrower than the tube they go across."""
    thickness = model.solids[plate].thickness
    for word in ("leg", "throat"):
        if (getattr(part, word, None) or 0.0) > thickness:
            raise ModelError(f'{place}: a {word} of {mm(getattr(part, word))} on "{plate}", which '
                             f"is {mm(thickness)} thick; make it no longer than the plate is "
                             f"thick", place=place)
    if not getattr(part, "across", False):
        return
    body = model.bodies.get(plate.split("/")[0])
    if body is None or body.tube is None:
        raise ModelError(f'{place}, across: the part of "{plate}" has no tube to go across; give '
                         f"its tube", place=place)
    if not part.bolt < body.tube.diameter:
        raise ModelError(f"{place}: a bolt of {mm(part.bolt)} across a tube of "
                         f"{mm(body.tube.diameter)}; make it smaller", place=place)


def check_size(model: Named) -> None:
    """What dimensions to choose are of."""
    for name, part in {**model.size.arms, **model.size.clockings}.items():
        place = f'size, {"arm" if name in model.size.arms else "clocking"} "{name}"'
        refer(f"{place}, point", part.point, model.points, "hardpoint")
        _check_lever(model, place, part.point)
    for name, part in model.size.places.items():
        refer(f'size, place "{name}", point', part.point, model.points, "hardpoint")
    for name, part in model.size.rods.items():
        refer(f'size, rod "{name}", rod', part.rod, model.rods, "rod")
    for name, part in model.size.targets.items():
        place = f'size, target "{name}"'
        refer(f"{place}, surface", part.surface, model.surfaces, "surface")
        refer(f"{place}, input", part.input, model.inputs, "input")


def _check_lever(model: Named, place: str, address: str) -> None:
    """A point with an arm: on a part that turns, and off its axis."""
    part = address.split("/")[0]
    body = model.bodies.get(part)
    if body is None or body.slides:
        raise ModelError(f'{place}: "{part}" doesn\'t turn, so its points have no arm; size its '
                         f"place instead", place=place)
    away = [a - b for a, b in zip(model.position(address), body.centre, strict=True)]
    along = sum(a * u for a, u in zip(away, body.direction, strict=True))
    if not sum(a * a for a in away) - along * along > 1e-6:
        raise ModelError(f'{place}: "{address}" lies on its own pivot axis, so it has no arm; '
                         f"name a point away from the axis", place=place)
