"""Directions in every build, against builds drawn by chance and closed by a reading of their own.

The oracle's closures (tests/oracle) share nothing with the library's; the gearing of a build is
taken there by central differences.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from oracle.closing import built, close, dimensions
from oracle.making import random_text
from oracle.reading import read
from systems.direction_models import PITCH

from linkage.gearing import directions
from linkage.gearing.built_sign import built_senses
from linkage.model import Surface
from linkage.model.file import parse_model
from linkage.motion import System, hinge_sign

STEP = 1e-4  # degrees (mm) of the central differences
BUILDS, PLACES = 30, 12


def gearings(machine, body, name, places, shares):
    """Turn of a body per input in builds at places, (builds, places); NaN out of reach."""
    rows = np.repeat(np.arange(len(shares)), len(next(iter(places.values()))))
    ends = []
    for sense in (1, -1):
        at = {n: np.tile(v + sense * STEP * (n == name), len(shares)) for n, v in places.items()}
        ends.append(close(machine, at, built(machine, shares).at(rows)).values[body])
    return (ends[0] - ends[1]).reshape(len(shares), -1) / (2 * STEP)


def cells_of(rng, travels, count):
    """Random cells within travels: centres and halves."""
    halves = {n: rng.uniform(0.05, 2.0, count) for n in travels}
    centres = {n: rng.uniform(low, high, count) for n, (low, high) in travels.items()}
    return centres, halves


SLOW = 1, 3, 7  # rods solved together and long runs


@pytest.mark.parametrize("seed", range(8))
def test_no_build_turns_against_a_proven_sign(seed, full):
    """Random systems: slides, couplings, rods solved together, parts carried by parts."""
    if seed in SLOW and not full:
        pytest.skip("long ones with --full")
    text, rng = random_text(seed), np.random.default_rng(seed)
    machine, model = read(text), parse_model(text)
    known, count = 0, 40 if full else 6
    needs = System(model).plan.depends_on()
    for body, part in model.bodies.items():
        if part.slides or not needs[body]:
            continue
        system = System(replace(model, surfaces={"s": Surface(body=body)}))
        travels = {n: system.inputs[n].travel for n in sorted(needs[body])}
        centres, halves = cells_of(rng, travels, count)
        for name in travels:
            low, high = built_senses(system, "s", name, (centres, halves), model.tolerance)
            for k in np.flatnonzero(low == high):
                inside = {n: centres[n][k] + halves[n][k] * rng.uniform(-1, 1, PLACES)
                          for n in travels}
                shares = rng.choice([-1.0, 1.0], (BUILDS, len(dimensions(machine))))
                met = gearings(machine, body, name, inside, shares) * hinge_sign(part)
                met = met[np.isfinite(met) & (np.abs(met) > 1e-9)]
                assert (np.sign(met) == low[k]).all(), (body, name, k)
                known += met.size
    assert known


@pytest.mark.parametrize(("hardpoint", "outcome"), [(0.5, "right"), (6.0, "not decided")])
def test_a_surface_that_turns_back_in_some_build_is_not_called_right(hardpoint, outcome):
    """A stick's arm of 60 mm that stands 10 degrees short of the line of its rod at full travel.

    Pivot and arm both off by h square to it turn it by 2 sqrt 2 h / 60 at most: 1.4 and 16 degrees.
    """
    arm = [-60 * math.sin(math.radians(65)), 0, -60 * math.cos(math.radians(65))]
    text = PITCH.format(name="elevator", horn=arm[2], more="").replace(
        "arm = [0, 0, -60]", f"arm = {arm}").replace(
        "pivot = [3000, 0, 0]", f"pivot = [3000, 0, {arm[2] - 200}]")
    text += f"[tolerance]\nhardpoint = {hardpoint}\n"
    system, machine = System(parse_model(text)), read(text)
    shares = np.random.default_rng(0).choice([-1.0, 1.0], (400, len(dimensions(machine))))
    met = gearings(machine, "s", "pitch", {"pitch": np.array([-15.0, 15.0])}, shares)
    assert (met < 0).all() == (outcome == "right")  # trailing edge up for stick aft
    assert [each.outcome for each in directions(system)] == ["right"]
    (each,) = directions(system, tolerances=system.model.tolerance)
    assert each.outcome == outcome
    assert each.miss == (outcome != "right")
    assert ("in every build" in each.text) == (outcome != "right")
