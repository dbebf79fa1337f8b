"""The proof attacked: enclosures in high precision, bounds against dense sampling, thin spikes."""

from pathlib import Path

import mpmath
import numpy as np
import pytest
from systems import random_solids

import linkage
from linkage.clearances import Stage, clearance, prove, scene_of
from linkage.clearances.search import Proof
from linkage.clearances.stage import measure
from linkage.clearances.table import _about_apart
from linkage.clearances.travel import Travel
from linkage.clearances.valleys import polish
from linkage.intervals import Enclosure
from linkage.model.file import parse_model
from linkage.motion import System, enclose

EXAMPLES = sorted((Path(__file__).parents[1] / "examples").glob("*.toml"))

# Enclosures against mpmath (general-purpose library) at 60 digits: rounding is counted, so no
# slack is allowed.

EXPRESSIONS = {
    "product": lambda x, y, m: x * y - 3.7 * x,
    "square": lambda x, y, m: (x - 2.5 * y) ** 2,
    "quotient": lambda x, y, m: (x + 1.5) / (y * y + 0.75),
    "root": lambda x, y, m: m.sqrt(x * x + y * y + 0.3),
    "turn": lambda x, y, m: m.cos(x) * y - m.sin(y) * 12.0,
    "angle": lambda x, y, m: m.arctan2(m.sin(x) * 2.0, m.cos(x) * 2.0),
}


class High:
    """The same functions in high precision."""

    sqrt, cos, sin = staticmethod(mpmath.sqrt), staticmethod(mpmath.cos), staticmethod(mpmath.sin)
    arctan2 = staticmethod(mpmath.atan2)


@pytest.mark.parametrize("name", EXPRESSIONS)
def test_enclosures_hold_in_high_precision(name):
    rng, f = np.random.default_rng(5), EXPRESSIONS[name]
    n = 60
    centre = rng.uniform(-1.4, 1.4, (2, n))
    half = 10.0 ** rng.uniform(-9, -0.7, (2, n))
    x, y = (Enclosure.of_input(i, 2, centre[i], half[i]) for i in range(2))
    found = f(x, y, np)
    low, high = found.bounds()
    with mpmath.workdps(60):
        for k in range(n):
            for _ in range(4):
                d = rng.uniform(-1, 1, 2) if rng.random() < 0.5 else rng.choice([-1.0, 1.0], 2)
                at = [mpmath.mpf(float(centre[i, k])) + mpmath.mpf(float(half[i, k])) * float(d[i])
                      for i in range(2)]
                true = f(*at, High)
                d = [mpmath.mpf(float(v)) for v in d]
                rows = [mpmath.mpf(float(r)) for r in found.rows[:, k]]
                guess = rows[0] + rows[1] * d[0] + rows[2] * d[1] + rows[3] * d[0] * d[0] + \
                    rows[4] * d[0] * d[1] + rows[5] * d[1] * d[1]
                assert abs(true - guess) <= rows[6]
                assert float(low[k]) <= true <= float(high[k])


def test_rest_shrinks_with_the_cube_of_the_cell():
    def rest(h):
        x = Enclosure.of_input(0, 1, np.array([0.7]), np.array([h]))
        return float((np.cos(x) * x / (x + 2.0)).rest[0])

    assert rest(0.02) / rest(0.01) > 6


def test_root_is_clipped_to_what_exists_and_division_by_zero_proves_nothing():
    x = Enclosure.of_input(0, 1, np.array([0.1, 5.0, -5.0]), np.array([0.5, 0.5, 0.5]))
    low, high = np.sqrt(x).bounds()
    assert low[0] <= 0 <= np.sqrt(0.6) <= high[0]
    assert np.isnan(low[2])
    assert np.isinf((1.0 / x).rest[0])


def spread(system, count, seed, half):
    rng = np.random.default_rng(seed)
    box = system.travel_box()
    centres = {n: rng.uniform(low, high, count) for n, (low, high) in box.items()}
    return rng, centres, dict.fromkeys(box, half)


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_bounds_hold_the_motion_of_every_joint(path):
    system = linkage.load(path)
    rng, centres, half = spread(system, 60, 2, 1.5)
    held = enclose(system, centres, {n: np.full(60, h) for n, h in half.items()})
    for _ in range(20):
        d = {n: rng.choice([-1.0, 1.0, rng.uniform(-1, 1)], 60) for n in centres}
        motion = system.sweep(**{n: centres[n] + half[n] * d[n] for n in centres})
        for joint, state in held.states.items():
            if isinstance(state.value, Enclosure):
                low, high = state.value.bounds()
                true = motion.posture.states[joint].value
                assert ((low <= true + 1e-13) & (true <= high + 1e-13)).all()


def random_positions(system, count, seed):
    """Inside, on the sides and in the corners of the wanted travel."""
    rng = np.random.default_rng(seed)
    found = {}
    for name, (low, high) in system.travel_box().items():
        x = rng.uniform(low, high, count)
        edge = rng.random(count) < 0.3
        found[name] = np.where(edge, rng.choice([low, high], count), x)
    return found


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_proven_is_never_undercut_and_least_is_attained(path, full):
    """Against dense sampling: no random stick position comes nearer than the proven bound."""
    system = linkage.load(path)
    table = clearance(system)  # over the wanted travel alone
    assert (table["least"] - table["proven"] <= 0.05 + 1e-9).all()
    names = list(system.travel_box())
    count = 100_000 if full else 400
    motion = system.sweep(**random_positions(system, count, 11))
    found = linkage.gaps(motion, table["pair"])
    at_least = linkage.gaps(system.sweep(**{n: table[n].to_numpy() for n in names}), table["pair"])
    for k, row in enumerate(table.to_dict("records")):
        assert found[row["pair"]].min() >= row["proven"] - 1e-9, row["pair"]
        assert found[row["pair"]].min() >= row["least"] - 1e-6, row["pair"]
        assert at_least[row["pair"]][k] == pytest.approx(row["least"], abs=1e-9)
        apart = np.linalg.norm(row["second"] - row["first"])
        if row["least"] > 0:
            assert apart == pytest.approx(row["least"], abs=1e-7)


def nearest_below(stage, motion, bound):
    """Least gap of each pair where it may be below a bound, which tubes about pieces tell.

    A tube about a piece holds it, so what the tubes keep apart needs no closer look.
    """
    posture, count = motion.flat_posture(), motion.shape[0]
    which = np.arange(stage.first)
    low, _ = _about_apart(stage, which, posture, count)
    item, place = np.nonzero(low < bound[stage.pair_index[which]][:, None])
    rough = stage.rough[item]
    back, parts = stage.parts_of(item[rough])
    items, places = np.concatenate([item[~rough], parts]), np.concatenate(
        [place[~rough], place[rough][back]])
    found = np.full(len(stage.pairs), np.inf)
    for start in range(0, len(items), 100_000):
        part = slice(start, start + 100_000)
        gap = measure(stage, posture, items[part], places[part])
        np.fmin.at(found, stage.pair_index[items[part]], gap)
    return found


@pytest.mark.parametrize("seed", range(200))
def test_random_systems_never_undercut_their_proof(seed, full):
    """Random systems with random solids: no random stick position undercuts the proof."""
    if seed % 10 and not full:
        pytest.skip("one in ten unless --full")
    kinds = random_solids.KINDS if full else ("sphere", "tube", "pipe", "box")  # else: minutes
    system = random_solids.random_system(seed, kinds=kinds)
    scene = scene_of(system)
    pairs = list(scene.pairs.values())
    if not pairs:
        pytest.skip("nothing moves against anything")
    stage = Stage(scene, pairs)
    proof = prove(stage, random_solids.box_of(system), 0.05, None, 25.0)
    rng = np.random.default_rng(seed)
    for _ in range(50 if full else 1):
        motion = system.sweep(**random_solids.positions(system, rng, 2000))
        nearest = nearest_below(stage, motion, proof.proven)
        assert (nearest >= proof.proven - 1e-9).all()
    for k, pair in enumerate(pairs):
        if k not in proof.open_at and proof.proven[k] < pair.required + 25.0:
            assert proof.least[k] - proof.proven[k] <= 0.05 + 1e-9, pair.name


def test_the_closer_look_finds_the_least_gap():
    """With no bound to stop at, what random systems are held to is the least of `gaps`."""
    system = random_solids.random_system(10)
    pairs = list(scene_of(system).pairs.values())
    motion = system.sweep(**random_solids.positions(system, np.random.default_rng(1), 60))
    found = nearest_below(Stage(scene_of(system), pairs), motion, np.full(len(pairs), np.inf))
    for pair, least in zip(pairs, found, strict=True):
        gap = linkage.gaps(motion, [pair.name])[pair.name]
        assert least == pytest.approx(np.nanmin(gap) if np.isfinite(gap).any() else np.inf,
                                      abs=1e-9)


STICK = """
length = "mm"
[input.pitch]
travel = [-15, 15]
[input.roll]
travel = [-20, 20]
[body.tube]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
[body.stick]
on = "tube"
pivot = [0, 0, 0]
axis = "fore-aft"
input = "roll"
points = { tip = [0, 0, 400] }
solid.pin = { kind = "sphere", at = "tip", diameter = 0.2 }
"""


def spike(pitch, roll, width):
    """A pin tip on the sphere of the stick's tip, as wide as a given angle of its path."""
    system = System(parse_model(STICK))
    place = system.sweep(pitch=pitch, roll=roll).point("stick/tip")
    wide = 2 * 400 * np.radians(width / 2) - 0.2
    return System(parse_model(STICK + f"""
[airframe.solid.spike]
kind = "sphere"
at = {place.tolist()}
diameter = {wide}
"""))


@pytest.mark.parametrize("seed", range(12))
def test_a_spike_of_a_twentieth_of_a_degree_is_found(seed):
    """Contact only 0.05 degrees wide, between the points of any coarse sweep."""
    rng = np.random.default_rng(seed)
    pitch, roll = rng.uniform(-14, 14), rng.uniform(-19, 19)
    table = linkage.clearance(spike(pitch, roll, 0.05))
    assert table["least"][0] <= 0
    assert not table["ok"][0]
    assert abs(table["pitch"][0] - pitch) < 0.05
    assert abs(table["roll"][0] - roll) < 0.1


def two_boxes(extra):
    return System(parse_model("""
length = "mm"
[input.pitch]
travel = [-20, 20]
[input.roll]
travel = [-20, 20]
[body.tube]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
[body.stick]
on = "tube"
pivot = [0, 0, 0]
axis = "fore-aft"
input = "roll"
""" + extra))


ATTACKS = {
    "parallel faces sliding past each other": """
[body.tube.solid.slab]
kind = "box"
corner = [-40, -5, -40]
opposite = [40, 5, 40]
[airframe.solid.wall]
kind = "box"
corner = [-90, 7, -90]
opposite = [90, 9, 90]
""",
    "grazing edges": """
[body.tube.solid.slab]
kind = "box"
corner = [-40, -5, -40]
opposite = [40, 5, 40]
[airframe.solid.edge]
kind = "box"
corner = [52, -30, -10]
opposite = [70, 30, 10]
""",
    "deep overlap": """
[body.stick.solid.ball]
kind = "sphere"
at = [0, 0, 60]
diameter = 30
[airframe.solid.block]
kind = "box"
corner = [-200, -200, -200]
opposite = [200, 200, 200]
""",
    "one on the other": """
[body.stick.solid.rod]
kind = "tube"
along = [[0, 0, 60], [0, 0, 200]]
diameter = 10
[body.tube.solid.fin]
kind = "box"
corner = [20, -40, 100]
opposite = [26, 40, 180]
[[pair]]
between = ["stick/rod", "tube/fin"]
require = 1.0
reason = "they share a joint, and are asked for all the same"
""",
    "no length": """
[body.stick.solid.rod]
kind = "tube"
along = [[0, 0, 60], [0, 0, 60]]
diameter = 10
[airframe.solid.post]
kind = "tube"
along = [[30, 0, 60], [30, 0, 200]]
diameter = 4
""",
}


@pytest.mark.parametrize("attack", ATTACKS)
def test_attacks(attack):
    system = two_boxes(ATTACKS[attack])
    scene = scene_of(system)
    stage = Stage(scene, list(scene.pairs.values()))
    assert stage.pairs
    proof = prove(stage, system.travel_box(), 0.05)
    motion = system.sweep(**random_positions(system, 4000, 3))
    found = linkage.gaps(motion, [pair.name for pair in stage.pairs])
    for k, pair in enumerate(stage.pairs):
        assert proof.proven[k] <= found[pair.name].min() + 1e-9
        assert proof.least[k] - proof.proven[k] <= 0.05 + 1e-9
        assert k not in proof.open_at


def test_contained_is_interference_not_a_gap():
    system = two_boxes(ATTACKS["deep overlap"])
    assert linkage.clearance(system)["least"][0] < -100


REACH = """
length = "mm"
[input.pitch]
travel = [-70, 70]
[body.arm]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = { pin = [0, 0, 60] }
[body.horn]
pivot = [100, 0, 0]
axis = "lateral"
points = { pin = [100, 0, 40] }
solid.ball = { kind = "sphere", at = "pin", diameter = 6 }
[rod.link]
ends = ["arm/pin", "horn/pin"]
[airframe.solid.wall]
kind = "box"
corner = [150, -20, -60]
opposite = [160, 20, 60]
"""


def test_cells_partly_out_of_reach_are_bounded_and_said():
    system = System(parse_model(REACH))
    x = np.linspace(-70, 70, 4001)
    motion = system.sweep(pitch=x)
    assert not motion.reachable.all()
    table = linkage.clearance(system)
    row = table[table["pair"] == "horn/ball | airframe/wall"].iloc[0]
    gap = linkage.gaps(motion, [row["pair"]])[row["pair"]]
    assert row["proven"] <= np.nanmin(gap) + 1e-9
    assert row["least"] >= np.nanmin(gap) - 0.05
    assert row["ok"] == (row["proven"] >= row["required"] and not table.attrs["open"])


def test_built_holds_for_random_builds_within_the_tolerances():
    text = REACH.replace("[-70, 70]", "[-30, 30]") + "[tolerance]\nhardpoint = 0.3\nrod = 0.2\n"
    system = System(parse_model(text))
    drawn, built = linkage.clearance(system), linkage.clearance(system, built=True)
    pair = "horn/ball | airframe/wall"
    low = float(built.set_index("pair").loc[pair, "proven"])
    assert low < float(drawn.set_index("pair").loc[pair, "proven"])
    rng = np.random.default_rng(0)
    for _ in range(60):
        moved = text
        for point in ("[0, 0, 60]", "[100, 0, 40]", "[0, 0, 0]", "[100, 0, 0]"):
            place = np.array(eval(point)) + rng.choice([-0.3, 0.3, 0.0], 3)
            moved = moved.replace(point, str(place.tolist()))
        length = np.hypot(100, 20) + rng.choice([-0.2, 0.2])
        moved = moved.replace('ends = ["arm/pin"', f'length = {length}\nends = ["arm/pin"')
        other = System(parse_model(moved))
        gap = linkage.gaps(other.sweep(pitch=np.linspace(-30, 30, 301)), [pair])[pair]
        assert np.nanmin(gap) >= low - 1e-9


HAIRPIN = """
length = "mm"
[input.pitch]
travel = [-60, 60]
[body.crank]
pivot = [0, 0, 0]
axis = [0, -1, 0]
input = "pitch"
solid.ball = { kind = "sphere", at = [100, 0, 0], diameter = 10 }
[airframe.solid.pipe]
kind = "pipe"
along = [[140, 0, -60], [118, 0, 60], [110, 0, 20]]
diameter = 4
"""


def test_the_least_gap_is_that_of_whatever_piece_is_nearest_there():
    system = System(parse_model(HAIRPIN))
    scene, name = scene_of(system), "crank/ball | airframe/pipe"
    stage, travel = Stage(scene, [scene.pairs[name]]), Travel.of(system.travel_box())
    start = 6.0  # degrees: the long piece is nearest there, the short one at the bottom
    met = linkage.gaps(system.sweep(pitch=start), [name])[name]
    proof = Proof(np.array([met]), np.array([[start]]), np.array([-np.inf]), {}, np.zeros(1, int))
    polish(stage, proof, travel, np.array([np.inf]))
    there = system.sweep(pitch=proof.place[0])
    assert proof.least[0] == pytest.approx(linkage.gaps(there, [name])[name][0], abs=1e-9)
    # the ball's path is 100 mm from its pivot, the bend that is nearest to it by Pythagoras
    assert proof.least[0] == pytest.approx(np.hypot(110, 20) - 100 - 5 - 2, abs=1e-4)
