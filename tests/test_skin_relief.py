"""A moulded skin and a block cut free: by hand, by brute force, and as files that are read back."""

import io

import numpy as np
import pytest
import shapely
from meshes import box, write_stl
from oracle.distance import hull_distance

import linkage
from linkage import relief
from linkage.__main__ import main
from linkage.errors import LinkageError
from linkage.relief.panels import clipped

trimesh = pytest.importorskip("trimesh")

TEXT = """
length = "mm"
[clearance]
structure = 5
[input.pitch]
travel = [-5, 5]
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
solid.bar = {{ kind = "box", corner = [-8, -12, 40], opposite = [8, 12, 300] }}
[airframe.solid.skin]
{fixed}
"""
MESH = 'kind = "mesh"\nfile = "skin.stl"\nunit = "mm"\nthickness = 4\n'


def sheet(rise):
    """A skin over the stick, 240 by 120 mm, as high as a function of FS and BL says."""
    x, y = np.meshgrid(np.linspace(-120, 120, 13), np.linspace(-60, 60, 9), indexing="ij")
    grid = np.stack([x, y, rise(x, y)], axis=-1)
    one, two, three, four = grid[:-1, :-1], grid[1:, :-1], grid[1:, 1:], grid[:-1, 1:]
    return np.concatenate([np.stack(k, axis=2).reshape(-1, 3, 3) for k in (
        (one, two, three), (one, three, four))])


def moulded(x, y):
    return 200 + 12 * np.sin(x / 50) + y**2 / 200


def model(folder, fixed, corners=None):
    if corners is not None:
        write_stl(folder / "skin.stl", corners)
    file = folder / "model.toml"
    file.write_text(TEXT.format(fixed=fixed), "utf-8")
    return linkage.load(file)


def test_flat_skin_is_cut_by_hand_and_as_a_plate(tmp_path):
    flat = relief.relieve(model(tmp_path, MESH, sheet(lambda x, y: 200 + 0 * x)), "airframe/skin")
    plate = relief.relieve(model(tmp_path, 'kind = "plate"\nat = [0, 0, 200]\nnormal = [0, 0, 1]\n'
                                           'u = [1, 0, 0]\nthickness = 4\noutline = [[-120, -60], '
                                           '[120, -60], [120, 60], [-120, 60]]'), "airframe/skin")
    # by hand: across, 12 of the bar and 5 clear, and the skin's edge is a round of half its 4
    sides = flat.cut.need.bounds[1], flat.cut.need.bounds[3]
    assert sides == pytest.approx((-19, 19), abs=0.01)
    # a plate's edge is square, and its clearance is that of 12 and 5 alone
    across = plate.cut.need.bounds[3]
    assert across == pytest.approx(17, abs=0.05)
    assert np.abs(flat.flat.axes) == pytest.approx(np.eye(3))
    assert all(row["after"] >= row["required"] for row in flat.pairs)


@pytest.fixture(scope="module")
def cut(tmp_path_factory):
    folder = tmp_path_factory.mktemp("cut")
    system = model(folder, MESH, sheet(moulded))
    return folder, relief.relieve(system, "airframe/skin", relief.Options(ligament=2.0))


def test_cut_skin_keeps_clear_by_brute_force(cut):
    folder, done = cut
    files = relief.relieved_file(folder / "model.toml", [done], folder / "out")
    read = trimesh.load(io.BytesIO(files["airframe skin relieved.ply"]), file_type="ply",
                        process=False)
    triangles = np.asarray(read.vertices)[read.faces]
    least = np.inf
    for turn in np.radians(np.linspace(-5, 5, 21)):
        bar = np.array([[x, y, z] for x in (-8, 8) for y in (-12, 12) for z in (40, 300)], float)
        bar = bar @ [[np.cos(turn), 0, -np.sin(turn)], [0, 1, 0], [np.sin(turn), 0, np.cos(turn)]]
        hulls = np.broadcast_to(bar, (len(triangles), *bar.shape))
        least = min(least, hull_distance(triangles, hulls, 20.0)[1].min())
    assert 7 <= least < 7 + 0.1 + 2 * done.flat.marked_off(done.cut.removed)


def test_what_goes_had_to_go(cut):
    _, done = cut
    lean = done.flat.band(done.cut.removed)[2]
    assert 0 < lean < 20  # 12 mm over 50 of FS and 20 mm of BL off the middle: under 14° and 6°
    # by hand: nothing wider than the bar turned to its ends at the highest place, grown by 7
    far = (8 + 225 * np.sin(np.radians(5)) + 7 + 0.5) * 2
    assert done.cut.removed.area < far * (24 + 14 + 1.0)


def test_relieved_skin_is_written_and_read_back(tmp_path, capsys):
    model(tmp_path, MESH, sheet(lambda x, y: 200 + 0 * x))
    args = ["relief", str(tmp_path / "model.toml"), "airframe/skin", "--out", str(tmp_path / "out")]
    assert main(args) == 0
    assert "1 of 1 near pairs pass" in capsys.readouterr().out
    again = (tmp_path / "out" / "model relieved.toml").read_text("utf-8")
    assert 'file = "airframe skin relieved.ply"' in again
    assert "cut its edge square to the skin" in (tmp_path / "out" / "airframe skin.svg").read_text(
        "utf-8")
    # cut again, the new mesh has another name and the old one stays
    args[1:3] = [str(tmp_path / "out" / "model relieved.toml"), "airframe/skin"]
    assert main([*args[:-1], str(tmp_path / "out2")]) == 0
    assert relief.mesh_name(linkage.load(args[1]).model, "airframe/skin") == \
        "airframe skin relieved 2.ply"


def test_block_is_cut_as_the_plate_it_is(tmp_path):
    block = relief.relieve(model(tmp_path, 'kind = "box"\ncorner = [-120, -60, 198]\n'
                                           "opposite = [120, 60, 202]"), "airframe/skin")
    plate = relief.relieve(model(tmp_path, 'kind = "plate"\nat = [0, 0, 200]\nnormal = [0, 0, 1]\n'
                                           'u = [1, 0, 0]\nthickness = 4\noutline = [[-120, -60], '
                                           '[120, -60], [120, 60], [-120, 60]]'), "airframe/skin")
    assert block.cut.left.area == pytest.approx(plate.cut.left.area, abs=1e-6)
    assert block.shape.kind == "plate"


def folded():
    """A sheet that lies over itself twice, seen from above: FS runs back in its middle."""
    grid = sheet(lambda x, y: 200 + x / 40)
    grid[..., 0] = 60 * np.sin(grid[..., 0] / 20)
    return grid


@pytest.mark.parametrize(("corners", "fixed", "words"), [
    (folded(), MESH, "lies over itself"),
    (None, 'kind = "mesh"\nfile = "solid.stl"\nunit = "mm"\n', "triangles close about"),
])
def test_what_is_no_skin_to_cut_is_refused(tmp_path, corners, fixed, words):
    write_stl(tmp_path / "solid.stl", box((-120, -60, 198), (120, 60, 202)))
    with pytest.raises(LinkageError, match=words):
        relief.relieve(model(tmp_path, fixed, corners), "airframe/skin")


def test_cut_triangles_lie_where_they_lay_and_steep_ones_are_refused():
    corners = np.array([[[0, 0, 0], [10, 0, 5], [0, 10, 0]]], float)
    kept, lost = clipped(corners, shapely.box(-1, -1, 4, 4))
    assert np.concatenate([kept, lost])[..., 2] == pytest.approx(
        np.concatenate([kept, lost])[..., 0] / 2)  # its plane: 5 up over 10 of u
    sides = [k[:, 1:] - k[:, :1] for k in (kept, lost)]
    areas = [np.linalg.norm(np.cross(k[:, 0], k[:, 1]), axis=1).sum() / 2 for k in sides]
    lean = np.hypot(1, 0.5)
    assert areas == pytest.approx([34 * lean, 16 * lean])
    with pytest.raises(LinkageError, match="stands up to 80°"):
        clipped(corners * [1, 1, 2 / np.tan(np.radians(10))], shapely.box(-1, -1, 4, 4))
