"""The moulded example: its files are those of its script, and its hidden contact is found."""

import importlib.util
from pathlib import Path

import numpy as np
import pytest

import linkage
from linkage import relief

HERE = Path(__file__).parent.parent / "examples" / "moulded"


@pytest.fixture(scope="module")
def moulded():
    return linkage.load(HERE / "moulded.toml")


def test_meshes_are_those_of_the_script(tmp_path, monkeypatch):
    spec = importlib.util.spec_from_file_location("make", HERE / "make.py")
    make = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(make)
    monkeypatch.setattr(make, "HERE", tmp_path)
    make.write_stl("fuselage.stl", make.fuselage())
    make.write_stl("pan_left.stl", make.seat_pan())
    make.write_stl("bracket_left.stl", make.bracket())
    for name in ("fuselage.stl", "pan_left.stl", "bracket_left.stl"):
        assert (tmp_path / name).read_bytes() == (HERE / name).read_bytes()


def test_arm_comes_up_under_the_seat(moulded):
    pair = "cross tube/arm | airframe/pan left"
    gaps = linkage.gaps(moulded.sweep(pitch=[-12.0, 0.0, 15.0], roll=0.0), [pair])[pair]
    assert gaps[0] <= 0 < 12.7 < gaps[1] < gaps[2]


def test_a_place_on_any_solid_is_marked(moulded):
    """With the system at neutral the stations of a mark are those of the place itself."""
    motion, spot = moulded.sweep(), np.array([700.0, -150.0, 400.0])
    for name in moulded.model.solids:
        mark = relief.mark_on(motion, name, spot)
        assert name.split("/")[0] in moulded.model.rods or np.allclose(mark.stations, spot)


def test_hidden_contact_is_the_first_miss(moulded, full):
    if not full:
        pytest.skip("the whole table takes some seconds; with --full")
    table = linkage.clearance(moulded)
    missed = list(table[~table["ok"]]["pair"])
    assert missed == ["cross tube/arm | airframe/pan left",
                      "elevator drop/tube | airframe/pan left"]


def test_relief_of_the_arm_is_proven(moulded, full):
    if not full:
        pytest.skip("takes a minute; with --full")
    done = relief.relieve(moulded, "cross tube/arm")
    assert done.needed
    assert all(row["after"] >= row["required"] for row in done.pairs)
