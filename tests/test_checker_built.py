"""The checker as built: what builds do is held by its rates, and what it can't show is no pass.

Builds are written out as files of their own (tests/test_built_proof.py), which the checker then
reads as drawn.
"""

import copy
import functools
import math
from pathlib import Path

import numpy as np
import pytest
from test_built_proof import MACHINE, build
from test_checker import checked

import linkage
from linkage.certificate import certificate
from linkage.certificate.trees import WORTH, Thrifty
from linkage.checker.builds import Built
from linkage.checker.dimensions import in_build
from linkage.checker.leaves import Book
from linkage.checker.lengths import Refused
from linkage.checker.motion import Motion
from linkage.checker.reading import read
from linkage.commands import run

ROOT = Path(__file__).parents[1]
EXAMPLES, CASES = ROOT / "examples", ROOT / "tests" / "oracle" / "cases"
SERVO, AILERON_RUN = (EXAMPLES / f"{name}.toml" for name in ("servo_arm", "aileron_run"))
COUNT = MACHINE.count("<<")


@functools.cache
def proven(file):
    system = linkage.load(file)
    return certificate(system, file, linkage.clearance(system, built=True))


def off_most(motion, one, other, place):
    """How far apart two motions have what carries the horn, coordinate by coordinate."""
    cell = tuple((k, k) for k in place)
    seats = [m.seat(("horn",), "airframe", cell) for m in (one, other)]
    return [[abs(float((p.centre - q.centre).mid())) for p, q in zip(*pair, strict=True)]
            for pair in zip(*seats, strict=True)]


def test_what_builds_do_is_held_by_the_rates_of_a_cell():
    """An axis through two points, a rod and its ends: every build of a file of its own."""
    rng = np.random.default_rng(15)
    drawn = Motion(read(build([0] * COUNT)))
    built = Built(drawn)
    for middle, half in ((0.0, 1.0), (-15.0, 1.0), (20.0, 0.5)):
        cell = ((middle - half, middle + half),)
        first = built.dimensions.first
        most = [[sum(float(k.abs_upper()) for k in row[first:]) for row in part.tolist()]
                for part in built.seat_to(("horn",), "airframe", cell)]
        turn = built.state("horn", cell)[2].rest - drawn.state("horn", cell)[2].rest
        used = 0.0
        for _ in range(12):
            one = Motion(read(build(rng.choice([-1, 1], COUNT))))
            one.origins = drawn.origins
            at = float(rng.uniform(*cell[0]))
            found = off_most(drawn, one, drawn, (at,))
            for part, bound in zip(found, most, strict=True):
                for k, most_k in zip(part, bound, strict=True):
                    assert k <= most_k + 1e-9
                    used = max(used, k / most_k)
            here = ((at, at),)
            assert abs(float((one.state("horn", here)[2].centre
                              - drawn.state("horn", here)[2].centre).mid())) <= turn + 1e-12
        assert used > 0.3  # of what is allowed, by builds at random


def test_no_turn_takes_a_point_farther_than_round_its_axis():
    """In builds at random, by Rodrigues' formula: to all sides of where any other turn has it."""
    rng, used = np.random.default_rng(8), 0.0
    machine = read(build([0] * COUNT))
    built = Built(Motion(machine))
    joint = next(n for n, item in machine.joints.items() if item.through)
    for _ in range(40):
        shares = rng.choice([-1.0, 1.0], built.dimensions.count).tolist()
        one, spot = in_build(machine, built.dimensions, shares), rng.normal(size=3) * 100
        spot += machine.joints[joint].pivot
        here = [turned(m.joints[joint], spot, rng.uniform(0, 2 * np.pi, 200)[:, None])
                for m in (machine, one)]
        far = np.linalg.norm(here[0][:, None] - here[1], axis=-1).max()
        most = built.round_axis(joint, spot)
        assert far <= most
        used = max(used, far / most)
    assert used > 0.9


def turned(joint, spot, angle):
    """Where a joint takes a point."""
    u, x = np.array(joint.axis, dtype=float), spot - np.array(joint.pivot, dtype=float)
    u /= np.linalg.norm(u)
    return np.array(joint.pivot) + x * np.cos(angle) + np.cross(u, x) * np.sin(angle) + \
        u * (u @ x) * (1 - np.cos(angle))


@pytest.mark.parametrize("name", ["group_of_three", "coupled_past_half_a_turn"])
def test_joints_of_builds_stay_within_what_is_allowed(name):
    """Rods settled together, a coupling past half a turn: joints of builds at random."""
    rng, text = np.random.default_rng(3), (CASES / f"{name}.toml").read_text()
    if "[tolerance]" not in text:
        text += "\n[tolerance]\nhardpoint = 0.02\nrod = 0.01\n"
    book = Book(read(text), True)
    motion, built, held = book.motion, book.built, 0
    cell = tuple((0.1 * low, 0.1 * low + 0.02 * (high - low))
                 for low, high, _ in book.machine.inputs.values())
    for _ in range(6):
        shares = rng.choice([-1.0, 1.0], built.dimensions.count).tolist()
        one = Motion(in_build(book.machine, built.dimensions, shares))
        place = tuple((k, k) for k in (float(rng.uniform(*ends)) for ends in cell))
        for joint in motion.steps:
            allowed = built.state(joint, cell)[2].rest
            if math.isfinite(allowed):
                off = one.state(joint, place)[2].ball - motion.state(joint, place)[2].ball
                off = math.remainder(float(off.mid()), 2 * math.pi)
                assert abs(off) <= allowed + 1e-9, joint
                held += abs(off) > 0.05 * allowed
    assert held


def test_the_proof_of_a_servo_arm_as_built_holds(tmp_path):
    verdict = checked(SERVO, proven(SERVO), tmp_path)
    assert verdict.holds, verdict.sentence
    assert verdict.sentence.startswith("proof holds: 10 pairs, ")
    assert "for the real travel, as built; all keep what is required" in verdict.sentence


def test_rods_through_holes_of_a_plate_are_shown_apart_in_every_build(tmp_path):
    """The spar is one hull with the rod within it, until it is halved about its hole."""
    verdict = checked(AILERON_RUN, proven(AILERON_RUN), tmp_path)
    assert verdict.sentence.startswith("proof holds: 14 pairs, ")


def test_no_claim_above_what_a_build_meets_is_confirmed():
    """The worst builds that the search met are the tests' witness."""
    made, table = proven(SERVO), linkage.clearance(linkage.load(SERVO), built=True)
    from linkage.checker.verdict import Claims

    claims, count = Claims(Book(read(SERVO.read_text()), True), made), 0
    for _, row in table.iterrows():
        told = next(k for k in made["pairs"] if set(k["pair"]) == set(row["pair"].split(" | ")))
        pair = next(p for p in claims.book.pairs.all() if set(p.names) == set(told["pair"]))
        if told["claim"] is not None and not pair.balls:
            assert claims.pair(pair, told)[0] > 0
            with pytest.raises(Refused):
                claims.pair(pair, told | {"claim": max(row["real_least"], 0.0) + 1e-3})
            count += 1
    assert count > 1


def test_a_proof_as_drawn_is_none_as_built(tmp_path):
    file = EXAMPLES / "elevons.toml"
    system = linkage.load(file)
    made = certificate(system, file, linkage.clearance(system)) | {"build": "as built"}
    assert not checked(file, made, tmp_path).holds


def test_a_least_is_met_in_a_build_within_the_tolerances_only(tmp_path):
    made = copy.deepcopy(proven(SERVO))
    told = next(k for k in made["pairs"] if k["claim"] is not None)
    count = Built(Motion(read(SERVO.read_text()))).dimensions.count
    met = [[0, [1.0, 1.0]], [0, [1.0, 1.0]]]
    for build_of in ([1.01] * count, [0.0] * (count - 1), [float("nan")] * count):
        told |= {"least": 1e3, "place": [0.0, 0.0], "met": met, "build": build_of}
        said = checked(SERVO, made, tmp_path).sentence
        assert "a build is not within the tolerances" in said


def test_what_no_plane_shows_in_every_build_is_not_decided(tmp_path):
    made = copy.deepcopy(proven(SERVO))
    told = next(k for k in made["pairs"] if k["claim"] is not None)
    told["claim"] = None
    verdict = checked(SERVO, made, tmp_path)
    assert not verdict.holds
    assert verdict.sentence.startswith("proof does not hold for 1 of the pairs: not decided, ")


def test_the_command_writes_and_checks_a_proof_as_built(tmp_path, capsys):
    path, report = str(tmp_path / "arm.json.gz"), tmp_path / "report"
    assert run([str(SERVO), "--built", "--only", "clearance", "--proof", path, "--out",
                str(report)]) in (0, 1)
    assert "the clearance proof for the real travel as built" in capsys.readouterr().out
    assert run(["check-proof", str(SERVO), path]) == 0
    assert "for the real travel, as built" in capsys.readouterr().out
    assert (report / "proof.json.gz").read_bytes() == Path(path).read_bytes()


def test_a_stop_that_is_met_nowhere_leaves_the_travel_as_it_is(tmp_path):
    file, path = tmp_path / "far.toml", tmp_path / "far.json.gz"
    file.write_text("""
length = "mm"
[input.pitch]
travel = [-6, 6]
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
solid.pad = { kind = "sphere", at = [0, 0, 100], diameter = 10 }
[airframe.solid]
stop = { kind = "box", corner = [60, -20, 60], opposite = [70, 20, 140] }
[stop.aft]
input = "pitch"
side = "greatest"
between = ["stick/pad", "airframe/stop"]
[tolerance]
hardpoint = 0.4
""")
    assert run([str(file), "--built", "--only", "clearance", "--proof", str(path)]) in (0, 1)
    assert run(["check-proof", str(file), str(path)]) == 0


def test_moves_over_all_travel_are_bounded_only_where_that_pays():
    """The writer's book says nothing that the checker's own doesn't: the same, or without end."""
    books = [kind(read(SERVO.read_text()), True) for kind in (Thrifty, Book)]
    pair = next(p for p in books[0].pairs.all() if not p.balls)
    for book in books:
        book.sides(pair)
        book.travel = tuple((-1.0, 1.0) for _ in book.motion.names)
    thrifty, plain = books
    assert thrifty.moved_at_most(pair, True) == plain.moved_at_most(pair, True) < math.inf
    assert thrifty.moved_at_most(pair, False) == math.inf
    for _ in range(WORTH):
        thrifty.miss(pair)
    assert thrifty.moved_at_most(pair, False) == plain.moved_at_most(pair, False) < math.inf


HELD = """
length = "mm"
input.roll.travel = [-20, 20]
tolerance = { hardpoint = 0.4 }
[body.stick]
pivot = [0, 0, 0]
axis = "fore-aft"
input = "roll"
points = { arm = [0, 0, 100] }
solid.lug = { kind = "sphere", at = [0, 10, 122.5], diameter = 1 }
[body.crank]
pivot = [0, 200, 0]
axis = "fore-aft"
points = { arm = [0, 200, 100] }
[rod.link]
ends = ["stick/arm", "crank/arm"]
diameter = 6
"""


def test_what_leaves_the_ball_about_a_joint_in_some_build_is_not_left_out():
    """The lug ends 25.12 mm from the rod end; a build has the joint off and a solid grown.

    By hand: 25.4 mm less 0.4 in each of three directions and 0.4 all round.
    """
    for built, radius in ((False, 25.4), (True, 25.4 - 0.4 * math.sqrt(3) - 0.4)):
        book = Book(read(HELD), built)
        pair = book.pairs.pair("link/tube", "stick/lug")
        (_, reach), = pair.balls
        assert reach == pytest.approx(radius, abs=1e-12)
        assert (book.sides(pair)[1] is None) == (not built)
