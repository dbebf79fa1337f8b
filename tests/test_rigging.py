"""Rods to make, what a turn does, adjustment, the aircraft as built, rod ends and rig pins.

What stands outside: thread sizes of ASME B1.1 and ISO 261 (from memory, pitches by arithmetic),
complex-step derivatives, SciPy's rotations and root finder, lengths summed by hand, every
combination of half turns tried, and offsets planted and found again.  Systems are invented.
"""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.spatial.transform import Rotation

import linkage
from linkage import rigging
from linkage.__main__ import main
from linkage.model import RodEnd
from linkage.model.file import format_model, parse_model
from linkage.model.keys import AXES
from linkage.model.threads import read_thread
from linkage.motion import Couple, Drive, Posture, System, Turn
from linkage.motion.moved import hinge_sign
from linkage.rigging.lengths import with_lengths

EXAMPLES = sorted((Path(__file__).parents[1] / "examples").glob("*.toml"))
SIDE_BY_SIDE = Path(__file__).parents[1] / "examples" / "side_by_side.toml"

RUN = """
title = "One run to an elevator (invented)"
length = "mm"
[input.pitch]
travel = [-15, 18]
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
level = ["pivot", "front"]
points = { grip = [0, 0, 500], arm = [0, 0, -60], front = [90, 0, 20], hole = [0, 5, 40] }
[body.idler]
pivot = [800, 0, 10]
axis = "lateral"
points = { in = [795, 0, -60], out = [803, 20, -75] }
[body.elevator]
pivot = [1700, 0, 60]
axis = "lateral"
level = ["pivot", "edge"]
points = { horn = [1690, 30, -10], edge = [2000, 0, 65] }
[airframe]
points = { hole = [0, 9, 40] }
[rod.front]
ends = ["stick/arm", "idler/in"]
thread = "M6"
fitted = { rod_end = "male", engaged = 14, least = 9, witness = 10 }
[rod.rear]
ends = ["idler/out", "elevator/horn"]
fitted = [
  { rod_end = "male", engaged = 14, witness = 10, hardware = ["M6 bolt", "nut"] },
  { rod_end = "left", engaged = 13, witness = 10 },
]
[rod_end.male]
shank = 36
most = 20
thread = "M6"
[rod_end.left]
shank = 34
most = 20
thread = "M6 LH"
misalignment = 12
[surface.elevator]
body = "elevator"
chord = 300
[rig_pin.stick]
holes = ["stick/hole", "airframe/hole"]
within = 0.5
"""


@pytest.fixture(scope="module")
def run():
    return System(parse_model(RUN))


def by_name(path):
    return path.stem


# --- threads ------------------------------------------------------------------------------------

@pytest.mark.parametrize(("text", "diameter_in", "per_in"), [
    # ASME B1.1 UNF: sizes from memory, pitch = 1 / threads per inch
    ("10-32", 0.1900, 32), ("1/4-28", 0.2500, 28), ("5/16-24", 0.3125, 24),
    ("3/8-24", 0.3750, 24), ("#8-36 UNF-3A", 0.1640, 36), ("7/16-20", 0.4375, 20),
    ("1/4-20 UNC", 0.2500, 20)])
def test_inch_threads(text, diameter_in, per_in):
    thread = read_thread(text)
    assert thread.diameter == pytest.approx(diameter_in * 25.4)
    assert thread.pitch == pytest.approx(25.4 / per_in)
    assert not thread.left
    assert read_thread(f"{text} LH").left


@pytest.mark.parametrize(("text", "pitch"), [
    # ISO 261, from memory: coarse pitches where none is written, and the fine series
    ("M5", 0.8), ("M6", 1.0), ("M8", 1.25), ("M10", 1.5), ("M12", 1.75), ("M8x1", 1.0),
    ("M8 x 1.0", 1.0), ("M10x1.25", 1.25), ("M10x1-6g", 1.0), ("M6-LH", 1.0)])
def test_metric_threads(text, pitch):
    assert read_thread(text).pitch == pitch
    assert read_thread(text).left == text.endswith("LH")


def test_half_turns_of_the_usual_inch_threads():
    """0.0156, 0.0179, 0.0208, 0.0208 in a half turn: arithmetic, common practice."""
    halves = [read_thread(t).pitch / 2 / 25.4 for t in ("10-32", "1/4-28", "5/16-24", "3/8-24")]
    assert np.round(halves, 4).tolist() == [0.0156, 0.0179, 0.0208, 0.0208]


@pytest.mark.parametrize("text", ["", "M", "1/4", "M6x3", "1/4-27", "13/64-28", "M6x1x1", "28-1/4",
                                  "M6x1 RH", "-32", "M999", "9" * 500])
def test_what_is_no_thread_is_refused(text):
    with pytest.raises(linkage.LinkageError) as caught:
        read_thread(text)
    assert len(str(caught.value)) < 300


# --- rods to make -------------------------------------------------------------------------------

def test_rod_sheet_by_hand(run):
    rows = rigging.rod_sheet(run).set_index("rod")
    front = math.dist((0, 0, -60), (795, 0, -60))
    assert rows.loc["front", "length"] == pytest.approx(front)
    assert rows.loc["front", "tube"] == pytest.approx(front - 2 * (36 - 14))
    assert rows.loc["front", "longer"] == 2 * (14 - 10)  # the witness hole asks for more than least
    assert rows.loc["front", "shorter"] == 2 * (20 - 14)
    assert rows.loc["front", "turns_longer"] == 8.0
    assert rows.loc["rear", "tube"] == pytest.approx(
        math.dist((803, 20, -75), (1690, 30, -10)) - (36 - 14) - (34 - 13))
    assert rows.loc["rear", "longer"] == (14 - 10) + (13 - 10)
    assert rows.loc["rear", "hardware"] == "male, M6 bolt, nut; left"
    assert (rows["missing"] == "").all()


def test_what_is_missing_is_named_and_not_made_up():
    text = RUN.replace("engaged = 13, witness = 10", "engaged = 13").replace("shank = 34\n", "")
    row = rigging.rod_sheet(System(parse_model(text))).set_index("rod").loc["rear"]
    assert row["missing"] == "least or witness, shank"
    assert math.isnan(row["tube"])
    assert math.isnan(row["longer"])
    assert row["shorter"] == (20 - 14) + (20 - 13)


def test_twins_keep_what_is_bought():
    text = RUN.replace("[input.pitch]", '[mirror]\nleft = "right"\n[input.pitch]')
    for word in ("idler", "elevator", "front", "rear"):
        text = text.replace(f".{word}]", f'."left {word}"]').replace(f'"{word}/', f'"left {word}/')
    text = text.replace('body = "elevator"', 'body = "left elevator"')
    model = parse_model(text)
    assert model.rods["right rear"].fitted[1].rod_end == "left"  # its hand, not its side
    assert model.rods["right rear"].ends == ("right idler/out", "right elevator/horn")
    assert parse_model(format_model(model)) == model


def test_rig_pin_of_a_twin_goes_in_on_the_other_side():
    text = RUN.replace("[input.pitch]", '[mirror]\nleft = "right"\n[input.roll]\ntravel = [-9, 9]\n'
                       '[body.crank]\npivot = [0, 0, 9]\naxis = "fore-aft"\ninput = "roll"\n'
                       'points = { "left hole" = [0, -30, 9] }\n'
                       '[rig_pin."left crank"]\nholes = ["crank/left hole"]\n'
                       "input = { roll = 4, pitch = 2 }\n[input.pitch]")
    pin = parse_model(text).rig_pins["right crank"]
    assert pin.holes == ("crank/right hole",)
    assert pin.input == {"roll": -4, "pitch": 2}


# --- what a turn does ---------------------------------------------------------------------------

def length_slope(system, surface, rod):
    """Degrees per mm at neutral by a complex step of 1e-30 mm (Squire & Trapp 1998)."""
    h, dims = 1e-30, system.dimensions
    posture = Posture(system.plan, replace(
        dims, lengths=dims.lengths | {rod: dims.lengths[rod] + 1j * h}))
    for step in system.plan.steps:
        if isinstance(step, Drive):
            posture.drive(step, 0.0 + 0j)
        elif isinstance(step, Couple):
            source = posture.states[step.source]
            turn = source.value if source.known is not None else \
                np.arctan2(source.sin.real, source.cos.real) + 1j * (
                    source.sin.imag * source.cos.real - source.cos.imag * source.sin.real)
            posture.couple(step, turn)
        else:
            posture.close(step)
    body = system.model.surfaces[surface].body
    state = posture.states.get(body)
    if not isinstance(state, Turn):
        return 0.0
    turn = np.imag(state.sin) * np.real(state.cos) - np.imag(state.cos) * np.real(state.sin)
    return math.degrees(turn / h) * hinge_sign(system.model.bodies[body])


@pytest.mark.parametrize("path", EXAMPLES, ids=by_name)
def test_turns_against_complex_step(path):
    system = linkage.load(path)
    found = rigging.turns(system)
    assert found.empty == (not any(rod.thread for rod in system.model.rods.values()))
    for row in found.to_dict("records"):
        slope = length_slope(system, row["surface"], row["rod"])
        assert row["turn"] == pytest.approx(slope * row["per_turn"], rel=1e-9, abs=1e-12)
        assert row["half_turn"] == row["turn"] / 2


def test_turns_against_a_whole_solve_with_longer_rods(side_by_side):
    """Half a thousandth of a turn either way, solved again: central differences to 1e-6."""
    for row in rigging.turns(side_by_side).to_dict("records"):
        if row["turned"] == "first":
            step = row["per_turn"] * np.array([-5e-4, 5e-4])
            motion = side_by_side.sweep_with(with_lengths(side_by_side, {row["rod"]: step}))
            assert row["turn"] == pytest.approx(
                np.ptp(motion.deflection(row["surface"])) * 1e3 * np.sign(row["turn"]), rel=1e-6)


FLOATING = """
title = "A lever that floats on an idler: two rods are solved together (invented)"
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
points = { out = [510, 40, 30] }
[body.lever]
on = "idler"
pivot = [500, 0, 20]
axis = [0.05, 1, 0.1]
points = { low = [500, 0, -60], high = [498, 25, 90] }
[rod.low]
ends = ["stick/p", "lever/low"]
thread = "M6"
[rod.high]
ends = ["lever/high", "drum/p"]
thread = "M6"
[body.elevator]
pivot = [1500, 0, 100]
axis = "lateral"
points = { horn = [1500, 40, 30] }
[rod.out]
ends = ["idler/out", "elevator/horn"]
thread = "M6"
[surface.elevator]
body = "elevator"
"""


def test_turns_of_rods_solved_together():
    """Central differences of the whole solve, with steps of a thousandth of a turn."""
    system = System(parse_model(FLOATING))
    assert any(len(getattr(step, "rods", ())) == 2 for step in system.plan.steps)
    found = rigging.turns(system).query("turned == 'first'").set_index("rod")["turn"]
    assert set(found.index) == {"low", "high", "out"}
    for rod, turn in found.items():
        ends = [float(system.sweep_with(with_lengths(system, {rod: step})).deflection("elevator"))
                for step in (-1e-3, 1e-3)]
        assert turn == pytest.approx((ends[1] - ends[0]) / 2e-3, rel=1e-7)


def test_tube_between_two_hands_by_hand(run):
    """M6 of both hands: 2 x 1 mm a turn; of one hand and pitch: nothing."""
    found = rigging.turns(run)
    tubes = found[found["turned"] == "tube"].set_index("rod")["per_turn"]
    assert tubes.to_dict() == {"front": 0.0, "rear": 2.0}
    mixed = System(parse_model(RUN.replace("M6 LH", "1/4-28")))
    tubes = rigging.turns(mixed).query("turned == 'tube'").set_index("rod")["per_turn"]
    assert tubes["rear"] == pytest.approx(1.0 - 25.4 / 28)


def test_longer_rods_are_longer_at_any_number_of_positions(run):
    """More positions than are worked at once, against a few by themselves."""
    longer, x = with_lengths(run, {"front": 2.0}), np.linspace(-15, 18, 40_000)
    many = run.sweep_with(longer, pitch=x).deflection("elevator")
    assert np.array_equal(many[::4000], run.sweep_with(longer, pitch=x[::4000]
                                                       ).deflection("elevator"))


# --- adjustment ---------------------------------------------------------------------------------

def test_adjustment_is_the_least_of_all_that_can_be_turned(run):
    """Every combination of half turns within the engagement, each solved exactly."""
    steps = [np.arange(-12, 9), np.arange(-12, 9), np.arange(-12, 9), np.arange(-14, 7)]
    grid = np.meshgrid(*steps, indexing="ij", sparse=True)
    change = {"front": 0.5 * (grid[0] + grid[1]), "rear": 0.5 * (grid[2] + grid[3])}
    touched, turned = (sum(f(g) for g in grid) for f in (lambda g: (g != 0) * 1, np.abs))
    for measured in (0.9, -1.7, 3.3, 5.1):
        found = rigging.adjust(run, {"elevator": measured})
        assert found.ok
        assert found.least
        assert found.before["elevator"] == pytest.approx(measured, abs=1e-9)
        start = explained(run, measured)
        all_ = {rod: start[rod] + change[rod] for rod in change}
        left = np.abs(run.sweep_with(with_lengths(run, all_)).deflection("elevator"))
        good = left <= rigging.WITHIN
        best = min(zip(touched[good], turned[good], strict=True))
        counts = found.turns["half_turns"].abs()
        assert (len(counts), counts.sum()) == best
        same = good & (touched == best[0]) & (turned == best[1])
        assert abs(found.after["elevator"]) == pytest.approx(left[same].min(), abs=0.02)


def explained(system, measured):
    """The shortest change of both rods that puts the elevator there, by SciPy."""
    from scipy.optimize import minimize

    def off(change):
        motion = system.sweep_with(with_lengths(system, dict(zip(("front", "rear"), change,
                                                                 strict=True))))
        return float(motion.deflection("elevator")) - measured

    done = minimize(lambda c: c @ c, np.zeros(2), constraints={"type": "eq", "fun": off},
                    method="SLSQP", options={"ftol": 1e-14})
    return dict(zip(("front", "rear"), done.x, strict=True))


def test_adjustment_stays_within_the_engagement(run):
    found = rigging.adjust(run, {"elevator": 40.0})
    assert not found.ok
    assert (found.turns["left"] >= -1e-9).all()
    limits = {("front", "first"): (-12, 8), ("front", "second"): (-12, 8),
              ("rear", "first"): (-12, 8), ("rear", "second"): (-14, 6)}
    for row in found.turns.to_dict("records"):
        low, high = limits[row["rod"], row["which"]]
        assert low <= row["half_turns"] <= high
    assert abs(found.after["elevator"]) < 40.0


def test_adjustment_of_a_rod_made_too_long(run):
    """Without anything measured, the file's own rod length is what is put right."""
    long = replace(run.model, rods=run.model.rods | {"front": replace(
        run.model.rods["front"], length=run.model.rod_length("front") + 2.0)})
    found = rigging.adjust(System(long))
    assert found.ok
    assert found.turns["half_turns"].tolist() == [-4]
    assert found.changes == {"front": -2.0}
    assert found.after["elevator"] == pytest.approx(0.0, abs=1e-9)


def test_nothing_to_turn_and_nothing_that_may_turn(run, side_by_side):
    assert rigging.adjust(side_by_side).turns.empty
    bare = System(parse_model(RUN.replace("most = 20\n", "")))
    with pytest.raises(linkage.LinkageError, match="no rod end may be turned"):
        rigging.adjust(bare, {"elevator": 3.0})
    with pytest.raises(linkage.LinkageError, match="no rod lengths put the surfaces"):
        rigging.adjust(run, {"elevator": 170.0})
    with pytest.raises(linkage.LinkageError, match='did you mean "elevator"'):
        rigging.adjust(run, {"elevater": 1.0})
    with pytest.raises(linkage.LinkageError, match="at least 0.02° that may be left, got nan"):
        rigging.adjust(run, {"elevator": 1.0}, math.nan)


def test_surfaces_that_share_rods_are_brought_to_neutral_together(side_by_side):
    wanted = {"elevator": 1.3, "aileron left": -2.4, "aileron right": -1.1}
    found = rigging.adjust(side_by_side, wanted)
    assert found.before == pytest.approx(wanted)
    assert found.ok
    assert max(abs(k) for k in found.after.values()) <= rigging.WITHIN


# --- as built -----------------------------------------------------------------------------------

def planted(system, changes, zeros, way="surface angle", steps=9):
    """Rows of a table read on an aircraft with these rods and instrument zeros."""
    for name, surfaces in (("pitch", ["elevator"]),
                           ("roll", ["aileron left", "aileron right"])):
        if name not in system.inputs:
            continue
        x = np.linspace(*system.inputs[name].travel, steps)
        motion = system.sweep_with(with_lengths(system, changes),
                                   **{name: x + zeros.get(name, 0.0)})
        for surface in surfaces:
            read = motion.deflection(surface)
            if way == "surface level":
                read = linkage.gearing.level_reading(motion, surface)
            for stick, angle in zip(x, read + zeros.get(surface, 0.0), strict=True):
                yield {"input": name, "stick angle": repr(float(stick)), "surface": surface,
                       way: repr(float(angle))}


RODS = ("elevator drive", "aileron drive left", "aileron drive right")


def test_planted_offsets_are_found_again(side_by_side, full):
    """200 sets of three rods and five instrument zeros, each found to 1e-8 mm and degrees."""
    rng = np.random.default_rng(7)
    for _ in range(200 if full else 20):
        changes = dict(zip(RODS, rng.uniform(-2.5, 2.5, 3), strict=True))
        zeros = {name: rng.uniform(-1.5, 1.5)
                 for name in ("pitch", "roll", *side_by_side.model.surfaces)}
        readings = rigging.readings_of(side_by_side, planted(side_by_side, changes, zeros))
        fit = rigging.fit_as_built(side_by_side, readings, rods=RODS, error=1e-6)
        found = dict(zip(fit.table["unknown"], fit.table["value"], strict=True))
        wanted = changes | {f"{name} zero": value for name, value in zeros.items()}
        assert fit.table["determined"].all()
        assert set(found) == set(wanted)
        assert max(abs(found[name] - wanted[name]) for name in wanted) < 1e-8
        assert np.abs(fit.residuals).max() < 1e-9


def test_errors_of_the_fit_are_what_scatter_makes_of_it(run):
    """Standard errors against the spread of 80 fits to readings with noise of 0.05 degrees."""
    rng, found = np.random.default_rng(3), []
    rows = list(planted(run, {"rear": 1.0}, {}, steps=15))
    for _ in range(80):
        noisy = [row | {"surface angle": repr(float(row["surface angle"]) + rng.normal() * 0.05)}
                 for row in rows]
        fit = rigging.fit_as_built(run, rigging.readings_of(run, noisy), rods=["rear"],
                                   zeroed=["pitch"], error=0.05)
        found.append([*fit.table["value"], *fit.table["error"]])
    value, error = np.split(np.array(found), 2, axis=1)
    assert fit.table["determined"].all()
    assert np.std(value, axis=0) == pytest.approx(error.mean(axis=0), rel=0.3)
    assert value.mean(axis=0) == pytest.approx([0.0, 1.0], abs=4 * error.max() / math.sqrt(80))


def test_what_is_not_determined_is_named_and_stays_put(run):
    """A zero shift and a rod of the same run hide in each other at 0.1 degrees."""
    readings = rigging.readings_of(run, planted(run, {"rear": 1.0}, {"elevator": 0.4}))
    fit = rigging.fit_as_built(run, readings)
    assert fit.together == (("pitch zero", "elevator zero", "front", "rear"),)
    assert not fit.table["determined"].any()
    assert np.abs(fit.residuals).max() < 0.1
    whole = rigging.fit_as_built(run, readings, error=1e-9)
    assert whole.table["determined"].all()
    assert whole.table["value"].tolist() == pytest.approx([0, 0.4, 0, 1.0], abs=1e-4)


def test_rods_no_reading_depends_on_are_named(side_by_side):
    rows = [row for row in planted(side_by_side, {}, {}) if row["surface"] == "elevator"]
    fit = rigging.fit_as_built(side_by_side, rigging.readings_of(side_by_side, rows))
    assert "aileron drive left" in fit.unseen
    assert "elevator drive" not in fit.unseen


def test_level_of_a_surface_is_fitted_as_it_is_read(run):
    rows = list(planted(run, {"rear": -1.5}, {"elevator": 0.3}, "surface level"))
    fit = rigging.fit_as_built(run, rigging.readings_of(run, rows), rods=["rear"],
                               zeroed=["pitch"], error=1e-6)
    found = dict(zip(fit.table["unknown"], fit.table["value"], strict=True))
    assert found == pytest.approx({"elevator level zero": 0.3, "rear": -1.5}, abs=1e-8)


def test_as_built_model_moves_as_was_read(run, tmp_path):
    rows = list(planted(run, {"front": 0.8, "rear": 1.0}, {}))
    readings = rigging.readings_of(run, rows)
    fit = rigging.fit_as_built(run, readings, zeroed=["pitch", "elevator"])
    built = rigging.as_built_model(run, fit)
    motion = System(built).sweep(pitch=readings.stick)
    assert np.abs(motion.deflection("elevator") - readings.angle).max() < 0.05
    linkage.write_model(built, tmp_path / "built.toml")
    assert linkage.read_model(tmp_path / "built.toml") == built


def test_readings_out_of_reach_are_refused(side_by_side):
    row = {"input": "pitch", "stick angle": "120", "surface": "elevator", "surface angle": "3"}
    with pytest.raises(linkage.LinkageError, match="reading 1: the rods can't reach at pitch 120"):
        rigging.fit_as_built(side_by_side, rigging.readings_of(side_by_side, [row] * 29))


def test_too_few_readings_are_refused(run):
    rows = list(planted(run, {}, {}))
    for count in (1, 2):
        with pytest.raises(linkage.LinkageError, match="measure at least"):
            rigging.fit_as_built(run, rigging.readings_of(run, rows[:count]), error=1e-3)


@pytest.mark.parametrize("worst", [0, 4, 8])
def test_contradictory_readings_are_refused(run, worst):
    rows = list(planted(run, {"rear": 1.0}, {}))
    rows[worst]["surface angle"] = repr(float(rows[worst]["surface angle"]) + 4.0)
    with pytest.raises(linkage.LinkageError, match=r"measure it again") as caught:
        rigging.fit_as_built(run, rigging.readings_of(run, rows))
    assert f"reading {worst + 1} (pitch" in str(caught.value)
    twice = [*planted(run, {}, {}), {"input": "pitch", "stick angle": "10", "surface": "elevator",
                                     "surface angle": "3"}]
    with pytest.raises(linkage.LinkageError, match="measure it again"):
        rigging.fit_as_built(run, rigging.readings_of(run, twice))


def test_edge_by_rule_and_words(run):
    """Movement straight across = 2 chord sin(angle / 2): 300 mm at a chord of 300 mm is 60°."""
    rows = [{"input": "pitch", "stick angle": "9.5 aft", "surface": "elevator", "edge": cell}
            for cell in ("300 TED", "300 mm TEU", "-300", "2 in")]
    readings = rigging.readings_of(run, rows)
    assert readings.stick.tolist() == [9.5] * 4
    assert readings.angle.tolist() == pytest.approx(
        [60, -60, -60, math.degrees(2 * math.asin(50.8 / 600))])


def test_stick_level_is_turned_into_its_angle(run):
    """A line at atan(20 / 90) above level at neutral, turning with the stick."""
    rise = math.degrees(math.atan2(20, 90))
    row = {"input": "pitch", "stick level": f"{rise - 7}", "surface": "elevator",
           "surface angle": "1 TEU"}
    assert rigging.readings_of(run, [row]).stick == pytest.approx([7.0])


@pytest.mark.parametrize(("change", "says"), [
    ({"input": "pich"}, 'no input "pich"; did you mean "pitch"?'),
    ({"surface": ""}, 'no surface ""'),
    ({"stick angle": ""}, "needs one measure of the stick: stick angle, stick level; got none"),
    ({"edge": "3 TEU"}, "needs one measure of the surface"),
    ({"surface angle": "much"}, '"much" is no angle; write degrees, with TEU or TED behind'),
    ({"surface angle": "-3 TEU"}, "has a sign and a way"),
    ({"surface angle": "nan"}, "needs a number"),
    ({"surface angle": "", "edge": "900 TEU"}, "allows 600.0 mm; check the unit"),
    ({"surface angle": "", "edge": "3 lb"}, "is no length"),
    ({"stick angle": "", "stick level": "80"}, "at 0 positions of pitch"),
])
def test_bad_readings_are_refused(run, change, says):
    row = {"input": "pitch", "stick angle": "5", "surface": "elevator", "surface angle": "3 TEU"}
    with pytest.raises(linkage.LinkageError) as caught:
        rigging.readings_of(run, [row, row | change])
    assert says in str(caught.value)
    assert str(caught.value).startswith("reading 2: ")


# --- rod-end misalignment -----------------------------------------------------------------------

def edge_meets_face(ball, race, sphere, shoulder=None):
    """Tilt at which the race's edge meets the ball's face or a shoulder, in a flat section.

    The race's edge is a point at half its width on the ball's circle; the ball's face is cut off
    at half the ball's width, a shoulder at a radius of its own from the bolt.
    """
    radius = sphere / 2
    edge = np.array([math.sqrt(radius**2 - (race / 2)**2), race / 2])

    def apart(tilt):
        c, s = math.cos(tilt), math.sin(tilt)
        out, along = edge[0] * c - edge[1] * s, edge[0] * s + edge[1] * c
        return along - ball / 2 if shoulder is None else shoulder / 2 - out

    return math.degrees(brentq(apart, 0.0, math.pi / 2 - 0.5, xtol=1e-14))


@pytest.mark.parametrize(("ball", "race", "sphere"), [(9, 6.75, 12.7), (11.1, 8.4, 15.2),
                                                      (14, 10.5, 20), (6, 5.9, 8)])
def test_allowed_misalignment_against_a_section(ball, race, sphere):
    """asin(W/D) - asin(H/D), with a shoulder acos(S/D) - asin(H/D): solid geometry."""
    own = RodEnd(ball=ball, race=race, sphere=sphere).allowed
    assert own == pytest.approx(math.degrees(math.asin(ball / sphere) - math.asin(race / sphere)))
    assert own == pytest.approx(edge_meets_face(ball, race, sphere), abs=1e-9)
    face = math.sqrt(sphere**2 - ball**2)  # a shoulder as wide as the ball's own face
    assert RodEnd(ball=ball, race=race, sphere=sphere, shoulder=face + 1e-12).allowed == \
        pytest.approx(own, abs=1e-7)
    wider = face + 0.2 * (math.sqrt(sphere**2 - race**2) - face)
    assert RodEnd(ball=ball, race=race, sphere=sphere, shoulder=wider).allowed == pytest.approx(
        edge_meets_face(ball, race, sphere, wider), abs=1e-9)


def tilted(system, rod, end, bolt, inputs):
    """Misalignment with the bolt turned by SciPy's rotations through the angles told."""
    motion = system.sweep(**inputs)
    ends = system.model.rods[rod].ends
    line = motion.point(ends[1 - end]) - motion.point(ends[end])
    part, axis = ends[end].split("/")[0], np.tile(bolt, (len(line), 1))
    while part != "airframe":
        body = system.model.bodies[part]
        if not body.slides:
            turn = Rotation.from_rotvec(np.radians(motion.angle(part))[:, None] * body.direction)
            axis = turn.apply(axis)
        part = body.on
    return np.degrees(np.arcsin(np.abs(np.sum(line * axis, axis=-1))
                                / np.linalg.norm(line, axis=-1)))


@pytest.mark.parametrize("path", EXAMPLES, ids=by_name)
def test_misalignment_is_the_greatest_of_many(path):
    system = linkage.load(path)
    found, rng = rigging.misalignment(system), np.random.default_rng(2)
    box = linkage.gearing.box_of(system)
    inputs = {n: np.append(rng.uniform(*side, 1500), 0.0) for n, side in box.items()}
    for row in found.to_dict("records"):
        end = system.model.rods[row["rod"]].ends.index(row["end"])
        part, point = row["end"].split("/")
        body = system.model.bodies[part]
        bolt = body.points[point].bolt or body.direction
        bolt = AXES.get(bolt, bolt) if isinstance(bolt, str) else bolt
        some = tilted(system, row["rod"], end, bolt, inputs)
        assert some[-1] == pytest.approx(row["neutral"], abs=1e-6)
        assert some.max() <= row["greatest"] + 1e-6
        here = {n: np.array([row[n]]) for n in box}
        assert tilted(system, row["rod"], end, bolt, here)[0] == pytest.approx(row["greatest"],
                                                                               abs=1e-6)


def test_misalignment_of_a_crank_by_hand():
    """A stick swings a ball sideways on a fixed rod's line: asin of the shift over the length."""
    text = """
length = "mm"
[input.roll]
travel = [-20, 20]
[body.stick]
pivot = [0, 0, 100]
axis = "fore-aft"
input = "roll"
points = { arm = [0, 0, 0] }
[body.horn]
pivot = [400, 0, 60]
axis = "lateral"
points = { p = [400, 0, 0] }
[rod.push]
ends = ["stick/arm", "horn/p"]
fitted = [{ rod_end = "male", bolt = "vertical" }, { rod_end = "male" }]
[rod_end.male]
misalignment = 4.8
"""
    system = System(parse_model(text))
    rows = rigging.misalignment(system).set_index("end")
    shift = 100 * math.sin(math.radians(20))
    assert rows.loc["horn/p", "greatest"] == pytest.approx(
        math.degrees(math.asin(shift / 400)), abs=1e-6)
    assert rows.loc["horn/p", "bolt"] == "the axis of its part"
    assert rows.loc["stick/arm", "bolt"] == "the rod end"
    assert not rows.loc["horn/p", "ok"]
    assert abs(rows.loc["horn/p", "roll"]) == pytest.approx(20)


# --- rig pins -----------------------------------------------------------------------------------

def test_rig_pin_lines_up_across_the_pin(run):
    rows = rigging.rig_pins(run)
    assert rows["apart"].tolist() == [0.0, 0.0]  # 4 mm apart along the pin only
    assert rows["ok"].tolist() == [True, True]
    assert rows.loc[1, ["x", "y", "z"]].tolist() == [0, 9, 40]


def test_rig_pin_tells_the_turn_that_is_left(run):
    text = RUN.replace("within = 0.5", "within = 0.5\ninput = { pitch = 3 }")
    row = rigging.rig_pins(System(parse_model(text))).iloc[0]
    assert row["turn"] == pytest.approx(-3.0)
    assert row["apart"] == pytest.approx(2 * 40 * math.sin(math.radians(1.5)))
    assert row["ok"] is False or not row["ok"]


# --- the command --------------------------------------------------------------------------------

@pytest.mark.parametrize("path", EXAMPLES, ids=by_name)
def test_rig_prints(path, capsys):
    assert main(["rig", str(path)]) == 0
    out = capsys.readouterr().out
    assert "Rods to make" in out
    assert "supports, and never replaces" in out
    assert ("Not in the file: fitted" in out) == (not path.stem.startswith("side_by_side"))


def test_rig_from_readings_to_the_aircraft_as_built(side_by_side, tmp_path, capsys):
    table, built = tmp_path / "readings.csv", tmp_path / "built.toml"
    rows = list(planted(side_by_side, {"elevator drive": 2.0}, {}))
    table.write_text("input, stick angle, surface, surface angle\n" + "".join(
        ", ".join(row.values()) + "\n" for row in rows), encoding="utf-8")
    words = ["rig", str(SIDE_BY_SIDE), "--readings", str(table), "--doubt", *RODS, "--zeroed",
             "pitch", "roll", *side_by_side.model.surfaces, "--csv", str(tmp_path / "tables")]
    assert main([*words, "--out", str(built)]) == 0
    out = capsys.readouterr().out
    assert "As built" in out
    assert "Adjustment to neutral" in out
    length = linkage.read_model(built).rod_length("elevator drive")
    assert length == pytest.approx(side_by_side.model.rod_length("elevator drive") + 2.0, abs=1e-6)
    assert {p.stem for p in (tmp_path / "tables").iterdir()} == {
        "rods_to_make", "rod_ends", "what_a_turn_does", "rod-end_misalignment", "rig_pins",
        "adjustment", "surfaces_at_neutral", "as_built_rods", "readings", "tolerance_bands",
        "most_moved_by", "builds_by_chance", "contributors", "free_play", "free_play_bands",
        "wires", "chafing", "grips"}
    before = built.read_text(encoding="utf-8")
    assert main([*words, "--out", str(built)]) == 2
    assert "stays as it is" in capsys.readouterr().err
    assert built.read_text(encoding="utf-8") == before


@pytest.mark.parametrize(("words", "says"), [
    (["--measured", "elevater=1"], 'did you mean "elevator"?'),
    (["--measured", "elevator"], '--measured: "elevator" says no angle; write it like'),
    (["--measured", "elevater=1"], '--measured: no surface "elevater"'),
    (["--measured", "elevator=up"], '"up" is no angle'),
    (["--readings", "nowhere.csv"], "nowhere.csv: can't be read"),
    (["--out", "x.toml"], "needs --readings too"),
])
def test_bad_words_are_refused_in_one_line(words, says, capsys):
    assert main(["rig", str(SIDE_BY_SIDE), *words]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert len(told.err.splitlines()) == 1
    assert says in told.err


@pytest.mark.parametrize(("text", "says"), [
    ("", "holds no readings"),
    ("input, stick angle, surface, surface angle\npitch, 5\n", 'line 2: no surface ""'),
    ("input;stick angle;surface;surface angle\npitch;5;elevator;3\n", 'no heading "input"'),
    ("pitch, 5, elevator, 3\n", 'no heading "input"'),
    ("input, stick angle, surface, surface angle\n# a note\npitch, " + "9" * 6000 + ", elevator, 3",
     "line 3: stick angle: needs a number"),
    ("input, stick angle, surface, surface angle\npitch, 5, elevator, 3, 4\n", "can't be read"),
    ("\0", ""),
])
def test_bad_tables_are_refused_in_one_line(text, says, tmp_path, capsys):
    path = tmp_path / "readings.csv"
    path.write_text(text, encoding="utf-8")
    code = main(["rig", str(SIDE_BY_SIDE), "--readings", str(path)])
    told = capsys.readouterr()
    assert code == 2
    assert len(told.err.splitlines()) == 1
    assert str(path) in told.err
    assert len(told.err) < 600
    assert says == "can't be read" or says in told.err


def test_picture_answers_the_question_in_its_title(side_by_side, tmp_path, capsys):
    from linkage import plots

    ax = plots.half_turns(side_by_side)
    assert ax.get_title(loc="left") == "How far does half a turn of a rod end move each surface?"
    found = rigging.turns(side_by_side)
    marks = [line.get_xdata() for line in ax.lines if len(line.get_xdata()) == 1]
    drawn = {round(float(mark[0]), 9) for mark in marks}
    assert drawn == {round(k, 9) for k in found[found["turned"] == "first"]["half_turn"]}
    path = tmp_path / "half.png"
    assert main(["rig", str(SIDE_BY_SIDE), "--picture", str(path)]) == 0
    assert path.read_bytes().startswith(b"\x89PNG")
    assert main(["rig", str(SIDE_BY_SIDE), "--picture", str(tmp_path / "half.doc")]) == 2
    assert "let its name end in" in capsys.readouterr().err


def test_picture_of_the_aircraft_as_built(side_by_side):
    from linkage import plots

    readings = rigging.readings_of(side_by_side, planted(side_by_side, {"elevator drive": 2.0},
                                                         {"elevator": 0.5}))
    fit = rigging.fit_as_built(side_by_side, readings, rods=RODS, zeroed=["pitch", "roll"])
    ax = plots.as_built(side_by_side, (readings, fit), input="pitch")
    drawn, built, read = (line.get_ydata() for line in ax.lines[:3])
    assert built[0] == pytest.approx(read[0], abs=0.05)
    assert abs(drawn[0] - built[0]) > 1
    with pytest.raises(linkage.LinkageError, match='nothing was read along "yaw"'):
        plots.as_built(side_by_side, (readings, fit), input="yaw")
