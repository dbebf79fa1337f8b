"""Proofs over a set of cells of travel that is no box."""

import numpy as np
import pytest

import linkage
from linkage.clearances import Stage, Travel, earlier, prove, scene_of
from linkage.model.file import parse_model
from linkage.motion import System

STICK = """
length = "mm"
[input.pitch]
travel = [-15, 15]
[input.roll]
travel = [-20, 20]
[body.tube]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
solid.ear = { kind = "sphere", at = [30, 0, 60], diameter = 8 }
[body.stick]
on = "tube"
pivot = [0, 0, 0]
axis = "fore-aft"
input = "roll"
points = { tip = [0, 0, 400] }
solid.shaft = { kind = "tube", along = ["pivot", "tip"], diameter = 20 }
[airframe.solid.post]
kind = "sphere"
at = [110, -135, 370]
diameter = 12
[airframe.solid.wall]
kind = "box"
corner = [-300, 150, 100]
opposite = [300, 160, 420]
"""


def disc(parts):
    """Cells of an even grid whose middles lie in an ellipse."""
    x, y = np.linspace(-15, 15, parts + 1), np.linspace(-20, 20, parts + 1)
    low = np.stack([k.ravel() for k in np.meshgrid(x[:-1], y[:-1], indexing="ij")], axis=1)
    high = np.stack([k.ravel() for k in np.meshgrid(x[1:], y[1:], indexing="ij")], axis=1)
    middle = (low + high) / 2
    inside = (middle[:, 0] / 12) ** 2 + (middle[:, 1] / 15) ** 2 < 1
    return Travel(("pitch", "roll"), low[inside], high[inside])


@pytest.mark.parametrize("parts", [1, 7, 24])
def test_a_proof_over_cells_brackets_the_least_gap_in_them(parts):
    """Against plain sampling inside the cells, thinned to the cells by the sampler itself."""
    system = System(parse_model(STICK))
    travel = disc(parts) if parts > 1 else Travel.of_box({"pitch": (-15, 15), "roll": (-20, 20)})
    pairs = list(scene_of(system).pairs.values())
    proof = prove(Stage(scene_of(system), pairs), travel, 0.01)
    pick = np.random.default_rng(parts)
    cell = pick.integers(len(travel.low), size=40_000)
    at = travel.low[cell] + pick.choice([0.0, 1.0, 0.5, 0.25], (len(cell), 2)) * (
        travel.high[cell] - travel.low[cell])
    gaps = linkage.gaps(system.sweep(pitch=at[:, 0], roll=at[:, 1]), [p.name for p in pairs])
    for k, pair in enumerate(pairs):
        assert k not in proof.open_at
        assert proof.proven[k] <= gaps[pair.name].min() + 1e-9
        assert proof.least[k] <= gaps[pair.name].min() + 0.01
        assert proof.least[k] - proof.proven[k] <= 0.01 + 1e-9
        assert travel.holds(proof.place[k][None], np.array([n in pair.inputs for n in
                                                            travel.names])).all()


def test_a_travel_of_cells_is_nearer_than_its_box():
    system = System(parse_model(STICK))
    stage = Stage(scene_of(system), list(scene_of(system).pairs.values()))
    travel = disc(24)
    whole, part = prove(stage, travel.box, 0.01), prove(stage, travel, 0.01)
    assert (part.proven >= whole.proven - 0.01).all()
    assert (part.least > whole.least + 1).any()


def test_shrinking_keeps_every_place_of_the_travel():
    travel, pick = disc(17), np.random.default_rng(4)
    both = np.array([True, True])
    centres, halves = travel.grid(both, 4)
    places = np.stack([pick.uniform(-15, 15, 5000), pick.uniform(-20, 20, 5000)], axis=1)
    held = travel.holds(places, both)
    inside = (np.abs(places[:, None] - centres) <= halves).all(axis=2).any(axis=1)
    assert held.any()
    assert inside[held].all()
    assert not inside.all()


def test_ways_are_held_as_far_as_every_place_of_them_is():
    travel, pick = disc(24), np.random.default_rng(5)
    ends = pick.uniform((-15, -20), (15, 20), (200, 2))
    held = travel.held_to(ends)
    both = np.ones(2, bool)
    for share in (0.25, 0.5, 0.999):
        assert travel.holds(ends * (held * share)[:, None], both).all()
    past = ends[held < 1] * (held[held < 1] + 1e-6)[:, None]
    assert len(past) > 20
    assert not travel.holds(past, both).any()


@pytest.mark.parametrize("sides", [(-15, 15, -20, 20), (-9, 11, -11, 9), (-4, 2, -3, 6)])
def test_a_proof_over_cells_is_taken_up_from_that_over_a_box(sides):
    """The cells stick out of the box on some sides, wider beyond it than at its end."""
    system, travel = System(parse_model(STICK)), disc(24)
    stage = Stage(scene_of(system), list(scene_of(system).pairs.values()))
    box = Travel.of_box({"pitch": sides[:2], "roll": sides[2:]})
    terms = (0.01, None, np.inf)
    warm = prove(stage, travel, 0.01,
                 after=earlier(stage, box, prove(stage, box, 0.01), terms))
    cold = prove(stage, travel, 0.01)
    assert not warm.open_at
    pick = np.random.default_rng(2)
    cell = pick.integers(len(travel.low), size=20_000)
    at = travel.low[cell] + pick.choice([0.0, 1.0, 0.5], (len(cell), 2)) * (
        travel.high[cell] - travel.low[cell])
    gaps = linkage.gaps(system.sweep(pitch=at[:, 0], roll=at[:, 1]), [p.name for p in stage.pairs])
    for k, pair in enumerate(stage.pairs):
        assert warm.proven[k] <= gaps[pair.name].min() + 1e-9
        assert abs(warm.least[k] - cold.least[k]) <= 0.01
        assert warm.least[k] - warm.proven[k] <= 0.01 + 1e-9
