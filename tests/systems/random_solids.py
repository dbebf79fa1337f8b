"""Random systems with solids of every kind, and their gaps worked out by code of their own."""

import itertools
import math

import numpy as np
from scipy.spatial.transform import Rotation

import linkage
from linkage.geometry import piece_gap
from linkage.model import (
    AIRFRAME,
    Airframe,
    Body,
    Box,
    Coupling,
    Hole,
    Input,
    Model,
    Pipe,
    Plate,
    Point,
    Rod,
    Sphere,
    Tolerance,
    Tube,
    Washer,
)

KINDS = ("sphere", "tube", "pipe", "box", "plate", "washer")
INPUTS = ("first", "second", "third")


def unit(vector):
    return np.divide(vector, np.linalg.norm(vector))


def place(vector):
    return tuple(float(k) for k in vector)


def solid(rng, kind, near):
    """A solid of a kind, some 10 to 80 mm in size, about a place."""
    at = near + rng.normal(size=3) * 15
    size = float(rng.uniform(3, 18))
    run = rng.normal(size=3) * 30
    if kind == "sphere":
        return Sphere(at=place(at), diameter=size)
    if kind == "tube":
        return Tube(along=(place(at - run), place(at + run)), diameter=size)
    if kind == "pipe":
        return Pipe(along=tuple(place(at + run * i + rng.normal(size=3) * 10) for i in range(3)),
                    diameter=size)
    if kind == "box":
        return Box(corner=place(at), opposite=place(at + rng.uniform(4, 50, 3)))
    normal = unit(rng.normal(size=3))
    if kind == "washer":
        return Washer(at=place(at), normal=place(normal), outside=4 * size,
                      inside=float(rng.choice([0.0, 2 * size])), thickness=size / 3)
    across = unit(np.cross(normal, rng.normal(size=3)))
    a, b = rng.uniform(20, 60, 2)
    outline = ((-a, -b), (a, -b, 5.0), (a, b), (0.2 * a, 0.3 * b), (-a, b))
    holes = (Hole(at=(-0.4 * a, -0.4 * b), diameter=float(0.4 * min(a, b))),)
    return Plate(at=place(at), normal=place(normal), u=place(across), thickness=size / 3,
                 outline=tuple(tuple(float(k) for k in c) for c in outline),
                 holes=holes if rng.random() < 0.5 else ())


def lever(near, far, pivot, axis):
    """How squarely a rod turns a joint: 1 square, 0 dead centre."""
    arm = near - pivot
    arm = arm - axis * (arm @ axis)
    return abs(axis @ np.cross(arm, unit(far - near))) / np.linalg.norm(arm)


def joint(rng, far, slides, least):
    """Pivot, axis and rod end of a new joint that a rod from `far` moves."""
    while True:
        pivot, axis = rng.normal(size=3) * 120, unit(rng.normal(size=3))
        near = pivot + rng.normal(size=3) * 50
        across = np.linalg.norm(np.cross(axis, near - pivot))
        apart = np.linalg.norm(far - near)
        if apart < 60 or not (slides or across > 20):
            continue
        if (abs(axis @ (far - near)) / apart if slides else lever(near, far, pivot, axis)) > least:
            return pivot, axis, near


class Maker:
    """One random model: driven joints, closed and coupled ones, solids on everything.

    Parameters
    ----------
    seed : int
    bold : bool
        Whether travels reach dead centres and beyond the rods' reach.
    kinds : sequence of str
        Kinds of solid to draw from.
    """

    def __init__(self, seed, bold=False, kinds=KINDS):
        self.rng = np.random.default_rng(seed)
        self.bold, self.kinds = bold, kinds
        self.points, self.bodies, self.rods, self.couplings, self.inputs = {}, {}, {}, {}, {}
        rng = self.rng
        for i in range(int(rng.choice([1, 2, 2, 3]))):
            self._driven(i)
        for i in range(int(rng.integers(1, 5))):
            self._stage(i, str(rng.choice(["turn", "turn", "slide", "coupling"])))
        if rng.random() < 0.2:
            self._redundant()

    def _add(self, name, frame, on=AIRFRAME, slides=False, **more):
        pivot, axis, spot = frame
        way = {"slide" if slides else "axis": place(axis)}
        self.points[f"{name}/p"] = spot
        solids = {f"s{k}": solid(self.rng, str(self.rng.choice(self.kinds)), spot)
                  for k in range(int(self.rng.integers(0, 3)))}
        self.bodies[name] = Body(pivot=place(pivot), points={"p": Point(at=place(spot))}, on=on,
                                 solids=solids, **way, **more)

    def _driven(self, i):
        rng, name = self.rng, INPUTS[i]
        slides = rng.random() < 0.2
        reach = rng.uniform(5, 70 if self.bold else 25, 2) * (1.5 if slides else 1)
        self.inputs[name] = Input(travel=(-float(reach[0]), float(reach[1])), in_mm=bool(slides))
        pivot = rng.normal(size=3) * 120
        on = str(rng.choice([AIRFRAME, *self.bodies]))
        self._add(f"b{i}", (pivot, unit(rng.normal(size=3)), pivot + rng.normal(size=3) * 60),
                  on, bool(slides), input=name)

    def _stage(self, i, kind):
        rng, name, earlier = self.rng, f"c{i}", list(self.bodies)
        on, mate = str(rng.choice([AIRFRAME, *earlier])), str(rng.choice(earlier))
        if kind == "coupling":
            pivot = rng.normal(size=3) * 120
            ratio = float(rng.uniform(0.2, 1.5) * rng.choice([-1, 1]))
            self._add(name, (pivot, unit(rng.normal(size=3)), pivot + rng.normal(size=3) * 60), on)
            self.couplings[f"k{i}"] = Coupling(bodies=(mate, name), ratio=ratio)
            return
        far = self.points[f"{mate}/p"]
        frame = joint(rng, far, kind == "slide", 0.2 if self.bold else 0.5)
        self._add(name, frame, on, kind == "slide")
        self._rod(f"r{i}", (f"{name}/p", f"{mate}/p"), rng.random() < 0.3)

    def _rod(self, name, ends, stretched, **more):
        drawn = float(np.linalg.norm(self.points[ends[0]] - self.points[ends[1]]))
        length = drawn * float(self.rng.uniform(0.96, 1.05)) if stretched else None
        diameter = float(self.rng.uniform(4, 12)) if self.rng.random() < 0.8 else None
        self.rods[name] = Rod(ends=ends, length=length, diameter=diameter, **more)

    def _redundant(self):
        ends = [f"{n}/p" for n in self.rng.permutation(list(self.bodies))[:2]]
        if len(ends) == 2 and np.linalg.norm(self.points[ends[0]] - self.points[ends[1]]) > 5:
            self._rod("spare", tuple(ends), False, redundant=True)

    def model(self, fixed=()):
        rng = self.rng
        return Model(length="mm", inputs=self.inputs, bodies=self.bodies, rods=self.rods,
                     couplings=self.couplings,
                     airframe=Airframe(solids={f"f{k}": s for k, s in enumerate(fixed)}),
                     tolerance=Tolerance(hardpoint=float(rng.choice([0.1, 0.4])),
                                         rod=float(rng.choice([0.0, 0.3]))))


def random_system(seed, bold=False, kinds=KINDS):
    """A system with solids near each other; some seeds can't be built and give the next one."""
    for again in itertools.count():
        maker = Maker((seed, again), bold, kinds)
        try:
            system = linkage.System(maker.model())
        except linkage.LinkageError:
            continue
        rng = maker.rng
        at = positions(system, rng, 4)
        motion = system.sweep(**at)
        spots = [motion.point(name) for name in maker.points]
        spots = np.concatenate([s[np.isfinite(s).all(axis=-1)] for s in spots])
        fixed = [solid(rng, kind, spots[rng.integers(len(spots))] + unit(rng.normal(size=3))
                       * rng.uniform(10, 60))
                 for kind in rng.choice(kinds, int(rng.integers(1, 4)))]
        return linkage.System(maker.model(fixed))
    raise AssertionError("counting has no end")


def box_of(system):
    return {name: control.travel for name, control in system.inputs.items()
            if control.body is not None}


def positions(system, rng, count):
    """Random stick positions with the corners, edges and middle of the travel among them."""
    box = box_of(system)
    low, high = np.array(list(box.values())).T
    share = rng.random((count, len(box)))
    pinned = rng.random(share.shape) < 0.25
    share = np.where(pinned & (np.arange(count) % 2 == 0)[:, None], share.round(), share)
    corners = np.array(list(itertools.product((0.0, 0.5, 1.0), repeat=len(box))))[:count]
    share[:len(corners)] = corners
    at = np.clip(low + share * (high - low), low, high)
    return {name: at[:, i] for i, name in enumerate(box)}


def carried(motion, body, points):
    """Points of a body at neutral carried by SciPy's rotations through the angles told.

    Parameters
    ----------
    motion : Motion
        Over one axis of n positions.
    body : str
    points : ndarray (m, 3)

    Returns
    -------
    ndarray (n, m, 3)
    """
    model = motion.system.model
    where = np.broadcast_to(points, (*motion.shape, *points.shape))
    while body != AIRFRAME:
        part, way = model.bodies[body], motion.angle(body)
        if part.slides:
            where = where + way[:, None, None] * np.array(part.direction)
        else:
            c = np.array([np.broadcast_to(k, motion.shape)
                          for k in motion.posture.dimensions.places[f"{body}/pivot"]]).T[:, None]
            turn = Rotation.from_rotvec(np.radians(np.nan_to_num(way))[:, None] * part.direction)
            where = c + np.einsum("nij,nmj->nmi", turn.as_matrix(), where - c)
            where = np.where(np.isnan(way)[:, None, None], np.nan, where)
        body = part.on
    return where


def posed(motion, scene_solid, off=0.0):
    """Corners of every piece of a solid over a motion: a list of ndarray (n, corners, 3)."""
    if len(scene_solid.carriers) == 2:
        ends = motion.system.model.rods[scene_solid.name.split("/")[0]].ends
        return [np.stack([motion.point(end) for end in ends], axis=1)]
    body = scene_solid.carriers[0]
    return [carried(motion, body, piece.points + off) if body != AIRFRAME else
            np.broadcast_to(piece.points + off, (*motion.shape, *piece.points.shape))
            for piece in scene_solid.pieces]


def plain_gap(motion, one, other, off=(0.0, 0.0)):
    """Gap of two solids over a motion, every piece against every piece, nothing left out."""
    least = np.full(motion.shape, np.inf)
    sides = [list(zip(s.pieces, posed(motion, s, o), strict=True))
             for s, o in zip((one, other), off, strict=True)]
    for (a, here), (b, there) in itertools.product(*sides):
        least = np.minimum(least, piece_gap(here, a, there, b).value)
    return np.where(np.isfinite(least), least, math.nan)
