"""Meshes that others made, slivers and holes and all, against every triangle one by one.

The sample parts of pyvista 0.49 (MIT), a library of pictures: `pip install --no-deps pyvista`.
"""

import importlib.util
import itertools
import shutil
from pathlib import Path

import numpy as np
import pytest
from meshes import MODEL, segment_gaps
from test_crossings import pierces

import linkage
from linkage.clearances import scene_of
from linkage.gearing import find

PLACES = 60
PARTS = {  # a part, what it is taken as, where it stands beside the stick, mm
    "nut.ply": ("", [30, 80, 300]), "ant.ply": ("", [115, 10, 200]),
    "sphere.ply": ("", [226, 0, 200]),
    "airplane.ply": ("thickness = 2", [-750, -560, 270]),
}
PAIR = "stick/tube | airframe/m"


@pytest.fixture(scope="module", params=PARTS)
def part(request, full, tmp_path_factory):
    if not full:
        pytest.skip("sample parts of another library; with --full")
    found = importlib.util.find_spec("pyvista")
    if found is None:
        pytest.skip("pyvista is not there")
    keys, place = PARTS[request.param]
    folder = tmp_path_factory.mktemp("part")
    shutil.copy(Path(found.origin).parent / "examples" / request.param, folder / request.param)
    solid = f'solid.m = {{ kind = "mesh", file = "{request.param}", unit = "mm", at = {place}' \
        f'{", " + keys if keys else ""} }}'
    (folder / "m.toml").write_text(MODEL.format(stick="", fixed=solid), "utf-8")
    return request.param, linkage.load(folder / "m.toml")


def brute(system, pitch, roll):
    pieces = scene_of(system).solid("airframe/m").pieces
    p, r = np.radians(pitch), np.radians(roll)
    flat = np.array([0, 300 * np.sin(r), 300 * np.cos(r)])
    grip = np.array([flat[2] * np.sin(p), flat[1], flat[2] * np.cos(p)])
    assert grip == pytest.approx(system.sweep(pitch=pitch, roll=roll).point("stick/grip"), abs=1e-9)
    with np.errstate(all="ignore"):  # of slivers
        return segment_gaps(pieces.corners, np.zeros(3), grip).min() - 10 - pieces.radius


def test_sample_part_is_that_of_every_triangle(part):
    name, system = part
    rng = np.random.default_rng(3)
    pitch, roll = rng.uniform(-20, 20, (2, PLACES))
    ours = linkage.gaps(system.sweep(pitch=pitch, roll=roll), [PAIR])[PAIR]
    theirs = np.array([brute(system, *place) for place in zip(pitch, roll, strict=True)])
    apart = theirs > 0
    assert apart.any()
    assert ours[apart] == pytest.approx(theirs[apart], abs=1e-9)
    assert (ours[~apart] <= 0).all()


def test_least_of_a_sample_part_is_bracketed(part):
    name, system = part
    row = linkage.clearance(system).set_index("pair").loc[PAIR]
    side = np.linspace(-20, 20, 41)
    seen = min(brute(system, p, r) for p in side for r in side)
    if seen <= 0:
        assert row["least"] <= 0
    else:
        assert row["proven"] <= row["least"] <= seen + 1e-9
        assert row["least"] == pytest.approx(brute(system, row["pitch"], row["roll"]),
                                             abs=1e-6)


def test_what_is_wrong_with_a_sample_part_is_told(part):
    name, system = part
    told = " ".join(finding.text for finding in find(system))
    corners = system.model.solids["airframe/m"].surface().corners
    low, high = corners.min(axis=1), corners.max(axis=1)
    surely, about = 0, 0
    for a, b in itertools.combinations(range(len(corners)), 2):
        if (low[a] <= high[b]).all() and (low[b] <= high[a]).all() and not any(
                (p == q).all() for p in corners[a] for q in corners[b]):
            two = corners[a], corners[b]
            surely += pierces(*two) or pierces(*two[::-1])
            about += pierces(*two, 1e-5) or pierces(*two[::-1], 1e-5)
    count = int(told.split("crosses itself: ")[1].split()[0]) if "crosses itself" in told else 0
    assert surely <= count <= about
