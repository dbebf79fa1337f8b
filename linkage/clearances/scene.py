"""The solids of a system as convex pieces on its bodies, and the pairs of them that matter."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache, partial
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from ..errors import LinkageError
from ..geometry import Piece, kept_spans, outside_balls, piece_gap, sphere, tube
from ..geometry.triangles import Triangles
from ..model import AIRFRAME, Tolerance
from ..model.surfaces import match_points, matched
from ..motion import System, body_of
from .joints import Ball, Joints

if TYPE_CHECKING:
    from ..model.solids import Shape

TOUCHING = 1e-6  # mm within which a pivot or rod end counts as sitting in a piece of structure
HALVED = 4.0  # mm; a part of a plate or block no larger is halved no further at a joint's ball


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
    ends : ndarray (2, 3), optional
        Of a rod: where its two ends are at neutral, mm; a piece of it lies between them.
    """

    name: str
    pieces: Sequence[Piece]
    carriers: tuple[str, ...]
    ends: np.ndarray | None = None


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
    joined : bool
        Whether material within the balls about the joints that the two share is left out.
    """

    first: str
    second: str
    required: float
    rule: str
    inputs: tuple[str, ...]
    frame: str
    joined: bool = False

    @property
    def name(self) -> str:
        """``"part/solid | part/solid"``."""
        return f"{self.first} | {self.second}"


@dataclass(frozen=True)
class LeftOut:
    """Material of two solids that is meant to touch at a joint, and so is held to nothing.

    Attributes
    ----------
    first, second : str
        Names of the solids.
    ball : Ball
        About the joint: material of either within it is left out.
    whole : tuple of str
        Solids of the two that lie wholly at their joints, so that nothing is left to hold apart.
    """

    first: str
    second: str
    ball: Ball
    whole: tuple[str, ...]

    @property
    def name(self) -> str:
        """``"part/solid | part/solid"``."""
        return f"{self.first} | {self.second}"


class _Between(NamedTuple):
    """What is so of two parts, whichever of their solids are asked of."""

    frame: str  # nearest common carrier
    inputs: tuple[str, ...]  # that move one against the other
    usual: str  # class of clearance
    joined: bool  # whether they share a joint that moves


class Scene:
    """Everything solid of a system.

    Parameters
    ----------
    system : System
    tolerances : Tolerance, optional
        Build tolerances that every bound has to hold for: the balls at joints are then smaller by
        what a joint may be off and a solid may have grown.
    """

    def __init__(self, system: System, tolerances: Tolerance | None = None):
        self.system, self.model, self.tolerances = system, system.model, tolerances
        self._needs = system.plan.depends_on()
        self._shapes = system.model.solids
        self._known, self._solids, self._envelopes, self._placed = {}, {}, {}, {}
        self._riding, self._room, self._kept, self._at, self._worked = {}, {}, {}, {}, {}
        self._balls = {}
        self._joints = Joints(self.model, self.placed, self._holds, tolerances)

    def solid(self, name: str) -> Solid:
        """A solid in its true pieces, worked out when first asked for."""
        if name not in self._solids:
            try:
                pieces = _pieces(self.placed(name))
            except LinkageError as error:
                raise type(error)(f'solid "{name}": {error.sentence}', **error.facts) from error
            self._solids[name] = Solid(name, pieces, self.carriers(name), self._ends(name))
        return self._solids[name]

    def kept(self, solid: Solid, work: Callable[[Solid], Any]) -> Any:
        """What `work` gives for a solid of this scene, worked out once."""
        key = solid, work
        if key not in self._worked:
            self._worked[key] = work(solid)
        return self._worked[key]

    def solid_of(self, pair: Pair, name: str) -> Solid:
        """One solid of a pair, less what lies at the joints that the pair shares.

        A solid that lies wholly there is in none of `pairs`; asked of, it is whole.
        """
        kept = self._outside(name, self.balls(pair))
        return kept if kept.pieces else self.solid(name)

    def balls(self, pair: Pair) -> tuple[Ball, ...]:
        """Balls about shared joints at which both solids of a pair have material.

        Where one of the two has none, they can't touch there, and nothing need be left out.
        """
        if not pair.joined:
            return ()
        both = pair.first, pair.second
        if both not in self._balls:
            self._balls[both] = tuple(ball for ball in self._joints.shared(*both)
                                      if all(self._meets(name, ball) for name in both))
        return self._balls[both]

    def _meets(self, name, ball) -> bool:
        key = name, ball.centre, ball.radius
        if key not in self._at:
            self._at[key] = _reaches(self.solid(name).pieces, ball.centre, ball.radius)
        return self._at[key]

    def _outside(self, name, balls) -> Solid:
        if not balls:
            return self.solid(name)
        key = name, *((ball.centre, ball.radius) for ball in balls)
        if key not in self._kept:
            plain, cut = self.solid(name), key[1:]
            if plain.ends is not None:
                pieces = self._rod_outside(plain, cut)
            else:
                pieces = _outside(self.placed(name), cut)
            self._kept[key] = plain if pieces == plain.pieces else replace(plain, pieces=pieces)
        return self._kept[key]

    def _rod_outside(self, rod, balls) -> tuple[Piece, ...]:
        """Pieces of a rod: cut at shares of its length, which only a redundant one changes."""
        part, (piece,) = body_of(rod.name), rod.pieces
        length = self.model.rod_length(part)
        if self.tolerances is not None:  # the share of the longest that may be built
            length += self.model.rod_tolerance(part, self.tolerances)
        at = [(length * float(np.allclose(centre, rod.ends[1], rtol=0, atol=TOUCHING)), 0.0, r)
              for centre, r in balls]
        spans = kept_spans(length, piece.radius, at)
        if spans == [(0.0, length)]:
            return rod.pieces
        start, way = rod.ends[0], (rod.ends[1] - rod.ends[0]) / length
        return tuple(tube(start + a * way, start + b * way, piece.radius) for a, b in spans)

    def envelope(self, name: str) -> Solid:
        """One convex piece that holds the whole solid: quick, and never smaller."""
        if name not in self._envelopes:
            piece = _hull(self.placed(name))
            self._envelopes[name] = Solid(name, (piece,), self.carriers(name), self._ends(name))
        return self._envelopes[name]

    def looseness(self, name: str, tolerances: Tolerance) -> float:
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
        places = [getattr(shape, "at", None), *getattr(shape, "along", ()), *match_points(shape)]
        named = [place if "/" in place else f"{part}/{place}" for place in places
                 if isinstance(place, str)]
        lever = self.placed(name).lever() if match_points(shape) else 1.0
        return self.model.point_tolerance(f"{part}/{name.split('/')[1]}", tolerances) + max(
            (self.model.point_tolerance(point, tolerances) for point in named), default=0.0) * lever

    def placed(self, name: str) -> Shape:
        """The shape of a solid as the file has it, every named point replaced by where it is."""
        if name not in self._placed:
            self._placed[name] = self._put(name)
        return self._placed[name]

    def _put(self, name) -> Shape:
        part, shape = body_of(name), self._shapes[name]

        spot = partial(self.model.spot, part)
        if isinstance(getattr(shape, "at", None), str):
            return replace(shape, at=spot(shape.at))
        if match_points(shape):
            return matched(shape, spot)
        if any(isinstance(place, str) for place in getattr(shape, "along", ())):
            return replace(shape, along=tuple(spot(place) for place in shape.along))
        return shape

    @cached_property
    def pairs(self) -> dict:
        """Every pair that can come nearer or farther, by name; stops and waived ones included.

        Of two parts that share a joint only what lies at the joint is left out (`left_out`),
        unless the file has a rule for the pair: that is of the two whole solids.
        """
        return {pair.name: pair for pair in self._moving
                if not (pair.joined and self._at_joints(pair))}

    @cached_property
    def left_out(self) -> tuple[LeftOut, ...]:
        """What of which pair is left out at which joint, as it is meant to touch there."""
        found = []
        for pair in self._moving:
            if not pair.joined:
                continue
            names, whole = (pair.first, pair.second), self._at_joints(pair)
            found += [LeftOut(*names, ball, whole) for ball in self.balls(pair)
                      if any(self._outside(name, (ball,)) is not self.solid(name)
                             for name in names)]
        return tuple(found)

    def _at_joints(self, pair) -> tuple[str, ...]:
        """Solids of a pair that lie wholly at the joints that it shares."""
        if not pair.joined:
            return ()
        balls = self.balls(pair)

        def may(name):  # every corner is in a ball: quicker to see than what is left
            corners = corners_of(self.solid(name).pieces)
            away = [np.linalg.norm(corners - ball.centre, axis=1) - ball.radius for ball in balls]
            return (np.min(away, axis=0) <= 0).all()

        return tuple(name for name in (pair.first, pair.second)
                     if balls and may(name) and not self._outside(name, balls).pieces)

    @cached_property
    def _moving(self) -> list:
        """Every pair of which one solid moves against the other."""
        names = [(name, body_of(name)) for name in self._shapes]
        return [self._pair_of(first, second, between) for i, (first, one) in enumerate(names)
                for second, two in names[i + 1:]
                if one != two and (between := self._between(one, two)).inputs]

    @cached_property
    def waived(self) -> dict:
        """Reason of every waived pair by name."""
        return {pair.name: self._rules[frozenset((pair.first, pair.second))].reason
                for pair in self.pairs.values() if pair.rule == "waived"}

    def pair_of(self, one: str, other: str) -> Pair:
        """The pair of two solids in either order."""
        for pair in self.pairs_of(one, (other,)):
            return pair
        raise LinkageError(f'"{one}" and "{other}" never move against each other; '
                           f"name two solids of which one moves")

    def pairs_of(self, name: str, others: Collection[str] | None = None) -> list[Pair]:
        """Those of `pairs` that one solid has, with all others or some, in their order.

        Without working out the pairs of all the rest.
        """
        names = list(self._shapes)
        at, found = names.index(name), []
        for k, other in enumerate(names):
            if (others is None or other in others) and body_of(name) != body_of(other):
                pair = self._pair(other, name) if k < at else self._pair(name, other)
                if pair.inputs and not self._at_joints(pair):
                    found.append(pair)
        return found

    @cached_property
    def _rules(self) -> dict:
        return {frozenset(rule.between): rule for rule in self.model.pairs}

    @cached_property
    def _named(self) -> set:
        """Solids that a rule or a stop of the file names."""
        return set().union(*self._rules, *self._stops)

    @cached_property
    def _stops(self) -> set:
        return {frozenset(stop.between) for stop in self.model.stops.values()}

    def carriers(self, name: str) -> tuple[str, ...]:
        """Bodies that carry a solid: one, or one under each end of a rod."""
        if name not in self._riding:
            part = body_of(name)
            self._riding[name] = tuple(body_of(e) for e in self.model.rods[part].ends) \
                if part in self.model.rods else (part,)
        return self._riding[name]

    def _ends(self, name):
        rod = self.model.rods.get(body_of(name))
        return None if rod is None else np.array([self.model.position(end) for end in rod.ends])

    def _holds(self, name: str, ball: Ball) -> bool:
        """Whether a fixed solid holds a joint: in its material, or in a hole within the ball."""
        if name not in self._room:
            self._room[name] = _room(self.envelope(name).pieces[0])
        if not _inside(self._room[name], ball.centre):
            return False
        return _holds(self.placed(name), ball.centre, ball.radius)

    def _pair(self, first, second) -> Pair:
        return self._pair_of(first, second, self._between(body_of(first), body_of(second)))

    def _pair_of(self, first, second, between) -> Pair:
        rule, is_stop = None, False
        if first in self._named and second in self._named:
            both = frozenset((first, second))
            rule, is_stop = self._rules.get(both), both in self._stops
        joined = between.joined and rule is None and not is_stop and \
            bool(self._joints.shared(first, second))
        required, source = (0.0, "stop") if is_stop else \
            self._required(first, second, rule, ("joined" if joined else between.usual))
        return Pair(first, second, required, source, between.inputs, between.frame, joined)

    def _between(self, one, two) -> _Between:
        if (one, two) not in self._known:
            carriers = self.carriers(one) + self.carriers(two)
            frame = self._common(carriers)
            needs = set()
            for body in carriers:
                chain = self._chains[body]
                needs.update(*(self._needs[joint] for joint in chain[:chain.index(frame)]))
            usual = "structure" if AIRFRAME in (one, two) else \
                "same" if self._guides(one) & self._guides(two) else "different"
            inputs = tuple(n for n in self.system.inputs if n in needs)
            self._known[one, two] = _Between(frame, inputs, usual, bool(inputs) and bool(
                self._joints.of_parts(one, two)))
        return self._known[one, two]

    def _common(self, bodies) -> str:
        first, *others = (self._chains[body] for body in dict.fromkeys(bodies))
        return next(b for b in first if all(b in chain for chain in others))

    @cached_property
    def _chains(self) -> dict:
        """Every body and what carries it, down to the airframe."""
        return {AIRFRAME: (AIRFRAME,)} | {body: (body, *self.model.carriers(body))
                                          for body in self.model.bodies}

    def _required(self, first, second, rule, usual) -> tuple[float, str]:
        """Clearance of a pair that is no stop's, and where it comes from."""
        if rule is not None:
            return (0.0, "waived") if rule.waive else (rule.require, "this pair")
        clearance = self.model.clearance
        one, other = self._shapes[first].clearance, self._shapes[second].clearance
        if not (one or other):
            return getattr(clearance, usual), usual
        sizes = {name: clearance.named.get(name, getattr(clearance, name, None))
                 for name in (one, other) if name}
        most = max(sizes, key=sizes.get)
        return sizes[most], most

    def _guides(self, part) -> set:
        """What carries a part, or both ends of a rod."""
        return set(self.carriers(part)) if part in self.model.rods else \
            {self.model.bodies[part].on}


def _room(piece, more: float = TOUCHING) -> list:
    """Least and greatest of each coordinate that a piece takes up, a little more."""
    reach = piece.radius + more
    low, high = piece.points.min(axis=0) - reach, piece.points.max(axis=0) + reach
    return list(zip(low.tolist(), high.tolist(), strict=True))


def _inside(room, point) -> bool:
    (a, b), (c, d), (e, f) = room  # spelt out: asked of every fixed solid and joint
    x, y, z = point
    return a <= x <= b and c <= y <= d and e <= z <= f


@lru_cache(maxsize=4096)  # the very same pieces as long as their shape is as before
def _reaches(pieces, centre, radius) -> bool:
    """Whether any of some pieces comes into a ball."""
    if isinstance(pieces, Triangles):
        return pieces.distance(centre, radius) < radius or bool(pieces.encloses([centre])[0])
    at = sphere(centre, 0.0)
    return any(_inside(_room(p, radius), centre)
               and piece_gap(p.points, p, at.points, at).value < radius for p in pieces)


@lru_cache(maxsize=4096)
def _holds(shape, centre, radius) -> bool:
    pieces, spot = _pieces(shape), sphere(centre, 0.0)
    if isinstance(pieces, Triangles):
        return pieces.distance(centre, TOUCHING) <= TOUCHING or pieces.surrounds(
            centre, radius) or bool(pieces.encloses([centre])[0])
    return any(piece_gap(p.points, p, spot.points, spot).value <= TOUCHING
               for p in _pieces(shape.without_holes(centre, radius))
               if _inside(_room(p), centre))


@lru_cache(maxsize=4096)
def _outside(shape, balls) -> Sequence[Piece]:
    pieces = _pieces(shape)
    if isinstance(pieces, Triangles):
        return pieces.outside_balls(balls)
    return tuple(kept for piece in pieces for kept in outside_balls(piece, balls, HALVED))


@lru_cache(maxsize=4096)
def _hull(shape) -> Piece:
    return shape.hull()


@lru_cache(maxsize=4096)  # a system that differs in one point shares all other pieces
def _pieces(shape) -> Sequence[Piece]:
    return shape.pieces()


def corners_of(pieces: Sequence[Piece]) -> np.ndarray:
    """Corners of all of some pieces, (n, 3) mm."""
    if isinstance(pieces, Triangles):
        return pieces.corners.reshape(-1, 3)
    return np.concatenate([piece.points for piece in pieces])
