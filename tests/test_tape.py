"""Arithmetic traced onto a tape against the same worked out directly, over numbers and cells."""

import numpy as np
import pytest

from linkage.intervals import Enclosure, row_count
from linkage.motion import kernels
from linkage.motion.tape import Tape

COUNT = 7


def point_and_parts(p, c, u, cos, sin):
    """A turned point, and what closes a rod from it: products of sums of products."""
    turned = kernels.turn_point(p, c, u, cos, sin)
    return (*turned, *kernels.turn_parts(turned, c, u, p, 90.0))


def drawn(rng):
    u = rng.normal(size=3)
    return (tuple(rng.normal(size=3) * 100), tuple(rng.normal(size=3) * 100),
            tuple(u / np.linalg.norm(u)))


def traced(p, c, u):
    tape = Tape()
    ends = point_and_parts(tuple(k + tape.leaf("way") for k in p), c, u,
                           np.cos(tape.leaf("turn")), np.sin(tape.leaf("turn")))
    return tape.ready(ends)


@pytest.mark.parametrize("seed", range(5))
def test_numbers_agree_with_the_same_worked_out_directly(seed):
    rng = np.random.default_rng(seed)
    p, c, u = drawn(rng)
    way, turn = rng.normal(size=(2, COUNT))
    given = {"way": way, "turn": turn}
    program = traced(p, c, u)
    found = program.numbers([given[name] for name in program.leaves], COUNT)
    plain = point_and_parts(tuple(k + way for k in p), c, u, np.cos(turn), np.sin(turn))
    assert np.allclose(found, np.broadcast_arrays(*plain), rtol=1e-13, atol=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_enclosures_hold_every_sample_and_are_no_wider_than_worked_out_directly(seed):
    rng = np.random.default_rng(seed)
    p, c, u = drawn(rng)
    middle, half = rng.normal(size=(2, 2, COUNT)) * np.array([1.0, 0.2])[:, None, None]
    half = np.abs(half)
    way, turn = (Enclosure.of_input(i, 2, middle[i], half[i]) for i in range(2))
    given = {"way": way, "turn": turn}
    program = traced(p, c, u)
    rows = program.enclosures([given[name] for name in program.leaves], (row_count(2), COUNT), 2)
    direct = point_and_parts(tuple(k + way for k in p), c, u, np.cos(turn), np.sin(turn))
    for one, other in zip(rows.swapaxes(0, 1), direct, strict=True):
        assert np.allclose(one[:-1], other.rows[:-1], rtol=1e-12, atol=1e-8)
        assert (one[-1] <= other.rows[-1] * (1 + 1e-9) + 1e-9).all()
    low, high = (np.array(k) for k in zip(*(Enclosure(k, 2).bounds()
                                           for k in rows.swapaxes(0, 1)), strict=True))
    for _ in range(200):
        x = middle + half * rng.uniform(-1, 1, (2, COUNT))
        plain = np.array(np.broadcast_arrays(*point_and_parts(
            tuple(k + x[0] for k in p), c, u, np.cos(x[1]), np.sin(x[1]))))
        assert (low <= plain + 1e-9).all()
        assert (plain <= high + 1e-9).all()


def test_doubts_of_weights_cover_what_rounding_takes_from_them():
    """1e16 and 1 added to a weight lose the 1: the rest must hold it (from the format's digits)."""
    tape = Tape()
    x = tape.leaf("x")
    program = tape.ready([x * 1e16 + x - x * 1e16])  # x, but for what the weights lose
    cell = Enclosure.of_input(0, 1, np.array([2.0]), np.array([0.5]))
    low, high = Enclosure(program.enclosures([cell], (row_count(1), 1), 1)[:, 0], 1).bounds()
    assert low[0] <= 1.5
    assert high[0] >= 2.5


def test_what_is_the_same_in_all_cells_is_worked_out_once():
    tape = Tape()
    still, moving = tape.leaf("still", still=True), tape.leaf("moving")
    program = tape.ready([(still * still + 1.0) * moving])
    assert program.leaves == ("moving", "still")
    assert len(program.before.steps) == 2
    cells = Enclosure.of_input(0, 1, np.linspace(0, 1, COUNT), np.full(COUNT, 0.1))
    one = Enclosure(np.array([3.0, 0.0, 0.0, 0.0]), 1)
    rows = program.enclosures([cells, one], (row_count(1), COUNT), 1)
    assert np.allclose(rows[0, 0], 10 * np.linspace(0, 1, COUNT))
    assert np.allclose(program.numbers([np.arange(3.0), 3.0], 3), 10 * np.arange(3.0))
