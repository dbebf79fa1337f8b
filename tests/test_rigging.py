"""Rods to make, what a turn does, adjustment, the aircraft as built, rod ends and rig pins.

What stands outside: thread sizes of ASME B1.1 and ISO 261 (from memory, pitches by arithmetic),
complex-step derivatives, SciPy's rotations and root finder, lengths summed by hand, every
combination of half turns tried, and offsets planted and found again.  Systems are invented.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from systems.rig_models import EXAMPLES, RUN, by_name

import linkage
from linkage import rigging
from linkage.model.file import format_model, parse_model
from linkage.motion import Couple, Drive, Posture, System, Turn
from linkage.motion.moved import hinge_sign
from linkage.rigging.lengths import with_lengths

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
