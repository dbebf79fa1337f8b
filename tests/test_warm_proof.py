"""Proofs taken up from an earlier one, held against sampling of the changed system itself."""

from dataclasses import replace

import numpy as np
import pytest
from systems import random_solids

import linkage
from linkage.clearances import Stage, clearance, earlier, prove, scene_of
from linkage.model import Point

FREE = 25.0


def edited(system, rng):
    """The model with one thing else: a point, a pivot, a rod's length, a solid, or a travel."""
    model, kind = system.model, str(rng.choice(["point", "pivot", "rod", "wider", "narrower"]))
    if kind in ("wider", "narrower"):
        name = str(rng.choice(list(model.inputs)))
        low, high = model.inputs[name].travel
        by = rng.uniform(0.3, 2) * (1 if kind == "wider" else -1)
        travel = (low - by * rng.integers(2), high + by)
        return replace(model, inputs=model.inputs | {name: replace(model.inputs[name],
                                                                   travel=travel)})
    if kind == "rod" and model.rods:
        name = str(rng.choice(list(model.rods)))
        return replace(model, rods=model.rods | {name: replace(
            model.rods[name], length=model.rod_length(name) + rng.uniform(-1, 1))})
    name = str(rng.choice(list(model.bodies)))
    body = model.bodies[name]
    if kind == "pivot":
        body = replace(body, pivot=tuple(k + float(d) for k, d in zip(
            body.pivot, rng.uniform(-1, 1, 3), strict=True)))
    else:
        spot = tuple(k + float(d) for k, d in zip(model.position(f"{name}/p"),
                                                  rng.uniform(-1, 1, 3), strict=True))
        body = replace(body, points={"p": Point(at=spot)})
    return replace(model, bodies=model.bodies | {name: body})


@pytest.mark.parametrize("seed", range(60))
def test_a_proof_taken_up_is_a_proof(seed, full):
    """Two edits one after the other; no position undercuts, and each bracket is as asked."""
    if seed % 6 and not full:
        pytest.skip("one in six unless --full")
    system = random_solids.random_system(seed, kinds=("sphere", "tube", "pipe", "box"))
    rng = np.random.default_rng(seed)
    pairs = list(scene_of(system).pairs.values())
    if not pairs:
        pytest.skip("nothing moves against anything")
    stage = Stage(scene_of(system), pairs)
    box = random_solids.box_of(system)
    proof = prove(stage, box, 0.05, None, FREE)
    for _ in range(2):
        before = earlier(stage, box, proof, (0.05, None, FREE))
        try:
            system = linkage.System(edited(system, rng))
        except linkage.LinkageError:
            continue
        pairs = list(scene_of(system).pairs.values())
        stage, box = Stage(scene_of(system), pairs), random_solids.box_of(system)
        proof = prove(stage, box, 0.05, None, FREE, after=before)
        motion = system.sweep(**random_solids.positions(system, rng, 1500))
        gaps = linkage.gaps(motion, [pair.name for pair in pairs])
        for k, pair in enumerate(pairs):
            gap = gaps[pair.name]
            assert not (gap < proof.proven[k] - 1e-9).any(), pair.name
            if k not in proof.open_at and proof.proven[k] < pair.required + FREE:
                assert proof.least[k] - proof.proven[k] <= 0.05 + 1e-9, pair.name
                assert not (gap < proof.least[k] - 0.05 - 1e-9).any(), pair.name


FAR = """
length = "mm"
[input.pitch]
travel = [-20, 20]
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = {{ tip = [0, 0, 400] }}
solid.tip = {{ kind = "sphere", at = "tip", diameter = 10 }}
[airframe.solid.near]
kind = "sphere"
at = [160, 0, 400]
diameter = 10
[airframe.solid.far]
kind = "sphere"
at = [{far}, 0, 400]
diameter = 10
"""


def test_a_far_pair_that_an_edit_brings_near_is_found():
    from linkage.model.file import parse_model

    first = clearance(linkage.System(parse_model(FAR.format(far=900))))
    second = linkage.System(parse_model(FAR.format(far=-150)))
    warm, cold = clearance(second, after=first), clearance(second)
    assert list(warm["pair"]) == list(cold["pair"])
    assert "stick/tip | airframe/far" in set(warm["pair"])
    assert warm["least"].to_numpy() == pytest.approx(cold["least"].to_numpy(), abs=0.05)


def test_what_is_not_changed_is_kept():
    from linkage.model.file import parse_model

    text = FAR.format(far=-160)
    first = clearance(linkage.System(parse_model(text)))
    again = clearance(linkage.System(parse_model(text)), after=first)
    assert again.attrs["visited"] == 0
    assert again["proven"].tolist() == first["proven"].tolist()
