"""GLB and STL of a system, read back by code of its own after the published formats."""

import json
import struct

import numpy as np
import pytest
from meshes import MODEL

import linkage
from linkage.__main__ import main
from linkage.solid_files import glb, stl, tessellated

FIXED = ('solid.plate = { kind = "plate", at = [0, 200, 0], normal = [0, 0, 1], u = [1, 0, 0], '
         'thickness = 5, outline = [[0, 0], [100, 0], [100, 60], [0, 60]], holes = [{ at = [50, 30]'
         ', diameter = 20 }] }')
COUNTS = {"SCALAR": 1, "VEC3": 3, "VEC4": 4}


@pytest.fixture(scope="module")
def model(tmp_path_factory):
    file = tmp_path_factory.mktemp("solids") / "model.toml"
    file.write_text(MODEL.format(fixed=FIXED, stick=""), "utf-8")
    return file


def volume(corners):
    return np.einsum("ni,ni->", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])) / 6


def closed(corners):
    """Whether every side is run along as often one way as the other."""
    spots = np.unique(np.round(corners.reshape(-1, 3), 6), axis=0, return_inverse=True)[1]
    faces = spots.reshape(-1, 3)
    ways = {}
    for a, b in np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]).tolist():
        ways[min(a, b), max(a, b)] = ways.get((min(a, b), max(a, b)), 0) + (1 if a < b else -1)
    return not any(ways.values())


def test_volumes_are_those_of_the_closed_forms(model):
    solids = linkage.load(model).model.solids
    plate = tessellated(solids["airframe/plate"])
    assert closed(plate)
    assert volume(plate) == pytest.approx(5 * (100 * 60 - np.pi * 10**2), rel=2e-3)
    tube = tessellated(linkage.load(model).model.solids["stick/tube"].__class__(
        along=((0.0, 0.0, 0.0), (0.0, 0.0, 300.0)), diameter=20.0))
    assert closed(tube)
    exact = np.pi * 10**2 * 300 + 4 / 3 * np.pi * 10**3
    assert exact * 0.98 < volume(tube) < exact


def parts_of(data):
    """JSON and numbers of a GLB (glTF 2.0, binary container)."""
    magic, version, length = struct.unpack("<4sII", data[:12])
    assert (magic, version, length) == (b"glTF", 2, len(data))
    size, kind = struct.unpack("<I4s", data[12:20])
    assert kind == b"JSON"
    told, rest = json.loads(data[20:20 + size]), data[20 + size:]
    assert rest[4:8] == b"BIN\0"

    def numbers(k):
        accessor = told["accessors"][k]
        view = told["bufferViews"][accessor["bufferView"]]
        kind = {5126: "<f4", 5125: "<u4"}[accessor["componentType"]]
        wide = COUNTS[accessor["type"]]
        raw = rest[8 + view["byteOffset"]:8 + view["byteOffset"] + view["byteLength"]]
        return np.frombuffer(raw, kind).reshape(accessor["count"], wide)

    return told, numbers


def turned(quaternion, point):
    x, y, z, w = quaternion
    v = np.array([x, y, z])
    return point + 2 * np.cross(v, np.cross(v, point) + w * point)


def test_animation_carries_the_grip_where_the_motion_does(model):
    system = linkage.load(model)
    told, numbers = parts_of(glb(system))
    names = [node["name"] for node in told["nodes"]]
    assert {"stick", "airframe", "stick/tube", "airframe/plate"} <= set(names)
    for animation in told["animations"]:
        channels = {c["target"]["path"]: animation["samplers"][c["sampler"]]
                    for c in animation["channels"] if names[c["target"]["node"]] == "stick"}
        shift, turn = (numbers(channels[k]["output"]) for k in ("translation", "rotation"))
        time = numbers(channels["rotation"]["input"])[:, 0]
        assert (np.diff(time) > 0).all()
        for k, at in ((0, -20.0), (48, 20.0), (len(turn) - 1, -20.0)):
            there = shift[k] + turned(turn[k], np.array([0.0, 0.0, 300.0]))
            grip = system.sweep(**{animation["name"]: at}).point("stick/grip")
            np.testing.assert_allclose(there, grip, atol=2e-4)  # 32-bit numbers
    root = told["nodes"][0]
    aft_right_up = [turned(root["rotation"], np.eye(3)[k]) for k in range(3)]
    np.testing.assert_allclose(aft_right_up, [[1, 0, 0], [0, 0, -1], [0, 1, 0]], atol=1e-12)


def test_stl_stands_where_the_stick_is(model):
    system = linkage.load(model)
    data = stl(system.sweep(pitch=10.0, roll=-8.0), "stick")
    count = struct.unpack("<I", data[80:84])[0]
    assert len(data) == 84 + 50 * count
    rows = np.frombuffer(data[84:], np.dtype([("n", "<f4", 3), ("c", "<f4", (3, 3)),
                                              ("r", "<u2")]))
    corners = rows["c"].astype(float).reshape(-1, 3)
    grip = system.sweep(pitch=10.0, roll=-8.0).point("stick/grip")
    along = corners @ (grip / 300)
    assert along.max() == pytest.approx(310, abs=1e-3)
    aside = np.linalg.norm(corners - along[:, None] * grip / 300, axis=1)
    assert aside.max() == pytest.approx(10, abs=1e-3)


def test_verb_writes_all_and_refuses_in_one_sentence(model, tmp_path, capsys):
    out = tmp_path / "out"
    assert main(["meshes", str(model), "--out", str(out), "--at", "pitch=5"]) == 0
    assert {p.name for p in out.iterdir()} == {"model.glb", "stick.stl", "airframe.stl"}
    capsys.readouterr()
    for more in (["--at", "yaw=3"], ["--at", "pitch"], ["--at", "pitch=nan"], []):
        assert main(["meshes", str(model), "--out", str(out), *more]) == 2
        assert len(capsys.readouterr().err.strip().splitlines()) == 1
