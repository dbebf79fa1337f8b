"""What the page is given: one JSON head and two blocks of float32, the shapes and the grid.

Format 4
--------
`head` is JSON, from a kernel its text; `shapes` is points (x, y, z), mm; `grid` is numbers.
Everything is little-endian.

Positions of inputs, in the head and in what the page and the kernel tell each other, are in degrees
and mm; ``per`` of the input makes what is shown of them.

- ``length``: the file's length unit: name, mm (of one), digits (shown), step (of a slider);
  ``typed``: what may be typed, {"length": {word: mm}, "angle": {word: degrees}}; ``words``: how
  the library says what the page says too.
- ``inputs[k]``: name, unit (shown and typed), per (degrees or mm of one), digits (shown), step (of
  a slider, in the unit), travel (wanted, [least, greatest]), words (what - and + are called),
  signed (true: a position is said with its sign, for want of words),
  axis ([start, step, count] of its grid positions), held (true: the grid stands still along it
  for some body, so the kernel has to make another).
- ``bodies[b]``: name, on (index of what carries it), inputs (which k its grid has, at most two,
  the last varying quickest), origin (its pivot at neutral, mm), at (first of its numbers in
  `grid`; 12 per position, rows of [R | t]: a place p of the body is at R p + t, p counted from
  the origin), points ({name: [x, y, z]} from the origin).  ``bodies[0]`` is the airframe: no
  inputs, no grid, origin 0.
- ``rods[r]``: name, ends ([[b, x, y, z], [b, x, y, z]] from the origin of b), points (the two
  addresses), length (mm), radius (mm or null).  A rod is where its two ends are.
- ``surfaces[s]``: name, words (what - and + are called), inputs, deflection and gearing
  ({input: ...}): first of their numbers in `grid`, one per position; body (b), and as drawn at
  neutral, from the origin of b: middle and half (a vector) of the hinge line, edge (a vector from
  it to the trailing edge), chord (mm, null where the file has none, so that edge is a stand-in).
  The file knows no span: half of it is that of the body's points, or else one chord.
- ``servos[n]``: name, body (b): what its arm is.
- ``solids[i]``: name, carriers ([b], or the bodies under the two ends of a rod), pieces (convex:
  [first point in `shapes`, count, radius]), bars (to draw: chains of round bar [first, count,
  radius]), faces (to draw: flat regions, each a list of loops [first, count], holes after the
  outside).  Points count from the carrier's origin; of a rod, each from its own carrier's.
- ``pairs[n]``: [first solid, second solid, required mm, rule, [k of the inputs that move it],
  [which of `kept` stands for the first, for the second]]; -1 is the whole solid, and of a pair
  of two whole ones the list is left out.
- ``forms``: what is asked of a new part of each kind, ``{kind: [[key, label, example]]}``.
- ``offered[r]``: a relief that may be tried: solid (i), name, pieces and faces then, and kept
  ({n: m}): for the pairs that share a joint, which of `kept` stands for it.
- ``kept[m]``: a solid less what lies at the joint that a pair shares: carriers and pieces as of a
  solid; of a rod the two points are its ends, followed by [start, stop], shares of the way.

Anything out of reach is NaN, and a place next to a NaN is out of reach too.
"""

from __future__ import annotations

import dataclasses
import itertools
import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..clearances import scene_of
from ..gearing import deflection_words, input_ways, position_unit, sense_word
from ..geometry.triangles import Triangles, coarser
from ..model import AIRFRAME
from ..model.surfaces import DRAWN
from ..motion import System, body_of
from ..units import CAUTION
from .grid import Grid, held_inputs, make_grid
from .new_part import forms
from .typed import unit_words
from .wording import length_unit, page_words, shown_position

FORMAT = 4
DRAWN_WITHIN = 0.2  # mm that a drawn arc may be off
CHORD = 200.0  # mm, drawn for a surface of which the file has no chord
THICK = 4.0  # mm of a plate from which its edges are drawn as faces, long ones


@dataclass(frozen=True, eq=False)
class Payload:
    """What a page draws from.

    Attributes
    ----------
    head : dict
        JSON; see the module.
    shapes, grid : bytes
        float32, little-endian.
    """

    head: dict
    shapes: bytes
    grid: bytes


def make_payload(system: System, held: dict | None = None, box: dict | None = None,
                 reliefs: Sequence = ()) -> Payload:
    """Everything a page needs to draw a system at any stick position.

    Parameters
    ----------
    system : System
    held : dict, optional
        Positions of inputs that the grid stands still along.
    box : dict, optional
        What the grid covers, ``{input: (least, greatest)}``; 10 past the wanted travel unless
        given.
    reliefs : sequence of Relief
        Such as a person may try on the page.

    Returns
    -------
    Payload
    """
    grid, points, numbers = make_grid(system, held, box), _Block(3), _Block(1)
    names = [AIRFRAME, *system.model.bodies]
    index = {name: b for b, name in enumerate(names)}
    head = {"format": FORMAT, "title": system.model.title, "caution": " ".join(CAUTION.split()),
            "length": length_unit(system.model.length), "words": page_words(),
            "typed": {kind: unit_words(kind) for kind in ("length", "angle")},
            "inputs": _inputs(system, grid),
            "bodies": [_body(system, grid, name, index, numbers) for name in names],
            "driven": [index[n] for n, b in system.model.bodies.items() if b.input],
            "rods": [_rod(system, name, grid.origins, index) for name in system.model.rods],
            "surfaces": [_surface(system, grid, s, numbers) for s in system.model.surfaces],
            "servos": [{"name": name, "body": index[servo.body]}
                       for name, servo in system.model.servos.items()]}
    head |= _solids_and_pairs(scene_of(system), grid, index, points)
    head["forms"] = forms()
    head["offered"] = [_offered(relief, head, grid, index, points) for relief in reliefs]
    return Payload(head, points.bytes(), numbers.bytes())


def _solids_and_pairs(scene, grid, index, points) -> dict:
    """Solids, the pairs of them that matter, and what is kept of each where a joint is left out."""
    solids = list(scene.model.solids)
    drawn = [_solid(scene, name, grid.origins, index, points) for name in solids]
    rests = _Kept(scene, grid.origins, index, points)
    pairs = _pairs(list(scene.pairs.values()), {name: i for i, name in enumerate(solids)},
                   {a.name: k for k, a in enumerate(grid.axes)}, rests)
    return {"solids": drawn, "pairs": pairs, "kept": rests.solids}


def _pairs(every, at, axis, rests) -> list[list]:
    """Rows of pairs; what many have alike is made once."""
    inputs = {names: [axis[n] for n in names if n in axis] for names in {p.inputs for p in every}}
    required = {size: round(size, 6) for size in {p.required for p in every}}
    return [[at[p.first], at[p.second], required[p.required], p.rule, inputs[p.inputs],
             *(rests.of(p) if p.joined else ())] for p in every]


def _offered(relief, head, grid, index, points) -> dict:
    """A solid as a relief leaves it, and what is then kept of it for pairs that share a joint."""
    scene = scene_of(System(relief.model))
    solid = next(i for i, s in enumerate(head["solids"]) if s["name"] == relief.name)
    made, rests = _solid(scene, relief.name, grid.origins, index, points), _Kept(
        scene, grid.origins, index, points)
    kept = {}
    for n, (first, second, *_) in enumerate(head["pairs"]):
        name = f'{head["solids"][first]["name"]} | {head["solids"][second]["name"]}'
        if solid in (first, second) and (both := rests.of(scene.pairs[name])):
            kept[str(n)] = both[0][0 if solid == first else 1]
    first = len(head["kept"])
    head["kept"] += rests.solids
    return {"solid": solid, "name": relief.name, "pieces": made["pieces"], "faces": made["faces"],
            "kept": {n: first + m for n, m in kept.items() if m >= 0}}


def as_json(head: dict) -> str:
    """JSON of a head that stays harmless inside a page, whatever the names in it are."""
    text = json.dumps(head, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


class _Block:
    """Numbers put one after another; `put` tells where each lot begins."""

    def __init__(self, width):
        self.width, self.lots, self.count = width, [], 0

    def put(self, values) -> int:
        values = np.asarray(values, dtype=np.float32).reshape(-1, self.width)
        first, self.count = self.count, self.count + len(values)
        self.lots.append(values)
        return first

    def put_each(self, lots, origin) -> list[list]:
        """Several lots from an origin put at once; where each begins, and its count."""
        counts = [len(lot) for lot in lots]
        at = self.put(np.concatenate(lots) - origin) if lots else self.count
        return [[at + end - count, count]
                for end, count in zip(itertools.accumulate(counts), counts, strict=True)]

    def bytes(self) -> bytes:
        return np.concatenate(self.lots or [np.zeros((0, self.width), np.float32)]
                              ).astype("<f4").tobytes()


class _Kept:
    """Solids less what lies at a joint, for the pairs that share it; -1 stands for the whole."""

    def __init__(self, scene, origins, index, points):
        self.scene, self.origins, self.index, self.points = scene, origins, index, points
        self.solids, self._known = [], {}

    def of(self, pair) -> list:
        """Both numbers of a pair at a joint, in a list; nothing where both solids are whole."""
        if not self.scene.balls(pair):
            return []
        both = [self._number(pair, name) for name in (pair.first, pair.second)]
        return [both] if max(both) >= 0 else []

    def _number(self, pair, name) -> int:
        solid = self.scene.solid_of(pair, name)
        if solid is self.scene.solid(name):
            return -1
        if solid not in self._known:
            self._known[solid] = len(self.solids)
            on = [self.index[body] for body in solid.carriers]
            self.solids.append({"carriers": on, "pieces": self._pieces(solid)})
        return self._known[solid]

    def _pieces(self, solid) -> list:
        """Pieces as in `solids`; of a rod the rod's ends, and the piece's shares of the way."""
        origin = np.array([self.origins.get(body, (0.0, 0.0, 0.0)) for body in solid.carriers])
        if isinstance(solid.pieces, Triangles):
            return _drawn(solid.pieces, origin, self.points)
        if solid.ends is None:
            return _put_pieces(self.points, solid, origin)
        way = solid.ends[1] - solid.ends[0]
        return [[self.points.put(solid.ends - origin), 2, round(p.radius, 6),
                 ((p.points - solid.ends[0]) @ way / (way @ way)).tolist()] for p in solid.pieces]


def _inputs(system, grid) -> list:
    held = held_inputs(system)
    return [{"name": a.name, **shown_position(*position_unit(system, system.inputs[a.name])),
             "travel": list(system.inputs[a.name].travel),
             "words": [sense_word(system, a.name, end) for end in (False, True)],
             "signed": input_ways(system.model, a.name) is None,
             "axis": [a.start, a.step, a.count], "held": a.name in held} for a in grid.axes]


def _body(system, grid: Grid, name, index, numbers) -> dict:
    model = system.model
    if name == AIRFRAME:
        return {"name": name, "on": 0, "inputs": [], "origin": [0.0, 0.0, 0.0], "at": None,
                "points": {p: _short(point.position) for p, point in model.airframe.points.items()}}
    body, origin = model.bodies[name], np.array(grid.origins[name])
    return {"name": name, "on": index[body.on], "inputs": list(grid.inputs[name]),
            "origin": list(grid.origins[name]), "at": numbers.put(grid.placements[name]),
            "points": {p: _short(np.subtract(point.position, origin))
                       for p, point in body.points.items()}}


def _rod(system, name, origins, index) -> dict:
    rod, ends = system.model.rods[name], []
    for end in rod.ends:
        body = body_of(end)
        local = np.subtract(system.model.position(end), origins.get(body, (0.0, 0.0, 0.0)))
        ends.append([index[body], *_short(local)])
    return {"name": name, "ends": ends, "points": list(rod.ends),
            "length": system.model.rod_length(name),
            "radius": None if rod.diameter is None else rod.diameter / 2}


def _surface(system, grid, name, numbers) -> dict:
    return {"name": name, "words": list(deflection_words(system, name)),
            "inputs": list(grid.surface_inputs[name]), **_hinged(system, grid, name),
            "deflection": numbers.put(grid.deflections[name]),
            "gearing": {n: numbers.put(rate) for n, rate in grid.gearings[name].items()}}


def _hinged(system, grid, name) -> dict:
    """The hinge line and the trailing edge of a surface as drawn."""
    surface, model = system.model.surfaces[name], system.model
    body, origin = model.bodies[surface.body], np.array(grid.origins[surface.body])
    u = np.array(body.direction)
    chord = CHORD if surface.chord is None else surface.chord
    aft = np.array((1.0, 0.0, 0.0)) - u * u[0]
    aft = aft / np.linalg.norm(aft) if np.linalg.norm(aft) > 1e-9 else np.zeros(3)
    places = [origin, *(point.position for point in body.points.values())]
    places += [body.through] if body.through is not None else []
    along = [float(u @ np.subtract(place, origin)) for place in places]
    half = max((max(along) - min(along)) / 2, chord)
    return {"body": list(model.bodies).index(surface.body) + 1, "chord": surface.chord,
            "middle": _short(u * (max(along) + min(along)) / 2), "half": _short(u * half),
            "edge": _short(aft * chord)}


def _solid(scene, name, origins, index, points) -> dict:
    solid, shape = scene.solid(name), scene.placed(name)
    origin = np.array([origins.get(body, (0.0, 0.0, 0.0)) for body in solid.carriers])
    is_mesh = isinstance(solid.pieces, Triangles)
    if is_mesh:
        pieces = _drawn(solid.pieces, origin, points)
        faces = [[piece[:2]] for piece in pieces]
    else:
        pieces = _put_pieces(points, solid, origin)
        faces = _put_faces(points, shape, origin)
    return {"name": name, "carriers": [index[body] for body in solid.carriers], "pieces": pieces,
            "bars": [] if faces or is_mesh else pieces, "faces": faces}


def _put_faces(points, shape, origin) -> list[list]:
    faces = _faces(shape)
    loops = iter(points.put_each([loop for face in faces for loop in face], origin))
    return [[next(loops) for _ in face] for face in faces]


def _drawn(surface, origin, points) -> list:
    """Pieces of a mesh: fewer triangles than it has, grown by how far they may lie off it."""
    corners, off = coarser(surface.corners, DRAWN)
    first, radius = points.put(corners.reshape(-1, 3) - origin), round(surface.radius + off, 6)
    return [[first + 3 * k, 3, radius] for k in range(len(corners))]


def _put_pieces(points, solid, origin) -> list[list]:
    places = points.put_each([p.points for p in solid.pieces], origin)
    return [[*at, round(p.radius, 6)] for at, p in zip(places, solid.pieces, strict=True)]


@lru_cache(maxsize=1024)  # after a change of one point all other shapes are drawn as before
def _faces(shape) -> list:
    return shape.faces(DRAWN_WITHIN, THICK)


def _short(point) -> list:
    return [round(float(k), 6) for k in point]


def as_plain(payload: Payload) -> dict:
    """A payload as one JSON-ready dict, its blocks in base64."""
    import base64

    return {**dataclasses.asdict(payload),
            "shapes": base64.b64encode(payload.shapes).decode(),
            "grid": base64.b64encode(payload.grid).decode()}
