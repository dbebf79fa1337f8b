"""Single bounds of the checker, each asked for more than holds: by numbers of the test's own."""

import math
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from flint import arb
from scipy.optimize import brentq, fsolve
from systems.motion_models import EDGE_OF_REACH, SWING_AND_BEAM

import linkage
from linkage.checker.directions import Directions
from linkage.checker.leaves import Book
from linkage.checker.loops import closed
from linkage.checker.motion import Motion
from linkage.checker.reading import read
from linkage.checker.solids import Line
from linkage.checker.taylor import Table, Taylor, constant
from linkage.checker.travel import Stop

CRANKS = """
length = "mm"
input.pitch.travel = [-10, 10]
[body.arm]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = { pin = [0, 0, 60] }
[body.crank]
pivot = [100, 0, 0]
axis = "lateral"
points = { pin = [100, 0, 60] }
[rod.link]
ends = ["arm/pin", "crank/pin"]
"""


def test_a_turn_is_followed_by_whole_turns_only_where_two_parts_of_the_way_tell_them():
    """Each part has the turn where they meet anywhere in what it says, but for whole turns."""
    rng, motion = np.random.default_rng(6), Motion(read(CRANKS))
    loop, shown = motion.steps["crank"][1], 0
    for _ in range(400):
        true, before, after = rng.uniform(-20, 20), rng.uniform(0, 1), rng.uniform(0, 3.1)
        at, here = true + rng.choice([-1, 1]) * before, true + rng.choice([-1, 1]) * after
        part = Taylor(motion.table, {0: arb(here - 2 * math.pi * rng.integers(-3, 4))}, after)
        loop.motion = SimpleNamespace(state=lambda joint, cell, part=part: (None, None, part))
        end = loop.further((arb(at), before), ())
        if end is not None:
            assert abs(float(end[0].mid()) - here) < 1e-9
            assert end[1] >= after
            shown += 1
    assert shown > 50


def test_a_turn_over_a_cell_is_told_by_whole_turns_only_where_it_is_narrow():
    """A cell about neutral, where the crank is not turned: by anything that holds that."""
    rng, motion, cell = np.random.default_rng(7), Motion(read(CRANKS)), ((-0.1, 0.1),)
    loop, shown = motion.steps["crank"][1], 0
    for _ in range(200):
        wide = rng.uniform(0, 6)
        here = rng.choice([-1, 1]) * wide
        turn = Taylor(motion.table, {0: arb(here - 2 * math.pi * rng.integers(-3, 4))}, wide)
        told = loop.lifted(turn, cell)
        if math.isfinite(told.rest):
            assert abs(float(told.centre.mid()) - here) < 1e-9
            shown += 1
    assert shown > 50


def test_newton_shows_no_root_where_there_is_none():
    """The root of t^2 = 1 + s x is not real all over -1 to 1 where s is above 1."""
    table, shown = Table(1), 0
    for s in np.linspace(0.05, 1.5, 146):
        c = Taylor(table, {0: arb(1), 1: arb(float(s))})
        found = closed(table, lambda t, c=c: (t * t - c, t * 2), 2.0, (1.0, 1.0))
        if found is not None:
            assert s < 1
            shown += 1
            for x in np.linspace(-1, 1, 21):
                at = sum(float(k.mid()) * x**power for power, k in found.c.items())
                assert abs(at - math.sqrt(1 + s * x)) <= found.rest
    assert shown > 50


TOGETHER = """
length = "mm"
input.pitch.travel = [-5, 5]
[body.crank]
pivot = [100, 0, 0]
axis = "lateral"
input = "pitch"
points = { r = [100, 0, 10] }
""" + SWING_AND_BEAM


def misfits(turns):
    """How far both rods at neutral miss their lengths, squared, in FS and WL."""
    def turned(x, z, about, turn):
        x, z, c, s = x - about[0], z - about[1], math.cos(turn), math.sin(turn)
        return about[0] + x * c + z * s, about[1] + z * c - x * s

    return [math.dist(turned(*turned(*end, (200, 60), turns[1]), (200, 0), turns[0]), far)**2
            - math.dist(end, far)**2 for end, far in (((190, 100), (100, 10)),
                                                      ((220, 70), (300, 60)))]


def test_rods_together_are_never_taken_to_go_over_into_another_assembly():
    """Newton in floats leads anywhere: to another root here, which SciPy finds."""
    motion = Motion(read(TOGETHER))
    group, other = motion.steps["beam"][1], None
    starts = np.random.default_rng(1).uniform(-3, 3, (40, 2))
    roots = [x for x, _, told, _ in (fsolve(misfits, k, full_output=True) for k in starts)
             if told == 1 and np.abs(x).max() > 0.1 and np.abs(misfits(x)).max() < 1e-6]
    other, place, newton = roots[0].tolist(), ((2.0, 2.0),), group.newton
    assert group.root(place) is not None
    group.roots.clear()
    group.newton = lambda cell, guess: newton(cell, other if cell[0][1] > 0 else guess)
    assert max(map(abs, group.newton(place, [0.0, 0.0]))) > 0.1
    assert group.root(place) is None
    group.newton = lambda cell, guess: newton(cell, other)
    assert group.root(place) is None


def test_rods_together_have_no_root_in_a_cell_across_an_edge_of_reach():
    """It is near 38.92 degrees in a sweep of the library's, which has every root before it."""
    file = Path(__file__).parent / "oracle" / "cases" / "rods_together_edge.toml"
    system, motion = linkage.load(file), Motion(read(file.read_text()))
    group, shown = motion.steps["beam"][1], 0
    for half in (0.05, 0.2, 0.4, 0.8):
        posture = system.sweep(pitch=38.5 + half * np.linspace(-1, 1, 9)).posture
        true = [posture.states[joint].value for joint in group.joints]
        found = group.enclosed(((38.5 - half, 38.5 + half),), [float(k[4]) for k in true])
        if found is not None:
            assert half < 0.43
            shown += 1
            for held, turns in zip(found[0], true, strict=True):
                for x, turn in zip(np.linspace(-1, 1, 9), turns, strict=True):
                    at = sum(float(k.mid()) * x**power for power, k in held.c.items())
                    assert abs(turn - at) <= held.rest + 1e-9
    assert shown > 1


def test_boxes_of_a_cell_serve_no_cell_that_is_not_wholly_in_it():
    group = Motion(read(TOGETHER)).steps["beam"][1]
    boxes = [((0.0, 0.1), (0.0, 0.1))]
    group.parted[(0.0, 1.0), (0.0, 1.0)] = boxes
    assert group.about_cell(((0.0, 0.5), (0.5, 1.0))) == boxes
    for cell in (((0.0, 0.5), (0.5, 1.5)), ((0.0, 0.5), (2.0, 3.0)), ((-1.0, 0.5), (0.0, 1.0))):
        for span in group.about_cell(cell)[0]:
            assert span[0] < -math.pi < math.pi < span[1]


TWO = """
length = "mm"
input.pitch.travel = [-1, 1]
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
solid.one = { kind = "box", corner = [-5, -5, -5], opposite = [5, 5, 5] }
[airframe.solid]
other = { kind = "box", corner = [15, -5, -5], opposite = [25, 5, 5] }
"""


@pytest.mark.parametrize(("body", "part", "rest", "gap"), [
    ("stick", 0, 0.5, 9.5), ("stick", 1, 0.1, 9.5), ("airframe", 0, 0.5, 9.5),
    ("airframe", 1, 0.1, 8.5), ("airframe", 1, 0.0, 10.0)])
def test_what_carries_a_solid_is_off_by_its_rest_either_way(body, part, rest, gap):
    """Boxes 10 mm apart along FS: by hand, either moved by a rest or grown by one per mm of it."""
    book = Book(read(TWO))
    pair, = book.pairs.all()
    sides, table = tuple(book.sides(pair)), book.motion.table

    def seat(carriers, frame, cell):
        rows = [[constant(table, float(i == k)) for k in range(3)] for i in (-1, 0, 1, 2)]
        if carriers == (body,):
            rows[part][0] = Taylor(table, rows[part][0].c, rest)
        return rows

    book.motion.seat = seat
    plane = [[1.0, 0.0, 0.0], [0.0, 0.0, 0.0]]
    if pair.names[0].startswith("airframe"):
        plane[0][0] = -1.0
    assert book.bound(pair, sides, ((-1.0, 1.0),), plane) <= gap
    assert book.holds(pair, sides, ((-1.0, 1.0),), (plane, gap - 1e-6))
    assert not book.holds(pair, sides, ((-1.0, 1.0),), (plane, gap + 1e-6))


def test_a_corner_behind_the_foremost_counts_with_its_own_rest():
    """The foremost corner lies on BL 0 and is not moved; those on BL 5 come 0.5 mm nearer."""
    book = Book(read(TWO.replace("[15, -5, -5]", "[15, 0, -5]")))
    pair, = book.pairs.all()
    sides, table = tuple(book.sides(pair)), book.motion.table
    sign = -1.0 if pair.names[0].startswith("airframe") else 1.0

    def seat(carriers, frame, cell):
        rows = [[constant(table, float(i == k)) for k in range(3)] for i in (-1, 0, 1, 2)]
        if carriers == ("airframe",):
            rows[2][0] = Taylor(table, {}, 0.1)
        return rows

    book.motion.seat = seat
    for slant in (-1e-3, 0.0, 1e-3):
        plane = [[sign, sign * slant, 0.0], [0.0] * 3]
        assert book.holds(pair, sides, ((-1.0, 1.0),), (plane, 9.4))
        assert not book.holds(pair, sides, ((-1.0, 1.0),), (plane, 9.5 + 1e-6))


def test_a_plane_is_as_long_as_it_is_anywhere_in_its_cell():
    """The gap along FS is 15 - 7.5 x + 3.75 x^2, and the plane 1 + x / 2 long."""
    book = Book(read(TWO))
    pair, = book.pairs.all()
    sides, table = tuple(book.sides(pair)), book.motion.table
    sign = -1.0 if pair.names[0].startswith("airframe") else 1.0

    def seat(carriers, frame, cell):
        rows = [[constant(table, float(i == k)) for k in range(3)] for i in (-1, 0, 1, 2)]
        if carriers == ("airframe",):
            rows[0][0] = Taylor(table, {0: arb(5), 1: arb(-7.5), 2: arb(3.75)})
        return rows

    book.motion.seat = seat
    plane = [[sign, 0.0, 0.0], [sign / 2, 0.0, 0.0]]
    least = min(15 - 7.5 * x + 3.75 * x * x for x in np.linspace(-1, 1, 201))
    found = book.bound(pair, sides, ((-1.0, 1.0),), plane)
    assert 0 < found <= least
    assert not book.holds(pair, sides, ((-1.0, 1.0),), (plane, least + 1e-6))


def test_a_side_is_at_a_joint_only_with_what_its_corners_may_be_off():
    book, ball = Book(read(TWO)), SimpleNamespace(balls=[((0.0, 0.0, 0.0), 10.0)])
    for inside, at in ((2e-9, False), (8e-9, True)):
        side = SimpleNamespace(solid=SimpleNamespace(at_neutral=lambda corner: corner),
                               pieces=[Line(((9.0 - inside, 0.0, 0.0),) * 2, 1.0)])
        assert book.at_joint(ball, [side]) == at


REACH = "tolerance.rod = 0.5" + EDGE_OF_REACH + """
[body.crank.solid]
ball = { kind = "sphere", at = "p", diameter = 10 }
[airframe.solid]
ball = { kind = "sphere", at = [0, 500, 0], diameter = 10 }
"""


def test_what_only_some_builds_reach_is_shown_by_nothing():
    """At -28 degrees the rod is too short as drawn, and long enough in a build: by hand."""
    far = math.dist((100, 0), (80 * math.sin(math.radians(-28)), 80 * math.cos(math.radians(-28))))
    assert math.hypot(100, 30) + 50 < far < math.hypot(100, 30) + 0.5 + 50
    cell, plane = ((-28.0, -28.0),), [[0.0, 1.0, 0.0], [0.0] * 3]
    for built in (False, True):
        book = Book(read(REACH), built)
        pair, = book.pairs.all()
        sides = tuple(book.sides(pair))
        assert book.holds(pair, sides, cell, (plane, 1.0)) == (not built)
        assert book.free(pair, sides, cell, plane, 1.0) == (not built)
        assert book.nowhere(pair, sides, cell) == (not built)
        assert Directions(book, None).goes("crank", 0, cell, 1) == (not built)


def test_a_cell_across_an_edge_of_reach_is_not_out_of_reach():
    """The rod reaches at pitch -25 (152.2 mm of the 154.4 that it can span), and not beyond -28."""
    turn = math.radians(-25)
    assert math.hypot(100 - 80 * math.sin(turn), 80 * math.cos(turn)) < math.hypot(100, 30) + 50
    book = Book(read(REACH))
    pair, = book.pairs.all()
    assert not book.nowhere(pair, tuple(book.sides(pair)), ((-32.0, -25.0),))
    assert book.nowhere(pair, tuple(book.sides(pair)), ((-40.0, -32.0),))


def test_bearings_beyond_an_axis_through_two_points_are_off_by_their_lever():
    """At three runs from the first point: by hand 2 times its way one way, 3 of the other's."""
    text = REACH.replace("axis = \"lateral\"\npoints = { p = [100", "through = [100, 50, 0]\n"
                         "bearings = [[100, 150, 0]]\npoints = { p = [100")
    text = text.replace("tolerance.rod", "tolerance.hardpoint")
    radii = [reach for _, reach in Book(read(text), True).pairs.held("crank")]
    assert radii == pytest.approx([25.4 - k * 0.5 * math.sqrt(3) - 0.5 for k in (1, 1, 5)])


SPACED = """
length = "mm"
input.pitch.travel = [-20, 20]
tolerance.spacer = 1
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
solid.ball = { kind = "sphere", at = [0, 0, 100], diameter = 10 }
[airframe.solid]
ball = { kind = "sphere", at = [40, 0, 100], diameter = 10 }
[stop.aft]
input = "pitch"
side = "greatest"
between = ["stick/ball", "airframe/ball"]
spacer = { on = "airframe/ball", thickness = 5 }
"""


def test_a_spacer_is_as_thin_and_as_thick_as_its_tolerance_has_it():
    """Balls with radii of 5, 5 mm and 5 of the spacer, which is 4 to 6 thick: by hand."""
    machine = read(SPACED)
    book = Book(machine, True)
    stop = Stop(book, machine.stops["aft"], None)
    spots = [0, [1.0]], [0, [1.0]]
    for apart, touching in ((14.5, False), (12.0, True)):
        at = brentq(lambda k, apart=apart: math.dist(
            (100 * math.sin(k), 100 * math.cos(k)), (40, 100)) - apart, 0.0, 0.35)
        cell = ((math.degrees(at),) * 2,)
        assert stop.touch(cell, [0, *spots]) == touching
    way = [-1.0, 0.0, 0.0] if stop.pair.names[0].startswith("airframe") else [1.0, 0.0, 0.0]
    for gap, shown in ((24.5, False), (23.0, True)):
        assert stop.all_apart(((0.0, 0.0),), way, gap) == shown
