"""Torque tubes as beams: closed forms, a published torsion case, and a frame program of its own.

The frame program is the textbook's straight beam element (Przemieniecki, Theory of Matrix
Structural Analysis, ch. 5, from memory) in NumPy; it shares no line with the library.
"""

import math

import numpy as np
import pytest
from systems.load_models import system_of

from linkage import LinkageError, loads
from linkage.loads import Statics
from linkage.loads.beams import beam_of, combined_stress
from linkage.results import Results
from linkage.units import LBF

TUBE = """
[input.pitch]
travel = [-15, 15]
[body.tube]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
tube = { diameter = 40, wall = 2, material = "2024-T3" }
bearings = [[0, -300, 0], [0, 300, 0]]
points = { grip = [0, GRIP, 400], horn = [0, 50, -60] }
[body.elevator]
pivot = [1000, 50, 0]
axis = "lateral"
points = { horn = [1000, 50, -60] }
[rod.push]
ends = ["tube/horn", "elevator/horn"]
[surface.elevator]
body = "elevator"
"""
INERTIA = math.pi / 64 * (40**4 - 36**4)


@pytest.mark.parametrize("station", [-200.0, 380.0])
def test_a_load_between_and_beyond_two_bearings(station):
    """Beam tables: P a b / L under a load between two supports, P times what overhangs at one.

    Both loads act fore and aft at neutral, so moments of both add up (Gere, Mechanics of Materials,
    ch. 4, from memory); torsion runs between grip and horn.
    """
    system = system_of(TUBE.replace("GRIP", str(station)))
    statics = Statics(system.sweep(pitch=[0.0]))
    case = next(c for c in loads.cases(system) if c.name == "pitch aft, one pilot at tube")
    beam = beam_of(statics, loads.shares(statics, case), "tube")
    pilot, span, horn = 167 * LBF, 600.0, 350.0  # from the left bearing
    rod = pilot * 400 / 60
    x = station + 300
    ends = [(pilot * (span - x) + rod * (span - horn)) / span,
            (pilot * x + rod * horn) / span]
    places = sorted({0.0, x, horn, span})
    acting = {0.0: -ends[0], span: -ends[1]}
    acting[x] = acting.get(x, 0.0) + pilot
    acting[horn] = acting.get(horn, 0.0) + rod
    for place in places:
        moment = abs(sum(force * (place - where) for where, force in acting.items()
                         if where < place))
        here = np.isclose(beam.stations[0], place - 300)
        assert here.any()
        assert beam.bending[0, here] == pytest.approx(moment, rel=1e-9, abs=1e-6)
    between = (beam.stations[0] > min(x, horn) - 300) & (beam.stations[0] < max(x, horn) - 300)
    assert beam.torsion[0].max() == pytest.approx(pilot * 400, rel=1e-9)
    assert beam.torsion[0, between] == pytest.approx(pilot * 400, rel=1e-9)


def frame(stations, forces, supports):
    """Bending moments at the nodes of a beam on two supports, one plane, by beam elements."""
    nodes = np.unique([*stations, *supports])
    stiff, load = np.zeros((2 * len(nodes),) * 2), np.zeros(2 * len(nodes))
    elements = []
    for i, length in enumerate(np.diff(nodes)):
        element = np.array([[12, 6 * length, -12, 6 * length],
                            [6 * length, 4 * length**2, -6 * length, 2 * length**2],
                            [-12, -6 * length, 12, -6 * length],
                            [6 * length, 2 * length**2, -6 * length, 4 * length**2]]) / length**3
        here = slice(2 * i, 2 * i + 4)
        stiff[here, here] += element
        elements.append((here, element))
    for station, (force, moment) in zip(stations, forces, strict=True):
        node = np.searchsorted(nodes, station)
        load[2 * node] += force
        load[2 * node + 1] += moment
    free = np.setdiff1d(np.arange(2 * len(nodes)), 2 * np.searchsorted(nodes, supports))
    bent = np.zeros(2 * len(nodes))
    bent[free] = np.linalg.solve(stiff[np.ix_(free, free)], load[free])
    return nodes, [element @ bent[here] for here, element in elements]


def test_the_cross_tube_against_a_frame_program(side_by_side):
    """Bending just before and after every place, two planes, all cases, over the travel.

    The rod's ball stands 0.3435 in beside the arm, which the file draws at BL -1.2: that is where
    the tube gets the load.
    """
    random = np.random.default_rng(5)
    statics = Statics(side_by_side.sweep(pitch=random.uniform(-13, 17, 6),
                                         roll=random.uniform(-21, 21, 6)))
    supports, name = side_by_side.model.bodies["cross tube"].bearing_stations, "cross tube"
    for case in loads.cases(side_by_side):
        share = loads.shares(statics, case)
        beam = beam_of(statics, share, name)
        for n in range(6):
            stations, pushes = [], []
            for point, force, moment in statics.pushed(name, statics.reactions):
                p, f, m = point[n] - statics.pivots[name][n], share[n] @ force[n], \
                    share[n] @ moment[n]
                arm = -1.2 * 25.4 if abs(p[1] + 1.5435 * 25.4) < 1e-6 else p[1]
                stations.append(arm)  # the tube lies along BL: its own plain axes
                off = np.array([p[0], p[1] - arm, p[2]])
                pushes.append((f, m + np.cross(off, f)))
            sides = np.zeros((2, len(np.unique([*stations, *supports]))))
            for plane, sense in ((0, -1.0), (2, 1.0)):  # deflection, turn about the other axis
                nodes, ends = frame(stations, [(f[plane], sense * m[2 - plane])
                                               for f, m in pushes], supports)
                sides[0] += np.array([0.0, *(k[3] for k in ends)])**2  # just before each node
                sides[1] += np.array([*(k[1] for k in ends), 0.0])**2  # and just after
            for node, greatest in zip(nodes, np.sqrt(sides).max(axis=0), strict=True):
                here = np.isclose(beam.stations[n], node)
                assert beam.bending[n][here].max() == pytest.approx(
                    greatest, abs=1e-6 * beam.bending[n].max())


ARM = """
[body.tube.solid]
arm = { kind = "plate", thickness = 4, at = [0, 30, 0], normal = [0, 1, 0], outline = [
  [-20, -20], [20, -20], [20, 80], [-20, 80]], u = [1, 0, 0] }
"""


def test_an_arm_beside_the_ball_takes_the_load_where_it_is_fixed():
    """Statics of a beam, by hand: a force beside the arm gives it a moment as well.

    Drawn with v down (normal x u), the plate holds the rod's hole and the axis; 20 mm beside it the
    ball's force F acts at station 50 and is handed over at 30.  At neutral all is fore and aft.
    """
    system = system_of(TUBE.replace("GRIP", "-200").replace('[body.elevator]',
                                                            ARM + '[body.elevator]', 1))
    statics = Statics(system.sweep(pitch=[0.0]))
    case = next(c for c in loads.cases(system) if c.name == "pitch aft, one pilot at tube")
    beam = beam_of(statics, loads.shares(statics, case), "tube")
    pilot = 167 * LBF
    rod = pilot * 400 / 60
    right = (pilot * 100 + rod * 350) / 600  # of the bearing at 300, about the one at -300
    here = beam.bending[0][np.isclose(beam.stations[0], 30.0)]
    assert sorted({round(float(k), 3) for k in here}) == pytest.approx(
        sorted([right * 270, right * 270 - rod * 20]), rel=1e-6)
    assert not np.isclose(beam.stations[0], 50.0).any()
    turned = beam.stations[0][(beam.torsion[0] > 1.0)]
    assert (turned.min(), turned.max()) == pytest.approx((-200, 30))


def test_torsion_of_a_published_tube():
    """Gere, 7th ed., problem 3.8-11: 2.25 / 1.75 in, 3812.32 lb·in: 2690 psi of shear."""
    stress = combined_stress(0.0, 0.0, 0.0, 3812.32, (2.25, 0.25))
    assert stress == pytest.approx(math.sqrt(3) * 2690, abs=math.sqrt(3) * 5)  # three digits


def test_bending_of_a_solid_bar_and_shear_of_one():
    """32 M / (pi d³), and 4/3 of the mean shear at the middle of a round bar (Gere, ch. 5)."""
    assert combined_stress(0, 0, 5000.0, 0, (10.0, 5.0)) == pytest.approx(
        32 * 5000 / (math.pi * 1000))
    assert combined_stress(0, 700.0, 0, 0, (10.0, 5.0)) == pytest.approx(
        math.sqrt(3) * 4 / 3 * 700 / (math.pi * 25))


def test_a_tube_that_bends_too_much_is_a_miss_and_one_without_bearings_is_not_judged():
    """What torsion alone would pass is missed by bending; without bearings that is said."""
    thin = TUBE.replace("GRIP", "380").replace("diameter = 40, wall = 2", "diameter = 25, wall = 1")
    torsion = math.sqrt(3) * 167 * LBF * 400 * 12.5 / (2 * math.pi / 64 * (25**4 - 23**4))
    verdict = Results(system_of(thin), only=("loads",)).verdict
    assert any(miss.what == "tube" and "margin of its tube at FS" in miss.how_much
               for miss in verdict.missed)
    bare = Results(system_of(thin.replace("bearings = [[0, -300, 0], [0, 300, 0]]", "")),
                   only=("loads",))
    row = bare.tube_margins.iloc[0]
    assert row["stress"] == pytest.approx(torsion, rel=1e-4)
    assert np.isnan(row["bending"])
    assert any(left.startswith("bending of the tube of tube") for left in bare.verdict.unknown)


LIFTED = """
[input.pitch]
travel = [-20, 20]
[input.lift]
travel = ["-30 mm", "20 mm"]
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = { grip = [0, 0, 400] }
[body.knob]
on = "stick"
pivot = [0, 0, 100]
slide = "vertical"
input = "lift"
points = { low = [0, 0, 100] }
solid.ball = { kind = "sphere", at = "low", diameter = 10 }
[airframe]
solid.block = { kind = "box", corner = [20, -50, 20], opposite = [40, 50, 180] }
[stop.aft]
input = "pitch"
side = "greatest"
between = ["knob/ball", "airframe/block"]
[surface.elevator]
body = "stick"
"""


def test_a_stop_is_loaded_with_the_other_input_anywhere():
    """Moments about the pivot on paper: r sin a = 15 mm at contact, and N r cos a = F R.

    The radius r runs from 70 to 120 mm with the other input, and the stop is loaded most at 70.
    """
    system = system_of(LIFTED)
    lift = np.array([-30.0, -11.0, 0.0, 20.0])
    statics = loads.at_stop(system, "aft", {"lift": lift})
    angle = np.arcsin(15 / (100 + lift))
    assert np.radians(statics.motion.inputs["pitch"]) == pytest.approx(angle, abs=1e-6)
    case = loads.cases(system, "aft")[0]
    share = loads.shares(statics, case)[:, list(statics.loads).index(("stop", "aft"))]
    assert share == pytest.approx(167 * LBF * 400 / ((100 + lift) * np.cos(angle)), rel=1e-5)
    worst = loads.worst_loads(system)
    row = worst[(worst["part"] == "aft") & (worst["what"] == "load")].iloc[0]
    assert row["lift"] == pytest.approx(-30.0, abs=1e-6)
    assert row["force"] == pytest.approx(share[0], rel=1e-5)


FINGER = """solid.block = { kind = "plate", thickness = 100, at = [0, 0, 0], normal = [
  0, -1, 0], u = [1, 0, 0], outline = [
  [8, 20], [40, 20], [40, 180], [20, 180], [20, 25], [8.2, 25], [8.2, 71],
  [8, 71]] }
"""


def test_a_stop_that_is_met_in_passing_is_met_there():
    """A finger 0.2 mm thick that only a ball at radius 70 meets: x = 8 less the ball's radius.

    No row of looks a degree apart would see it; at radius 100 the ball goes over it to the block.
    """
    text = LIFTED.replace("diameter = 10", "diameter = 0.4").replace(
        LIFTED[LIFTED.index("solid.block"):LIFTED.index("[stop.aft]")], FINGER)
    statics = loads.at_stop(system_of(text), "aft", {"lift": np.array([-30.0, 0.0])})
    assert np.sin(np.radians(statics.motion.inputs["pitch"])) == pytest.approx(
        [7.8 / 70, 19.8 / 100], abs=1e-6)


STICK = """
[input.roll]
travel = [-15, 15]
[body.stick]
pivot = [0, 0, 0]
axis = "fore-aft"
input = "roll"
material = "2024-T3"
points = { grip = [-120, 0, 500], tie = [0, 0, -60] }
solid.shaft = { kind = "pipe", along = [[0, 0, 0], [0, 0, 200], [-120, 0, 500]], diameter = 25,
                wall = 2 }
[body.aileron]
pivot = [0, 400, 0]
axis = "fore-aft"
points = { horn = [0, 400, -60] }
[rod.tie]
ends = ["stick/tie", "aileron/horn"]
[surface.aileron]
body = "aileron"
kind = "aileron"
moves = { roll = "up" }
""".replace("diameter = 25,\n                wall", "diameter = 25, wall")


def test_a_bent_shaft_at_its_root_and_its_bend():
    """A cranked cantilever by hand: at neutral the pilot pushes sideways, square to its plane.

    At the root bending P x 500 and torsion P x 120; above the bend, along the leaning length of
    direction (-120, 0, 300), bending alone: the hand's line of force meets that length's axis.
    """
    system = system_of(STICK)
    statics = Statics(system.sweep(roll=[0.0]))
    case = next(c for c in loads.cases(system) if c.name == "roll right, one pilot at stick")
    share = loads.shares(statics, case)
    pilot = 67 * LBF
    stations, way, pull, turn = (k[0] for k in statics.shafts["stick/shaft"])
    moments = np.einsum("e,ekj->kj", share[0], turn)
    torsion = np.abs(np.einsum("kj,kj->k", moments, way))
    bending = np.linalg.norm(moments - np.einsum("kj,kj->k", moments, way)[:, None] * way, axis=1)
    root, below, above = (np.abs(stations - s).argmin() for s in (0.0, 199.9, 200.1))
    assert (bending[root], torsion[root]) == pytest.approx((pilot * 500, pilot * 120), rel=1e-6)
    assert (bending[below], torsion[below]) == pytest.approx((pilot * 300, pilot * 120), rel=1e-6)
    slant = math.hypot(120, 300)
    assert bending[above] == pytest.approx(pilot * slant, rel=1e-6)
    assert torsion[above] == pytest.approx(0.0, abs=1e-3)
    row = loads.tube_margins(system).set_index("body").loc["stick/shaft"]
    area, inertia = math.pi / 4 * (25**2 - 21**2), math.pi / 64 * (25**4 - 21**4)
    shear = pilot * 120 * 12.5 / (2 * inertia) + pilot * 2 / 3 * (12.5**3 - 10.5**3) / (inertia * 4)
    wanted = math.hypot(pilot * 500 * 12.5 / inertia, math.sqrt(3) * shear)
    assert area > 0
    assert row["stress"] == pytest.approx(wanted, rel=1e-3)
    assert (row["x"], row["z"]) == pytest.approx((0.0, 0.0), abs=1e-3)


def test_a_stick_without_a_wall_is_named():
    left = Results(system_of(STICK.replace(", wall = 2", "")), only=("loads",)).verdict.unknown
    assert any(sentence.startswith("strength of the shafts of stick") for sentence in left)
    assert any(sentence.startswith("strength of the plates, arms and horns of stick")
               for sentence in left)


@pytest.mark.parametrize("more", [[0.0], [-100.0, 120.0, 350.0]])
def test_a_tube_on_more_than_two_bearings_against_a_frame_program(more):
    """As a continuous beam: bending at every place in two planes, and each bearing's force."""
    places = "".join(f", [0, {station}, 0]" for station in more)
    system = system_of(TUBE.replace("GRIP", "-200").replace("[0, 300, 0]]", f"[0, 300, 0]{places}]")
                       .replace("[1000, 50, -60]", "[1000, 90, -40]"))
    statics = Statics(system.sweep(pitch=[-11.0, 8.0]))
    supports = system.model.bodies["tube"].bearing_stations
    case = next(c for c in loads.cases(system) if c.name == "pitch aft, one pilot at tube")
    share = loads.shares(statics, case)
    beam, held = beam_of(statics, share, "tube"), loads.bearing_forces(statics, share, "tube")
    for n in range(2):
        stations, pushes = [], []
        for point, force, moment in statics.pushed("tube", statics.reactions):
            p, f = point[n] - statics.pivots["tube"][n], share[n] @ force[n]
            stations.append(p[1])
            pushes.append((f, share[n] @ moment[n] + np.cross([p[0], 0.0, p[2]], f)))
        sides, shears = np.zeros((2, len(np.unique([*stations, *supports])))), {}
        for plane, sense in ((0, -1.0), (2, 1.0)):
            nodes, ends = frame(stations, [(f[plane], sense * m[2 - plane]) for f, m in pushes],
                                supports)
            sides[0] += np.array([0.0, *(k[3] for k in ends)])**2
            sides[1] += np.array([*(k[1] for k in ends), 0.0])**2
            shears[plane] = np.array([*(k[0] for k in ends), 0.0]) + np.array(
                [0.0, *(k[2] for k in ends)])
        for node, greatest in zip(nodes, np.sqrt(sides).max(axis=0), strict=True):
            here = np.isclose(beam.stations[n], node)
            assert beam.bending[n][here].max() == pytest.approx(
                greatest, abs=1e-6 * beam.bending[n].max())
        for k, station in enumerate(supports):
            node = int(np.searchsorted(nodes, station))
            for plane in (0, 2):
                assert held[k][n][plane] == pytest.approx(shears[plane][node], abs=1e-5)


def test_two_bearings_at_one_place_are_refused():
    with pytest.raises(LinkageError, match=r"only 0\.000 mm apart|only 0 mm apart"):
        system_of(TUBE.replace("GRIP", "-200").replace("[0, 300, 0]]", "[0, 300, 0], [0, 300, 0]]"))
