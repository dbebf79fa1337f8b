"""Triangles that run through each other, by a search of its own over every pair."""

import itertools

import numpy as np
import pytest
from meshes import ball, box, write_stl

import linkage
from linkage.gearing import find
from linkage.geometry.crossings import crossings
from linkage.geometry.triangles import welded


def pierces(one, other, hair=0.0):
    """Whether a side of a triangle runs through another, by its shares along their three sides."""
    for k in range(3):
        start, run = one[k], one[(k + 1) % 3] - one[k]
        try:
            along, u, v = np.linalg.solve(np.stack(
                [-run, other[1] - other[0], other[2] - other[0]], axis=1), start - other[0])
        except np.linalg.LinAlgError:
            continue
        if -hair < along < 1 + hair and min(u, v) > -hair and u + v < 1 + hair:
            return True
    return False


@pytest.mark.parametrize("seed", range(3))
def test_crossings_are_those_of_every_pair(seed):
    rng = np.random.default_rng(seed)
    corners = rng.normal(size=(60, 1, 3)) * 20 + rng.normal(size=(60, 3, 3)) * rng.uniform(4, 12)
    count = sum(pierces(a, b) or pierces(b, a) for a, b in itertools.combinations(corners, 2))
    found, place = crossings(corners, welded(corners))
    assert found == count > 0
    assert np.isfinite(place).all()


def test_closed_and_touching_surfaces_do_not_cross():
    for corners in (ball((0, 0, 0), 10, 20), ball((0, 0, 0), 10, 20) * [1, 1, 1e-3],
                    np.concatenate([box((0, 0, 0), (1, 1, 1)), box((1, 0, 0), (2, 1, 1), 2)])):
        assert crossings(corners, welded(corners)) == (0, None)


def test_crossing_is_told_with_its_place(tmp_path):
    two = np.concatenate([ball((0, 0, 0), 10, 12), ball((12, 0, 0), 10, 13)])
    write_stl(tmp_path / "two.stl", two)
    (tmp_path / "m.toml").write_text(
        'length = "mm"\n[body.a]\npivot = [0, 0, 0]\naxis = "lateral"\ninput = "p"\n'
        'solid.two = { kind = "mesh", file = "two.stl", unit = "mm" }\n[input.p]\ntravel = '
        "[-1, 1]\n", "utf-8")
    told = " ".join(finding.text for finding in find(linkage.load(tmp_path / "m.toml")))
    place = told.split("the first at ")[1].split(" in its own")[0].replace("mm", "")
    assert "crosses itself" in told
    x, y, z = (float(word) for word in place.split())
    # by hand: two balls of 10 that are 12 apart meet in a circle of 8 about (6, 0, 0)
    assert x == pytest.approx(6, abs=0.5)
    assert np.hypot(y, z) == pytest.approx(8, abs=0.5)
