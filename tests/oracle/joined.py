"""Material of parts that share a joint, away from it: the rest is meant to touch.

Solids are cut small and what may lie in a ball about a shared joint is dropped, so that no
material is held against another that the library may leave out.
"""

import numpy as np

from .attack import Scene
from .solids import Piece

BALL = 25.4  # mm, the library's printed default for parts without sizes of their own
CUTS = 16  # segments of a tube
SPLITS = 4  # of a box along each side


def shared_joints(machine, one, other):
    """Places at neutral of the joints that two solids' parts share."""
    a, b = one.split("/")[0], other.split("/")[0]
    found = []
    for p, q in ((a, b), (b, a)):
        if p in machine.rods:
            ends = machine.rods[p][0]
            other_ends = machine.rods[q][0] if q in machine.rods else ()
            found += [machine.points[e] for e in ends
                      if e in other_ends or e.split("/")[0] == q]
        elif p in machine.joints and machine.joints[p].on == q:
            found.append(machine.points[f"{p}/pivot"])
            if machine.joints[p].through is not None:
                found.append(machine.joints[p].through)
    return found


class Away(Scene):
    """A scene in which two solids have only what lies away from their shared joints."""

    def __init__(self, scene, pair):
        self.machine, self.hulls, self.spans = scene.machine, dict(scene.hulls), {}
        joints = shared_joints(scene.machine, *pair)
        for name in pair:
            if self.machine.solids[name]["kind"] == "rod":
                self.spans[name] = self._spans(name, joints)
            else:
                self.hulls[name] = [p for piece in scene.hulls[name] for p in cut(piece)
                                    if all(clear(p, j) for j in joints)]

    def _spans(self, name, joints):
        rod = name.split("/")[0]
        start, end = (self.machine.points[e] for e in self.machine.rods[rod][0])
        radius = self.machine.solids[name]["diameter"] / 2
        shares = np.linspace(0, 1, CUTS + 1)
        return [(a, b) for a, b in zip(shares[:-1], shares[1:], strict=True)
                if all(clear(Piece(np.array([start + a * (end - start),
                                             start + b * (end - start)]), radius), j)
                       for j in joints)]

    def empty(self, name):
        return not (self.spans[name] if name in self.spans else self.hulls[name])

    def posed(self, posture, name, grown=0.0):
        if name not in self.spans:
            return super().posed(posture, name, grown)
        rod = name.split("/")[0]
        one, other = (posture.point(p) for p in self.machine.rods[rod][0])
        radius = self.machine.solids[name]["diameter"] / 2 + grown
        return [(np.stack([one + a * (other - one), one + b * (other - one)], axis=1), radius)
                for a, b in self.spans[name]]


def cut(piece):
    """A tube in segments, the skin of a box in boxes, anything else as it is."""
    if len(piece.points) == 2:
        way = piece.points[1] - piece.points[0]
        at = piece.points[0] + np.linspace(0, 1, CUTS + 1)[:, None] * way
        return [Piece(at[k:k + 2], piece.radius) for k in range(CUTS)]
    low, high = piece.points.min(axis=0), piece.points.max(axis=0)
    if len(piece.points) != 8 or not np.isin(piece.points, [low, high]).all():
        return [piece]
    size = (high - low) / SPLITS
    corners = (piece.points > low + size / 2) * size
    return [Piece(low + size * np.array(k) + corners, piece.radius)
            for k in np.ndindex(SPLITS, SPLITS, SPLITS) if {0, SPLITS - 1} & set(k)]


def clear(piece, joint):
    """Whether a piece lies outside the ball about a joint; in doubt it doesn't."""
    middle = piece.points.mean(axis=0)
    reach = np.linalg.norm(piece.points - middle, axis=1).max()
    return np.linalg.norm(middle - joint) - reach - piece.radius > BALL
