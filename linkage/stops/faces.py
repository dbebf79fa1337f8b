"""Where the two faces of a stop meet along its input, with a spacer of any thickness between."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..clearances import Stage, scene_of, stage_of
from ..clearances.scene import Pair, Solid
from ..clearances.stage import measure
from ..errors import LinkageError, nearest
from ..geometry import Piece, prism
from ..model import AIRFRAME, Stop
from ..motion import System, body_of
from ..search import refine
from ..units import shown_length

BEYOND = 10.0  # degrees (mm) past the wanted travel in which a stop is looked for
STEPS = 81
ABOUT = 1e-3  # degrees (mm) near enough to tell which face meets the other


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
    """

    system: System
    name: str
    stop: Stop
    pair: Pair
    normal: np.ndarray | None
    face: np.ndarray | None

    @property
    def thickness(self) -> float:
        """Thickness of the spacer in the file, mm; 0 without one."""
        return self.stop.spacer.thickness if self.stop.spacer else 0.0

    @property
    def limit(self) -> float:
        """How far along the input the stop is looked for, signed."""
        low, high = self.system.inputs[self.stop.input].travel
        sign = 1.0 if self.stop.side == "greatest" else -1.0
        reach = abs(high if sign > 0 else low) + BEYOND
        return sign * (self.stop.search if self.stop.search is not None else reach)

    def gap(self, positions, thickness: float) -> np.ndarray:
        """Gap of the two faces at positions of the input, the others at 0, shape (n,), mm."""
        return self._measured(self.stage(thickness), positions)

    def _measured(self, stage, positions):
        motion = self.system.sweep(**{self.stop.input: np.asarray(positions, dtype=float)})
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
        return Stage(scene, [self.pair], self._with_spacer(scene, thickness))

    def _with_spacer(self, scene, thickness):
        def solid(name):
            plain = scene.solid(name)
            if not thickness or name != self.stop.spacer.on:
                return plain
            if self.face is None:
                grown = tuple(Piece(p.points, p.radius + thickness, p.edges, p.faces)
                              for p in plain.pieces)
                return Solid(name, grown, plain.carriers)
            pad = prism(self.face, thickness * self.normal)
            return Solid(name, (*plain.pieces, pad), plain.carriers)

        return solid

    def contact(self, thickness: float) -> float:
        """Position of the input at which the faces first meet.

        Raises
        ------
        LinkageError
            When they touch at neutral already, or never meet.
        """
        unit = self.system.model.length
        free = float(self.gap([0.0], 0.0)[0])
        if not free > 0:
            raise LinkageError(f'stop "{self.name}": its faces touch at neutral already (gap '
                               f"{shown_length(free, unit)}); move one of them", stop=self.name)
        if thickness and not self.gap([0.0], thickness)[0] > 0:
            raise LinkageError(f'stop "{self.name}": a spacer of {shown_length(thickness, unit)} '
                               f"is thicker than the gap of {shown_length(free, unit)} at neutral; "
                               f"make it thinner", stop=self.name)
        found = self._first_touch(self.stage(thickness))
        if found is None:
            raise LinkageError(f'stop "{self.name}": its faces never meet up to '
                               f"{self.limit:+.1f}{self.system.inputs[self.stop.input].unit} "
                               f"{self.stop.input}; move them nearer, or raise search",
                               stop=self.name)
        return found

    def _first_touch(self, stage, tolerance=1e-12):
        """March out from neutral until the faces meet, and refine; None when they never do."""
        near, before = 0.0, self._measured(stage, [0.0])[0]
        for part in np.array_split(np.linspace(0.0, self.limit, STEPS)[1:], STEPS // 8):
            value = self._measured(stage, part)
            hit = np.flatnonzero(value <= 0)
            if hit.size:
                n = int(hit[0])
                if n:
                    near, before = part[n - 1], value[n - 1]
                ends = ((np.array([x]), np.array([v])) for x, v in
                        ((near, before), (part[n], value[n])))
                return float(refine(lambda x: self._measured(stage, x), *ends, tolerance)[0])
            near, before = part[-1], value[-1]
        return None


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
    stops = system.model.stops
    if name not in stops:
        raise LinkageError(f'no stop "{name}"; {nearest(name, stops)}', stop=name)
    stop = stops[name]
    pair = scene_of(system).pair_of(*stop.between)
    if stop.input not in pair.inputs:
        raise LinkageError(f'stop "{name}": input "{stop.input}" does not move its faces against '
                           f"each other; name solids that it moves", stop=name)
    plain = Meeting(system, name, stop, pair, None, None)
    if stop.spacer is None:
        return plain
    normal, face = _face(plain)
    return Meeting(system, name, stop, pair, normal, face)


def _face(plain: Meeting):
    """The flat face that meets the other solid: its outward normal and corners at neutral.

    It is the face that looks most nearly along the gap where the two meet (or come nearest).
    """
    scene, on = scene_of(plain.system), plain.stop.spacer.on
    pieces = scene.solid(on).pieces
    if not any(p.faces for p in pieces):
        return None, None
    stage = stage_of(scene, plain.pair)
    position = plain._first_touch(stage, ABOUT)
    if position is None:
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
    which = np.flatnonzero(~stage.rough)
    best, found = np.inf, None
    for here, _ in stage.by_corners(which):
        hulls = stage.hulls(motion.posture, which[here], np.zeros(len(here), int))
        value, direction, *_ = stage.gap(hulls, which[here])
        if value.min() < best:
            best, n = value.min(), int(value.argmin())
            found = which[here[n]], direction[:, n]
    side = 0 if plain.pair.first == on else 1
    way = found[1] if side == 0 else -found[1]
    return stage.pieces[stage.sides[found[0], side]], _turned_back(plain, motion, on, way)


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
