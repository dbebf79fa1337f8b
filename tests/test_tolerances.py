"""Tolerances, free play, Monte Carlo, wires and grips.

Held against finite re-solves, closed forms of plane geometry, quadrature, and SciPy; the source
stands beside each check.
"""

import copy
import math
import re
from dataclasses import replace

import numpy as np
import pytest
from systems import random_solids
from systems.wire_models import BUILT, GRIPPED

from linkage import LinkageError, System, plots
from linkage.clearances.stage import measure
from linkage.model import STATIONS, Surface, Tolerance
from linkage.model.file import parse_model
from linkage.motion import Dimensions
from linkage.results import Results
from linkage.rigging import (
    Chance,
    error_bands,
    free_play,
    monte_carlo,
    play_bands,
    sensitivities,
    spots,
)
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


def gaps_of(stage, system, name, positions):
    """Gap of a stage's one pair in a system whose dimensions are off, mm."""
    motion = system.sweep(**{name: np.asarray(positions, dtype=float)})
    which, count = np.flatnonzero(~stage.rough), motion.shape[0]
    value = measure(stage, motion.flat_posture(), np.repeat(which, count),
                    np.tile(np.arange(count), len(which)))
    return value.reshape(len(which), count).min(axis=0)


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
                touch = crossings(lambda x, s=other: gaps_of(stage, s, driver, x),
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
    system = random_solids.random_system(seed)
    check_re_solved(system, {name: low + 0.4 * (high - low)
                             for name, (low, high) in random_solids.box_of(system).items()})


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
    assert [step.rods for step in system.plan.steps if len(step.rods) > 1] == [("low", "high")]
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

    cell = {"pitch": np.array([3.0])}, {"pitch": np.array([1e-6])}
    bodies = {n: replace(b, tolerance=None) for n, b in side_by_side.model.bodies.items()}
    tight = replace(side_by_side.model, bodies=bodies, tolerance=Tolerance(hardpoint=0.01))
    loose = replace(tight, bodies=bodies | {"elevator idler": replace(bodies["elevator idler"],
                                                                      tolerance=0.5)})
    held = [enclose(System(m), *cell, m.tolerance) for m in (tight, loose)]
    widths = [float(np.ptp(h.states["elevator idler"].value.bounds())) for h in held]
    assert 10 * widths[0] < widths[1] < 1


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


# --- sheet, tables, picture -------------------------------------------------------------------

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
