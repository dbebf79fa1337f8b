"""Proofs for every build, held against builds written out as files of their own."""

from pathlib import Path

import numpy as np
import pytest

import linkage
from linkage.clearances import Stage, prove, scene_of
from linkage.clearances.built import BuiltSearch
from linkage.clearances.built_runs import _InSpans, _of_whole_rods
from linkage.clearances.cell_bounds import bounds
from linkage.clearances.travel import Travel
from linkage.model.file import parse_model
from linkage.motion import Builds, System

EXAMPLES = Path(__file__).parents[1] / "examples"
TOLERANCE = 0.4

# Numbers between << and >> are hardpoint coordinates, which a build may have otherwise.
MACHINE = """
length = "mm"
[input.pitch]
travel = [-25, 40]
[body.crank]
pivot = [<<0>>, <<0>>, <<0>>]
through = [<<5>>, <<30>>, <<4>>]
input = "pitch"
positive = "along axis"
points = { pin = [<<8>>, <<10>>, <<55>>] }
[body.horn]
pivot = [<<120>>, <<5>>, <<10>>]
through = [<<121>>, <<45>>, <<6>>]
points = { pin = [<<118>>, <<12>>, <<62>>], tip = [<<150>>, <<5>>, <<90>>] }
solid.ball = { kind = "sphere", at = "tip", diameter = DB }
solid.arm = { kind = "box", corner = [100, 0, 20], opposite = [110, 8, 50], grow = 0 }
[rod.link]
ends = ["crank/pin", "horn/pin"]
length = <<112.5>>
diameter = DR
[airframe.solid.wall]
kind = "box"
corner = [196, -40, 40]
opposite = [205, 60, 130]
[airframe.solid.post]
kind = "tube"
along = [[60, -60, 75], [60, 80, 75]]
diameter = 6
[tolerance]
hardpoint = 0.4
rod = 0.3
"""


def build(signs, grown=0.0):
    """The machine as a file in which each number marked is off as told, and solids are grown."""
    parts = MACHINE.replace(", grow = 0", "").replace('positive = "along axis"\n', "")
    parts = parts.replace("travel = [-25, 40]", 'travel = [-25, 40]\npositive = "along axis"')
    pieces = parts.split("<<")
    text = pieces[0]
    for k, piece in enumerate(pieces[1:]):
        number, rest = piece.split(">>", 1)
        size = 0.3 if number == "112.5" else TOLERANCE
        text += str(float(number) + size * signs[k]) + rest
    return text.replace("DB", str(10 + 2 * grown)).replace("DR", str(6 + 2 * grown))


COUNT = MACHINE.count("<<")


@pytest.fixture(scope="module")
def proof():
    system = System(parse_model(build(np.zeros(COUNT))))
    stage = Stage(scene_of(system), list(scene_of(system).pairs.values()))
    return system, stage, prove(stage, system.travel_box(), 0.05, system.model.tolerance, 25.0)


@pytest.mark.parametrize("seed", range(40))
def test_no_build_undercuts_the_proof(proof, seed):
    """Axes through two points tilt with both; balls and tubes are as much bigger."""
    _, stage, found = proof
    rng = np.random.default_rng(seed)
    signs = rng.choice([-1.0, 1.0], COUNT) if seed % 4 else rng.uniform(-1, 1, COUNT)
    other = System(parse_model(build(signs, TOLERANCE)))
    motion = other.sweep(pitch=np.linspace(-25, 40, 521))
    for name, gap in linkage.gaps(motion, [pair.name for pair in stage.pairs]).items():
        k = next(i for i, pair in enumerate(stage.pairs) if pair.name == name)
        assert np.nanmin(gap) >= found.proven[k] - 1e-9, name


def test_the_worst_build_is_a_build_and_near_the_bound(proof):
    """The least gap is met again in a file of that build; builds at random are no worse."""
    system, stage, found = proof
    builds = Builds.of(system, system.model.tolerance)
    assert not found.open_at
    for k, pair in enumerate(stage.pairs):
        assert np.abs(found.shares[k]).max() <= 1
        assert found.proven[k] <= found.least[k] + 1e-9
        signs = np.zeros(COUNT)
        order = ["crank/pivot", "crank", "crank/pin", "horn/pivot", "horn", "horn/pin"]
        at = 0
        for name in order:
            first = builds.places.get(name, builds.throughs.get(name))
            signs[at:at + 3] = found.shares[k][first:first + 3]
            at += 3
        at += 3  # the tip drives nothing: the ball on it is moved by it
        signs[at] = found.shares[k][builds.lengths["link"]]
        motion = System(parse_model(build(signs))).sweep(pitch=found.place[k, 0])
        gap = float(linkage.gaps(motion, [pair.name])[pair.name])
        # what is left is what the solids themselves are off by, two ways for the ball on a point
        assert gap - 4.2 * TOLERANCE * np.sqrt(3) <= found.least[k] <= gap + 1e-9, pair.name


def test_the_bound_as_built_loses_less_as_tolerances_shrink():
    """What is lost is of second order in the tolerances, so under a fifth of what small ones cost.

    At ten times these it is as much again as they cost: both ends of an axis tilt it.
    """
    text = build(np.zeros(COUNT)).replace("hardpoint = 0.4", "hardpoint = 0.04").replace(
        "rod = 0.3", "rod = 0.03")
    system = System(parse_model(text))
    stage = Stage(scene_of(system), list(scene_of(system).pairs.values()))
    found = prove(stage, system.travel_box(), 0.01, system.model.tolerance, 25.0)
    drawn = prove(stage, system.travel_box(), 0.001, None, 25.0)
    known = (drawn.least > 0) & (drawn.least < 25)
    cost = drawn.least[known] - found.least[known]
    assert known.any()
    assert (found.least[known] - found.proven[known] <= 0.2 * cost).all()


def test_a_solid_on_a_turned_part_is_off_along_the_parts_own_axes():
    """A pin 45 degrees round is off by the root of two times the tolerance."""
    text = """
length = "mm"
[input.pitch]
travel = [44.9, 45.1]
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
solid.pin = { kind = "sphere", at = [0, 0, 100], diameter = 2 }
[airframe.solid.block]
kind = "box"
corner = [X, -50, 0]
opposite = [300, 50, 300]
[tolerance]
hardpoint = 0.5
"""
    system = System(parse_model(text.replace("travel = [44.9, 45.1]", "travel = [0, 45]")
                                .replace("X", "80")))
    row = linkage.clearance(system, built=True).iloc[0]
    # at 45 degrees the pin's two coordinates off by 0.5 each add up along FS, as do the pivot's;
    # the block's one
    pivot = 0.5 * (1 - np.cos(np.pi / 4)) + 0.5 * np.sin(np.pi / 4)
    true = 80 - 100 * np.sin(np.pi / 4) - 1 - 0.5 * np.sqrt(2) - pivot - 0.5
    assert row["proven"] <= true + 1e-9
    assert row["least"] == pytest.approx(true, abs=0.02)


@pytest.mark.parametrize("name", ["servo_arm", "aileron_run", "tandem"])
def test_examples_close_as_built(name):
    system = linkage.load(EXAMPLES / f"{name}.toml")
    table = linkage.clearance(system, built=True)
    assert not table.attrs["open"]
    assert (table["proven"] <= table["least"] + 1e-9).all()
    decided = (table["proven"] >= table["required"]) | (table["least"] < table["required"])
    assert decided.all()


def test_a_rod_that_is_cut_along_is_held_from_end_to_end():
    """The spans of a rod square to the stations: its middle line holds all of them, not some.

    Their ends have one station but for rounding, so that an order by it is no order along the rod.
    """
    text = build(np.zeros(COUNT))
    for old, new in (("[8.0, 10.0, 55.0]", "[57.3, -700.0, 55.1]"), ("length = 112.5", ""),
                     ("[118.0, 12.0, 62.0]", "[57.3, 600.0, 83.7]")):
        assert old in text
        text = text.replace(old, new)
    system = System(parse_model(text))
    scene = scene_of(system)
    pair = scene.pair_of("link/tube", "airframe/wall")
    stage = Stage(_InSpans(scene), [pair])
    rods = np.flatnonzero(stage.of_rod[stage.seat_of])
    assert len(rods) > 3
    ends, posture = stage.seats[stage.seat_of[rods[0]]].origin, system.sweep(pitch=0.0)
    spines = stage.spines(posture.flat_posture(), rods, np.zeros(1, int))[..., 0]  # (3, 2, rods)
    way = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
    for spine, piece in zip(spines.transpose(2, 1, 0), rods, strict=True):
        along = (stage.pieces[piece].points - ends[0]) @ way
        low, high = np.sort((spine - ends[0]) @ way)
        assert low <= along.min() + 1e-6
        assert along.max() - 1e-6 <= high


def test_how_deep_a_rod_lies_in_a_solid_no_span_of_it_says():
    """A span comes out of a plate along the rod, the rod that it is cut of only past an edge."""
    system = System(parse_model(build(np.zeros(COUNT)).replace(
        'kind = "tube"\nalong = [[60, -60, 75], [60, 80, 75]]\ndiameter = 6',
        'kind = "box"\ncorner = [60, -40, 20]\nopposite = [64, 60, 110]')))
    scene, tolerance = scene_of(system), system.model.tolerance
    pair, travel = scene.pair_of("link/tube", "airframe/post"), Travel.of(system.travel_box())
    drawn = prove(Stage(scene, [pair]), travel, 0.05, None, 25.0)
    search = BuiltSearch(Stage(_InSpans(scene), [pair]), travel, (0.05, tolerance, 25.0),
                         Builds.of(system, tolerance))
    found = _of_whole_rods(search)
    assert drawn.least[0] < found.least[0] < -3  # the spans alone say less than the rod
    assert np.isfinite(found.proven[0])
    assert found.proven[0] <= drawn.least[0]


@pytest.mark.parametrize("name", ["servo_arm", "tandem"])
def test_rows_that_no_piece_has_change_no_bound(name, monkeypatch):
    """Bounds by the rows that count against those by all rows, where some solids lack some."""
    system = linkage.load(EXAMPLES / f"{name}.toml")
    box, tolerance = system.travel_box(), system.model.tolerance
    stage = Stage(scene_of(system), list(scene_of(system).pairs.values()))
    rng = np.random.default_rng(0)
    which = rng.choice(np.flatnonzero(~stage.rough), 100)
    centres = np.stack([rng.uniform(*ends, 20) for ends in box.values()], axis=1)
    cells = list(box), centres, np.full_like(centres, 2.0)
    items = which, rng.integers(0, 20, 100)
    counted = bounds(stage, items, cells, tolerance).low
    assert np.isfinite(counted).any()
    monkeypatch.setattr(Stage, "rows_of", lambda _, posture, items: np.arange(posture.rows))
    np.testing.assert_allclose(counted, bounds(stage, items, cells, tolerance).low, atol=1e-9)
