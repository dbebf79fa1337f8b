"""Reversals planted into a model, and whether one really is, by formulas of their own."""

from dataclasses import replace

import numpy as np

from linkage.model import Point

# Deflection's sign for the positive end, trailing edge down (left) positive: by the rule alone.
DUE = {"aileron_run": {("aileron left", "roll"): 1, ("aileron right", "roll"): -1},
       "elevons": {("elevon left", "pitch"): -1, ("elevon right", "pitch"): -1,
                   ("elevon left", "roll"): 1, ("elevon right", "roll"): -1},
       "servo_arm": {("elevator", "pitch"): -1},
       "side_by_side": {("elevator", "pitch"): -1, ("aileron left", "roll"): 1,
                        ("aileron right", "roll"): -1},
       "tandem": {("elevator", "pitch"): -1, ("aileron left", "roll"): 1,
                  ("aileron right", "roll"): -1, ("rudder", "yaw"): -1},
       "new side-by-side": {("elevator", "pitch"): -1}, "new tandem": {("elevator", "pitch"): -1}}

DUE["side_by_side_fixed"] = DUE["side_by_side"]



def edge_rate(system, surface, name, at, step=0.01):
    """How a point of the trailing edge moves by differences: up negative, left positive, mm/deg.

    The point lies 100 mm aft of the hinge on the surface's body; Rodrigues' formula by hand.
    """
    body = system.model.surfaces[surface].body
    part = system.model.bodies[body]
    u = np.array(part.direction)
    motion = system.sweep(**{name: np.array([at - step, at + step])})
    places = []
    for turn in np.radians(motion.angle(body)):
        r = np.array([100.0, 0.0, 0.0])
        places.append(r * np.cos(turn) + np.cross(u, r) * np.sin(turn)
                      + u * (u @ r) * (1 - np.cos(turn)))
    moved = (places[1] - places[0]) / (2 * step)
    return -moved[1] if abs(u[2]) > abs(u[1]) else -moved[2]


def over_the_pivot(model, address):
    """A model with one arm reversed: its point swung half a turn about the part's axis."""
    body, point = address.split("/")
    part = model.bodies[body]
    u, c = np.array(part.direction), np.array(part.centre)
    x = np.array(part.points[point].position) - c
    points = {**part.points, point: Point(at=tuple((c + 2 * u * (x @ u) - x).tolist()))}
    return replace(model, bodies={**model.bodies, body: replace(part, points=points)})


def across(model, body):
    """A model with the points of one part on the other side of its pivot's butt line."""
    part = model.bodies[body]
    points = {name: Point(at=(p.position[0], 2 * part.centre[1] - p.position[1], p.position[2]))
              for name, p in part.points.items()}
    return replace(model, bodies={**model.bodies, body: replace(part, points=points)})


def swapped(table, one, other, word):
    """A table of parts with one attribute of two of them swapped."""
    return {**table, one: replace(table[one], **{word: getattr(table[other], word)}),
            other: replace(table[other], **{word: getattr(table[one], word)})}


def swapped_rods(model, one, other):
    (a, b), (c, d) = model.rods[one].ends, model.rods[other].ends
    return replace(model, rods={**model.rods, one: replace(model.rods[one], ends=(a, d)),
                                other: replace(model.rods[other], ends=(c, b))})


def really_wrong(system, due):
    """Whether some trailing edge moves against its due sign somewhere along its input."""
    for (surface, name), sign in due.items():
        rates = np.array([edge_rate(system, surface, name, x) for x in
                          np.linspace(*system.inputs[name].travel, 31)])
        if not np.isfinite(rates).all():
            return None
        if not (rates * sign > 0).all():
            return True
    return False
