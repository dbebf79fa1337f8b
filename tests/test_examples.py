"""Every example system: rods keep their length, an independent solve agrees, the sheet prints."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize.elementwise import find_root

import linkage
from linkage.gearing import gearing_algebra, required_travels
from linkage.model import Size
from linkage.model.file import format_model, parse_model
from linkage.motion import Close, Couple, Drive, Posture, Turn
from linkage.sizing import size
from linkage.stops import drawn_ends

EXAMPLES = sorted((Path(__file__).parents[1] / "examples").glob("*.toml"))
STARTERS = sorted((Path(linkage.__file__).parent / "starters").glob("*.toml"))


def by_name(path):
    return path.stem


@pytest.fixture(params=EXAMPLES + STARTERS, ids=by_name)
def system(request):
    return linkage.load(request.param)


def random_positions(system, count, seed=0):
    rng = np.random.default_rng(seed)
    return {name: rng.uniform(*control.travel, count) for name, control in system.inputs.items()}


def test_every_rod_keeps_its_length(system):
    motion = system.sweep(**random_positions(system, 10_000))
    assert motion.reachable.all()
    for rod in system.model.rods:
        assert np.abs(motion.stretch(rod)).max() < 1e-9


def test_reads_back_equal(system):
    assert parse_model(format_model(system.model)) == system.model


def test_required_travels_are_met(system):
    if system.model.size != Size():  # drawn short of its targets on purpose
        system = size(system).system
    ends = drawn_ends(system) if system.model.stops else None
    assert required_travels(system)["ok"].all()
    at_stops = required_travels(system, ends)
    assert at_stops["ok"].all(), at_stops


# An independent solve: matrices from Rodrigues' formula written out here, and SciPy's bracketing
# root finder on the length of each rod, one joint after another.


def matrix(axis, angle):
    x, y, z = axis
    k = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    a = np.asarray(angle)[..., None, None]
    return np.eye(3) + np.sin(a) * k + (1 - np.cos(a)) * (k @ k)


def place(model, angles, address):
    part, point = address.split("/")
    p = np.array(model.position(address))
    while part != "airframe":
        body = model.bodies[part]
        turn, c = angles.get(part, 0.0), np.array(body.centre)
        if body.slides:
            p = p + np.asarray(turn)[..., None] * np.array(body.direction)
        else:
            p = (matrix(body.direction, turn) @ (p - c)[..., None])[..., 0] + c
        part = body.on
    return p


def test_side_by_side_against_scipy_at_500_positions(side_by_side):
    """Angles within 1e-9 rad of SciPy's root finder on the rod lengths (general library)."""
    model, inputs = side_by_side.model, random_positions(side_by_side, 500, seed=3)
    angles = {"cross tube": np.radians(inputs["pitch"]), "stick left": np.radians(inputs["roll"])}
    todo = dict(model.rods)
    while todo:
        for name, rod in list(todo.items()):
            parts = [end.split("/")[0] for end in rod.ends]
            unknown = [p for p in parts if p != "airframe" and p not in angles]
            if len(unknown) != 1:
                continue
            length = np.linalg.norm(np.subtract(*(model.position(end) for end in rod.ends)))

            def misfit(turn, index, joint=unknown[0], rod=rod, length=length):
                trial = {part: angle[index] for part, angle in angles.items()} | {joint: turn}
                one, other = (place(model, trial, end) for end in rod.ends)
                return np.linalg.norm(one - other, axis=-1) - length

            bracket = np.radians(np.full((2, 500), [[-55.0], [55.0]]))
            found = find_root(misfit, tuple(bracket), args=(np.arange(500),),
                              tolerances={"xatol": 1e-14, "xrtol": 1e-15})
            angles[unknown[0]] = found.x
            del todo[name]
    motion = side_by_side.sweep(**inputs)
    for body, angle in angles.items():
        assert np.abs(np.radians(motion.angle(body)) - angle).max() < 1e-9, body


def test_gearing_against_complex_step(system):
    """Exact rates against complex-step derivatives of the same posture (Squire & Trapp 1998)."""
    inputs, h = random_positions(system, 50, seed=1), 1e-30
    motion = system.sweep(**inputs)
    for name, control in system.inputs.items():
        posture = Posture(system.plan, system.dimensions)
        for step in system.plan.steps:
            if isinstance(step, Drive):
                value = inputs[step.input]
                if system.inputs[step.input].unit == "°":
                    value = np.radians(value)
                posture.drive(step, value + 1j * h * (step.input == name))
            elif isinstance(step, Couple):
                source = posture.states[step.source]
                angle = source.value if source.known is not None else None
                posture.couple(step, angle)
            else:
                assert isinstance(step, Close)
                posture.close(step)
        for body, state in posture.states.items():
            if isinstance(state, Turn):
                rate = (state.sin.imag * state.cos.real - state.cos.imag * state.sin.real) / h
                if control.unit == "mm":
                    rate = np.degrees(rate)
            else:
                rate = np.imag(state.value) / h * (1 if control.unit == "mm" else np.pi / 180)
            found = motion.body_gearing(body)[name]
            assert np.abs(found - rate).max() <= 1e-8 * max(1.0, np.abs(rate).max())


def test_gearing_algebra_ends_in_the_neutral_gearing(side_by_side):
    neutral = side_by_side.sweep()
    for surface in side_by_side.model.surfaces:
        for name in ("pitch", "roll"):
            text = gearing_algebra(side_by_side, surface, name)
            value = float(text.rsplit("=", 1)[1])
            assert value == pytest.approx(float(neutral.gearing(surface)[name]), abs=6e-5)


def test_contract(side_by_side):
    motion = side_by_side.sweep(pitch=[-13, 0, 17], roll=0.0)
    assert motion.deflection("elevator").shape == (3,)
    assert motion.angle("cross tube").tolist() == pytest.approx([-13, 0, 17])
    assert motion.point("stick left/grip").shape == (3, 3)
    assert motion.point("stick left/pivot").shape == (3, 3)
    assert motion.reachable.tolist() == [True, True, True]
    assert set(motion.gearing("elevator")) == {"pitch", "roll"}
    assert side_by_side.inputs["pitch"].travel == (-13, 17)


@pytest.mark.parametrize("path", EXAMPLES, ids=by_name)
def test_gearing_sheet_prints(path):
    done = subprocess.run([sys.executable, "-m", "linkage", str(path), "--only", "gearing"],
                          capture_output=True, text=True, check=False)
    short = path.stem == "aileron_run"  # as drawn, before its arms are chosen
    assert (done.returncode, done.stderr) == (int(short), "")
    assert "Not looked at: not asked for: clearance, load" in done.stdout
    assert "Required travels" in done.stdout
    assert "supports, and never replaces" in done.stdout


@pytest.mark.parametrize("layout", ["side-by-side", "tandem"])
def test_new_writes_a_starter_that_moves(layout, tmp_path):
    from linkage.__main__ import main

    path = tmp_path / "mine.toml"
    assert main(["new", layout, "--out", str(path)]) == 0
    assert linkage.load(path).sweep(pitch=[-5, 5]).reachable.all()
    before = path.read_text()
    assert main(["new", layout, "--out", str(path)]) == 2
    assert path.read_text() == before


def test_csv_tables_agree_with_the_library(side_by_side, tmp_path):
    import pandas as pd

    from linkage.__main__ import main

    example = Path(__file__).parents[1] / "examples" / "side_by_side.toml"
    assert main([str(example), "--csv", str(tmp_path)]) == 1
    from linkage.results.csv_files import is_table

    assert all(is_table(path.name) for path in tmp_path.iterdir())
    assert main([str(example), "--csv", str(tmp_path)]) == 2  # nothing is replaced unasked
    data = pd.read_csv(tmp_path / "motion.csv")
    motion = side_by_side.sweep(pitch=data["pitch °"].to_numpy(), roll=data["roll °"].to_numpy())
    assert np.abs(data["elevator °"] - motion.deflection("elevator")).max() < 1e-9
    told, found = pd.read_csv(tmp_path / "clearance.csv"), linkage.clearance(side_by_side)
    found = found[~found["rule"].isin(["stop", "waived"])].set_index("pair").loc[told["pair"]]
    assert len(told) == len(found) == len(set(told["pair"]))
    found = found.reset_index()
    assert np.abs(told["proven in"] * 25.4 - found["proven"]).max() < 1e-9
    assert np.abs(told["at roll °"] - found["roll"]).max() < 1e-9
    told, found = pd.read_csv(tmp_path / "stops.csv"), linkage.find_stops(side_by_side)
    assert np.abs(told["reached at °"] - found["angle"]).max() < 1e-9
    assert list(told["why"]) == list(found["reason"])


@pytest.mark.parametrize(("name", "code"), [("side_by_side", 1), ("side_by_side_fixed", 0)])
def test_both_faults_are_found_and_the_fix_clears_them(name, code):
    path = Path(__file__).parents[1] / "examples" / f"{name}.toml"
    done = subprocess.run([sys.executable, "-m", "linkage", str(path)], capture_output=True,
                          text=True, check=False)
    assert (done.returncode, done.stderr) == (code, "")
    lines = done.stdout.splitlines()
    missed = [line for line in lines if line.startswith("MISS  ")]
    if code == 0:
        assert not missed
        assert lines[-1].startswith("Nothing that was judged is missed, as computed (as "
                                    "drawn): 3 directions, ")
        assert lines[-1].endswith("; but not everything could be judged: clearance of what is "
                                  "not drawn; strength of pivots and hinges of cross tube; "
                                  "net section of cross tube/elevator arm and 13 more.")
        return
    touch, short, twisted, bent = missed
    assert touch.startswith("MISS  clearance: stick left/shaft | airframe/seat pan left: touch "
                            "(0.250 in required)")
    assert touch.endswith("at 17.2° aft, 21.7° right")  # where the stops end the travel
    assert short.startswith("MISS  clearance: elevator rear/tube | airframe/tail frame: 0.")
    assert ", 0.500 in required" in short
    assert bent.startswith("MISS  load: cross tube: margin of its tube at FS 61.000, BL -1.200")
    assert twisted.startswith("MISS  load: tail idler/arm: margin of its plate at FS 140")
