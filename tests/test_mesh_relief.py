"""A plate cut free of a mesh, set beside the same plate cut free of the exact kind."""

import pytest
from meshes import box, write_stl

import linkage
from linkage import relief

TEXT = """
length = "mm"
[input.pitch]
travel = [-10, 10]
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = {{ grip = [0, 0, 300] }}
{moving}
[airframe.solid.plate]
kind = "plate"
at = [0, 0, 200]
normal = [0, 0, 1]
u = [1, 0, 0]
thickness = 4
outline = [[-120, -60], [120, -60], [120, 60], [-120, 60]]
[clearance]
structure = 5
"""


def cut(folder, moving):
    file = folder / "model.toml"
    file.write_text(TEXT.format(moving=moving), "utf-8")
    return relief.relieve(linkage.load(file), "airframe/plate")


def test_relief_for_a_mesh_is_that_for_the_exact_kind(tmp_path):
    write_stl(tmp_path / "bar.stl", box((-8, -12, 40), (8, 12, 300), 2))
    meshed = cut(tmp_path, 'solid.bar = { kind = "mesh", file = "bar.stl", unit = "mm" }')
    exact = cut(tmp_path, 'solid.bar = { kind = "box", corner = [-8, -12, 40], '
                          'opposite = [8, 12, 300] }')
    assert meshed.needed
    assert all(row["after"] >= row["required"] for row in meshed.pairs)
    assert meshed.cut.left.area == pytest.approx(exact.cut.left.area, rel=5e-3)
    # by hand: across it has to stand off 12 + 5 to either side
    low, high = meshed.swept.bounds[1], meshed.swept.bounds[3]
    assert (low, high) == pytest.approx((-17, 17), abs=0.2)
