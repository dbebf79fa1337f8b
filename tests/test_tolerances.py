"""Tolerances, free play, Monte Carlo, wires and grips.

Held against finite re-solves, closed forms of plane geometry, quadrature, and SciPy; the source
stands beside each check.
"""

import copy
import importlib.util
import itertools
import math
import re
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import pytest
from scipy import stats
from scipy.spatial.transform import Rotation

from linkage import LinkageError, System, plots
from linkage.model import STATIONS, Box, Plate, Surface, Tolerance
from linkage.model.file import parse_model
from linkage.motion import Dimensions
from linkage.results import Results
from linkage.rigging import (
    Chance,
    chafe,
    chord,
    error_bands,
    free_play,
    grip_table,
    hand_clearance,
    monte_carlo,
    play_bands,
    sensitivities,
    spots,
    wire_table,
)
from linkage.rigging.builds import A_BLOCK, _errors, _Task
from linkage.rigging.loops import arc_chain, bend_radius, half_opening, length_needed
from linkage.rigging.tolerances import Spot, dimension_rates
from linkage.search import crossings
from linkage.stops import dimension_tolerances, meeting

LEVERS = """
length = "mm"
[input.pitch]
travel = [-15, 20]
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = { grip = [0, 0, 500], arm = [0, 0, -60] }
[body.horn]
pivot = [900, 0, 20]
axis = "lateral"
points = { p = [900, 0, -60] }
[rod.push]
ends = ["stick/arm", "horn/p"]
[surface.elevator]
body = "horn"
chord = 300
"""


def off(system, name, what, by):
    """The system with one dimension off, its solids as drawn."""
    drawn = system.dimensions
    places, lengths = dict(drawn.places), dict(drawn.lengths)
    if what == "length":
        lengths[name] = lengths[name] + by
    else:
        spot = list(places[name])
        spot[STATIONS.index(what)] += by
        places[name] = tuple(spot)
    other = copy.copy(system)
    other.dimensions = Dimensions(places, drawn.axes, lengths)
    return other


@pytest.fixture(scope="module")
def side_by_side_spots(side_by_side):
    return {spot.name: spot for spot in spots(side_by_side)}


# --- sensitivities --------------------------------------------------------------------------------

@pytest.mark.parametrize(("pitch", "roll"), [(0, 0), (-12, 17), (15, -20), (8, 9)])
def test_sensitivities_against_a_finite_re_solve(side_by_side, pitch, roll):
    """Central differences of the re-solved system, the definition of a derivative."""
    names = [name for name in dimension_tolerances(side_by_side)]
    exact = dimension_rates(side_by_side, names, pitch=pitch, roll=roll)
    h = 1e-4
    for i, (name, what) in enumerate(names):
        ends = [off(side_by_side, name, what, sense * h).sweep(pitch=pitch, roll=roll)
                for sense in (1, -1)]
        for surface, rates in exact.items():
            finite = (ends[0].deflection(surface) - ends[1].deflection(surface)) / (2 * h)
            assert rates[i] == pytest.approx(float(finite), abs=1e-7), (name, what, surface)


@pytest.mark.parametrize("stop", ["roll right", "pitch aft left", "roll backup left"])
def test_stop_sensitivities_against_a_stop_met_again(side_by_side, side_by_side_spots, stop):
    """The stick goes to the stop wherever a dimension that is off puts it: contact solved anew."""
    spot = side_by_side_spots[stop]
    found = sensitivities(side_by_side, [spot])
    found = found[~found["what"].str.startswith("face") & (found["what"] != "spacer")]
    made = meeting(side_by_side, stop)
    stage, (driver,), (angle,) = made.stage(made.thickness), spot.inputs, spot.inputs.values()
    h = 1e-3
    for _, rows in found.groupby("surface"):
        for row in rows.head(8).to_dict("records"):
            ends = []
            for sense in (1, -1):
                other = off(side_by_side, row["part"], row["what"], sense * h)
                touch = crossings(lambda x, s=other: replace(made, system=s)._measured(stage, x),
                                  angle + np.array([-0.1, 0.1]))
                ends.append(float(other.sweep(**{driver: touch[0]}).deflection(row["surface"])))
            assert row["per_mm"] == pytest.approx((ends[0] - ends[1]) / (2 * h), rel=2e-5)


def test_spacer_sensitivity_against_a_thicker_spacer(side_by_side, side_by_side_spots):
    spot = side_by_side_spots["pitch aft left"]
    made = meeting(side_by_side, "pitch aft left")
    ends = [made.contact(made.thickness + by) for by in (1e-3, -1e-3)]
    shift, tolerance = spot.shifts["pitch aft left", "spacer"]
    assert shift == pytest.approx((ends[0] - ends[1]) / 2e-3, rel=1e-5)
    assert tolerance == pytest.approx(0.005 * 25.4)


@pytest.mark.parametrize("seed", range(6))
def test_random_systems_against_a_finite_re_solve_and_solved_in_part(seed):
    """Slides and couplings too: a body's own angle, alone and in company."""
    spec = importlib.util.spec_from_file_location("systems",
                                                  Path(__file__).with_name("systems.py"))
    maker = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(maker)
    system = maker.random_system(seed)
    check_re_solved(system, {name: low + 0.4 * (high - low)
                             for name, (low, high) in maker.box_of(system).items()})


# A lever that floats on a slide, held by two rods: neither rod alone settles lever or slide.
FLOATING = """
length = "mm"
[input.pitch]
travel = [-15, 15]
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = { p = [0, 0, -70] }
[body.idler]
pivot = [500, 0, 150]
slide = [1, 0.05, 0.02]
points = { out = [510, 40, 30] }
[body.lever]
on = "idler"
pivot = [500, 0, 20]
axis = [0.05, 1, 0.1]
points = { low = [500, 0, -60], high = [498, 25, 90] }
[airframe]
points = { p = [100, 30, 150] }
[body.elevator]
pivot = [1500, 0, 100]
axis = "lateral"
points = { horn = [1500, 40, 30] }
[rod.low]
ends = ["stick/p", "lever/low"]
[rod.high]
ends = ["lever/high", "airframe/p"]
[rod.out]
ends = ["idler/out", "elevator/horn"]
[surface.elevator]
body = "elevator"
[tolerance]
hardpoint = 0.2
rod = 0.1
[play]
pivot = 0.1
rod_end = 0.1
"""


def test_rods_solved_together_against_a_finite_re_solve():
    system = System(parse_model(FLOATING))
    assert [step.rods for step in system.plan.steps if hasattr(step, "rods")] == [("low", "high")]
    check_re_solved(system, {"pitch": 8.0})
    spot = Spot("there", {"pitch": 8.0}, {})
    rss = error_bands(sensitivities(system, [spot], rigged=True))["rss"].iloc[0]
    found = monte_carlo(system, Chance(builds=3000, rigged=True), pitch=8.0)
    assert 3 * found.errors("elevator").std() == pytest.approx(rss, rel=0.06)
    loose = free_play(system, {"there": {"pitch": 8.0}})
    assert set(loose["part"]) == {"stick", "idler", "lever", "elevator", "low", "high", "out"}
    assert np.isfinite(loose["surface_moves"]).all()


def check_re_solved(system, place):
    """Each body alone as in company, and every sensitivity against central differences."""
    whole = system.sweep(**place)
    for body in system.model.bodies:
        assert system.only([body]).sweep(**place).angle(body) == pytest.approx(
            float(whole.angle(body)), abs=1e-12, nan_ok=True)
    turning = [n for n, b in system.model.bodies.items() if not b.slides]
    seen = System(replace(system.model, surfaces={n: Surface(body=n) for n in turning}))
    names = list(dimension_tolerances(seen))
    exact, h = dimension_rates(seen, names, **place), 1e-4
    for i, name in enumerate(names):
        one, other = (off(seen, *name, sense * h).sweep(**place) for sense in (1, -1))
        for surface in turning:
            finite = float(one.deflection(surface) - other.deflection(surface)) / (2 * h)
            if np.isfinite(finite):
                assert exact[surface][i] == pytest.approx(finite, abs=2e-6, rel=1e-6)


def test_rods_set_to_neutral_leave_what_re_rigging_leaves(side_by_side):
    """A hardpoint off, then every rod cut to what is between its own two holes: re-solved."""
    spot = Spot("aft and right", {"pitch": 14.0, "roll": 17.0}, {})
    found = sensitivities(side_by_side, [spot], rigged=True)
    h = 1e-4
    for row in found[found["surface"] == "elevator"].head(12).to_dict("records"):
        ends = []
        for sense in (1, -1):
            other = off(side_by_side, row["part"], row["what"], sense * h)
            if row["what"] != "length":
                places = other.dimensions.places
                other.dimensions = replace(other.dimensions, lengths={
                    name: math.dist(*(places[end] for end in rod.ends))
                    for name, rod in other.model.rods.items()})
            ends.append(float(other.sweep(**spot.inputs).deflection("elevator")))
        assert row["per_mm"] == pytest.approx((ends[0] - ends[1]) / (2 * h), abs=1e-7)


def test_rods_set_to_neutral_leave_only_their_own_tolerance_there(side_by_side):
    found = sensitivities(side_by_side, [Spot("neutral", {}, {})], rigged=True)
    assert set(found[found["moves"] > 1e-9]["what"]) == {"length"}


def test_own_tolerances_win_over_general_ones():
    model = parse_model(LEVERS.replace("points = { p = [900, 0, -60] }", """
        points = { p = { at = [900, 0, -60], tolerance = 0.1 }, q = [0, 0, 0] }
        tolerance = 0.3""") + """
        [rod.other]
        ends = ["stick/arm", "horn/p"]
        redundant = true
        tolerance = 0.2
        [tolerance]
        hardpoint = 0.5
        rod = 0.4""")
    assert [model.point_tolerance(n) for n in ("horn/p", "horn/q", "horn/pivot", "stick/arm")] == \
        [0.1, 0.3, 0.3, 0.5]
    assert [model.rod_tolerance(n) for n in ("push", "other")] == [0.4, 0.2]


def test_proof_for_builds_uses_the_widest_tolerance(side_by_side):
    """A point looser than all others must widen the proven bound, never narrow it."""
    from linkage.motion import enclose

    cell = {"pitch": np.array([3.0])}, {"pitch": np.array([0.1])}
    bodies = {n: replace(b, tolerance=None) for n, b in side_by_side.model.bodies.items()}
    tight = replace(side_by_side.model, bodies=bodies, tolerance=Tolerance(hardpoint=0.01))
    loose = replace(tight, bodies=bodies | {"elevator idler": replace(bodies["elevator idler"],
                                                                      tolerance=0.5)})
    held = [enclose(System(m), *cell, m.tolerance) for m in (tight, loose)]
    widths = [float(np.ptp(h.states["elevator idler"].value.bounds())) for h in held]
    assert 10 * widths[0] < widths[1] < 1
    assert [h.blur for h in held] == [0.01, 0.5]


# --- Monte Carlo --------------------------------------------------------------------------------

def small(system, mm=1e-4):
    """The system with one small tolerance on everything."""
    bodies = {n: replace(b, tolerance=None) for n, b in system.model.bodies.items()}
    return System(replace(system.model, bodies=bodies, tolerance=Tolerance(hardpoint=mm, rod=mm)))


@pytest.mark.parametrize("rigged", [False, True])
@pytest.mark.parametrize("spread", ["normal", "uniform"])
def test_builds_of_small_tolerances_against_the_first_order_figure(side_by_side, spread, rigged):
    """Standard deviation of a linear sum: root of the sum of squares (a third of a normal
    tolerance, 1/sqrt 3 of a uniform one); within 4 standard errors of 6,000 builds."""
    system = small(side_by_side)
    place = {"pitch": 9.0, "roll": -12.0}
    spot = Spot("there", place, {})
    rss = error_bands(sensitivities(system, [spot], rigged=rigged)).set_index("surface")["rss"]
    found = monte_carlo(system, Chance(builds=6000, spread=spread, rigged=rigged), **place)
    share = {"normal": 1 / 3, "uniform": 3 ** -0.5}[spread]
    for surface in system.model.surfaces:
        deviation = found.errors(surface).std()
        assert deviation == pytest.approx(rss[surface] * share, rel=4 / math.sqrt(2 * 6000))
    assert found.lost == 0


def test_each_build_of_small_tolerances_is_the_linear_sum_of_its_errors(side_by_side):
    """Taylor: what is left is of second order in the errors."""
    system = small(side_by_side)
    task = _Task(system, ("elevator",), {}, Chance(builds=A_BLOCK, seed=3), A_BLOCK,
                 np.random.SeedSequence(3).spawn(1)[0])
    drawn = _errors(task)
    rates = dimension_rates(system, list(dimension_tolerances(system)), pitch=11.0)["elevator"]
    linear = sum(rate * drawn[name] for rate, name in
                 zip(rates, dimension_tolerances(system), strict=True))
    found = monte_carlo(system, task.chance, pitch=11.0).errors("elevator")
    np.testing.assert_allclose(found, linear, atol=2e-9)
    assert np.abs(linear).max() > 1e-4


# Two rods of a chain of two triangles: the pin of each body at 80 mm from its pivot, the far end
# of its rod at 200 mm; the second rod starts from the first body's second pin.
CHAIN = """
length = "mm"
[body.crank]
pivot = [0, 0, 0]
axis = "lateral"
points = { p = [0, 0, 80], q = [50, 0, 0] }
[body.horn]
pivot = [300, 0, 0]
axis = "lateral"
points = { p = [300, 0, 70] }
[airframe]
points = { fixed = [200, 0, 0] }
[rod.first]
ends = ["airframe/fixed", "crank/p"]
tolerance = 4
[rod.second]
ends = ["crank/q", "horn/p"]
tolerance = 3
[surface.flap]
body = "horn"
"""


def circles_meet(one, r1, other, r2, near):
    """Where two circles in a plane meet, the point nearer to `near` (school geometry)."""
    one, other = np.broadcast_arrays(one, other)
    run = other - one
    d = np.linalg.norm(run, axis=-1, keepdims=True)
    a = (r1**2 - r2**2 + d**2) / (2 * d)
    height = np.sqrt(r1**2 - a**2)
    side = np.stack([-run[..., 1], run[..., 0]], axis=-1) / d
    both = [one + a * run / d + sense * height * side for sense in (1, -1)]
    first = np.linalg.norm(both[0] - near, axis=-1) < np.linalg.norm(both[1] - near, axis=-1)
    return np.where(first[..., None], *both)


def two_rods(first, second):
    """Turn of the horn from its pin straight up, about +y, degrees: two triangles in x, z."""
    p = circles_meet(np.array([0.0, 0.0]), 80.0, np.array([200.0, 0.0]),
                     np.asarray(first)[..., None], np.array([0.0, 80.0]))
    turn = np.arctan2(p[..., 0], p[..., 1])
    q = np.stack([50 * np.cos(turn), -50 * np.sin(turn)], axis=-1)
    h = circles_meet(np.array([300.0, 0.0]), 70.0, q, np.asarray(second)[..., None],
                     np.array([300.0, 70.0]))
    return np.degrees(np.arctan2(h[..., 0] - 300, h[..., 1]))


def test_builds_of_two_rods_against_the_closed_form_of_two_variables():
    """Mean and deviation by Gauss-Legendre quadrature of the closed form over both rods; and
    every build against the closed form itself."""
    system = System(parse_model(CHAIN))
    lengths = [system.dimensions.lengths[rod] for rod in ("first", "second")]
    chance = Chance(builds=20_000, spread="uniform", seed=5)
    found = monte_carlo(system, chance).deflections["flap"]
    x, weight = np.polynomial.legendre.leggauss(40)
    value = two_rods(lengths[0] + 4 * x[:, None], lengths[1] + 3 * x)
    both = np.outer(weight, weight) / 4
    mean = (both * value).sum()
    deviation = math.sqrt((both * (value - mean) ** 2).sum())
    assert found.mean() == pytest.approx(mean, abs=4 * deviation / math.sqrt(20_000))
    fourth = (both * (value - mean) ** 4).sum()
    error = math.sqrt((fourth / deviation**4 - 1) / (4 * 20_000))
    assert found.std() == pytest.approx(deviation, rel=4 * error)
    assert abs(mean) > 0.01  # the curvature shows: a linear sum would have mean 0
    task = _Task(system, ("flap",), {}, chance, A_BLOCK,
                 np.random.SeedSequence(5).spawn(80)[0])
    drawn = _errors(task)
    exact = two_rods(lengths[0] + drawn["first", "length"], lengths[1] + drawn["second", "length"])
    np.testing.assert_allclose(found[:A_BLOCK], exact, atol=1e-9)


def test_builds_that_do_not_assemble_are_nan_and_counted():
    """The first rod can't be shorter than 200 - 80 mm: of uniform errors a known share is."""
    text = CHAIN.replace("[0, 0, 80]", "[79, 0, 12.609520212918492]").replace(
        "tolerance = 4", "tolerance = 2").replace("tolerance = 3", "")
    system = System(parse_model(text))
    length = system.dimensions.lengths["first"]
    share = (120 - (length - 2)) / 4
    assert 0.05 < share < 0.5
    found = monte_carlo(system, Chance(builds=4000, spread="uniform"))
    assert found.lost == np.isnan(found.deflections["flap"]).sum()
    assert stats.binomtest(found.lost, 4000, share).pvalue > 1e-4
    low, high = found.band("flap")
    assert np.isfinite([low, high]).all()


def test_a_surface_has_the_same_builds_whatever_else_is_asked(side_by_side):
    place = {"pitch": [0.0, 10.0], "roll": [5.0, -7.0]}
    whole = monte_carlo(side_by_side, Chance(builds=300), **place)
    alone = monte_carlo(side_by_side, Chance(builds=300), surfaces=["elevator"], **place)
    assert list(alone.deflections) == ["elevator"]
    np.testing.assert_array_equal(alone.deflections["elevator"], whole.deflections["elevator"])
    other = monte_carlo(side_by_side, Chance(builds=300, seed=1), surfaces=["elevator"], **place)
    assert np.abs(other.deflections["elevator"] - alone.deflections["elevator"]).min() > 0


@pytest.mark.parametrize("kind", ["threads", "processes", "dask"])
def test_whoever_works_them_out_the_builds_are_the_same(side_by_side, kind):
    place = {"pitch": np.linspace(-13, 17, 7), "roll": 4.0}
    chance = Chance(builds=2 * A_BLOCK + 7)
    expected = monte_carlo(side_by_side, chance, **place)
    with _executor(kind) as executor:
        found = monte_carlo(side_by_side, chance, executor=executor, **place)
    for surface, value in expected.deflections.items():
        assert value.shape == (2 * A_BLOCK + 7, 7)
        np.testing.assert_array_equal(found.deflections[surface], value)


def _executor(kind):
    if kind == "threads":
        return ThreadPoolExecutor(2)
    if kind == "processes":
        return ProcessPoolExecutor(2, mp_context=get_context("spawn"))
    return _DaskExecutor()


class _DaskExecutor:
    """A local Dask cluster of two processes, seen as an executor."""

    def __enter__(self):
        from distributed import Client, LocalCluster

        self.cluster = LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None)
        self.client = Client(self.cluster)
        return self.client.get_executor()

    def __exit__(self, *_):
        self.client.close()
        self.cluster.close()


def test_bad_chances_are_refused():
    with pytest.raises(LinkageError, match='spread is "even"; give one of normal, uniform'):
        Chance(spread="even")
    with pytest.raises(LinkageError, match="builds is 0; give 1 or more"):
        Chance(builds=0)


def test_unknown_surface_is_refused(side_by_side):
    with pytest.raises(LinkageError, match='no surface "elevatr"; did you mean "elevator"'):
        monte_carlo(side_by_side, surfaces=["elevatr"])


# --- free play ----------------------------------------------------------------------------------

def test_play_of_rod_ends_by_the_rule_of_levers():
    """Parallel levers 60 and 80 mm: play p of the rod turns the horn p / 80, and moves the grip,
    500 mm up a stick whose arm is 60, by p 500 / 60."""
    system = System(parse_model(LEVERS + "[play]\nrod_end = 0.2"))
    found = free_play(system)
    assert list(found["what"]) == ["stick/arm", "horn/p"]
    np.testing.assert_allclose(found["surface_moves"], math.degrees(0.2 / 80), rtol=1e-12)
    np.testing.assert_allclose(found["grip_moves"], 0.2 * 500 / 60, rtol=1e-12)
    total = play_bands(found).iloc[0]
    assert total["worst"] == pytest.approx(2 * math.degrees(0.2 / 80))
    assert total["rss"] == pytest.approx(math.sqrt(2) * math.degrees(0.2 / 80))
    assert total["grip_worst"] == pytest.approx(2 * 0.2 * 500 / 60)


def test_play_of_pivots_by_the_rule_of_levers():
    """A horn pivot moving x along the rod turns the horn by x / 80.  A stick pivot moving x, the
    grip held, turns the stick about the grip: its arm's end moves x 560 / 500."""
    text = LEVERS.replace('input = "pitch"', 'input = "pitch"\nplay = 0.1').replace(
        "pivot = [900, 0, 20]", "pivot = [900, 0, 20]\nplay = 0.3")
    found = free_play(System(parse_model(text))).set_index("part")
    assert found["surface_moves"]["horn"] == pytest.approx(math.degrees(0.3 / 80))
    assert found["surface_moves"]["stick"] == pytest.approx(math.degrees(0.1 * 560 / 500 / 80))
    # with the horn held the rod end stays: the stick turns about it, and the grip is 560 from it
    assert found["grip_moves"]["stick"] == pytest.approx(0.1 * 560 / 60)


def test_play_of_any_pivot_against_a_body_moved_and_solved_again(side_by_side):
    """The part and all it carries moved by a hundredth, the grip's angles held: re-solved."""
    from linkage.motion import Rates, Seeds
    from linkage.rigging.play import _shifted

    way, h = np.array([0.3, -0.2, 0.5]), 1e-3
    for body in ("cross tube", "roll crank", "idler left", "elevator idler"):
        moved = _shifted(side_by_side, body, way)
        motion = side_by_side.sweep(pitch=7.0, roll=-9.0)
        rates = Rates(motion.posture, Seeds(places=moved)).joints
        ends = []
        for sense in (1, -1):
            places = {n: tuple(np.add(p, sense * h * np.array(moved.get(n, (0, 0, 0)))))
                      for n, p in side_by_side.dimensions.places.items()}
            dimensions = replace(side_by_side.dimensions, places=places)
            ends.append(side_by_side.sweep_with(dimensions, pitch=7.0, roll=-9.0))
        for joint in ("elevator", "aileron left", "aileron right"):
            finite = (ends[0].angle(joint) - ends[1].angle(joint)) / (2 * h)
            assert float(np.degrees(rates[joint])) == pytest.approx(float(finite), abs=1e-7)


# --- wires ----------------------------------------------------------------------------------------

SWING = """
length = "mm"
[input.pitch]
travel = [-30, 50]
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = { grip = [0, 0, 400], clamp = [0, 0, 120] }
solid.shaft = { kind = "tube", along = ["pivot", "grip"], diameter = 20 }
[airframe]
points = { clamp = [80, 0, 90] }
solid.post = { kind = "tube", along = [[60, -40, 160], [60, 40, 160]], diameter = 10 }
[wire.switch]
clamps = ["stick/clamp", "airframe/clamp"]
diameter = 4
"""


def test_chord_against_the_law_of_cosines():
    """c2 = r2 + D2 - 2 r D cos(angle between): least where the two agree, inside the travel."""
    found = chord(System(parse_model(SWING)), "switch")
    r, d = 120.0, math.hypot(80, 90)
    straight = math.degrees(math.atan2(80, 90))  # clamp of the airframe, from straight up
    assert -30 < straight < 50
    assert found.least == pytest.approx(d - r if d > r else r - d, abs=1e-9)
    assert found.least_at["pitch"] == pytest.approx(straight, abs=1e-4)
    end = math.radians(straight + 30)
    most = math.sqrt(r * r + d * d - 2 * r * d * math.cos(end))
    assert found.greatest == pytest.approx(most, abs=1e-9)
    assert found.greatest_at == {"pitch": -30.0}
    assert found.never_less <= found.least
    assert most <= found.never_more <= most + 1.01e-3


def test_chord_of_two_inputs_is_never_beaten(side_by_side):
    """Ten thousand random stick positions lie within what is proven."""
    found = chord(side_by_side, "talk wire left")
    rng = np.random.default_rng(0)
    motion = side_by_side.sweep(pitch=rng.uniform(-13, 17, 10_000),
                                roll=rng.uniform(-21, 21, 10_000))
    one, other = side_by_side.model.wires["talk wire left"].clamps
    apart = np.linalg.norm(motion.point(one) - motion.point(other), axis=-1)
    assert found.never_less <= apart.min()
    assert apart.max() <= found.never_more
    assert found.never_more - found.greatest < 1.01e-3
    assert found.least - found.never_less < 1.01e-3


@pytest.mark.parametrize("half", [0.05, 0.7, math.pi / 2, 2.2, 3.0])
def test_arc_against_its_closed_form(half):
    """An arc of half angle a on radius R: chord 2 R sin a, length 2 R a (plane geometry)."""
    radius = 70.0
    chord_, length = 2 * radius * math.sin(half), 2 * radius * half
    assert half_opening(chord_, length) == pytest.approx(half, rel=1e-9)
    assert bend_radius(chord_, length) == pytest.approx(radius, rel=1e-9)


def test_straight_and_short_wires():
    assert np.isinf(bend_radius(100.0, 100.0))
    assert np.isnan(bend_radius(100.0, 99.0))


@pytest.mark.parametrize(("least", "most", "bend"), [(20, 25, 30), (10, 80, 25), (60, 90, 29),
                                                     (60, 90, 31), (5, 6, 40)])
def test_length_needed_is_the_least_that_will_do(least, most, bend):
    """Against a scan of all lengths, by the arc's own closed form."""
    needed = length_needed((least, most), 2.0, bend)
    assert needed >= most + 2
    assert bend_radius(least, needed * (1 + 1e-9)) >= bend * (1 - 1e-7)
    shorter = np.linspace(most + 2, needed, 2000)[:-1]
    if len(shorter) and needed > most + 2 + 1e-9:
        assert np.all(bend_radius(least, shorter) < bend)


def test_least_bend_and_slack_of_a_given_length():
    system = System(parse_model(SWING + "length = 130\nslack = 5\nbend = 18"))
    row = wire_table(system).iloc[0]
    assert row["spare"] == pytest.approx(130 - row["greatest"])
    angle = 130 / (2 * row["bend"])  # sin a / a = c / L at the least chord
    assert math.sin(angle) / angle == pytest.approx(row["least"] / 130, rel=1e-9)
    assert row["bend_limit"] == 18
    assert row["ok"] == (row["bend"] >= 18 and row["spare"] >= 5)
    short = System(parse_model(SWING + "length = 90"))
    assert not wire_table(short)["ok"].any()
    assert wire_table(short)["spare"].iloc[0] < 0


def test_bend_limit_is_ten_diameters_unless_given():
    """TM 1-1500-204-23-4 item 27, seen: ten times the outside diameter."""
    assert parse_model(SWING).wires["switch"].bend_limit == 40
    assert parse_model(SWING + "bend = 7").wires["switch"].bend_limit == 7


def test_arc_chain_lies_on_its_arc_between_the_clamps():
    rng = np.random.default_rng(1)
    one, other = rng.normal(size=(2, 50, 3)) * 60
    apart = np.linalg.norm(one - other, axis=-1)
    length = apart.max() * 1.2
    corners, stray = arc_chain((one, other), length, (0, 0, -1), 200)
    np.testing.assert_allclose(corners[:, 0], one, atol=1e-9)
    np.testing.assert_allclose(corners[:, -1], other, atol=1e-9)
    runs = np.linalg.norm(np.diff(corners, axis=1), axis=-1).sum(axis=1)
    assert np.all((runs <= length) & (runs > length * (1 - 1e-3)))
    assert np.all((stray >= 0) & (stray < 0.05))
    # the ellipsoid that bounds every shape of the wire holds the arc
    sums = sum(np.linalg.norm(corners - k[:, None], axis=-1) for k in (one, other))
    assert np.all(sums <= length + 1e-9)


def test_no_shape_of_a_wire_comes_nearer_than_its_reach():
    """Random bent wires of the given length, tried at every sampled position, by brute force."""
    system = System(parse_model(SWING.replace("[60, -40, 160], [60, 40, 160]",
                                              "[60, -40, 185], [60, 40, 185]") + "length = 150"))
    found = chafe(system, "switch").set_index("solid").loc["airframe/post"]
    rng = np.random.default_rng(2)
    pitch = np.linspace(-30, 50, 7)
    one = system.sweep(pitch=pitch).point("stick/clamp")
    other = np.array(system.model.position("airframe/clamp"))
    nearest = np.inf
    for _ in range(4000):  # a wire with one sharp bend reaches farthest: two straight runs
        place = rng.normal(size=3) * 60 + [60, 0, 170]
        longest = np.linalg.norm(one - place, axis=-1) + np.linalg.norm(place - other)
        share = np.clip((150 - np.linalg.norm(one - other, axis=-1))
                        / (longest - np.linalg.norm(one - other, axis=-1)), 0, 1)
        bend = other + share[:, None] * (place - other)
        good = np.linalg.norm(one - bend, axis=-1) + np.linalg.norm(bend - other, axis=-1) <= 150
        across = np.clip(bend[:, 1], -40, 40)
        axis = np.stack([np.full(7, 60.0), across, np.full(7, 185.0)], axis=-1)
        nearest = min(nearest, np.linalg.norm(bend - axis, axis=-1)[good].min(initial=np.inf))
    assert found["reach"] <= nearest - 5 - 2
    assert found["reach"] > nearest - 5 - 2 - 25  # and is not idle


def test_gap_of_a_loop_against_points_of_its_arc():
    """The loop's own points against the post, sampled far closer than the chain."""
    system = System(parse_model(SWING + "length = 150\nsag = [0, 0, 1]"))
    found = chafe(system, "switch").set_index("solid").loc["airframe/post"]
    motion = system.sweep(pitch=np.linspace(-30, 50, 7))
    corners, _ = arc_chain((motion.point("stick/clamp"),
                            np.broadcast_to(system.model.position("airframe/clamp"), (7, 3))),
                           150.0, (0, 0, 1), 20_000)
    axis = np.stack([np.full(corners.shape[:-1], 60.0), np.clip(corners[..., 1], -40, 40),
                     np.full(corners.shape[:-1], 160.0)], axis=-1)
    gap = np.linalg.norm(corners - axis, axis=-1).min() - 5 - 2
    assert found["gap"] <= gap + 1e-9
    assert found["gap"] > gap - 0.4  # what the chain strays is taken off, never added


def test_solid_a_clamp_sits_on_is_left_out():
    near = SWING.replace("clamp = [0, 0, 120]", "clamp = [11, 0, 120]")
    assert "stick/shaft" not in set(chafe(System(parse_model(near)), "switch")["solid"])


# --- grips ----------------------------------------------------------------------------------------

GRIPPED = SWING.replace('diameter = 20 }', '''diameter = 20 }
[body.stick.grip]
along = [[0, 0, 390], "grip"]
bore = 20
clocking = 30
hand = { kind = "box", corner = [-20, -50, 300], opposite = [60, 30, 380] }''').replace(
    "[60, -40, 160], [60, 40, 160]", "[240, -40, 300], [240, 40, 300]").replace(
    '"pivot", "grip"', '"pivot", [0, 0, 390]')


def test_clocked_hand_against_scipy():
    """Clockwise from above is a left-hand turn about the line up; SciPy turns the corners."""
    model = parse_model(GRIPPED)
    plate = model.solids["stick/hand"]
    assert isinstance(plate, Plate)
    assert isinstance(model.bodies["stick"].grip.hand, Box)
    corners = np.array(list(itertools.product((-20, 60), (-50, 30), (300, 380))), dtype=float)
    expected = Rotation.from_euler("z", -30, degrees=True).apply(corners)
    u, n = np.array(plate.u), np.array([0.0, 0.0, 1.0])
    v = np.cross(n, u)
    made = [np.array(plate.at) + x * u + y * v + side * plate.thickness / 2 * n
            for x, y in plate.outline for side in (-1, 1)]
    for corner in made:
        assert np.linalg.norm(expected - corner, axis=-1).min() < 1e-9


def test_hand_goes_through_the_proven_clearance():
    system = System(parse_model(GRIPPED))
    found = hand_clearance(system)
    assert list(found["pair"]) == ["stick/hand | airframe/post"]
    row = found.iloc[0]
    assert row["proven"] <= row["least"] <= row["proven"] + 0.06
    assert not row["ok"]  # the stick swings 50 degrees aft, and the hand into the post
    assert row["least"] <= 0
    assert row["required"] == 12.7


@pytest.mark.parametrize(("bore", "ok"), [(20, True), (19.9, False)])
def test_bore_against_the_shaft_it_goes_on(bore, ok):
    found = grip_table(System(parse_model(GRIPPED.replace("bore = 20", f"bore = {bore}")))).iloc[0]
    assert (found["shaft"], bool(found["ok"])) == (20, ok)


# --- sheet, tables, picture -------------------------------------------------------------------

BUILT = ("wires", "tolerances")


@pytest.fixture(scope="module")
def whole(side_by_side):
    return Results(side_by_side, chance=Chance(builds=500, rigged=True), only=BUILT)


def test_sheet_tells_each_part_and_misses_nothing_in_the_example(whole):
    text = str(whole.chapter())
    assert whole.missed == 0
    text += str(whole.chapter("tolerances"))
    for word in ("Tolerance bands", "Most moved by", "Free play", "Wires", "Grips", "Chafing",
                 "hand stays proven", "elevator front", "talk wire left", "TEU",
                 "500 builds with normal errors, rigged"):
        assert word in " ".join(text.split())
    assert not re.search(r"^elevator +roll right", text, re.M)  # a stop that does not move it


def test_sheet_of_a_bare_file_says_what_is_missing():
    system = System(parse_model(LEVERS))
    bare = Results(system, chance=Chance(builds=10), only=BUILT)
    text = str(bare.chapter())
    assert "none in the file; give [tolerance] hardpoint, rod and spacer" in text
    assert "none in the file; give [play] pivot and rod_end" in text
    assert bare.missed == 0


def test_sheet_counts_what_wires_grips_and_hands_miss():
    text = GRIPPED.replace("bore = 20", "bore = 18") + "length = 90\n[tolerance]\nrod = 0.1"
    results = Results(System(parse_model(text)), chance=Chance(builds=10), only=BUILT)
    assert results.missed >= 3
    assert results.missed == str(results.chapter("wires")).count("MISSED")
    assert results.missed == len(results.tables(["rests-on"])["Missed"])


def test_tables_are_in_the_file_s_unit(whole, side_by_side):
    tables = whole.tables()
    assert set(tables) >= {"Tolerance bands", "Contributors", "Free play", "Wires", "Chafing"}
    wires = tables["Wires"].set_index("wire")
    assert wires["length in"]["talk wire left"] == pytest.approx(9.0)
    rows = tables["Contributors"]
    row = rows[(rows["part"] == "elevator drive") & (rows["at"] == "neutral")].iloc[0]
    assert row["tolerance in"] == pytest.approx(0.015)
    assert row["moves °"] == pytest.approx(abs(row["moves by °/in"]) * 0.015)


def test_picture_draws_the_table(side_by_side, side_by_side_spots):
    ax = plots.contributors(side_by_side, surface="elevator", at="pitch aft left")
    assert ax.get_title(loc="left") == "Which tolerance moves the elevator most?"
    found = sensitivities(side_by_side, [side_by_side_spots["pitch aft left"]], rigged=True)
    found = found[found["surface"] == "elevator"].head(12)
    np.testing.assert_allclose([bar.get_width() for bar in ax.patches], found["moves"])
    with pytest.raises(LinkageError, match='no stop "aft"'):
        plots.contributors(side_by_side, surface="elevator", at="aft")


def test_picture_without_tolerances_says_so():
    ax = plots.contributors(System(parse_model(LEVERS)), surface="elevator")
    assert any("no tolerance of the file moves it" in text.get_text() for text in ax.texts)
