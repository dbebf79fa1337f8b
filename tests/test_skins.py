"""Skins through sections: what they are by hand, and that they lose no material.

Outside the project: planes and circles by hand, and SciPy's spline evaluated point by point.
"""

import numpy as np
import pytest
from meshes import MODEL, segment_gaps
from scipy.interpolate import CubicSpline

import linkage
from linkage.geometry.lofts import loft


def system_of(folder, skin):
    file = folder / "model.toml"
    file.write_text(MODEL.format(fixed=f'solid."wall left" = {{ kind = "skin", {skin} }}',
                                 stick=""), "utf-8")
    return linkage.load(file)


def test_flat_skin_is_as_far_as_its_plane(tmp_path):
    system = system_of(tmp_path, 'thickness = 4, within = 0.25, sections = ['
                                 '{ station = -300, points = [[-150, -50], [-150, 400]] }, '
                                 '{ station = 300, points = [[-150, -50], [-150, 400]] }]')
    gaps = linkage.gaps(system.sweep(pitch=[0.0, 10.0], roll=[0.0, -15.0]))
    # the grip is 300 sin 15 to the left of the pivot, its tube 10 round
    by_hand = [150 - 10 - 2.25, 150 - 300 * np.sin(np.radians(15)) - 10 - 2.25]
    np.testing.assert_allclose(gaps["stick/tube | airframe/wall left"], by_hand, atol=1e-9)


def test_half_breadths_give_both_sides(tmp_path):
    skin = ('thickness = 2, within = 0.5, waterlines = [400, 200, -250], sections = ['
            '{ station = -400, half_breadths = [180, 180, 180] }, '
            '{ station = 400, half_breadths = [180, 180, 180] }]')
    gap = linkage.gaps(system_of(tmp_path, skin).sweep(pitch=0.0, roll=[-12.0, 0.0, 12.0]))
    sideways = 180 - 300 * np.sin(np.radians(12)) - 10 - 1.5
    np.testing.assert_allclose(gap["stick/tube | airframe/wall left"],
                               [sideways, 180 - 10 - 1.5, sideways], atol=1e-9)


def test_twin_of_a_skin_is_its_mirror_image(tmp_path):
    skin = ('thickness = 2, between = "curved", sections = ['
            '{ station = -300, points = [[-150, -50], [-190, 150], [-140, 400]] }, '
            '{ station = 300, points = [[-170, -50], [-180, 150], [-160, 400]] }] }\n'
            '[mirror]\nleft = "right"\n#')
    gaps = linkage.gaps(system_of(tmp_path, skin).sweep(pitch=5.0, roll=[-9.0, 9.0]))
    np.testing.assert_allclose(gaps["stick/tube | airframe/wall left"],
                               gaps["stick/tube | airframe/wall right"][::-1], atol=1e-9)


@pytest.mark.parametrize("curved", [False, True])
def test_no_place_of_the_surface_is_farther_than_the_band(curved):
    rng = np.random.default_rng(2)
    stations = np.array([0.0, 130, 300, 520])
    turn = np.linspace(0, np.pi, 7)
    places = np.array([[(x, (200 + 40 * np.sin(k)) * np.cos(t), -(150 + 30 * k) * np.sin(t))
                        for t in turn] for k, x in enumerate(stations)])
    places += rng.normal(0, 6, places.shape) * [0, 1, 1]
    triangles = loft(places, 0.4, curved=curved)
    if curved:
        steps = np.linalg.norm(np.diff(places, axis=1), axis=2).mean(axis=0)
        along = np.concatenate([[0.0], np.cumsum(steps)])
        rows = CubicSpline(along, places, axis=1, bc_type="natural")(
            rng.uniform(0, along[-1], 25))
        spots = CubicSpline(stations, rows, axis=0, bc_type="natural")(rng.uniform(0, 520, 25))
        spots = spots[np.arange(25), np.arange(25)]
    else:
        i, j = rng.integers(0, 3, 25), rng.integers(0, 6, 25)
        g, h = rng.uniform(0, 1, (2, 25, 1))
        spots = ((1 - g) * (1 - h) * places[i, j] + g * (1 - h) * places[i + 1, j]
                 + (1 - g) * h * places[i, j + 1] + g * h * places[i + 1, j + 1])
    off = [segment_gaps(triangles, spot, spot + [0, 0, 1e-9]).min() for spot in spots]
    assert max(off) <= 0.4 + 1e-6
    corners = triangles.reshape(-1, 3)
    for place in places.reshape(-1, 3):  # and it goes through every place given
        assert np.linalg.norm(corners - place, axis=1).min() < 1e-6


@pytest.mark.parametrize(("skin", "word"), [
    ('thickness = 2, sections = [{ station = 0, points = [[0, 0], [1, 0]] }]', "at least 2"),
    ('thickness = 2, sections = [{ station = 9, points = [[0, 0], [1, 0]] }, '
     '{ station = 0, points = [[0, 0], [1, 0]] }]', "order of their stations"),
    ('thickness = 2, sections = [{ station = 0, points = [[0, 0], [1, 0]] }, '
     '{ station = 9, points = [[0, 0], [1, 0], [2, 0]] }]', "each as many"),
    ('thickness = 2, sections = [{ station = 0, half_breadths = [1, 2] }, '
     '{ station = 9, half_breadths = [1, 2] }]', "needs waterlines"),
    ('thickness = 2, waterlines = [9, 0], sections = [{ station = 0, half_breadths = [1, 2, 3] }, '
     '{ station = 9, half_breadths = [1, 2, 3] }]', "give as many"),
    ('thickness = 2, waterlines = [0, 9], sections = [{ station = 0, half_breadths = [1, 2] }, '
     '{ station = 9, half_breadths = [1, 2] }]', "from the top down"),
    ('thickness = 2, sections = [{ station = 0 }, { station = 9 }]', "points or half_breadths"),
    ('thickness = 2, sections = [{ station = 0, points = [[0, 0], [0, 0]] }, '
     '{ station = 9, points = [[0, 0], [0, 0]] }]', "no triangle"),
    ('thickness = 2, within = 1e-6, between = "curved", sections = ['
     '{ station = 0, points = [[0, 0], [90, 90], [200, 0]] }, '
     '{ station = 900, points = [[0, 9], [90, 200], [200, 50]] }]', "wider band"),
    ('sections = []', "at least 2")])
def test_sections_that_make_no_skin_are_refused(tmp_path, skin, word):
    with pytest.raises(linkage.LinkageError, match=word) as refused:
        system_of(tmp_path, skin)
    assert "\n" not in str(refused.value)
