"""Postures of a machine: circle against sphere for one rod, Newton from neutral for several.

No closed form in the angle's half-sums is used: the rod's end runs on a circle in a plane; the
far end projected into it leaves a triangle, and the law of cosines gives its angle.
"""

import itertools
from dataclasses import dataclass

import numpy as np

STEPS = 6  # of the way from neutral on which several rods are followed
FINEST = 2.0**-20


@dataclass
class Build:
    """Dimensions as built, by name: places (3,), axes (3,), lengths; or one of each a position."""

    points: dict
    axes: dict
    lengths: dict

    def at(self, index):
        """The builds of some positions."""
        def picked(table, single):
            return {n: v[index] if np.ndim(v) > single else v for n, v in table.items()}

        return Build(picked(self.points, 1), picked(self.axes, 1), picked(self.lengths, 0))


def drawn(machine):
    return Build(dict(machine.points), {n: j.axis for n, j in machine.joints.items()},
                 {n: length for n, (_, length) in machine.rods.items()})


def dimensions(machine):
    """Every dimension that a build may have off: (kind, name, place in it, tolerance)."""
    every = [("point", name, k, point_tolerance(machine, name))
             for name in machine.points for k in range(3)]
    every += [("through", name, k, point_tolerance(machine, f"{name}/pivot"))
              for name, joint in machine.joints.items() if joint.through is not None
              for k in range(3)]
    every += [("rod", name, 0, machine.tolerance.get(name, machine.tolerance["rod"]))
              for name in machine.rods]
    return [d for d in every if d[3] > 0]


def built(machine, share):
    """Builds with each of `dimensions` off by a share (n, dimensions) of its tolerance."""
    count = len(share)
    points = {n: np.tile(p, (count, 1)) for n, p in machine.points.items()}
    ends = {n: np.tile(j.through, (count, 1)) for n, j in machine.joints.items()
            if j.through is not None}
    lengths = {n: np.full(count, length) for n, (_, length) in machine.rods.items()}
    for (kind, name, k, by), off in zip(dimensions(machine), share.T, strict=True):
        if kind == "rod":
            lengths[name] = lengths[name] + by * off
        else:
            (points if kind == "point" else ends)[name][:, k] += by * off
    axes = {n: j.axis for n, j in machine.joints.items()}
    for name, end in ends.items():
        along = end - points[f"{name}/pivot"]
        axes[name] = along / np.linalg.norm(along, axis=1, keepdims=True)
    return Build(points, axes, lengths)


def point_tolerance(machine, address):
    own = machine.tolerance
    return own.get(address, own.get(address.split("/")[0], own["hardpoint"]))


def turn(axis, angle):
    """Rotation matrices (n, 3, 3) about unit axes (3,) or (n, 3)."""
    angle = np.asarray(angle, dtype=float)
    axis = np.broadcast_to(axis, (*angle.shape, 3))
    x, y, z = np.moveaxis(axis, -1, 0)
    c, s = np.cos(angle), np.sin(angle)
    k = 1 - c
    return np.stack([np.stack([c + x * x * k, x * y * k - z * s, x * z * k + y * s], -1),
                     np.stack([y * x * k + z * s, c + y * y * k, y * z * k - x * s], -1),
                     np.stack([z * x * k - y * s, z * y * k + x * s, c + z * z * k], -1)], -2)


def moved_by(turned, vectors):
    """Vectors (3,) or (n, 3) turned by matrices (n, 3, 3)."""
    return np.einsum("nij,nj->ni", turned, np.broadcast_to(vectors, (len(turned), 3)))


class Posture:
    """Joints of a machine at n positions, and where its bodies are."""

    def __init__(self, machine, build, count):
        self.machine, self.build, self.count = machine, build, count
        self.values, self._seats = {}, {}

    def seat(self, body):
        """Rotation (n, 3, 3) and shift (n, 3) of a body from neutral."""
        if body == "airframe":
            return np.broadcast_to(np.eye(3), (self.count, 3, 3)), np.zeros((self.count, 3))
        if body not in self._seats:
            joint = self.machine.joints[body]
            turned, moved = self.seat(joint.on)
            own, way = self._own(body)
            self._seats[body] = turned @ own, moved + moved_by(turned, way)
        return self._seats[body]

    def _own(self, body):
        joint, value = self.machine.joints[body], self.values.get(body, np.zeros(self.count))
        axis = self.build.axes[body]
        if joint.slides:
            return (np.broadcast_to(np.eye(3), (self.count, 3, 3)), value[:, None] * axis)
        own, pivot = turn(axis, value), self.build.points[f"{body}/pivot"]
        return own, pivot - moved_by(own, pivot)

    def settle(self, body, value):
        """Set a joint; whatever rides on it is worked out anew."""
        self.values[body] = np.broadcast_to(np.asarray(value, dtype=float), (self.count,))
        self._seats = {b: s for b, s in self._seats.items() if body not in self.machine.chain(b)}

    def carried(self, body, points):
        """Points (m, 3) of a body where it has carried them, (n, m, 3)."""
        turned, moved = self.seat(body)
        return np.einsum("nij,mj->nmi", turned, points) + moved[:, None]

    def point(self, address):
        turned, moved = self.seat(address.split("/")[0])
        return moved_by(turned, self.build.points[address]) + moved

    def some(self, index):
        """The posture at some of its positions."""
        part = Posture(self.machine, self.build.at(index), len(range(self.count)[index]))
        part.values = {b: v[index] for b, v in self.values.items()}
        part._seats = {b: (turned[index], moved[index])
                       for b, (turned, moved) in self._seats.items()}
        return part

    def misfit(self, rod):
        one, other = self.machine.rods[rod][0]
        return np.linalg.norm(self.point(one) - self.point(other), axis=1) - \
            self.build.lengths[rod]

    def rate(self, rod, body):
        """Growth of a rod's end distance per radian (mm) of a joint, (n,)."""
        one, other = (self.point(end) for end in self.machine.rods[rod][0])
        along = one - other
        along = along / np.linalg.norm(along, axis=1, keepdims=True)
        total = np.zeros(self.count)
        turned, _ = self.seat(self.machine.joints[body].on)
        axis = moved_by(turned, self.build.axes[body])
        for sign, end, at in zip((1, -1), self.machine.rods[rod][0], (one, other), strict=True):
            if body in self.machine.chain(end.split("/")[0]):
                moved = axis if self.machine.joints[body].slides else \
                    np.cross(axis, at - self.point(f"{body}/pivot"))
                total += sign * (along * moved).sum(axis=1)
        return total


def order(machine):
    """Steps settling the joints: ("drive", ...), ("couple", ...), ("rod", ...), ("rods", ...)."""
    steps = [("drive", body, *told) for body, told in machine.drives.items()]
    known = set(machine.drives)
    couplings = dict(machine.couplings)
    rods = {name: crossed(machine, name) for name in machine.rods}
    while True:
        step = next_coupling(couplings, known) or next_rods(rods, known)
        if step is None:
            return steps
        steps.append(step)
        known |= set(step[1]) if step[0] == "rods" else {step[1]}


def needed(machine, steps, joints):
    """The steps among some that settle some joints, and those that these rest on."""
    kept, joints = [], set(joints)
    for step in reversed(steps):
        settles = set(step[1]) if step[0] == "rods" else {step[1]}
        if not settles & joints:
            continue
        kept.append(step)
        if step[0] == "couple":
            joints.add(step[2])
        rods = {"rod": [step[2]], "rods": step[2]}.get(step[0], [])
        joints |= set().union(*(crossed(machine, rod) for rod in rods))
    return kept[::-1]


def crossed(machine, rod):
    """Joints between a rod's two ends."""
    one, other = (set(machine.chain(end.split("/")[0])) for end in machine.rods[rod][0])
    return one ^ other


def next_coupling(couplings, known):
    for name, ((one, other), ratio) in list(couplings.items()):
        if (one in known) != (other in known):
            del couplings[name]
            return ("couple", other, one, ratio) if one in known else \
                ("couple", one, other, 1 / ratio)
    return None


def next_rods(rods, known):
    for count in range(1, len(rods) + 1):
        for names in itertools.combinations(rods, count):
            joints = set().union(*(rods[n] - known for n in names))
            if len(joints) == count:
                for name in names:
                    del rods[name]
                return ("rod", joints.pop(), names[0]) if count == 1 else \
                    ("rods", sorted(joints), list(names))
    return None


def close(machine, inputs, build=None, *, follow=True):
    """Posture at stick positions.

    `inputs` is {name: (n,)} in degrees (mm of a slide); what is out of reach is NaN, and what
    couplings turn beyond a place out of reach, unless they need not `follow` from neutral.
    """
    return settled(machine, inputs, build or drawn(machine), order(machine), follow)


def followed_by_newton(machine, inputs, build):
    """The same posture with every joint but the driven ones followed from neutral at once."""
    steps = order(machine)
    driven = [step for step in steps if step[0] == "drive"]
    joints = [joint for step in steps if step[0] in ("rod", "rods")
              for joint in ([step[1]] if step[0] == "rod" else step[1])]
    posture = settled(machine, inputs, build, driven)
    together(posture, ("rods", joints, list(machine.rods)), inputs, driven)
    return posture


def couple(posture, step, inputs, before):
    _, body, source, ratio = step
    joints = posture.machine.joints
    value = posture.values[source] if before is None else followed(posture, source, inputs, before)
    per = ratio * {(False, False): 1.0, (True, True): 1.0, (True, False): np.pi / 180,
                   (False, True): 180 / np.pi}[joints[source].slides, joints[body].slides]
    posture.settle(body, per * value)


def followed(posture, source, inputs, before):
    """A joint's value followed from neutral, so that a turn past half a circle goes on."""
    kind = next(step[0] for step in before if step[1] == source or source in step[1])
    if kind != "rod" or posture.machine.joints[source].slides:
        return posture.values[source]
    shares = np.linspace(0, 1, 41)
    many = {n: (np.asarray(v)[:, None] * shares).ravel() for n, v in inputs.items()}
    build = posture.build.at(np.repeat(np.arange(posture.count), len(shares)))
    along = settled(posture.machine, many, build, needed(posture.machine, before, {source}))
    value = np.unwrap(along.values[source].reshape(posture.count, -1), axis=1)[:, -1]
    return np.where(np.isnan(value), np.nan, value)


def settled(machine, inputs, build, steps, follow=True):
    """Posture with some steps of the order taken."""
    posture = Posture(machine, build, len(next(iter(inputs.values()))))
    for n, step in enumerate(steps):
        if step[0] == "drive":
            value = step[3] * np.asarray(inputs.get(step[2], np.zeros(posture.count)), dtype=float)
            posture.settle(step[1], value if machine.joints[step[1]].slides else np.radians(value))
        elif step[0] == "couple":
            couple(posture, step, inputs, steps[:n] if follow else None)
        elif step[0] == "rod":
            posture.settle(step[1], one_rod(posture, step[1], step[2]))
        else:
            together(posture, step, inputs, steps[:n])
    return posture


def one_rod(posture, body, rod):
    """The joint that one rod leaves only one place for, on the branch that it has at neutral."""
    machine, build = posture.machine, posture.build
    ends = machine.rods[rod][0]
    near, far = ends if body in machine.chain(ends[0].split("/")[0]) else ends[::-1]
    joint, axis, length = machine.joints[body], build.axes[body], build.lengths[rod]
    posture.settle(body, np.zeros(posture.count))
    turned, moved = posture.seat(joint.on)
    here, there = (np.einsum("nji,nj->ni", turned, posture.point(p) - moved) for p in (near, far))
    if joint.slides:
        apart = here - there
        lead = (apart * axis).sum(axis=1)
        room = lead**2 - (apart**2).sum(axis=1) + length**2
        side = np.sign((machine.points[near] - machine.points[far]) @ joint.axis)
        with np.errstate(invalid="ignore"):
            return side * np.sqrt(room) - lead
    pivot = build.points[f"{body}/pivot"]
    angle, half = triangle(here, there, pivot, axis, length)
    drawn_angle, _ = triangle(machine.points[near][None], machine.points[far][None], joint.pivot,
                              joint.axis, 1.0)
    value = angle - np.sign(np.sin(drawn_angle)) * half
    return (value + np.pi) % (2 * np.pi) - np.pi


def triangle(near, far, pivot, axis, length):
    """Turn of the near end to the far end's direction, and the triangle's angle at the axis."""
    centre = pivot + ((near - pivot) * axis).sum(axis=1)[:, None] * axis
    arm = near - centre
    radius = np.linalg.norm(arm, axis=1)
    first = arm / radius[:, None]
    second = np.cross(axis, first)
    a, b = ((far - centre) * first).sum(axis=1), ((far - centre) * second).sum(axis=1)
    height = ((far - centre) * axis).sum(axis=1)
    flat = np.hypot(a, b)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = (radius**2 + flat**2 - (length**2 - height**2)) / (2 * radius * flat)
        return np.arctan2(b, a), np.arccos(np.where(np.abs(share) <= 1, share, np.nan))


def together(posture, step, inputs, before):
    """Several rods at once, followed along the straight line from neutral by Newton."""
    _, joints, rods = step
    machine, build, count = posture.machine, posture.build, posture.count
    before = needed(machine, before, set().union(*(crossed(machine, rod) for rod in rods)))

    def at(share, index):
        part = {n: np.asarray(v, dtype=float)[index] * share for n, v in inputs.items()}
        return settled(machine, part, build.at(index), before)

    index = np.arange(count)
    found, good, sign = newton(at(np.zeros(count), index), joints, rods,
                               np.zeros((count, len(joints))))
    share, stride = np.zeros(count), np.full(count, 1.0 / STEPS)
    sense_at_neutral = sign
    active = np.flatnonzero(good)
    pace = np.array([150.0 if machine.joints[j].slides else 1.5 for j in joints])
    while active.size:
        goal = np.minimum(1.0, share[active] + stride[active])
        new, closed, sign = newton(at(goal, active), joints, rods, found[active])
        closed &= (sign == sense_at_neutral[active]) & (
            (np.abs(new - found[active]) / pace).max(axis=1) < np.sqrt(stride[active]))
        done = active[closed]
        found[done], share[done] = new[closed], goal[closed]
        stride[active[~closed]] /= 2
        good[active[stride[active] < FINEST]] = False
        active = active[(share[active] < 1) & (stride[active] >= FINEST)]
    found[~good] = np.nan
    for k, joint in enumerate(joints):
        posture.settle(joint, found[:, k])


def newton(posture, joints, rods, start):
    """Joints at which all rods have their length, whether so, and the sign of the determinant."""
    value = np.array(start)
    for _ in range(12):
        for k, joint in enumerate(joints):
            posture.settle(joint, value[:, k])
        off = np.stack([posture.misfit(rod) for rod in rods], axis=1)
        rate = np.stack([np.stack([posture.rate(rod, j) for j in joints], axis=1) for rod in rods],
                        axis=1)
        usable = np.isfinite(rate).all(axis=(1, 2)) & (np.abs(np.linalg.det(
            np.where(np.isfinite(rate), rate, 0.0))) > 1e-300)
        rate = np.where(usable[:, None, None], rate, np.eye(len(joints)))
        move = np.linalg.solve(rate, -np.where(usable[:, None], off, 0.0)[..., None])[..., 0]
        limit = np.array([0.3 if not posture.machine.joints[j].slides else 40.0 for j in joints])
        value = value + np.clip(move, -limit, limit)
        if (np.abs(move) < 1e-11 * limit).all():
            break
    for k, joint in enumerate(joints):
        posture.settle(joint, value[:, k])
    off = np.stack([posture.misfit(rod) for rod in rods], axis=1)
    longest = max(np.max(posture.build.lengths[rod]) for rod in rods)
    with np.errstate(invalid="ignore"):
        good = usable & (np.abs(off) < 1e-9 * longest).all(axis=1)
    return value, good, np.sign(np.linalg.det(rate))
