"""The checker's enclosures hold every joint and piece: against the library, sampled in each cell.

The library's postures are checked elsewhere against Newton's method and MuJoCo; plate areas are
checked against Shapely's.
"""

import math
from pathlib import Path

import numpy as np
import pytest
from flint import arb
from shapely.geometry import Polygon
from shapely.ops import unary_union
from systems.model_files import COUPLED, LEVER_WRITTEN_OUT, LEVERS
from systems.motion_models import EDGE_OF_REACH, SWING_AND_BEAM

import linkage
from linkage.checker import together
from linkage.checker.leaves import Book
from linkage.checker.lengths import Refused, length
from linkage.checker.motion import Motion, OutOfReach
from linkage.checker.reading import read
from linkage.checker.solids import pieces_of
from linkage.checker.taylor import Table, Taylor, turn

ROOT = Path(__file__).parents[1]
CASES = ROOT / "tests" / "oracle" / "cases"
FILES = [*(ROOT / "examples" / f"{n}.toml" for n in ("tandem", "elevons", "side_by_side")),
         *(CASES / f"{n}.toml" for n in ("group_of_three", "coupled_past_half_a_turn",
                                         "two_input_edge", "tilted_axis"))]
PLACES, SHARES = 8, 20


def value_at(taylor, share):
    """What a Taylor's polynomial gives, and how far it may be off."""
    total = 0.0
    for k, x in taylor.c.items():
        total += float(x.mid()) * math.prod(share[i] for i in taylor.table.names[k])
    return total, taylor.rest


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_every_joint_is_held_all_over_a_cell(file):
    rng = np.random.default_rng(3)
    machine = read(file.read_text())
    motion = Motion(machine)
    system, held = linkage.load(file), 0
    driven = system.travel_box()
    for _ in range(PLACES):
        cell = []
        for name in motion.names:
            low, high = driven.get(name, (0.0, 0.0))
            half = (high - low) / 2 * 10.0**rng.uniform(-3, -0.3)
            middle = rng.uniform(low + half, high - half)
            cell.append((middle - half, middle + half))
        share = rng.uniform(-1, 1, (SHARES, len(cell)))
        share[:4] = np.sign(share[:4])
        at = {n: (a + b) / 2 + (b - a) / 2 * share[:, k]
              for k, (n, (a, b)) in enumerate(zip(motion.names, cell, strict=True)) if n in driven}
        posture = system.sweep(**at).posture
        for joint in motion.steps:
            true = np.broadcast_to(posture.states[joint].value, (SHARES,))
            try:
                value = motion.lifted(joint, tuple(cell))
            except OutOfReach:
                assert np.isnan(true).all(), joint
                continue
            for x, s in zip(true, share, strict=True):
                if np.isfinite(x) and math.isfinite(value.rest):
                    polynomial, rest = value_at(value, s)
                    off = x - polynomial
                    if motion.steps[joint][0] == "close" and not machine.joints[joint].slides:
                        off = math.remainder(off, 2 * math.pi)  # a rod alone tells no whole turns
                    assert abs(off) <= rest + 1e-9, (joint, cell)
                    held += 1
    assert held >= PLACES * SHARES / 2


def test_cos_sin_and_products_are_held_all_over():
    rng, table = np.random.default_rng(4), Table(2)
    for _ in range(40):
        a, b = (Taylor(table, {k: arb(float(x)) for k, x in
                               enumerate(rng.normal(size=6) * [1, .3, .3, .1, .1, .1])},
                       float(rng.choice([0.0, 0.01]))) for _ in range(2))
        product, (cos, sin) = a * b, turn(a)
        for s in np.clip(rng.uniform(-1.2, 1.2, (60, 2)), -1, 1):
            off = rng.uniform(-1, 1, 2)
            x, y = (value_at(k, s)[0] + o * k.rest for k, o in zip((a, b), off, strict=True))
            for found, true in ((product, x * y), (cos, math.cos(x)), (sin, math.sin(x))):
                polynomial, rest = value_at(found, s)
                assert abs(true - polynomial) <= rest + 1e-12
                assert found.low() - 1e-12 <= true <= found.high() + 1e-12


@pytest.mark.parametrize("name", ["aileron_run", "side_by_side"])
def test_the_pieces_of_a_plate_are_the_plate(name):
    """Together they have the area and the outline of the plate that the library cuts up."""
    from linkage.clearances import scene_of

    machine = read((ROOT / "examples" / f"{name}.toml").read_text())
    system, count = linkage.load(ROOT / "examples" / f"{name}.toml"), 0
    for solid, shape in list(machine.solids.items()):
        if shape["kind"] not in ("plate", "washer") or shape.get("turned"):
            continue
        mine = pieces_of(shape)
        whole = unary_union([Polygon(p.outline).buffer(0) for p in mine])
        theirs = unary_union([
            Polygon([tuple(mine[0].local(c)[:2]) for c in p.points[:len(p.points) // 2]])
            .buffer(0) for p in scene_of(system).solid(solid).pieces])
        assert whole.symmetric_difference(theirs).area <= 1e-4 * max(1.0, theirs.length)
        assert whole.area == pytest.approx(sum(Polygon(p.outline).area for p in mine), rel=1e-6)
        count += 1
    assert count


@pytest.mark.parametrize(("text", "mm"), [("1-1/2 in", 38.1), ("-1 1/2 in", -38.1), ("3.2 mm", 3.2),
                                          ("-1/8 in", -3.175), (2, 50.8)])
def test_lengths_are_read(text, mm):
    assert length(text, 25.4) == pytest.approx(mm, rel=1e-15)


OVER = """
length = "mm"
input.roll.travel = [-20, 20]
[body.stick]
pivot = [0, 0, 0]
axis = "fore-aft"
input = "roll"
points = { arm = [0, 0, 100], low = [0, 0, 50] }
[body.crank]
pivot = [0, 200, 0]
axis = "fore-aft"
points = { arm = [0, 200, 100], low = [0, 200, 30] }
[rod.link]
ends = ["stick/arm", "crank/arm"]
diameter = 6
"""
MORE = {"rod": '\nrod.more.ends = ["stick/low", "crank/low"]', "coupling":
        '\ncoupling.more = { bodies = ["stick", "crank"], ratio = 3.0 }'}


@pytest.mark.parametrize("kind", MORE)
def test_a_rod_or_coupling_that_settles_no_joint_is_refused(kind):
    """The library refuses the file; a checker of its own must not pass over what holds a part."""
    Motion(read(OVER))
    with pytest.raises(Refused, match="no joint is left for rod or coupling"):
        Motion(read(MORE[kind] + OVER))


def test_a_size_below_0_is_refused():
    with pytest.raises(Refused, match="a size is -6"):
        read(OVER.replace("diameter = 6", "diameter = -6"))


def test_a_twin_lies_on_the_other_side_however_its_place_is_written():
    places = {"left a": ["1 in", "-3 in", 0], "left b": [0, "+1-1/2 in", 0], "left c": [0, -2, 0]}
    made = read('length = "in"\nmirror = { left = "right" }\n[airframe]\npoints = { '
                + ", ".join(f'"{name}" = {place}' for name, place in places.items()) + " }")
    for name in places:
        (x, y, z), twin = (made.points[f"airframe/{k}"] for k in
                           (name, name.replace("left", "right")))
        assert twin == (x, -y, z)
        assert abs(y) > 38


@pytest.mark.parametrize(("more", "way"), LEVER_WRITTEN_OUT)
def test_a_stop_of_an_input_of_one_side_has_its_twin_at_the_mirrored_end(more, way):
    """Which end that is: by turning both axes with SciPy, in test_twins.py."""
    stop = read(LEVERS + more).stops["right in"]
    assert (stop["input"], stop["side"]) == ("right lever", "greatest" if way > 0 else "least")


@pytest.mark.parametrize(("axis", "ratio"), [("[1, 0, 0]", 2), ("[-1, 0, 0]", -2)])
def test_a_coupling_of_an_arm_written_for_both_sides_has_its_twin_turned(axis, ratio):
    """By SciPy's turns, in test_twins.py."""
    driven = COUPLED[:COUPLED.index("[servo")]
    assert read(driven.replace("AXIS", axis)).couplings["link right"]["ratio"] == ratio


def test_a_table_of_hardpoints_is_read_with_its_heading():
    file = ROOT / "notebooks" / "one_seat.toml"
    machine, system = read(file.read_text(), file.parent), linkage.load(file)
    for name, place in machine.points.items():
        if not name.endswith("/pivot"):
            assert place == pytest.approx(system.model.position(name)), name


BEHIND = EDGE_OF_REACH + SWING_AND_BEAM + """
[body.beam.solid]
ball = { kind = "sphere", at = "p", diameter = 10 }
[airframe.solid]
ball = { kind = "sphere", at = [PLACE], diameter = 10 }
"""


def test_rods_together_behind_an_edge_of_reach_are_not_lost_with_the_middle_of_a_cell(
        tmp_path, monkeypatch):
    """The crank reaches from -27.7 degrees on: a cell from -29.4 on has its middle out of reach.

    A ball of the airframe lies where the beam's own is at -27 (the library's `point`, which
    Newton's method and MuJoCo check elsewhere); a plane without sense must not show them apart.
    """
    monkeypatch.setattr(together, "BOXES", 20)  # so that little is asked of them
    file = tmp_path / "behind.toml"
    file.write_text(BEHIND.replace("PLACE", "0, 500, 0"))
    motion = linkage.load(file).sweep(pitch=[-28.0, -27.0])
    assert not motion.reachable[0]
    spot = motion.point("beam/p")[1].tolist()
    file.write_text(BEHIND.replace("PLACE", ", ".join(map(repr, spot))))
    assert linkage.gaps(linkage.load(file).sweep(pitch=-27.0))["beam/ball | airframe/ball"] < -9
    book = Book(read(file.read_text()))
    pair, = book.pairs.all()
    sides = tuple(book.sides(pair))
    assert not book.holds(pair, sides, ((-29.4, -26.6),), ([[0.0, 1.0, 0.0], [0.0] * 3], 1.0))
    assert book.nowhere(pair, sides, ((-40.0, -30.0),))


def test_rods_together_are_held_on_both_sides_of_an_edge_of_reach():
    """Where no root can be followed, boxes of the joints hold what is in reach and no cell beyond.

    That the edge is near 38.92 degrees is a sweep of the library's.
    """
    file = CASES / "rods_together_edge.toml"
    system, motion = linkage.load(file), Motion(read(file.read_text()))
    for low, high in ((38.9, 39.3), (39.2, 39.6)):
        posture = system.sweep(pitch=np.linspace(low, high, SHARES)).posture
        for joint in ("swing", "beam"):
            true = posture.states[joint].value
            try:
                cos, sin, value = motion.state(joint, ((low, high),))
            except OutOfReach:
                assert np.isnan(true).all()
                continue
            assert low < 39
            assert value.rest == math.inf  # of whole turns nothing is told
            assert cos.spread < 0.5
            for x in true[np.isfinite(true)]:
                assert cos.low() <= math.cos(x) <= cos.high()
                assert sin.low() <= math.sin(x) <= sin.high()
