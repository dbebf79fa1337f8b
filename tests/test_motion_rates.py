"""Rates by stick and by dimensions against differences of solved positions."""

import dataclasses

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from systems.motion_models import SEED, SOME, STAGES, random_model, some_positions, squarely, sticks

import linkage
from linkage.motion import Rates, Seeds

STENCIL = np.arange(-4, 5)

EIGHTH = np.array([1 / 280, -4 / 105, 1 / 5, -4 / 5, 0, 4 / 5, -1 / 5, 4 / 105, -1 / 280])


def differenced(values, step):
    """Eighth-order central difference along the last axis of nine."""
    return values @ EIGHTH / step


def unwrapped_angle(motion, body):
    angle = motion.angle(body)
    return angle if motion.system.model.bodies[body].slides else np.unwrap(angle, period=360)


@SOME
@given(SEED, STAGES)
def test_gearing_is_the_slope_of_the_angle(seed, stages):
    """Exact rates against eighth-order differences over 0.1 degree of stick."""
    system = linkage.System(random_model(seed, stages))
    inputs = some_positions(seed, 12)
    good = squarely(system.sweep(**inputs), 15.0)
    assume(good.any())
    inputs = {name: value[good] for name, value in inputs.items()}
    motion = system.sweep(**inputs)
    for name in inputs:
        # The steeper the gearing, the nearer the dead centre and the finer the steps.
        steepest = np.max([abs(motion.body_gearing(b)[name]) for b in system.model.bodies], axis=0)
        h = 0.1 / (1 + steepest)[:, None]
        fine = system.sweep(**{n: v[:, None] + (h * STENCIL if n == name else 0)
                               for n, v in inputs.items()})
        for body in system.model.bodies:
            slope = differenced(unwrapped_angle(fine, body), h[:, 0])
            np.testing.assert_allclose(motion.body_gearing(body)[name], slope, rtol=1e-8,
                                       atol=1e-9)


def test_floating_lever_gearing_is_the_slope_of_the_angle(floating):
    inputs = sticks(12)
    motion = floating.sweep(**inputs)
    for name in inputs:
        steps = {n: v[:, None] + (0.1 * STENCIL if n == name else 0) for n, v in inputs.items()}
        fine = floating.sweep(**steps)
        for body in floating.model.bodies:
            slope = differenced(unwrapped_angle(fine, body), 0.1)
            np.testing.assert_allclose(motion.body_gearing(body)[name], slope, rtol=1e-8, atol=1e-9)
        np.testing.assert_allclose(motion.gearing("elevator")[name],
                                   differenced(fine.deflection("elevator"), 0.1),
                                   rtol=1e-8, atol=1e-9)


def random_seeds(system, rng, kinds, count=2):
    """`count` random directions of the dimensions; an axis only turns, so its rate is square."""
    dims = system.dimensions
    found = {kind: {} for kind in ("places", "axes", "lengths")}
    if "places" in kinds:
        found["places"] = {n: tuple(rng.normal(size=(3, count))) for n in dims.places}
    if "axes" in kinds:
        for name, axis in dims.axes.items():
            axis, way = np.array(axis)[:, None], rng.normal(size=(3, count))
            found["axes"][name] = tuple(0.01 * (way - axis * (axis * way).sum(axis=0)))
    if "lengths" in kinds:
        found["lengths"] = {n: rng.normal(size=count) for n in dims.lengths}
    return Seeds(**found)


def varied(system, seeds, step, count=2):
    """The dimensions moved along each direction to nine places: arrays (count, 9)."""
    dims = system.dimensions

    def along(value, rate):
        return value + step * np.reshape(rate, (count, 1)) * STENCIL

    axes = {}
    for name, axis in dims.axes.items():
        if name in seeds.axes:
            axis = [along(a, r) for a, r in zip(axis, seeds.axes[name], strict=True)]
            size = np.sqrt(sum(a * a for a in axis))
            axis = tuple(a / size for a in axis)
        axes[name] = axis
    return dataclasses.replace(
        dims, axes=axes,
        places={n: tuple(along(a, r) for a, r in zip(p, seeds.places[n], strict=True))
                if n in seeds.places else p for n, p in dims.places.items()},
        lengths={n: along(k, seeds.lengths[n]) if n in seeds.lengths else k
                 for n, k in dims.lengths.items()})


def check_dimension_rates(system, seeds, inputs, step=0.02):
    rates = Rates(system.sweep(**inputs).posture, seeds)
    fine = system.sweep_with(varied(system, seeds, step), **inputs)
    assert fine.reachable.all()
    for body, part in system.model.bodies.items():
        if body not in rates.joints:
            continue
        values = fine.angle(body) if part.slides else np.radians(
            np.unwrap(fine.angle(body), period=360))
        np.testing.assert_allclose(np.broadcast_to(rates.joints[body], 2),
                                   differenced(values, step), rtol=1e-8, atol=1e-10)
    for address in system.model.points:
        slope = differenced(np.moveaxis(fine.point(address), -1, 0), step)
        found = np.stack([np.broadcast_to(k, 2) for k in rates.place(address)])
        np.testing.assert_allclose(found, slope, rtol=1e-8, atol=1e-8)


@settings(SOME, max_examples=20)
@given(SEED, STAGES, st.sampled_from(["places", "axes", "lengths", "places axes lengths"]))
def test_rates_by_dimensions_are_the_slopes(seed, stages, kinds):
    """Hardpoints, axes and rod lengths, along random directions, against differences."""
    system = linkage.System(random_model(seed, stages))
    inputs = some_positions(seed, 6)
    good = np.flatnonzero(squarely(system.sweep(**inputs), 15.0))
    assume(good.size)
    inputs = {name: value[good[-1]] for name, value in inputs.items()}
    seeds = random_seeds(system, np.random.default_rng(seed), kinds.split())
    check_dimension_rates(system, seeds, inputs)


@pytest.mark.parametrize("kinds", ["places", "lengths", "axes", "places axes lengths"])
def test_floating_lever_rates_by_dimensions(floating, kinds):
    seeds = random_seeds(floating, np.random.default_rng(5), kinds.split())
    check_dimension_rates(floating, seeds, {"pitch": 9.0, "flap": 12.0})
