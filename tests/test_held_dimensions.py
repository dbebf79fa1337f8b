"""Dimensions held at their worse ends, and far pairs as built, against builds worked out alone."""

import numpy as np
import pytest
from test_built_proof import COUNT, TOLERANCE, build

import linkage
from linkage.clearances import near_pairs, scene_of
from linkage.clearances.built_runs import moved_by_builds
from linkage.clearances.pinned import PinnedSearch
from linkage.clearances.stage import Stage
from linkage.clearances.travel import Travel
from linkage.intervals import row_count
from linkage.model.file import parse_model
from linkage.motion import Builds, BuiltPosture, System, enclose, written

TWICE = 2 * TOLERANCE  # mm; at so much a first-order bound loses more than the tolerances cost


def machine(signs=None, grown=0.0):
    """The machine of the as-built tests at twice its tolerances, 7 mm required off the post."""
    signs = np.zeros(COUNT) if signs is None else 2 * signs
    return build(signs, grown).replace("hardpoint = 0.4", f"hardpoint = {TWICE}").replace(
        "rod = 0.3", "rod = 0.6") + """
[[pair]]
between = ["link/tube", "airframe/post"]
require = 7.0
reason = "for the test"
"""


@pytest.mark.parametrize("seed", range(3))
def test_rates_hold_at_every_place_and_in_every_build(seed):
    """Against a complex step in the closed forms, which loses nothing to differences (Squire and
    Trapp, SIAM Review 40, 1998, from memory)."""
    rng, system = np.random.default_rng(seed), System(parse_model(machine()))
    builds = Builds.of(system, system.model.tolerance)
    count = len(builds.sizes)
    middle = rng.choice([-1.0, 0.0, 1.0], (count, 2))
    half = np.where(middle == 0, 1.0, 0.0)
    centres, halves = np.array([[-10.0], [25.0]]), np.full((2, 1), 3.0)
    posture = written(system, (["pitch"], centres, halves), builds, (middle, half))
    way = np.array([0.6, -0.48, 0.64])
    end = sum(n * k for n, k in zip(way, posture.place("horn/tip"), strict=True))
    bounds = [rate.bounds() for rate in end.rates(posture.varied)
              if hasattr(rate, "bounds")]
    known = [k for k, rate in enumerate(end.rates(posture.varied)) if hasattr(rate, "bounds")]
    assert len(known) == count
    low, high = (np.array(k) for k in zip(*bounds, strict=True))
    for _ in range(20):
        at = centres[:, 0] + 3.0 * rng.uniform(-1, 1, 2)
        share = middle + half * rng.uniform(-1, 1, middle.shape)
        for cell in range(2):
            step = share[:, cell, None] + 1e-20j * np.eye(count)
            moved = system.sweep_with(builds.dimensions(step), pitch=np.full(count, at[cell]))
            rate = sum(n * np.imag(k) for n, k in zip(way, moved.posture.place("horn/tip"),
                                                      strict=True)) / 1e-20 / builds.sizes
            rate = np.broadcast_to(rate, (count,))[known]
            assert (low[:, cell] - 1e-9 <= rate).all()
            assert (rate <= high[:, cell] + 1e-9).all()


def test_a_requirement_between_the_first_order_bound_and_the_worst_build_is_decided():
    table = linkage.clearance(System(parse_model(machine())), built=True)
    row = table.set_index("pair").loc["link/tube | airframe/post"]
    assert not table.attrs["open"]
    assert 7.0 <= row["proven"] <= row["least"] < 7.8
    assert row["ok"]


@pytest.fixture(scope="module")
def held():
    """Bounds of every piece pair over small cells by held dimensions alone."""
    system = System(parse_model(machine()))
    stage, travel = (Stage(scene_of(system), [scene_of(system).pairs[name] for name in (
        "horn/ball | airframe/wall", "link/tube | airframe/post")]),
                     Travel.of(system.travel_box()))
    search = PinnedSearch(stage, travel, (0.05, system.model.tolerance, 25.0),
                          Builds.of(system, system.model.tolerance))
    which = np.repeat(np.flatnonzero(~stage.rough), 2)
    places = np.tile([[-9.0], [30.0]], (len(which) // 2, 1))
    low = search._bounds(which, places, np.full_like(places, 1.0), np.full(len(which), np.inf)).low
    return stage, which, places, low


def test_no_build_undercuts_a_bound_by_held_dimensions(held):
    """Builds written out as files of their own, each solid as much bigger as it may be."""
    stage, which, places, low = held
    names, rng = [pair.name for pair in stage.pairs], np.random.default_rng(3)
    least = np.full(len(which), np.inf)
    at = places[:, None, 0] + np.linspace(-1, 1, 5)
    for _ in range(40):
        other = System(parse_model(machine(rng.choice([-1.0, 1.0], COUNT), TWICE)))
        gaps = linkage.gaps(other.sweep(pitch=at), names)
        met = np.array([gaps[names[stage.pair_index[k]]][n] for n, k in enumerate(which)])
        least = np.fmin(least, np.nanmin(met, axis=1))
    assert len(which) == 2 * len(names)  # a pair of pieces each
    assert (low <= least + 1e-9).all()
    assert np.isfinite(low).all()


def test_what_is_bounded_and_not_followed_may_be_off_twice():
    """As drawn and in a build a value may be off by all that is not followed, either way each."""
    inputs, rows = 1, np.zeros((row_count(1) + 4, 1))  # one dimension and one joint's own share
    first = row_count(inputs) - 1
    rows[first:-1, 0], rows[-1] = (0.5, 0.2, 0.0, 0.0), 0.1
    posture = BuiltPosture(None, None, rows=len(rows), inputs=inputs, dimension_count=1)
    assert posture.off_drawn(rows)[0] == pytest.approx(0.5 + 2 * 0.2 + 2 * 0.1)
    assert posture.off_drawn(rows)[0] >= 1.1 - 1e-12


FAR = """
length = "mm"
[input.pitch]
travel = [-80, 0]
[body.crank]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = { pin = [0, 0, 50] }
[body.horn]
pivot = [120, 0, 0]
axis = "lateral"
points = { pin = [120, 0, 60] }
solid.ball = { kind = "sphere", at = "pin", diameter = 4 }
[rod.link]
ends = ["crank/pin", "horn/pin"]
length = L
[airframe.solid.wall]
kind = "box"
corner = [3000, -10, -10]
opposite = [3010, 10, 10]
[tolerance]
hardpoint = 0.4
rod = 0.0
"""


@pytest.mark.parametrize(("spare", "surely"), [(20.0, True), (1.0, False)])
def test_a_pair_is_far_as_built_only_where_every_build_is_in_reach(spare, surely):
    """By Pythagoras the rod is fully drawn out at its own length plus the horn's 60 mm."""
    ends = [np.hypot(120 - 50 * np.sin(k), 50 * np.cos(k)) for k in np.radians([-80, 80])]
    system = System(parse_model(FAR.replace("L\n", f"{max(ends) - 60 + spare}\n")))
    assert np.isfinite(system.sweep(pitch=np.linspace(-80, 0, 9)).angle("horn")).all()
    posture = enclose(system, {"pitch": np.linspace(-75, -5, 8)}, {"pitch": np.full(8, 5.0)},
                      system.model.tolerance)
    assert ("horn" not in posture.doubtful) == surely
    scene, pairs = scene_of(system), [scene_of(system).pairs["horn/ball | airframe/wall"]]
    moved = moved_by_builds(scene, pairs, Travel.of(system.travel_box()), system.model.tolerance)
    assert np.isfinite(moved["horn/ball"]) == surely
    _, far = near_pairs(scene, pairs, system.travel_box(), 25.0, system.model.tolerance)
    assert bool(far) == surely
    drawn = near_pairs(scene, pairs, system.travel_box(), 25.0)[1]
    assert drawn  # as drawn it is far, and in reach, either way
