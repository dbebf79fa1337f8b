"""Where the two faces of a stop meet along its input, with a spacer of any thickness between."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from ..clearances import Stage, scene_of, stage_of
from ..clearances.mesh_gaps import mesh_gaps, nearest_items
from ..clearances.scene import Pair
from ..clearances.stage import measure
from ..errors import LinkageError, nearest
from ..gearing import said_input
from ..geometry import Piece, prism
from ..geometry.triangles import Triangles
from ..model import AIRFRAME, Stop
from ..motion import BEYOND, System, body_of
from ..units import shown_length
from .first import WITHIN, first_contact
from .ways import Ways, moving

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from numpy.typing import ArrayLike

    from ..clearances.scene import Scene, Solid
    from ..model.parts import Tolerance

ABOUT = 1e-3  # degrees (mm) near enough to tell which face meets the other
FINE = 6  # digits of where a contact is not decided
STEPS = 81  # places at which a stop that never meets is looked at for its nearest face


@dataclass(frozen=True, eq=False)
class Meeting:
    """A stop as it is measured.

    Attributes
    ----------
    system : System
    name : str
    stop : Stop
    pair : Pair
    normal : ndarray (3,) or None
        Outward normal of the face the spacer sits on, at neutral; None on a round face.
    face : ndarray (n, 3) or None
        Corners of that face at neutral, mm.
    alone : bool
        Whether only this stop is asked of: the others are then not followed with it.
    """

    system: System
    name: str
    stop: Stop
    pair: Pair
    normal: np.ndarray | None
    face: np.ndarray | None
    alone: bool = False

    @property
    def thickness(self) -> float:
        """Thickness of the spacer in the file, mm; 0 without one."""
        return self.stop.spacer.thickness if self.stop.spacer else 0.0

    def thinnest(self, tolerances: Tolerance | None) -> float:
        """Least thickness of the spacer in a build, mm, within which every other one holds it."""
        if tolerances is None:
            return self.thickness
        return max(0.0, self.thickness - self.system.model.spacer_tolerance(self.name, tolerances))

    @property
    def limit(self) -> float:
        """How far along the input the stop is looked for, signed."""
        low, high = self.system.inputs[self.stop.input].travel
        sign = 1.0 if self.stop.side == "greatest" else -1.0
        reach = abs(high if sign > 0 else low) + BEYOND
        return sign * (self.stop.search if self.stop.search is not None else reach)

    def gap(self, positions: ArrayLike, thickness: float) -> np.ndarray:
        """Gap of the two faces at positions of the input, the others at 0, shape (n,), mm."""
        return self.gap_at({self.stop.input: np.asarray(positions, dtype=float)}, thickness)

    def gap_at(self, inputs: dict, thickness: float) -> np.ndarray:
        """Gap of the two faces at positions of several inputs, ``{input: (n,)}``, mm."""
        stage, motion = self.stage(thickness), self.system.sweep(**inputs)
        if stage.trees is not None:
            places = np.arange(motion.shape[0])
            return mesh_gaps(stage, 0 * places, motion.flat_posture(), places)[0]
        which = np.flatnonzero(~stage.rough)
        item = np.repeat(which, motion.shape[0])
        place = np.tile(np.arange(motion.shape[0]), len(which))
        value = measure(stage, motion.flat_posture(), item, place).reshape(len(which), -1)
        return np.min(value, axis=0)

    def stage(self, thickness: float) -> Stage:
        """The stop's two solids, the spacer on its face."""
        scene = scene_of(self.system)
        if not thickness:
            return stage_of(scene, self.pair)
        if thickness != self.thickness:
            return Stage(scene, [self.pair], self.solid(thickness))
        return self.system.kept(("stop stage", self.name),
                                lambda: Stage(scene, [self.pair], self.solid(thickness)))

    def solid(self, thickness: float) -> Callable[[str], Solid]:
        """What gives each of the stop's solids by name, the spacer on its face."""
        scene = scene_of(self.system)

        def solid(name):
            plain = scene.solid(name)
            if not thickness or name != self.stop.spacer.on:
                return plain
            if self.face is None:
                grown = tuple(Piece(p.points, p.radius + thickness, p.edges, p.faces)
                              for p in plain.pieces)
                return replace(plain, pieces=grown)
            pad = prism(self.face, thickness * self.normal)
            return replace(plain, pieces=(*plain.pieces, pad))

        return solid

    def first(self, thickness: float) -> tuple[float, float]:
        """Input proven free of contact up to, and where contact is met; NaN where none is."""
        together = thickness == self.thickness and not self.alone
        drawn = first_contacts(self.system) if together else {}
        return drawn[self.name] if self.name in drawn else _marched([(self, thickness)])[0]

    def first_from(self, others: dict) -> tuple[np.ndarray, np.ndarray]:
        """The same along the stop's own input from others that are moved, ``{input: (n,)}``.

        Returns
        -------
        (ndarray (n,), ndarray (n,))
            Proven free of contact from the others' place up to there; where contact is met, NaN
            where none is.
        """
        names = (self.stop.input, *others)
        places = np.stack([np.ravel(np.asarray(at, dtype=float)) for at in others.values()], -1)
        ends = np.zeros((len(places), len(names)))
        ends[:, 0] = self.limit
        starts = np.concatenate([np.zeros((len(places), 1)), places], axis=1)
        contact = first_contact(self.stage(self.thickness), Ways(names, ends, starts))
        met = contact.met_at[0]
        return (contact.free_to[0] * self.limit,
                np.where(np.isfinite(met), met, np.nan) * self.limit)

    def contact(self, thickness: float) -> float:
        """Position of the input at which the faces first meet.

        Raises
        ------
        LinkageError
            When they touch at neutral already, never meet, or only graze each other, so that where
            they first meet is not decided.
        """
        free_to, met_at = self.first(thickness)
        if not free_to:  # else they are proven apart at neutral too
            self.check_neutral(thickness)
        self.check_met(free_to, met_at)
        if abs(met_at - free_to) > WITHIN:
            raise LinkageError(f'stop "{self.name}": where its faces first meet is not decided: '
                               f"they are proven apart up to {self.said(free_to, FINE)} and meet "
                               f"at {self.said(met_at, FINE)}; they only graze each other "
                               f"between, so move one of them", stop=self.name)
        return met_at

    def contacts(self, thicknesses: Sequence[float]) -> np.ndarray:
        """The same of many spacers, marched together; NaN where `contact` would refuse."""
        ends = _marched([(self, float(t)) for t in thicknesses])
        return np.array([met_at if free_to and abs(met_at - free_to) <= WITHIN else np.nan
                         for free_to, met_at in ends])

    def check_neutral(self, thickness: float) -> None:
        """Refuse a stop that touches at neutral already."""
        # a spacer only adds to a face, so that the bare faces are asked of where something touches
        if self.free_at_neutral(thickness) > 0:
            return
        unit, free = self.system.model.length, self.free_at_neutral(0.0)
        if not free > 0:
            raise LinkageError(f'stop "{self.name}": its faces touch at neutral already (gap '
                               f"{shown_length(free, unit)}); move one of them", stop=self.name)
        raise LinkageError(f'stop "{self.name}": a spacer of {shown_length(thickness, unit)} '
                           f"is thicker than the gap of {shown_length(free, unit)} at neutral; "
                           f"make it thinner", stop=self.name)

    def free_at_neutral(self, thickness: float) -> float:
        """Gap of its faces at neutral, mm."""
        return self.system.kept(("stop at neutral", self.name, thickness),
                                lambda: float(self.gap([0.0], thickness)[0]))

    def check_met(self, free_to: float, met_at: float) -> None:
        """Refuse a stop whose faces were not met."""
        if not np.isnan(met_at):
            return
        limit = self.said(self.limit)
        if abs(free_to) >= abs(self.limit):
            raise LinkageError(f'stop "{self.name}": its faces never meet up to {limit}; move '
                               f"them nearer, or raise search", stop=self.name)
        raise LinkageError(f'stop "{self.name}": its faces are proven apart up to '
                           f"{self.said(free_to, FINE)} and never met up to {limit}: there they "
                           f"graze each other, or a rod comes to the end of its reach; move them "
                           f"nearer", stop=self.name)

    def said(self, position: float, digits: int = 1) -> str:
        """A position of the input in words, such as "12.5° forward"."""
        return said_input(self.system, self.stop.input, position, digits)


def stage_with(scene: Scene, entries: Iterable[tuple[Pair, Callable | None]]) -> Stage:
    """Stage of pairs each with solids of its own, so that a spacer is there for its stop alone.

    Parameters
    ----------
    scene : Scene
    entries : sequence of (Pair, callable or None)
        And what gives the pair's solids by name; the scene unless given.
    """
    pairs, solids = [], {}
    for k, (pair, solid_by_name) in enumerate(entries):
        solid_by_name = partial(scene.solid_of, pair) if solid_by_name is None else solid_by_name
        pairs.append(replace(pair, first=f"{k}:{pair.first}", second=f"{k}:{pair.second}"))
        solids |= {f"{k}:{name}": solid_by_name(name) for name in (pair.first, pair.second)}
    stage = Stage(scene, pairs, solids.__getitem__)
    stage.system = moving(stage)
    return stage


def meeting(system: System, name: str) -> Meeting:
    """A stop made ready to be measured.

    Parameters
    ----------
    system : System
    name : str

    Returns
    -------
    Meeting

    Raises
    ------
    LinkageError
        When there is no such stop, or its faces don't move against each other with its input.
    """
    return system.kept(("stop", name), lambda: _made(system, name))


def first_contacts(system: System) -> dict:
    """First contact along its own input of every stop as drawn, all marched together, once.

    Parameters
    ----------
    system : System

    Returns
    -------
    dict
        ``{stop: (free to, met at)}``, degrees (mm), as from `Meeting.first`; stops that can't be
        measured are left out.
    """
    def work():
        known = system.kept("known contacts", dict)
        made = [m for m in _each(meeting, system) if m.name not in known]
        contacts = _marched([(m, m.thickness) for m in made])
        return {name: ends for name, ends in known.items() if ends is not None} | {
            m.name: ends for m, ends in zip(made, contacts, strict=True)
            if ends[0] or m.free_at_neutral(m.thickness) > 0}

    return system.kept("first contacts of stops", work)


def with_stops(system: System, stops: dict[str, Stop]) -> System:
    """The system with other stops; contacts of those that stay as they are, are known to it.

    Parameters
    ----------
    system : System
    stops : dict
        ``{name: Stop}``, all of them.

    Returns
    -------
    System
    """
    fresh, before = System(replace(system.model, stops=stops)), system.model.stops
    drawn, bare = first_contacts(system), bare_contacts(system)
    fresh.kept("known contacts", lambda: {
        name: drawn.get(name) for name, stop in stops.items() if stop == before.get(name)})
    fresh.kept("known bare contacts", lambda: {
        name: bare[name] for name, stop in stops.items() if name in bare
        and replace(stop, spacer=before[name].spacer) == before[name]})
    return fresh


def _each(make, system) -> list[Meeting]:
    """Every stop that can be made ready."""
    made = []
    for name in system.model.stops:
        with suppress(LinkageError):
            made.append(make(system, name))
    return made


def _marched(asked, within: float = WITHIN) -> list[tuple[float, float]]:
    """First contact of stops with spacers of some thickness, each along its own input."""
    if not asked:
        return []
    ways = Ways.of_inputs([(m.stop.input, m.limit) for m, _ in asked])
    stage = stage_with(scene_of(asked[0][0].system), [(m.pair, m.solid(t)) for m, t in asked])
    contact = first_contact(stage, ways, np.eye(len(asked), dtype=bool), within)
    free, met = np.diag(contact.free_to), np.diag(contact.met_at)
    limits = np.array([m.limit for m, _ in asked])
    return list(zip((free * limits).tolist(),
                    np.where(np.isfinite(met), met, np.nan) * limits, strict=True))


def _plain(system, name) -> Meeting:
    """A stop without its spacer."""
    stops = system.model.stops
    if name not in stops:
        raise LinkageError(f'no stop "{name}"; {nearest(name, stops)}', stop=name)
    stop = stops[name]
    try:
        pair = scene_of(system).pair_of(*stop.between)
    except LinkageError as error:
        raise LinkageError(f'stop "{name}": {error.sentence}', stop=name) from error
    if stop.input not in pair.inputs:
        raise LinkageError(f'stop "{name}": input "{stop.input}" does not move its faces against '
                           f"each other; name solids that it moves", stop=name)
    return Meeting(system, name, stop, pair, None, None)


def _made(system, name) -> Meeting:
    plain = _plain(system, name)
    if plain.stop.spacer is None:
        return plain
    normal, face = _face(plain)
    return replace(plain, normal=normal, face=face)


def bare_contacts(system: System) -> dict:
    """About where the faces of each stop that has a spacer first meet without it."""
    def work():
        known = system.kept("known bare contacts", dict)
        bare = [m for m in _each(_plain, system) if m.stop.spacer is not None
                and m.name not in known]
        contacts = _marched([(m, 0.0) for m in bare], ABOUT)
        return known | {m.name: met_at for m, (_, met_at) in zip(bare, contacts, strict=True)}

    return system.kept("bare contacts of stops", work)


def _face(plain: Meeting):
    """The flat face that meets the other solid: its outward normal and corners at neutral.

    It is the face that looks most nearly along the gap where the two meet (or come nearest).
    """
    scene, on = scene_of(plain.system), plain.stop.spacer.on
    pieces = scene.solid(on).pieces
    if isinstance(pieces, Triangles):
        raise LinkageError(f'stop "{plain.name}": its spacer is on "{on}", which is a mesh and has '
                           f"no one flat face to sit on; put it on the other solid, or draw the "
                           f"pad as a plate", stop=plain.name)
    if not any(p.faces for p in pieces):
        return None, None
    position = bare_contacts(plain.system)[plain.name]
    if np.isnan(position):
        at = np.linspace(0.0, plain.limit, STEPS)
        position = float(at[np.nanargmin(plain.gap(at, 0.0))])
    piece, way = _nearest_piece(plain, position, on)
    best, corners = -np.inf, None
    for face in piece.faces:
        points = piece.points[list(face)]
        normal = np.cross(points[1] - points[0], points[2] - points[0])
        normal /= np.linalg.norm(normal)
        if normal @ way > best:
            best, corners, outward = normal @ way, points, normal
    return outward, corners


def _nearest_piece(plain, position, on):
    """Piece of the solid `on` that is nearest to the other, and the way to it, at neutral."""
    scene = scene_of(plain.system)
    stage = stage_of(scene, plain.pair)
    motion = plain.system.sweep(**{plain.stop.input: [position]})
    which = nearest_items(stage, motion.posture)
    value, direction, *_ = stage.gap(stage.axes(motion.posture, which, np.zeros_like(which)), which)
    n = int(value.argmin())
    side = 0 if plain.pair.first == on else 1
    way = direction[:, n] if side == 0 else -direction[:, n]
    return stage.pieces[stage.sides[which[n], side]], _turned_back(plain, motion, on, way)


def _turned_back(plain, motion, on, way):
    """A direction of the pair's frame as the solid's own body has it at neutral."""
    body = body_of(on)
    if body == AIRFRAME or body in plain.system.model.rods:
        return way
    posture = motion.posture.of_vectors()
    p = tuple(way)
    for joint, outward in plain.system.plan.route(plain.pair.frame, body):
        p = posture.crossed(p, joint, outward)
    return np.array([float(np.ravel(k)[0]) for k in p])
