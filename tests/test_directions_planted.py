"""Examples and starters by hand-derived signs; planted faults; brute force of the gearing."""

import itertools
from collections import Counter
from dataclasses import replace
from functools import partial

import numpy as np
import pytest
from systems import random_solids
from systems.direction_models import HERE, pitch

import linkage
from linkage.gearing import (
    direction_findings,
    directions,
    enclosed_gearing,
    find,
    kind_of,
)
from linkage.model import Point, Surface
from linkage.motion import System

# --- examples and starters by hand-derived signs ----------------------------------------------

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


def shipped(name):
    folder = HERE.parent / ("linkage/starters" if name.startswith("new ") else "examples")
    return linkage.load(folder / f"{name.removeprefix('new ')}.toml")


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


@pytest.mark.parametrize("name", DUE)
def test_shipped_files_are_right(name):
    system = shipped(name)
    judged = directions(system)
    assert {(each.surface, each.input): each.outcome for each in judged} == \
        dict.fromkeys(DUE[name], "right")
    for (surface, control), sign in DUE[name].items():
        for at in (*system.inputs[control].travel, 0.0):
            assert edge_rate(system, surface, control, at) * sign > 0
    assert not [finding for finding in find(system) if finding.miss]


def test_kinds_are_read_from_shop_names():
    names = {"AILERON L": "aileron", "elevator trim tab": "tab", "nose wheel": "nosewheel",
             "V-tail left": "v-tail", "flaps": "flap", "elevator trim": None, "Seitenruder": None,
             "rudder or elevator": None, "tail-wheel": "tailwheel", "ruddervator": "v-tail"}
    for name, kind in names.items():
        assert kind_of(pitch(name), name) == kind, name


# --- planted faults ---------------------------------------------------------------------------

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


def planted(model):
    """Every reversal of every kind: (kind, what makes it)."""
    for rod in model.rods.values():
        for end in rod.ends:
            yield "reversed arm", partial(over_the_pivot, model, end)
    for one, other in itertools.combinations(model.rods, 2):
        yield "swapped rods", partial(swapped_rods, model, one, other)
    for name, part in model.couplings.items():
        yield "mirrored sign", lambda name=name, part=part: replace(
            model, couplings={**model.couplings, name: replace(part, ratio=-part.ratio)})
    for name, part in model.bodies.items():
        if any(abs(p.position[1] - part.centre[1]) > 1 for p in part.points.values()):
            yield "mirrored sign", partial(across, model, name)
    driven = [name for name, part in model.bodies.items() if part.input]
    for pair in itertools.combinations(driven, 2):
        yield "crossed coupling", lambda pair=pair: replace(
            model, bodies=swapped(model.bodies, *pair, "input"))
    bare = {name: replace(part, require=()) for name, part in model.surfaces.items()}
    for pair in itertools.combinations(bare, 2):
        yield "crossed coupling", lambda pair=pair: replace(
            model, surfaces=swapped(bare, *pair, "body"))


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


def caught(name):
    """Counts of (kind, outcome) for every reversal planted into a shipped file."""
    model = shipped(name).model
    model = replace(model, stops={}, pairs=(), rig_pins={}, wires={}, airframe=replace(
        model.airframe, solids={}), bodies={n: replace(part, solids={}, grip=None)
                                            for n, part in model.bodies.items()})
    count = Counter()
    for kind, make in planted(model):
        try:
            system = System(make())
            wrong = really_wrong(system, DUE[name])
        except linkage.LinkageError:
            count[kind, "refused at load"] += 1
            continue
        told = any(f.miss for f in direction_findings(system, directions(system)))
        outcome = {None: "out of reach", True: "caught" if told else "MISSED",
                   False: "told all the same" if told else "right as it is"}[wrong]
        count[kind, outcome] += 1
    return count


@pytest.mark.parametrize("name", DUE)
def test_every_planted_reversal_is_caught(name, full):
    """What is wrong by the moving edge, worked out with a formula of its own, is always a miss."""
    if not full and name not in ("aileron_run", "servo_arm", "new tandem"):
        pytest.skip("all files with --full")
    count = caught(name)
    assert not [key for key in count if key[1] == "MISSED"], count
    assert sum(n for (_, outcome), n in count.items() if outcome == "caught") >= 2, count


# --- brute force of the gearing ---------------------------------------------------------------

def differences(system, surface, name, places, step=1e-4):
    """Central differences of the deflection, degrees per degree (mm)."""
    ends = [system.sweep(**{n: v + sense * step * (n == name) for n, v in places.items()}
                         ).deflection(surface) for sense in (1, -1)]
    return (ends[0] - ends[1]) / (2 * step)


@pytest.mark.parametrize("seed", range(12))
def test_enclosed_gearing_holds_every_position(seed):
    """Random systems, slides, couplings and rods solved together: 400 positions in each of 24
    cells, by central differences."""
    system, rng = random_solids.random_system(seed), np.random.default_rng(seed)
    turning = [name for name, body in system.model.bodies.items()
               if not body.slides and system.plan.depends_on()[name]]
    if not turning:
        pytest.skip("nothing turns")
    body = turning[-1]
    system = System(replace(system.model, surfaces={"s": Surface(body=body)}))
    names = sorted(system.plan.depends_on()[body])
    checked = 0
    for _ in range(24):
        half = {n: np.array([rng.uniform(0.1, 2.0)]) for n in names}
        centre = {n: np.array([rng.uniform(*system.inputs[n].travel)]) for n in names}
        inside = {n: centre[n] + half[n] * rng.uniform(-1, 1, 400) for n in names}
        for name in names:
            low, high = enclosed_gearing(system, "s", name, centre, half)
            per = np.degrees(1.0) if system.inputs[name].slides else 1.0
            rates = differences(system, "s", name, inside)
            rates = rates[np.isfinite(rates)]
            slack = 1e-5 * (1 + np.abs(rates))
            if not rates.size:
                continue
            assert not np.isnan(low[0])
            assert (rates >= low * per - slack).all()
            assert (rates <= high * per + slack).all()
            checked += int(np.isfinite(low[0]))
    assert checked or not names
