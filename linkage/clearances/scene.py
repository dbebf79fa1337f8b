"""The solids of a system as convex pieces on its bodies, and the pairs of them that matter."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np

from ..errors import LinkageError
from ..geometry import Piece, piece_gap, prism, prisms, sphere, tube
from ..geometry.outlines import convex_parts, ring
from ..model import AIRFRAME, Box, Pipe, Plate, Sphere, Tube, Washer
from ..model.keys import unit_vector
from ..motion import System, body_of

TOUCHING = 1e-6  # mm within which a pivot or rod end counts as sitting in a piece of structure


@dataclass(frozen=True, eq=False)
class Solid:
    """A solid as it rides on one body, or on two for a rod.

    Attributes
    ----------
    name : str
        ``"part/solid"``.
    pieces : tuple of Piece
        In mm at neutral.
    carriers : tuple of str
        The body under each point of a piece: one for all, or one per end of a rod.
    """

    name: str
    pieces: tuple[Piece, ...]
    carriers: tuple[str, ...]


@dataclass(frozen=True)
class Pair:
    """Two solids held apart.

    Attributes
    ----------
    first, second : str
        Names of the solids.
    required : float
        Clearance required, mm; 0 for a stop or a waived pair.
    rule : str
        The class or rule it comes from.
    inputs : tuple of str
        Inputs that move one against the other.
    frame : str
        Nearest common carrier.
    """

    first: str
    second: str
    required: float
    rule: str
    inputs: tuple[str, ...]
    frame: str

    @property
    def name(self) -> str:
        """``"part/solid | part/solid"``."""
        return f"{self.first} | {self.second}"


class Scene:
    """Everything solid of a system.

    Parameters
    ----------
    system : System
    """

    def __init__(self, system: System):
        self.system, self.model = system, system.model
        self._needs = system.plan.depends_on()
        self._shapes = system.model.solids
        self._between, self._solids, self._envelopes = {}, {}, {}
        self._riding, self._room = {}, {}

    def solid(self, name: str) -> Solid:
        """A solid in its true pieces, worked out when first asked for."""
        if name not in self._solids:
            try:
                pieces = _pieces(self.placed(name))
            except LinkageError as error:
                raise type(error)(f'solid "{name}": {error.sentence}', **error.facts) from error
            self._solids[name] = Solid(name, pieces, self._carriers(name))
        return self._solids[name]

    def envelope(self, name: str) -> Solid:
        """One convex piece that holds the whole solid: quick, and never smaller."""
        if name not in self._envelopes:
            piece = _envelope(self.placed(name))
            self._envelopes[name] = Solid(name, (piece,), self._carriers(name))
        return self._envelopes[name]

    def looseness(self, name: str, tolerances) -> float:
        """How far a build may have each point of a solid off, in each coordinate of its part.

        What the points that it is drawn by are off by, and as much again as its part may be off,
        for the solid itself; a rod moves with its ends, so that only its own growth is left.

        Parameters
        ----------
        name : str
        tolerances : Tolerance
            The general ones.

        Returns
        -------
        float
            mm; for a rod, all round.
        """
        part, shape = body_of(name), self._shapes[name]
        if part in self.model.rods:
            return tolerances.hardpoint
        places = [getattr(shape, "at", None), *getattr(shape, "along", ())]
        named = [place if "/" in place else f"{part}/{place}" for place in places
                 if isinstance(place, str)]
        return self.model.point_tolerance(f"{part}/{name.split('/')[1]}", tolerances) + max(
            (self.model.point_tolerance(point, tolerances) for point in named), default=0.0)

    def placed(self, name: str):
        """The shape of a solid as the file has it, every named point replaced by where it is."""
        part, shape = body_of(name), self._shapes[name]

        def spot(place):
            if not isinstance(place, str):
                return place
            return self.model.position(place if "/" in place else f"{part}/{place}")

        if isinstance(getattr(shape, "at", None), str):
            return replace(shape, at=spot(shape.at))
        if any(isinstance(place, str) for place in getattr(shape, "along", ())):
            return replace(shape, along=tuple(spot(place) for place in shape.along))
        return shape

    @cached_property
    def pairs(self) -> dict:
        """Every pair that can come nearer or farther, by name; stops and waived ones included."""
        names, rules = list(self._shapes), self._rules()
        stops = {frozenset(stop.between) for stop in self.model.stops.values()}
        found = {}
        for i, first in enumerate(names):
            for second in names[i + 1:]:
                key = frozenset((first, second))
                asked = key in rules or key in stops
                if not self._apart(first, second) or (not asked and self._joined(first, second)):
                    continue
                pair = self._pair(first, second, rules.get(key), key in stops)
                if pair.inputs:
                    found[pair.name] = pair
        return found

    @cached_property
    def waived(self) -> dict:
        """Reason of every waived pair by name."""
        rules = self._rules()
        return {pair.name: rules[frozenset((pair.first, pair.second))].reason
                for pair in self.pairs.values() if pair.rule == "waived"}

    def pair_of(self, one: str, other: str) -> Pair:
        """The pair of two solids in either order."""
        found = self.pairs.get(f"{one} | {other}") or self.pairs.get(f"{other} | {one}")
        if found is None:
            raise LinkageError(f'"{one}" and "{other}" never move against each other; '
                               f"name two solids of which one moves")
        return found

    def _rules(self):
        return {frozenset(rule.between): rule for rule in self.model.pairs}

    def _carriers(self, name):
        if name not in self._riding:
            part = body_of(name)
            self._riding[name] = tuple(body_of(e) for e in self.model.rods[part].ends) \
                if part in self.model.rods else (part,)
        return self._riding[name]

    def _apart(self, first, second) -> bool:
        """Whether two solids are of parts that are not rigidly joined."""
        return body_of(first) != body_of(second)

    def _joined(self, first, second) -> bool:
        """Whether two solids' parts share a joint or a rod end."""
        one, two = body_of(first), body_of(second)
        rods = self.model.rods
        if one in rods and two in rods:
            return bool(set(rods[one].ends) & set(rods[two].ends))
        if two in rods:
            one, two, first, second = two, one, second, first
        if one in rods:
            ends = [end for end in rods[one].ends if body_of(end) == two]
            return bool(ends) and (two != AIRFRAME or self._holds(second, ends))
        if AIRFRAME in (one, two):
            body, structure = (two, first) if one == AIRFRAME else (one, second)
            return self.model.bodies[body].on == AIRFRAME and \
                self._holds(structure, [f"{body}/pivot"])
        return self.model.bodies[one].on == two or self.model.bodies[two].on == one

    def _holds(self, name, points) -> bool:
        """Whether a fixed solid holds a pivot or rod end: the part is carried by it."""
        if name not in self._room:
            self._room[name] = _room(self.envelope(name).pieces[0])
        for point in points:
            place = self.model.position(point)
            if not _inside(self._room[name], place):
                continue
            spot = sphere(place, 0.0)
            if any(piece_gap(p.points, p, spot.points, spot).value <= TOUCHING
                   for p in self.solid(name).pieces if _inside(_room(p), place)):
                return True
        return False

    def _pair(self, first, second, rule, is_stop) -> Pair:
        frame, inputs = self._between_bodies(self._carriers(first) + self._carriers(second))
        required, source = self._required(first, second, rule, is_stop)
        return Pair(first, second, required, source, inputs, frame)

    def _between_bodies(self, carriers):
        """Nearest common carrier of some bodies, and the inputs that move one against another."""
        if carriers not in self._between:
            frame = self._common(carriers)
            joints = {joint for body in carriers
                      for joint, _ in self.system.plan.route(body, frame)}
            needs = frozenset().union(*(self._needs[joint] for joint in joints))
            self._between[carriers] = frame, tuple(n for n in self.system.inputs if n in needs)
        return self._between[carriers]

    def _common(self, bodies) -> str:
        chains = [(body, *self.model.carriers(body)) if body != AIRFRAME else (AIRFRAME,)
                  for body in bodies]
        return next(b for b in chains[0] if all(b in chain for chain in chains))

    def _required(self, first, second, rule, is_stop):
        if is_stop:
            return 0.0, "stop"
        if rule is not None:
            return (0.0, "waived") if rule.waive else (rule.require, "this pair")
        clearance, shapes = self.model.clearance, self._shapes
        said = [shapes[name].clearance for name in (first, second) if shapes[name].clearance]
        if said:
            sizes = {name: clearance.named.get(name, getattr(clearance, name, None))
                     for name in said}
            most = max(sizes, key=sizes.get)
            return sizes[most], most
        if AIRFRAME in (body_of(first), body_of(second)):
            return clearance.structure, "structure"
        one, two = (self._guides(name) for name in (first, second))
        return (clearance.same, "same") if one & two else (clearance.different, "different")

    def _guides(self, name) -> set:
        part = body_of(name)
        return set(self._carriers(name)) if part in self.model.rods else \
            {self.model.bodies[part].on}


def _room(piece) -> list:
    """Least and greatest of each coordinate that a piece takes up, a little more."""
    reach = piece.radius + TOUCHING
    low, high = piece.points.min(axis=0) - reach, piece.points.max(axis=0) + reach
    return list(zip(low.tolist(), high.tolist(), strict=True))


def _inside(room, point) -> bool:
    return all(low <= k <= high for (low, high), k in zip(room, point, strict=True))


def _envelope(shape) -> Piece:
    if isinstance(shape, (Plate, Washer)):
        u, v, normal = plate_axes(shape)
        half = shape.outside / 2 if isinstance(shape, Washer) else None
        corners = [c[:2] for c in shape.outline] if half is None else \
            [(-half, -half), (half, -half), (half, half), (-half, half)]
        faces = [np.array(shape.at) + x * u + y * v + side * shape.thickness / 2 * normal
                 for x, y in corners for side in (-1, 1)]
        return hull_piece(faces, 0.0)
    if isinstance(shape, Pipe):
        return hull_piece(shape.along, shape.diameter / 2)
    return _pieces(shape)[0]


def hull_piece(points, radius) -> Piece:
    """The hull of some corners, whose faces nobody asks for."""
    return Piece(np.array(points, dtype=float), radius, np.zeros((0, 2), dtype=int), ())


@lru_cache(maxsize=4096)  # a system that differs in one point shares all other pieces
def _pieces(shape) -> tuple[Piece, ...]:
    if isinstance(shape, Sphere):
        return (sphere(shape.at, shape.diameter / 2),)
    if isinstance(shape, (Tube, Pipe)):
        return tuple(tube(a, b, shape.diameter / 2)
                     for a, b in zip(shape.along[:-1], shape.along[1:], strict=True))
    if isinstance(shape, Box):
        return (_block(shape),)
    return plate_pieces(shape, shape.at)


def _block(shape: Box) -> Piece:
    low, high = np.minimum(shape.corner, shape.opposite), np.maximum(shape.corner, shape.opposite)
    floor = [(low[0], low[1], low[2]), (high[0], low[1], low[2]), (high[0], high[1], low[2]),
             (low[0], high[1], low[2])]
    return prism(floor, (0.0, 0.0, high[2] - low[2]))


def plate_axes(shape) -> tuple:
    """Unit vectors u, v and normal of a plate's or washer's own plane."""
    normal = np.array(unit_vector(shape.normal))
    if isinstance(shape, Plate):
        u = np.array(unit_vector(shape.u))
    else:
        u = np.cross(normal, np.eye(3)[np.argmin(np.abs(normal))])
        u /= np.linalg.norm(u)
    return u, np.cross(normal, u), normal


def hole_shape(hole):
    """A cut-out as `linkage.geometry.outlines` takes it."""
    if hole.outline is not None:
        return hole.outline
    if hole.slot is not None:
        return {"from": hole.slot[0], "to": hole.slot[1], "width": hole.diameter}
    return {"at": hole.at, "diameter": hole.diameter}


def plate_pieces(shape, at) -> tuple[Piece, ...]:
    """Convex prisms of a plate or washer whose outline's [0, 0] lies at `at`."""
    u, v, normal = plate_axes(shape)
    parts = ring(shape.outside, shape.inside) if isinstance(shape, Washer) else \
        convex_parts(shape.outline, [hole_shape(hole) for hole in shape.holes])
    base = np.array(at) - normal * shape.thickness / 2
    return prisms(parts, base, (u, v, normal), shape.thickness)
