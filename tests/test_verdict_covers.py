"""What the verdict says is no wider than what was worked out: parts, positions and builds left out.

Oracles are functions with a closed form, brute force over every corner, or the shape of a file.
"""

import itertools
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from test_directions_findings import over_centre

import linkage
from linkage import rigging
from linkage.clearances import scene_of, undrawn
from linkage.loads.finer import Finer
from linkage.model import Tolerance
from linkage.model.file import format_model, parse_model
from linkage.motion import System
from linkage.results import Results
from linkage.results.strength import _margin_miss
from linkage.rigging.builds import built_dimensions
from linkage.rigging.lengths import model_with_lengths
from linkage.search import may_rise
from linkage.stops import dimension_tolerances, out_of_reach, real_travel

EXAMPLES = Path(__file__).parents[1] / "examples"
BALL_AND_BLOCK = """
[body.stick.solid.knob]
kind = "sphere"
at = [0, 0, 200]
diameter = 24
[airframe.solid.block]
kind = "box"
corner = [FACE, -50, 100]
opposite = [260, 50, 250]
[stop.aft]
input = "pitch"
side = "greatest"
between = ["stick/knob", "airframe/block"]
search = 50
"""


def stopped_at(system, degrees):
    """The same with a ball on the stick, 200 above its pivot, that meets a block just there."""
    face = 200 * np.sin(np.radians(degrees)) + 12
    return System(parse_model(format_model(system.model) + BALL_AND_BLOCK.replace(
        "FACE", f"{face:.9f}")))


@pytest.mark.parametrize(("stop", "outcome"), [(25, "right"), (36, "turns back")])
def test_a_direction_is_judged_as_far_as_the_stop_lets_the_stick(stop, outcome):
    """The run is at dead centre at about 30 degrees, past the wanted 20."""
    results = Results(stopped_at(over_centre(20), stop), only=("findings", "stops"))
    assert real_travel(results.system).box["pitch"][1] == pytest.approx(stop, abs=0.3)
    assert [each.outcome for each in results.directions] == [outcome]
    turned = [miss for miss in results.verdict.missed if miss.kind == "direction"]
    assert bool(turned) == (outcome != "right")
    assert any(left.startswith("no stop at pitch forward") for left in results.verdict.unknown)


def test_rods_out_of_reach_past_the_wanted_travel_are_missed():
    """A rod that reaches to 20.2 degrees, by 3,001 positions, with a stop at 15 and at 45."""
    text = """
length = "mm"
[input.pitch]
travel = [-10, 20]
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = { arm = [0, 0, -100] }
[body.s]
pivot = [300, 0, 0]
axis = "lateral"
points = { horn = [300, 0, -40] }
[rod.push]
ends = ["stick/arm", "s/horn"]
"""
    for stop, held in ((15, True), (45, False)):
        system = stopped_at(System(parse_model(text)), stop)
        x = np.linspace(-10, stop, 3001)
        reach = system.sweep(pitch=x).reachable
        proof = out_of_reach(system, real_travel(system).travel)
        assert bool(reach.all()) == proof.holds == held
        missed = [m for m in Results(system, only=("findings",)).verdict.missed
                  if "within the travel that the stops leave" in m.how_much]
        assert bool(missed) != held


def test_what_is_not_drawn_of_a_part_is_named():
    """An arm without metal, two solids 40 mm apart, and a side that was forgotten."""
    text = """
length = "mm"
[input.pitch]
travel = [-10, 20]
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = { arm = [0, 0, -100] }
solid.tube = { kind = "tube", along = [[0, 0, -5], [0, 0, 100]], diameter = 20 }
solid."knob left" = { kind = "sphere", at = [0, 0, 160], diameter = 20 }
[body.s]
pivot = [300, 0, 0]
axis = "lateral"
points = { horn = [300, 0, -40] }
[rod.push]
ends = ["stick/arm", "s/horn"]
"""
    told = undrawn(scene_of(System(parse_model(text))))
    assert told == ["the arm of stick to stick/arm", "what joins tube to knob left of stick",
                    "stick/knob right, the other side of stick/knob left"]
    whole = text.replace("-5]", "-100]").replace('at = [0, 0, 160]', "at = [0, 0, 112]").replace(
        '"knob left"', "knob")
    assert undrawn(scene_of(System(parse_model(whole)))) == []
    verdict = Results(System(parse_model(text)), only=("clearance",)).verdict
    assert any("the arm of stick to stick/arm" in left for left in verdict.unknown)
    assert "met" not in verdict.sentence


def test_a_surface_of_which_only_the_horn_is_drawn_is_named():
    """Of the elevator its skin is taken out: chord 14 in, horn 3.1 in."""
    fixed = linkage.load(EXAMPLES / "side_by_side_fixed.toml")
    elevator = fixed.model.bodies["elevator"]
    horn = replace(fixed.model, bodies=fixed.model.bodies | {"elevator": replace(
        elevator, solids={"horn": elevator.solids["horn"]})})
    here, gone = (undrawn(scene_of(system)) for system in (fixed, System(horn)))
    assert set(gone) - set(here) == {"elevator towards its trailing edge"}


# --- searched worst -----------------------------------------------------------------------------

def peaks(places):
    """A low broad hill at a grid's position, and a higher one between two of them."""
    x, y = places.T
    return np.exp(-(x**2 + y**2) / 50) + 1.05 * np.exp(-((x - 7.857)**2 + (y - 5)**2) / 2)


def test_a_higher_peak_between_the_positions_is_found_and_the_rest_bounded():
    sides = [np.linspace(-10, 10, 15)] * 2
    grid = np.stack([k.ravel() for k in np.meshgrid(*sides, indexing="ij")], axis=-1)
    values = peaks(grid)
    best = {"k": values.max()}

    def note(case, loads, places):
        best["k"] = max(best["k"], loads["k"].max())

    finer = Finer(lambda key: best[key], note, np.array([[-10, 10]] * 2))
    rise = may_rise(values.reshape(15, 15), sides).ravel()
    finer.add("case", "k", grid, values + rise)
    steps = np.array([side[1] - side[0] for side in sides])
    for _ in range(6):
        steps = steps / 2
        finer.halve(lambda cases, places: ({"k": peaks(own)} for own in places), steps)
    fine = np.linspace(-10, 10, 4001)
    true = max(peaks(np.stack([np.full(4001, x), fine], axis=-1)).max() for x in fine[3000:3800])
    assert values.max() < 1.03 < true
    assert best["k"] <= true <= best["k"] + finer.finish().get("k", 0.0) + 1e-9
    assert true - best["k"] < 1e-3


@pytest.mark.parametrize(("margin", "wide", "word"), [
    (-0.01, 0.0, "MISS"), (0.01, 0.02, "UNDECIDED"), (0.03, 0.02, None)])
def test_a_margin_within_the_grids_error_is_not_decided(margin, wide, word):
    """By hand: 1.01 / 1.02 < 1 < 1.03 / 1.02."""
    assert [miss.word for miss in _margin_miss("rod", "margin", margin, wide)] == (
        [word] if word else [])


def test_a_tilt_is_proven_within_what_is_allowed_and_no_less(run):
    """Just above the greatest of 20,001 positions it holds, just below it does not."""
    skew = replace(run.model.bodies["idler"], points={
        **run.model.bodies["idler"].points, "out": replace(
            run.model.bodies["idler"].points["out"], at=(803, 120, -75))})
    x = np.linspace(-15, 18, 20_001)
    for more, ok in ((1e-3, True), (-1e-3, False)):
        model = replace(run.model, bodies=run.model.bodies | {"idler": skew})
        motion = System(model).sweep(pitch=x)
        bolt = model.bodies["elevator"].direction
        most = float(rigging.end_misalignment(motion, "rear", 1, bolt).max())
        ends = {name: replace(end, misalignment=most + more) if name == "left" else end
                for name, end in model.rod_ends.items()}
        table = rigging.misalignment(System(replace(model, rod_ends=ends))).set_index("end")
        assert table.loc["elevator/horn", "ok"] is ok


# --- builds -------------------------------------------------------------------------------------

@pytest.mark.parametrize("rigged", [False, True])
def test_the_worst_corner_against_every_corner(rigged):
    """Rods 4 mm and one crank's places 3 mm off, so that first order is far off: 2^13 corners."""
    model = linkage.read_model(EXAMPLES / "aileron_run.toml")
    model = replace(model, tolerance=Tolerance(rod=4.0), bodies={
        name: replace(part, tolerance=3.0 if name == "bellcrank right" else None)
        for name, part in model.bodies.items()})
    system, spot = System(model), rigging.spots(System(model))[0]
    rates = rigging.sensitivities(system, [spot], rigged=rigged)
    table = rigging.worst_corners(system, [spot], rates, rigged=rigged).set_index("surface")
    known = {key: size for key, size in dimension_tolerances(system).items() if size}
    signs = np.array(list(itertools.product((-1.0, 1.0), repeat=len(known)))).T
    assert len(known) >= 11
    errors = {key: sign * size for sign, (key, size) in zip(signs, known.items(), strict=True)}
    built = built_dimensions(system, errors, rigged=rigged)
    turned = system.sweep_with(built).deflection("aileron right")
    row = table.loc["aileron right"]
    assert row["low"] == pytest.approx(turned.min(), abs=1e-9)
    assert row["high"] == pytest.approx(turned.max(), abs=1e-9)
    if not rigged:
        assert abs(max(-row["low"], row["high"]) - row["first_order"]) > 0.05


@pytest.mark.parametrize(("rod", "missed"), [(0.05, False), (2.0, True)])
def test_required_travels_as_built(rod, missed):
    model = linkage.read_model(EXAMPLES / "servo_arm.toml")
    motion = System(model).sweep(pitch=list(model.inputs["pitch"].travel)).deflection("elevator")
    require = replace(model.surfaces["elevator"].require[0], up=-float(motion.min()),
                      down=float(motion.max()), within=0.5) if model.surfaces["elevator"].require \
        else None
    assert require is not None
    surfaces = model.surfaces | {"elevator": replace(model.surfaces["elevator"],
                                                     require=(require,))}
    model = replace(model, surfaces=surfaces, tolerance=Tolerance(rod=rod))
    for built in (False, True):
        results = Results(System(model), only=("gearing",), built=built)
        found = [m for m in results.verdict.missed if m.kind == "travel"]
        assert bool(found) == (missed and built)
        assert ("worst corners" in " ".join(results.verdict.covers)) == built
        assert ("for the builds" in results.verdict.sentence) == built


# --- turns --------------------------------------------------------------------------------------

def test_turns_keep_every_rig_pin_in_its_hole(side_by_side):
    """The horn rod 1.5 mm long: any other rod that levels the elevator pulls the bellcrank's pin
    out of its holes, and the pins are worked out again with an own system."""
    off = System(model_with_lengths(side_by_side.model, {"elevator drive": 1.5}))
    found = rigging.adjust(off)
    assert found.ok
    assert set(found.turns["rod"]) == {"elevator drive"}
    turned = System(model_with_lengths(off.model, found.lengths))
    pins = rigging.rig_pins(turned)
    assert pins["ok"].astype(bool).all()
    for name, (_, after, within) in found.pins.items():
        row = pins[pins["pin"] == name].iloc[0]
        assert row["apart"] == pytest.approx(after, abs=1e-9)
        assert after <= within
    assert abs(float(turned.sweep().deflection("elevator"))) <= rigging.WITHIN


def test_a_rod_that_readings_point_at_is_turned_first(run):
    """Either rod of the run levels its elevator; which one is turned is what is said."""
    off = System(model_with_lengths(run.model, {"front": 1.0}))
    for first in ("front", "rear"):
        found = rigging.adjust(off, first=(first,))
        assert found.ok
        assert set(found.turns["rod"]) == {first}
