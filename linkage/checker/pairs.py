"""Which pairs of solids there are, what each requires, and where its two parts are meant to touch.

Parts that share a joint are meant to touch within a ball about it; the rest of them is held apart.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from .lengths import AIRFRAME, part_of
from .solids import LOOSE, Line, Prism, holes_of, middle_line, pieces_of, plate_axes, rounded
from .vectors import dot, edges, minus, plus, spans

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from .reading import Machine, Rod

BALL, METAL = 25.4, 12.7  # mm about a joint, and of metal round the thickest tube through it
TOUCHING = 1e-6
SIDES = 16  # of the prism that holds a cut end of a tube


@dataclass(frozen=True)
class Pair:
    """Two solids held apart, in the frame of their nearest common carrier."""

    names: tuple
    required: float
    rule: str
    frame: str
    balls: tuple = ()  # (centre, radius) within which both are meant to touch

    @property
    def name(self) -> str:
        """Both names."""
        return " | ".join(self.names)


class Pairs:
    """The pairs of a machine of which one solid moves against the other."""

    def __init__(self, machine: Machine, needs: dict, built: bool = False):
        self.machine, self.needs, self.built = machine, needs, built
        self.pieces = {name: pieces_of(shape) for name, shape in machine.solids.items()}
        self.stops = {frozenset(stop["between"]) for stop in machine.stops.values()}
        self.rooms, self._all = {}, None

    def carriers(self, name: str) -> tuple[str, ...]:
        """Bodies that carry a solid: one, or one under each end of a rod."""
        rod = self.machine.rods.get(part_of(name))
        return (part_of(name),) if rod is None else tuple(part_of(end) for end in rod.ends)

    def all(self) -> list[Pair]:
        """Every pair, in the order of their names."""
        if self._all is None:
            self._all = list(self._moving())
        return self._all

    def _moving(self):
        names = sorted(self.machine.solids)
        for i, one in enumerate(names):
            for other in names[i + 1:]:
                if part_of(one) != part_of(other):
                    pair = self.pair(one, other)
                    if pair is not None:
                        yield pair

    def pair(self, one: str, other: str) -> Pair | None:
        """The pair of two solids; None where neither moves against the other."""
        carriers = self.carriers(one) + self.carriers(other)
        frame = self.machine.common(carriers)
        if not self.inputs(carriers, frame):
            return None
        rule = self.rule(frozenset((one, other)))
        if rule:
            return Pair((one, other), *rule, frame)
        shared = self.shared(one, other)
        balls = tuple(b for b in shared if all(self.meets(n, b) for n in (one, other)))
        return Pair((one, other), *self.required(one, other, bool(shared)), frame, balls)

    def rule(self, key: frozenset) -> tuple[float, str] | None:
        """What is required of a pair by a rule of its own, and that rule's name; None without."""
        if key in self.stops:
            return 0.0, "stop"
        if key not in self.machine.rules:
            return None
        require = self.machine.rules[key]
        return (0.0, "waived") if require is None else (require, "this pair")

    def inputs(self, carriers: tuple, frame: str) -> frozenset:
        """Inputs that move one of some bodies against another."""
        stays = set(self.machine.chain(frame))
        return frozenset().union(*(self.needs.get(joint, frozenset()) for body in carriers
                                   for joint in self.machine.chain(body) if joint not in stays))

    def inputs_of(self, pair: Pair) -> frozenset:
        """Inputs that move one solid of a pair against the other."""
        return self.inputs(tuple(c for n in pair.names for c in self.carriers(n)), pair.frame)

    def required(self, one: str, other: str, joined: bool) -> tuple[float, str]:
        """Clearance required of two solids, mm, and the class it comes from."""
        sizes, shapes = self.machine.clearance, self.machine.solids
        named = [shapes[n]["clearance"] for n in (one, other) if shapes[n].get("clearance")]
        if named:
            most = max(named, key=sizes.get)
            return sizes[most], most
        if joined:
            word = "joined"
        elif AIRFRAME in (part_of(one), part_of(other)):
            word = "structure"
        else:
            word = "same" if self.guides(one) & self.guides(other) else "different"
        return sizes[word], word

    def guides(self, name: str) -> set[str]:
        """What a solid's part rides on."""
        part = part_of(name)
        return set(self.carriers(name)) if part in self.machine.rods else \
            {self.machine.joints[part].on}

    # ---------------------------------------------------------------- shared joints

    def shared(self, one: str, other: str) -> list[tuple]:
        """Balls about the joints that two parts share: (centre, radius)."""
        rods = self.machine.rods
        a, b = part_of(one), part_of(other)
        if a in rods and b in rods:
            return self.shared_ends(a, b)
        if b in rods or a == AIRFRAME:
            a, b, other = b, a, one
        balls = self.rod_ends(a, b) if a in rods else self.carried(a, b) + self.carried(b, a)
        return [k for k in balls if b != AIRFRAME or self.holds(other, k)]

    def shared_ends(self, a: str, b: str) -> list[tuple]:
        """The larger ball about each end that two rods share."""
        rods = self.machine.rods
        return [max(self.rod_end(a, end), self.rod_end(b, end), key=lambda k: k[1])
                for end in rods[a].ends if end in rods[b].ends]

    def carried(self, body: str, on: str) -> list[tuple]:
        """Balls about where a body is held, if it is by another."""
        joint = self.machine.joints.get(body)
        return self.held(body) if joint and joint.on == on else []

    def rod_ends(self, rod: str, part: str) -> list[tuple]:
        """Balls about the ends of a rod that are on another part."""
        return [self.rod_end(rod, end) for end in self.machine.rods[rod].ends
                if part_of(end) == part]

    def rod_end(self, rod: str, end: str) -> tuple:
        """Ball about an end of a rod."""
        at, told = self.machine.points[end], self.machine.rods[rod]
        reach = told.reach[told.ends.index(end)]
        return at, self.in_builds(self.usual(at, rod, part_of(end)) if reach is None else reach,
                                  end)

    def held(self, body: str) -> list[tuple]:
        """Balls about where a body is held."""
        joint, balls = self.machine.joints[body], []
        for k, at in enumerate(joint.places):
            lever = 1.0
            if joint.through and k > 1:  # off by more than its axis
                share = along_and_aside(at, *joint.places[:2])[0] / math.dist(*joint.places[:2])
                lever = abs(1 - share) + abs(share)
            radius = joint.ball if joint.ball is not None else self.usual(at, body, joint.on)
            balls.append((at, self.in_builds(radius, f"{body}/pivot", lever)))
        return balls

    def in_builds(self, radius: float, point: str, lever: float = 1.0) -> float:
        """A ball's radius; as built less what its joint is off and solids are grown at most."""
        if not self.built:
            return radius
        off, points = self.machine.off, self.machine.points
        return max(radius - math.sqrt(3.0) * lever * off[point] - max(off[k] for k in points), 0.0)

    def usual(self, at: tuple, *parts: str) -> float:
        """Radius where the file gives none: more where a thick tube runs through the joint."""
        thick = 0.0
        for name, shape in self.machine.solids.items():
            if part_of(name) in parts and part_of(name) != AIRFRAME and shape["kind"] in (
                    "rod", "tube", "pipe") and any(
                    beside(at, *ends) <= shape["diameter"] / 2 for ends in self.lines(name)):
                thick = max(thick, shape["diameter"] / 2)
        return max(BALL, thick + METAL)

    def lines(self, name: str) -> list:
        """Ends of the straight lengths of a tube or rod at neutral."""
        rod = self.machine.rods.get(part_of(name))
        return [p.ends for p in self.pieces[name]] if rod is None else \
            [tuple(self.machine.points[e] for e in rod.ends)]

    def meets(self, name: str, ball: tuple) -> bool:
        """Whether a solid has material in a ball."""
        centre, radius = ball
        return any(self.away(name, p, centre) < radius for p in self.pieces[name])

    def away(self, name: str, piece: Line | Prism, point: Sequence) -> float:
        """How far a point is from a piece at neutral."""
        if isinstance(piece, Line):
            rod = self.machine.rods.get(part_of(name))
            ends = piece.ends if rod is None else [self.machine.points[e] for e in rod.ends]
            return beside(point, *ends) - piece.radius
        x, y, z = piece.local(point)
        low, high = piece.room
        return math.hypot(max(low - z, z - high, 0.0), outside(piece.outline, (x, y)))

    def holds(self, name: str, ball: tuple) -> bool:
        """Whether a fixed solid holds a joint: in its material, or in a hole within the ball."""
        shape, (centre, radius) = self.machine.solids[name], ball
        if not all(low <= x <= high for x, (low, high) in
                   zip(centre, self.room(name), strict=True)):
            return False
        filled = [i for i, rim in enumerate(rims(shape))
                  if all(math.dist(spot, centre) <= radius for spot in rim)]
        return any(self.away(name, p, centre) <= TOUCHING for p in pieces_of(shape, filled))

    def room(self, name: str) -> list[tuple]:
        """Least and greatest of each coordinate that a fixed solid takes up, a little more."""
        if name not in self.rooms:
            more = max(p.radius for p in self.pieces[name]) + TOUCHING
            self.rooms[name] = [(low - more, high + more) for low, high in spans(
                c for p in self.pieces[name] for c in p.corners)]
        return self.rooms[name]

    # ---------------------------------------------------------------- pieces of a pair

    def sides(self, pair: Pair) -> list[list]:
        """Pieces of both solids, tubes less their slices that lie wholly in a ball."""
        return [[q for p in self.pieces[name] for q in
                 (self.cut(name, p, pair.balls) if pair.balls and isinstance(p, Line) else [p])]
                for name in pair.names]

    def cut(self, name: str, piece: Line, balls: Sequence[tuple]) -> list:
        """What is left of a tube."""
        rod = self.machine.rods.get(part_of(name))
        if rod is not None:
            return self.cut_rod(rod, piece, balls)
        ends = [Line((end, end), piece.radius) for end in dict.fromkeys(piece.ends)
                if not any(math.dist(end, c) + piece.radius <= r - LOOSE for c, r in balls)]
        if piece.long == 0:
            return ends
        left = spans_left(piece.long, piece.radius, [(*along_and_aside(c, *piece.ends), r)
                                                      for c, r in balls])
        return [piece] if left == [(0.0, piece.long)] else \
            [q for span in left for q in slices(piece, span, piece.long)] + ends

    def cut_rod(self, rod: Rod, piece: Line, balls: Sequence[tuple]) -> list[Line]:
        """What is left of a rod, by shares of its length."""
        far, long = self.machine.points[rod.ends[1]], rod.length
        left = spans_left(long, piece.radius, [
            (long if math.dist(c, far) <= TOUCHING else 0.0, 0.0, r) for c, r in balls])
        return [piece] if left == [(0.0, long)] else \
            [Line(((s / long,), (e / long,)), piece.radius) for s, e in left]


def along_and_aside(point: Sequence, a: Sequence, b: Sequence) -> tuple[float, float]:
    """How far along a line from a to b a point is, and how far from it."""
    along = dot(minus(point, a), minus(b, a)) / math.dist(a, b)
    return along, math.sqrt(max(math.dist(point, a)**2 - along**2, 0.0))


def spans_left(long: float, radius: float, places: Iterable[tuple]) -> list[tuple]:
    """Lengths of a tube whose slices do not lie wholly in balls, each (along, aside, reach)."""
    left = [(0.0, long)]
    for along, aside, reach in places:
        square = (reach - LOOSE)**2 - (aside + radius)**2
        if reach > LOOSE and square >= 0:
            low, high = along - math.sqrt(square), along + math.sqrt(square)
            left = [part for s, e in left for part in ((s, min(e, low)), (max(s, high), e))
                     if part[1] > part[0]]
    return left


def rims(shape: dict) -> Iterator[list]:
    """Places on both rims of each hole of a plate, or of a washer's bore."""
    for hole in holes_of(shape):
        rim = rounded(hole["outline"], False) if "outline" in hole else [
            (x + hole["diameter"] / 2 * math.cos(k / 8), y + hole["diameter"] / 2
             * math.sin(k / 8)) for x, y in middle_line(hole) for k in range(51)]
        yield [tuple(c + x * a + y * b + s * n for c, a, b, n in
                     zip(shape["at"], *plate_axes(shape), strict=True))
               for x, y in rim for s in (-shape["thickness"] / 2, shape["thickness"] / 2)]


def slices(piece: Line, span: tuple, long: float) -> list:
    """A length of a tube: flat where it was cut, and round a radius behind its cuts."""
    a, b = piece.ends
    w = tuple(k / long for k in minus(b, a))
    u, v, _ = plate_axes({"kind": "washer", "normal": w})
    r = piece.radius / math.cos(math.pi / SIDES)
    rim = tuple((r * math.cos(2 * math.pi * k / SIDES), r * math.sin(2 * math.pi * k / SIDES))
                for k in range(SIDES))
    start, end = span
    first = start + piece.radius if start > 0 else start
    last = end - piece.radius if end < long else end
    if first >= last:
        return [Prism(rim, span, a, (u, v, w))]
    found = [Line(tuple(plus(a, w, k) for k in (first, last)), piece.radius)]
    found += [Prism(rim, room, a, (u, v, w)) for room in ((start, first), (last, end))
              if room[1] > room[0]]
    return found


def beside(point: Sequence, start: Sequence, end: Sequence) -> float:
    """Distance of a point from a line between two ends."""
    way = minus(end, start)
    share = dot(minus(point, start), way) / (dot(way, way) or 1.0)
    return math.dist(point, plus(start, way, min(max(share, 0.0), 1.0)))


def outside(outline: Sequence, point: Sequence) -> float:
    """Distance of a point from a flat convex outline, 0 inside."""
    (x, y), inside, least = point, True, math.inf
    for (a, b), (c, d) in edges(outline):
        inside &= (c - a) * (y - b) - (d - b) * (x - a) >= 0
        least = min(least, beside((x, y, 0.0), (a, b, 0.0), (c, d, 0.0)))
    return 0.0 if inside else least
