"""Mesh files as they come: refused in one sentence, or mended and told."""

import time

import numpy as np
import pytest
from bad_meshes import BAD, DICE, MENDED, glb, obj, ply, stl, text_stl, threemf
from meshes import MODEL
from step_ball import step_ball

import linkage
from linkage.gearing.findings import find


def loaded(folder, name, data, keys):
    (folder / name).write_bytes(data)
    kind = f'solid.m = {{ kind = "mesh", file = "{name}"{", " + keys if keys else ""} }}'
    file = folder / "model.toml"
    file.write_text(MODEL.format(fixed=kind, stick=""), "utf-8")
    return linkage.load(file)


@pytest.mark.parametrize("name", BAD)
def test_bad_file_is_refused_in_one_sentence(tmp_path, name, capfd):
    data, keys, word = BAD[name]
    started = time.process_time()
    with pytest.raises(linkage.LinkageError) as refused:
        loaded(tmp_path, name, data, keys)
    sentence = str(refused.value)
    assert word in sentence
    assert "\n" not in sentence
    assert "Traceback" not in sentence
    assert len(sentence) < 500
    assert capfd.readouterr() == ("", "")
    assert time.process_time() - started < 10


@pytest.mark.parametrize("name", MENDED)
def test_mended_file_is_told_of(tmp_path, name):
    data, word = MENDED[name]
    system = loaded(tmp_path, name, data, 'unit = "mm"')
    told = [f.text for f in find(system) if name in f.text]
    assert word in " ".join(told)
    gap = linkage.gaps(system.sweep(pitch=0.0))["stick/tube | airframe/m"]
    assert gap <= 0 or name == "slivers.stl"  # a dice about the pivot


@pytest.mark.parametrize(("name", "data", "keys"), [
    ("a.stl", stl(DICE), 'unit = "mm"'), ("b.stl", text_stl(DICE), 'unit = "mm"'),
    ("a.obj", obj(DICE), 'unit = "mm"'), ("a.ply", ply(DICE), 'unit = "mm"'),
    ("a.glb", glb(DICE / 1000), ""), ("b.glb", glb(DICE), 'unit = "mm"'),
    ("a.3mf", threemf(DICE / 25.4, "inch"), ""), ("b.3mf", threemf(DICE), "")])
def test_each_format_gives_the_same_solid(tmp_path, name, data, keys):
    system = loaded(tmp_path, name, data, keys + (", " if keys else "") + "at = [60, -5, 150]")
    corners = system.model.solids["airframe/m"].pieces().corners.reshape(-1, 3)
    np.testing.assert_allclose(corners.min(axis=0), [60, -5, 150], atol=1e-5)
    np.testing.assert_allclose(corners.max(axis=0), [70, 5, 160], atol=1e-5)
    gap = linkage.gaps(system.sweep(pitch=0.0))["stick/tube | airframe/m"]
    assert gap == pytest.approx(50, abs=1e-5)


@pytest.mark.parametrize("within", [0.3, 0.1])
def test_step_of_a_known_ball(tmp_path, within):
    system = loaded(tmp_path, "ball.step", step_ball(40.0).encode(),
                    f"at = [120, 0, 150], within = {within}")
    corners = system.model.solids["airframe/m"].surface().corners
    flat = corners.reshape(-1, 3)
    np.testing.assert_allclose(np.linalg.norm(flat, axis=1), 40, atol=1e-5)
    deepest = 40 - np.linalg.norm(corners.mean(axis=1), axis=1).min()
    assert 0 < deepest <= within  # at the middle of a triangle on a ball it is deepest
    volume = np.einsum("ni,ni->", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])) / 6
    assert 4 / 3 * np.pi * (40 - within) ** 3 < volume < 4 / 3 * np.pi * 40 ** 3
    gap = linkage.gaps(system.sweep(pitch=0.0))["stick/tube | airframe/m"]
    assert 120 - 40 - 10 - within - 1e-5 <= gap <= 120 - 40 - 10  # closed form, less what is added


def test_step_of_a_ball_in_metres(tmp_path):
    system = loaded(tmp_path, "ball.step", step_ball(0.04, "$,.METRE.").encode(), "")
    reach = np.abs(system.model.solids["airframe/m"].surface().corners).max()
    assert reach == pytest.approx(40, abs=1e-4)


def test_too_large_is_refused_fast(tmp_path):
    started = time.process_time()
    with pytest.raises(linkage.LinkageError, match="1,500,000 triangles"):
        loaded(tmp_path, "large.stl", bytes(80) + np.uint32(1_500_000).tobytes()
               + bytes(50 * 1_500_000), 'unit = "mm"')
    with (tmp_path / "huge.obj").open("wb") as stream:
        stream.truncate(100_000_001)
    file = tmp_path / "model.toml"
    file.write_text(MODEL.format(fixed='solid.m = { kind = "mesh", file = "huge.obj", '
                                       'unit = "mm" }', stick=""), "utf-8")
    with pytest.raises(linkage.LinkageError, match="at most 100 MB"):
        linkage.load(file)
    assert time.process_time() - started < 3


def test_digest_covers_every_mesh(tmp_path):
    from linkage.model.file import model_digest

    loaded(tmp_path, "a.stl", stl(DICE), 'unit = "mm"')
    before = model_digest(tmp_path / "model.toml")
    (tmp_path / "a.stl").write_bytes(stl(DICE * 1.001))
    assert model_digest(tmp_path / "model.toml") != before


def test_random_spoiling_never_is_a_fault(tmp_path, full):
    rng = np.random.default_rng(11)
    sentences = []
    good = [("a.stl", stl(DICE)), ("b.stl", text_stl(DICE)), ("a.obj", obj(DICE)),
            ("a.ply", ply(DICE)), ("a.glb", glb(DICE)), ("a.3mf", threemf(DICE))]
    for k in range(600 if full else 48):
        name, data = good[k % len(good)]
        spoilt = bytearray(data)
        for _ in range(rng.integers(1, 6)):
            at = int(rng.integers(len(spoilt)))
            if rng.random() < 0.3:
                del spoilt[at:at + int(rng.integers(1, 40))]
            else:
                spoilt[at % max(len(spoilt), 1)] = int(rng.integers(256))
        keys = "" if name.endswith("3mf") else 'unit = "mm"'
        try:
            system = loaded(tmp_path, name, bytes(spoilt), keys)
            gap = linkage.gaps(system.sweep(pitch=0.0))
        except linkage.LinkageError as refused:
            sentences.append(str(refused))
        else:
            assert np.isfinite(gap["stick/tube | airframe/m"])
    assert sentences
    assert not any("\n" in sentence for sentence in sentences)


def test_a_copy_in_another_folder_finds_its_mesh(tmp_path):
    from linkage.model.save import saved_files

    system = loaded(tmp_path, "a.stl", stl(DICE), 'unit = "mm", at = [60, -5, 150]')
    (tmp_path / "shop").mkdir()
    copy = tmp_path / "shop" / "copy.toml"
    for path, data in saved_files(tmp_path / "model.toml", system.model, copy).items():
        path.write_bytes(data)
    assert 'file = "../a.stl"' in copy.read_text("utf-8")
    assert linkage.load(copy).model.solids["airframe/m"] == system.model.solids["airframe/m"]
