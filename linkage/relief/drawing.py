"""What a template shows of a plate, in mm, before it is written in any format."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from ..model import AIRFRAME, Model, Plate, Washer
from ..units import CAUTION, LENGTHS, shown_length
from .cut import said_area
from .flat import Flat

LAYERS = {"cut outside": 1, "cut inside": 3, "new edge": 1, "hole centres": 5, "pivots": 6,
          "stations": 8, "words": 7, "scale": 2, "keep clear": 4, "old edge": 30}  # colour number
LEGEND = {"cut outside": "edge of the part as it is to be", "new edge": "new edge to cut",
          "old edge": "old edge, to be taken away", "keep clear": "keep clear: what moves past, "
          "with its clearance", "stations": "axis of stations, with ticks",
          "hole centres": "middle of a hole, with its size", "pivots": "pivot or joint, with its "
          "hole where the file gives it"}
STATIONS = ("FS", "BL", "WL")
SIDES = ("from aft", "from the right", "from above")
OFF_PLANE = 25.0  # mm off the plate's middle within which a point of its part is marked
MARGIN = 12.0
LETTERS = 3.0  # height, mm
LETTER = 0.62  # width of a letter, of its height
SAMPLE = 12.0  # mm of a line in the legend


@dataclass(frozen=True)
class Word:
    """A line of text that starts at u, v."""

    layer: str
    at: tuple[float, float]
    text: str
    height: float = LETTERS


@dataclass(frozen=True)
class Drawing:
    """A template, seen from one side, at full size.

    Attributes
    ----------
    name : str
    unit : {"mm", "in"}
    contours : tuple of (str, Contour)
        With their layers.
    lines : tuple of (str, ndarray (n, 2))
        Open lines with their layers, mm.
    words : tuple of Word
        At their places on the part.
    bounds : tuple of float
        Least u and v, greatest u and v, of all that, mm.
    notes : tuple of str
        Sentences below it, the title first.
    """

    name: str
    unit: str
    contours: tuple
    lines: tuple
    words: tuple
    bounds: tuple
    notes: tuple = ()

    @property
    def legend(self) -> dict:
        """What each kind of line that it has stands for, by its layer."""
        there = {layer for layer, _ in (*self.contours, *self.lines)}
        return {layer: words for layer, words in LEGEND.items() if layer in there}

    @property
    def area(self) -> float:
        """Area of the part, mm²."""
        return sum(contour.area * (1 if layer == "cut outside" else -1)
                   for layer, contour in self.contours)


def draw(model: Model, flat: Flat, notes: Sequence[str] = (), regions: dict | None = None, *,
         mirrored: bool = False) -> Drawing:
    """Template of a plate as it stands.

    Parameters
    ----------
    model : Model
    flat : Flat
    notes : sequence of str
        Lines to print besides.
    regions : dict, optional
        ``{layer: shapely geometry}`` to outline besides, mm; what lies far off the plate is left
        out.
    mirrored : bool
        Draw the part for the other side instead.

    Returns
    -------
    Drawing
    """
    facing = int(np.argmax(np.abs(flat.axes[2])))
    flip = (flat.axes[2, facing] < 0) != mirrored
    outside, inside = flat.outside, flat.inside
    if flip:
        outside, inside = outside.flipped(), tuple(hole.flipped() for hole in inside)
    contours = (("cut outside", outside), *(("cut inside", hole) for hole in inside))
    box = np.array([outside.drawn().min(axis=0), outside.drawn().max(axis=0)])
    ways = flat.axes[:2] * [[-1.0 if flip else 1.0], [1.0]]
    lines, words = _station_axes(model, flat, ways, box, mirrored)
    for more in (_hole_marks(model, inside), _pivot_marks(model, flat, flip, outside),
                 _station_marks(model, flat, flip),
                 (_outlined(regions or {}, flip, box), [])):
        lines, words = lines + more[0], words + more[1]
    title = f"{flat.name}{', mirrored for the other side' if mirrored else ''}"
    area = outside.area - sum(hole.area for hole in inside)
    sentences = (title, _what_it_shows(model, flat, facing, area), *notes,
                 "Print at 100 %, and measure the bar before you use it.", *CAUTION.split("\n"))
    return Drawing(title, model.length, contours, tuple(lines), tuple(words),
                   _bounds(contours, lines, words), sentences)


def _bounds(contours, lines, words) -> tuple:
    """Least and greatest u and v of lines and words."""
    spots = np.concatenate([*(contour.drawn() for _, contour in contours),
                            *(np.asarray(line) for _, line in lines),
                            *(np.array(box_of(word)) for word in words)])
    return (*(spots.min(axis=0) - 1.0).tolist(), *(spots.max(axis=0) + 1.0).tolist())


def box_of(word: Word) -> tuple:
    """Two corners that hold a line of text, mm."""
    (u, v), tall = word.at, word.height
    return (u, v - 0.3 * tall), (u + LETTER * tall * len(word.text), v + tall)


def _what_it_shows(model, flat, facing, area) -> str:
    side = SIDES[facing] if abs(flat.axes[2, facing]) > 0.9 else f"square to it, {SIDES[facing]}"
    return (f"seen {side}; thickness {shown_length(flat.thickness, model.length)}; area "
            f"{said_area(area, model.length)}")


def _station_axes(model, flat, ways, box, mirrored):
    """Both axes through [0, 0] with ticks at round stations, or at round distances from it."""
    lines, words = [], []
    for axis, way in enumerate(ways):
        k = int(np.argmax(np.abs(way)))
        exact = abs(way[k]) > 1 - 1e-9
        sense, origin = (float(np.sign(way[k])), flat.origin[k]) if exact else (1.0, 0.0)
        if mirrored and k == 1 and exact:
            sense, origin = -sense, -origin
        low, high = box[0][axis] - MARGIN / 2, box[1][axis] + MARGIN / 2
        other = float(np.clip(0.0, *box[:, 1 - axis]))
        lines.append(("stations", _turned([(low, other), (high, other)], axis)))
        ticks, numbers = _ticks(model.unit, (axis, other), (low, high), (sense, origin))
        lines, words = lines + ticks, words + numbers
        name = STATIONS[k] if exact else f"from [0, 0], {STATIONS[k]} about"
        zero = f" {origin / model.unit.mm:.3f} at [0, 0]" if exact else ""
        spot = (high + 1.0, other) if axis == 0 else (other - 2 * LETTERS, high + 2.0)
        words.append(Word("stations", spot, f"{name}{zero}"[:40], 0.7 * LETTERS))
    return lines, words


def _ticks(unit, line, span, station):
    """Ticks at round stations along an axis, the longer ones with their number."""
    (axis, other), (low, high), (sense, origin) = line, span, station
    lines, words = [], []
    ends = sorted((origin + sense * low, origin + sense * high))
    every = max(1, math.ceil(12.0 / unit.tick)) * max(1, round((high - low) / 200.0))
    for n in range(math.ceil(ends[0] / unit.tick), math.floor(ends[1] / unit.tick) + 1):
        here = sense * (n * unit.tick - origin)
        long = 2.0 if n % every == 0 else 1.0
        lines.append(("stations", _turned([(here, other - long), (here, other + long)], axis)))
        if n % every == 0:
            aside = (here + 0.8, other + 2.5)  # not on the other axis, where that runs through it
            words.append(Word("stations", tuple(_turned([aside], axis)[0].tolist()),
                              f"{n * unit.tick / unit.mm:g}", 0.6 * LETTERS))
    return lines, words


def _turned(places, axis):
    return np.array(places)[:, ::-1] if axis else np.array(places)


def _cross(layer, at, size):
    (u, v), s = at, size
    bars = [(u - s, v), (u + s, v)], [(u, v - s), (u, v + s)]
    return [(layer, np.array(bar)) for bar in bars]


def _hole_marks(model, holes):
    lines, words = [], []
    for hole in holes:
        for at in hole.centres:
            lines += _cross("hole centres", at, hole.diameter / 2 + 2.0)
        if hole.centres:
            u, v = hole.centres[0]
            words.append(Word("hole centres", (u + hole.diameter / 2 + 1, v + 1),
                              f"dia {shown_length(hole.diameter, model.length)}", 0.7 * LETTERS))
    return lines, words


def _pivot_marks(model, flat, flip, outside):
    """Pivots whose axis runs through the plate, and points of its part close to its plane."""
    shape = shapely.Polygon(outside.drawn())
    turns = np.linspace(0, 2 * np.pi, 25)
    lines, words = [], []
    for name, (u, v) in (_pivots_through(model, flat) | _points_near(model, flat)).items():
        at = (-u if flip else u, v)
        if not shape.covers(shapely.Point(at)):
            continue
        lines += _cross("pivots", at, 4.0)
        lines.append(("pivots", np.stack((at[0] + 2.0 * np.cos(turns),
                                          at[1] + 2.0 * np.sin(turns)), axis=1)))
        words.append(Word("pivots", (at[0] + 3.0, at[1] - 3.0),
                          f"{name}, {_hole_words(model, flat, name)}", 0.7 * LETTERS))
    return lines, words


def _hole_words(model, flat, name) -> str:
    """Size of the hole at a pivot or joint, where a joint of the file gives it."""
    address = f"{name.removeprefix('pivot of ')}/pivot" if name.startswith("pivot of ") else \
        f"{flat.body}/{name}"
    for joint in model.joints.values():
        size = joint.hole or joint.bolt
        if size and address in ((joint.at,) if isinstance(joint.at, str) else joint.at):
            return f"hole dia {shown_length(size, model.length)}"
    return "hole not in the file"


def _station_marks(model, flat, flip):
    """Places of a new edge of a curved skin, with the stations that they lie at."""
    lines, words = [], []
    for place in getattr(flat, "marks", ()):
        at = (-place[0] if flip else place[0], place[1])
        lines += _cross("stations", at, 1.0)
        words.append(Word("stations", (at[0] + 1.2, at[1] + 0.8), flat.station_words(
            place, model.length), 0.5 * LETTERS))
    return lines, words


def _pivots_through(model, flat) -> dict:
    """Where the axis of a body that turns on the plate, or with it, runs through its middle."""
    places = {}
    for name, body in model.bodies.items():
        if flat.body in (name, body.on) and not body.slides:
            way, start = flat.axes @ body.direction, flat.axes @ (body.centre - flat.origin)
            if abs(way[2]) > 0.1 and abs(start[2]) <= 2 * OFF_PLANE:
                places[f"pivot of {name}"] = start[:2] - way[:2] * start[2] / way[2]
    return places


def _points_near(model, flat) -> dict:
    places = {}
    for address in model.points:
        part, point = address.split("/")
        if part == flat.body and (point != "pivot" or part == AIRFRAME):
            u, v, w = flat.axes @ (np.array(model.position(address)) - flat.origin)
            if abs(w) <= OFF_PLANE:
                places[point] = np.array([u, v])
    return places


def _outlined(regions, flip, box):
    """Rings of regions near the plate."""
    near = shapely.box(*(box[0] - MARGIN), *(box[1] + MARGIN))
    lines = []
    for layer, region in regions.items():
        if flip:
            region = shapely.transform(region, lambda places: places * (-1.0, 1.0))
        for part in shapely.get_parts(region.simplify(0.02).intersection(near)):
            rings = (part.exterior, *part.interiors) if part.geom_type == "Polygon" else \
                (part,) if part.geom_type == "LineString" else ()
            lines += [(layer, shapely.get_coordinates(ring)) for ring in rings]
    return lines


def foot(drawing: Drawing, wide: float, *, legend: bool) -> tuple[list, list, float]:
    """What stands below a part: its scale bar, the sentences, and what its lines stand for.

    Parameters
    ----------
    drawing : Drawing
    wide : float
        Room for a line of words, mm.
    legend : bool
        Whether samples of lines are drawn; a cutter would follow them.

    Returns
    -------
    (list of (str, ndarray), list of Word, float)
        Lines and words with their upper left corner at 0, 0, and how far they reach down, mm.
    """
    own = LENGTHS[drawing.unit]
    lines, top = bar_lines(drawing.unit, (0.0, -5.0)), -5.0
    words = [Word("scale", (0.0, top - 1.4 * LETTERS),
                  f"This bar is {shown_length(own.bar, drawing.unit, 0)} long.")]
    y, size = top - 3.2 * LETTERS, 0.8 * LETTERS
    for n, sentence in enumerate(drawing.notes):
        tall = LETTERS * 1.1 if n == 0 else size
        for line in textwrap.wrap(sentence, max(20, int(wide / (LETTER * tall)))) or [""]:
            words.append(Word("words", (0.0, y), line, tall))
            y -= 1.5 * tall
    for layer, text in drawing.legend.items() if legend else ():
        lines.append((layer, np.array([(0.0, y + 0.3 * size), (SAMPLE, y + 0.3 * size)])))
        words.append(Word("words", (SAMPLE + 3.0, y), text, size))
        y -= 1.7 * size
    return lines, words, -y


def bar_lines(unit: str, at: tuple[float, float]) -> list:
    """A scale bar with its ticks, from its left end."""
    (left, top), own = at, LENGTHS[unit]
    tick = own.bar / own.bar_parts
    lines = [("scale", np.array([(left, top), (left + own.bar, top)]))]
    for n in range(own.bar_parts + 1):
        x, long = left + n * tick, 3.0 if n in (0, own.bar_parts) else 1.5
        lines.append(("scale", np.array([(x, top), (x, top + long)])))
    return lines


def notes_of_faces(model: Model, name: str) -> tuple[str, ...]:
    """What to say of a plate that is one flat face among others of its part."""
    part = name.split("/")[0]
    own = [shape for address, shape in model.solids.items()
           if address.split("/")[0] == part and isinstance(shape, (Plate, Washer))]
    if part == AIRFRAME or len({tuple(np.round(_normal(shape), 6)) for shape in own}) < 2:
        return ()
    return ("One flat face of a part that has others; this is no flat pattern of a bend.",)


def _normal(shape):
    normal = shape.axes[2]
    return normal * np.sign(normal[np.argmax(np.abs(normal))])
