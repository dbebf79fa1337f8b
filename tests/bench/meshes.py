"""Proven clearance with meshes: CPU seconds, ratios and memory measured in one run.

An invented moulded shell stands about the side-by-side example, its wall some 16 mm off the hands
at their nearest, of 2,000, 20,000 and 200,000 triangles; times are set beside those without it.
Prints too what reading a million triangles takes, and 500 stick positions of the near pairs against
a general collision library (coal) that answers one pose at a time, and how far both differ.
Needs: pip install -e '.[bench]'
"""

import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

import linkage
from linkage.clearances import scene_of
from linkage.clearances.stage import Stage

EXAMPLE = Path(__file__).parents[2] / "examples" / "side_by_side.toml"
INCH = 25.4
SOLID = """
[airframe.solid.shell]
kind = "mesh"
file = "{file}"
unit = "mm"
thickness = "1.5 mm"
"""


def shell(count):
    """An open tub of about so many triangles, (n, 3, 3) mm: FS 45 to 72 in, 23.6 in half wide."""
    rows = round((count / 2 / 1.6) ** 0.5)
    columns = round(1.6 * rows)
    along, around = np.linspace(0, 1, columns + 1)[:, None], np.linspace(0, np.pi, rows + 1)[None]
    wide = INCH * (23.6 - 4.0 * (2 * along - 0.9) ** 2)
    fs = INCH * (45.0 + 27.0 * along) + 0 * around
    bl = wide * np.sign(np.cos(around)) * np.abs(np.cos(around)) ** 0.6
    wl = INCH * (32.0 - 38.0 * np.sin(around) ** 0.6) + 0 * along
    grid = np.stack([fs, bl, wl], axis=-1)
    one, two, three, four = grid[:-1, :-1], grid[1:, :-1], grid[1:, 1:], grid[:-1, 1:]
    return np.concatenate([np.stack(k, axis=2).reshape(-1, 3, 3) for k in (
        (one, two, three), (one, three, four))])


def write_stl(path, corners):
    """A binary STL file."""
    rows = np.zeros(len(corners), dtype=np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)),
                                                  ("rest", "<u2")]))
    rows["corners"] = corners
    path.write_bytes(bytes(80) + np.uint32(len(corners)).tobytes() + rows.tobytes())


def system_with(folder, count):
    """The example with a shell of so many triangles; without for 0."""
    text = EXAMPLE.read_text("utf-8").replace("side_by_side_readings.csv", str(
        EXAMPLE.with_name("side_by_side_readings.csv")))
    if count:
        write_stl(folder / f"shell{count}.stl", shell(count))
        text += SOLID.format(file=f"shell{count}.stl")
    (folder / f"with{count}.toml").write_text(text, "utf-8")
    return linkage.load(folder / f"with{count}.toml")


def memory():
    """Most memory used yet, MB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def proofs(folder, counts):
    """Seconds of the clearance table without and with shells, and the pairs of the largest."""
    known = {}
    linkage.clearance(system_with(folder, 0))  # what is laid out once
    for count in counts:
        system = system_with(folder, count)
        before, started = memory(), time.process_time()
        table = linkage.clearance(system)
        took = time.process_time() - started
        known[count] = took
        mine = table[table["pair"].str.contains("airframe/shell")]
        pairs = len(mine)
        print(f"{count:>9,} triangles: clearance {took:6.2f} s, {took - known[0]:+6.2f} s, "
              f"{took / known[0]:5.2f} x without; {pairs} near pairs, least "
              f"{mine['least'].min() if pairs else np.nan:.3f} mm, bracket at most "
              f"{(mine['least'] - mine['proven']).max() if pairs else np.nan:.3f} mm; "
              f"{table.attrs['visited']:,} cells; memory +{memory() - before:.0f} MB", flush=True)
    if {20_000, 200_000} <= set(known):
        print(f"200,000 against 20,000 triangles: {known[200_000] / known[20_000]:.2f} times; "
              f"what the shell adds {(known[200_000] - known[0]) / (known[20_000] - known[0]):.2f}")


def reading(folder, count=1_000_000):
    """Seconds to read a large mesh."""
    from linkage.model.mesh_files import MeshFile, MeshTerms, read_mesh

    corners = shell(count)[:count]
    write_stl(folder / "large.stl", corners)
    started = time.process_time()
    file = MeshFile.at("large.stl", folder / "large.stl")
    surface = read_mesh(file, MeshTerms("mm", False, None))
    print(f"reading {len(surface.corners):,} triangles: {time.process_time() - started:.2f} s; "
          f"memory {memory():.0f} MB in all", flush=True)


def against_library(folder, count, places):
    """Seconds of gaps at random positions, ours and the library's, and how far they differ."""
    import coal
    from clearance import prime, request

    prime()
    system = system_with(folder, count)
    linkage.clearance(system)
    names = [pair for pair in scene_of(system).pairs if "airframe/shell" in pair][:30]
    rng = np.random.default_rng(5)
    box = system.travel_box()
    at = {name: rng.uniform(*ends, places) for name, ends in box.items()}
    motion = system.sweep(**at)
    started = time.process_time()
    ours = linkage.gaps(motion, names)
    mine = time.process_time() - started
    theirs, took = {}, 0.0
    for name in names:
        stage = Stage(scene_of(system), [scene_of(system).pairs[name]])
        value, seconds = _theirs(coal, request, stage, motion, places)
        theirs[name] = value
        took += seconds
    off = max(np.nanmax(np.abs(np.where(theirs[n] > 0, ours[n] - theirs[n], 0.0))) for n in names)
    signs = sum(int(((ours[n] > 0) != (theirs[n] > 0)).sum()) for n in names)
    print(f"{places} positions x {len(names)} pairs, {count:,} triangles: {mine:.2f} s, the "
          f"library {took:.2f} s, {took / mine:.2f} times; greatest difference {off:.2e} mm, "
          f"{signs} signs differ")


def _theirs(coal, request, stage, motion, places):
    """Distance by the library at every position, the mesh as its own tree: mm, and seconds."""
    pair = stage.pairs[0]
    mesh, other = (stage.solid_in(pair, k) for k in ((0, 1) if "shell" in pair.first else (1, 0)))
    flat = mesh.pieces.corners.reshape(-1, 3)
    model = coal.BVHModelOBBRSS()
    model.beginModel(len(mesh.pieces), len(flat))
    model.addVertices(flat)
    model.addTriangles(np.arange(len(flat)).reshape(-1, 3))
    model.endModel()
    assert mesh.carriers == ("airframe",), "the shell stands still"
    value, seconds = np.full(places, np.inf), 0.0
    for piece in other.pieces:
        points = np.stack([_where(motion, other, piece, k) for k in range(
            len(piece.points))], axis=1)
        for n in range(places):
            shape, place = _shape(coal, points[n], piece)
            result, asked = coal.DistanceResult(), request()
            started = time.process_time()
            apart = coal.distance(model, coal.Transform3s(), shape, place, asked, result)
            seconds += time.process_time() - started
            value[n] = min(value[n], apart - mesh.pieces.radius - piece.radius)
    return value, seconds


def _where(motion, solid, piece, k):
    if solid.ends is None:
        return _each(motion, solid.carriers[0], piece.points[k])
    return _each(motion, solid.carriers[k], piece.points[k])


def _each(motion, body, point):
    p = tuple(float(c) for c in point)
    if body != "airframe":
        for joint, outward in motion.system.plan.route(body, "airframe"):
            p = motion.posture.crossed(p, joint, outward)
    return np.stack(np.broadcast_arrays(*p, np.zeros(motion.shape))[:3], axis=-1)


def _shape(coal, points, piece):
    """The skeleton of a piece as the library holds it, without its radius, in stations."""
    vertices = coal.StdVec_Vec3s()
    for point in points:
        vertices.append(point)
    if len(points) <= 2:
        ends = points[0], points[-1]
        middle, long = (ends[0] + ends[1]) / 2, float(np.linalg.norm(ends[1] - ends[0]))
        way = (ends[1] - ends[0]) / long if long else np.array([0.0, 0.0, 1.0])
        u = np.cross(way, np.eye(3)[np.abs(way).argmin()])
        u /= np.linalg.norm(u)
        turned = np.stack([u, np.cross(way, u), way], axis=1)
        return coal.Capsule(1e-12, long), coal.Transform3s(turned, middle)
    return coal.Convex.convexHull(vertices, False, "Qt"), coal.Transform3s()


if __name__ == "__main__":
    quick = "--quick" in sys.argv
    with tempfile.TemporaryDirectory() as name:
        proofs(Path(name), (0, 2_000, 20_000) if quick else (0, 2_000, 20_000, 200_000))
        if not quick:
            reading(Path(name))
        against_library(Path(name), 2_000 if quick else 20_000, 20 if quick else 500)
