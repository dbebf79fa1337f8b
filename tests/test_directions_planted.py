"""Examples and starters by hand-derived signs; planted faults; brute force of the gearing."""

import itertools
from collections import Counter
from dataclasses import replace
from functools import partial

import numpy as np
import pytest
from systems import random_solids
from systems.direction_models import HERE, pitch
from systems.planted_directions import (
    DUE,
    across,
    edge_rate,
    over_the_pivot,
    really_wrong,
    swapped,
    swapped_rods,
)

import linkage
from linkage.gearing import (
    direction_findings,
    directions,
    enclosed_gearing,
    find,
    kind_of,
)
from linkage.model import Surface
from linkage.motion import System

# --- examples and starters by hand-derived signs ----------------------------------------------

def shipped(name):
    folder = HERE.parent / ("linkage/starters" if name.startswith("new ") else "examples")
    return linkage.load(folder / f"{name.removeprefix('new ')}.toml")


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


def caught(name):
    """Counts of (kind, outcome) for every reversal planted into a shipped file."""
    model = shipped(name).model
    model = replace(model, stops={}, pairs=(), rig_pins={}, wires={}, welds={}, boltings={},
                    airframe=replace(model.airframe, solids={}), bodies={
                        n: replace(part, solids={}, grip=None) for n, part in model.bodies.items()})
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
