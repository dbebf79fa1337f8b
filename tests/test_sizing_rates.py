"""Rates of travels and gearing by dimensions against complex steps and differences."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from systems.sizing_models import planted, told

from linkage.model.file import parse_model
from linkage.motion import Couple, Rates, Seeds, System, Together
from linkage.sizing import Layout, named_dimensions
from linkage.sizing.targets import SIGNS, Trial, aims_of


def smooth(seed):
    """A planted case whose motion a complex number runs through: rods one by one, no couplings."""
    for again in itertools.count(1000 * seed):
        model, values = planted(again)
        steps = System(model).plan.steps
        if not any(isinstance(step, (Couple, Together)) for step in steps):
            return replace(model, size=replace(model.size, over_centre=5.0)), values
    raise AssertionError("counting has no end")


def complex_turn(state):
    """Derivative of a turn from a posture that carries imaginary steps."""
    return (state.cos.real * state.sin.imag - state.sin.real * state.cos.imag) / STEP

STEP = 1e-30


@pytest.mark.parametrize("seed", range(4))
def test_rates_of_travels_and_gearing_against_a_complex_step(seed):
    """The chain of closed forms run with complex dimensions (Squire & Trapp 1998, from memory)."""
    model, values = smooth(seed)
    system, layout = System(model), Layout(model, named_dimensions(model))
    system = System(layout.model_at(values))
    dimensions, seeds = layout.dimensions(values)
    trial = Trial(system, layout, values)
    for k in range(len(values)):
        stepped = replace(
            dimensions, places={n: tuple(
                p[i] + 1j * STEP * np.ravel(seeds.places[n][i])[k] if n in seeds.places else p[i]
                for i in range(3)) for n, p in dimensions.places.items()},
            lengths={n: v + (1j * STEP * seeds.lengths[n][k, 0] if n in seeds.lengths else 0)
                     for n, v in dimensions.lengths.items()})
        for aim in aims_of(system):
            body = model.surfaces["s"].body
            if aim.kind == "travel":
                ends = system.sweep(**{aim.input: system.inputs[aim.input].travel})
                best = int((SIGNS[aim.way] * ends.deflection("s")).argmax())
                run = system.sweep_with(stepped, **{
                    aim.input: system.inputs[aim.input].travel[best]})
                rate = np.degrees(complex_turn(run.posture.states[body]))
                sense = np.sign(ends.deflection("s")[best] * ends.angle(body)[best])
                rate = rate * sense * SIGNS[aim.way]
            elif aim.kind == "gearing":
                run = Rates(system.sweep_with(stepped).posture, Seeds(inputs={aim.input: 1.0}))
                turn = complex(run.joints[body])
                rate = turn.imag / STEP * np.sign(turn.real) * (
                    1.0 if system.inputs[aim.input].unit == "°" else np.degrees(1.0))
            else:
                continue
            assert trial.give(aim)[1][k] == pytest.approx(rate, rel=1e-8, abs=1e-10)

WEIGHTS = {1: 4 / 5, 2: -1 / 5, 3: 4 / 105, 4: -1 / 280}  # Fornberg 1988, table 1, from memory


def check_rates(model, values):
    """Whole chain, dimension to coordinate to target, by differences of systems built anew."""
    layout = Layout(model, named_dimensions(model))
    trial, step = Trial(System(layout.model_at(values)), layout, values), 0.02
    checked = 0
    for k, move in enumerate(np.eye(len(values)) * step):
        built = {n: System(layout.model_at(values + n * move))
                 for w in WEIGHTS for n in (w, -w)}
        for aim in aims_of(built[1]):
            value, rate = trial.give(aim)
            if not np.isfinite(value) or (aim.kind == "over-centre" and value > 85):
                continue  # the margin has a corner at 90
            spread = {n: told(system, aim, trial.motion.inputs) for n, system in built.items()}
            slope = sum(w * (spread[n] - spread[-n]) for n, w in WEIGHTS.items()) / step
            assert rate[k] == pytest.approx(slope, rel=1e-8, abs=2e-8)
            checked += 1
    return checked


@pytest.mark.parametrize("seed", range(8))
def test_every_rate_against_differences_of_systems_built_anew(seed):
    model, values = planted(100 + seed)
    assert check_rates(replace(model, size=replace(model.size, over_centre=5.0)), values) >= 2

TOGETHER = """
length = "mm"
[input.pitch]
travel = [-15, 15]
[input.flap]
travel = [0, 30]
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = { p = [0, 0, -70] }
[body.drum]
pivot = [100, 30, 200]
axis = "lateral"
input = "flap"
points = { p = [100, 30, 150] }
[body.idler]
pivot = [500, 0, 150]
axis = "lateral"
[body.lever]
on = "idler"
pivot = [500, 0, 20]
axis = [0.05, 1, 0.1]
points = { low = [500, 0, -60], high = [498, 25, 90] }
[rod.low]
ends = ["stick/p", "lever/low"]
[rod.high]
ends = ["lever/high", "drum/p"]
[body.quadrant]
pivot = [900, 0, 100]
axis = "lateral"
points = { out = [900, 20, 40] }
[coupling.cable]
bodies = ["idler", "quadrant"]
ratio = -1.3
[body.elevator]
pivot = [1500, 0, 100]
axis = "lateral"
points = { horn = [1500, 40, 30] }
[rod.out]
ends = ["quadrant/out", "elevator/horn"]
[surface.elevator]
body = "elevator"
require = { up = 5, down = 5, within = 1, input = "pitch" }
[size]
over-centre = 5
arm.low = { point = "lever/low", least = 60, greatest = 110 }
clocking.high = { point = "lever/high", least = -20, greatest = 20 }
place.lever = { point = "lever/pivot", along = "WL", least = 0, greatest = 40 }
rod.out = { rod = "out", least = 590, greatest = 610 }
[size.target.gearing]
surface = "elevator"
gearing = 0.5
input = "pitch"
[size.target.differential]
surface = "elevator"
differential = 1
input = "pitch"
"""


def test_rates_through_rods_solved_together_and_a_coupling():
    """A floating lever drives a cable quadrant; the coupling's and the group's rates count too."""
    model = parse_model(TOGETHER)
    assert check_rates(model, np.array([78.0, 3.0, 24.0, 601.0])) >= 4 * 5
