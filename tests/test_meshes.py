"""Clearance against meshes, set beside exact kinds, a brute-force oracle and hand-made cases.

Outside the project: the oracle of `meshes.py` measures a segment against every triangle by its
features, with no tree and no search; sagittas are 'radius less its cosine', as any handbook has it.
"""

import numpy as np
import pytest
from meshes import MODEL, ball, bar, box, segment_gaps, write_stl

import linkage

CENTRE = (190, 30, 250)


def system_of(folder, fixed, stick=""):
    file = folder / "model.toml"
    file.write_text(MODEL.format(fixed=fixed, stick=stick), "utf-8")
    return linkage.load(file)


def mesh_of(name, keys=""):
    return f'solid.m = {{ kind = "mesh", file = "{name}", unit = "mm"{keys} }}'


def grip_at(pitch, roll):
    """Where the grip is: roll about the fore-aft axis (-x), carried by pitch about +y."""
    pitch, roll = np.radians(pitch), np.radians(roll)
    y, z = 300 * np.sin(roll), 300 * np.cos(roll)
    return np.stack([z * np.sin(pitch), y, z * np.cos(pitch)], axis=-1)


@pytest.fixture(scope="module")
def balls(tmp_path_factory):
    folder = tmp_path_factory.mktemp("balls")
    corners = ball((0, 0, 0), 50, 24)
    write_stl(folder / "ball.stl", corners)
    return folder, corners.astype(np.float32).astype(float) + np.array(CENTRE)


def test_gaps_are_those_of_every_triangle(balls):
    folder, corners = balls
    system = system_of(folder, mesh_of("ball.stl", f", at = {list(CENTRE)}"))
    rng = np.random.default_rng(3)
    pitch, roll = rng.uniform(-20, 20, (2, 12))
    ours = linkage.gaps(system.sweep(pitch=pitch, roll=roll))["stick/tube | airframe/m"]
    theirs = [segment_gaps(corners, np.zeros(3), grip).min() - 10 for grip in grip_at(pitch, roll)]
    np.testing.assert_allclose(ours, theirs, atol=1e-9)


def test_least_gap_is_bracketed_and_that_of_every_triangle(balls):
    folder, corners = balls
    system = system_of(folder, mesh_of("ball.stl", f", at = {list(CENTRE)}"))
    row = linkage.clearance(system).iloc[0]
    at = segment_gaps(corners, np.zeros(3), grip_at(row["pitch"], row["roll"])).min() - 10
    assert row["least"] == pytest.approx(at, abs=1e-9)
    assert row["least"] - 0.05 <= row["proven"] <= row["least"]
    pitch, roll = np.meshgrid(np.linspace(-20, 20, 5), np.linspace(-20, 20, 5))
    around = [segment_gaps(corners, np.zeros(3), grip).min() - 10
              for grip in grip_at(pitch.ravel(), roll.ravel())]
    assert min(around) >= row["proven"] - 1e-9
    assert np.linalg.norm(row["second"] - row["first"]) == pytest.approx(row["least"], abs=1e-6)


def test_ball_is_within_its_sagitta_of_the_exact_kind(balls):
    folder, _ = balls
    exact = linkage.clearance(system_of(
        folder, f'solid.m = {{ kind = "sphere", at = {list(CENTRE)}, diameter = 100 }}')).iloc[0]
    meshed = linkage.clearance(system_of(folder, mesh_of(
        "ball.stl", f", at = {list(CENTRE)}"))).iloc[0]
    # each quad of the mesh spans 7.5 degrees both ways: its middle lies within both sagittas
    sagitta = 2 * 50 * (1 - np.cos(np.radians(7.5 / 2)))
    assert 0 <= meshed["least"] - exact["least"] <= sagitta


def test_block_is_that_of_the_exact_kind(tmp_path):
    low, high = (120, -40, 150), (200, 25, 260)
    write_stl(tmp_path / "box.stl", box(low, high, 5))
    exact = linkage.clearance(system_of(
        tmp_path, f'solid.m = {{ kind = "box", corner = {low}, opposite = {high} }}'.replace(
            "(", "[").replace(")", "]"))).iloc[0]
    meshed = linkage.clearance(system_of(tmp_path, mesh_of("box.stl"))).iloc[0]
    assert meshed["least"] == pytest.approx(exact["least"], abs=1e-4)


def test_mesh_that_moves_is_within_its_sagitta_of_the_exact_kind(tmp_path):
    write_stl(tmp_path / "bar.stl", bar(300, 10, 64))
    fixed = 'solid.wall = { kind = "box", corner = [130, -200, 100], opposite = [150, 200, 400] }'
    # the tube has half-ball ends about its ends, the bar flat ones: both are nearest on their side
    moved = ('solid.bar = { kind = "mesh", file = "bar.stl", unit = "mm" }')
    system = system_of(tmp_path, fixed, moved)
    gaps = linkage.gaps(system.sweep(pitch=[-5.0, 0.0], roll=[4.0, 0.0]))
    assert gaps["stick/bar | airframe/wall"] == pytest.approx(
        gaps["stick/tube | airframe/wall"], abs=10 * (1 - np.cos(np.pi / 64)) + 1e-6)


@pytest.mark.parametrize(("keys", "touches"), [
    ("", True), (", thickness = 1", False), (", thickness = 1, at = [0, 0, 160]", True)])
def test_body_inside_a_solid_in_a_skin_and_half_through(tmp_path, keys, touches):
    write_stl(tmp_path / "room.stl", box((-200, -200, -35), (200, 200, 400), 3))
    system = system_of(tmp_path, mesh_of("room.stl", keys))
    row = linkage.clearance(system, 0.5).iloc[0]
    gap = linkage.gaps(system.sweep(pitch=0.0, roll=0.0))["stick/tube | airframe/m"]
    assert (gap <= 0) == touches
    assert (row["least"] <= 0) == touches
    assert row["ok"] != touches
    if not touches:  # the bottom is 35 below the pivot; the wall is some 90 from the grip
        assert row["least"] == pytest.approx(35 - 10 - 0.5, abs=0.5)
    else:
        assert row["proven"] <= 0


def test_block_meshed_inside_an_exact_solid_touches(tmp_path):
    write_stl(tmp_path / "dice.stl", box((-1, -1, 100), (1, 1, 102)))
    system = system_of(tmp_path, mesh_of("dice.stl"))
    assert linkage.gaps(system.sweep(pitch=0.0, roll=0.0))["stick/tube | airframe/m"] <= 0


def test_cavity_of_a_solid_is_free(tmp_path):
    wall = np.concatenate([box((-300, -300, -100), (300, 300, 500)),
                           box((-200, -200, -50), (200, 200, 450))[:, ::-1]])
    write_stl(tmp_path / "tank.stl", wall)
    system = system_of(tmp_path, mesh_of("tank.stl"))
    gap = linkage.gaps(system.sweep(pitch=0.0, roll=0.0))["stick/tube | airframe/m"]
    assert gap == pytest.approx(40)
    write_stl(tmp_path / "tank.stl", np.concatenate([wall[:12], wall[12:, ::-1]]))
    system = system_of(tmp_path, mesh_of("tank.stl"))  # the inner faces say that it is material
    assert linkage.gaps(system.sweep(pitch=0.0, roll=0.0))["stick/tube | airframe/m"] <= 0


def test_stop_on_a_mesh_is_that_on_the_exact_kind(tmp_path):
    write_stl(tmp_path / "pad.stl", box((120, -30, 200), (160, 30, 280), 4))
    stop = ('\n[stop."aft"]\ninput = "pitch"\nside = "greatest"\n'
            'between = ["stick/tube", "airframe/m"]\n')
    angles = []
    for kind in (mesh_of("pad.stl"), 'solid.m = { kind = "box", corner = [120, -30, 200], '
                                     'opposite = [160, 30, 280] }'):
        file = tmp_path / "stop.toml"
        file.write_text(MODEL.format(fixed=kind, stick="") + stop, "utf-8")
        angles.append(linkage.find_stops(linkage.load(file))["angle"].iloc[0])
    assert angles[0] == pytest.approx(angles[1], abs=1e-5)


def test_no_stop_governs_where_a_solid_lies_within_another_from_the_start(tmp_path):
    write_stl(tmp_path / "block.stl", box((-60, -60, 50), (60, 60, 290), 2))
    file = tmp_path / "within.toml"
    file.write_text(MODEL.format(
        fixed='solid.pad = { kind = "box", corner = [70, -30, 200], opposite = [99, 30, 280] }\n'
              'solid.nut = { kind = "box", corner = [-2, -2, 178], opposite = [2, 2, 182] }',
        stick='solid.block = { kind = "mesh", file = "block.stl", unit = "mm" }')
        + '[[pair]]\nbetween = ["stick/tube", "airframe/nut"]\nwaive = true\n'
          'reason = "the tube is within the block"\n[stop.aft]\ninput = "pitch"\n'
          'side = "greatest"\nbetween = ["stick/block", "airframe/pad"]\n', "utf-8")
    stop = linkage.find_stops(linkage.load(file)).iloc[0]
    assert not stop["governs"]
    assert stop["reason"] == "stick/block | airframe/nut touch before it, at neutral"


def test_built_bracket_holds_that_of_the_exact_kind(tmp_path):
    write_stl(tmp_path / "box.stl", box((120, -40, 150), (200, 25, 260), 4))
    tables = []
    for kind in (mesh_of("box.stl"), 'solid.m = { kind = "box", corner = [120, -40, 150], '
                                     'opposite = [200, 25, 260] }'):
        file = tmp_path / "built.toml"
        file.write_text(MODEL.format(fixed=kind, stick="") + "\n[tolerance]\nhardpoint = 0.3\n",
                        "utf-8")
        tables.append(linkage.clearance(linkage.load(file), built=True).iloc[0])
    meshed, exact = tables
    assert meshed["proven"] <= exact["least"] + 1e-9
    assert meshed["least"] >= exact["proven"] - 1e-9


def test_placed_by_three_points_as_by_hand(tmp_path):
    write_stl(tmp_path / "box.stl", box((-20, -10, -5), (20, 10, 5)))
    matched = mesh_of("box.stl", ', match = [{ point = "a", place = [-20, -10, -5] }, '
                                 '{ point = "b", place = [20, -10, -5] }, '
                                 '{ point = "c", place = [-20, 10, -5] }]')
    by_hand = mesh_of("box.stl", ", at = [100, 0, 205]")
    gaps = [linkage.gaps(system_of(tmp_path, kind).sweep(pitch=[0.0, 8.0], roll=3.0))
            ["stick/tube | airframe/m"] for kind in (matched, by_hand)]
    np.testing.assert_allclose(gaps[0], gaps[1], atol=1e-5)


def test_twin_is_the_mirror_image(tmp_path):
    write_stl(tmp_path / "lump.stl", box((110, 20, 200), (150, 90, 260), 2))
    kind = ('solid."lump left" = { kind = "mesh", file = "lump.stl", unit = "mm", at = [0, -120, 0'
            '], turn = [{ axis = [1, 2, 3], angle = 5 }] }\n[mirror]\nleft = "right"\n')
    gaps = linkage.gaps(system_of(tmp_path, kind).sweep(pitch=[3.0, 9.0], roll=[-6.0, 2.0]))
    other = linkage.gaps(system_of(tmp_path, kind).sweep(pitch=[3.0, 9.0], roll=[6.0, -2.0]))
    np.testing.assert_allclose(gaps["stick/tube | airframe/lump left"],
                               other["stick/tube | airframe/lump right"], atol=1e-9)


def test_checker_refuses_meshes_and_skins_by_name(tmp_path):
    from linkage.checker.lengths import Refused
    from linkage.checker.reading import read

    for kind in ("mesh", "skin"):
        text = MODEL.format(fixed=f'solid.m = {{ kind = "{kind}" }}', stick="")
        with pytest.raises(Refused, match=f'does not know the kind "{kind}"'):
            read(text, tmp_path)


def test_every_random_place_against_a_collision_library(balls, full):
    """The collision library coal 3.0 (as many as 500 places with --full)."""
    coal = pytest.importorskip("coal")
    folder, corners = balls
    system = system_of(folder, mesh_of("ball.stl", f", at = {list(CENTRE)}"))
    rng = np.random.default_rng(7)
    pitch, roll = rng.uniform(-20, 20, (2, 500 if full else 25))
    ours = linkage.gaps(system.sweep(pitch=pitch, roll=roll))["stick/tube | airframe/m"]
    model = coal.BVHModelOBBRSS()
    model.beginModel(len(corners), 3 * len(corners))
    model.addVertices(corners.reshape(-1, 3))
    model.addTriangles(np.arange(3 * len(corners)).reshape(-1, 3))
    model.endModel()
    asked = coal.DistanceRequest()
    asked.gjk_tolerance = 1e-12
    theirs = []
    for grip in grip_at(pitch, roll):
        z = grip / 300
        x = np.cross(z, [0.3, 0.9, 0.2])
        x /= np.linalg.norm(x)
        place = coal.Transform3s(np.stack([x, np.cross(z, x), z], axis=1), grip / 2)
        theirs.append(coal.distance(model, coal.Transform3s(), coal.Capsule(10.0, 300.0), place,
                                    asked, coal.DistanceResult()))
    np.testing.assert_allclose(ours, theirs, atol=1e-6)
