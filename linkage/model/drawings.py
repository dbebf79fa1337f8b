"""Outlines of plates from the drawings that they are cut from: DXF and SVG."""

from __future__ import annotations

import itertools
import logging
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ..errors import FileError, LinkageError, mm, nearest
from ..geometry.loops import (
    Arc,
    Circle,
    Curve,
    Sweep,
    corners_of,
    loops_of,
    samples_of,
    signed_area,
)
from ..units import LENGTHS
from .keys import MOST_MM
from .svg_drawings import of_drawing, read_svg, svg_edges

if TYPE_CHECKING:
    from collections.abc import Sequence

MOST_EDGES = 20_000
STEEPEST = 1e4  # bulge of all of a circle but its last 0.02 degrees
HIGHEST = 11  # degree of a spline
DEEP = 8  # blocks in each other that are followed
FLAT = 1e-6  # mm that a drawing may lie out of its plane
WORDS = {"TEXT", "MTEXT", "DIMENSION", "ARC_DIMENSION", "LEADER", "MULTILEADER", "POINT", "ATTDEF",
         "ATTRIB", "TOLERANCE", "HATCH", "IMAGE", "VIEWPORT", "XLINE", "RAY"}  # no edges to cut


@dataclass(frozen=True)
class DrawnPlate:
    """What a layer of a drawing says of a plate.

    Attributes
    ----------
    outline : list
        Corners ``[u, v]`` or ``[u, v, radius]``, mm.
    holes : list of dict
        As the keys of a hole: ``at`` and ``diameter`` of a round one, else ``outline``; mm.
    """

    outline: list
    holes: list


def read_drawing(path: Path | str, layer: str | None = None,
                 unit: str | None = None) -> DrawnPlate:
    """The plate that a DXF or SVG drawing shows.

    The largest loop is its outline, and those within it are its holes.

    Parameters
    ----------
    path : path
    layer : str, optional
        Needed where more than one layer, of an SVG group, has edges.
    unit : str, optional
        Of a DXF drawing that says none; an SVG has to say its own.

    Returns
    -------
    DrawnPlate

    Raises
    ------
    LinkageError
        When the file can't be read, says no unit, or its loops make no plate: one sentence that
        names the drawing, and the place in it.
    """
    try:
        edges = list(itertools.islice(_edges_in(Path(path), layer, unit), MOST_EDGES + 1))
        if len(edges) > MOST_EDGES:
            raise LinkageError(f"has more than {MOST_EDGES:,} edges on its layer; put the plate's "
                               f"own outline on a layer of its own")
        return _plate(edges)
    except FileError:
        raise
    except LinkageError as error:
        raise LinkageError(f"{Path(path).name} {error.sentence}", **error.facts) from error


def _edges_in(path, layer, unit) -> Iterator:
    if path.suffix.lower() != ".svg":
        document = read_dxf(path)
        return _edges(_on_layer(document, layer), unit_size(document, unit))
    if unit is not None:
        raise LinkageError("says its own unit by its width, as an SVG has to; take unit out")
    return svg_edges(read_svg(path), layer)


def read_dxf(path: Path | str) -> Any:
    """The document of a DXF file."""
    import ezdxf

    path = Path(path)
    of_drawing(path, "DXF", lambda file: file.open("rb").close())
    logging.getLogger("ezdxf").addHandler(logging.NullHandler())  # else it speaks on the terminal
    try:
        return ezdxf.readfile(path)
    except (ezdxf.DXFError, OSError, StopIteration, ArithmeticError, LookupError, TypeError,
            ValueError, AttributeError) as problem:
        raise FileError(f"{path}: is no DXF drawing that can be read ({type(problem).__name__}); "
                        f"save the plate's drawing as DXF again", path=str(path)) from problem


def unit_size(document: Any, unit: str | None) -> float:
    """Size of a unit of a drawing, mm.

    Parameters
    ----------
    document : ezdxf document
    unit : str or None
        Of a drawing that says none.
    """
    from ezdxf import units

    code = document.header.get("$INSUNITS", 0)
    if not code:
        if unit is None:
            raise LinkageError('says no unit ($INSUNITS); save it with one, or write unit = "mm" '
                               "or \"in\" beside it")
        return LENGTHS[unit].mm
    try:
        size = units.conversion_factor(code, units.MM)
    except (ValueError, IndexError, TypeError):
        raise LinkageError(f"is in a unit that is not known ($INSUNITS {str(code)[:12]}); save it "
                           f"in mm or in") from None
    if unit is not None and not math.isclose(LENGTHS[unit].mm, size):
        raise LinkageError(f'is in units of {size:g} mm and not in {unit}; leave out unit = '
                           f'"{unit}"')
    return size


def _on_layer(document, layer) -> list:
    """Entities of a layer, those of blocks too."""
    found = [entity for entity in _flattened(document.modelspace(), None, 0)
             if entity[0].dxftype() not in WORDS]
    layers = list(dict.fromkeys(name for _, name in found))
    if layer is None:
        _check_one_layer(layers)
        return [entity for entity, _ in found]
    mine = [entity for entity, name in found if name.casefold() == layer.casefold()]
    if not mine:
        raise LinkageError(f'has no edges on a layer "{layer}"; {nearest(layer, layers)}')
    return mine


def _check_one_layer(layers) -> None:
    """Refuse edges on several layers, of which none is named, or on none."""
    if not layers:
        raise LinkageError("has edges on 0 layers; draw the plate's outline")
    if len(layers) > 1:
        raise LinkageError(f"has edges on {len(layers)} layers ({', '.join(layers[:6])}); name "
                           f'one: layer = "..."')


def _flattened(entities, parent, depth) -> Iterator[tuple]:
    """Entities and their layers, blocks taken apart; layer 0 of a block is that of its insert."""
    for entity in entities:
        layer = entity.dxf.layer if entity.dxf.is_supported("layer") else "0"
        layer = parent if parent is not None and layer == "0" else layer
        if entity.dxftype() != "INSERT":
            yield entity, layer
        elif depth < DEEP:
            for each in entity.multi_insert() if entity.mcount > 1 else [entity]:
                yield from _flattened(each.virtual_entities(), layer, depth + 1)
        else:
            raise LinkageError(f"has blocks more than {DEEP} deep in each other; explode them")


# --- edges ---------------------------------------------------------------------------------------

def _edges(entities, size) -> Iterator:
    """Edges of entities, mm."""
    from ezdxf import DXFError

    for entity in entities:
        kind = entity.dxftype()
        if kind not in KINDS:
            raise LinkageError(f"has a {kind} on the layer, which is no edge that is known; draw "
                               f"it as lines, arcs, circles, ellipses or splines")
        try:
            yield from KINDS[kind](entity, size)
        except (DXFError, TypeError, ArithmeticError) as problem:
            why = " ".join(str(problem).split())[:60]
            raise LinkageError(f"has a {kind} that is not whole ({why}); draw it anew") from problem


def _number(value, what: str, most: float = MOST_MM) -> float:
    """A number of a drawing that can be one."""
    value = float(value)
    if not abs(value) <= most:
        raise LinkageError(f"has {what} of {value:g}; draw it anew within {most:g}")
    return value


def _flat(points, size) -> np.ndarray:
    """Places in the plane of the drawing, (n, 2), mm; refused where they leave it."""
    points = np.array([[p[0], p[1], p[2] if len(p) > 2 else 0.0] for p in points],
                      dtype=float) * size
    for value in points.flat:
        _number(value, "a coordinate")
    if np.ptp(points[:, 2]) > FLAT:
        raise LinkageError(f"is not flat at {mm(*points[0, :2])}: it rises by "
                           f"{mm(np.ptp(points[:, 2]))}; draw it in one plane")
    return points[:, :2]


def _seen(entity) -> float:
    """1 where an entity is drawn as seen from above, -1 from below; refused where it is tilted."""
    x, y, z = entity.dxf.get("extrusion", (0.0, 0.0, 1.0))
    if abs(x) > 1e-9 or abs(y) > 1e-9:
        raise LinkageError(f"has a {entity.dxftype()} that is tilted out of the drawing's plane; "
                           f"draw it in one plane")
    return math.copysign(1.0, z)


def _lines(entity, size):
    one, other = _flat([entity.dxf.start, entity.dxf.end], size).tolist()
    if one != other:
        yield Arc(tuple(one), tuple(other))


def _arcs(entity, size):
    seen, radius = _seen(entity), _radius(entity, size)
    (u, v), = _flat([entity.dxf.center], size).tolist()
    first, last = (math.radians(_number(angle, "an angle")) for angle in (
        entity.dxf.start_angle, entity.dxf.end_angle))
    turn = (last - first) % (2 * math.pi) or 2 * math.pi
    half = first + turn / 2
    ends = [(seen * (u + radius * math.cos(t)), v + radius * math.sin(t))
            for t in (first, half, first + turn)]
    bulge = seen * math.tan(turn / 8)
    yield Arc(ends[0], ends[1], bulge)
    yield Arc(ends[1], ends[2], bulge)


def _radius(entity, size) -> float:
    radius = _number(entity.dxf.radius, "a radius") * size
    if not radius > 0:
        raise LinkageError(f"has a {entity.dxftype()} of radius {mm(radius)}; give it one above 0")
    return radius


def _circles(entity, size):
    seen, radius = _seen(entity), _radius(entity, size)
    (u, v), = _flat([entity.dxf.center], size)
    yield Circle(np.array([seen * u, v]), np.array([radius, 0.0]), np.array([0.0, radius]), 0.0,
                  2 * math.pi)


def _corners_and_bulges(entity) -> tuple[list, bool]:
    """Rows (x, y, bulge) of either kind of polyline that the format has; whether it is closed."""
    if entity.dxftype() == "LWPOLYLINE":
        return entity.get_points("xyb"), entity.closed
    if entity.is_2d_polyline:
        return [(*p.dxf.location[:2], p.dxf.get("bulge", 0.0)) for p in entity.vertices], \
            entity.is_closed
    raise LinkageError("has a polyline in space or a mesh on the layer; draw it flat")


def _polylines(entity, size):
    rows, closed = _corners_and_bulges(entity)
    seen = _seen(entity)
    places = _flat([row[:2] for row in rows], size) * [seen, 1.0] if len(rows) else []
    ends = [tuple(place) for place in np.asarray(places).tolist()]
    for k, (one, other) in enumerate(zip(ends, [*ends[1:], *ends[:1]], strict=True)):
        if one != other and (closed or k < len(ends) - 1):
            yield Arc(one, other, seen * _number(rows[k][2], "a bulge", STEEPEST))


def _ellipses(entity, size):
    (u, v), _ = _flat([entity.dxf.center, entity.dxf.center], size)
    _seen(entity)
    major = _flat([entity.dxf.major_axis], size)[0]
    minor = _flat([entity.minor_axis], size)[0]
    first, last = (_number(angle, "an angle") for angle in (entity.dxf.start_param,
                                                            entity.dxf.end_param))
    turn = (last - first) % (2 * math.pi) or 2 * math.pi
    sweep = Sweep(np.array([u, v]), major, minor, first, first + turn)
    if major[0] * minor[1] < major[1] * minor[0]:  # seen from below it runs the other way
        sweep = Sweep(sweep.centre, major, -minor, -first, -first - turn)
    half = (sweep.first + sweep.last) / 2
    yield Sweep(sweep.centre, sweep.major, sweep.minor, sweep.first, half)
    yield Sweep(sweep.centre, sweep.major, sweep.minor, half, sweep.last)


def _splines(entity, size):
    from scipy.interpolate import BPoly, PPoly

    control = np.array([list(p) for p in entity.control_points], dtype=float).reshape(-1, 3)
    degree, knots = entity.dxf.degree, np.array(entity.knots, dtype=float)
    if len(control) <= degree or len(knots) != len(control) + degree + 1:
        raise LinkageError(f"has a spline without control points for its {len(knots)} knots (it "
                           f"has {len(control)}); save splines with theirs")
    places = _flat(control, size)
    weights = np.array(entity.weights or np.ones(len(places)), dtype=float)
    _check_spline(places, weights, knots, degree)
    rows = np.column_stack([places * weights[:, None], weights])
    pieces = [BPoly.from_power_basis(PPoly.from_spline((knots, row, degree))) for row in rows.T]
    for k, (one, other) in enumerate(itertools.pairwise(pieces[0].x)):
        if other > one and knots[degree] <= one < knots[len(control)]:
            yield Curve(np.stack([piece.c[:, k] for piece in pieces], axis=-1))


def _check_spline(places, weights, knots, degree) -> None:
    """Refuse a spline whose weights or knots make no curve."""
    if len(weights) != len(places) or not ((weights > 1e-6) & (weights < 1e6)).all():
        raise LinkageError(f"has a spline at {mm(*places[0])} with weights that are not above 0; "
                           f"draw it anew")
    if not (np.abs(knots) <= MOST_MM).all() or (np.diff(knots) < 0).any() or degree > HIGHEST:
        raise LinkageError(f"has a spline at {mm(*places[0])} whose knots are out of order; draw "
                           f"it anew")


KINDS = {"LINE": _lines, "ARC": _arcs, "CIRCLE": _circles, "LWPOLYLINE": _polylines,
         "POLYLINE": _polylines, "ELLIPSE": _ellipses, "SPLINE": _splines}


# --- the plate -----------------------------------------------------------------------------------

def _plate(edges: Sequence) -> DrawnPlate:
    """The plate whose edges these are."""
    import shapely

    loops = loops_of(edges)
    if not loops:
        raise LinkageError("has no edges on its layer; draw the plate's outline")
    loops.sort(key=lambda loop: -abs(signed_area(loop)))
    areas = [shapely.Polygon(places) if len(places := samples_of(loop)) > 2 else None
             for loop in loops]
    if None in areas:
        raise LinkageError(f"has a loop at {mm(*loops[areas.index(None)][0].start)} without area; "
                           f"take it out")
    _check_nesting(*areas)
    return DrawnPlate(_outline(loops[0]), [_hole(loop) for loop in loops[1:]])


def _check_nesting(outer, *holes) -> None:
    """Refuse a loop that is no hole of the outline, or lies in another hole."""
    for k, inner in enumerate(holes):
        middle = inner.representative_point() if inner.is_valid else inner.centroid
        if not outer.buffer(0).covers(middle):
            raise LinkageError(f"has two outlines, one of them about {mm(middle.x, middle.y)}; "
                               f"leave one on the layer")
        if any(other.buffer(0).covers(middle) for j, other in enumerate(holes) if j != k
               and other.area > inner.area):
            raise LinkageError(f"has a loop within a hole, about {mm(middle.x, middle.y)}; take it "
                               f"out")


def _outline(loop) -> list:
    (first, *rest) = loop
    if not rest and isinstance(first, Circle):
        left, right = (tuple((first.centre + side * first.major).tolist()) for side in (-1, 1))
        loop = [Arc(right, left, 1.0), Arc(left, right, 1.0)]
    return corners_of(loop, hole=False)


def _hole(loop) -> dict:
    (first, *rest) = loop
    if not rest and isinstance(first, Circle):
        return {"at": first.centre.tolist(), "diameter": 2 * float(np.hypot(*first.major))}
    return {"outline": corners_of(loop, hole=True)}
