"""From the region a plate has to keep clear to a shape that a cutter can make and that holds."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from ..errors import LinkageError, mm
from ..geometry.outlines import hole_polygon, outline_polygon
from ..model import AIRFRAME, Hole, Model, Plate, Washer
from ..units import LENGTHS, shown_length
from .arcs import BAND, fitted, kept_roundings, roundings
from .flat import Flat, material_of

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

KEPT = 0.004  # mm by which a line may be straightened
MADE = 0.01  # mm of a corner that a cutter may leave, less than it is asked to clear besides
SCRAP = 0.01  # share of a plate below which a narrow piece that comes loose is scrap
SLIVER = 0.004  # mm
ROUND = 24  # straight pieces to a quarter of a circle
WIDEST = 50.0  # mm; a ligament wider than this is no longer measured
CRUMB = 1e-3  # mm², below which a shape is rounding
MOST_OVERCUTS = 2000


@dataclass(frozen=True, eq=False)
class Cut:
    """What is taken from a plate.

    Attributes
    ----------
    need : shapely geometry
        Material that has to go: inside what was swept.
    growth : shapely geometry
        Material taken with it so that the proof has room.
    overcut : shapely geometry
        What the cutter's own radius takes more, and what would fall off.
    left : shapely Polygon
        The material that stays.
    ligament : float
        Remaining width at its narrowest, mm; infinite above `WIDEST`.
    edges : dict
        Distance from the cut to the plate's edge and to every other hole, mm, by name.
    """

    need: object
    growth: object
    overcut: object
    left: object
    ligament: float
    edges: dict

    @property
    def removed(self) -> BaseGeometry:
        """All of it."""
        return shapely.union_all([self.need, self.growth, self.overcut])


def make_cut(flat: Flat, swept: BaseGeometry, grow: float, cutter: float, least: float) -> Cut:
    """Cut a plate free of what is swept.

    Parameters
    ----------
    flat : Flat
    swept : shapely geometry
        The region to keep clear, mm.
    grow : float
        mm taken more all round.
    cutter : float
        Radius of the cutter, mm.
    least : float
        Least ligament, mm.

    Returns
    -------
    Cut

    Raises
    ------
    LinkageError
        When the plate would be cut in two, go altogether, or keep too narrow a ligament.
    """
    whole = flat.material
    wanted = swept.buffer(grow, quad_segs=ROUND).simplify(KEPT)
    taken = wanted.intersection(whole)
    if taken.area < CRUMB:
        nothing = shapely.Polygon()
        return Cut(nothing, nothing, nothing, whole, np.inf, {})
    discs = overcuts(whole, wanted, cutter)
    left = whole.difference(shapely.union_all([wanted, discs]))
    left, scrap = _what_stays(flat, _without_slivers(left), least)
    removed = shapely.union_all([wanted, discs, *scrap]).intersection(whole)
    ligament = narrowest(whole, left, max(WIDEST, 1.02 * least))
    _refuse_narrow(flat, ligament, least)
    need = swept.intersection(whole)
    return Cut(need, taken.difference(need), removed.difference(taken.union(need)), left, ligament,
               _edge_distances(flat, removed))


def overcuts(whole: BaseGeometry, wanted: BaseGeometry, cutter: float) -> BaseGeometry:
    """Discs of the cutter's radius over every corner that it could not reach into.

    Parameters
    ----------
    whole, wanted : shapely geometry
        The material, and the region to free of it, mm.
    cutter : float
        Radius, mm.

    Returns
    -------
    shapely geometry
        Together with the open space about the plate they hold all that is wanted.
    """
    if cutter <= 0:
        return shapely.Polygon()
    low, high = np.array(whole.bounds).reshape(2, 2)
    room = shapely.box(*(low - 4 * cutter - 10), *(high + 4 * cutter + 10))
    free = room.difference(_without_slivers(whole.difference(wanted)))
    centres = free.buffer(-cutter, quad_segs=ROUND)
    left = wanted.intersection(whole).difference(centres.buffer(cutter + MADE, quad_segs=ROUND))
    discs = []
    for _ in range(MOST_OVERCUTS):
        parts = [part for part in shapely.get_parts(left) if part.area > CRUMB / 10]
        if not parts:
            break
        new = [_over_tip(part, centres, cutter) for part in parts]
        discs += new
        left = left.difference(shapely.union_all(new))
    return shapely.union_all(discs) if discs else shapely.Polygon()


def _over_tip(part, centres, cutter):
    """A disc with the farthest point of a corner on its rim, towards where the cutter comes from.

    It comes from the nearest place it could stand at; in a passage too narrow for it, from the
    widest place.
    """
    corners = shapely.get_coordinates(part)
    away = shapely.distance(shapely.points(corners), centres)
    if not centres.is_empty and away.min() < 3 * cutter:
        tip = corners[away.argmax()]
        line = shapely.shortest_line(shapely.Point(tip), centres)
        middle = shapely.get_coordinates(line)[-1]
    else:
        middle = shapely.get_coordinates(shapely.maximum_inscribed_circle(part, tolerance=0.05))[0]
        tip = corners[np.hypot(*(corners - middle).T).argmax()]
    way = middle - tip
    centre = tip + way / max(np.hypot(*way), 1e-9) * (cutter - MADE / 2)
    return shapely.Point(centre).buffer(cutter, quad_segs=ROUND)


def _without_slivers(shape):
    """The same without tongues and slots thinner than 2 `SLIVER`, which rounding would cross."""
    for way in (-SLIVER, 2 * SLIVER, -SLIVER):
        shape = shape.buffer(way, join_style="mitre")
    return shape


def _what_stays(flat, rest, least):
    """The one piece that stays, and small ones too narrow to hold, which fall off."""
    parts, scrap = [], []
    for part in shapely.get_parts(rest):
        if part.geom_type == "Polygon":
            (scrap if _falls_off(part, flat, least) else parts).append(part)
    if not parts:
        raise LinkageError(f'"{flat.name}": nothing of it stays once what moves past is cut free; '
                           f"move the plate or what passes it")
    if len(parts) > 1:
        sizes = [mm(*np.diff(np.reshape(part.bounds, (2, 2)), axis=0)[0]) for part in
                 sorted(parts, key=lambda part: -part.area)]
        raise LinkageError(f'"{flat.name}": the relief cuts it in {len(parts)} pieces, of '
                           f"{' and '.join(sizes)} across; move the plate or what passes "
                           f"it", pieces=len(parts))
    holes = [hole for hole in parts[0].interiors if shapely.Polygon(hole).area > CRUMB]
    return shapely.Polygon(parts[0].exterior, holes), scrap


def _falls_off(part, flat, least) -> bool:
    return part.buffer(-least / 2).is_empty and part.area < SCRAP * flat.material.area


def narrowest(whole: BaseGeometry, left: BaseGeometry, widest: float = WIDEST) -> float:
    """Width of the narrowest ligament that a cut has made, mm; infinite above `widest`.

    A ligament w wide parts, or opens one hole into another or the edge, when w / 2 is taken off
    all round; what the plate as it was does by itself is not counted.

    Examples
    --------
    >>> plate = shapely.box(0, 0, 100, 40)
    >>> cut = plate.difference(shapely.box(20, 10, 40, 33))
    >>> round(narrowest(plate, cut), 3)
    7.0
    """
    more = _topology(left, 0.0) - _topology(whole, 0.0)

    def changed(half):
        return ((_topology(left, half) - _topology(whole, half)) != more).any()

    steps = np.linspace(0.0, widest / 2, 101)[1:]
    high = next((half for half in steps if changed(half)), None)
    if high is None:
        return np.inf
    low = high - steps[0]
    for _ in range(20):
        half = (low + high) / 2
        low, high = (low, half) if changed(half) else (half, high)
    return float(2 * high)


def _topology(shape, half):
    """How many pieces and holes a shape has with a border taken off."""
    parts = shapely.get_parts(shape.buffer(-half, quad_segs=32) if half else shape)
    return np.array([len(parts), sum(len(part.interiors) for part in parts)])


def _edge_distances(flat, removed):
    """From the cut to the plate's edge and every hole, mm; 0 where it opens into it."""
    rings = {"edge": shapely.Polygon(flat.material.exterior).exterior}
    for number, hole in enumerate(flat.material.interiors, 1):
        rings[f"hole {number}"] = hole
    return {name: float(shapely.distance(removed, ring)) for name, ring in rings.items()}


def cut_shape(flat: Flat, cut: Cut, unit: str) -> Plate:
    """The plate with its relief, new edges as arcs, corners rounded to what the file writes.

    Parameters
    ----------
    flat : Flat
    cut : Cut
    unit : {"mm", "in"}
        Length unit of the file.

    Returns
    -------
    Plate
        Holes that the relief leaves alone stay as they were written, and so does the outline.
    """
    shape, removed = flat.shape, cut.removed
    holes = [hole for hole in _holes(shape)
             if shapely.Polygon(hole_polygon(hole.shape)).distance(removed) > 1e-6]
    known = shapely.union_all([shapely.Polygon(hole_polygon(h.shape)) for h in holes])
    rounds = _old_roundings(shape)
    new = [Hole(outline=_corners(flat, cut, ring, rounds, unit)) for ring in cut.left.interiors
           if not shapely.Polygon(ring).representative_point().within(known)]
    touched = removed.distance(flat.material.exterior) <= 1e-6
    outline = _corners(flat, cut, cut.left.exterior, rounds, unit) \
        if touched or isinstance(shape, Washer) else shape.outline
    return Plate(at=shape.at, normal=shape.normal, u=tuple(flat.axes[0].tolist())
                 if isinstance(shape, Washer) else shape.u, outline=outline,
                 thickness=shape.thickness, holes=(*holes, *new), clearance=shape.clearance,
                 material=getattr(shape, "material", None))


def as_made(flat: Flat, cut: Cut, shape: Plate, least: float) -> Cut:
    """The cut with its edges as the arcs and lines of a shape, its ligament measured again.

    Parameters
    ----------
    flat : Flat
    cut : Cut
    shape : Plate
        As `cut_shape` gives it.
    least : float
        Least ligament, mm.
    """
    left = material_of(shape)
    removed = flat.material.difference(left).intersection(cut.removed.buffer(2 * BAND))
    ligament = narrowest(flat.material, left, max(WIDEST, 1.02 * least))
    _refuse_narrow(flat, ligament, least)
    return dataclasses.replace(
        cut, growth=removed.difference(shapely.union_all([cut.need, cut.overcut])), left=left,
        overcut=cut.overcut.intersection(removed), ligament=ligament,
        edges=_edge_distances(flat, removed))


def _refuse_narrow(flat, ligament, least) -> None:
    if ligament < least:
        raise LinkageError(
            f'"{flat.name}": the relief leaves {mm(round(ligament, 2))} of it at the narrowest, '
            f"and {mm(least)} is the least; move the plate or what passes it, or give a smaller "
            f"least ligament", ligament=ligament)


def _old_roundings(shape) -> list:
    """Rounded corners of a plate as it was, and what stands for each in its polygons."""
    if isinstance(shape, Washer):
        return []
    known = roundings(shape.outline, outline_polygon(shape.outline))
    for hole in shape.holes:
        if hole.outline is not None:
            known += roundings(hole.outline, hole_polygon(hole.outline))
    return known


def _holes(shape):
    if isinstance(shape, Washer):
        return (Hole(at=(0.0, 0.0), diameter=shape.inside),) if shape.inside else ()
    return shape.holes


def _corners(flat, cut, ring, rounds, unit):
    """Corners of a ring, counter-clockwise, without those that rounding makes one or in line."""
    own = LENGTHS[unit]
    rows = kept_roundings(fitted(cut.left, flat.material, ring), rounds)
    rounded_here = {corner for corner, _ in rounds}
    spots = np.round(np.array([row[:2] for row in rows]) / own.mm, own.written_digits) * own.mm
    again = np.abs(spots - np.roll(spots, 1, axis=0)).max(axis=1) < 1e-9
    kept = [k for k in range(len(rows)) if not again[k] or len(rows[k]) == 3]
    done = []
    for n, k in enumerate(kept):
        place = tuple((spots[k] + 0.0).tolist())
        if rows[k] in rounded_here:
            done.append(rows[k])
        elif len(rows[k]) == 3:
            done += _rounding(spots, (kept[n - 1], k, kept[(n + 1) % len(kept)]), own)
        else:
            done.append(place)
    return tuple(done)


def _rounding(spots, three, own) -> list:
    """The corner of an arc with the largest radius that its sides, as written, have room for."""
    before, here, after = (spots[k] for k in three)
    one, two = here - before, after - here
    turn = abs(np.arctan2(one[0] * two[1] - one[1] * two[0], one @ two))
    room = min(np.hypot(*one), np.hypot(*two)) - 1e-7
    size = 10.0**own.written_digits
    radius = float(np.floor(room / np.tan(turn / 2) / own.mm * size) / size) if turn > 1e-6 else 0.0
    place = tuple((here + 0.0).tolist())
    return [(*place, radius * own.mm)] if radius > 0 else []


def with_shape(model: Model, name: str, shape: Plate) -> Model:
    """The model with another shape in place of a solid."""
    part, solid = name.split("/")
    home = model.airframe if part == AIRFRAME else model.bodies[part]
    home = dataclasses.replace(home, solids=home.solids | {solid: shape})
    if part == AIRFRAME:
        return dataclasses.replace(model, airframe=home)
    return dataclasses.replace(model, bodies=model.bodies | {part: home})


def least_ligament(flat: Flat, wanted: float | None) -> float:
    """Least ligament, mm: as given, else 6 mm or twice the thickness, whichever is more."""
    if wanted is not None and not wanted > 0:
        raise LinkageError(f"the least ligament is {mm(wanted)}; give more than {mm(0)}")
    return max(6.0, 2 * flat.thickness) if wanted is None else wanted


def said_area(mm2: float, unit: str) -> str:
    """An area for a person, in the square of the file's unit.

    Examples
    --------
    >>> said_area(645.16, "in"), said_area(10.0, "mm")
    ('1.000 in²', '10.0 mm²')
    """
    return f"{mm2 / LENGTHS[unit].mm**2:.{LENGTHS[unit].area_digits}f} {unit}²"


def said_width(mm: float, unit: str) -> str:
    """A width for a person, or that it is more than is measured."""
    if np.isfinite(mm):
        return shown_length(mm, unit)
    return f"over {shown_length(WIDEST, unit, 1)}"
